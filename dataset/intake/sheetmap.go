package intake

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/BurntSushi/toml"

	"carryover/dataset/unit"
)

// Map is a sheet map: how the columns of somebody else's file become rows of
// our tables. The package comment describes its text.
type Map struct {
	Name      string // file name, for messages
	Title     string
	Citation  string // where the data come from
	separator byte
	missing   []string
	dates     string
	blocks    []block
}

// block makes records of one table from every line it applies to.
type block struct {
	table          string
	once, collapse bool
	when           []condition
	set            []setting
	analytes       []measurement
	line           int
}

// condition asks about the bare text of one cell.
type condition struct {
	column       string
	is, not, has []string
	line         int
}

// setting fills one field from the first origin that gives a value.
type setting struct {
	field   string
	origins []origin
}

type origin struct {
	column, value, prefix, unit string
	lookup                      map[string]string
	when, unless                []condition
	line                        int
}

// measurement is a column that holds one analyte.
type measurement struct {
	column, analyte, unit, method, form string
	when                                []condition
	line                                int
}

// ParseMap reads a sheet map. name stands in messages.
//
// The error is a *Faults that names line and key.
func ParseMap(name string, data []byte) (*Map, error) {
	p := &mapParser{name: name, tables: tables(), lines: keyLines(string(data))}
	var top map[string]any
	if len(data) > 1<<20 {
		p.fail("", "a file of more than 1 MB", "a sheet map", "")
	} else if _, err := toml.Decode(string(data), &top); err != nil {
		var at toml.ParseError
		f := Fault{File: name, Text: err.Error()}
		if errors.As(err, &at) {
			f.Line, f.Text = at.Position.Line, strings.ReplaceAll(strings.ReplaceAll(at.Message, `'\n'`, "the end of the line"), "\n", " ")
		}
		p.faults.add(f)
	} else {
		m := p.top(top)
		if err := p.faults.err(); err != nil {
			return nil, err
		}
		return m, nil
	}
	return nil, p.faults.err()
}

type mapParser struct {
	name   string
	tables []table
	lines  map[string]int
	faults Faults
}

// keyLines finds on which line each key of a map stands, under names such as
// rows.0.set.bed. Only the layout of the package's example is followed; a key
// written otherwise is reported at the line of what encloses it.
func keyLines(text string) map[string]int {
	at, prefix, rows, analytes := map[string]int{}, "", -1, -1
	for i, line := range strings.Split(text, "\n") {
		line = strings.TrimSpace(line)
		switch head := strings.ReplaceAll(strings.TrimSpace(strings.SplitN(line, "#", 2)[0]), " ", ""); {
		case head == "[[rows]]":
			rows, analytes = rows+1, -1
			prefix = fmt.Sprintf("rows.%d", rows)
			at[prefix] = i + 1
		case head == "[rows.set]":
			prefix = fmt.Sprintf("rows.%d.set", rows)
			at[prefix] = i + 1
		case head == "[[rows.analyte]]":
			analytes++
			prefix = fmt.Sprintf("rows.%d.analyte.%d", rows, analytes)
			at[prefix] = i + 1
		default:
			if key, _, ok := strings.Cut(line, "="); ok && !strings.HasPrefix(line, "#") {
				key = prefix + "." + strings.Trim(strings.TrimSpace(key), `"'`)
				if key = strings.TrimPrefix(key, "."); at[key] == 0 {
					at[key] = i + 1
				}
			}
		}
	}
	return at
}

func (p *mapParser) line(key string) int {
	for {
		if n := p.lines[key]; n > 0 {
			return n
		}
		i := strings.LastIndexByte(key, '.')
		if i < 0 {
			return 0
		}
		key = key[:i]
	}
}

func (p *mapParser) fail(key, found, expected, mend string) {
	shown := key
	for _, part := range strings.Split(key, ".") { // rows.0.set.bed is shown as rows.set.bed
		if _, err := strconv.Atoi(part); err == nil {
			shown = strings.Replace(shown, "."+part, "", 1)
		}
	}
	if shown != "" {
		found = "key " + shown + ": " + found
	}
	p.faults.add(Fault{File: p.name, Line: p.line(key), Text: say(found, expected, mend)})
}

