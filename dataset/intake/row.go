package intake

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"carryover/dataset"
	"carryover/dataset/unit"
)

// cell is one value on its way in: from a column of a long sheet, or from a
// column or constant that a sheet map names.
type cell struct {
	text string
	name string // heading as the file has it, for messages
	pos  int    // number of the column; 0: none
	unit string // from the heading or the map
}

// row is one line seen as a record of one table.
type row struct {
	*reader
	dates
	table *table
	file  string
	line  int
	cells []cell // one for each field of the table
	bad   bool   // a fault was found in this row
}

func (r *row) at(field string) *cell {
	return &r.cells[r.table.index(field)]
}

func (r *row) fault(c *cell, found, expected, mend string) {
	r.bad = true
	r.faults.add(Fault{File: r.file, Line: r.line, Column: c.name, Pos: c.pos, Text: say(found, expected, mend)})
}

// refused passes on what package unit says, at the column it speaks of.
func (r *row) refused(err error) {
	field := unit.About(err)
	if r.table.find(field) < 0 {
		field = "analyte"
	}
	r.fault(r.at(field), err.Error(), "", "")
}

func (r *row) source() dataset.Source {
	return dataset.Source{File: r.file, Line: int32(r.line)}
}

// text returns the cell's words, kept once for all rows that share them.
func (r *row) text(field string) string {
	c := r.at(field)
	if c.text == "" {
		return ""
	}
	if w, ok := r.words[c.text]; ok {
		return w
	}
	w := strings.Clone(c.text)
	if strings.IndexFunc(w, func(x rune) bool { return x < ' ' || x == 0x7f }) >= 0 {
		w = strings.Join(strings.Fields(w), " ") // line ends and tabs inside a cell
		if strings.IndexFunc(w, func(x rune) bool { return x < ' ' || x == 0x7f }) >= 0 {
			r.fault(c, fmt.Sprintf("%q", c.text), "plain text", "take out the control character")
			return ""
		}
	}
	if w == c.text {
		r.words[w] = w
	} else {
		r.words[strings.Clone(c.text)] = w
	}
	return w
}

// choice reads one of a few words. A choice "fall=autumn" is another word for
// autumn.
func (r *row) choice(field string) string {
	c := r.at(field)
	if c.text == "" {
		return ""
	}
	choices := r.table.fields[r.table.index(field)].choices
	for _, word := range choices {
		if word == c.text {
			return word
		}
	}
	var names []string
	for _, word := range choices {
		name, means, alias := strings.Cut(word, "=")
		if !alias {
			means = name
			names = append(names, name)
		}
		if fold(c.text) == fold(name) {
			return means
		}
	}
	mend := ""
	if near := unit.Near(c.text, names); len(near) > 0 {
		mend = "did you mean " + strings.Join(near, " or ") + "?"
	}
	r.fault(c, strconv.Quote(c.text), "one of "+strings.Join(names, ", "), mend)
	return ""
}

// date reads a date and how exactly it is known. timing, if not nil, is what
// the row says beside it: a bare year needs one, and a named season must agree.
func (r *row) date(field string, timing *string) (dataset.Date, string) {
	c := r.at(field)
	if c.text == "" {
		return 0, ""
	}
	w, ok := r.days[c.text]
	if !ok {
		var err error
		if w, err = r.dates.read(c.text); err != nil {
			r.fault(c, err.Error(), "", "")
			return 0, ""
		}
		r.days[strings.Clone(c.text)] = w
	}
	if w.year {
		if timing == nil || *timing == "" {
			r.fault(c, strconv.Quote(c.text), "at least a month or season, such as 2026-10 or autumn 2026", "add it, with ~ before it if it is a guess")
			return 0, ""
		}
		w = r.dates.season(*timing, w.day.Year())
	} else if timing != nil && w.season != "" {
		if *timing != "" && *timing != w.season {
			r.fault(c, strconv.Quote(c.text), "the season that column timing names, "+*timing, "mend one of the two")
		}
		*timing = w.season
	}
	if r.table.fields[r.table.index(field)].past && w.first > r.opt.Today+1 {
		r.fault(c, strconv.Quote(c.text), "", "in the future: check the year")
		return 0, ""
	}
	basis := w.basis
	if set := r.choice("date basis"); set != "" {
		basis = set
	}
	return w.day, basis
}

