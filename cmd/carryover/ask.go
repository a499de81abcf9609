package main

import (
	"cmp"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"carryover/dataset"
	"carryover/dataset/intake"
	"carryover/dataset/unit"
)

// missing lists what the line leaves out and a person would be asked for.
func (e *entering) missing(entry *intake.Entry) (out []string) {
	for _, f := range intake.EntryFields(e.kind.table) {
		ask := f.Need || f.Name == "amount"
		if _, said := entry.Cells[f.Name]; said || !ask || f.Name == "value" {
			continue
		}
		if f.Name == "analyte" {
			if len(entry.Values) == 0 {
				out = append(out, "analytes and figures")
			}
			continue
		}
		out = append(out, f.Name)
	}
	if e.kind.table == "plantings" && len(entry.Cells) == 2 {
		out = append(out, "what was planted")
	}
	return out
}

// askAll asks for what the line leaves out.
func (e *entering) askAll(entry *intake.Entry) error {
	p := &page{w: e.out, width: e.width}
	p.para("", "Enter takes what stands in [brackets], and skips where nothing does; - is no value, ? explains, Ctrl-C keeps nothing.")
	test := e.kind.table == "soil_tests"
	for _, f := range intake.EntryFields(e.kind.table) {
		if _, said := entry.Cells[f.Name]; said || slices.Contains([]string{"grower", "replaces", "analyte", "value", "unit", "form", "method"}, f.Name) ||
			test && slices.Contains([]string{"timing", "site", "sample", "note"}, f.Name) || f.Name == "same day" && e.newest(entry, func(t *dataset.SoilTest) bool { return t.Date.String() == entry.Cells["date"] }) == nil ||
			f.Name == "mixed depth" && entry.Cells["placed"] != "worked in" || f.Name == "until" && entry.Cells["every days"] == "" {
			continue
		}
		if err := e.askField(entry, f); err != nil {
			return err
		}
	}
	maps.DeleteFunc(entry.Cells, func(_, text string) bool { return text == "" }) // should it be kept as a correction
	if test && len(entry.Values) == 0 {
		return e.askValues(entry)
	}
	return nil
}

func (e *entering) askField(entry *intake.Entry, f intake.EntryField) error {
	heading := e.s.pick(f.US, f.Metric)
	question, offer := f.Name, ""
	switch {
	case f.Name == "bed":
		if len(e.opt.Beds) == 1 {
			offer = e.opt.Beds[0]
		}
		if list := strings.Join(e.opt.Beds, ", "); list != "" && len(list) < 60 {
			question += " (" + list + ")"
		}
	case f.Name == "date", f.Name == "sown":
		question += " (" + e.opt.Today.String() + ", autumn " + strconv.Itoa(e.opt.Today.Year()) + ", today ...)"
	case f.Name == "amount":
		question += e.s.pick(" (as 40 lb)", " (as 18 kg)")
	case f.Choices != nil:
		question += " (" + strings.Join(f.Choices, ", ") + ")"
	case heading != "":
		question += " (" + heading + ")"
	}
	if e.kind.table == "soil_tests" {
		offer = cmp.Or(offer, e.offer(entry, f.Name))
	}
	answer, err := e.ask(question, offer, cmp.Or(f.Says, f.Name), func(text string) (string, string) {
		if f.Name == "bed" || f.Name == "lab" {
			text = intake.SameName(text, map[string][]string{"bed": e.opt.Beds, "lab": intake.LabNames(e.opt)}[f.Name])
		}
		if f.Name != "note" {
			text = intake.Day(text, e.opt.Today)
		}
		if heading != "" && text != "" && !strings.ContainsFunc(text, unicode.IsLetter) && !strings.ContainsAny(text, "%'\"") {
			text += " " + heading // the question names it
		}
		if text == "" && f.Need {
			return "", "it is needed: " + f.Says
		}
		entry.Cells[f.Name] = text
		columns := []string{f.Name}
		if f.Name == "amount" {
			columns = append(columns, "unit")
		}
		return text, entry.Check(e.opt, columns...)
	})
	entry.Cells[f.Name] = answer
	return err
}

// newest is the bed's last row of a soil test that is like that, or nil.
func (e *entering) newest(entry *intake.Entry, like func(*dataset.SoilTest) bool) (last *dataset.SoilTest) {
	for i := range e.rec.SoilTests {
		if t := &e.rec.SoilTests[i]; t.Bed == entry.Cells["bed"] && (last == nil || t.Date > last.Date) && like(t) {
			last = t
		}
	}
	return last
}

