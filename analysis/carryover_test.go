package analysis

import (
	"math"
	"testing"

	"carryover/dataset"
	"carryover/dataset/unit"
)

// autumnP is a book with one autumn P test of 100.
func autumnP(bed func(*dataset.Bed), o ...option) *book {
	var b book
	if bed != nil {
		b.bed("1", "2020-01-01", bed)
	}
	b.test("1", "2024-10-20", "P", 100, o...)
	return &b
}

func measured(density float64) func(*dataset.Bed) {
	return func(d *dataset.Bed) { d.BulkDensity, d.DensitySource = &density, "measured" }
}

func TestCarryoverByHand(t *testing.T) {
	// 100 ppm in 6 in of soil at 1.2 g/cm3: 37,457 lb of soil and 3.7457 lb of
	// P on 1,000 sq ft. Source: arithmetic on the exact definitions of units.
	c := autumnP(measured(1.2)).review(t, Options{}).Beds[0].Carryover
	if len(c) != 1 {
		t.Fatalf("%+v", c)
	}
	if lb := c[0].Amount.Value / unit.KgHaPerLbAc / 43.56; !near(lb, 3.7457, 0.002) {
		t.Errorf("%.4f lb on 1,000 sq ft, want 3.7457", lb)
	}
	if c[0].IntoSeason != 2025 || c[0].Amount.Unit != "kg/ha" || c[0].Date != day("2024-10-20") {
		t.Errorf("%+v", c[0])
	}
	// Half the layer, half the mass.
	half := autumnP(measured(1.2), layer(0, 7.62)).review(t, Options{}).Beds[0].Carryover[0]
	if !near(2*half.Amount.Value, c[0].Amount.Value, 1e-12) || !near(2*half.Amount.High, c[0].Amount.High, 1e-12) {
		t.Errorf("3 in hold %v, 6 in %v", half.Amount, c[0].Amount)
	}
	// A layer that begins below the crust holds what lies between its ends.
	crust := autumnP(measured(1.2), layer(0.5, 8.12)).review(t, Options{}).Beds[0].Carryover[0]
	if !near(crust.Amount.Value, half.Amount.Value, 1e-12) {
		t.Errorf("0.5-8.12 cm hold %v, 0-7.62 cm %v", crust.Amount, half.Amount)
	}
	// 1 mg/dm3 to 20 cm is 2 kg/ha or 1.784 lb/acre, whatever the soil weighs.
	// Source: arithmetic.
	for _, d := range []func(*dataset.Bed){nil, measured(0.5)} {
		v := autumnP(d, volume, layer(0, 20)).review(t, Options{})
		c := v.Beds[0].Carryover[0]
		if !near(c.Amount.Value/100/unit.KgHaPerLbAc, 1.784, 0.001) || c.Density != (Density{}) || len(v.told("density")) != 0 {
			t.Errorf("volume basis: %+v", c)
		}
	}
}

func TestDensityPrecedence(t *testing.T) {
	om := func(b *book, v float64) *book {
		b.test("1", "2024-10-20", "OM", v)
		return b
	}
	says := func(v float64, source string) func(*dataset.Bed) {
		return func(d *dataset.Bed) { d.BulkDensity, d.DensitySource = &v, source }
	}
	// With OM of 10 %: 0.950 to 1.043 g/cm3 by the mixing form, constants from
	// memory.
	for _, c := range []struct {
		name           string
		b              *book
		value          float64
		lowest, lower  float64 // Low lies between
		higher, most   float64 // High lies between
		source         string
		assumptionTold bool
	}{
		{"measured beats all", om(autumnP(measured(0.9)), 10), 0.9, 0.85, 0.86, 0.94, 0.95, "measured", false},
		{"estimated beats organic matter", om(autumnP(says(0.9, "estimated")), 10), 0.9, 0.76, 0.77, 1.03, 1.04, "estimated by the grower", false},
		{"a figure without source is an estimate", om(autumnP(says(0.9, "")), 10), 0.9, 0.76, 0.77, 1.03, 1.04, "estimated by the grower", false},
		{"organic matter beats an assumption", om(autumnP(says(1.5, "assumed")), 10), 0.996, 0.7, 0.95, 1.043, 1.2, "from organic matter 10.0 %, from memory", false},
		{"organic matter", om(autumnP(nil), 10), 0.996, 0.7, 0.95, 1.043, 1.2, "from organic matter 10.0 %, from memory", false},
		{"the grower's assumption", autumnP(says(1.1, "assumed")), 1.1, 0.87, 0.89, 1.31, 1.33, "assumed", true},
		{"nothing known", autumnP(nil), 1.3, 1.03, 1.05, 1.55, 1.57, "assumed", true},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := c.b.review(t, Options{})
			d := r.Beds[0].Carryover[0].Density
			if !near(d.Value, c.value, 0.002) || d.Low < c.lowest || d.Low > c.lower || d.High < c.higher || d.High > c.most || d.Source != c.source {
				t.Errorf("%+v, want %v (%v..%v to %v..%v), %s", d, c.value, c.lowest, c.lower, c.higher, c.most, c.source)
			}
			if told := len(r.told("density")) == 1; told != c.assumptionTold {
				t.Errorf("assumption told: %v, want %v", told, c.assumptionTold)
			}
		})
	}
}

