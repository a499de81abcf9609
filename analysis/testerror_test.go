package analysis

import (
	"encoding/csv"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"carryover/dataset"
)

// What tests can show, at 90 %, for 12 cores: the figures are 1.96 sqrt2 s at
// 95 % of the same components (from memory), so they check the road.
func TestDetectableByKind(t *testing.T) {
	level := func(analyte string, n int32) *Level {
		var b book
		b.test("1", "2024-04-20", analyte, 6.5, cores(n))
		return &b.review(t, Options{}).Beds[0].Levels[0]
	}
	const to90 = z90 / 1.96
	d := level("pH", 12).Detectable
	// Spring against autumn 0.644; two beds of one report 0.33, the season being the
	// same in both.
	if !near(d.Season.Rise, 0.644*to90, 0.002) || !near(d.Bed.Rise, 0.33*to90, 0.01) {
		t.Errorf("pH, 12 cores: %+v, want %.3f and %.3f", d, 0.644*to90, 0.33*to90)
	}
	// Between the two lies a test of the same timing: what its report adds stays.
	e, _ := errorOf("pH")
	if want := z90 * math.Sqrt2 * math.Sqrt(e.core*e.core/12+e.lab*e.lab+e.season*e.season*reportShare*reportShare); !near(d.Year.Fall, want, 1e-9) || d.Year.Fall >= d.Season.Fall || d.Year.Fall <= d.Bed.Fall {
		t.Errorf("same timing %.3f, want %.3f, between %.3f and %.3f", d.Year.Fall, want, d.Bed.Fall, d.Season.Fall)
	}
	// On the log scale a fall and the rise back are one ratio.
	p := level("P", 10)
	if m := p.Detectable.Season; !near((6.5-m.Fall)*(6.5+m.Rise), 6.5*6.5, 1e-9) || !near(math.Log1p(m.Rise/6.5), math.Log(1.60)*to90, 0.01) {
		t.Errorf("P, 10 cores: %+v of 6.5, want a rise by a factor of 1.60 at 95 %%, restated", m)
	}
	var b book
	b.test("1", "2024-04-20", "Zn", 2, below)
	if x := b.review(t, Options{}).Beds[0].Levels[0]; x.Detectable != nil {
		t.Errorf("a limit shows nothing: %+v", x.Detectable)
	}
}

// A change is seen exactly when it leaves the margin that stands beside it.
func TestSeenIsTheMargin(t *testing.T) {
	for _, kind := range []string{Drawdown, Year} {
		for _, analyte := range []string{"P", "pH", "OM"} {
			for _, share := range []float64{0.97, 1.03} {
				for _, up := range []bool{false, true} {
					dates := map[string][2]string{Drawdown: {"2024-04-20", "2024-10-20"}, Year: {"2023-10-20", "2024-10-20"}}[kind]
					var b book
					b.test("1", dates[0], analyte, 6.5)
					b.test("1", dates[1], analyte, 6.5)
					m := b.review(t, Options{}).Beds[0].find(t, kind, analyte).Detectable
					b.SoilTests[1].Value = 6.5 - share*m.Fall
					if up {
						b.SoilTests[1].Value = 6.5 + share*m.Rise
					}
					c := b.review(t, Options{}).Beds[0].find(t, kind, analyte)
					if c.Seen != (share > 1) || c.Says != says(c.Seen) {
						t.Errorf("%s of %s, %.2f of the margin, up %v: seen %v, %q", kind, analyte, share, up, c.Seen, c.Says)
					}
				}
			}
		}
	}
	var b book
	b.test("1", "2024-04-20", "P", 96)
	b.test("1", "2024-10-20", "P", 40)
	b.test("1", "2024-04-20", "K", 96)
	b.test("1", "2024-10-20", "K", 96)
	x := b.review(t, Options{}).Beds[0]
	contains(t, x.find(t, Drawdown, "P").Sentence(true), "P fell from 96 to 40 ppm: can be seen (two such tests show a fall of 32 or a rise of 47)")
	contains(t, x.find(t, Drawdown, "K").Sentence(false), "K did not move from 96 mg/kg: cannot be told from no change (")
}

