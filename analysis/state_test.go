package analysis

import (
	"slices"
	"strings"
	"testing"

	"carryover/dataset"
)

// unlikeBook is an invented bed whose autumn sample holds little of the soil of
// its spring sample.
func unlikeBook() *book {
	var b book
	for a, v := range map[string][2]float64{"OM": {10.4, 5.6}, "P": {96, 55}, "Mg": {260, 180}, "Zn": {15, 9}} {
		b.test("1", "2024-04-20", a, v[0])
		b.test("1", "2024-10-20", a, v[1])
	}
	return &b
}

func TestNotTheSameSoil(t *testing.T) {
	r := unlikeBook().review(t, Options{Targets: defaultTargets(t)})
	x := r.Beds[0]
	if x.State != TestAgain {
		t.Errorf("state %q, want test again", x.State)
	}
	texts := r.told("not the same soil")
	if len(texts) != 1 {
		t.Fatalf("told %q", texts)
	}
	contains(t, texts[0], "organic matter kept 54 % of its spring level")
	contains(t, texts[0], "OM, P, Mg, Zn fell together")
	contains(t, x.Why, "15 or more cores")
	for _, c := range x.Changes {
		if !has(r.codes(c.Doubts), "not the same soil") {
			t.Errorf("%s %s without the doubt", c.Kind, c.Analyte)
		}
	}
	for _, l := range x.Levels {
		if l.Suspect != (l.Timing == Autumn) {
			t.Errorf("%s %s: suspect %v", l.Analyte, l.Date, l.Suspect)
		}
	}
}

func TestSoilsThatAreAlike(t *testing.T) {
	for _, c := range []struct {
		name string
		fell map[string][2]float64
		n    int32
		want bool
	}{
		{"three that compost carries", map[string][2]float64{"P": {120, 60}, "Ca": {2400, 1300}, "Cu": {9, 4}}, 20, true},
		{"two only", map[string][2]float64{"P": {120, 60}, "Cu": {9, 4}, "Ca": {2400, 2300}}, 20, false},
		{"what the crop takes up", map[string][2]float64{"K": {400, 150}, "NO3-N": {60, 8}, "S": {40, 12}, "P": {90, 80}}, 20, false},
		{"organic matter as decay leaves it", map[string][2]float64{"OM": {9.8, 7.8}, "P": {88, 80}}, 20, false},
		{"organic matter at the bound", map[string][2]float64{"OM": {10, 6.5}}, 20, false},
		{"organic matter below the bound", map[string][2]float64{"OM": {10, 6.4}}, 20, true},
		{"within the error of one core", map[string][2]float64{"OM": {10, 6.4}}, 1, false},
		{"all within the error", map[string][2]float64{"P": {100, 74}, "Zn": {10, 7.4}, "Cu": {10, 7.4}}, 1, false},
		{"a rise", map[string][2]float64{"OM": {5.2, 9.8}, "P": {52, 88}, "Mg": {170, 240}, "Zn": {8.5, 14}}, 20, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			var b book
			for a, v := range c.fell {
				b.test("1", "2024-04-20", a, v[0], cores(c.n))
				b.test("1", "2024-10-20", a, v[1], cores(c.n))
			}
			if got := len(b.review(t, Options{}).told("not the same soil")) == 1; got != c.want {
				t.Errorf("doubted: %v, want %v", got, c.want)
			}
		})
	}
}

// The doubt passes on to the winter change that starts from the odd sample, and
// a new sample clears the bed.
func TestDoubtedSamplePassesOn(t *testing.T) {
	b := unlikeBook()
	b.test("1", "2025-04-20", "P", 85)
	r := b.review(t, Options{})
	x := r.Beds[0]
	if c := x.find(t, Winter, "P"); !has(r.codes(c.Doubts), "not the same soil") {
		t.Errorf("winter change: %v", r.codes(c.Doubts))
	}
	if x.State == TestAgain {
		t.Errorf("after a new sample: %s: %s", x.State, x.Why)
	}
}

// sufficient is a bed with all but one analyte in its band.
func sufficient(date, analyte string, v float64, o ...option) *book {
	var b book
	for a, x := range map[string]float64{"pH": 6.4, "P": 50, "K": 100, "Mg": 105, "Ca": 790, "Zn": 5, "Cu": 3, "B": 2} {
		if a != analyte {
			b.test("1", date, a, x)
		}
	}
	if analyte != "" {
		b.test("1", date, analyte, v, o...)
	}
	return &b
}