// property: the form lets volumes add. Organic matter takes up its mass over its
// density, the mineral part likewise. The constants are from memory.
func TestDensityOfAMixture(t *testing.T) {
	before := math.Inf(1)
	for om := 0.0; om <= 100; om += 5 {
		lo, hi := densityFromOM(om)
		for mineral, got := range map[float64]float64{1.40: lo, 1.64: hi} {
			volume := om/0.244 + (100-om)/mineral
			if !near(got*volume, 100, 1e-12) {
				t.Errorf("OM %v %%, mineral %v: %v g/cm3 over %v cm3 is not 100 g", om, mineral, got, volume)
			}
		}
		if lo > hi || hi >= before {
			t.Errorf("OM %v %%: %v to %v after %v: more organic matter, lighter soil", om, lo, hi, before)
		}
		before = hi
	}
}

func TestOrganicMatterOfTheNearestTest(t *testing.T) {
	var b book
	b.test("1", "2020-04-20", "OM", 4)
	b.test("1", "2022-04-20", "OM", 6, noDepth) // another layer, so not in order of date
	b.test("1", "2024-04-20", "OM", 8, noDepth)
	b.test("1", "2023-04-20", "OM", 20, layer(20, 40)) // not of the worked layer
	levels := b.review(t, Options{}).Beds[0].Levels
	w := &bedWork{}
	for on, want := range map[string]float64{"2019-01-01": 4, "2021-01-01": 4, "2022-04-20": 6, "2023-12-31": 6, "2025-01-01": 8} {
		if got := w.omNear(levels, day(on)); got != want {
			t.Errorf("on %s: OM %v, want %v", on, got, want)
		}
	}
	if got := w.omNear(nil, 0); got != 0 {
		t.Errorf("never tested: %v, want 0", got)
	}
}

func TestCarryoverLeavesOut(t *testing.T) {
	for name, o := range map[string]option{
		"spring": timing(Spring), "mid-season": timing(MidSeason), "above the limit": above, "no method": method(""),
		"layer below": layer(15, 30), "no depth": noDepth,
		"an extract": func(t *dataset.SoilTest) { t.Unit, t.Basis, t.Method = "mg/L", "extract", "saturated paste" },
	} {
		r := autumnP(nil, o).review(t, Options{})
		if n := len(r.Beds[0].Carryover); n != 0 {
			t.Errorf("%s: %+v", name, r.Beds[0].Carryover)
		}
		if (name == "no depth") != (len(r.told("no depth")) == 1) {
			t.Errorf("%s: told %q", name, r.told("no depth"))
		}
	}
}

func TestCarryoverBelowTheLimit(t *testing.T) {
	c := autumnP(measured(1.0), below, layer(0, 10)).review(t, Options{}).Beds[0].Carryover[0]
	// 100 mg/kg x 1.0 g/cm3 x 10 cm = 100 kg/ha at most, 105 at the high density.
	if c.Amount.Low != 0 || !near(c.Amount.High, 105, 1e-9) || c.Amount.Value <= 0 || c.Amount.Value >= 100 {
		t.Errorf("%+v, want 0 to 105", c.Amount)
	}
}

func TestShareOfSpring(t *testing.T) {
	b := autumnP(nil)
	b.test("1", "2024-04-20", "P", 125)
	b.test("1", "2024-04-20", "K", 200, lab("Lab 2"))
	b.test("1", "2024-10-20", "K", 100)
	b.test("1", "2024-04-20", "Zn", 2, below)
	b.test("1", "2024-10-20", "Zn", 2)
	for _, c := range b.review(t, Options{}).Beds[0].Carryover {
		if (c.OfSpring != nil) != (c.Analyte == "P") {
			t.Errorf("%s: share %+v", c.Analyte, c.OfSpring)
		}
		if s := c.OfSpring; s != nil && (!near(s.Value, 80, 0.005) || s.Unit != "%" || s.Low >= 80 || s.High <= 80) {
			t.Errorf("share %+v, want 80 %%", s)
		}
	}
}

// A doubt added to a level after its carryover must not replace one of the
// carryover's own.
func TestDoubtsOfCarryoverAreItsOwn(t *testing.T) {
	b := unlikeBook()
	for i := range b.SoilTests {
		b.SoilTests[i].DateBasis, b.SoilTests[i].Conversion = dataset.ByMonth, "by a convention"
		if b.SoilTests[i].Analyte == "OM" {
			b.SoilTests[i].Analyte, b.SoilTests[i].Method = "CEC", "sum of cations" // no OM: density is assumed
		}
	}
	for _, x := range b.SoilTests {
		x.Sample = "b"
		b.SoilTests = append(b.SoilTests, x)
	}
	r := b.review(t, Options{})
	for _, c := range r.Beds[0].Carryover {
		codes := r.codes(c.Doubts)
		for _, want := range []string{"date", "samples", "convention", "density", "not the same soil"} {
			if !has(codes, want) {
				t.Errorf("%s carries %v, want %s too", c.Analyte, codes, want)
			}
		}
	}
	if len(r.Beds[0].Carryover) == 0 {
		t.Fatal("no carryover")
	}
}
