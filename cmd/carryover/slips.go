package main

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"carryover/analysis"
	"carryover/dataset/unit"
)

// jump is one value beside the last one, in the same unit.
type jump struct {
	analyte   string
	last, now float64
}

// slips names steps that a wrong unit, form or decimal point would make.
func slips(list []jump) (out []string) {
	near := func(r, factor float64) float64 { return math.Abs(math.Abs(math.Log(r)) - math.Log(factor)) }
	var twice []string
	up, nutrients := 0, 0
	for _, j := range list {
		if a, ok := unit.ByID(j.analyte); ok && a.Kind == unit.Fraction && j.last > 0 && j.now > 0 {
			nutrients++
			if near(j.now/j.last, 2) < 0.15 {
				twice = append(twice, j.analyte)
				if j.now > j.last {
					up++
				}
			}
		}
	}
	whole := len(twice) >= 3 && 3*len(twice) >= 2*nutrients && (up == 0 || up == len(twice))
	if whole {
		how := "half"
		if up > 0 {
			how = "twice"
		}
		out = append(out, fmt.Sprintf("%s are about %s what they were; lb/acre reads about 2 times ppm: is the unit right?", strings.Join(twice, ", "), how))
	}
	for _, j := range list {
		a, ok := unit.ByID(j.analyte)
		if !ok || a.Kind == unit.PH || j.last <= 0 || j.now <= 0 || whole && slices.Contains(twice, j.analyte) {
			continue
		}
		r := j.now / j.last
		why, best := "", 1.0
		try := func(factor, tol float64, text string) {
			if d := near(r, factor); d < min(tol, best) {
				why, best = text, d
			}
		}
		restless := j.analyte == "NO3-N" || j.analyte == "NH4-N" // they may well change so much
		for _, f := range unit.Forms() {
			if factor := 1 / f.Factor; f.Analyte == j.analyte && factor != 1 {
				tol := min(0.14, (factor-1)/10) // a step of a fifth is common enough
				if restless {
					tol = 0.04
				}
				try(factor, tol, fmt.Sprintf("%s reads %.3g times %s: is the form right?", f.Name, factor, j.analyte))
			}
		}
		if a.Kind == unit.Fraction && !restless {
			try(2, 0.1, "lb/acre reads about 2 times ppm: is the unit right?")
		}
		if r >= 5 || r <= 0.2 {
			tol := 0.3
			if restless {
				tol = 0.03
			}
			if try(10, tol, "is the decimal point right?"); why == "" && !restless {
				why = "are unit, form and decimal point right?"
			}
		}
		if why == "" {
			continue
		}
		how := fmt.Sprintf("%.3g times", r)
		if r < 1 {
			how = fmt.Sprintf("1/%.3g of", 1/r)
		}
		out = append(out, fmt.Sprintf("%s %s is %s the %s before: %s", j.analyte, analysis.Round(j.analyte, j.now), how, analysis.Round(j.analyte, j.last), why))
	}
	return out
}
