package intake

import (
	"cmp"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"unicode"

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

	was, word string // the text of the row before, and its one copy
}

// row is one line seen as a record of one table.
type row struct {
	*reader
	dates
	table *table
	file  string
	line  int
	cells []cell // one for each field of the table
	near  int    // the field looked up last
	next  []int  // what was looked up after each
	bad   bool   // a fault was found in this row

	filled []string // what the lab's profile or the map filled, for Options.Explain
	turned []int    // of a sheet that is turned: the line of the file that each column was
}

func (r *row) at(field string) *cell { return &r.cells[r.index(field)] }

// index is that of the table. Rows are read in one order, so the field that
// followed the last one before is tried first.
func (r *row) index(field string) int {
	if r.next == nil {
		r.next = make([]int, len(r.cells))
	}
	if k := r.next[r.near]; r.table.fields[k].name == field {
		r.near = k
		return k
	}
	k := r.table.index(field)
	r.next[r.near], r.near = k, k
	return k
}

func (r *row) fault(c *cell, found, expected, mend string) {
	r.bad = true
	f := Fault{File: r.file, Line: r.line, Column: c.name, Pos: c.pos, Text: say(found, expected, mend)}
	r.faults.add(f.unturned(r.turned))
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
	if c.text == c.was {
		return c.word
	}
	if w, ok := r.words[c.text]; ok {
		c.was, c.word = w, w
		return w
	}
	w := strings.Clone(c.text)
	if len(w) > 1 && w[0] == '\'' && strings.IndexByte("=+-@", w[1]) >= 0 {
		w = w[1:] // our own exports keep spreadsheets from running a text as a formula
	}
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
	choices := r.table.fields[r.index(field)].choices
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
	if r.table.fields[r.index(field)].past && w.first > r.opt.Today+1 {
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
		r.keep(note, field, c.text, w.day.String())
	}
	return share(r.dayPtrs, w.day)
}

// numbers says how the cell's numbers are written: as its sheet does, or with a
// decimal point where a sheet map states it.
func (r *row) numbers(c *cell) unit.Numbers { return unit.Numbers{Comma: r.comma && c.pos > 0} }

// integer reads a whole number.
func (r *row) integer(c *cell) (int, bool) {
	if n, err := strconv.Atoi(c.text); err == nil {
		return n, true
	}
	v, qualifier, err := r.numbers(c).Parse(c.text)
	if err != nil || qualifier != "" || v != float64(int32(v)) {
		return 0, false
	}
	return int(v), true
}