func TestStates(t *testing.T) {
	for _, c := range []struct {
		name, date, analyte string
		v                   float64
		o                   []option
		state, say          string
	}{
		{"all in band", "2024-10-20", "", 0, nil, Leave, "pH, P, K, Mg, B, Zn, Cu in their bands"},
		{"P low", "2024-10-20", "P", 15, nil, DoNow, "it stays, so it can go on now, at the rate your lab gives"},
		{"pH low", "2024-10-20", "pH", 5.6, nil, DoNow, "cucurbits at least 5.8: lime"},
		{"pH below its band only", "2024-10-20", "pH", 5.8, nil, DoNow, "5.8 (90 % range 5.4-6.2), wanted 6.0-6.8: lime"},
		{"pH close", "2024-10-20", "pH", 5.95, nil, TestAgain, "too close to call (6 in 10 that it is low)"},
		{"pH high", "2024-10-20", "pH", 7.4, nil, Leave, "no lime"},
		{"P close", "2024-10-20", "P", 34, nil, TestAgain, "too close to call (6 in 10 that it is low)"},
		{"P high", "2024-10-20", "P", 120, nil, Leave, "P above: none needed, and compost and manure bring it too"},
		{"K high", "2024-10-20", "K", 300, nil, Leave, "K above (no evidence that more helps)"},
		{"P at the top", "2024-10-20", "P", 72, nil, Leave, "P at the top of the band or above"},
		{"B low in autumn", "2024-10-20", "B", 0.2, nil, WaitForSpring, "sparingly (too much harms)"},
		{"B low in spring", "2024-04-20", "B", 0.2, nil, DoNow, "it is due now and not in autumn, sparingly"},
		{"B close in spring", "2024-04-20", "B", 0.47, nil, TestAgain, "too close to call"},
		{"P below the limit", "2024-10-20", "P", 5, []option{below}, DoNow, "P <5"},
		{"P beyond a limit in the band", "2024-10-20", "P", 60, []option{above}, Leave, "P >60 cannot be told from its band: the lab's limit is in the way"},
		{"P beyond a limit above the band", "2024-10-20", "P", 80, []option{above}, Leave, "P above: none needed"},
		{"no band for the method", "2024-10-20", "P", 3, []option{method("Olsen")}, Leave, "not judged, no band by Olsen (P)"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := sufficient(c.date, c.analyte, c.v, c.o...).review(t, Options{Targets: defaultTargets(t)})
			x := r.Beds[0]
			if x.State != c.state {
				t.Errorf("%s (%s), want %s", x.State, x.Why, c.state)
			}
			contains(t, x.Why, c.say)
			if p := x.Actions[0].POutside; x.State == DoNow && p < sure || x.State == TestAgain && (p < doubtful || p >= sure) {
				t.Errorf("%s at probability %v", x.State, p)
			}
			if c.analyte == "P" && c.v > 68.5 && strings.Contains(x.Why, "pH, P,") {
				t.Errorf("%q calls P in its band too", x.Why)
			}
		})
	}
}

func TestUrgency(t *testing.T) {
	b := sufficient("2024-10-20", "P", 15)
	b.test("1", "2024-10-20", "S", 1, method("modified Morgan")) // wait for spring
	b.test("1", "2024-10-21", "K", 70)                           // too close to call
	x := b.review(t, Options{Targets: defaultTargets(t)}).Beds[0]
	var got []string
	for _, a := range x.Actions {
		got = append(got, a.State)
	}
	if want := []string{DoNow, TestAgain, WaitForSpring, Leave}; !slices.Equal(got, want) {
		t.Errorf("order %q, want %q", got, want)
	}
	if x.State != DoNow {
		t.Errorf("state %s", x.State)
	}
	contains(t, x.Why, "test again: K 70")
	contains(t, x.Why, "wait for spring: S 1")
}

// A test in the middle of the season is shown, but judges nothing.
func TestMidSeasonJudgesNothing(t *testing.T) {
	b := sufficient("2024-04-20", "", 0)
	b.test("1", "2024-07-20", "P", 5)
	if x := b.review(t, Options{Targets: defaultTargets(t)}).Beds[0]; x.State != Leave {
		t.Errorf("%s: %s", x.State, x.Why)
	}
}

