package analysis

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"carryover/dataset"
)

func (b *book) check(t testing.TB, o Options, asOf ...string) *CheckReport {
	t.Helper()
	b.Sort()
	if len(asOf) > 0 {
		o.AsOf = ptr(day(asOf[0]))
	}
	return Check(&b.Records, o)
}

// told returns the findings of a code.
func (c *CheckReport) told(code string) (out []Finding) {
	for _, f := range c.Findings {
		if f.Code == code {
			out = append(out, f)
		}
	}
	return out
}

// known is a bed of which all is known that a check asks for.
func known(b *book, name string) {
	b.bed(name, "2010-01-01", func(d *dataset.Bed) {
		d.Area, d.NativePH, d.NativeOM, d.DepthTo = ptr(60.0), ptr(5.6), ptr(3.1), ptr(15.24)
		d.BulkDensity, d.DensitySource = ptr(1.15), "measured"
	})
}

func TestCheckOfNothing(t *testing.T) {
	var b book
	if c := b.check(t, Options{}); len(c.Findings) != 0 || !strings.Contains(c.Text, "nothing to check") || c.Format != "carryover.check/1" {
		t.Errorf("%+v", c)
	}
	known(&b, "1")
	for a, v := range map[string]float64{"pH": 6.4, "P": 50, "OM": 5} {
		b.test("1", "2024-04-20", a, v)
		b.test("1", "2024-10-20", a, v)
	}
	if c := b.check(t, Options{}); len(c.Findings) != 0 || c.Text != "no doubts in 6 rows of soil tests" || c.Beds != 1 {
		t.Errorf("%s: %+v", c.Text, c.Findings)
	}
}

