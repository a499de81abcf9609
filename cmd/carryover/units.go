package main

import (
	"fmt"
	"math"
	"strings"

	"carryover/analysis"
	"carryover/dataset/unit"
)

// shown scales SI to the units a reader wants, once, on the way out.
type shown struct{ us bool }

// to returns the value in the unit named and that name.
func to(v float64, name string, q unit.Quantity) (float64, string) {
	f, _ := unit.Factor(name, q)
	return v / f, name
}

func (s shown) pick(us, metric string) string {
	if s.us {
		return us
	}
	return metric
}

func (s shown) area(m2 float64) string {
	v, u := to(m2, s.pick("sq ft", "m2"), unit.Area)
	return commas(math.Round(v)) + " " + u
}

func (s shown) weightUnit() string { return s.pick("lb", "kg") }

func (s shown) weight(kg float64) float64 {
	v, _ := to(kg, s.weightUnit(), unit.Mass)
	return v
}

func (s shown) perAreaUnit() string { return s.pick("lb/1000 sq ft", "kg/ha") }

func (s shown) perArea(kgHa float64) float64 {
	v, _ := to(kgHa, s.perAreaUnit(), unit.MassPerArea)
	return v
}

// soilUnit names a soil-test unit as the reader's labs do.
func (s shown) soilUnit(si string) string {
	switch {
	case si == "pH":
		return ""
	case !s.us:
		return si
	case si == "mg/kg":
		return "ppm"
	case si == "cmolc/kg":
		return "meq/100 g"
	}
	return si
}

// soil scales a soil-test value for reading and names its unit: as soilUnit does,
// and a release per area, which labs print in lb/acre.
func (s shown) soil(v float64, si string) (float64, string) {
	if s.us && si == "kg/ha" {
		return to(v, "lb/acre", unit.MassPerArea)
	}
	return v, s.soilUnit(si)
}

func (s shown) depth(from, to *float64) string {
	if to == nil {
		return "depth not given"
	}
	f := 0.0
	if from != nil {
		f = *from
	}
	u, scale := "cm", 1.0
	if s.us {
		u, scale = "in", unit.CmPerInch
	}
	tenths := func(v float64) string { return short(math.Round(v/scale*10) / 10) }
	return fmt.Sprintf("%s-%s %s", tenths(f), tenths(*to), u)
}

// amount prints one spreading: as the grower wrote it where that suits the
// reader's units, else scaled.
func (s shown) amount(in analysis.Input) string {
	if in.Amount == nil {
		return "amount not recorded"
	}
	name, scale := in.Unit, 1.0
	us := map[string]struct {
		name string
		q    unit.Quantity
	}{
		"kg": {"lb", unit.Mass}, "kg/ha": {"lb/1000 sq ft", unit.MassPerArea}, "L": {"gal", unit.Liquid},
		"L/ha": {"gal/1000 sq ft", unit.LiquidPerArea}, "m3": {"cu yd", unit.Volume}, "cm": {"in", unit.Length},
	}
	if s.us {
		if u, ok := us[in.Unit]; ok {
			scale, name = to(1, u.name, u.q)
		}
	}
	text := figures(*in.Amount * scale)
	if in.Low != nil && in.High != nil && !roughly(in) {
		text = figures(*in.Low*scale) + "-" + figures(*in.High*scale)
	}
	if in.About {
		text = "about " + text
	}
	return text + " " + name
}

// roughly tells an amount whose range is only what "about" stands for.
func roughly(in analysis.Input) bool {
	off := func(end, share float64) bool { return math.Abs(end-*in.Amount*share) > 1e-6**in.Amount }
	return in.About && !off(*in.Low, 1-unit.AboutShare) && !off(*in.High, 1+unit.AboutShare)
}

// figures prints three significant figures without an exponent.
func figures(v float64) string {
	if v == 0 || math.IsNaN(v) || math.IsInf(v, 0) {
		return fmt.Sprint(v)
	}
	d := 2 - int(math.Floor(math.Log10(math.Abs(v))))
	if d <= 0 {
		scale := math.Pow(10, float64(-d))
		return commas(math.Round(v/scale) * scale)
	}
	return short(math.Round(v*math.Pow(10, float64(d))) / math.Pow(10, float64(d)))
}

// short prints a number without trailing zeros, at most three digits after the
// point.
func short(v float64) string {
	s := fmt.Sprintf("%.3f", v)
	return strings.TrimSuffix(strings.TrimRight(s, "0"), ".")
}

// commas prints a whole number with thousands commas.
func commas(v float64) string {
	s := fmt.Sprintf("%.0f", v)
	for i := len(s) - 3; i > 0 && s[i-1] != '-'; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}
