package analysis

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"carryover/dataset"
)

func TestSamplesOfOneDayAreAveraged(t *testing.T) {
	var b book
	b.test("1", "2025-04-20", "P", 40, sample("a"), cores(5))
	b.test("1", "2025-04-20", "P", 60, sample("b"), cores(15))
	b.test("1", "2025-04-20", "K", 100)
	r := b.review(t, Options{})
	l := r.Beds[0].Levels
	if len(l) != 2 {
		t.Fatalf("%d levels, want P and K", len(l))
	}
	p := l[0]
	if p.Estimate.Value != 50 || p.Estimate.N != 2 || len(p.Reported) != 2 || *p.Cores != 20 {
		t.Errorf("P %v of %d samples, %d rows, %d cores; want 50 of 2, 2, 20", p.Estimate.Value, p.Estimate.N, len(p.Reported), *p.Cores)
	}
	// 20 cores in all, the lab's part halved, the season's part shared.
	e, _ := errorOf("P")
	want := math.Sqrt(e.core*e.core/20 + e.lab*e.lab/2 + e.season*e.season)
	if !near(math.Log(p.Estimate.High/50), z90*want, 1e-9) || !near(math.Log(50/p.Estimate.Low), z90*want, 1e-9) {
		t.Errorf("range %v, want 50 times or by exp(%.4f)", p.Estimate, z90*want)
	}
	if !has(r.codes(p.Doubts), "samples") || has(r.codes(l[1].Doubts), "samples") {
		t.Error("the mean of two must say so, and only it")
	}
}

// One sample without a count of cores leaves the sum unknown, whichever comes
// first.
func TestUnknownCoresInAPair(t *testing.T) {
	for _, o := range [][2]option{{cores(30), noCores}, {noCores, cores(30)}} {
		var b book
		b.test("1", "2025-04-20", "P", 40, sample("a"), o[0])
		b.test("1", "2025-04-20", "P", 60, sample("b"), o[1])
		l := b.review(t, Options{}).Beds[0].Levels[0]
		if l.Cores != nil {
			t.Errorf("%d cores, want unknown", *l.Cores)
		}
		contains(t, l.Estimate.Basis, "cores not given (10 assumed)")
		e, _ := errorOf("P")
		if want := z90 * e.sd(20, 2); !near(math.Log(l.Estimate.High/50), want, 1e-9) {
			t.Errorf("range %+v, want that of 10 cores for each of the two", l.Estimate)
		}
	}
}

func TestResultsBeyondTheLimit(t *testing.T) {
	var b book
	b.test("1", "2025-04-20", "Zn", 0.4, below)
	b.test("1", "2025-04-20", "Fe", 300, above)
	r := b.review(t, Options{})
	zn, fe := r.Beds[0].Levels[0], r.Beds[0].Levels[1]
	if zn.Qualifier != "<" || zn.Estimate.Low != 0 || zn.Estimate.High != 0.4 || !has(r.codes(zn.Doubts), "below limit") {
		t.Errorf("<0.4: %+v %v, want 0 to 0.4 and its doubt", zn.Estimate, r.codes(zn.Doubts))
	}
	// Nothing bounds it from above, in memory and in JSON alike.
	if !math.IsInf(fe.Estimate.High, 1) || fe.Estimate.Low != 300 || fe.Detectable != nil {
		t.Errorf(">300: %+v, want 300 and no upper end", fe.Estimate)
	}
	text := asJSON(t, fe.Estimate)
	contains(t, text, `"low":300,"high":null`)
	var back Estimate
	if err := json.Unmarshal([]byte(text), &back); err != nil || back != fe.Estimate {
		t.Errorf("%s read back as %+v, %v", text, back, err)
	}
	if err := json.Unmarshal([]byte(asJSON(t, zn.Estimate)), &back); err != nil || back != zn.Estimate {
		t.Errorf("%+v, %v", back, err)
	}
	if fe.Qualifier != ">" || !has(r.codes(fe.Doubts), "above limit") || !strings.Contains(fe.Estimate.Basis, "no upper bound") {
		t.Errorf(">300: %+v %v", fe.Estimate, r.codes(fe.Doubts))
	}
	if got := zn.show(false); got != "<0.4 mg/kg" {
		t.Errorf("shown as %q, want <0.4 mg/kg", got)
	}
	zn.Analyte = "P" // printed without decimals, yet its limit must not read <0
	if got := zn.show(true); got != "<0.4 ppm" {
		t.Errorf("shown as %q, want <0.4 ppm", got)
	}
}

