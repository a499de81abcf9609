package unit

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// exact is the relative error allowed to a value that goes to SI and comes back:
// some hundred times the rounding of one multiplication and one division.
const exact = 1e-12

func returns(got, want float64) bool { return math.Abs(got-want) <= exact*math.Abs(want) }

// property: every plain unit goes to SI and back, under each of its names, and
// by way of every other unit of its quantity.
func TestUnitsRoundTrip(t *testing.T) {
	rnd := rand.New(rand.NewPCG(1, 2))
	for range 50 {
		x := math.Exp(rnd.Float64()*20 - 10)
		for _, s := range scales {
			zero := 0.0
			if s.q == Temperature && s.factor != 1 {
				zero = 32
			}
			for _, n := range s.names {
				f, ok := Factor(n, s.q)
				if back := convert(t, x, n, s.q)/f + zero; !ok || math.Abs(back-x) > exact*(x+zero) {
					t.Fatalf("%v %s comes back as %v", x, n, back)
				}
			}
			for _, other := range scales {
				if other.q != s.q || s.q == Temperature {
					continue
				}
				there := convert(t, x, s.names[0], s.q) / other.factor
				if back := convert(t, there, other.names[0], other.q) / s.factor; !returns(back, x) {
					t.Fatalf("%v %s by way of %s comes back as %v", x, s.names[0], other.names[0], back)
				}
			}
		}
	}
}

// property: a stored value printed in any form or soil-test unit is read back as
// itself, per area at any depth, and its basis is the unit's own.
func TestSoilRoundTrip(t *testing.T) {
	rnd := rand.New(rand.NewPCG(3, 4))
	for range 200 {
		x, from := math.Exp(rnd.Float64()*8-3), rnd.Float64()*30
		depth := 2 + rnd.Float64()*40
		for _, a := range analytes {
			if a.Kind != Fraction {
				continue
			}
			perArea := x * depth * SliceDensity / 10 // kg/ha by the laboratory convention
			for u, printed := range map[string]float64{"ppm": x, "ppb": 1000 * x, "g/kg": x / 1000, "%": x / 1e4, "mg/100 g": x / 10, "kg/ha": perArea, "g/m2": perArea / 10,
				"lb/acre": perArea / KgHaPerLbAc, "lb/1000 sq ft": perArea / KgHaPerLbAc / 43.56} {
				for _, f := range append(Forms(), Form{Name: a.ID, Analyte: a.ID, Factor: 1}) {
					if f.Analyte != a.ID {
						continue
					}
					v, err := Soil(SoilReading{Analyte: a, Form: f, Method: "Mehlich-3", Value: printed / f.Factor, Unit: u, DepthFrom: from, DepthTo: from + depth, Pounds: ByDepth})
					if err != nil || !returns(v.Value, x) || v.Unit != "mg/kg" || v.Basis != "mass" || (v.Conversion != "") != slices.Contains([]string{"kg/ha", "g/m2", "lb/acre", "lb/1000 sq ft"}, u) {
						t.Fatalf("%v %s of %s at %v cm: %+v %v, want %v", printed/f.Factor, u, f.Name, depth, v, err, x)
					}
				}
			}
			if !returns(MgPerKgFromLbAc(perArea/KgHaPerLbAc, depth), x) {
				t.Fatalf("%v lb/acre at %v cm", perArea/KgHaPerLbAc, depth)
			}
			if a.Charge > 0 {
				for u, printed := range map[string]float64{"meq/100 g": x * a.Charge / a.Molar / 10, "mmolc/kg": x * a.Charge / a.Molar} {
					if v, err := Soil(SoilReading{Analyte: a, Form: Form{Name: a.ID, Factor: 1}, Value: printed, Unit: u}); err != nil || !returns(v.Value, x) {
						t.Fatalf("%v %s of %s: %+v %v, want %v", printed, u, a.ID, v, err, x)
					}
				}
			}
		}
	}
	for _, f := range []float64{1.4, OMPerOCConventional, OMPerOC, 2.5} {
		om, err := OrganicMatter(2.5, f)
		oc, again := OrganicCarbon(om, f)
		if err != nil || again != nil || !returns(om, 2.5*f) || !returns(oc, 2.5) {
			t.Errorf("factor %v: %v %v, %v %v", f, om, err, oc, again)
		}
	}
	for _, f := range []float64{0, 0.58, 1.39, 2.51, math.NaN(), math.Inf(1)} {
		if _, err := OrganicCarbon(5, f); err == nil || !errors.Is(err, ErrUnit) {
			t.Errorf("factor %v is taken", f)
		}
	}
}

// property: no unit, method or depth carries a value from one basis to another:
// a figure of an extract stays one, and what stands on a volume stands there.
func TestNeverCrossesBasis(t *testing.T) {
	var units []string
	for _, w := range phrases() {
		if w.sense == ofUnit && !slices.Contains(units, w.text) {
			units = append(units, w.text)
		}
	}
	slices.Sort(units)
	if len(units) < 20 {
		t.Fatalf("only %d units", len(units))
	}
	area := []string{"lb/acre", "lb/1000 sq ft", "kg/ha", "g/m2", "pp2m"}
	volume := []string{"mg/dm3", "mg/L"}
	seen := map[string]int{}
	for _, a := range analytes {
		if a.Kind != Fraction {
			continue
		}
		for _, u := range units {
			for _, m := range []string{"", "Mehlich-3", paste, "water extract"} {
				read := func(depth float64) (SoilValue, error) {
					return Soil(SoilReading{Analyte: a, Form: Form{Name: a.ID, Factor: 1}, Method: m, Value: 7, Unit: u, DepthTo: depth})
				}
				v, err := read(15)
				if err != nil {
					if about := About(err); about != "unit" && !(about == "method" && m == "" && u == "meq/L") {
						t.Errorf("%s %s %s: %v", a.ID, u, m, err)
					}
					continue
				}
				want := SoilValue{Unit: "mg/kg", Basis: "mass"}
				switch {
				case m == paste, m == "water extract" && slices.Contains(append(volume, "meq/L"), u):
					want = SoilValue{Unit: "mg/L", Basis: "extract"}
				case slices.Contains(volume, u):
					want = SoilValue{Unit: "mg/dm3", Basis: "volume"}
				}
				seen[want.Basis]++
				if v.Unit != want.Unit || v.Basis != want.Basis || m == paste && slices.Contains(append(area, "mg/kg", "%", "mg/dm3", "meq/100 g"), u) {
					t.Errorf("%s %s %s: %+v", a.ID, u, m, v)
				}
				deeper, err := read(30)
				if perArea := slices.Contains(area, u); err != nil || perArea != (deeper.Value != v.Value) {
					t.Errorf("%s %s %s: %v at 15 cm and %v at 30 cm (%v)", a.ID, u, m, v.Value, deeper.Value, err)
				}
				if _, err := read(0); slices.Contains(area, u) && About(err) != "depth" {
					t.Errorf("%s %s without depth: %v", a.ID, u, err)
				}
			}
		}
	}
	for _, b := range []string{"mass", "volume", "extract"} {
		if seen[b] == 0 {
			t.Errorf("no value on a basis of %s", b)
		}
	}
}
