package analysis

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"carryover/dataset"
)

func TestPairRules(t *testing.T) {
	var b book
	for date, p := range map[string]float64{
		"2024-03-10": 50, "2024-05-01": 60, // two in spring
		"2024-09-20": 44, "2024-11-10": 40, // two in autumn
		"2025-04-01": 55, "2025-05-10": 57,
		"2025-07-15": 99, // mid-season: never an end
		"2025-10-10": 47,
	} {
		b.test("1", date, "P", p)
	}
	r := b.review(t, Options{})
	var got []string
	for _, c := range r.Beds[0].Changes {
		got = append(got, fmt.Sprintf("%s %d %s %s %v", c.Kind, c.Season, c.From.Date, c.To.Date, c.Estimate.Value))
	}
	want := []string{
		"drawdown 2024 2024-05-01 2024-09-20 16",
		"drawdown 2025 2025-05-10 2025-10-10 10",
		"winter 2025 2024-11-10 2025-04-01 15",
	}
	if !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
	if n := len(r.told("several tests")); n != 3 {
		t.Errorf("%d windows with several tests told, want 3: %q", n, r.told("several tests"))
	}
}

func TestSeasonsWithoutAPair(t *testing.T) {
	for _, c := range []struct {
		name  string
		dates []string
		want  []string
	}{
		{"spring skipped", []string{"2023-04-20", "2023-10-20", "2024-10-20"}, []string{"drawdown 2023", "year 2024: 2023-10-20"}},
		{"autumn skipped", []string{"2023-04-20", "2024-04-20", "2024-10-20"}, []string{"drawdown 2024"}},
		{"autumn only", []string{"2022-10-20", "2023-10-20", "2024-10-20"}, []string{"year 2023: 2022-10-20", "year 2024: 2023-10-20"}},
		{"spring only", []string{"2022-04-20", "2023-04-20"}, []string{"year 2023: 2022-04-20"}},
		{"winter instead of the year", []string{"2023-04-20", "2023-10-20", "2024-04-20"}, []string{"drawdown 2023", "winter 2024: 2023-10-20"}},
		{"years without a test, autumn", []string{"2019-10-20", "2024-10-20"}, []string{"year 2024: 2019-10-20"}},
		{"years without a test, spring", []string{"2019-04-20", "2019-10-20", "2024-04-20"}, []string{"drawdown 2019", "year 2024: 2019-04-20"}},
		{"no winter over two years", []string{"2022-04-20", "2022-10-20", "2024-04-20", "2024-10-20"}, []string{"drawdown 2022", "drawdown 2024"}},
		{"one test", []string{"2024-04-20"}, nil},
		{"mid-season alone", []string{"2023-07-10", "2024-07-10"}, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			var b book
			for i, d := range c.dates {
				b.test("1", d, "P", float64(50+i))
			}
			var got []string
			for _, x := range b.review(t, Options{}).Beds[0].Changes {
				s := fmt.Sprintf("%s %d", x.Kind, x.Season)
				if x.Kind != Drawdown {
					s += ": " + x.From.Date.String()
				}
				got = append(got, s)
			}
			slices.Sort(got)
			if !slices.Equal(got, c.want) {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
}

func TestOnceAYearIsTold(t *testing.T) {
	for _, c := range []struct {
		month string
		say   string
	}{{"04", "tested in spring only"}, {"10", "tested in autumn only"}} {
		var b book
		b.test("1", "2023-"+c.month+"-20", "P", 50)
		b.test("1", "2024-"+c.month+"-20", "P", 50)
		if texts := b.review(t, Options{}).told("once a year"); len(texts) != 1 {
			t.Errorf("told %q", texts)
		} else {
			contains(t, texts[0], c.say)
		}
	}
	var b book
	for _, d := range []string{"2022-04-20", "2022-10-20", "2023-10-20", "2024-04-20"} {
		b.test("1", d, "P", 50)
	}
	texts := b.review(t, Options{}).told("no test")
	if len(texts) != 1 || texts[0] != "no test in spring 2023" {
		t.Errorf("told %q, want spring 2023 alone", texts)
	}
	// What lies before the first test and after the last is not missing.
	var c book
	for _, d := range []string{"2022-10-20", "2023-04-20", "2023-10-20", "2024-04-20"} {
		c.test("1", d, "P", 50)
	}
	if texts := c.review(t, Options{}).told("no test"); len(texts) != 0 {
		t.Errorf("told %q, want nothing", texts)
	}
}

func TestSigns(t *testing.T) {
	var b book
	b.test("1", "2024-04-20", "P", 100)
	b.test("1", "2024-10-20", "P", 40)
	b.test("1", "2025-04-20", "P", 90)
	b.test("2", "2024-10-20", "P", 40)
	b.test("2", "2025-10-20", "P", 90)
	r := b.review(t, Options{})
	for _, c := range []struct {
		bed  int
		kind string
		want float64
	}{{0, Drawdown, 60}, {0, Winter, 50}, {1, Year, 50}} {
		x := r.Beds[c.bed].find(t, c.kind, "P")
		if x.Estimate.Value != c.want || !x.Seen || x.Estimate.Low <= 0 || x.Estimate.Low >= c.want || x.Estimate.High <= c.want || x.Estimate.N != 2 {
			t.Errorf("%s: %+v seen %v, want %v inside a range above 0", c.kind, x.Estimate, x.Seen, c.want)
		}
	}
	// A rise over the season is a drawdown below zero, with the mirrored range.
	var up book
	up.test("1", "2024-04-20", "P", 40)
	up.test("1", "2024-10-20", "P", 100)
	x, y := up.review(t, Options{}).Beds[0].find(t, Drawdown, "P").Estimate, r.Beds[0].find(t, Drawdown, "P").Estimate
	if x.Value != -60 || !near(x.Low, -y.High, 0.02) || !near(x.High, -y.Low, 0.02) {
		t.Errorf("rise %+v, fall %+v: not mirrored", x, y)
	}
}

func TestBreaks(t *testing.T) {
	for _, c := range []struct {
		name, reason string
		us           bool
		first, next  []option
	}{
		{name: "depth", reason: "depth changed from 0-15.2 cm to 0-20.3 cm", next: []option{layer(0, 20.32)}},
		{name: "depth in inches", us: true, reason: "depth changed from 0-6 in to 0-8 in", next: []option{layer(0, 20.32)}},
		{name: "no depth", reason: "depth changed from no depth to 0-15.2 cm", first: []option{noDepth}},
		{name: "lab", reason: "lab changed from Lab 1 to Lab 2", next: []option{lab("Lab 2")}},
		{name: "lab blank", reason: "lab changed from Lab 1 to none named", next: []option{lab("")}},
		{name: "method", reason: "method changed from Mehlich-3 to Olsen", next: []option{method("Olsen")}},
		{name: "unit", reason: "unit changed from mg/kg to mg/dm3", next: []option{volume}},
		{name: "no method", reason: "no method on the report", first: []option{method("")}},
		{name: "no method any more", reason: "no method on the report", next: []option{method("")}},
		{name: "above the limit", reason: "above the lab's limit", next: []option{above}},
		{name: "a centimetre", next: []option{layer(0, 16)}},
		{name: "lab blank twice", first: []option{lab("")}, next: []option{lab("")}},
		{name: "depth never given", first: []option{noDepth}, next: []option{noDepth}},
	} {
		t.Run(c.name, func(t *testing.T) {
			var b book
			for _, a := range []string{"P", "K"} {
				b.test("1", "2024-04-20", a, 60, c.first...)
				b.test("1", "2024-10-20", a, 40, c.next...)
			}
			r := b.review(t, Options{US: c.us})
			x := r.Beds[0]
			if c.reason == "" {
				if len(x.Changes) != 2 || len(x.Breaks) != 0 {
					t.Errorf("%d changes, breaks %+v, want 2 and none", len(x.Changes), x.Breaks)
				}
				return
			}
			if len(x.Changes) != 0 || len(x.Breaks) != 1 {
				t.Fatalf("changes %+v, breaks %+v, want none and 1", x.Changes, x.Breaks)
			}
			k := x.Breaks[0]
			if k.Reason != c.reason || !slices.Equal(k.Analytes, []string{"P", "K"}) || k.Kind != Drawdown || k.Season != 2024 || r.Doubts[k.Doubt-1].Code != "break" {
				t.Errorf("break %+v, want %q", k, c.reason)
			}
			contains(t, r.Doubts[k.Doubt-1].Text, "P, K (2024-04-20 to 2024-10-20)")
		})
	}
}

// A window may hold an incomparable test beside a comparable one.
func TestComparableOfSeveral(t *testing.T) {
	var b book
	b.test("1", "2024-04-01", "P", 60)
	b.test("1", "2024-05-01", "P", 30, method("Olsen"))
	b.test("1", "2024-10-20", "P", 40)
	x := b.review(t, Options{}).Beds[0]
	if c := x.find(t, Drawdown, "P"); c.Estimate.Value != 20 || len(x.Breaks) != 0 {
		t.Errorf("%v with breaks %+v, want 20 by Mehlich-3 on both days", c.Estimate.Value, x.Breaks)
	}
}

func TestChangesOfTheWorkedLayerOnly(t *testing.T) {
	var b book
	b.test("1", "2024-04-20", "P", 60, layer(15, 30))
	b.test("1", "2024-10-20", "P", 40, layer(15, 30))
	b.test("1", "2024-04-20", "buffer pH", 6.8)
	b.test("1", "2024-10-20", "buffer pH", 6.4)
	if x := b.review(t, Options{}).Beds[0]; len(x.Changes)+len(x.Breaks) != 0 {
		t.Errorf("changes %+v, breaks %+v, want none", x.Changes, x.Breaks)
	}
}

// Whatever lies below a limit, the difference lies in the range: the range
// reaches to both ends of the censored interval.
func TestCensoredEnds(t *testing.T) {
	for _, c := range []struct {
		name           string
		spring, autumn float64
		a, b           []option
		mostLow        float64 // Low must not lie above it
		leastHigh      float64
		seen           bool
	}{
		{"fell below the limit", 10, 4, nil, []option{below}, 6, 10, true},
		{"perhaps no fall", 4, 4, nil, []option{below}, 0, 4, false},
		{"rose from below", 4, 10, []option{below}, nil, -10, -6, true},
		{"below twice", 4, 6, []option{below}, []option{below}, -6, 4, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			var b book
			b.test("1", "2024-04-20", "Zn", c.spring, c.a...)
			b.test("1", "2024-10-20", "Zn", c.autumn, c.b...)
			r := b.review(t, Options{})
			x := r.Beds[0].find(t, Drawdown, "Zn")
			if x.Estimate.Low > c.mostLow || x.Estimate.High < c.leastHigh || x.Seen != c.seen {
				t.Errorf("%+v seen %v, want at least %v to %v, seen %v", x.Estimate, x.Seen, c.mostLow, c.leastHigh, c.seen)
			}
			if x.Estimate.Value <= x.Estimate.Low || x.Estimate.Value >= x.Estimate.High {
				t.Errorf("%v does not lie inside %v to %v", x.Estimate.Value, x.Estimate.Low, x.Estimate.High)
			}
			if !has(r.codes(x.Doubts), "below limit") || x.From.Qualifier+x.To.Qualifier == "" {
				t.Error("the limit does not travel with the change")
			}
		})
	}
	// The same ends the other way round in winter.
	var b book
	b.test("1", "2024-10-20", "Zn", 4, below)
	b.test("1", "2025-04-20", "Zn", 10)
	w := b.review(t, Options{}).Beds[0].find(t, Winter, "Zn")
	if w.Estimate.Low > 6 || w.Estimate.High < 10 || !w.Seen {
		t.Errorf("winter %+v, want at least 6 to 10", w.Estimate)
	}
}

// property: two composites of a bed tell a change of 1.645 sqrt2 s from none at
// 90 %. The figures are 1.96 sqrt2 s at 95 %, worked out from the same test
// errors (from memory), so they check the road and not the errors.
func TestDetectableChange(t *testing.T) {
	seen := func(analyte string, n int32, spring, autumn float64) (bool, Estimate) {
		var b book
		b.test("1", "2024-04-20", analyte, spring, cores(n))
		b.test("1", "2024-10-20", analyte, autumn, cores(n))
		x := b.review(t, Options{}).Beds[0].find(t, Drawdown, analyte)
		return x.Seen, x.Estimate
	}
	for n, mdc := range map[int32]float64{1: 1.02, 5: 0.70, 10: 0.65, 15: 0.63, 20: 0.62} {
		want := mdc * 1.645 / 1.96
		_, e := seen("pH", n, 6.5, 6.5)
		if half := (e.High - e.Low) / 2; !near(half, want, 0.03) {
			t.Errorf("pH, %d cores: %.3f, want %.3f within 3 %%", n, half, want)
		}
		if less, _ := seen("pH", n, 6.5+0.95*want, 6.5); less {
			t.Errorf("pH, %d cores: a change of %.3f is seen", n, 0.95*want)
		}
		if more, _ := seen("pH", n, 6.5+1.05*want, 6.5); !more {
			t.Errorf("pH, %d cores: a change of %.3f is not seen", n, 1.05*want)
		}
	}
	for analyte, rises := range map[string]map[int32]float64{ // % by which the greater exceeds the smaller, 95 %
		"OM": {1: 83, 5: 41, 10: 34, 15: 32, 20: 31}, "P": {1: 217, 5: 80, 10: 60, 15: 53, 20: 49},
		"K": {1: 149, 5: 69, 10: 58, 15: 54, 20: 52}, "NO3-N": {1: 378, 5: 160, 10: 134, 15: 125, 20: 121},
		"Ca": {1: 86, 5: 45, 10: 39, 15: 37, 20: 35},
	} {
		for n, rise := range rises {
			mdc := math.Log(1+rise/100) * 1.645 / 1.96
			if less, _ := seen(analyte, n, 40*math.Exp(0.95*mdc), 40); less {
				t.Errorf("%s, %d cores: a ratio of %.3f is seen", analyte, n, math.Exp(0.95*mdc))
			}
			if more, _ := seen(analyte, n, 40*math.Exp(1.05*mdc), 40); !more {
				t.Errorf("%s, %d cores: a ratio of %.3f is not seen", analyte, n, math.Exp(1.05*mdc))
			}
		}
	}
}

func TestSpreadBetweenTests(t *testing.T) {
	var b book
	for _, a := range []string{"pH", "P", "Ca"} {
		for _, d := range []string{"2024-04-20", "2024-10-20", "2025-04-20"} {
			b.test("1", d, a, 6.5)
		}
	}
	b.spread("1", "2025-04-01", "dolomitic limestone")
	r := b.review(t, Options{})
	for _, c := range r.Beds[0].Changes {
		codes := r.codes(c.Doubts)
		across := c.Kind == Winter && c.Analyte != "P"
		if has(codes, "spread between") != across || has(codes, "fresh lime") != (across && c.Analyte == "Ca") {
			t.Errorf("%s of %s: %v", c.Kind, c.Analyte, codes)
		}
	}
	// On the day of the first test it may lie in both samples: no doubt between.
	l := func(d string) *Level { return &Level{Date: day(d), Analyte: "pH"} }
	w := &bedWork{doubts: &doubts{}, asOf: day("2030-01-01"), history: &dataset.BedHistory{Name: "1", Amendments: b.Amendments}}
	if refs := w.betweenDoubts(l("2025-04-01"), l("2025-10-01")); len(refs) != 0 {
		t.Errorf("spread on the day of the earlier test: %v", w.doubts.list)
	}
}