// simulate draws growers with beds and no true change between their two reports,
// and returns the review of all.
func simulate(t *testing.T, kind, analyte string, trials, beds int, seed uint64) *Review {
	rng := rand.New(rand.NewPCG(seed, 90))
	e, _ := errorOf(analyte)
	own, report := e.own(10, 1), e.season*reportShare
	offset := math.Sqrt(2 * (e.season*e.season - report*report))
	dates := map[string][2]string{Drawdown: {"2024-04-20", "2024-10-20"}, Year: {"2023-10-20", "2024-10-20"}}[kind]
	var b book
	for g := range trials {
		shift := [2]float64{report * rng.NormFloat64(), report * rng.NormFloat64()}
		if kind == Drawdown {
			shift[1] += offset * rng.NormFloat64()
		}
		for n := range beds {
			for i, d := range dates {
				v := shift[i] + own*rng.NormFloat64()
				if analyte == "pH" {
					v += 6.5
				} else {
					v = 60 * math.Exp(v)
				}
				b.test(strconv.Itoa(n), d, analyte, v, grower(fmt.Sprintf("%05d", g)))
			}
		}
	}
	return b.review(t, Options{})
}

// simulation: of pairs without a true change nine in ten are not detectable, for
// one bed and for four that share their reports, and so is the mean of the four.
// Taken as independent, the four would promise far too much.
func TestNoTrueChange(t *testing.T) {
	within := func(what string, hits, n int, spread float64) {
		t.Helper()
		// The fixed points put bounds up to 1.4 % off: 0.5 points of coverage.
		if share := float64(hits) / float64(n); math.Abs(share-0.9) > 3*spread+0.005 {
			t.Errorf("%s: %.2f %% not detectable, want 90 within %.2f", what, 100*share, 100*(3*spread+0.005))
		} else {
			t.Logf("%s: %.2f %% not detectable, binomial spread %.2f", what, 100*share, 100*spread)
		}
	}
	for i, c := range []struct {
		kind, analyte string
		beds          int
	}{{Drawdown, "Cu", 1}, {Year, "pH", 1}, {Drawdown, "pH", 4}, {Year, "Cu", 4}} {
		trials := 10_000 // of one bed
		if c.beds > 1 {
			trials = 5_000 // of four, 20,000 pairs
		}
		if testing.Short() {
			trials /= 10
		}
		r := simulate(t, c.kind, c.analyte, trials, c.beds, uint64(i))
		hits, n := 0, 0
		perGrower := map[string]int{}
		for j := range r.Beds {
			x := r.Beds[j].find(t, c.kind, c.analyte)
			n++
			if !x.Seen {
				hits++
				perGrower[r.Beds[j].Grower]++
			}
		}
		if n != trials*c.beds {
			t.Fatalf("%d pairs", n)
		}
		// Beds of one grower share reports, so the spread is that of the growers.
		mean, squares := float64(hits)/float64(trials), 0.0
		for g := range trials {
			d := float64(perGrower[fmt.Sprintf("%05d", g)]) - mean
			squares += d * d
		}
		spread := math.Sqrt(squares) / float64(trials*c.beds)
		what := fmt.Sprintf("%s of %s, %d beds", c.kind, c.analyte, c.beds)
		within(what, hits, n, spread)
		if c.beds == 1 {
			if len(r.Together) != 0 {
				t.Errorf("%s: one bed is no mean", what)
			}
			continue
		}
		hits, alone := 0, 0
		for _, x := range r.Together {
			if len(x.Beds) != c.beds || x.Kind != c.kind {
				t.Fatalf("%+v", x)
			}
			if !x.Seen {
				hits++
			}
			// The range that four independent beds would have.
			e, _ := errorOf(c.analyte)
			m := z90 * math.Sqrt2 * e.sd(10, 1) / 2
			if c.analyte == "pH" && math.Abs(x.Estimate.Value) <= m || c.analyte != "pH" && math.Abs(math.Log1p(x.Estimate.Value/100)) <= m {
				alone++
			}
		}
		within(what+", mean", hits, trials, math.Sqrt(0.09/float64(trials)))
		if share := float64(alone) / float64(trials); c.analyte == "pH" && share > 0.75 {
			t.Errorf("taken as independent the mean of four would hold in %.0f %% of cases: nothing is shared", 100*share)
		}
	}
}