// Each kind of doubt is found with its rows, and not without its cause.
func TestCheckFinds(t *testing.T) {
	usual := func() *book {
		var b book
		known(&b, "1")
		for a, v := range map[string]float64{"pH": 6.4, "P": 50, "OM": 5, "Ca": 1400, "Mg": 140, "K": 160} {
			b.test("1", "2024-04-20", a, v)
			b.test("1", "2024-10-20", a, v)
		}
		return &b
	}
	material := func(b *book, component string, v float64, basis string) {
		b.Materials = append(b.Materials, dataset.Material{Grower: "Ada", Material: "Town compost", Kind: "compost", Component: component, Value: v, Basis: basis, Source: b.source()})
	}
	sats := func(b *book, cec, ca, mg, k, h float64) {
		b.test("1", "2024-10-20", "CEC", cec)
		for a, v := range map[string]float64{"Ca sat": ca, "Mg sat": mg, "K sat": k, "H sat": h} {
			b.test("1", "2024-10-20", a, v)
		}
	}
	for _, c := range []struct {
		name, code string
		change     func(b *book)
		say        string // "": nothing of the code
		rows       int
	}{
		{"lead", "lead stop", func(b *book) { b.test("1", "2024-10-20", "Pb", 300, method("total digest")) }, "300 mg/kg of 2024-10-20 in all", 1},
		{"lead by extract", "lead", func(b *book) { b.test("1", "2024-10-20", "Pb", 60) }, "ask the lab for total lead", 1},
		{"pH slipped", "slip", func(b *book) { b.SoilTests[0].Value = 3.4; b.SoilTests[0].Analyte, b.SoilTests[0].Unit = "pH", "pH" }, "outside 4 to 9", 1},
		{"shares add up", "sums", func(b *book) { sats(b, 10.4, 67, 11, 3.9, 18) }, "", 0},
		{"shares do not add up", "sums", func(b *book) { sats(b, 10.4, 67, 11, 3.9, 30) }, "add up to 112 %", 4},
		{"K2O and K mixed up", "sums", func(b *book) { sats(b, 10.4, 67, 11, 3.3, 19) }, "K 160 mg/kg makes 3.9 % of it, and 3.3 % is reported (K2O read as K?)", 3},
		{"lb/acre read as ppm", "sums", func(b *book) { sats(b, 20.8, 67, 11, 3.9, 18) }, "Ca 1400 mg/kg makes 33.6 %", 7},
		{"more bases than CEC", "sums", func(b *book) { b.test("1", "2024-10-20", "CEC", 7) }, "come to 8.5 cmolc/kg by Mehlich-3, more than the CEC of 7.0", 4},
		{"CEC with room for acidity", "sums", func(b *book) { b.test("1", "2024-10-20", "CEC", 10) }, "", 0},
		{"few cores", "few cores", func(b *book) {
			for i := range b.SoilTests {
				if b.SoilTests[i].Date == day("2024-10-20") {
					b.SoilTests[i].Cores = ptr(int32(4))
				}
			}
		}, "4 of 2024-10-20 (two tests of 4 cores show a fall in P of 41 %, of 15 one of 30 %)", 6},
		{"cores not given", "no cores", func(b *book) {
			for i := range b.SoilTests {
				b.SoilTests[i].Cores = nil
			}
		}, "of 2 of 2 samples", 12},
		{"density", "bulk density", func(b *book) { b.Beds[0].BulkDensity = ptr(2.1) }, "2.10 g/cm3 (measured, 2010-01-01): expected 0.5 to 1.8", 1},
		{"density against organic matter", "bulk density", func(b *book) {
			b.Beds[0].BulkDensity = ptr(1.5)
			for i := range b.SoilTests {
				if b.SoilTests[i].Analyte == "OM" {
					b.SoilTests[i].Value = 16
				}
			}
		}, "beside 16.0 % of organic matter", 1},
		{"organic soil", "organic soil", func(b *book) {
			b.Beds[0].BulkDensity = ptr(0.7)
			for i := range b.SoilTests {
				if b.SoilTests[i].Analyte == "OM" {
					b.SoilTests[i].Value = 22
				}
			}
		}, "", -1},
		{"native", "native", func(b *book) { b.Beds[0].NativePH = nil }, "neither the bed's native pH nor", 0},
		{"native from below", "native", func(b *book) {
			b.Beds[0].NativePH = nil
			b.test("1", "2024-10-20", "pH", 5.5, layer(20, 40))
		}, "", 0},
		{"C:N", "compost", func(b *book) {
			material(b, "C:N", 20, "")
			material(b, "total C", 22, "dry")
			material(b, "N", 1.5, "dry")
		}, "C:N of 20 is reported, and C 22 % with N 1.5 % make 14.7", 3},
		{"C:N in order", "compost", func(b *book) {
			material(b, "C:N", 14, "")
			material(b, "total C", 22, "dry")
			material(b, "N", 1.5, "dry")
		}, "", 0},
		{"C:N against organic matter", "compost", func(b *book) {
			material(b, "C:N", 30, "")
			material(b, "OM", 40, "dry")
			material(b, "N", 1.5, "dry")
		}, "makes 45 % of carbon, 1.12 of its organic matter", 3},
		// A supplier's page: 1,018 lb/cu yd at 35 % moisture leaves 661.7, printed 808.
		{"SupplierPage/density-and-moisture", "compost", func(b *book) {
			const kg = 0.593276 // lb/cu yd in kg/m3
			material(b, "density", 1018*kg, "as-is")
			material(b, "density", 808*kg, "dry")
			material(b, "moisture", 35, "as-is")
		}, "leaves 393 dry, and 479 is reported", 3},
		{"density in order", "compost", func(b *book) {
			material(b, "density", 604, "as-is")
			material(b, "density", 392.6, "dry")
			material(b, "moisture", 35, "as-is")
		}, "", 0},
		{"old tests", "old", func(b *book) { b.harvest("1", "2027-10-01", 500) }, "the newest test is of 2024-10-20, 35 months before 2027-10-01", 0},
		{"an old analyte", "old", func(b *book) {
			b.test("1", "2022-10-20", "Zn", 5)
		}, "not tested again for over 18 months: Zn (2022-10-20)", 1},
		{"no method", "no method", func(b *book) {
			b.SoilTests[0].Method = ""
		}, "names no method for", 1},
		{"break", "break", func(b *book) {
			for i := range b.SoilTests {
				if b.SoilTests[i].Date == day("2024-10-20") {
					b.SoilTests[i].Lab = "Lab 2"
				}
			}
		}, "lab changed from Lab 1 to Lab 2", 12},
		{"limed between", "fresh lime", func(b *book) { b.spread("1", "2024-09-20", "lime") }, "before the tests of 2024-10-20", 1},
		{"same day", "same day", func(b *book) { b.spread("1", "2024-10-20", "lime") }, "lime was spread on 2024-10-20, the day of a test, before or after it is not said", 4},
		{"same day, said", "same day", func(b *book) {
			b.spread("1", "2024-10-20", "lime")
			b.Amendments[0].SameDay = "after test"
		}, "", 0},
		{"after the test", "fresh lime", func(b *book) {
			b.spread("1", "2024-10-20", "lime")
			b.Amendments[0].SameDay = "after test"
		}, "", 0},
		{"same day, a feed by its analysis", "same day", func(b *book) {
			material(b, "P", 1, "as-is")
			b.spread("1", "2024-10-20", "Town compost")
		}, "Town compost was spread on 2024-10-20", 2},
		{"same day, of a run", "same day", func(b *book) {
			material(b, "K", 1, "as-is")
			b.spread("1", "2024-10-06", "Town compost")
			b.Amendments[0].Every, b.Amendments[0].Until = ptr(int32(7)), ptr(day("2024-11-03"))
		}, "Town compost was spread on 2024-10-20", 2},
		{"another day of a run", "same day", func(b *book) {
			material(b, "K", 1, "as-is")
			b.spread("1", "2024-10-05", "Town compost")
			b.Amendments[0].Every, b.Amendments[0].Until = ptr(int32(7)), ptr(day("2024-11-03"))
		}, "", 0},
		{"same day, feeds nothing tested", "same day", func(b *book) {
			material(b, "Cu", 1, "as-is")
			b.spread("1", "2024-10-20", "Town compost")
		}, "", 0},
		{"same day, no analysis", "same day", func(b *book) { b.spread("1", "2024-10-20", "fish feed") }, "fish feed was spread on 2024-10-20", 7},
		{"same day, month only", "same day", func(b *book) {
			b.spread("1", "2024-10-20", "lime")
			b.Amendments[0].DateBasis = dataset.ByMonth
		}, "", 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := usual()
			c.change(b)
			found := b.check(t, Options{}).told(c.code)
			switch {
			case c.rows < 0: // two of them
				if len(found) != 3 {
					t.Errorf("%d of %s, want the density and both tests: %+v", len(found), c.code, found)
				}
				return
			case c.say == "":
				if len(found) != 0 {
					t.Errorf("found %v", found)
				}
				return
			case len(found) != 1:
				t.Fatalf("%d of %s, want one: %+v", len(found), c.code, found)
			}
			f := found[0]
			contains(t, f.Text, c.say)
			if len(f.Rows) != c.rows {
				t.Errorf("%d rows, want %d: %s", len(f.Rows), c.rows, f.Where(9))
			}
			if f.Title == c.code || f.Why == "" || f.Settle == "" || f.Severity != severities()[f.Rank-1] {
				t.Errorf("%+v", f)
			}
		})
	}
}