func TestOldTestAndNone(t *testing.T) {
	b := sufficient("2023-04-20", "P", 15)
	b.bed("2", "2020-01-01", nil)
	// 548 days after 20 April 2023 is 19 October 2024.
	if x := b.review(t, Options{Targets: defaultTargets(t)}, "2024-10-19").Beds; x[0].State != DoNow || x[1].State != TestAgain || x[1].Why != "no soil test by this day" {
		t.Errorf("%s; %s: %s", x[0].State, x[1].State, x[1].Why)
	}
	if x := b.review(t, Options{Targets: defaultTargets(t)}, "2024-10-20").Beds[0]; x.State != TestAgain || !strings.Contains(x.Why, "over 18 months old") || strings.Contains(x.Why, "P 15") {
		t.Errorf("%s: %s", x.State, x.Why)
	}
}

func TestLabPending(t *testing.T) {
	b := sufficient("2024-04-20", "", 0)
	for asOf, want := range map[string]bool{"2024-08-31": false, "2024-09-01": true, "2024-12-31": true} {
		if got := b.review(t, Options{}, asOf).Beds[0].LabPending; got != want {
			t.Errorf("as of %s: %v", asOf, got)
		}
	}
	b.test("1", "2024-10-20", "P", 50)
	if b.review(t, Options{}).Beds[0].LabPending {
		t.Error("pending with the autumn test in the book")
	}
	// A core of the layer below is not the bed's autumn test.
	var c book
	c.test("1", "2024-04-20", "P", 50)
	c.test("1", "2024-10-20", "P", 50, layer(20, 40))
	if !c.review(t, Options{}).Beds[0].LabPending {
		t.Error("a core of the subsoil ends the wait")
	}
}

// Liming again because the book shows lime below an old test is slow to undo.
func TestSpreadSinceTheTest(t *testing.T) {
	b := sufficient("2024-10-10", "pH", 5.5)
	b.spread("1", "2024-10-20", "pelleted stone")
	b.Materials = append(b.Materials, dataset.Material{Grower: b.Amendments[0].Grower, Material: "pelleted stone", Component: "CCE", Value: 90, Unit: "%"})
	x := b.review(t, Options{Targets: defaultTargets(t)}).Beds[0]
	if x.State != Leave {
		t.Errorf("limed after the test: %s: %s", x.State, x.Why)
	}
	contains(t, x.Why, "spread since that test: pelleted stone")
	// A spreading before the test is in it.
	b = sufficient("2024-10-10", "pH", 5.5)
	b.spread("1", "2024-04-20", "dolomitic lime")
	if x := b.review(t, Options{Targets: defaultTargets(t)}).Beds[0]; x.State != DoNow {
		t.Errorf("limed before the test: %s: %s", x.State, x.Why)
	}
}

func TestMomentOfTheYear(t *testing.T) {
	for _, c := range []struct {
		analyte string
		v       float64
		asOf    string
		state   string
		say     string
	}{
		{"pH", 5.5, "2025-03-15", DoNow, "lime"},
		{"pH", 5.5, "2025-07-15", Leave, "not with the crop on; after harvest"},
		{"pH", 5.5, "2025-09-15", DoNow, "lime"},
		{"B", 0.2, "2024-12-01", WaitForSpring, "dose it in spring"},
		{"B", 0.2, "2025-02-10", WaitForSpring, "dose it in spring"},
		{"B", 0.2, "2025-03-15", DoNow, "due now"},
		{"B", 0.2, "2025-07-15", WaitForSpring, "dose it in spring"},
	} {
		t.Run(c.analyte+" "+c.asOf, func(t *testing.T) {
			x := sufficient("2024-10-20", c.analyte, c.v).review(t, Options{Targets: defaultTargets(t)}, c.asOf).Beds[0]
			if x.State != c.state {
				t.Errorf("%s: %s, want %s", x.State, x.Why, c.state)
			}
			contains(t, x.Why, c.say)
		})
	}
}