// The share of the report's error, and what follows from it, on real plots that
// were never limed: pH hardly moves there, so changes are test error.
//
// Source: Glendining, Holland, McGrath and Goulding 2023, Rothamsted long-term
// liming experiment, doi 10.23637/rcs10-soil-01.
func TestReportEffect(t *testing.T) {
	dir := os.Getenv("CARRYOVER_OPENDATA")
	if dir == "" {
		dir = filepath.Join("..", "..", "shared", "opendata")
	}
	f, err := os.Open(filepath.Join(dir, "reference", "liming_pairs.csv"))
	if err != nil {
		t.Skip("open data absent: set CARRYOVER_OPENDATA to the folder that holds reference/liming_pairs.csv")
	}
	defer f.Close()
	lines, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	number := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	inAutumn := func(s string) bool { return day(s).Month() >= 9 }
	changes := map[string][]float64{}
	e, _ := errorOf("pH")
	// 20 and more cores of a small plot: the lab's and the report's errors remain.
	margin := z90 * math.Sqrt2 * math.Hypot(e.own(20, 1), e.season*reportShare)
	dropped := z90 * math.Sqrt2 * e.own(20, 1) // if the whole season's error went
	seen, seenDropped, n := 0, 0, 0
	for _, l := range lines[1:] { // plot, lime_level, origin, target, years, next, lime_between, origin_pH, target_pH
		if l[1] != "0" || l[5] != "1" || l[6] != "0" || !inAutumn(l[2]) || !inAutumn(l[3]) {
			continue
		}
		d := number(l[8]) - number(l[7])
		changes[l[2]] = append(changes[l[2]], d)
		n++
		if math.Abs(d) > margin {
			seen++
		}
		if math.Abs(d) > dropped {
			seenDropped++
		}
	}
	var means, within float64
	df := 0
	for _, c := range changes {
		mean := 0.0
		for _, d := range c {
			mean += d / float64(len(c))
		}
		for _, d := range c {
			within += (d - mean) * (d - mean)
		}
		means, df = means+mean*mean, df+len(c)-1
	}
	own := math.Sqrt(within / float64(df) / 2)
	report := math.Sqrt((means/float64(len(changes)) - own*own*2/8) / 2)
	t.Logf("%d changes on %d dates: report %.3f, own %.3f; outside the margin %d, outside one without a report's error %d", n, len(changes), report, own, seen, seenDropped)
	if n < 100 || !near(report, e.season*reportShare, 0.05) {
		t.Errorf("the report's error is %.3f pH over %d changes, reportShare makes %.3f", report, n, e.season*reportShare)
	}
	if share := 1 - float64(seen)/float64(n); share < 0.75 {
		t.Errorf("only %.0f %% of changes without a cause are called so", 100*share)
	}
	if share := 1 - float64(seenDropped)/float64(n); share > 0.7 {
		t.Errorf("without a report's error %.0f %% would be called so: it is not needed", 100*share)
	}
}