func TestWorstFirst(t *testing.T) {
	var b book
	b.bed("1", "2010-01-01", area(60, ""))
	b.test("1", "2024-04-20", "P", 50, cores(3))
	b.test("1", "2024-10-20", "P", 50, method(""))
	b.test("1", "2024-10-20", "Pb", 900, method("total digest"))
	b.test("2", "2024-10-20", "P", 50, cores(3))
	b.test("2", "2024-04-20", "Ca", 100)
	b.test("2", "2024-10-20", "Ca", 1000)
	c := b.check(t, Options{})
	if !slices.IsSortedFunc(c.Findings, func(x, y Finding) int { return x.Rank - y.Rank }) || c.Findings[0].Code != "lead stop" || c.Findings[1].Code != "slip" {
		t.Errorf("%v", c.Findings)
	}
	contains(t, c.Text, "in 6 rows of soil tests: 1 stop, 1 likely wrong")
	for text, want := range map[string]*CheckReport{
		"1 doubt in 1 row of soil tests: 1 misleading":    {Tests: 1, Findings: []Finding{{Rank: 3}}},
		"2 doubts in 12 rows of soil tests: 2 misleading": {Tests: 12, Findings: []Finding{{Rank: 3}, {Rank: 3}}},
		"no doubts in 1 row of soil tests":                {Tests: 1},
	} {
		if got := want.summary(); got != text {
			t.Errorf("%q, want %q", got, text)
		}
	}
	contains(t, c.Findings[0].String(), "Lead (1): 900 mg/kg")
	contains(t, c.Findings[0].String(), "What would settle it: your health department")
	// Only what was asked for, and as of the day.
	one := b.check(t, Options{Select: dataset.Selection{Beds: []string{"2"}}})
	if len(one.told("lead stop")) != 0 || len(one.told("slip")) != 1 || one.Beds != 1 {
		t.Errorf("%v", one.Findings)
	}
	if early := b.check(t, Options{}, "2024-05-01"); len(early.told("lead stop"))+len(early.told("slip")) != 0 {
		t.Errorf("later tests are checked: %v", early.Findings)
	}
}