func TestHazards(t *testing.T) {
	for _, c := range []struct {
		name, analyte, method string
		v                     float64
		state, say            string
	}{
		{"lead in all", "Pb", "total digest", 600, DoNow, "ask your health department"},
		{"salts by another method", "EC", "EC 1:5", 6, Leave, "not judged, no band by EC 1:5 (EC)"},
		{"lead, no method", "Pb", "", 300, TestAgain, "not known to be of all lead"},
		{"lead in all, usual", "Pb", "total digest", 40, Leave, "not judged, no band by total digest (Pb)"},
		{"lead by extract", "Pb", "modified Morgan", 30, TestAgain, "ask the lab for total lead"},
		{"salts", "EC", "EC 1:2", 6, DoNow, "no more feed, compost or manure"},
		{"no salts", "EC", "EC 1:2", 0.4, Leave, "pH, P, K, Mg, B, Zn, Cu, EC in their bands"},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := sufficient("2024-10-20", "", 0)
			b.test("1", "2024-10-20", c.analyte, c.v, method(c.method))
			x := b.review(t, Options{Targets: defaultTargets(t)}).Beds[0]
			if x.State != c.state {
				t.Errorf("%s: %s, want %s", x.State, x.Why, c.state)
			}
			contains(t, x.Why, c.say)
		})
	}
}

// A limit above the band's lower end says nothing of a shortage.
func TestLimitInTheWay(t *testing.T) {
	x := sufficient("2024-10-20", "B", 1, below).review(t, Options{Targets: defaultTargets(t)}).Beds[0]
	if x.State != Leave {
		t.Errorf("B <1: %s: %s", x.State, x.Why)
	}
	contains(t, x.Why, "B <1 cannot be told from its band")
}

// K leaves a sandy bed with the winter's water.
func TestKOnSand(t *testing.T) {
	for cec, want := range map[float64]string{3: WaitForSpring, 12: DoNow} {
		b := sufficient("2024-10-20", "K", 40)
		b.test("1", "2024-10-20", "CEC", cec, method("sum of cations"))
		if x := b.review(t, Options{Targets: defaultTargets(t)}).Beds[0]; x.State != want {
			t.Errorf("CEC %v: %s: %s, want %s", cec, x.State, x.Why, want)
		}
	}
}

// Old or mid-season lead is still lead.
func TestLeadOfAnyAge(t *testing.T) {
	for _, date := range []string{"2019-10-20", "2024-07-20"} {
		b := sufficient("2024-10-20", "", 0)
		b.test("1", date, "Pb", 900, method("total digest"))
		if x := b.review(t, Options{Targets: defaultTargets(t)}).Beds[0]; x.State != DoNow || !strings.Contains(x.Why, "health department") {
			t.Errorf("%s: %s: %s", date, x.State, x.Why)
		}
	}
}

// "leave" needs something to have been judged.
func TestNothingJudged(t *testing.T) {
	var b book
	b.test("1", "2024-10-20", "pH", 4.5, method(""))
	b.test("1", "2024-10-20", "P", 5, method(""))
	x := b.review(t, Options{Targets: defaultTargets(t)}).Beds[0]
	if x.State != TestAgain {
		t.Errorf("no method: %s: %s", x.State, x.Why)
	}
	contains(t, x.Why, "no method on the report: pH, P")

	b = book{}
	b.test("1", "2022-10-05", "pH", 4.5)
	b.test("1", "2025-10-05", "OM", 4)
	x = b.review(t, Options{Targets: defaultTargets(t)}).Beds[0]
	if x.State != TestAgain {
		t.Errorf("old: %s: %s", x.State, x.Why)
	}
	contains(t, x.Why, "tests over 18 months old: pH (2022-10-05)")
}

// Two tests of one day that fall on either side of the band settle nothing; a
// deeper layer does not speak for the bed.
func TestTestsOfOneDay(t *testing.T) {
	b := sufficient("2024-10-20", "pH", 5.0, lab("L"))
	b.test("1", "2024-10-20", "pH", 6.6, lab("Z"))
	x := b.review(t, Options{Targets: defaultTargets(t)}).Beds[0]
	if x.State != TestAgain {
		t.Errorf("%s: %s", x.State, x.Why)
	}
	contains(t, x.Why, "disagree on pH: 5.0 (water 1:1, L), 6.6 (water 1:1, Z)")

	b = sufficient("2024-10-20", "P", 15)
	b.test("1", "2024-10-20", "P", 35, method("Olsen"))
	b.test("1", "2024-10-20", "P", 90, layer(0, 30))
	if x := b.review(t, Options{Targets: defaultTargets(t)}).Beds[0]; x.State != DoNow || !strings.Contains(x.Why, "P 15") {
		t.Errorf("%s: %s", x.State, x.Why)
	}
}