// Enough duplicates of the grower's own replace the default, and say so.
func TestOwnDuplicates(t *testing.T) {
	make := func(pairs int, ratio float64) *book {
		var b book
		b.test("1", "2024-04-20", "P", 60)
		b.test("1", "2024-10-20", "P", 50)
		for i := range pairs {
			d := fmt.Sprintf("20%02d-05-01", 10+i)
			b.test("2", d, "P", 60*ratio, sample("a"))
			b.test("2", d, "P", 60/ratio, sample("b"))
		}
		return &b
	}
	e, _ := errorOf("P")
	level := func(b *book) *Level {
		r := b.review(t, Options{})
		return &r.Beds[0].Levels[0]
	}
	for _, c := range []struct {
		pairs int
		ratio float64
	}{{enoughDuplicates - 1, 1.1}, {enoughDuplicates, 1.1}, {12, 1.3}} {
		l := level(make(c.pairs, c.ratio))
		want := e.own(10, 1)
		if c.pairs >= enoughDuplicates {
			// Both samples lie ln(ratio) off their mean.
			want = math.Sqrt2 * math.Log(c.ratio) * student(c.pairs) / z90
			contains(t, l.Estimate.Basis, fmt.Sprintf("your own duplicates (%d pairs' worth)", c.pairs))
		} else {
			contains(t, l.Estimate.Basis, "default test error, from memory")
		}
		if !near(l.own, want, 1e-9) || !near(l.sd, math.Hypot(want, e.season), 1e-9) {
			t.Errorf("%d pairs of ratio %v: own error %.4f, want %.4f", c.pairs, c.ratio, l.own, want)
		}
	}
	// Another analyte, method or grower keeps the default; so does what came later.
	b := make(8, 1.1)
	b.test("1", "2024-04-20", "Zn", 6)
	b.test("1", "2024-04-20", "P", 60, grower("Bo"))
	b.test("3", "2024-04-20", "P", 60, method("Olsen"))
	r := b.review(t, Options{})
	for i := range r.Beds {
		for j := range r.Beds[i].Levels {
			l := &r.Beds[i].Levels[j]
			mine := r.Beds[i].Grower == "Ada" && l.Analyte == "P" && l.Method == "Mehlich-3"
			if x, _ := errorOf(l.Analyte); near(l.own, x.own(int(*l.Cores), len(l.Reported)), 1e-9) == mine {
				t.Errorf("%s %s %s of %s: own error %.4f", l.Analyte, l.Method, l.Date, r.Beds[i].Grower, l.own)
			}
		}
	}
	if l := b.review(t, Options{}, "2013-01-01").Beds[1].Levels[0]; !near(l.own, e.own(int(*l.Cores), len(l.Reported)), 1e-9) {
		t.Error("later duplicates are known too early")
	}
	// Duplicates that agree by rounding promise no more than a quarter of the default.
	if l := level(make(20, 1)); !near(l.own, leastOwn*e.own(10, 1)*student(20)/z90, 1e-9) {
		t.Errorf("identical duplicates: own error %.4f", l.own)
	}
	// Samples of two labs, depths or methods are no duplicates.
	for name, o := range map[string]option{"lab": lab("Lab 2"), "depth": layer(0, 20), "method": method("Olsen"), "limit": below, "volume": volume} {
		var b book
		b.test("1", "2024-04-20", "P", 60)
		for i := range 9 {
			d := fmt.Sprintf("20%02d-05-01", 10+i)
			b.test("2", d, "P", 66, sample("a"))
			b.test("2", d, "P", 54, sample("b"), o)
		}
		if l := level(&b); !near(l.own, e.own(10, 1), 1e-9) {
			t.Errorf("another %s made duplicates", name)
		}
	}
}

func TestDuplicatesAreTold(t *testing.T) {
	var b book
	for i := range enoughDuplicates {
		d := fmt.Sprintf("20%02d-05-01", 10+i)
		b.test("2", d, "P", 66, sample("a"))
		b.test("2", d, "P", 54, sample("b"))
	}
	b.test("2", "2024-05-01", "pH", 6.4, sample("a"))
	b.test("2", "2024-05-01", "pH", 6.6, sample("b"))
	list := b.review(t, Options{}).Duplicates
	if len(list) != 2 || list[0].Analyte != "pH" || list[0].Used || list[0].Pairs != 1 || !list[1].Used || list[1].Pairs != enoughDuplicates {
		t.Fatalf("%+v", list)
	}
	// Two samples 0.2 apart differ by sqrt2 times the error of one.
	if !near(list[0].Own, 0.2/math.Sqrt2, 1e-9) {
		t.Errorf("pH: %v, want 0.141", list[0].Own)
	}
	contains(t, list[0].Text, "pH by water 1:1: 1 pair of your duplicates differs by an error of 0.14 a sample, default 0.12: the default stands until there are 6")
	contains(t, list[1].Text, "P by Mehlich-3: 6 pairs of your duplicates differ by an error of 14 % a sample, default 15 %: yours are used")
	var none book
	none.test("1", "2024-04-20", "P", 60)
	if x := none.review(t, Options{}).Duplicates; x == nil || len(x) != 0 {
		t.Errorf("%+v", x)
	}
}