// day reads a date that the table holds as a day alone. Where only a month,
// season or guess is given, the words are kept in the row's note.
func (r *row) day(field string, note *string) *dataset.Date {
	c := r.at(field)
	if c.text == "" {
		return nil
	}
	w, err := r.dates.read(c.text)
	if err == nil && w.year {
		err = fmt.Errorf("%s", say(strconv.Quote(c.text), "a day such as 2026-05-20", "add month and day"))
	}
	if err != nil {
		r.fault(c, err.Error(), "", "")
		return nil
	}
	if w.basis != dataset.ByDay {
		if *note != "" {
			*note += "; "
		}
		*note += field + " " + c.text
		r.note("%s:%d: column %s: %q stands as %s; the words are kept in the note", r.file, r.line, c.name, c.text, w.day)
	}
	return share(r.dayPtrs, w.day)
}

// whole reads a whole number from lo to hi.
func (r *row) whole(field string, lo, hi int) *int32 {
	c := r.at(field)
	if c.text == "" {
		return nil
	}
	n, err := strconv.Atoi(strings.TrimSuffix(c.text, ".0"))
	if err != nil || n < lo || n > hi {
		r.fault(c, strconv.Quote(c.text), fmt.Sprintf("a whole number from %d to %d", lo, hi), "")
		return nil
	}
	return share(r.ints, int32(n))
}

func (r *row) season(field string) int32 {
	c := r.at(field)
	if c.text == "" {
		return 0
	}
	n, err := strconv.Atoi(c.text)
	if err != nil || n < firstYear || n > r.dates.last {
		r.fault(c, strconv.Quote(c.text), fmt.Sprintf("a harvest year from %d to %d", firstYear, r.dates.last), "")
	}
	return int32(n)
}

// number reads a bare number from lo to hi.
func (r *row) number(field string, lo, hi float64) (float64, bool) {
	c := r.at(field)
	if c.text == "" {
		return 0, false
	}
	v, qualifier, err := unit.ParseNumber(c.text)
	switch {
	case err != nil:
		r.fault(c, err.Error(), "", "")
	case qualifier != "" || v < lo || v > hi:
		r.fault(c, strconv.Quote(c.text), "a number from "+trim(lo)+" to "+trim(hi), "check the decimal point")
	default:
		return v, true
	}
	return 0, false
}

// reading reads a number as a lab prints it, with < or > before it.
func (r *row) reading(field string) (v float64, qualifier string, ok bool) {
	c := r.at(field)
	if c.text == "" {
		return 0, "", false
	}
	v, qualifier, err := unit.ParseNumber(c.text)
	if err != nil {
		mend := ""
		if len(c.text) < 20 && strings.Trim(strings.ToLower(c.text), "abcdefghijklmnopqrstuvwxyz ./") == "" {
			mend = "where the lab found too little to measure, write < and its limit, as <0.2; else leave the row out"
		}
		r.fault(c, err.Error(), "", mend)
		return 0, "", false
	}
	if qualifier == "about" {
		r.fault(c, strconv.Quote(c.text), "the number the lab printed", "write it bare, or with < or > before it if the lab did")
		return 0, "", false
	}
	return v, qualifier, true
}

