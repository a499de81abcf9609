package unit

import (
	"math"
	"slices"
	"strings"
)

// Measure is a value of a water test, a leaf test or a material's analysis, in
// the unit it is stored in.
type Measure struct {
	ID    string // what was measured: N, P, moisture, alkalinity ...
	Form  string // as printed: P2O5; empty where there is only one
	Value float64
	Unit  string
}

// what is measured beside the soil analytes, by squashed name.
type other struct {
	id    string
	names []string
	unit  string  // stored
	max   float64 // in the stored unit; 0: no limit
}

func waters() []other {
	return []other{
		{"alkalinity", []string{"total alkalinity", "alkalinity as CaCO3"}, "mg/L", 0},
		{"hardness", []string{"total hardness", "hardness as CaCO3"}, "mg/L", 0},
		{"HCO3", []string{"bicarbonate"}, "mg/L", 0},
		{"TDS", []string{"total dissolved solids", "dissolved solids"}, "mg/L", 0},
		{"SAR", []string{"sodium adsorption ratio"}, "", 0},
		{"pH", []string{"water pH"}, "pH", 14},
		{"EC", []string{"conductivity", "electrical conductivity", "soluble salts", "salts"}, "dS/m", 0},
	}
}

// A material's lime value goes to 180 % of calcium carbonate: pure quicklime is
// 178 % by the atomic masses.
func components() []other {
	return []other{
		{"N", []string{"nitrogen", "total N", "total nitrogen"}, "%", 100},
		{"CCE", []string{"calcium carbonate equivalent", "neutralizing value", "neutralising value"}, "%", 180},
		{"ENV", []string{"effective neutralizing value", "effective neutralising value"}, "%", 180},
		{"fineness", nil, "%", 100},
		{"moisture", []string{"water", "water content"}, "%", 100},
		{"OM", []string{"organic matter"}, "%", 100},
		{"total C", []string{"C", "carbon", "total carbon"}, "%", 100},
		{"C:N", []string{"C/N", "C:N ratio", "carbon to nitrogen"}, "", 0},
		{"pH", nil, "pH", 14},
		{"EC", []string{"conductivity", "electrical conductivity", "soluble salts", "salts"}, "dS/m", 0},
		{"density", []string{"bulk density"}, "kg/m3", 5000},
	}
}

// Components a material may be made of beside those above, and what leaf tests
// measure beside N.
func elements() []string {
	return []string{"P", "K", "Ca", "Mg", "S", "B", "Zn", "Mn", "Fe", "Cu", "Na", "Cl", "Mo", "Al"}
}

func lookUp(list []other, name string) (other, bool) {
	q := squash(name)
	for _, o := range list {
		if squash(o.id) == q {
			return o, true
		}
		for _, n := range o.names {
			if squash(n) == q {
				return o, true
			}
		}
	}
	return other{}, false
}

func words(list []other, more ...string) (out []string) {
	for _, o := range list {
		out = append(append(out, o.id), o.names...)
	}
	return append(out, more...)
}

// sane refuses what no measurement can be.
func sane(what string, value float64) error {
	switch {
	case math.IsNaN(value) || math.IsInf(value, 0):
		return refuse("value", "%v: expected a number", value)
	case value < 0:
		return refuse("value", "%s %v: expected 0 or more: check the sign", what, value)
	}
	return nil
}