// offer is what the bed's last report said.
func (e *entering) offer(entry *intake.Entry, field string) string {
	last := e.newest(entry, func(t *dataset.SoilTest) bool {
		return t.Lab != "" && (field == "lab" || t.Lab == entry.Cells["lab"])
	})
	switch {
	case last == nil:
	case field == "lab":
		return last.Lab
	case field == "depth" && e.opt.Labs[last.Lab].Depth != "":
		return e.opt.Labs[last.Lab].Depth
	case field == "depth" && last.DepthTo != nil:
		return e.s.depth(last.DepthFrom, last.DepthTo)
	case field == "cores" && last.Cores != nil:
		return strconv.Itoa(int(*last.Cores))
	}
	return ""
}

// ask puts a question until it has an answer that check finds nothing wrong
// with. check may complete the answer.
func (e *entering) ask(question, offer, help string, check func(string) (answer, wrong string)) (string, error) {
	p := &page{w: e.out, width: e.width}
	if offer != "" {
		question += " [" + offer + "]"
	}
	for {
		fmt.Fprint(e.out, plain(question)+": ")
		line, err := e.in.ReadString('\n')
		text := strings.Join(strings.Fields(line), " ")
		switch {
		case err != nil && text == "":
			fmt.Fprintln(e.out)
			return "", errKeptNothing
		case text == "?":
			p.para("  ", help)
			continue
		case text == "":
			text = offer
		case text == "-":
			text = ""
		}
		answer, wrong := check(text)
		if wrong == "" {
			return answer, nil
		}
		p.para("  ", wrong)
	}
}

// askValues asks for one analyte after the other, then for any others.
func (e *entering) askValues(entry *intake.Entry) error {
	lab := entry.Cells["lab"]
	names := e.opt.Labs[lab].Order
	if len(names) == 0 {
		for _, t := range intake.LastOrder(e.opt, entry.Cells["bed"], lab) {
			names = append(names, intake.PrintedName(&t))
		}
	}
	if len(names) == 0 {
		names = []string{"pH", "buffer pH", "OM", "CEC", "P", "K", "Ca", "Mg", "S", "B", "Zn", "Mn", "Fe", "Cu"}
	}
	const help = "the figure as printed; < and > may stand before it, unit and method behind it: 118 ppm Mehlich-3"
	for _, name := range names {
		id, _, _ := strings.Cut(name, " as ")
		a, _, _ := unit.ParseAnalyte(id, "")
		u, method, _ := intake.Usual(e.opt, lab, a.ID)
		if a.Kind == unit.PH {
			u = ""
		}
		question := strings.Join(slices.DeleteFunc([]string{name, u, method}, func(s string) bool { return s == "" }), ", ")
		if last := e.newest(entry, func(t *dataset.SoilTest) bool { return t.Lab == lab && t.Analyte == a.ID }); last != nil {
			question += " (last " + last.Qualifier + strconv.FormatFloat(last.ReportedValue, 'f', -1, 64) + " on " + last.Date.String() + ")"
		}
		says := help
		if a.Name != "" && a.Name != name {
			says = a.Name + ": " + help
		}
		if err := e.askValue(entry, question, says, strings.Fields(name)); err != nil {
			return err
		}
	}
	for {
		n := len(entry.Values)
		if err := e.askValue(entry, "another, as Cu 1.2 ppm DTPA", "the analyte, then "+help+"; Enter if there is no more", nil); err != nil || n == len(entry.Values) {
			return err
		}
	}
}

// askValue asks for one figure. name is its analyte; nil: the answer names it.
func (e *entering) askValue(entry *intake.Entry, question, help string, name []string) error {
	_, err := e.ask(question, "", help, func(text string) (string, string) {
		if text == "" {
			return "", ""
		}
		one := *entry
		one.Values = nil
		err := one.AddValues(append(slices.Clone(name), strings.Fields(text)...), nil)
		var faults *intake.Faults
		if errors.As(err, &faults) {
			return "", faults.List[0].Text
		}
		if wrong := one.Check(e.opt, "analyte", "form", "value", "unit", "method", "depth"); wrong != "" {
			return "", wrong
		}
		entry.Values = append(entry.Values, one.Values...)
		return text, ""
	})
	return err
}