func TestLimitBesideANumber(t *testing.T) {
	for _, first := range []bool{true, false} {
		var b book
		if first {
			b.test("1", "2025-04-20", "Zn", 1, below, sample("a"), cores(30))
		}
		b.test("1", "2025-04-20", "Zn", 3, sample("b"))
		b.test("1", "2025-04-20", "Zn", 5, sample("c"))
		if !first {
			b.test("1", "2025-04-20", "Zn", 1, below, sample("a"), cores(30))
		}
		r := b.review(t, Options{})
		l := r.Beds[0].Levels[0]
		if l.Qualifier != "" || l.Estimate.Value != 4 || len(l.Reported) != 2 || *l.Cores != 20 {
			t.Errorf("limit first %v: %q %v of %d, want the mean 4 of the two numbers", first, l.Qualifier, l.Estimate.Value, len(l.Reported))
		}
		if len(r.told("samples")) != 2 { // a number beside a limit; mean of 2
			t.Errorf("limit first %v: told %q", first, r.told("samples"))
		}
	}
	var b book
	b.test("1", "2025-04-20", "Zn", 1, below, sample("a"))
	b.test("1", "2025-04-20", "Zn", 3, below, sample("b"))
	l := b.review(t, Options{}).Beds[0].Levels[0]
	if l.Qualifier != "<" || l.Estimate.High != 2 || l.Estimate.Low != 0 {
		t.Errorf("two limits 1 and 3: %q %+v, want 0 to 2, where the mean must lie", l.Qualifier, l.Estimate)
	}
}

func TestWhatIsKeptApart(t *testing.T) {
	for name, o := range map[string]option{
		"method": method("Olsen"), "lab": lab("Lab 2"), "depth": layer(0, 20), "layer below": layer(15.24, 30),
		"volume basis": volume, "no method": method(""), "timing": timing(MidSeason),
	} {
		var b book
		b.test("1", "2025-04-20", "P", 40)
		b.test("1", "2025-04-20", "P", 60, o)
		if n := len(b.review(t, Options{}).Beds[0].Levels); n != 2 {
			t.Errorf("%s: %d levels, want 2 kept apart", name, n)
		}
	}
	var b book
	b.test("1", "2025-04-20", "P", 40)
	b.test("1", "2025-04-20", "P", 60, layer(0, 15)) // 6 in written in cm
	if n := len(b.review(t, Options{}).Beds[0].Levels); n != 1 {
		t.Errorf("15.24 and 15 cm: %d levels, want 1", n)
	}
}

func TestLayers(t *testing.T) {
	for _, c := range []struct {
		o   option
		top bool
	}{{layer(0, 15), true}, {noDepth, true}, {layer(0.5, 15), true}, {layer(1, 15), false}, {layer(15, 30), false}} {
		var b book
		b.test("1", "2025-04-20", "P", 40, c.o)
		if l := b.review(t, Options{}).Beds[0].Levels[0]; l.Top() != c.top {
			t.Errorf("from %v: worked layer %v, want %v", l.DepthFrom, l.Top(), c.top)
		}
	}
}