// Water turns one value of an irrigation-water report into mg/L (dS/m for
// conductivity). Alkalinity and hardness are as CaCO3, which is how they are
// printed (common practice, no source).
//
// The error wraps ErrUnit; About names the part it speaks of.
func Water(name, form string, value float64, text string) (Measure, error) {
	u := squash(text)
	bad := func(id, units string) (Measure, error) {
		if u == "" {
			return Measure{}, refuse("unit", "%s has no unit: expected %s: copy the unit from the report", id, units)
		}
		return Measure{}, refuse("unit", "unit %q: cannot measure %s in water: expected %s", text, id, units)
	}
	if err := sane(name, value); err != nil {
		return Measure{}, err
	}
	m, molar, charge := Measure{Value: value}, 0.0, 0.0
	if o, ok := lookUp(waters(), name); ok {
		m.ID, m.Unit = o.id, o.unit
		switch o.id {
		case "pH":
			if u != "" && u != "ph" && u != "units" {
				return bad(o.id, "pH")
			}
			if value > o.max {
				return m, refuse("value", "pH %v: expected 0 to 14: check the decimal point", value)
			}
			return m, nil
		case "SAR":
			if u != "" && u != "ratio" {
				return bad(o.id, "an empty cell")
			}
			return m, nil
		case "EC":
			scale, ok := conductivity(u)
			if !ok {
				return bad(o.id, "dS/m, mmho/cm, uS/cm")
			}
			m.Value *= scale
			return m, nil
		case "HCO3":
			molar, charge = mH+mC+3*mO, 1
		case "alkalinity", "hardness":
			molar, charge = mCa+mC+3*mO, 2
			switch f := squash(strings.TrimPrefix(strings.ToLower(form), "as ")); f {
			case "", "caco3":
				m.Form = "CaCO3"
			default:
				return m, refuse("form", "form %q: expected CaCO3, which is how %s is printed", form, o.id)
			}
			if u == "mg/lcaco3" || u == "ppmcaco3" {
				u = "mg/l"
			}
			if u == "gpg" || u == "grains/gal" || u == "grains" {
				m.Value, u = value*KgPerPound/7000/LPerGallon*1e6, "mg/l"
			}
		}
	} else {
		a, f, err := ParseAnalyte(name, form)
		if About(err) == "analyte" || err == nil && a.Kind != Fraction {
			names := words(waters())
			for _, x := range analytes {
				if x.Kind == Fraction {
					names = append(names, x.ID, x.Name)
				}
			}
			return m, refuse("analyte", "analyte %q: not known for water%s", name, didYouMean(name, names))
		}
		if err != nil {
			return m, err
		}
		m.ID, m.Form, m.Unit, m.Value = a.ID, f.Name, "mg/L", value*f.Factor
		if f.Factor == 1 {
			molar, charge = a.Molar, a.Charge
		}
	}
	switch u {
	case "mg/l", "ppm", "g/m3", "ug/ml":
	case "ug/l", "ppb", "mg/m3":
		m.Value /= 1000
	case "meq/l", "me/l", "mmolc/l":
		if charge == 0 {
			return bad(m.ID, "mg/L, ppm")
		}
		m.Value *= molar / charge
	default:
		return bad(m.ID, "mg/L, ppm, meq/L")
	}
	if m.Value > 1e6 {
		return m, refuse("value", "%s %v %s: more than the water weighs: check the decimal point and the unit", m.ID, value, text)
	}
	return m, nil
}

// Leaf turns one value of a plant-tissue report into mg/kg of dry matter. Leaf
// reports print elements; an oxide is refused.
//
// The error wraps ErrUnit; About names the part it speaks of.
func Leaf(name string, value float64, text string) (Measure, error) {
	if err := sane(name, value); err != nil {
		return Measure{}, err
	}
	id := ""
	switch squash(name) {
	case "n", "nitrogen", "totaln", "totalnitrogen":
		id = "N"
	case "phosphorus":
		id = "P"
	case "sulfur", "sulphur":
		id = "S"
	default:
		a, f, err := ParseAnalyte(name, "")
		if err != nil || f.Factor != 1 || a.ID != "NO3-N" && !slices.Contains(elements(), a.ID) {
			names := append(elements(), "N", "NO3-N")
			return Measure{}, refuse("analyte", "analyte %q: not known in a leaf test%s", name, nearOr(name, names, strings.Join(names, ", ")))
		}
		id = a.ID
	}
	m := Measure{ID: id, Unit: "mg/kg"}
	switch u := squash(text); u {
	case "%", "pct", "percent":
		m.Value = value * 1e4
	case "g/kg", "mg/g":
		m.Value = value * 1000
	case "ppm", "mg/kg", "ug/g":
		m.Value = value
	case "":
		return m, refuse("unit", "%s has no unit: expected %%, ppm, g/kg, mg/kg: copy the unit from the lab's sheet", id)
	default:
		return m, refuse("unit", "unit %q: cannot measure %s in a leaf: expected %%, ppm, g/kg, mg/kg", text, id)
	}
	if m.Value > 1e6 {
		return m, refuse("value", "%s %v %s: more than the leaf weighs: check the decimal point and the unit", id, value, text)
	}
	return m, nil
}

