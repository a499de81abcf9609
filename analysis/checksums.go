package analysis

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"carryover/dataset"
	"carryover/dataset/unit"
)

// How far figures that must agree may lie apart before they are doubted; own
// figures, above what a lab's rounding leaves.
const (
	sharesWithin = 3.0  // points of 100 %
	chargeWithin = 0.12 // of a cation's share
	cecWithin    = 0.08 // bases above CEC
	mostBases    = 60.0 // cmolc/kg
)

// checkSums holds what a lab prints of the exchange complex against itself: the
// shares against 100 %, each share against the cation and CEC, CEC against the
// cations. Only cations by one method are summed.
func (b *bedWork) checkSums(s *sampled) {
	whole := func(l *Level) bool { return l.Qualifier == "" }
	value := func(analyte string) (v float64, rows []RowRef) {
		if l := s.one(analyte, whole); l != nil {
			return l.Estimate.Value, l.rows()
		}
		return math.NaN(), nil
	}
	when := s.levels[0].when()
	var sum float64
	var rows []RowRef
	all := true
	for _, c := range []string{"Ca sat", "Mg sat", "K sat"} {
		v, r := value(c)
		all = all && !math.IsNaN(v)
		sum, rows = sum+v, append(rows, r...)
	}
	if all {
		if v, r := value("Na sat"); !math.IsNaN(v) {
			sum, rows = sum+v, append(rows, r...)
		}
		h, hr := value("H sat")
		base, br := value("base sat")
		switch {
		case !math.IsNaN(h) && math.Abs(sum+h-100) > sharesWithin:
			b.note("sums", fmt.Sprintf("the shares of the exchange sites of %s add up to %.0f %%", when, sum+h), append(rows, hr...)...)
		case sum > 100+sharesWithin:
			b.note("sums", fmt.Sprintf("the bases of %s hold %.0f %% of the exchange sites", when, sum), rows...)
		case !math.IsNaN(base) && math.Abs(sum-base) > sharesWithin:
			b.note("sums", fmt.Sprintf("base saturation of %s is %.0f %%, and its cations' shares add up to %.0f %%", when, base, sum), append(rows, br...)...)
		}
	}
	cec := s.one("CEC", func(l *Level) bool { return whole(l) && l.Estimate.Unit == "cmolc/kg" && l.Estimate.Value > 0 })
	if cec == nil {
		return
	}
	b.checkShares(s, cec)
	set := s.cations()
	if set == nil || set[0].basis != "mass" || slices.ContainsFunc(set, func(l *Level) bool { return l.Qualifier != "" }) {
		return
	}
	bases := 0.0
	rows = cec.rows()
	for _, l := range set {
		bases += Charge(l.Analyte, l.Estimate.Value)
		rows = append(rows, l.rows()...)
	}
	ph := s.one("pH", inWater)
	low := ph != nil && ph.Estimate.Value >= 6.5 && bases < 0.6*cec.Estimate.Value
	switch {
	case bases > mostBases:
		b.note("sums", fmt.Sprintf("the bases of %s come to %.0f %s by %s, more than soils hold: free lime, gypsum or a unit?", when, bases, chargeUnit("cmolc/kg", b.us), set[0].Method), rows...)
	case bases > cec.Estimate.Value*(1+cecWithin):
		b.note("sums", fmt.Sprintf("the bases of %s come to %.1f %s by %s, more than the CEC of %s", when, bases, chargeUnit("cmolc/kg", b.us), set[0].Method, cec.Text()), rows...)
	case low && cec.Method == "sum of cations":
		b.note("sums", fmt.Sprintf("at pH %s of %s the bases come to %.1f of a CEC of %s, a saturation of %.0f %% that such a pH does not go with", ph.Text(), when, bases, cec.Text(), 100*bases/cec.Estimate.Value), append(rows, ph.rows()...)...)
	}
}

