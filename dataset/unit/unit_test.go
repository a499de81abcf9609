package unit

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
)

func soil(t testing.TB, analyte, form, method string, value float64, unitText string, depthCm float64) SoilValue {
	t.Helper()
	a, f, err := ParseAnalyte(analyte, form)
	if err != nil {
		t.Fatal(err)
	}
	m, err := ParseMethod(method, a)
	if err != nil {
		t.Fatal(err)
	}
	v, err := Soil(SoilReading{Analyte: a, Form: f, Method: m, Value: value, Unit: unitText, DepthTo: depthCm})
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func factor(t testing.TB, form string) float64 {
	t.Helper()
	f, ok := FormFactor(form)
	if !ok {
		t.Fatalf("no form %s", form)
	}
	return f
}

func component(t testing.TB, name string, value float64, unitText string) float64 {
	t.Helper()
	m, err := Component(name, value, unitText)
	if err != nil {
		t.Fatal(err)
	}
	return m.Value
}

func convert(t testing.TB, value float64, text string, q Quantity) float64 {
	t.Helper()
	v, _, err := Convert(value, text, q)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// TestPublished holds conversions against what others printed. Tolerance is the
// print's own last digit, with these exceptions: the factors of SPES-201 rest on
// atomic masses of fewer digits and its pair for potassium contradicts itself (1
// / 0.8301 = 1.2047, it prints 1.2051), so 0.1 % is allowed; the course notes
// round the atomic masses of calcium and aluminium to 40 and 27.
func TestPublished(t *testing.T) {
	const furrow = 20.0 / 3 * CmPerInch
	acre8 := SoilMass(M2PerAcre, 8*CmPerInch, SliceDensity) / KgPerPound
	spread := convert(t, 100, "lb/acre", MassPerArea) / 1e4 * convert(t, 1000, "sq ft", Area) / KgPerPound
	for _, x := range []struct {
		source         string
		got, want, tol float64
	}{
		{"property/furrow-slice-density-g-cm3", SliceDensity, 1.3238, 0.001},
		{"property/furrow-slice-mass-lb", SoilMass(M2PerAcre, furrow, SliceDensity) / KgPerPound, 2e6, 1e-3},
		{"OhioStateAgBMPs/FAQ/60-lb-acre-to-ppm", soil(t, "P", "", "M3", 60, "lb/acre", furrow).Value, 30, 0.01},
		{"UCDavisAnalyticalLab/method-450/8-inch-slice-lb", acre8, 2.4e6, 1},
		{"CourseNotes/soil-cations/4-meq-Ca-to-ppm", soil(t, "Ca", "", "", 4, "meq/100 g", 0).Value, 800, 2},
		{"CourseNotes/soil-cations/2-cmolc-Al-to-mg-kg", soil(t, "Al", "", "", 2, "cmolc/kg", 0).Value, 180, 0.5},
		{"Clemson/CEC-calculation/1-meq-Ca-ppm", soil(t, "Ca", "", "", 1, "meq/100 g", 0).Value, 200, 0.5},
		{"Clemson/CEC-calculation/1-meq-Mg-ppm", soil(t, "Mg", "", "", 1, "meq/100 g", 0).Value, 120, 5},
		{"Clemson/CEC-calculation/1-meq-K-ppm", soil(t, "K", "", "", 1, "meq/100 g", 0).Value, 390, 5},
		{"Clemson/CEC-calculation/1-meq-Na-ppm", soil(t, "Na", "", "", 1, "meq/100 g", 0).Value, 230, 5},
		{"VirginiaTechSPES201/P-to-P2O5", 1 / factor(t, "P2O5"), 2.2910, 2.2910e-3},
		{"VirginiaTechSPES201/P2O5-to-P", factor(t, "P2O5"), 0.4365, 0.4365e-3},
		{"VirginiaTechSPES201/K2O-to-K", factor(t, "K2O"), 0.8301, 0.8301e-3},
		{"VirginiaTechSPES201/49.8-percent-K-to-K2O", 49.8 / factor(t, "K2O"), 60.0, 0.1},
		{"VirginiaTechSPES201/CaO-to-Ca", factor(t, "CaO"), 0.7147, 0.0002},
		{"VirginiaTechSPES201/Ca-to-CaO", 1 / factor(t, "CaO"), 1.3992, 0.0002},
		{"VirginiaTechSPES201/MgO-to-Mg", factor(t, "MgO"), 0.6032, 0.6032e-3},
		{"VirginiaTechSPES201/SO4-to-S", factor(t, "SO4"), 0.3339, 0.3339e-3},
		{"VirginiaTechSPES201/MgCO3-to-CaCO3", CaCO3PerMgCO3, 1.1867, 1.1867e-3},
		{"RB209/potassium-sulfate/45-percent-SO3", component(t, "SO3", 45, "%"), 18.0, 0.1},
		{"RB209/Epsom-salt/16-percent-MgO", component(t, "MgO", 16, "%"), 9.65, 0.02},
		{"property/44.27-mg-L-NO3-to-NO3-N", 44.27 * factor(t, "NO3"), 10.0, 0.02},
		{"SSIR45/OM-from-2.5-percent-OC", 2.5 * OMPerOCConventional, 4.31, 0.005},
		{"Pribyl2010/OM-from-2.5-percent-OC", 2.5 * OMPerOC, 5.00, 0.005},
		{"property/soil-mass-lb", SoilMass(1000*M2PerSqFt, 6*CmPerInch, 1.2) / KgPerPound, 37457, 5},
		{"property/100-lb-acre-to-kg-ha", convert(t, 100, "lb/acre", MassPerArea), 112.085, 0.01},
		{"property/gypsum-Ca-percent", 100 * GypsumCa, 23.28, 0.02},
		{"property/gypsum-S-percent", 100 * GypsumS, 18.62, 0.02},
		{"gardenguides/3-lb-N-at-21-percent", 3 / (component(t, "N", 21, "%") / 100), 14.28, 0.02},
		{"NMSUSmallAreas/100-lb-acre-on-1000-sq-ft", spread, 2.296, 0.002},
		{"McCarty2003/EC707/5-lb-1000-sq-ft-to-lb-acre", convert(t, 5, "lb/1000 sq ft", MassPerArea) / KgHaPerLbAc, 218, 0.5},
		{"McCarty2003/EC707/10-lb-1000-sq-ft-to-lb-acre", convert(t, 10, "lb/1000 sq ft", MassPerArea) / KgHaPerLbAc, 436, 0.5},
		{"CalRecycle2013/K2O-from-1.13-percent-K", 1.13 / factor(t, "K2O"), 1.36, 0.005},
		{"KState/2-lb-P-to-P2O5", 2 / factor(t, "P2O5"), 4.5, 0.1},
		{"property/2-cu-yd-on-1000-sq-ft-in", convert(t, 2, "cu yd", Volume) / convert(t, 1000, "sq ft", Area) * 100 / CmPerInch, 0.648, 0.001},
		{"property/volume-basis-is-geometry-kg-ha", LbAcFromMgPerDm3(1, 20) * KgHaPerLbAc, 2, 1e-12},
	} {
		t.Run(x.source, func(t *testing.T) {
			if !(math.Abs(x.got-x.want) <= x.tol) {
				t.Errorf("got %v, source prints %v (tolerance %v)", x.got, x.want, x.tol)
			}
		})
	}
}

// A sample of the plow layer counts 2 lb/acre for 1 ppm whatever its exact
// depth, any other by its depth, unless the lab is known to mean it otherwise.
// Source: Penn State Agronomy Guide, section 2, and Ohio State University,
// agricultural best management practices FAQ, 60 lb/acre = 30 ppm; 0.3 lb/acre
// per ppm and inch is their 2,000,000 lb to 6 2/3 in.
func TestPounds(t *testing.T) {
	const perLbAc = 1.12085 // kg/ha, for 2.2417 kg/ha = 1 ppm
	for _, x := range []struct {
		id, rule  string
		from, to  float64 // in
		want      float64 // mg/kg of 60 lb/acre
		used, say string
	}{
		{"P", "", 0, 6, 30, TwicePPM, "plow-layer rule"}, {"P", "", 0, 20. / 3, 30, TwicePPM, "plow-layer rule"}, {"P", "", 0, 8, 30, TwicePPM, "2 lb/acre = 1 ppm"},
		{"P", "", 0, 5, 30, TwicePPM, ""}, {"P", "", 0, 9, 30, TwicePPM, ""}, {"P", "", 0, 4.8, 60 / (0.3 * 4.8), ByDepth, "scaled to the sampled depth"}, {"P", "", 0, 9.2, 60 / (0.3 * 9.2), ByDepth, ""},
		{"P", "", 0, 3, 60 / 0.9, ByDepth, "2,000,000 lb"}, {"P", "", 0, 12, 60 / 3.6, ByDepth, ""}, {"P", "", 6, 12, 60 / 1.8, ByDepth, ""}, {"P", "", 1, 8, 60 / 2.1, ByDepth, ""},
		{"NO3-N", "", 0, 6, 30, TwicePPM, ""}, {"NO3-N", "", 0, 24, 60 / 7.2, ByDepth, ""}, {"NO3-N", TwicePPM, 0, 24, 60 / 7.2, ByDepth, "scaled"}, {"NH4-N", TwicePPM, 6, 12, 60 / 1.8, ByDepth, ""},
		{"P", ByDepth, 0, 6, 60 / 1.8, ByDepth, "scaled"}, {"P", TwicePPM, 0, 12, 30, TwicePPM, ""}, {"P", TwicePPM, 0, 0, 30, TwicePPM, ""}, {"NO3-N", TwicePPM, 0, 0, 30, TwicePPM, ""},
	} {
		a, _ := ByID(x.id)
		for u, one := range map[string]float64{"lb/acre": 1, "lb/1000 sq ft": 1 / 43.56, "kg/ha": perLbAc, "g/m2": perLbAc / 10, "lb per acre": 1} {
			r := SoilReading{Analyte: a, Form: Form{Name: x.id, Factor: 1}, Value: 60 * one, Unit: u, DepthFrom: x.from * CmPerInch, DepthTo: x.to * CmPerInch, Pounds: x.rule}
			v, err := Soil(r)
			if err != nil || math.Abs(v.Value-x.want) > 1e-4*x.want || v.Pounds != x.used || !strings.Contains(v.Conversion, x.say) || !strings.HasPrefix(v.Conversion, "from "+u+" by ") {
				t.Errorf("%s %s %v-%v in, %q: %+v %v, want %v", x.id, u, x.from, x.to, x.rule, v, err, x.want)
			}
		}
	}
	a, _ := ByID("P")
	for _, rule := range []string{"", ByDepth} { // no depth, no rule that needs none
		if v, err := Soil(SoilReading{Analyte: a, Form: Form{Name: "P", Factor: 1}, Value: 60, Unit: "lb/acre", Pounds: rule}); About(err) != "depth" {
			t.Errorf("%q without a depth: %+v %v", rule, v, err)
		}
	}
	if v := soil(t, "P", "", "M3", 30, "ppm", 15); v.Pounds != "" || v.Conversion != "" {
		t.Errorf("ppm needs no rule: %+v", v)
	}
	for _, rule := range []string{"", TwicePPM, ByDepth} {
		if err := CheckPounds(rule); err != nil {
			t.Error(err)
		}
	}
}

// property: undoing the laboratory convention and doing it again is nothing.
func TestConventionRoundTrip(t *testing.T) {
	for _, depth := range []float64{5, 12, 24, 30} {
		v := soil(t, "K", "", "", 137, "lb/acre", depth)
		back := v.Value * depth * SliceDensity / 10 / KgHaPerLbAc
		if math.Abs(back-137) > 1e-9 || math.Abs(MgPerKgFromLbAc(137, depth)-v.Value) > 1e-9 || !strings.Contains(v.Conversion, "2,000,000 lb") {
			t.Errorf("depth %v: %v back %v, %q", depth, v.Value, back, v.Conversion)
		}
		for text, times := range map[string]float64{"lb/1000 sq ft": 43.56, "kg/ha": 1 / KgHaPerLbAc} {
			if got := soil(t, "K", "", "", 137/times, text, depth).Value; math.Abs(got-v.Value) > 1e-9*v.Value {
				t.Errorf("%s at %v cm: %v, want %v", text, depth, got, v.Value)
			}
		}
	}
}

// property: every unit in print is known, under each of its names, and means
// the same as its first.
func TestEveryUnitParses(t *testing.T) {
	for _, s := range scales {
		want, _, err := Convert(3, s.names[0], s.q)
		if err != nil {
			t.Fatal(err)
		}
		for _, n := range s.names {
			for _, text := range []string{n, strings.ToUpper(n), " " + n + " ", strings.ReplaceAll(n, " ", "")} {
				got, q, err := Convert(3, text, s.q)
				if err != nil || got != want || q != s.q {
					t.Errorf("%s %q: %v %v %v, want %v", s.q, text, got, q, err, want)
				}
			}
		}
		if s.q != Temperature {
			f, ok := Factor(s.names[0], s.q)
			if si := convert(t, 7, s.names[0], s.q); !ok || math.Abs(si/f-7) > 1e-12 {
				t.Errorf("%s: 7 comes back as %v", s.names[0], si/f)
			}
		}
	}
	seen := map[Quantity]map[string]string{}
	for _, s := range scales {
		for _, n := range s.names {
			if seen[s.q] == nil {
				seen[s.q] = map[string]string{}
			}
			if other := seen[s.q][squash(n)]; other != "" && other != s.names[0] {
				t.Errorf("%s: %q means %s and %s", s.q, n, other, s.names[0])
			}
			seen[s.q][squash(n)] = s.names[0]
		}
	}
	for q := Mass; q <= Duration; q++ {
		if f, ok := Factor(q.SI(), q); !ok || f != 1 {
			t.Errorf("%s: the unit we store in is %q, worth %v", q, q.SI(), f)
		}
	}
}

func TestUnitsInWords(t *testing.T) {
	for text, want := range map[string]float64{"lb per acre": KgHaPerLbAc, "lbs per 1,000 sq. ft.": 43.56 * KgHaPerLbAc, "pounds per 100 sq ft": 435.6 * KgHaPerLbAc, "lb/1,000 ft2": 43.56 * KgHaPerLbAc} {
		if got := convert(t, 1, text, MassPerArea); math.Abs(got-want) > 1e-12*want {
			t.Errorf("%s: %v, want %v", text, got, want)
		}
	}
}

// What is spread on an area is read however its two units are written; the
// figures are the exact definitions.
func TestSpreadUnits(t *testing.T) {
	spreadable := []Quantity{Mass, MassPerArea, Liquid, LiquidPerArea, Volume, Length}
	const k, yd = 43.56 * KgHaPerLbAc, 27 * 12 / 1000. * CmPerInch // a cubic yard on 1000 sq ft, cm
	for text, want := range map[string]struct {
		si float64
		q  Quantity
	}{
		"lb/1000 sq. ft.": {k, MassPerArea}, "lbs/1000ft2": {k, MassPerArea}, "lb per 1000 sq ft": {k, MassPerArea}, "Lbs. / 1,000 Sq. Ft.": {k, MassPerArea}, "pounds per 1000 square feet": {k, MassPerArea},
		"lb/1000 ft\u00b2": {k, MassPerArea}, "#/1000 sq ft": {k, MassPerArea}, "lb/msf": {k, MassPerArea}, "lb/sq ft": {1000 * k, MassPerArea}, "lbs per acre": {KgHaPerLbAc, MassPerArea},
		"ton/acre": {2000 * KgHaPerLbAc, MassPerArea}, "tons per acre": {2000 * KgHaPerLbAc, MassPerArea}, "T/ac": {2000 * KgHaPerLbAc, MassPerArea}, "T/acre": {2000 * KgHaPerLbAc, MassPerArea},
		"t/ha": {1000, MassPerArea}, "tonnes per hectare": {1000, MassPerArea}, "t/100 m2": {1e5, MassPerArea}, "g per square metre": {10, MassPerArea}, "oz per 100 square feet": {10 * k / 16, MassPerArea},
		"fl oz/1000 sq ft": {LPerGallon / 128 / (1000 * M2PerSqFt) * 1e4, LiquidPerArea}, "L per 100 m2": {100, LiquidPerArea}, "gal per 1000 sq. ft.": {LPerGallon / (1000 * M2PerSqFt) * 1e4, LiquidPerArea},
		"yd3/1000 sq ft": {yd, Length}, "cu. yd. per 1,000 sq. ft.": {yd, Length}, "cubic yards/1000 square feet": {yd, Length}, "cu ft/100 sq ft": {yd / 2.7, Length}, "m3/ha": {0.01, Length},
	} {
		got, q, err := Convert(1, text, spreadable...)
		if err != nil || q != want.q || math.Abs(got-want.si) > 1e-12*want.si {
			t.Errorf("%s: %v %s %v, want %v %s", text, got, q, err, want.si, want.q)
		}
	}
	for text, qs := range map[string][]Quantity{"yd3/1000 sq ft": {Length}, "lb/1000 lb": spreadable, "lb/500 sq ft": spreadable, "in/acre": spreadable, "lb/": spreadable, "/acre": spreadable, "lb/acre/acre": spreadable,
		"bu/acre": {MassPerArea}, "lb/sq. yards ft": spreadable, "per acre": spreadable} {
		if v, q, err := Convert(1, text, qs...); About(err) != "unit" {
			t.Errorf("%s: read as %v %s", text, v, q)
		}
	}
}

func TestTemperature(t *testing.T) {
	for _, x := range [][2]float64{{32, 0}, {212, 100}, {-40, -40}} { // the scale's fixed points
		if got := convert(t, x[0], "F", Temperature); math.Abs(got-x[1]) > 1e-9 {
			t.Errorf("%v F: %v C", x[0], got)
		}
	}
}

// property: a method is itself under each alias, and no alias of an analyte's
// methods means two.
func TestEveryMethodResolves(t *testing.T) {
	used := map[string]bool{}
	for _, a := range Analytes() {
		names := map[string]string{}
		for _, m := range Methods() {
			if !m.serves(a) {
				continue
			}
			used[m.ID] = true
			for _, n := range append([]string{m.ID}, m.Alias...) {
				if other := names[squash(n)]; other != "" && other != m.ID {
					t.Errorf("%s: %q names %s and %s", a.ID, n, other, m.ID)
				}
				names[squash(n)] = m.ID
				if got, err := ParseMethod(n, a); err != nil || got != m.ID {
					t.Errorf("%s by %q: %q %v, want %s", a.ID, n, got, err, m.ID)
				}
			}
		}
	}
	for _, m := range Methods() {
		if !used[m.ID] {
			t.Errorf("%s measures nothing", m.ID)
		}
	}
}

func TestAnalyteNames(t *testing.T) {
	for _, a := range Analytes() {
		for _, name := range []string{a.ID, strings.ToUpper(a.ID), strings.ReplaceAll(a.ID, " ", "_")} {
			if got, f, err := ParseAnalyte(name, ""); err != nil || got.ID != a.ID || f.Factor != 1 {
				t.Errorf("%q: %s %v %v", name, got.ID, f, err)
			}
		}
		if back, ok := ByID(a.ID); !ok || back.ID != a.ID || Analytes()[Rank(a.ID)].ID != a.ID {
			t.Errorf("%s is not found by its ID", a.ID)
		}
	}
	for _, x := range []struct{ name, form, id, as string }{
		{"P", "", "P", "P"}, {"P", "P2O5", "P", "P2O5"}, {"P2O5", "", "P", "P2O5"}, {"phosphorus", "P", "P", "P"}, {"phosphate", "P2O5", "P", "P2O5"},
		{"potassium", "", "K", "K"}, {"potash", "K2O", "K", "K2O"}, {"SO4-S", "", "S", "SO4-S"}, {"SO4", "SO4", "S", "SO4"}, {"sulphate", "S", "S", "S"},
		{"NO3-N", "", "NO3-N", "NO3-N"}, {"nitrate nitrogen", "", "NO3-N", "NO3-N"}, {"nitrate", "NO3", "NO3-N", "NO3"}, {"NO3", "NO3", "NO3-N", "NO3"},
		{"organic matter", "", "OM", "OM"}, {"Soil pH", "", "pH", "pH"}, {"aluminum", "", "Al", "Al"}, {"% K", "", "K sat", "K sat"},
		{"Base Sat Ca", "", "Ca sat", "Ca sat"}, {"% Ca sat", "", "Ca sat", "Ca sat"}, {"Ca base saturation", "", "Ca sat", "Ca sat"}, {"Mg Base Sat. (%)", "", "Mg sat", "Mg sat"},
		{"base-saturation: K", "", "K sat", "K sat"}, {"%Na Saturation", "", "Na sat", "Na sat"}, {"percent H sat", "", "H sat", "H sat"}, {"Calcium saturation %", "", "Ca sat", "Ca sat"},
		{"Base saturation", "", "base sat", "base sat"}, {"TOC", "", "OC", "OC"}, {"Sol. Salts", "", "EC", "EC"}, {"N-NO3", "", "NO3-N", "NO3-N"}, {"Available P", "", "P", "P"}, {"soil test K", "K2O", "K", "K2O"}, {"Buffer index", "", "buffer pH", "buffer pH"}, {"ESP", "", "Na sat", "Na sat"}, {"Ca", "CaCO3", "Ca", "CaCO3"}, {"magnesium", "MgCO3", "Mg", "MgCO3"},
	} {
		if a, f, err := ParseAnalyte(x.name, x.form); err != nil || a.ID != x.id || f.Name != x.as {
			t.Errorf("%q as %q: %s %s %v, want %s %s", x.name, x.form, a.ID, f.Name, err, x.id, x.as)
		}
	}
}

// A name that leaves the cation open, or names two, is no saturation of one.
func TestNoSaturation(t *testing.T) {
	for _, name := range []string{"Ca Mg sat", "sat", "% saturation of soil", "Ca base", "saturated paste K", "sat %"} {
		if a, _, err := ParseAnalyte(name, ""); err == nil {
			t.Errorf("%q: read as %s", name, a.ID)
		}
	}
}

// TestRefusals holds what is refused, which part is blamed, and the words.
func TestRefusals(t *testing.T) {
	analyte := func(name, form string) error { _, _, err := ParseAnalyte(name, form); return err }
	value := func(name string, v float64, unitText string, depth float64) error {
		a, f, err := ParseAnalyte(name, "")
		if err != nil {
			return err
		}
		_, err = Soil(SoilReading{Analyte: a, Form: f, Value: v, Unit: unitText, DepthTo: depth})
		return err
	}
	pasted := func(name string, v float64, unitText string) error {
		a, f, err := ParseAnalyte(name, "")
		if err == nil {
			_, err = Soil(SoilReading{Analyte: a, Form: f, Method: "saturated paste", Value: v, Unit: unitText, DepthTo: 15})
		}
		return err
	}
	method := func(text, id string) error { a, _ := ByID(id); _, err := ParseMethod(text, a); return err }
	amount := func(v float64, text string, qs ...Quantity) error { _, _, err := Convert(v, text, qs...); return err }
	water := func(name, form string, v float64, u string) error { _, err := Water(name, form, v, u); return err }
	leaf := func(name string, v float64, u string) error { _, err := Leaf(name, v, u); return err }
	part := func(name string, v float64, u string) error { _, err := Component(name, v, u); return err }
	for _, x := range []struct {
		err         error
		about, want string
	}{
		{analyte("phosphorus", ""), "form", `"phosphorus" leaves the form open: expected P, P2O5, PO4: write it under form (P2O5 reads 2.29 times P; PO4 reads 3.07 times P)`},
		{analyte("SO4", ""), "form", `"SO4" leaves the form open: expected S, SO4-S, SO4, SO3: write it under form (SO4 reads 3.00 times S; SO3 reads 2.50 times S)`},
		{analyte("NO3", ""), "form", `"NO3" leaves the form open: expected NO3-N, NO3: write it under form (NO3 reads 4.43 times NO3-N)`},
		{analyte("potash", ""), "form", `"potash" leaves the form open: expected K, K2O: write it under form (K2O reads 1.20 times K)`},
		{analyte("P2O5", "P"), "form", `form "P": contradicts analyte "P2O5": leave the form empty`},
		{analyte("K", "P2O5"), "form", `form "P2O5": does not belong to K: write K, K2O`},
		{analyte("CaCO3", ""), "analyte", `analyte "CaCO3": not known`},
		{analyte("zink", ""), "analyte", `analyte "zink": not known: did you mean zinc?`},
		{analyte("Olsen P", ""), "analyte", `analyte "Olsen P": expected the analyte alone: write P, and method and unit in columns of their own`},
		{analyte("Zn ppm", ""), "analyte", `analyte "Zn ppm": expected the analyte alone: write Zn, and method and unit in columns of their own`},
		{analyte("available potash", ""), "form", `"available potash" leaves the form open: expected K, K2O: write it under form (K2O reads 1.20 times K)`},
		{analyte("P rating", ""), "analyte", `analyte "P rating": not known`},
		{analyte("available phosphate", ""), "form", `"available phosphate" leaves the form open: expected P, P2O5, PO4: write it under form (P2O5 reads 2.29 times P; PO4 reads 3.07 times P)`},
		{value("P", 60, "", 0), "unit", `P has no unit: expected ppm, mg/kg, lb/acre, kg/ha, mg/dm3, %: copy the unit from the lab's sheet (ppm and lb/acre differ by a factor of 2)`},
		{value("Zn", 1, "meq/100 g", 0), "unit", `unit "meq/100 g": cannot measure Zn: expected one of ppm, mg/kg, lb/acre, kg/ha, mg/dm3, %`},
		{value("K2O", 1, "meq/100 g", 0), "form", `K2O in meq/100 g: expected the element, since charge has no oxide form: write K`},
		{value("K", 200, "lb/acre", 0), "depth", `K in lb/acre: expected the sampled depth beside it: fill in the column depth`},
		{value("K", 1.2e6, "ppm", 0), "value", `K 1200000 ppm: more than the soil weighs: check the decimal point and the unit`},
		{value("K", -1, "ppm", 0), "value", `K -1: expected 0 or more: check the sign`},
		{value("K", math.NaN(), "ppm", 0), "value", `NaN: expected a number`},
		{value("pH", 2.9, "", 0), "value", `pH 2.9: expected 3.0 to 10.5: check the decimal point`},
		{value("pH", 10.6, "", 0), "value", `pH 10.6: expected 3.0 to 10.5: check the decimal point`},
		{value("pH", 6, "ppm", 0), "unit", `unit "ppm": cannot measure pH: expected pH`},
		{value("buffer pH", 4.9, "", 0), "value", `buffer pH 4.9: expected 5.0 or more: is it the soil's own pH?`},
		{value("OM", 140, "%", 0), "value", `OM 140 %: expected 0 to 100 %: check the decimal point and the unit`},
		{value("CEC", 301, "meq/100 g", 0), "value", `CEC 301 meq/100 g: expected 0 to 300 cmolc/kg: check the decimal point and the unit`},
		{value("bulk density", 2.7, "g/cm3", 0), "value", `bulk density 2.7 g/cm3: expected 0.05 to 2.65 g/cm3: check the decimal point and the unit`},
		{value("EC", 1, "ppm", 0), "unit", `unit "ppm": cannot measure EC: expected one of dS/m, mmho/cm`},
		{value("K2O", 100, "ppm K", 0), "unit", `unit "ppm K": speaks of K where the value is of K2O: mend one of them`},
		{value("P", 100, "lb P2O5/acre", 15), "unit", `unit "lb P2O5/acre": speaks of P2O5 where the value is of P: mend one of them`},
		{value("K", 100, "ppm Ca", 0), "unit", `unit "ppm Ca": cannot measure K: expected one of ppm, mg/kg, lb/acre, kg/ha, mg/dm3, %, meq/100 g`},
		{value("K", 100, "lbs", 0), "unit", `unit "lbs": cannot measure K: expected one of ppm, mg/kg, lb/acre, kg/ha, mg/dm3, %, meq/100 g`},
		{value("K", 2, "meq/L", 0), "method", `K in meq/L: meq/L is of a saturated paste or water extract: write the method`},
		{value("K", 2, "meq K/liter", 0), "method", `K in meq K/liter: meq/L is of a saturated paste or water extract: write the method`},
		{value("Zn", 2, "meq/L", 0), "unit", `unit "meq/L": cannot measure Zn: expected one of ppm, mg/kg, lb/acre, kg/ha, mg/dm3, %`},
		{CheckPounds("twice"), "pounds", `"twice": expected "2 x ppm" or "by depth"`},
		{pasted("K", 100, "lb/acre"), "unit", `unit "lb/acre": K of a saturated paste is a figure of its extract, not of the soil: expected mg/L, ppm or meq/L`},
		{pasted("K", 100, "mg/kg"), "unit", `unit "mg/kg": K of a saturated paste is a figure of its extract, not of the soil: expected mg/L, ppm or meq/L`},
		{pasted("B", 1, "meq/L"), "unit", `unit "meq/L": cannot measure B: expected mg/L or ppm`},
		{pasted("K2O", 1, "meq/L"), "form", `K2O in meq/L: expected the element, since charge has no oxide form: write K`},
		{pasted("K", 2e6, "ppm"), "value", `K 2000000 ppm: more than the extract weighs: check the decimal point and the unit`},
		{value("ENR", 80, "ppm", 0), "unit", `unit "ppm": cannot measure ENR: expected one of lb/acre, kg/ha`},
		{method("ECEC", "P"), "method", `method effective CEC: does not measure P: methods for it are Mehlich-3, Mehlich-3 ICP, Mehlich-3 colorimetric, Mehlich-1, Bray P1, Bray P2, Olsen, Morgan, modified Morgan, ammonium acetate, Lancaster, CAL, saturated paste, water extract, total digest`},
		{method("LOI", "P"), "method", `method LOI: does not measure P: methods for it are Mehlich-3, Mehlich-3 ICP, Mehlich-3 colorimetric, Mehlich-1, Bray P1, Bray P2, Olsen, Morgan, modified Morgan, ammonium acetate, Lancaster, CAL, saturated paste, water extract, total digest`},
		{method("Sikorra", "buffer pH"), "method", `method "Sikorra": not known for buffer pH: did you mean Sikora or Sikora-2?; a lab's own procedure is written "other: NAME"`},
		{amount(1, "", Mass), "unit", "no unit: expected one of lb, oz, g, kg, ton, t"},
		{amount(1, "lbx", Mass), "unit", `unit "lbx": not known here: did you mean lb?`},
		{amount(-1, "lb", Mass), "value", "-1 lb: expected 0 or more"},
		{amount(math.Inf(1), "lb", Mass), "value", "+Inf: expected a number"},
		{water("alkalinity", "HCO3", 10, "mg/L"), "form", `form "HCO3": expected CaCO3, which is how alkalinity is printed`},
		{water("K", "", 10, ""), "unit", "K has no unit: expected mg/L, ppm, meq/L: copy the unit from the report"},
		{water("pH", "", 15, ""), "value", "pH 15: expected 0 to 14: check the decimal point"},
		{water("OM", "", 1, "%"), "analyte", `analyte "OM": not known for water: did you mean Mo?`},
		{leaf("N", 120, "%"), "value", "N 120 %: more than the leaf weighs: check the decimal point and the unit"},
		{leaf("N", 4, "lb"), "unit", `unit "lb": cannot measure N in a leaf: expected %, ppm, g/kg, mg/kg`},
		{part("phosphate", 10, "%"), "component", `component "phosphate": leaves the form open: expected P or P2O5 or PO4`},
		{part("density", 1, "lb"), "unit", `unit "lb": cannot measure density: expected lb/cu yd, lb/cu ft, kg/m3, kg/L, lb/gal`},
		{part("CCE", 181, "%"), "value", "CCE 181 %: expected 0 to 180 %: check the decimal point and the unit"},
		{part("K2O", 101, "%"), "value", "K2O 101 %: expected 0 to 100 %: check the decimal point and the unit"},
		{part("pH", 15, ""), "value", "pH 15: expected 0 to 14: check the decimal point and the unit"},
	} {
		if x.err == nil {
			t.Errorf("not refused: %s", x.want)
			continue
		}
		if x.err.Error() != x.want || About(x.err) != x.about || !errors.Is(x.err, ErrUnit) {
			t.Errorf("about %q, want %q\ngot  %s\nwant %s", About(x.err), x.about, x.err, x.want)
		}
	}
	if About(nil) != "" || About(errors.New("x")) != "" {
		t.Error("About knows errors of others")
	}
}

func TestSoilUnits(t *testing.T) {
	for _, x := range []struct {
		analyte, method, text string
		in, want              float64
		unit, basis           string
	}{
		{"K", "", "ppm", 100, 100, "mg/kg", "mass"}, {"K", "", "mg/kg", 100, 100, "mg/kg", "mass"}, {"K", "", "ug/g", 100, 100, "mg/kg", "mass"},
		{"B", "", "ppb", 500, 0.5, "mg/kg", "mass"}, {"K", "", "mg/100 g", 10, 100, "mg/kg", "mass"}, {"Ca", "", "%", 0.2, 2000, "mg/kg", "mass"},
		{"Ca", "", "g/kg", 2, 2000, "mg/kg", "mass"}, {"P", "", "mg/dm3", 40, 40, "mg/dm3", "volume"}, {"P", "", "mg/L", 40, 40, "mg/dm3", "volume"},
		{"K", "saturated paste", "mg/L", 40, 40, "mg/L", "extract"}, {"OM", "", "g/kg", 45, 4.5, "%", ""}, {"OC", "", "%", 2.5, 2.5, "%", ""},
		{"CEC", "", "mmolc/kg", 120, 12, "cmolc/kg", ""}, {"CEC", "", "meq/100 cm3", 12, 12, "cmolc/dm3", "volume"},
		{"CEC", "", "meq", 12, 12, "cmolc/kg", ""}, {"acidity", "", "meq", 1.5, 1.5, "cmolc/kg", ""},
		{"EC", "", "mmho/cm", 1.2, 1.2, "dS/m", ""}, {"EC", "", "\u00b5S/cm", 1200, 1.2, "dS/m", ""}, {"EC", "", "mS/m", 120, 1.2, "dS/m", ""},
		{"bulk density", "", "kg/m3", 1200, 1.2, "g/cm3", ""}, {"bulk density", "", "lb/cu ft", 62.42796, 1, "g/cm3", ""}, {"pH", "", "pH", 6.4, 6.4, "pH", ""},
		{"LBC", "", "mg CaCO3/kg/pH", 400, 400, "mg CaCO3/kg/pH", ""}, {"ENR", "", "lb/acre", 80, 80 * KgHaPerLbAc, "kg/ha", ""}, {"ENR", "", "lbs N/A", 80, 80 * KgHaPerLbAc, "kg/ha", ""},
		{"K", "saturated paste", "ppm", 40, 40, "mg/L", "extract"}, {"K", "saturated paste", "meq/L", 2, 78.196, "mg/L", "extract"}, {"Ca", "water extract", "meq/L", 2, 40.078, "mg/L", "extract"}, {"Mg", "saturated paste", "me/L", 2, 24.305, "mg/L", "extract"}, {"Na", "saturated paste", "mmolc/L", 1, 22.990, "mg/L", "extract"}, {"Ca", "saturated paste", "ppb", 500, 0.5, "mg/L", "extract"},
		{"EC", "saturated paste", "dS/m", 2, 2, "dS/m", ""}, {"EC", "1:2", "mS/cm", 2, 2, "dS/m", ""}, {"OC", "", "g/kg", 25, 2.5, "%", ""},
		{"K", "", "ppm K", 100, 100, "mg/kg", "mass"}, {"NO3-N", "", "ppm (N)", 12, 12, "mg/kg", "mass"}, {"NO3-N", "", "mg N/kg", 12, 12, "mg/kg", "mass"}, {"K", "", "mg kg-1", 100, 100, "mg/kg", "mass"},
		{"K2O", "", "ppm as K2O", 100, 83.015022, "mg/kg", "mass"}, {"CEC", "", "meq per 100 g of soil", 12, 12, "cmolc/kg", ""}, {"CEC", "", "cmol(+) kg-1", 12, 12, "cmolc/kg", ""},
	} {
		v := soil(t, x.analyte, "", x.method, x.in, x.text, 0)
		if math.Abs(v.Value-x.want) > 1e-6*x.want || v.Unit != x.unit || v.Basis != x.basis {
			t.Errorf("%s %v %s: %v %s %q, want %v %s %q", x.analyte, x.in, x.text, v.Value, v.Unit, v.Basis, x.want, x.unit, x.basis)
		}
	}
	// property: what we offer in a message is accepted.
	for _, a := range Analytes() {
		for _, u := range soilUnits(a) {
			v, err := Soil(SoilReading{Analyte: a, Form: Form{Name: a.ID, Analyte: a.ID, Factor: 1}, Value: 2, Unit: u, DepthTo: 15})
			if About(err) == "unit" {
				t.Errorf("%s: we offer %q and refuse it: %v", a.ID, u, err)
			}
			if err == nil && u == a.Unit() && v.Value != 2 {
				t.Errorf("%s in its own unit %s changes to %v", a.ID, u, v.Value)
			}
		}
	}
}

func TestOtherMeasures(t *testing.T) {
	near := func(what string, m Measure, err error, want Measure) {
		t.Helper()
		if err != nil || m.ID != want.ID || m.Form != want.Form || m.Unit != want.Unit || math.Abs(m.Value-want.Value) > 1e-6*want.Value {
			t.Errorf("%s: %+v %v, want %+v", what, m, err, want)
		}
	}
	m, err := Water("hardness", "", 10, "gpg")
	near("10 grains of hardness a gallon (exact definitions)", m, err, Measure{"hardness", "CaCO3", 171.18061, "mg/L"})
	m, err = Water("Ca", "", 2, "meq/L")
	near("calcium", m, err, Measure{"Ca", "Ca", 40.078, "mg/L"})
	m, err = Water("EC", "", 800, "uS/cm")
	near("conductivity", m, err, Measure{"EC", "", 0.8, "dS/m"})
	m, err = Water("SAR", "", 3, "")
	near("SAR", m, err, Measure{"SAR", "", 3, ""})
	m, err = Leaf("nitrogen", 4.8, "%")
	near("leaf nitrogen", m, err, Measure{"N", "", 48000, "mg/kg"})
	m, err = Leaf("phosphorus", 3, "g/kg")
	near("leaf phosphorus", m, err, Measure{"P", "", 3000, "mg/kg"})
	m, err = Component("density", 9, "lb/gal")
	near("density", m, err, Measure{"density", "", 1078.43786, "kg/m3"})
	m, err = Component("C:N", 16.8, "")
	near("C:N", m, err, Measure{"C:N", "", 16.8, ""})
	m, err = Component("calcium carbonate equivalent", 45, "lb/ton")
	near("lime value", m, err, Measure{"CCE", "", 2.25, "%"})
	m, err = Component("B", 400, "ppm")
	near("boron", m, err, Measure{"B", "B", 0.04, "%"})
	for _, name := range componentNames() { // what we offer is accepted
		if _, err := Component(name, 1, "%"); About(err) == "component" {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestParseNumber(t *testing.T) {
	for _, x := range []struct {
		text, qualifier string
		want            float64
	}{
		{"12.5", "", 12.5}, {" 12 ", "", 12}, {"+3", "", 3}, {"-3", "", -3}, {".5", "", 0.5}, {"5.", "", 5}, {"1e3", "", 1000}, {"1,234", "", 1234},
		{"1,234,567.8", "", 1234567.8}, {"<0.2", "<", 0.2}, {"< 0.2", "<", 0.2}, {">=200", ">", 200}, {"~40", "about", 40}, {"about 40", "about", 40}, {"About  1,200", "about", 1200},
	} {
		if got, q, err := ParseNumber(x.text); err != nil || got != x.want || q != x.qualifier {
			t.Errorf("%q: %v %q %v, want %v %q", x.text, got, q, err, x.want, x.qualifier)
		}
	}
	for _, text := range []string{"", " ", "<", "~", "about", "6,4", "1,23,456", "1234,567", "12,34", ",123", "1,2e3", "1.234,5", "0x10", "1_000", "inf", "NaN", "1e999", "--3", "1-2", "12 lb", "~<3", "e", "1 200", "\u0661"} {
		if got, _, err := ParseNumber(text); err == nil || !errors.Is(err, ErrUnit) {
			t.Errorf("%q: read as %v (%v)", text, got, err)
		}
	}
}

func FuzzParseNumber(f *testing.F) {
	for _, s := range []string{"12.5", "<0.2", "1,234.5", "about 40", "~1e3", "1,2e3", "-0", "999999999999999999999"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		v, q, err := ParseNumber(text)
		if err != nil {
			if !errors.Is(err, ErrUnit) || v != 0 || q != "" {
				t.Fatalf("%q: %v %q beside %v", text, v, q, err)
			}
			return
		}
		if math.IsNaN(v) || math.IsInf(v, 0) || !slices.Contains([]string{"", "<", ">", "about"}, q) {
			t.Fatalf("%q: %v %q", text, v, q)
		}
		again, _, err := ParseNumber(trim(v))
		if err != nil || again != v {
			t.Fatalf("%q: %v, again %v %v", text, v, again, err)
		}
	})
}

func TestNear(t *testing.T) {
	names := []string{"Mehlich-3", "Mehlich-1", "Morgan", "modified Morgan"}
	for _, x := range []struct {
		text string
		want []string
	}{
		{"mehlich 3", []string{"Mehlich-3", "Mehlich-1"}}, {"Mogran", []string{"Morgan"}}, {"water", nil}, {"", nil}, {"-", nil},
	} {
		if got := Near(x.text, append(names, "K")); !slices.Equal(got, x.want) {
			t.Errorf("%q: %q, want %q", x.text, got, x.want)
		}
	}
	for _, x := range []struct {
		a, b string
		d    int
	}{{"", "abc", 3}, {"abc", "abc", 0}, {"abc", "acb", 1}, {"abc", "abd", 1}, {"kitten", "sitting", 3}} {
		if got := distance(x.a, x.b); got != x.d || distance(x.b, x.a) != got {
			t.Errorf("%q %q: %d, want %d", x.a, x.b, got, x.d)
		}
	}
}