func TestWhere(t *testing.T) {
	at := func(batch int32, file string, line int32) RowRef { return RowRef{batch, file, line} }
	f := Finding{Rows: []RowRef{at(1, "a.csv", 2), at(1, "a.csv", 3), at(1, "a.csv", 4), at(1, "a.csv", 9), at(2, "a.csv", 5), at(2, "b.csv", 1)}}
	for most, want := range map[int]string{9: "batch 1, a.csv, line 2-4, 9; batch 2, a.csv, line 5; batch 2, b.csv, line 1", 1: "batch 1, a.csv, line 2-4, 9; and 2 more files"} {
		if got := f.Where(most); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

// property: whatever the book, each finding is whole and its rows are in the book;
// every doubt of the review is in the check.
func TestEveryCheckHolds(t *testing.T) {
	codes := map[string]int{}
	for seed := range uint64(randomBooks) {
		b := randomBook(seed)
		o := Options{Targets: defaultTargets(t)}
		r, c := b.review(t, o), b.check(t, o)
		if x, y := asJSON(t, c), asJSON(t, randomBook(seed).check(t, o)); x != y {
			t.Fatalf("book %d is checked otherwise the second time", seed)
		}
		texts := map[string]bool{}
		for _, f := range c.Findings {
			codes[f.Code]++
			texts[f.Text] = true
			if f.Rank < 1 || f.Rank > len(severities()) || f.Title == f.Code || f.Text == "" || f.Why == "" || f.Settle == "" {
				t.Errorf("book %d: %+v", seed, f)
			}
			for _, row := range f.Rows {
				if row.Line < 1 || row.Line > b.line {
					t.Errorf("book %d: %s rests on row %v", seed, f.Code, row)
				}
			}
		}
		for _, d := range r.Doubts {
			if !texts[d.Text] && d.Code != "not the same soil" {
				t.Errorf("book %d: the review's doubt is not in the check: %s", seed, d.Text)
			}
		}
	}
	if len(codes) < 15 {
		t.Errorf("only %d kinds of doubt were met: %v", len(codes), codes)
	}
}

// honest draws the tests of one bed with the default errors, spread, uptake and
// drift as beds have them, and no slip.
func honest(rng *rand.Rand, years int) *book {
	var b book
	known(&b, "1")
	at := map[string]float64{"pH": 6.4, "OM": 6, "CEC": 13, "P": 60, "K": 170, "Ca": 1700, "Mg": 170, "S": 15, "Zn": 6, "NO3-N": 14}
	names := []string{"pH", "OM", "CEC", "P", "K", "Ca", "Mg", "S", "Zn", "NO3-N"}
	for y := range years {
		for _, when := range []string{"-04-20", "-10-20"} {
			shift := map[string]float64{}
			for _, a := range names {
				e, _ := errorOf(a)
				shift[a] = e.season * rng.NormFloat64()
			}
			for _, a := range names {
				e, _ := errorOf(a)
				v := at[a]
				if a == "pH" {
					v += shift[a] + e.own(12, 1)*rng.NormFloat64()
				} else {
					drift := 0.10
					if a == "NO3-N" {
						drift = 0.4
					}
					at[a] *= math.Exp(drift * rng.NormFloat64())
					v = at[a] * math.Exp(shift[a]+e.own(12, 1)*rng.NormFloat64())
				}
				if a == "P" || a == "K" || a == "Ca" || a == "Mg" {
					v = math.Round(v)
				}
				b.test("1", fmt.Sprintf("%d%s", 2000+y, when), a, v, cores(12))
			}
		}
	}
	return &b
}

// simulation: slips that were put in are found, and few are found where there are
// none.
func TestSlipsAreFound(t *testing.T) {
	const years = 6
	books := 150
	if testing.Short() {
		books = 60
	}
	rng := rand.New(rand.NewPCG(44, 2))
	levels, wrong := 0, 0
	for range books {
		b := honest(rng, years)
		levels += len(b.SoilTests)
		wrong += len(b.check(t, Options{}).told("slip"))
	}
	t.Logf("%d of %d honest results are doubted", wrong, levels)
	if share := float64(wrong) / float64(levels); share > 0.002 {
		t.Errorf("%d of %d honest results are doubted", wrong, levels)
	}
	// One report in the middle, or the last one, with the whole report, one form or
	// one decimal wrong.
	for _, c := range []struct {
		name     string
		analytes []string
		factor   float64
		last     bool
		say      string
		least    float64
	}{
		{"lb/acre as ppm", []string{"P", "K", "Ca", "Mg", "S", "Zn"}, 2, false, "ppm and lb/acre mixed up", 0.9},
		{"lb/acre as ppm, last report", []string{"P", "K", "Ca", "Mg", "S", "Zn"}, 2, true, "ppm and lb/acre mixed up", 0.8},
		{"ppm as lb/acre", []string{"P", "K", "Ca", "Mg", "S", "Zn"}, 0.5, false, "ppm and lb/acre mixed up", 0.9},
		{"a decimal", []string{"P"}, 10, true, "decimal point", 0.9},
		{"P2O5 as P", []string{"P"}, 2.29133, false, "P2O5 and P mixed up", 0.6},
	} {
		hits := 0
		for range books / 2 {
			b := honest(rng, years)
			when := day("2003-04-20")
			if c.last {
				when = day("2005-10-20")
			}
			for i := range b.SoilTests {
				if x := &b.SoilTests[i]; x.Date == when && slices.Contains(c.analytes, x.Analyte) {
					x.Value *= c.factor
				}
			}
			if slices.ContainsFunc(b.check(t, Options{}).told("slip"), func(f Finding) bool {
				return strings.Contains(f.Text, c.say) && strings.Contains(f.Text, when.String())
			}) {
				hits++
			}
		}
		t.Logf("%s: %d of %d found", c.name, hits, books/2)
		if float64(hits) < c.least*float64(books/2) {
			t.Errorf("%s: %d of %d found, want %.0f %%", c.name, hits, books/2, 100*c.least)
		}
	}
}

// Every factor by itself, in a series that stands still; and a true step, which
// the next test confirms, is no slip from there on.
func TestSlipFactors(t *testing.T) {
	line := func(analyte string, factor float64, o ...option) *book {
		var b book
		known(&b, "1")
		for i, d := range []string{"2022-04-20", "2023-04-20", "2024-04-20", "2025-04-20", "2026-04-20"} {
			for a, v := range map[string]float64{"P": 60, "K": 160, "Ca": 1500, "Mg": 150, "Zn": 6, "NO3-N": 14, "OM": 5} {
				v *= 1 + 0.004*float64(i)
				if a == analyte && i == 1 {
					b.test("1", d, a, v*factor, o...)
				} else {
					b.test("1", d, a, v)
				}
			}
		}
		return &b
	}
	for _, c := range []struct {
		analyte string
		factor  float64
		say     string
	}{
		{"P", 2.2913, "P2O5 and P mixed up"}, {"P", 1 / 2.2913, "P2O5 and P mixed up"}, {"P", 2, "ppm and lb/acre mixed up"}, {"K", 1.2046, "K2O and K mixed up"}, {"K", 1 / 1.2046, "K2O and K mixed up"},
		{"NO3-N", 4.4266, "NO3 and NO3-N mixed up"}, {"Ca", 10, "a decimal point slipped"}, {"Ca", 0.1, "a decimal point slipped"}, {"Zn", 0.5, "ppm and lb/acre mixed up"},
		{"OM", 10, "a slip in the decimal point, unit or form"}, {"K", 1.15, ""}, {"K", 1.3, ""}, {"P", 1.5, ""}, {"NO3-N", 3, ""}, {"OM", 2, ""}, {"NO3-N", 8, ""},
	} {
		x := line(c.analyte, c.factor).check(t, Options{})
		found := append(x.told("slip"), x.told("form")...)
		if (len(found) == 1) != (c.say != "") || len(found) > 1 {
			t.Errorf("%s times %.3f: %v", c.analyte, c.factor, found)
		} else if c.say != "" {
			contains(t, found[0].Text, c.say)
			contains(t, found[0].Text, c.analyte+" of 2023-04-20")
		}
	}
	// The form on the sheet changed with the figure: a looser ratio will do.
	form := func(f *dataset.SoilTest) { f.ReportedForm = "K2O" }
	if found := line("K", 1.17, form).check(t, Options{}).told("slip"); len(found) != 1 {
		t.Errorf("K and K2O on the sheets, ratio 1.17: %v", found)
	}
	var b book
	for i, v := range []float64{20, 21, 130, 128, 135, 131} {
		b.test("1", fmt.Sprintf("20%d-10-20", 10+i), "P", v)
	}
	if found := b.check(t, Options{}).told("slip"); len(found) != 1 || !strings.Contains(found[0].Text, "P of 2012-10-20 is 6.19 times the test before it (2011-10-20)") {
		t.Errorf("a step that stays: %v", found)
	}
}