// checkShares holds each cation's reported share against its own figure and CEC.
func (b *bedWork) checkShares(s *sampled, cec *Level) {
	var off []string
	var rows []RowRef
	hint := ""
	for _, c := range []string{"Ca", "Mg", "K", "Na"} {
		sat := s.one(c+" sat", func(l *Level) bool { return l.Qualifier == "" && l.Estimate.Value > 0 })
		l := s.one(c, func(l *Level) bool { return l.Qualifier == "" && l.basis == "mass" && sums(l.Method) })
		if sat == nil || l == nil {
			continue
		}
		a, _ := unit.ByID(c + " sat")
		share := 100 * Charge(c, l.Estimate.Value) / cec.Estimate.Value
		rounding := 0.5 * math.Pow(10, -float64(a.Decimals)) / sat.Estimate.Value
		rounding += 0.05 / cec.Estimate.Value
		r := share / sat.Estimate.Value
		if math.Abs(math.Log(r)) < chargeWithin+rounding {
			continue
		}
		off = append(off, fmt.Sprintf("%s %s%s makes %.1f %% of it, and %s %% is reported", c, l.Text(), unitText(l.Estimate.Unit, b.us), share, sat.Text()))
		rows = append(rows, append(l.rows(), sat.rows()...)...)
		for _, f := range []struct {
			name  string
			ratio float64
		}{{"K2O read as K", formRatio("K2O")}, {"CaO read as Ca", formRatio("CaO")}, {"MgO read as Mg", formRatio("MgO")}, {"lb/acre read as ppm", 2}} {
			if (f.name == "lb/acre read as ppm" || strings.HasSuffix(f.name, " "+c)) && math.Abs(math.Log(r/f.ratio)) < 0.05+rounding {
				hint = " (" + f.name + "?)"
			}
		}
	}
	if off != nil {
		b.note("sums", fmt.Sprintf("of the CEC of %s, %s: %s%s", s.levels[0].when(), cec.Text(), strings.Join(off, "; "), hint), append(rows, cec.rows()...)...)
	}
}

// formRatio is what one unit of mass of an element weighs in that form.
func formRatio(name string) float64 {
	f, _ := unit.FormFactor(name)
	return 1 / f
}

// How far a compost's figures may disagree.
const (
	cnWithin      = 0.15
	densityWithin = 0.05
	// Carbon in the organic matter of compost: 0.524 as an average of 1,600 samples
	// (CalRecycle 2013), 0.54 (Clemson University); own margin about them.
	leastCarbon, mostCarbon = 0.42, 0.64
)

// checkMaterials holds each material's analysis against itself.
func checkMaterials(rec *dataset.Records, asOf dataset.Date, at func(grower string) *doubts) {
	type key struct {
		grower, material string
		from             dataset.Date
	}
	type part struct {
		value float64
		row   RowRef
	}
	all := map[key]map[string]part{}
	var order []key
	names := map[key]string{}
	for i := range rec.Materials {
		m := &rec.Materials[i]
		k := key{m.Grower, strings.ToLower(m.Material), -math.MaxInt32}
		if m.From != nil {
			k.from = *m.From
		}
		if k.from > asOf {
			continue
		}
		if all[k] == nil {
			all[k] = map[string]part{}
			order = append(order, k)
			names[k] = m.Material
		}
		c := m.Component
		if c == "density" && m.Basis == "dry" {
			c = "dry density"
		}
		all[k][c] = part{m.Value, refOf(m.Source)}
	}
	slices.SortStableFunc(order, func(x, y key) int {
		return cmp.Or(cmp.Compare(x.grower, y.grower), cmp.Compare(x.material, y.material), cmp.Compare(x.from, y.from))
	})
	for _, k := range order {
		m := all[k]
		note := func(text string, components ...string) {
			var rows []RowRef
			for _, c := range components {
				rows = append(rows, m[c].row)
			}
			at(k.grower).add("", "compost", names[k]+": "+text, rows...)
		}
		has := func(components ...string) bool {
			return !slices.ContainsFunc(components, func(c string) bool { _, ok := m[c]; return !ok })
		}
		v := func(c string) float64 { return m[c].value }
		switch {
		case has("C:N", "N", "total C") && v("N") > 0:
			if r := v("total C") / v("N"); math.Abs(math.Log(r/v("C:N"))) > cnWithin {
				note(fmt.Sprintf("C:N of %.3g is reported, and C %.3g %% with N %.3g %% make %.3g", v("C:N"), v("total C"), v("N"), r), "C:N", "total C", "N")
			}
		case has("C:N", "N", "OM") && v("OM") > 0:
			if r := v("C:N") * v("N") / v("OM"); r < leastCarbon || r > mostCarbon {
				note(fmt.Sprintf("C:N %.3g with N %.3g %% makes %.3g %% of carbon, %.2f of its organic matter of %.3g %%: expected about 0.5", v("C:N"), v("N"), v("C:N")*v("N"), r, v("OM")), "C:N", "N", "OM")
			}
		}
		if has("density", "dry density", "moisture") {
			dry := v("density") * (1 - v("moisture")/100)
			if math.Abs(math.Log(dry/v("dry density"))) > densityWithin {
				note(fmt.Sprintf("at %.3g %% of moisture %.0f kg/m3 leaves %.0f dry, and %.0f is reported", v("moisture"), v("density"), dry, v("dry density")), "density", "moisture", "dry density")
			}
		}
		if has("EC") && v("EC") > 10 {
			note(fmt.Sprintf("EC %.3g dS/m is above 10, more than compost should hold", v("EC")), "EC")
		}
		if has("Na") && v("Na") > 0.5 {
			note(fmt.Sprintf("sodium %.2g %% is above 0.5", v("Na")), "Na")
		}
	}
}