// measured reads a number of the field's quantities with the unit that stands
// in the cell, else in the given unit cell, else in the heading.
func (r *row) measured(field string, unitCell *cell) (v float64, q unit.Quantity, reported float64, unitText, qualifier string, ok bool) {
	c, f := r.at(field), &r.table.fields[r.table.index(field)]
	if c.text == "" {
		return
	}
	if mend := product(f, c.text); mend != "" {
		r.fault(c, strconv.Quote(c.text), "a number", mend)
		return
	}
	num, own := splitUnit(c.text)
	reported, qualifier, err := unit.ParseNumber(num)
	if err != nil {
		_, _, err = unit.ParseNumber(c.text)
		r.fault(c, cmp.Or(err, fmt.Errorf("%q: expected a number", c.text)).Error(), "", "")
		return
	}
	unitText = cmp.Or(own, c.unit)
	if unitCell != nil && own == "" {
		unitText = cmp.Or(unitCell.text, c.unit)
	}
	if unitText == "" {
		names := unit.Offer(f.qs...)
		if unitCell != nil {
			r.fault(unitCell, c.text+" has no unit", "one of "+names, "fill in the column unit")
		} else if key := r.file + "\x00" + c.name; !r.noUnit[key] {
			r.noUnit[key] = true
			r.fault(c, c.text+" has no unit", "one of "+names, fmt.Sprintf("write it in the heading, as %q", f.heading(r.opt.Units)))
		} else {
			r.bad = true
		}
		return
	}
	if w, known := r.words[unitText]; known {
		unitText = w
	} else {
		unitText = strings.Clone(unitText)
		r.words[unitText] = unitText
	}
	si, q, err := unit.Convert(reported, unitText, f.qs...)
	if err != nil {
		at := c
		if unitCell != nil && own == "" && unit.About(err) == "unit" {
			at = unitCell
		}
		r.fault(at, err.Error(), "", "")
		return
	}
	lo := 0.0
	if q == unit.Temperature {
		lo = -90
	}
	if f.max > 0 && si > f.max || si < lo {
		r.fault(c, strconv.Quote(c.text), fmt.Sprintf("%s to %s %s", trim(lo), trim(f.max), q.SI()), "check the decimal point and the unit")
		return
	}
	return si, q, reported, unitText, qualifier, true
}

// product says what to write for an area given as its two sides.
func product(f *field, text string) (mend string) {
	if !slices.Equal(f.qs, []unit.Quantity{unit.Area}) {
		return ""
	}
	a, b, ok := strings.Cut(strings.NewReplacer("X", "x", "\u00d7", "x", "*", "x", " by ", "x").Replace(text), "x")
	a, b = strings.TrimSpace(a), strings.TrimSpace(b)
	if end := strings.IndexFunc(b, func(c rune) bool { return (c < '0' || c > '9') && c != '.' }); end >= 0 {
		b = b[:end] // 30 x 40 ft
	}
	x, _, errA := unit.ParseNumber(strings.TrimRight(a, "'ft "))
	y, _, errB := unit.ParseNumber(b)
	if !ok || errA != nil || errB != nil || !(x*y > 0) {
		return ""
	}
	return "write " + trim(x*y)
}

// quantity is measured without the trimmings, for columns that take no < or
// about.
func (r *row) quantity(field string) *float64 {
	v, _, _, _, qualifier, ok := r.measured(field, nil)
	if !ok {
		return nil
	}
	r.bare(field, qualifier)
	return share(r.floats, v)
}

// bare refuses < and about where a table has no room for them.
func (r *row) bare(field, qualifier string) {
	if qualifier != "" {
		c := r.at(field)
		r.fault(c, strconv.Quote(c.text), "a bare number", "write what you know in the column note")
	}
}

// depth reads "0-6" and the like, or the pair of columns, in cm.
func (r *row) depth() (from, to *float64) {
	c := r.at("depth")
	if c.text != "" && r.at("depth from").text+r.at("depth to").text != "" {
		r.fault(c, "depth beside depth from and depth to", "one or the other", "clear one of them")
		return nil, nil
	}
	if c.text == "" {
		from, to = r.quantity("depth from"), r.quantity("depth to")
		if c = r.at("depth to"); (from == nil) != (to == nil) && !r.bad {
			r.fault(c, "one end of the depth", "both depth from and depth to", "fill in the other, 0 for the surface")
		}
		if from == nil || to == nil {
			return nil, nil
		}
	} else {
		key := c.text + "\x00" + c.unit
		if d, ok := r.depths[key]; ok {
			return d[0], d[1]
		}
		lower, upper := cutDepth(c.text)
		whole := *c
		_, own := splitUnit(upper)
		c.unit = cmp.Or(own, c.unit)
		if c.text = upper; upper != "" {
			to = r.quantity("depth")
		}
		if c.text = lower; to != nil {
			from = r.quantity("depth")
		}
		*c = whole
		if (from == nil || to == nil) && !r.bad {
			r.fault(c, strconv.Quote(c.text), "a depth such as 0-6", "")
		}
		defer func() {
			if !r.bad {
				r.depths[strings.Clone(key)] = [2]*float64{from, to}
			}
		}()
	}
	if from == nil || to == nil {
		return nil, nil
	}
	if *from >= *to {
		r.fault(c, strconv.Quote(c.text), "the upper end first and a lower one below it, such as 0-6", "")
	}
	return from, to
}