func TestVagueDatesAreToldOnce(t *testing.T) {
	var b book
	b.test("1", "2020-04-15", "P", 40, basis(dataset.ByMonth))
	b.test("1", "2020-04-15", "K", 40, basis(dataset.ByMonth))
	b.test("1", "2021-10-15", "P", 40, basis(dataset.BySeason), timing(Autumn))
	b.test("1", "2022-10-15", "P", 40, basis(dataset.Assumed))
	r := b.review(t, Options{})
	texts := r.told("date")
	if len(texts) != 3 {
		t.Fatalf("told %q, want one each of month, season and assumed", texts)
	}
	contains(t, texts[0], "2020-04")
	contains(t, texts[1], "autumn 2021")
	contains(t, texts[2], "2022-10-15")
	for _, l := range r.Beds[0].Levels {
		if n := len(l.Doubts); n != 1 {
			t.Errorf("%s %s carries %d doubts, want its own date's", l.Analyte, l.when(), n)
		}
	}
}

func TestConversionIsToldOnce(t *testing.T) {
	var b book
	const how = "from lb/acre by the laboratory convention"
	for _, a := range []string{"P", "K", "Ca"} {
		b.test("1", "2024-04-20", a, 40, func(t *dataset.SoilTest) { t.Conversion = how })
		b.test("1", "2025-04-20", a, 40, func(t *dataset.SoilTest) { t.Conversion = how })
	}
	b.test("1", "2025-04-20", "pH", 6.4)
	r := b.review(t, Options{})
	texts := r.told("convention")
	if len(texts) != 1 || strings.Count(texts[0], how) != 1 {
		t.Fatalf("told %q, want once", texts)
	}
	for _, l := range r.Beds[0].Levels {
		if has(r.codes(l.Doubts), "convention") != (l.Analyte != "pH") {
			t.Errorf("%s: %v", l.Analyte, r.codes(l.Doubts))
		}
	}
}

func TestNoMethodIsShownButNotUsed(t *testing.T) {
	var b book
	b.test("1", "2025-04-20", "P", 20, method(""))
	b.test("1", "2025-10-20", "P", 10, method(""))
	b.test("1", "2025-04-20", "K sat", 4)
	b.test("1", "2025-10-20", "K sat", 3)
	r := b.review(t, Options{Targets: defaultTargets(t)})
	x := r.Beds[0]
	if len(x.Levels) != 4 || len(x.Changes) != 1 || x.Changes[0].Analyte != "K sat" || len(x.Carryover) != 0 {
		t.Errorf("%d levels, changes %+v, carryover %+v; want 4, K sat alone, none", len(x.Levels), x.Changes, x.Carryover)
	}
	for _, a := range x.Actions {
		if a.Analyte == "P" {
			t.Errorf("judged without a method: %+v", a)
		}
	}
	if len(x.Breaks) != 1 || x.Breaks[0].Reason != "no method on the report" {
		t.Errorf("breaks %+v", x.Breaks)
	}
}

func TestAsOfHidesLaterRows(t *testing.T) {
	var b book
	b.test("1", "2024-10-20", "P", 40)
	b.test("1", "2025-04-20", "P", 50)
	b.spread("1", "2025-04-21", "lime")
	b.harvest("1", "2025-10-01", 500)
	x := b.review(t, Options{}, "2025-04-19").Beds[0]
	if len(x.Levels) != 1 || len(x.Inputs) != 0 || len(x.Harvests) != 0 || len(x.Changes) != 0 {
		t.Errorf("as of the day before: %d levels, %d inputs, %d harvests, %d changes", len(x.Levels), len(x.Inputs), len(x.Harvests), len(x.Changes))
	}
	if n := len(b.review(t, Options{}, "2025-04-20").Beds[0].Levels); n != 2 {
		t.Errorf("as of the day itself: %d levels, want 2", n)
	}
	if r := b.review(t, Options{}); r.AsOf != day("2025-10-01") || r.Season != 2025 {
		t.Errorf("without a date: as of %s, season %d, want that of the last record", r.AsOf, r.Season)
	}
}