// Component turns one line of a material's analysis into %: the element of what
// may be printed as its oxide. Conductivity is stored in dS/m, density in
// kg/m3; pH and C:N have no unit.
//
// The error wraps ErrUnit; About names the part it speaks of.
func Component(name string, value float64, text string) (Measure, error) {
	if err := sane(name, value); err != nil {
		return Measure{}, err
	}
	u := squash(text)
	o, ok := lookUp(components(), name)
	m, factor := Measure{ID: o.id, Unit: o.unit}, 1.0
	if !ok {
		a, f, err := ParseAnalyte(name, "")
		if About(err) == "form" {
			return m, refuse("component", "component %q: leaves the form open: expected %s", name, strings.Join(formsOf(a.ID), " or "))
		}
		if err != nil || !slices.Contains(elements(), a.ID) {
			return m, refuse("component", "component %q: not known%s", name, nearOr(name, words(components(), componentNames()...), strings.Join(componentNames(), ", ")))
		}
		m, factor, o = Measure{ID: a.ID, Form: f.Name, Unit: "%"}, f.Factor, other{id: f.Name, unit: "%", max: 100}
	}
	scale := 0.0
	units := "%, ppm, mg/kg, g/kg, lb/ton"
	switch o.unit {
	case "%":
		scale = map[string]float64{"%": 1, "pct": 1, "percent": 1, "g/100g": 1, "g/kg": 0.1, "mg/kg": 1e-4, "ppm": 1e-4, "lb/ton": 0.05, "lbs/ton": 0.05}[u]
	case "dS/m":
		scale, _ = conductivity(u)
		units = "dS/m, mmho/cm"
	case "kg/m3":
		scale = map[string]float64{"kg/m3": 1, "g/l": 1, "kg/l": 1000, "g/cm3": 1000, "g/cc": 1000, "g/ml": 1000, "t/m3": 1000,
			"lb/cuyd": KgPerPound / (27 * M3PerCuFt), "lb/yd3": KgPerPound / (27 * M3PerCuFt), "lbs/cuyd": KgPerPound / (27 * M3PerCuFt),
			"lb/cuft": KgPerPound / M3PerCuFt, "lb/ft3": KgPerPound / M3PerCuFt,
			"lb/gal": KgPerPound / LPerGallon * 1000, "lbs/gal": KgPerPound / LPerGallon * 1000}[u]
		units = "lb/cu yd, lb/cu ft, kg/m3, kg/L, lb/gal"
	default: // pH, C:N
		if u == "" || u == squash(o.id) || u == "ratio" || u == "units" || u == ":1" {
			scale = 1
		}
		units = "an empty cell"
	}
	if scale == 0 {
		if u == "" {
			return m, refuse("unit", "%s has no unit: expected %s", o.id, units)
		}
		return m, refuse("unit", "unit %q: cannot measure %s: expected %s", text, o.id, units)
	}
	if x := value * scale; o.max > 0 && x > o.max {
		at := o.unit
		if at == "pH" {
			at = ""
		}
		return m, refuse("value", "%s: expected 0 to %s: check the decimal point and the unit", strings.TrimSpace(strings.Join([]string{o.id, trim(value), text}, " ")), strings.TrimSpace(trim(o.max)+" "+at))
	}
	m.Value = value * scale * factor
	return m, nil
}

// Grade refuses a fertilizer grade such as 10-10-10 in the place of a
// component: it is three figures, the shares of N, P2O5 and K2O.
//
// Source: AAPFCO, Official Publication: a grade states total N, available
// phosphate and soluble potash, in this order (from memory).
func Grade(name string) error {
	parts := strings.Split(squashGrade(name), "-")
	if len(parts) != 3 {
		return nil
	}
	for _, p := range parts {
		if _, _, err := ParseNumber(p); err != nil {
			return nil
		}
	}
	return refuse("component", "component %q: write three rows: N %s, P2O5 %s, K2O %s", name, parts[0], parts[1], parts[2])
}

func squashGrade(s string) string {
	return strings.NewReplacer(" ", "", "\u2013", "-", "\u2011", "-").Replace(s)
}

func componentNames() (out []string) {
	out = append(out, "N", "P2O5", "P", "K2O", "K", "CaO", "Ca", "MgO", "Mg", "SO3", "S")
	out = append(out, elements()[5:]...)
	for _, o := range components()[1:] {
		out = append(out, o.id)
	}
	return out
}