// ownBand is a band of the grower's, by the usual method of the tests.
func ownBand(analyte, method, unit string, low, high float64) Target {
	return Target{Analyte: analyte, Method: method, Unit: unit, Low: low, High: high, Source: ownSource}
}

// What acts slowly, what moves with water and what nobody spreads is each told so.
func TestTimingWords(t *testing.T) {
	for _, c := range []struct {
		analyte, date string
		v             float64
		state, say    string
	}{
		{"OM", "2024-10-20", 2, DoNow, "it builds over years: compost now, in autumn"},
		{"OM", "2024-04-20", 2, Leave, "it builds over years: compost in autumn"},
		{"S", "2024-10-20", 2, WaitForSpring, "it moves with winter water"},
		{"B", "2024-10-20", 0.1, WaitForSpring, "it moves with winter water"},
		{"NO3-N", "2024-10-20", 2, WaitForSpring, "it moves with winter water"},
		{"Fe", "2024-10-20", 2, DoNow, "it stays"},
		{"CEC", "2024-10-20", 4, Leave, "nothing is spread for it by itself"},
	} {
		var b book
		b.test("1", c.date, c.analyte, c.v)
		x := b.SoilTests[0]
		r := b.review(t, Options{Targets: []Target{ownBand(c.analyte, x.Method, x.Unit, 10*c.v, 20*c.v)}}, c.date)
		if got := r.Beds[0]; got.State != c.state || !strings.Contains(got.Why, c.say) {
			t.Errorf("%s of %s: %s: %s", c.analyte, c.date, got.State, got.Why)
		}
	}
}

// A lab's limit within a band tells nothing, in the headline and in the bands.
func TestLimitWithinABand(t *testing.T) {
	for _, c := range []struct {
		v         float64
		o         option
		low, high float64
		want      string
	}{
		{100, below, 73, 139, untold}, {74, below, 73, 0, untold}, {73, below, 73, 139, "below"}, {200, below, 73, 139, untold},
		{100, above, 73, 139, untold}, {139, above, 73, 139, "above"}, {80, above, 73, 0, "inside"},
	} {
		var b book
		b.test("1", "2024-10-20", "K", c.v, c.o)
		x := b.review(t, Options{Targets: []Target{ownBand("K", "Mehlich-3", "mg/kg", c.low, c.high)}}).Beds[0]
		if len(x.Bands) != 1 || x.Bands[0].Where != c.want || !strings.Contains(x.Bands[0].Text, c.want+" your own band") {
			t.Errorf("%v in %v-%v: %+v, want %s", c.v, c.low, c.high, x.Bands, c.want)
		}
		if got := strings.Contains(x.Why, "cannot be told"); got != (c.want == untold) {
			t.Errorf("%v in %v-%v: headline %s", c.v, c.low, c.high, x.Why)
		}
	}
}

// The review looks back from the last thing that is written down.
func TestLastRecord(t *testing.T) {
	var b book
	b.test("1", "2024-04-20", "P", 50)
	b.spread("1", "2024-06-20", "fish feed")
	asOf := func(want string) {
		t.Helper()
		if got := b.review(t, Options{}).AsOf; got != day(want) {
			t.Errorf("as of %s, want %s", got, want)
		}
	}
	asOf("2024-06-20")
	b.Amendments[0].Every, b.Amendments[0].Until = ptr(int32(7)), ptr(day("2024-09-01"))
	asOf("2024-09-01")
	b.Advice = append(b.Advice, dataset.Advice{Grower: "Ada", Bed: "1", Date: day("2024-11-02"), Item: "lime", Source: b.source()})
	asOf("2024-11-02")
}

// What is not exact keeps both its ends.
func TestInputRange(t *testing.T) {
	var b book
	b.spread("1", "2024-06-20", "fish feed")
	b.Amendments[0].AmountLow, b.Amendments[0].AmountHigh = ptr(8.0), ptr(12.0)
	if in := b.review(t, Options{}).Beds[0].Inputs[0]; in.Low == nil || *in.Low != 8 || in.High == nil || *in.High != 12 {
		t.Errorf("%+v", in)
	}
}