// simulation: the own error taken from few duplicates still holds nine in ten.
func TestDuplicatesHoldTheirRange(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	const n = 20_000
	hits := 0
	for range n {
		d := duplicates{}
		for range enoughDuplicates {
			day := make([]dataset.SoilTest, 2)
			for i := range day {
				day[i] = dataset.SoilTest{Analyte: "OM", Method: "LOI", Value: 6 * math.Exp(0.3*rng.NormFloat64())}
			}
			d.add(day)
		}
		f, _ := d.factor(methodKey{"", "OM", "LOI"})
		e, _ := errorOf("OM")
		if math.Abs(0.3*rng.NormFloat64()) <= z90*f*e.own(0, 1) {
			hits++
		}
	}
	if share := float64(hits) / n; math.Abs(share-0.9) > 3*math.Sqrt(0.09/n) {
		t.Errorf("%.2f %% held, want 90", 100*share)
	}
	// Abramowitz and Stegun 1964, table 26.10: t at 95 % one-sided.
	for df, want := range map[int]float64{6: 1.943, 10: 1.812, 30: 1.697} {
		if got := student(df); math.Abs(got-want) > 0.0011 {
			t.Errorf("t of %d degrees of freedom: %.4f, want %.3f", df, got, want)
		}
	}
}

func TestBetweenBeds(t *testing.T) {
	var b book
	b.test("1", "2024-04-20", "pH", 6.0)
	b.test("2", "2024-04-20", "pH", 6.4)
	b.test("3", "2024-04-21", "pH", 6.4)
	b.test("4", "2024-04-20", "pH", 6.4, lab("Lab 2"))
	b.test("5", "2024-04-20", "pH", 6.4, method("CaCl2"))
	b.test("6", "2024-04-20", "P", 6.4)
	b.test("7", "2024-04-20", "pH", 6.4, func(t *dataset.SoilTest) { t.Report = "77" })
	r := b.review(t, Options{})
	level := func(n int) *Level { return &r.Beds[n-1].Levels[0] }
	c, err := Between("1", "2", level(1), level(2))
	if err != nil {
		t.Fatal(err)
	}
	e, _ := errorOf("pH")
	if m := z90 * math.Sqrt2 * e.own(10, 1); !near(c.Estimate.Value, 0.4, 1e-9) || !near(c.Estimate.High-0.4, m, 0.02) || !c.Seen || c.Says != CanBeSeen || !near(c.Detectable.Rise, m, 1e-9) {
		t.Errorf("%+v, want 0.4 within %.3f, seen", c, m)
	}
	// The same two beds a year apart would not show it.
	if y := level(1).Detectable.Year; y.Rise < 0.4 {
		t.Errorf("%.3f a year apart: the report's error does not fall out between beds", y.Rise)
	}
	for n, want := range map[int]string{3: "two reports", 4: "lab changed", 5: "method changed", 6: "two things", 7: "two reports"} {
		if _, err := Between("1", fmt.Sprint(n), level(1), level(n)); err == nil {
			t.Errorf("bed %d was compared", n)
		} else {
			contains(t, err.Error(), want)
		}
	}
}

func TestTogether(t *testing.T) {
	var b book
	for _, bed := range []string{"1", "2", "3"} {
		b.test(bed, "2024-04-20", "P", 100)
		b.test(bed, "2024-10-20", "P", 80)
		b.test(bed, "2025-10-20", "P", 100)
	}
	b.test("4", "2024-04-20", "P", 100)
	b.test("4", "2024-10-22", "P", 80) // another report
	r := b.review(t, Options{})
	if len(r.Together) != 2 {
		t.Fatalf("%+v", r.Together)
	}
	for _, x := range r.Together {
		e, _ := errorOf("P")
		shared, want := e.season, 20.0
		if x.Kind == Year {
			shared, want = e.season*reportShare, 25
		}
		m := z90 * math.Sqrt(2*e.own(10, 1)*e.own(10, 1)/3+2*shared*shared)
		if len(x.Beds) != 3 || !near(x.Estimate.Value, want, 1e-9) || x.Estimate.Unit != "%" || x.Estimate.N != 6 {
			t.Errorf("%+v, want %v %%", x, want)
		}
		if !near(x.Detectable.Rise, 100*math.Expm1(m), 1e-9) || !near(x.Detectable.Fall, -100*math.Expm1(-m), 1e-9) {
			t.Errorf("%s: %+v, want %.1f up", x.Kind, x.Detectable, 100*math.Expm1(m))
		}
		if x.Seen != (x.Estimate.Low > 0) || x.Seen != (math.Log(1.25) > m) {
			t.Errorf("%s: seen %v of %+v", x.Kind, x.Seen, x.Estimate)
		}
	}
	contains(t, r.Together[0].String(), "drawdown of 3 beds tested together, 2024-04-20 to 2024-10-20: P on average +20 %")
}
