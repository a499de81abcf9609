package intake

import (
	"cmp"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"carryover/dataset/unit"
)

// heads finds the columns of one file that a map names.
type heads struct {
	m    *Map
	r    *reader
	g    *grid
	used []bool
	good bool
}

func (h *heads) fail(line int, found, expected, mend string) {
	h.good = false
	h.r.faults.add(Fault{File: h.m.Name, Line: line, Text: say(found, expected, mend)})
}

func (h *heads) column(name string, line int) int {
	at, twice := find(h.g.head, name)
	switch {
	case twice:
		h.good = false
		h.r.faults.add(Fault{File: h.g.name, Line: h.g.line, Column: name, Pos: at + 1, Text: say("named twice", "one column of this name", fmt.Sprintf("rename one of them, or name them by order in %s, as %q", h.m.Name, name+" #2"))})
	case at < 0:
		mend := didYouMean(name, h.g.head)
		if mend == "" && len(h.m.headings)+h.m.deep == 0 && h.g.turned == nil {
			mend = h.twoRows(name)
		}
		h.fail(line, fmt.Sprintf("column %q is not in %s", name, h.g.name), "", mend)
	default:
		h.used[at] = true
	}
	return at
}

// twoRows says how to join two rows of headings, where that gives a column of
// this name.
func (h *heads) twoRows(name string) string {
	g := h.g
	if enough, err := g.fill(g.at + 1); !enough || err != nil || g.at < 1 {
		return ""
	}
	if at, _ := find(g.joined(h.m, g.at-1, g.at+1), name); at < 0 {
		return ""
	}
	return fmt.Sprintf("lines %d and %d together have it: headings = [%[1]d, %d]", g.nums[g.at-1], g.nums[g.at])
}

// boundMap is a map with its columns found in one sheet.
type boundMap struct {
	m      *Map
	blocks []*boundBlock
	skip   []boundCondition
	used   []bool
	after  []*boundOrigin // whose text may stand again further down
	down   []*boundOrigin // whose empty cells take what stands above them
	last   int            // number of the last column that a measurement reads
}

// boundBlock is a block with its columns found.
type boundBlock struct {
	*block
	row         *row
	when        []boundCondition
	set         []boundSetting
	measured    []boundMeasurement
	done        bool
	what, value int    // fields that name and hold what was measured; -1: none
	own         [4]int // fields unit, method, form and depth; -1: the table has none
	byName      map[string]*boundMeasurement
}

type boundCondition struct {
	condition
	at int
}

type boundSetting struct {
	field   int
	name    string
	need    bool
	day     bool // it holds a date
	origins []boundOrigin
}

type boundOrigin struct {
	*origin
	at           []int
	given        string // text of a fixed origin, or what stood above an empty cell
	from         string // where that stands, for messages
	when, unless []boundCondition
}