// cutDepth parts "0-6 in", "0 to 15 cm", "0–6"; a single figure is meant from
// the surface down (common practice, no source).
func cutDepth(text string) (from, to string) {
	for _, sep := range []string{" to ", "\u2013", "\u2014", "-"} {
		if a, b, ok := strings.Cut(text, sep); ok {
			return strings.TrimSpace(a), strings.TrimSpace(b)
		}
	}
	return "0", text
}

// splitUnit parts "about 40 lb/1000 sq ft" into "about 40" and the rest.
func splitUnit(text string) (number, rest string) {
	i := strings.IndexAny(text, "0123456789")
	if i < 0 {
		return text, ""
	}
	for i < len(text) && strings.IndexByte("0123456789.,", text[i]) >= 0 {
		i++
	}
	if i+1 < len(text) && (text[i] == 'e' || text[i] == 'E') && strings.IndexByte("0123456789+-", text[i+1]) >= 0 {
		for i += 2; i < len(text) && text[i] >= '0' && text[i] <= '9'; i++ {
		}
	}
	if rest = strings.TrimSpace(text[i:]); strings.HasPrefix(rest, "-") || strings.HasPrefix(rest, "/") {
		return text, "" // 6-8 and 1/2 are no numbers with a unit
	}
	return text[:i], rest
}

type analyte struct {
	unit.Analyte
	form unit.Form
}

// analyte reads the column of that name in the given form.
func (r *row) analyte(form string) (analyte, bool) {
	c := r.at("analyte")
	if c.text == "" {
		return analyte{}, false
	}
	key := [2]string{c.text, form}
	if a, ok := r.analytes[key]; ok {
		return a, true
	}
	a, f, err := unit.ParseAnalyte(c.text, form)
	if err != nil {
		r.refused(err)
		return analyte{}, false
	}
	x := analyte{a, f}
	r.analytes[[2]string{strings.Clone(key[0]), strings.Clone(key[1])}] = x
	return x, true
}

func (r *row) method(a unit.Analyte) string {
	c := r.at("method")
	if c.text == "" {
		return ""
	}
	key := [2]string{a.ID, c.text}
	if m, ok := r.methods[key]; ok {
		return m
	}
	m, err := unit.ParseMethod(c.text, a)
	if err != nil {
		r.refused(err)
		return ""
	}
	m = strings.Clone(m)
	r.methods[[2]string{a.ID, strings.Clone(c.text)}] = m
	return m
}

// replaces reads "3:7" or "3:tests.csv:7" and keeps the correction.
func (r *row) replaces(analyte string) {
	c := r.at("replaces")
	if c.text == "" {
		return
	}
	batch, rest, _ := strings.Cut(c.text, ":")
	file, line := "", rest
	if i := strings.LastIndexByte(rest, ':'); i >= 0 {
		file, line = strings.TrimSpace(rest[:i]), rest[i+1:]
	}
	b, berr := strconv.ParseInt(strings.TrimSpace(batch), 10, 32)
	l, lerr := strconv.ParseInt(strings.TrimSpace(line), 10, 32)
	if berr != nil || lerr != nil || b < 1 || l < 1 {
		r.fault(c, strconv.Quote(c.text), "batch:line such as 3:7, or 3:tests.csv:7", "")
		return
	}
	if !r.bad {
		r.rec.Corrections = append(r.rec.Corrections, dataset.Correction{Table: r.table.name, OfBatch: int32(b), OfFile: strings.Clone(file), OfLine: int32(l),
			Analyte: analyte, Action: "replace", Reason: r.text("note"), Source: r.source()})
	}
}

// share returns one pointer for equal values, so that rows can be compared and
// hold little memory.
func share[T comparable](seen map[T]*T, v T) *T {
	p := seen[v]
	if p == nil {
		p = &v
		seen[v] = p
	}
	return p
}

func trim(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// fold drops what people write differently in headings and choices.
func fold(s string) string {
	return strings.Map(func(c rune) rune {
		switch c {
		case ' ', '-', '_', '\t', '\u00a0', '\u2011', '\u2013':
			return -1
		}
		return c
	}, strings.ToLower(s))
}
