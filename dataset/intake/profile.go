package intake

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"

	"carryover/dataset"
	"carryover/dataset/unit"
)

// profile is what book.toml says of one lab's reports.
type profile struct {
	name    string
	methods map[string]string // by analyte ID
	units   map[string]string // by analyte ID, and by form
	depth   string
	pounds  string // unit.TwicePPM, unit.ByDepth; empty: by the depth
	bad     bool   // a fault was found in it
}

// fill counts what one lab's profile filled in one column.
type fill struct {
	lab, what string
	ids       []string
	n         int
}

// bookFile is where lab profiles stand, for messages.
const bookFile = "book.toml"

// profile finds what book.toml says of a lab, or nil. A profile that cannot be
// is a fault, told when its lab is first met.
func (r *reader) profile(lab string) *profile {
	if p, met := r.labs[lab]; met {
		return p
	}
	var p *profile
	for _, name := range slices.Sorted(maps.Keys(r.opt.Labs)) {
		if name == lab || p == nil && fold(name) == fold(lab) {
			p = r.readProfile(name, r.opt.Labs[name])
		}
	}
	r.labs[strings.Clone(lab)] = p
	return p
}

func (r *reader) readProfile(name string, l dataset.Lab) *profile {
	p := &profile{name: name, methods: map[string]string{}, units: map[string]string{}, depth: l.Depth, pounds: l.Pounds}
	fail := func(what, text string) {
		p.bad = true
		r.faults.add(Fault{File: bookFile, Text: fmt.Sprintf("lab %q: %s: %s", name, what, text)})
	}
	each := func(what string, in map[string]string, check func(a unit.Analyte, f unit.Form, text string) error) {
		for _, k := range slices.Sorted(maps.Keys(in)) {
			a, f, err := unit.ParseAnalyte(k, "")
			if err == nil || unit.About(err) == "form" {
				err = check(a, f, in[k])
			}
			if err != nil {
				fail(what+" of "+k, err.Error())
			}
		}
	}
	each("methods", l.Methods, func(a unit.Analyte, _ unit.Form, text string) error {
		p.methods[a.ID] = text
		_, err := unit.ParseMethod(text, a)
		return err
	})
	each("units", l.Units, func(a unit.Analyte, f unit.Form, text string) error {
		if f.Name != "" {
			p.units[f.Name] = text
		}
		if f.Name == a.ID || p.units[a.ID] == "" {
			p.units[a.ID] = text
		}
		return soilUnit(a, f, text)
	})
	if err := depthUnit(l.Depth); err != nil && l.Depth != "" {
		fail("depth", err.Error())
	}
	if err := unit.CheckPounds(l.Pounds); err != nil {
		fail("pounds", err.Error())
	}
	return p
}

// soilUnit refuses a unit that cannot measure the analyte. The figure is a
// stand-in: only the unit is tried.
func soilUnit(a unit.Analyte, f unit.Form, text string) error {
	if f.Name == "" {
		f.Factor = 1
	}
	if _, err := unit.Soil(unit.SoilReading{Analyte: a, Form: f, Value: 1, Unit: text, DepthTo: 1}); unit.About(err) == "unit" || unit.About(err) == "form" {
		return err
	}
	return nil
}

// fromProfile fills a soil test's blank unit, method and depth with what
// book.toml says of its lab, and returns what stood in these cells before: they
// serve the next row too. Nothing good comes of a bad profile.
func (r *row) fromProfile() (before []cell, ok bool) {
	if len(r.opt.Labs) == 0 || r.table.name != "soil_tests" || r.at("lab").text == "" {
		return nil, true
	}
	p := r.profile(r.at("lab").text)
	if p == nil || p.bad {
		return nil, p == nil
	}
	id, form := r.formOf(r.at("analyte").text, r.at("form").text)
	if id == "" {
		return nil, true
	}
	before = slices.Clone(r.cells)
	put := func(field, text, of string) {
		if c := r.at(field); c.text == "" && text != "" {
			c.text, c.unit = text, ""
			if r.opt.Explain {
				r.filled = append(r.filled, fmt.Sprintf("%s from the profile of %s in %s", field, p.name, bookFile))
			}
			r.fill(p.name, field, of)
		}
	}
	if _, own := splitUnit(r.at("value").text); own == "" { // else the cell says it
		put("unit", cmp.Or(p.units[form], p.units[id]), cmp.Or(form, id))
	}
	put("method", p.methods[id], id)
	if r.at("depth from").text+r.at("depth to").text == "" {
		put("depth", p.depth, "")
	}
	return before, true
}

// poundsRule returns what the profile of a lab says of its lb/acre, and the
// profile's name; empty if nothing is said.
func (r *reader) poundsRule(lab string) (rule, name string) {
	if lab == "" || len(r.opt.Labs) == 0 {
		return "", ""
	}
	if p := r.profile(lab); p != nil && p.pounds != "" {
		return p.pounds, p.name
	}
	return "", ""
}

// formOf returns the analyte that a text names and the form it is printed in;
// an open form leaves the analyte known.
func (r *reader) formOf(name, form string) (id, printed string) {
	key := [2]string{name, form}
	if known, met := r.ids[key]; met {
		return known[0], known[1]
	}
	a, f, _ := unit.ParseAnalyte(name, form)
	r.ids[[2]string{strings.Clone(name), strings.Clone(form)}] = [2]string{a.ID, f.Name}
	return a.ID, f.Name
}

func (r *reader) fill(lab, what, id string) {
	i := slices.IndexFunc(r.fills, func(f fill) bool { return f.lab == lab && f.what == what })
	if i < 0 {
		i, r.fills = len(r.fills), append(r.fills, fill{lab: lab, what: what})
	}
	f := &r.fills[i]
	f.n++
	if id != "" && !slices.Contains(f.ids, id) {
		f.ids = append(f.ids, id)
	}
}

// noteFills says what the profiles filled.
func (r *reader) noteFills() {
	for _, f := range r.fills {
		what := f.what
		if len(f.ids) > 0 {
			slices.SortStableFunc(f.ids, func(a, b string) int { return unit.Rank(a) - unit.Rank(b) })
			what += " of " + strings.Join(f.ids, ", ")
		}
		r.note("%s filled from the profile of %s in %s: %s", what, f.lab, bookFile, plural(f.n, "value"))
	}
}