// bind finds the map's columns in a sheet, or returns nil after faults.
func (m *Map) bind(r *reader, g *grid) *boundMap {
	h := &heads{m: m, r: r, g: g, used: make([]bool, len(g.head)), good: true}
	out := &boundMap{m: m, used: h.used}
	conditions := func(list []condition) (bound []boundCondition) {
		for _, c := range list {
			bound = append(bound, boundCondition{c, h.column(c.column, c.line)})
		}
		return bound
	}
	out.skip = conditions(m.skip)
	for i := range m.blocks {
		b := &m.blocks[i]
		var t *table
		for k := range r.tables {
			if r.tables[k].name == b.table {
				t = &r.tables[k]
			}
		}
		bb := &boundBlock{block: b, row: r.row(t, g.name, cmp.Or(m.dates, r.opt.Dates)), when: conditions(b.when), what: -1, value: -1,
			own: [4]int{t.find("unit"), t.find("method"), t.find("form"), t.find("depth")}}
		bb.row.turned = g.turned
		if what, value := t.measures(); what != "" {
			bb.what, bb.value = t.index(what), t.index(value)
		}
		for _, s := range b.set {
			f := t.index(s.field)
			bs := boundSetting{field: f, name: s.field, need: t.fields[f].need, day: t.fields[f].past || slices.Contains(days, s.field)}
			for k := range s.origins {
				o := &s.origins[k]
				bo := boundOrigin{origin: o, when: conditions(o.when), unless: conditions(o.unless)}
				for _, c := range o.columns {
					bo.at = append(bo.at, h.column(c, o.line))
				}
				if o.fixed() {
					bo.given, bo.from = h.given(o)
				}
				bs.origins = append(bs.origins, bo)
			}
			for k := range bs.origins {
				switch o := &bs.origins[k]; {
				case o.after != "":
					out.after = append(out.after, o)
				case o.down:
					out.down = append(out.down, o)
				}
			}
			bb.set = append(bb.set, bs)
		}
		for k := range b.measured {
			a := &b.measured[k]
			at := h.column(a.column, a.line)
			bm := boundMeasurement{measurement: a, meaning: a.meaning, at: at, unitAt: -1, when: conditions(a.when)}
			if a.unitColumn != "" {
				bm.unitAt = h.column(a.unitColumn, a.line)
			}
			if at >= 0 {
				bm.complete(h, bb, g.head[at])
				out.last = max(out.last, at+1)
			}
			bb.measured = append(bb.measured, bm)
		}
		slices.SortStableFunc(bb.measured, func(a, b boundMeasurement) int { // a table of columns has no order
			if !a.compact || !b.compact {
				return 0
			}
			return a.at - b.at
		})
		groups(bb.measured, b.table == "soil_tests") // of other tables the rows tell
		bb.byName = map[string]*boundMeasurement{}
		out.blocks = append(out.blocks, bb)
	}
	if !h.good {
		return nil
	}
	var unread []string
	for i, n := range g.head {
		if !h.used[i] && n != "" {
			unread = append(unread, n)
		}
	}
	if len(unread) > 0 {
		r.note("%s: columns that %s does not read: %s", g.name, m.Name, someOf(unread))
	}
	return out
}

// days are the fields that hold a date which may lie in the future.
var days = []string{"date", "from", "until", "set out", "pollinated", "feeding ended", "vines cleared", "fruit lost", "ended", "listed on", "made on"}

var shortYear = regexp.MustCompile(`^(\d{1,2}[-/. ](?:\d{1,2}|\pL{3,})[-/. ])(\d\d)$`)

// fullYear writes out a year of two digits where the map says its century.
func (m *Map) fullYear(day string) string {
	if d := shortYear.FindStringSubmatch(day); m.century > 0 && d != nil {
		return d[1] + strconv.Itoa(m.century/100) + d[2]
	}
	return day
}

// given finds the text of an origin that is the same for every line.
func (h *heads) given(o *origin) (text, from string) {
	ok := true
	switch {
	case o.cell != "":
		text, ok = h.g.cell(o.cell)
		from = "cell " + o.cell
		if !ok {
			h.fail(o.line, fmt.Sprintf("cell %s is not above the headings of %s", o.cell, h.g.name), "a cell above line "+strconv.Itoa(h.g.line), "")
		}
	case o.after != "":
		n := 0
		text, from, n = h.g.after(o.after)
		from = "cell " + from
		if n == 0 {
			h.fail(o.line, fmt.Sprintf("%q stands nowhere above the headings of %s, or nothing behind it", o.after, h.g.name), "", "")
		} else if n > 1 {
			h.fail(o.line, fmt.Sprintf("%q stands several times above the headings of %s, with different texts behind it", o.after, h.g.name), "one place", `name the cell, as {cell = "B4"}`)
		}
	case o.of == "file":
		text, from = strings.TrimSuffix(h.g.name, "/"+h.g.title), "the file's name"
	case o.of == "sheet":
		text, from = h.g.title, "the sheet's name"
	default:
		text, from = o.value, h.m.Name
	}
	return h.m.read(text), from
}

// section reports whether a line between the rows names anew what stands above
// the headings, and takes it for the rows below. A sample may well be called
// "Lab copy" where the map looks behind "Lab": only the label itself, or the
// label and a colon, begins a section, and a line of figures never does.
func (b *boundMap) section(cells []string, line int) (any bool) {
	if figures(cells) > 1 {
		return false
	}
	for _, o := range b.after {
		if text, col := behind(cells, o.after, true); text != "" && labels(cells, o.after) {
			o.given, o.from, any = b.m.read(text), fmt.Sprintf("cell %s%d", columnName(col), line), true
		}
	}
	return any
}