// whole reads a whole number from lo to hi.
func (r *row) whole(field string, lo, hi int) *int32 {
	c := r.at(field)
	if c.text == "" {
		return nil
	}
	n, ok := r.integer(c)
	if !ok || n < lo || n > hi {
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
	n, ok := r.integer(c)
	if !ok || n < firstYear || n > r.dates.last {
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
	v, qualifier, err := r.numbers(c).Parse(c.text)
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

// reading reads a number as a lab prints it, with < or > before it and perhaps
// its unit behind it.
func (r *row) reading(field string) (v float64, qualifier, own string, ok bool) {
	c := r.at(field)
	if c.text == "" {
		return 0, "", "", false
	}
	num, own := splitUnit(c.text)
	v, qualifier, err := r.numbers(c).Parse(num)
	if err != nil {
		mend := ""
		if len(c.text) < 20 && strings.Trim(strings.ToLower(c.text), "abcdefghijklmnopqrstuvwxyz ./") == "" {
			mend = "where the lab found too little to measure, write < and its limit, as <0.2; else leave the row out"
		}
		if own != "" {
			_, _, err = r.numbers(c).Parse(c.text)
		}
		r.fault(c, cmp.Or(err, fmt.Errorf("%q: expected a number", c.text)).Error(), "", mend)
		return 0, "", "", false
	}
	if qualifier == "about" {
		r.fault(c, strconv.Quote(c.text), "the number the lab printed", "write it bare, or with < or > before it if the lab did")
		return 0, "", "", false
	}
	return v, qualifier, own, true
}

// unitOf returns the unit of a reading: the one in its cell, else the one beside
// it. convert tells what one of a unit is worth. Two that differ are a fault, as
// is a word that is no unit where one stands beside it.
func (r *row) unitOf(own string, convert func(unit string) (worth float64, in string, err error)) (text string, ok bool) {
	c, value := r.at("unit"), r.at("value")
	switch {
	case own == "" || own == c.text:
		return r.text("unit"), true
	}
	x, in, err := convert(own)
	switch {
	case c.text == "" && unit.About(err) == "unit":
		r.fault(value, strconv.Quote(value.text)+": "+err.Error(), "", "")
		return "", false
	case c.text == "":
		return r.word(strings.Clone(own)), true
	case unit.About(err) == "unit":
		_, _, err := r.numbers(value).Parse(value.text)
		r.fault(value, cmp.Or(err, fmt.Errorf("%q: expected a number", value.text)).Error(), "", "")
		return "", false
	}
	if y, same, _ := convert(c.text); !sameWorth(x, y) || in != same {
		r.contradicts(value, own, c, c.text)
		return "", false
	}
	return r.text("unit"), true
}

// contradicts refuses a unit in a cell that is another than the one stated for
// it.
func (r *row) contradicts(c *cell, own string, by *cell, stated string) {
	says := stated + ", as the column " + by.name + " says"
	if by == c {
		says = stated + ", as its heading says"
	}
	r.fault(c, fmt.Sprintf("%q is in %s", c.text, own), says, "write the figure in one of them, and that unit alone")
}

// sameWorth compares two worths but for the last digits.
func sameWorth(x, y float64) bool { return math.Abs(x-y) <= 1e-9*math.Abs(x) }

// given is a measured value as written and in SI.
type given struct {
	si, low, high float64 // low and high differ from si in a guess or range
	q             unit.Quantity
	value         float64 // as written, in unit
	unit          string
	qualifier     string // <, >, about, range
	strange       bool   // its own unit stands for the heading's
	words         string // what was written, where value and unit do not say it all
}

// written is a number or a range with nothing around it.
var written = regexp.MustCompile(`^(?i:~|\x{2248}|[a-z]+\.? )?\s*` + plainFigure + `(?:\s*(?:to|or|-|\x{2013}|\x{2014}|\x{b1}|\+/-)\s*` + plainFigure + `)?$`)

const plainFigure = `(?:\d[\d.,'\x{2019}\x{a0}\x{2009}\x{202f}]*(?:[eE][+-]?\d+)?(?:(?:[ -]\d+)?/\d+|\s*[\x{bd}\x{bc}\x{be}\x{2153}\x{2154}\x{215b}-\x{215e}])?|[\x{bd}\x{bc}\x{be}\x{2153}\x{2154}\x{215b}-\x{215e}])`

// given reads an amount of the field's quantities with the unit that stands in
// the cell, else in the given unit cell, else in the heading.
func (r *row) given(field string, unitCell *cell) (x given, ok bool) {
	c, f := r.at(field), &r.table.fields[r.index(field)]
	if c.text == "" {
		return
	}
	text, beside := c.text, ""
	if unitCell != nil {
		beside = unitCell.text
	}
	if strings.IndexFunc(beside, unicode.IsDigit) == 0 { // 2 of "50 lb bags"
		text, beside = text+" x "+beside, ""
	}
	amount, err := r.amount(c, f, text)
	if err != nil {
		r.fault(c, err.Error(), "", "")
		return
	}
	own, stated := amount.Unit, cmp.Or(beside, c.unit)
	x.unit = cmp.Or(own, stated)
	if x.unit == "" {
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
	convert := func(v float64, text string) (float64, unit.Quantity, error) { return r.convert(v, text, f) }
	if x.si, x.q, err = convert(amount.Value, x.unit); err != nil {
		at := c
		if own == "" && beside != "" && unit.About(err) == "unit" {
			at = unitCell
		}
		r.fault(at, err.Error(), "", "")
		return
	}
	if own != "" && stated != "" && fold(own) != fold(stated) {
		// The heading's unit is for bare figures, and another of its kind may stand
		// in a cell. Beside a unit of the row itself it would say one thing twice.
		one, _, _ := convert(1, own)
		other, q, err := convert(1, stated)
		x.strange = !sameWorth(one, other) || q != x.q
		if err != nil || x.strange && beside != "" || q != x.q && !f.either {
			at := c
			if beside != "" {
				at = unitCell
			}
			r.contradicts(c, own, at, stated)
			return
		}
	}
	x.low, x.high = x.si, x.si
	if amount.Low != amount.High {
		x.low, _, _ = convert(amount.Low, x.unit)
		x.high, _, _ = convert(amount.High, x.unit)
	}
	x.unit = r.word(x.unit)
	x.value, x.qualifier = amount.Value, amount.Qualifier
	if number := strings.TrimSpace(strings.TrimSuffix(text, own)); strings.Trim(number, "0123456789.") != "" && !written.MatchString(number) {
		x.words = text
	}
	lo := 0.0
	if x.q == unit.Temperature {
		lo = -90
	}
	if f.max > 0 && x.high > f.max && x.q == f.qs[0] || x.low < lo {
		r.fault(c, strconv.Quote(c.text), fmt.Sprintf("%s to %s %s", trim(lo), trim(f.max), x.q.SI()), "check the decimal point and the unit")
		return
	}
	return x, true
}

// dayLike is what a spreadsheet program makes of 6-8 or 1/2 that is typed into it.
var dayLike = regexp.MustCompile(`^(?:\d{4}-\d\d-\d\d|\d{1,2}-[A-Z][a-z]{2}|[A-Z][a-z]{2}-\d{1,2})$`)

// tookForDay refuses a day where an amount or a depth belongs.
func tookForDay(text, expected string) error {
	if !dayLike.MatchString(text) {
		return nil
	}
	return fmt.Errorf("%s", say(strconv.Quote(text), expected, "a spreadsheet took it for a day: make the cell a text, and write it again"))
}

// amount parts the text of a cell into figure and unit.
func (r *row) amount(c *cell, f *field, text string) (unit.Amount, error) {
	if err := tookForDay(text, "an amount such as 6-8 or 1/2"); err != nil {
		return unit.Amount{}, err
	}
	n := r.numbers(c)
	num, own := splitUnit(text)
	v, qualifier, bare := n.Parse(num)
	if bare == nil && qualifier != "about" && (own == "" || r.unitKnown(own, f)) {
		return unit.Amount{Value: v, Low: v, High: v, Qualifier: qualifier, Unit: own}, nil
	}
	a, err := unit.ParseAmount(text, n)
	if err != nil && len(f.qs) == 1 && bare != nil {
		err = bare // a weight or a depth is no list of bags
	}
	return a, err
}

// convert turns a value of the field into SI. Of two quantities with a unit of
// one name the field's first is meant: yards of compost are cu yd.
func (r *row) convert(v float64, text string, f *field) (float64, unit.Quantity, error) {
	for _, q := range f.qs {
		if _, known := unit.Factor(text, q); known {
			return unit.Convert(v, text, q)
		}
	}
	return r.opt.Measures.Convert(v, text, f.qs...)
}

func (r *row) unitKnown(text string, f *field) bool {
	_, _, err := r.convert(1, text, f)
	return err == nil
}

// take is given for the rows: what was understood beyond the plain text is told.
func (r *row) take(field string, unitCell *cell) (given, bool) {
	x, ok := r.given(field, unitCell)
	if ok && x.strange {
		r.tally(fmt.Sprintf("%s: column %s: cells with a unit of their own, read in that", r.file, r.at(field).name))
	}
	return x, ok
}

// keep puts what was written into the row's note, where the table has no room
// for it.
func (r *row) keep(note *string, field, words, stands string) {
	if *note != "" {
		*note += "; "
	}
	*note += field + " " + words
	name := r.at(field).name
	r.few(r.file+": column "+name+": more cells whose words are kept in the note", "%s:%d: column %s: %q stands as %s; the words are kept in the note", r.file, r.line, name, words, stands)
}

// measured is given for a look at a row that was built: it finds no fault.
func (r *row) measured(field string, unitCell *cell) (v float64, q unit.Quantity, reported float64, unitText, qualifier string, ok bool) {
	faults, bad := r.faults, r.bad
	x, ok := r.given(field, unitCell)
	r.faults, r.bad = faults, bad
	return x.si, x.q, x.value, x.unit, x.qualifier, ok
}

// area reads an area, which may be given by its sides; these are kept in note.
func (r *row) area(note *string) *float64 {
	c := r.at("area")
	num, own := splitUnit(c.text)
	if _, _, err := r.numbers(c).Parse(num); c.text == "" || err == nil && (own == "" || r.unitKnown(own, &r.table.fields[r.index("area")])) {
		return r.quantity("area")
	}
	a, err := unit.ParseArea(c.text, r.numbers(c))
	if side := map[string]string{"sqft": " ft", "m2": " m"}[fold(c.unit)]; err != nil && side != "" {
		if b, again := unit.ParseArea(c.text+side, r.numbers(c)); again == nil {
			a, err = b, nil
		}
	}
	if err != nil {
		r.fault(c, err.Error(), "", "")
		return nil
	}
	r.bare("area", a.Qualifier)
	name := cmp.Or(c.unit, "m2")
	if factor, ok := unit.Factor(name, unit.Area); ok && !r.bad {
		r.keep(note, "area", c.text, strconv.FormatFloat(a.Value/factor, 'g', 6, 64)+" "+name)
	}
	return share(r.floats, a.Value)
}

// watering reads what was watered: a depth in mm, or litres on the whole bed. A
// time and a flow are kept in note.
func (r *row) watering(note *string) (mm, litres *float64) {
	c, f := r.at("irrigation"), &r.table.fields[r.index("irrigation")]
	if c.text == "" {
		return nil, nil
	}
	n := r.numbers(c)
	num, own := splitUnit(c.text)
	if _, _, err := n.Parse(num); err == nil && (own == "" || r.unitKnown(own, f)) {
		x, ok := r.take("irrigation", nil)
		if !ok {
			return nil, nil
		}
		r.bare("irrigation", x.qualifier)
		if x.q == unit.Liquid {
			return nil, share(r.floats, x.si)
		}
		return share(r.floats, x.si), nil
	}
	a, err := unit.ParseWatering(c.text, n)
	if err != nil {
		r.fault(c, err.Error(), "", "")
		return nil, nil
	}
	if r.bare("irrigation", a.Qualifier); a.Unit == unit.Rain.SI() && a.Value > f.max {
		r.fault(c, strconv.Quote(c.text), "0 to "+trim(f.max)+" mm", "check the time and the flow")
	}
	if r.bad {
		return nil, nil
	}
	r.keep(note, "irrigation", c.text, strconv.FormatFloat(a.Value, 'g', 6, 64)+" "+a.Unit)
	if a.Unit == unit.Rain.SI() {
		return share(r.floats, a.Value), nil
	}
	return nil, share(r.floats, a.Value)
}

// quantity is measured without the trimmings, for columns that take no < or
// about.
func (r *row) quantity(field string) *float64 {
	x, ok := r.take(field, nil)
	if !ok {
		return nil
	}
	r.bare(field, x.qualifier)
	return share(r.floats, x.si)
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
		key := depthText{c.text, c.unit, r.numbers(c)}
		if d, ok := r.depths[key]; ok {
			return d[0], d[1]
		}
		if err := tookForDay(c.text, "a depth such as 0-6"); err != nil {
			r.fault(c, err.Error(), "", "")
			return nil, nil
		}
		lower, upper := cutDepth(c.text)
		whole := *c
		if a, err := unit.ParseAmount(upper, r.numbers(c)); err == nil && a.Unit != "" {
			c.unit = a.Unit
		}
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
				r.depths[depthText{strings.Clone(key.text), strings.Clone(key.unit), key.Numbers}] = [2]*float64{from, to}
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

// depthText is a depth as written.
type depthText struct {
	text, unit string
	unit.Numbers
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

// replaces reads the columns replaces and row: which row of the book this one
// takes the place of, or is. what tells rows of one line apart.
func (r *row) replaces(analyte, what string) {
	by, is := r.at("replaces"), r.at("row")
	if by.text == "" && is.text == "" {
		return
	}
	if by.text != "" && is.text != "" {
		r.fault(by, strconv.Quote(by.text)+" beside row "+is.text, "one of the two", "clear replaces: a row that says which it is takes its place when it has changed")
		return
	}
	c := by
	if by.text == "" {
		c = is
	}
	of, err := dataset.ParseAddress(c.text)
	if err != nil || c == by && of.Line < 1 {
		r.fault(c, strconv.Quote(c.text), "batch:line such as 3:7, or 3:tests.csv:7", "")
	}
	of.File = strings.Clone(strings.TrimSpace(of.File))
	switch {
	case r.bad:
	case c == by:
		r.rec.Corrections = append(r.rec.Corrections, dataset.Correction{Table: r.table.name, OfBatch: of.Batch, OfFile: of.File, OfLine: of.Line,
			Analyte: analyte, Action: "replace", Reason: r.text("note"), Source: r.source()})
	default:
		r.claims = append(r.claims, dataset.Claim{Table: r.table.name, At: r.source(), OfBatch: of.Batch, OfFile: of.File, OfLine: of.Line, Analyte: what})
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