// known reports keys that are none of names.
func (p *mapParser) known(key string, m map[string]any, names ...string) {
	for _, k := range keys(m) {
		if !slices.Contains(names, k) {
			mend := didYouMean(k, names)
			p.fail(join(key, k), "not known", "one of "+strings.Join(names, ", "), mend)
		}
	}
}

func keys(m map[string]any) (out []string) {
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

func join(key, k string) string { return strings.TrimPrefix(key+"."+k, ".") }

// scalar turns a constant into the text a cell would hold.
func scalar(v any) (string, bool) {
	switch v := v.(type) {
	case string:
		return strings.TrimSpace(v), true
	case int64:
		return strconv.FormatInt(v, 10), true
	case float64:
		return trim(v), true
	case bool:
		return map[bool]string{true: "yes", false: "no"}[v], true
	case time.Time:
		return v.Format("2006-01-02"), true
	}
	return "", false
}

func (p *mapParser) text(key string, m map[string]any, k string) string {
	v, ok := m[k]
	if !ok {
		return ""
	}
	s, ok := scalar(v)
	if !ok {
		p.fail(join(key, k), "a list or table", "a text in quotes", "")
	}
	return s
}

func (p *mapParser) flag(key string, m map[string]any, k string) bool {
	b, ok := m[k].(bool)
	if _, there := m[k]; there && !ok {
		p.fail(join(key, k), "not a yes or no", "true or false", "")
	}
	return b
}

func (p *mapParser) texts(key string, m map[string]any, k string) (out []string) {
	v, ok := m[k]
	if !ok {
		return nil
	}
	list, ok := v.([]any)
	if !ok {
		list = []any{v}
	}
	for _, x := range list {
		s, ok := scalar(x)
		if !ok {
			p.fail(join(key, k), "a table", `texts, as ["*", "n/a"]`, "")
		}
		out = append(out, s)
	}
	return out
}

// tablesOf reads one inline table or a list of them.
func (p *mapParser) tablesOf(key string, v any) (out []map[string]any) {
	switch v := v.(type) {
	case nil:
		return nil
	case map[string]any:
		return []map[string]any{v}
	case []map[string]any:
		return v
	case []any:
		for _, x := range v {
			m, ok := x.(map[string]any)
			if !ok {
				p.fail(key, "a list of texts", `a table such as {column = "..."}, or a list of them`, "")
				return nil
			}
			out = append(out, m)
		}
		return out
	}
	p.fail(key, "a single value", `a table such as {column = "..."}, or a list of them`, "")
	return nil
}

func (p *mapParser) top(m map[string]any) *Map {
	p.known("", m, "format", "title", "source", "separator", "missing", "dates", "rows")
	out := &Map{Name: p.name, Title: p.text("", m, "title"), Citation: p.text("", m, "source"), missing: p.texts("", m, "missing")}
	if n, ok := m["format"].(int64); !ok || n != 1 {
		p.fail("format", "missing or another number", "format = 1", "a higher number needs a newer carryover")
	}
	switch s, _ := m["separator"].(string); {
	case m["separator"] == nil:
	case s == ",":
		out.separator = ','
	case s == ";":
		out.separator = ';'
	case s == "tab" || s == "\t":
		out.separator = '\t'
	default:
		p.fail("separator", fmt.Sprintf("%q", s), `",", ";" or "tab"`, "")
	}
	switch d := strings.ToUpper(p.text("", m, "dates")); d {
	case "", "YMD", "DMY", "MDY":
		out.dates = d
	default:
		p.fail("dates", strconv.Quote(d), "YMD, DMY or MDY", "")
	}
	rows := p.tablesOf("rows", m["rows"])
	if len(rows) == 0 {
		p.fail("rows", "missing", "one or more [[rows]] blocks", "")
	}
	for i, b := range rows {
		out.blocks = append(out.blocks, p.block(fmt.Sprintf("rows.%d", i), b))
	}
	return out
}

func (p *mapParser) block(key string, m map[string]any) block {
	p.known(key, m, "table", "once", "collapse", "when", "set", "analyte")
	b := block{once: p.flag(key, m, "once"), collapse: p.flag(key, m, "collapse"), when: p.conditions(key+".when", m["when"]), line: p.line(key)}
	name := p.text(key, m, "table")
	var t *table
	var names []string
	for i := range p.tables {
		names = append(names, p.tables[i].sheet)
		if fold(name) == fold(p.tables[i].sheet) {
			t = &p.tables[i]
		}
	}
	if t == nil {
		p.fail(key+".table", fmt.Sprintf("table %q is not known", name), "one of "+strings.Join(names, ", "), didYouMean(name, names))
		return b
	}
	b.table = t.name
	given := map[string]bool{}
	set, ok := m["set"].(map[string]any)
	if !ok && m["set"] != nil {
		p.fail(key+".set", "not a table", "[rows.set] with a line for each field", "")
	}
	for _, k := range keys(set) {
		at := key + ".set." + k
		i := t.find(k)
		if i < 0 {
			var fields []string
			for _, f := range t.fields {
				fields = append(fields, f.name)
			}
			p.fail(at, "no field of "+t.sheet, "one of "+strings.Join(fields, ", "), didYouMean(k, fields))
			continue
		}
		f := t.fields[i].name
		if given[f] {
			p.fail(at, "set twice", "each field once", "")
		}
		given[f] = true
		b.set = append(b.set, setting{f, p.origins(at, set[k], t.fields[i])})
	}
	for i, a := range p.tablesOf(key+".analyte", m["analyte"]) {
		b.analytes = append(b.analytes, p.measurement(fmt.Sprintf("%s.analyte.%d", key, i), a, t))
	}
	if len(b.analytes) > 0 {
		given["analyte"], given["value"], given["unit"] = true, true, true
	}
	for _, f := range t.fields {
		if f.need && !given[f.name] {
			p.fail(key, "field "+f.name+" is not set", "every field that "+t.sheet+" needs", "add it under [rows.set]")
		}
	}
	return b
}

func (p *mapParser) origins(key string, v any, f field) (out []origin) {
	if s, ok := scalar(v); ok {
		return []origin{{value: s, line: p.line(key)}}
	}
	list, ok := v.([]any)
	if !ok {
		for _, m := range p.tablesOf(key, v) {
			list = append(list, m)
		}
	}
	for _, x := range list {
		if s, ok := scalar(x); ok {
			out = append(out, origin{value: s, line: p.line(key)})
			continue
		}
		m, ok := x.(map[string]any)
		if !ok {
			p.fail(key, "a list in a list", `a text, or a table such as {column = "..."}`, "")
			continue
		}
		p.known(key, m, "column", "value", "prefix", "unit", "lookup", "when", "unless")
		o := origin{column: p.text(key, m, "column"), value: p.text(key, m, "value"), prefix: rawText(m["prefix"]), unit: p.text(key, m, "unit"),
			when: p.conditions(key, m["when"]), unless: p.conditions(key, m["unless"]), line: p.line(key)}
		if (m["column"] == nil) == (m["value"] == nil) {
			p.fail(key, "neither column nor value, or both", "one of the two", "")
		}
		if o.unit != "" {
			if _, known := unit.Factor(o.unit, f.qs...); !known {
				if len(f.qs) == 0 {
					p.fail(key, fmt.Sprintf("unit %q", o.unit), "no unit, since "+f.name+" takes none", "")
				} else {
					names := unit.Names(f.qs...)
					p.fail(key, fmt.Sprintf("unit %q is not known here", o.unit), "one of "+strings.Join(names, ", "), didYouMean(o.unit, names))
				}
			}
		}
		if m["lookup"] != nil {
			table, ok := m["lookup"].(map[string]any)
			if !ok {
				p.fail(key, "lookup that is not a table", `lookup = {"found" = "meant", ...}`, "")
			}
			o.lookup = map[string]string{}
			for _, k := range keys(table) {
				s, ok := scalar(table[k])
				if !ok {
					p.fail(key, fmt.Sprintf("lookup of %q that is not a text", k), "a text in quotes", "")
				}
				o.lookup[strings.TrimSpace(k)] = s
			}
		}
		out = append(out, o)
	}
	if len(out) == 0 {
		p.fail(key, "no origin", `a text, or a table such as {column = "..."}`, "")
	}
	return out
}

// rawText keeps the space at the end of a prefix.
func rawText(v any) string {
	s, _ := v.(string)
	return s
}

func (p *mapParser) conditions(key string, v any) (out []condition) {
	for _, m := range p.tablesOf(key, v) {
		p.known(key, m, "column", "is", "not", "has")
		c := condition{column: p.text(key, m, "column"), is: p.texts(key, m, "is"), not: p.texts(key, m, "not"), has: p.texts(key, m, "has"), line: p.line(key)}
		if c.column == "" || c.is == nil && c.not == nil && c.has == nil {
			p.fail(key, "a condition without column, or without is, not or has", `as {column = "...", is = ["..."]}`, "")
		}
		out = append(out, c)
	}
	return out
}

func (p *mapParser) measurement(key string, m map[string]any, t *table) measurement {
	p.known(key, m, "column", "analyte", "unit", "method", "form", "when")
	a := measurement{column: p.text(key, m, "column"), analyte: p.text(key, m, "analyte"), unit: p.text(key, m, "unit"), method: p.text(key, m, "method"),
		form: p.text(key, m, "form"), when: p.conditions(key+".when", m["when"]), line: p.line(key)}
	if a.column == "" || a.analyte == "" {
		p.fail(key, "column or analyte is missing", "both", "")
		return a
	}
	var err error
	switch t.name {
	case "soil_tests":
		var x unit.Analyte
		var f unit.Form
		if x, f, err = unit.ParseAnalyte(a.analyte, a.form); err == nil {
			if _, err = unit.ParseMethod(a.method, x); err == nil && a.unit != "" {
				// Only the unit is tried here: the figure is a stand-in.
				if _, err = unit.Soil(unit.SoilReading{Analyte: x, Form: f, Value: 1, Unit: a.unit, DepthTo: 1}); unit.About(err) != "unit" {
					err = nil
				}
			}
		}
	case "water_tests":
		_, err = unit.Water(a.analyte, a.form, 1, a.unit)
	case "leaf_tests":
		_, err = unit.Leaf(a.analyte, 1, a.unit)
	default:
		p.fail(key, "analyte columns in "+t.sheet, "soil_tests, water_tests or leaf_tests", "set its fields under [rows.set]")
	}
	if err != nil && !(a.unit == "" && unit.About(err) == "unit") { // [rows.set] may give the unit
		p.fail(key, err.Error(), "", "")
	}
	for _, x := range [...][2]string{{"method", a.method}, {"form", a.form}} {
		if x[1] != "" && t.find(x[0]) < 0 {
			p.fail(key+"."+x[0], t.sheet+" has no field "+x[0], "", "leave it out")
		}
	}
	return a
}

// heads finds the columns of one file that a map names.
type heads struct {
	m     *Map
	r     *reader
	file  string
	names []string
	used  []bool
	good  bool
}

func (h *heads) column(name string, line int) int {
	at := -1
	for _, same := range []func(string) bool{func(s string) bool { return s == name }, func(s string) bool { return fold(s) == fold(name) }} {
		for i, s := range h.names {
			if !same(s) {
				continue
			}
			if at >= 0 {
				h.good = false
				h.r.faults.add(Fault{File: h.file, Column: name, Pos: i + 1, Text: say("named twice", "one column of this name", "rename one of them")})
				return -1
			}
			at = i
		}
		if at >= 0 {
			h.used[at] = true
			return at
		}
	}
	h.good = false
	h.r.faults.add(Fault{File: h.m.Name, Line: line, Text: say(fmt.Sprintf("column %q is not in %s", name, h.file), "", didYouMean(name, h.names))})
	return -1
}

// boundBlock is a block with its columns found.
type boundBlock struct {
	*block
	row            *row
	at             map[string]int // column by the name the map uses
	done           bool
	fieldOf        []int // field of each setting
	analyte, value int
	own            [3]int // fields unit, method and form; -1: the table has none
}

// bind finds the map's columns and returns what takes a line, or nil after
// faults.
func (m *Map) bind(r *reader, file string, line int, head []string) func(int, []string) {
	h := &heads{m: m, r: r, file: file, names: head, used: make([]bool, len(head)), good: true}
	layout := m.dates
	if layout == "" {
		layout = r.opt.Dates
	}
	blocks := make([]*boundBlock, len(m.blocks))
	for i := range m.blocks {
		b := &m.blocks[i]
		var t *table
		for k := range r.tables {
			if r.tables[k].name == b.table {
				t = &r.tables[k]
			}
		}
		bb := &boundBlock{block: b, row: r.row(t, file, layout), at: map[string]int{}, own: [3]int{t.find("unit"), t.find("method"), t.find("form")}}
		find := func(name string, line int) {
			if _, ok := bb.at[name]; !ok {
				bb.at[name] = h.column(name, line)
			}
		}
		conditions := func(list []condition) {
			for _, c := range list {
				find(c.column, c.line)
			}
		}
		conditions(b.when)
		for _, s := range b.set {
			bb.fieldOf = append(bb.fieldOf, t.index(s.field))
			for _, o := range s.origins {
				if o.column != "" {
					find(o.column, o.line)
				}
				conditions(o.when)
				conditions(o.unless)
			}
		}
		for _, a := range b.analytes {
			find(a.column, a.line)
			conditions(a.when)
		}
		if len(b.analytes) > 0 {
			bb.analyte, bb.value = t.index("analyte"), t.index("value")
		}
		blocks[i] = bb
	}
	if !h.good {
		return nil
	}
	var unread []string
	for i, n := range head {
		if !h.used[i] && n != "" {
			unread = append(unread, n)
		}
	}
	if len(unread) > 0 {
		r.note("%s: columns that %s does not read: %s", file, m.Name, strings.Join(unread, ", "))
	}
	return func(line int, cells []string) {
		for _, b := range blocks {
			b.take(m, line, cells)
		}
	}
}

func (b *boundBlock) take(m *Map, line int, cells []string) {
	if b.done || !b.hold(b.when, cells) {
		return
	}
	r := b.row
	r.line, r.bad = line, false
	for i, s := range b.set {
		c := &r.cells[b.fieldOf[i]]
		*c = cell{name: s.field}
		for k := range s.origins {
			if b.fill(m, c, &s.origins[k], cells) {
				break
			}
		}
	}
	if len(b.analytes) == 0 {
		if !r.bad {
			r.build()
		}
		b.done = b.once
		return
	}
	for i := range b.analytes {
		a := &b.analytes[i]
		at := b.at[a.column]
		text := m.read(cells[at])
		if text == "" || !b.hold(a.when, cells) || r.bad {
			continue
		}
		r.cells[b.analyte] = cell{text: a.analyte, name: a.column, pos: at + 1}
		r.cells[b.value] = cell{text: text, name: a.column, pos: at + 1}
		// What the column says of itself stands for this record alone.
		keep := [3]cell{}
		for k, s := range [...]string{a.unit, a.method, a.form} {
			if f := b.own[k]; f >= 0 {
				if keep[k] = r.cells[f]; s != "" {
					r.cells[f] = cell{text: s, name: a.column, pos: at + 1}
				}
			}
		}
		r.build()
		r.bad = false
		for k, f := range b.own {
			if f >= 0 {
				r.cells[f] = keep[k]
			}
		}
		b.done = b.once
	}
}

// read trims a cell and empties it where it says that there is no value.
func (m *Map) read(text string) string {
	text = strings.TrimSpace(text)
	if slices.Contains(m.missing, text) {
		return ""
	}
	return text
}

// fill puts an origin's value in the cell if it has one.
func (b *boundBlock) fill(m *Map, c *cell, o *origin, cells []string) bool {
	if !b.hold(o.when, cells) || len(o.unless) > 0 && b.hold(o.unless, cells) {
		return false
	}
	text := o.value
	if o.column != "" {
		at := b.at[o.column]
		c.name, c.pos = o.column, at+1
		text = m.read(cells[at])
	}
	if text == "" {
		return false
	}
	if o.lookup != nil {
		meant, ok := o.lookup[text]
		if !ok {
			b.row.fault(c, strconv.Quote(text), "one of the values under lookup", fmt.Sprintf("add it on line %d of %s", o.line, m.Name))
			return true
		}
		text = meant
	}
	c.text, c.unit = o.prefix+text, o.unit
	return true
}

// hold reports whether all conditions hold.
func (b *boundBlock) hold(list []condition, cells []string) bool {
	for _, c := range list {
		text := strings.TrimSpace(cells[b.at[c.column]])
		if c.is != nil && !slices.Contains(c.is, text) || slices.Contains(c.not, text) {
			return false
		}
		if c.has != nil && !slices.ContainsFunc(strings.FieldsFunc(text, func(r rune) bool { return r == ',' || r == ';' || r == ' ' }),
			func(part string) bool { return slices.Contains(c.has, part) }) {
			return false
		}
	}
	return true
}