// figures counts the cells that hold a plain number.
func figures(cells []string) (n int) {
	for _, c := range cells {
		if _, _, err := unit.ParseNumber(c); err == nil {
			n++
		}
	}
	return n
}

// labels reports whether the first filled cell is the text, or the text and a
// colon with what stands behind it.
func labels(cells []string, text string) bool {
	i := slices.IndexFunc(cells, func(c string) bool { return c != "" })
	if i < 0 || len(cells[i]) < len(text) {
		return false
	}
	rest := strings.TrimSpace(cells[i][len(text):])
	return rest == "" || rest[0] == ':' || strings.HasSuffix(strings.TrimSpace(text), ":")
}

// carry keeps what stands in columns whose empty cells take it from above.
func (b *boundMap) carry(cells []string) {
	for _, o := range b.down {
		if text := o.text(b.m, cells); text != "" {
			o.given = strings.Clone(text)
		}
	}
}

// text joins the texts of an origin's columns.
func (o *boundOrigin) text(m *Map, cells []string) (text string) {
	for _, at := range o.at {
		part := m.read(cells[at])
		if part != "" && text != "" {
			part = o.join + part
		}
		text += part
	}
	return text
}

// skips reports whether the map passes over this line.
func (b *boundMap) skips(cells []string) bool {
	return slices.ContainsFunc(b.skip, func(c boundCondition) bool { return c.holds(cells) })
}

// spoilt adds a fault for each cell that the map reads and that holds no plain
// value.
func (b *boundMap) spoilt(g *grid, line int, cells []string, flaws []flaw, first bool) (bad bool) {
	for _, f := range flaws {
		for i := f.from; i <= f.to && i < len(g.head); i++ {
			if !b.used[i] || strings.HasSuffix(f.found, " are merged") && f.from == f.to && b.carries(i) || cells[i] != "" && b.m.read(cells[i]) == "" {
				continue
			}
			if bad = true; first || !f.below {
				(&row{reader: b.blocks[0].row.reader, file: g.name, line: line, turned: g.turned}).fault(&cell{name: g.head[i], pos: i + 1}, f.found, f.expected, f.mend)
			}
			break
		}
	}
	return bad
}

// carries reports whether empty cells of a column take what stands above them:
// then they may be merged with it.
func (b *boundMap) carries(col int) bool {
	return slices.ContainsFunc(b.down, func(o *boundOrigin) bool { return slices.Contains(o.at, col) })
}

// take makes the records of one line; false if there are none.
func (b *boundMap) take(line int, cells []string) (any bool) {
	for _, block := range b.blocks {
		if block.take(b.m, line, cells) {
			any = true
		}
	}
	return any
}

func (b *boundBlock) take(m *Map, line int, cells []string) (any bool) {
	if b.done || !hold(b.when, cells) {
		return b.done // what stands once need not stand again
	}
	r := b.row
	r.line, r.bad = line, false
	var given []string
	for i := range b.set {
		s := &b.set[i]
		c := &r.cells[s.field]
		*c = cell{name: s.name}
		var unlike *boundOrigin
		for k := range s.origins {
			o := &s.origins[k]
			filled, fits := b.fill(m, c, o, cells)
			if !fits {
				unlike = o
			}
			if filled {
				if s.day {
					c.text = m.fullYear(c.text)
				}
				if unlike = nil; o.fixed() && r.opt.Explain {
					given = append(given, s.name+" from "+o.from)
				}
				break
			}
		}
		if unlike != nil {
			if s.need {
				r.fault(c, strconv.Quote(c.text), "a text that fits "+unlike.match.String(), fmt.Sprintf("mend match on line %d of %s", unlike.line, m.Name))
			} else {
				r.tally(fmt.Sprintf("%s: %s left empty, since match on line %d of %s does not fit: rows", r.file, s.name, unlike.line, m.Name))
			}
			c.text = ""
		}
	}
	if r.bad {
		return true
	}
	if b.value >= 0 && b.names != nil || len(m.ratings)+len(m.below) > 0 && b.value >= 0 {
		r.cells[b.value].text = m.figure(r.cells[b.value].text)
	}
	switch {
	case b.names != nil:
		any = b.named(m, given)
	case len(b.measured) > 0:
		any = b.measure(m, cells, given)
	default:
		r.filled = given
		r.build()
		any = true
	}
	b.done = b.once && any
	return any
}

// measure makes a record of each measured column that has a value.
func (b *boundBlock) measure(m *Map, cells []string, given []string) (any bool) {
	r := b.row
	filled := make([]bool, len(b.measured))
	for i := range b.measured {
		a := &b.measured[i]
		text := m.figure(cells[a.at])
		if text == "" || !hold(a.when, cells) {
			continue
		}
		any = true
		r.bad = false
		name := a.column
		r.cells[b.what] = cell{text: a.name, name: name, pos: a.at + 1}
		r.cells[b.value] = cell{text: text, name: name, pos: a.at + 1}
		k := i - 1
		for k >= 0 && (!filled[k] || b.measured[k].like != a.like) {
			k--
		}
		if k >= 0 {
			was := &b.measured[k]
			r.fault(&r.cells[b.value], fmt.Sprintf("a second value of %s in one report, %s: column %s has %s", a.name, text, was.column, m.figure(cells[was.at])), "one", "take one of the columns out of "+m.Name)
			continue
		}
		filled[i] = true
		if a.unitAt >= 0 {
			said := a.meaning.unit
			if u := m.read(cells[a.unitAt]); u != "" {
				if x, f, err := unit.ParseAnalyte(a.name, a.form); said != "" && err == nil && r.table.name == "soil_tests" && !sameUnit(x, f, said, u) {
					r.fault(&cell{name: a.unitColumn, pos: a.unitAt + 1}, strconv.Quote(u), said+", as the heading or the map says of "+a.name, "mend one of them")
					continue
				}
				a.meaning.unit = u
			}
			b.build(m, a, given)
			a.meaning.unit = said
			continue
		}
		b.build(m, a, given)
	}
	return any
}

// build makes the record of one measurement, whose name and value stand in
// their cells already. What the column says of itself stands for this record
// alone.
func (b *boundBlock) build(m *Map, a *boundMeasurement, given []string) {
	r := b.row
	value := &r.cells[b.value]
	said := a.meaning.unit
	if said == "" && a.lent != "" && r.cells[b.own[0]].text == "" {
		if _, own := splitUnit(value.text); own == "" {
			said = a.lent
		}
	}
	if r.opt.Explain {
		r.filled = append(append(r.filled[:0], given...), a.filled...)
		if said != a.meaning.unit {
			r.filled = append(r.filled, "unit from [rows.set] of "+m.Name)
		}
	}
	var keep [len(b.own)]cell
	for k, s := range [...]string{said, a.meaning.method, a.meaning.form, a.meaning.depth} {
		if f := b.own[k]; f >= 0 {
			if keep[k] = r.cells[f]; s != "" && (b.names == nil || r.cells[f].text == "") {
				r.cells[f] = cell{text: s, name: value.name, pos: value.pos}
			}
		}
	}
	if b.ready(m, a) {
		r.build()
	}
	for k, f := range b.own {
		if f >= 0 {
			r.cells[f] = keep[k]
		}
	}
}

// ready checks what the map is to blame for: a value that is no figure, and a
// unit that nobody says.
func (b *boundBlock) ready(m *Map, a *boundMeasurement) bool {
	r := b.row
	t, value := r.table, &r.cells[b.value]
	figure := strings.ContainsAny(value.text, "0123456789")
	if t.name == "advice" {
		if f := t.index("text"); !figure { // the lab's own words
			value.text, r.cells[f] = "", cell{text: value.text, name: value.name, pos: value.pos}
			r.build()
			r.cells[f] = cell{name: "text"}
			return false
		}
		return true
	}
	if !figure {
		r.fault(value, strconv.Quote(value.text), "a number", fmt.Sprintf("if it means that there is no value, add it to missing in %s; where the lab found too little to measure, it prints its limit, as <0.2", m.Name))
		return false
	}
	if _, own := splitUnit(value.text); own != "" || r.cells[b.own[0]].text != "" || !a.needsUnit {
		return true
	}
	if t.name == "soil_tests" {
		if p := r.profile(r.at("lab").text); p != nil {
			if id, form := r.formOf(a.name, a.form); p.bad || p.units[id]+p.units[form] != "" {
				return true
			}
		}
	}
	if !a.asked {
		a.asked = true
		r.fault(value, value.text+" has no unit", fmt.Sprintf("the unit of %s on line %d of %s", a.name, a.line, m.Name), fmt.Sprintf(`write it there, as %q; or unit = "ppm" under [rows.set] for all; or units in the profile of the lab in %s`, a.name+" ppm", bookFile))
	}
	return false
}

// named makes the record of a line whose analyte stands in a column, under the
// sheet's own name for it.
func (b *boundBlock) named(m *Map, given []string) (any bool) {
	r := b.row
	what := &r.cells[b.what]
	key := fold(what.text)
	known, listed := b.names[key]
	if known.skip || r.cells[b.value].text == "" {
		return known.skip
	}
	a, met := b.byName[key]
	if !met {
		if !listed {
			known = measurement{compact: true, line: b.line}
			var ask string
			if known.meaning, ask = readMeaning(r.table, what.text); ask == "" {
				if err := known.meaning.check(r.table); err != nil {
					ask = err.Error()
				}
			}
			if ask != "" && what.text != "" {
				known.name = ""
				r.fault(what, strconv.Quote(what.text)+": "+ask, "", fmt.Sprintf("say what it is under [rows.names] in %s, or false to leave it out", m.Name))
			}
		}
		a = &boundMeasurement{measurement: &known, meaning: known.meaning}
		if listed && len(what.text) <= 2*maxHeading {
			if ask, mend := a.meaning.unheard(headingOf(what.text)); ask != "" {
				known.name = ""
				r.fault(what, fmt.Sprintf("%q: %s", what.text, ask), "", fmt.Sprintf("%s, on line %d of %s", mend(what.text), known.line, m.Name))
			}
		}
		if ask, mend := a.fromBlock(b, m); ask != "" && known.name != "" {
			r.fault(what, fmt.Sprintf("%q: %s", what.text, ask), "", fmt.Sprintf("%s, under [rows.names] in %s", strings.Replace(mend, strconv.Quote(known.name), strconv.Quote(what.text), 1), m.Name))
			known.name = ""
		}
		b.byName[strings.Clone(key)] = a
	}
	if a.name == "" && what.text != "" {
		return true // told once
	}
	printed := what.text
	what.text = a.name
	b.build(m, a, given)
	what.text = printed
	return true
}

// read trims a cell and empties it where it says that there is no value.
func (m *Map) read(text string) string {
	text = strings.TrimSpace(text)
	for _, w := range m.missing {
		if strings.EqualFold(text, w) {
			return ""
		}
	}
	return text
}

// fill puts an origin's value in the cell if it has one. fits is false where its
// text does not fit match.
func (b *boundBlock) fill(m *Map, c *cell, o *boundOrigin, cells []string) (filled, fits bool) {
	if !hold(o.when, cells) || len(o.unless) > 0 && hold(o.unless, cells) {
		return false, true
	}
	text := o.given
	if len(o.at) > 0 {
		c.name, c.pos = o.columns[0], o.at[0]+1
		if own := o.text(m, cells); own != "" || !o.down {
			text = own
		}
	}
	if text == "" {
		return false, true
	}
	if o.match != nil {
		found := o.match.FindStringSubmatch(text)
		if found == nil {
			c.text = text
			return false, false
		}
		if text = strings.TrimSpace(found[len(found)-1]); text == "" {
			return false, true
		}
	}
	if o.lookup != nil {
		meant, ok := o.lookup[text]
		if !ok {
			b.row.fault(c, strconv.Quote(text), "one of the values under lookup", fmt.Sprintf("add it on line %d of %s", o.line, m.Name))
			return true, true
		}
		text = meant
	}
	c.text, c.unit = o.prefix+text, o.unit
	return true, true
}

// hold reports whether all conditions hold.
func hold(list []boundCondition, cells []string) bool {
	for i := range list {
		if !list[i].holds(cells) {
			return false
		}
	}
	return true
}

func (c *boundCondition) holds(cells []string) bool {
	text := strings.TrimSpace(cells[c.at])
	if c.is != nil && !slices.Contains(c.is, text) || slices.Contains(c.not, text) || c.match != nil && !c.match.MatchString(text) {
		return false
	}
	return c.has == nil || slices.ContainsFunc(strings.FieldsFunc(text, func(r rune) bool { return r == ',' || r == ';' || r == ' ' }),
		func(part string) bool { return slices.Contains(c.has, part) })
}
