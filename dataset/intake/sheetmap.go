package intake

import (
	"errors"
	"fmt"
	"maps"
	"regexp"
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
	Name     string // file name, for messages
	Title    string
	Citation string // where the data come from

	separator byte
	encoding  string // utf-8, windows-1252, utf-16le, utf-16be; empty: as the bytes show
	decimal   string // comma or point; empty: as the figures show
	shown     bool   // formula cells give what they last showed: formulas = "as shown"
	dates     string
	century   int      // that years of two digits belong to; 0: they are refused
	missing   []string // cells that mean "no value"
	ratings   []string // words beside a figure that are dropped
	below     []string // marks beside a figure that say "less than this"

	shape
	blocks []block
}

// block makes records of one table from every line it applies to.
type block struct {
	table          string
	once, collapse bool
	when           []condition
	set            []setting
	measured       []measurement
	names          map[string]measurement // by what the sheet calls an analyte, folded; nil: it calls it as we do
	units, methods []string               // for measured columns that say none: each for those it fits
	line           int
}

// condition asks about the bare text of one cell.
type condition struct {
	column       string
	is, not, has []string
	match        *regexp.Regexp
	line         int
}

// setting fills one field from the first origin that gives a value.
type setting struct {
	field   string
	origins []origin
}

// origin is where a value comes from: a constant, columns of the line, or a text
// that stands above the headings or names the file.
type origin struct {
	value   string
	columns []string // their texts, joined
	join    string
	down    bool   // an empty cell takes what stands above it
	cell    string // such as B4
	after   string // what stands behind this text
	of      string // "file" or "sheet": its name

	match        *regexp.Regexp
	lookup       map[string]string
	prefix, unit string
	when, unless []condition
	line         int
}

// fixed reports whether the origin gives every line the same text.
func (o *origin) fixed() bool { return len(o.columns) == 0 }

// measurement is a column that holds one analyte, item or component.
type measurement struct {
	column string
	meaning
	unitColumn string
	compact    bool // written as a heading: the sheet's own heading must not contradict it
	skip       bool // of names: rows that are left out
	when       []condition
	line       int
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
		switch head := strings.ReplaceAll(strings.TrimSpace(strings.SplitN(line, "#", 2)[0]), " ", ""); head {
		case "[[rows]]":
			rows, analytes = rows+1, -1
			prefix = fmt.Sprintf("rows.%d", rows)
			at[prefix] = i + 1
		case "[rows.set]", "[rows.columns]", "[rows.names]":
			prefix = fmt.Sprintf("rows.%d.%s", rows, head[len("[rows."):len(head)-1])
			at[prefix] = i + 1
		case "[[rows.analyte]]":
			analytes++
			prefix = fmt.Sprintf("rows.%d.analyte.%d", rows, analytes)
			at[prefix] = i + 1
		default:
			key, _, ok := strings.Cut(line, "=")
			if line != "" && (line[0] == '"' || line[0] == '\'') { // a quoted key may hold "="
				if end := strings.IndexByte(line[1:], line[0]); end >= 0 {
					key, ok = line[:end+2], true
				}
			}
			if ok && !strings.HasPrefix(line, "#") {
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

var inKey = regexp.MustCompile(`^(rows)\.\d+|(\.analyte)\.\d+`)

func (p *mapParser) fail(key, found, expected, mend string) {
	if shown := inKey.ReplaceAllString(key, "$1$2"); shown != "" { // rows.0.set.bed is shown as rows.set.bed
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

func keys(m map[string]any) []string { return slices.Sorted(maps.Keys(m)) }

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

// answered refuses a text that still holds a question mark of a proposal.
func (p *mapParser) answered(key, text, expected string) bool {
	return p.answeredIn(key, text, text, expected)
}

// answeredIn shows a longer text, of which it looks at a part.
func (p *mapParser) answeredIn(key, shown, text, expected string) bool {
	if marks(text) == 0 {
		return true
	}
	p.fail(key, strconv.Quote(strings.TrimSpace(shown))+" still asks", expected, "write it in place of the question mark")
	return false
}

// marks counts the question marks that stand alone in a text.
func marks(text string) (n int) {
	for _, w := range strings.Fields(text) {
		if w == "?" {
			n++
		}
	}
	return n
}

// column reads the name of a column: its heading, or its number, which is the
// same as "#5".
func (p *mapParser) column(key string, m map[string]any, k string) string {
	if n, ok := m[k].(int64); ok {
		if n < 1 || n > maxColumns {
			p.fail(join(key, k), strconv.FormatInt(n, 10), "the number of a column, from 1", "")
		}
		return "#" + strconv.FormatInt(n, 10)
	}
	return p.text(key, m, k)
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
		if len(strings.Fields(s)) > 1 { // "?" alone is a cell's text
			p.answered(join(key, k), s, "the text alone if it belongs here, or nothing")
		}
		out = append(out, s)
	}
	return out
}

// pattern reads a regular expression with at most one group.
func (p *mapParser) pattern(key string, m map[string]any, k string) *regexp.Regexp {
	v, there := m[k]
	s, ok := v.(string)
	if !there {
		return nil
	}
	re, err := regexp.Compile(s)
	switch {
	case !ok || err != nil:
		var why string
		if err != nil {
			why = " (" + strings.TrimPrefix(err.Error(), "error parsing regexp: ") + ")"
		}
		p.fail(join(key, k), fmt.Sprintf("%q%s", s, why), "a regular expression in single quotes, as '^(\\w+)-'", "")
		return nil
	case re.NumSubexp() > 1:
		p.fail(join(key, k), strconv.Quote(s)+" has several groups", "one, round what is taken", "write (?: for the others")
	}
	return re
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
	p.known("", m, append([]string{"format", "title", "source", "separator", "encoding", "decimal", "formulas", "dates", "century", "missing", "ratings", "below", "rows"}, shapeKeys()...)...)
	out := &Map{Name: p.name, Title: p.text("", m, "title"), Citation: p.text("", m, "source"), shape: p.shape(m),
		missing: p.texts("", m, "missing"), ratings: p.marks(m, "ratings"), below: p.marks(m, "below")}
	if n, ok := m["format"].(int64); !ok || n != 1 {
		p.fail("format", "missing or another number", "format = 1", "a higher number needs a newer carryover")
	}
	if raw, _ := m["separator"].(string); raw == "\t" {
		m["separator"] = "tab"
	}
	if s := p.choice(m, "separator", `",", ";" or "tab"`, ",=,", ";=;", "tab=\t"); s != "" {
		out.separator = s[0]
	}
	out.encoding = p.choice(m, "encoding", "utf-8, windows-1252, utf-16le or utf-16be", "utf8=utf-8", "utf16le=utf-16le", "utf16be=utf-16be", "windows1252=windows-1252", "latin1=windows-1252", "iso88591=windows-1252")
	out.decimal = p.choice(m, "decimal", "comma or point", "comma=comma", ",=comma", "point=point", ".=point")
	out.shown = p.choice(m, "formulas", `"as shown", or no such key`, "asshown=yes") != ""
	out.dates = p.choice(m, "dates", "YMD, DMY or MDY", "ymd=YMD", "dmy=DMY", "mdy=MDY")
	if n, ok := m["century"].(int64); ok && n >= 1800 && n <= 2100 && n%100 == 0 {
		out.century = int(n)
	} else if m["century"] != nil {
		p.fail("century", fmt.Sprint(m["century"]), "a round hundred, as 2000: 26 is then 2026", "")
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

// marks reads words that stand beside figures, the longest first: VH before H.
func (p *mapParser) marks(m map[string]any, k string) []string {
	list := p.texts("", m, k)
	for _, w := range list {
		if w == "" || strings.ContainsAny(w, "0123456789") {
			p.fail(k, strconv.Quote(w), "words or letters without figures", "")
		}
	}
	slices.SortStableFunc(list, func(a, b string) int { return len(b) - len(a) })
	return list
}

// choice reads one of a few words, each given as "folded=meant".
func (p *mapParser) choice(m map[string]any, key, expected string, words ...string) string {
	if m[key] == nil {
		return ""
	}
	s := p.text("", m, key)
	if !p.answered(key, s, expected) {
		return ""
	}
	for _, w := range words {
		if i := strings.LastIndexByte(w, '='); w[:i] == fold(s) {
			return w[i+1:]
		}
	}
	p.fail(key, strconv.Quote(s), expected, "")
	return ""
}

func blockKeys() []string {
	return []string{"table", "once", "collapse", "when", "set", "columns", "names", "analyte"}
}

func (p *mapParser) block(key string, m map[string]any) block {
	p.known(key, m, blockKeys()...)
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
			mend := didYouMean(k, fields)
			if slices.Contains(blockKeys(), k) {
				mend = "did you mean the key of [[rows]]? It stands above [rows.set]"
			}
			p.fail(at, "no field of "+t.sheet, "one of "+strings.Join(fields, ", "), mend)
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
		b.measured = append(b.measured, p.measurement(fmt.Sprintf("%s.analyte.%d", key, i), a, t))
	}
	b.measured = append(b.measured, p.columns(key+".columns", m["columns"], t)...)
	what, value := t.measures()
	if v, ok := m["names"]; ok {
		b.names = p.names(key+".names", v, t)
		given["unit"] = true
		if !given[what] || len(b.measured) > 0 {
			p.fail(key+".names", "beside measured columns, or without "+what+" under [rows.set]", "a sheet with a column of names and one of values", what+` = {column = "..."} under [rows.set]`)
		}
	}
	if len(b.measured) > 0 {
		given[what], given[value], given["unit"] = true, true, true
	}
	for _, f := range t.fields {
		if f.need && !given[f.name] {
			p.fail(key, "field "+f.name+" is not set", "every field that "+t.sheet+" needs", "add it under [rows.set]")
		}
	}
	if len(b.measured) > 0 || b.names != nil {
		p.defaults(key, &b, t)
	}
	return b
}

func (p *mapParser) origins(key string, v any, f field) (out []origin) {
	if s, ok := scalar(v); ok {
		p.answered(key, s, f.expects())
		return []origin{{value: s, line: p.line(key)}}
	}
	list, ok := v.([]any)
	if !ok {
		for _, m := range p.tablesOf(key, v) {
			list = append(list, m)
		}
	}
	for i, x := range list {
		if s, ok := scalar(x); ok {
			expects := f.expects()
			if len(list) > 1 { // equal faults are told once
				expects += fmt.Sprintf(" (%d of %d)", i+1, len(list))
			}
			p.answered(key, s, expects)
			out = append(out, origin{value: s, line: p.line(key)})
			continue
		}
		m, ok := x.(map[string]any)
		if !ok {
			p.fail(key, "a list in a list", `a text, or a table such as {column = "..."}`, "")
			continue
		}
		out = append(out, p.origin(key, m, f))
	}
	if len(out) == 0 {
		p.fail(key, "no origin", `a text, or a table such as {column = "..."}`, "")
	}
	return out
}

func (f *field) expects() string {
	if f.says == "" {
		return "what column " + f.name + " holds"
	}
	return f.says
}

func (p *mapParser) origin(key string, m map[string]any, f field) origin {
	sources := []string{"column", "columns", "value", "cell", "after", "name_of"}
	p.known(key, m, append(sources, "join", "down", "match", "prefix", "unit", "lookup", "when", "unless")...)
	o := origin{value: p.text(key, m, "value"), cell: strings.ToUpper(p.text(key, m, "cell")), after: p.text(key, m, "after"), of: p.text(key, m, "name_of"),
		join: " ", down: p.flag(key, m, "down"), match: p.pattern(key, m, "match"), prefix: rawText(m["prefix"]), unit: p.text(key, m, "unit"),
		when: p.conditions(key, m["when"]), unless: p.conditions(key, m["unless"]), line: p.line(key)}
	n := 0
	for _, s := range sources {
		if m[s] != nil {
			n++
		}
	}
	if n != 1 {
		p.fail(key, "neither column nor value, or several of their kind", "one of "+strings.Join(sources, ", "), "")
	}
	asks := !p.answered(key, o.value+" "+o.after, f.expects()) || !p.answered(key, o.unit, "the unit of "+f.name)
	if m["column"] != nil {
		o.columns = []string{p.column(key, m, "column")}
	}
	if m["columns"] != nil {
		list, _ := m["columns"].([]any)
		for _, x := range list {
			o.columns = append(o.columns, p.column(key, map[string]any{"columns": x}, "columns"))
		}
		if len(o.columns) == 0 {
			p.fail(key, "columns that are no list", `as columns = ["Year", "Month"]`, "")
		}
	}
	if m["join"] != nil {
		o.join = rawText(m["join"])
	}
	if col, row := cellAt(o.cell); m["cell"] != nil && (col < 0 || row < 1) {
		p.fail(key, strconv.Quote(o.cell), "a cell such as B4", "")
	}
	if m["name_of"] != nil && o.of != "file" && o.of != "sheet" {
		p.fail(key, strconv.Quote(o.of), `name_of = "file" or "sheet"`, "")
	}
	if o.unit != "" && !asks {
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
			p.answered(key, s, "what "+strconv.Quote(k)+" stands for")
			o.lookup[strings.TrimSpace(k)] = s
		}
	}
	return o
}

// rawText keeps the space at the end of a prefix.
func rawText(v any) string {
	s, _ := v.(string)
	return s
}

func (p *mapParser) conditions(key string, v any) (out []condition) {
	for _, m := range p.tablesOf(key, v) {
		p.known(key, m, "column", "is", "not", "has", "match")
		c := condition{column: p.column(key, m, "column"), is: p.texts(key, m, "is"), not: p.texts(key, m, "not"), has: p.texts(key, m, "has"), match: p.pattern(key, m, "match"), line: p.line(key)}
		if c.column == "" || c.is == nil && c.not == nil && c.has == nil && c.match == nil {
			p.fail(key, "a condition without column, or without is, not, has or match", `as {column = "...", is = ["..."]}`, "")
		}
		out = append(out, c)
	}
	return out
}

func (p *mapParser) measurement(key string, m map[string]any, t *table) measurement {
	p.known(key, m, "column", "analyte", "unit", "method", "form", "depth", "when")
	a := measurement{column: p.column(key, m, "column"), when: p.conditions(key+".when", m["when"]), line: p.line(key),
		meaning: meaning{name: p.text(key, m, "analyte"), form: p.text(key, m, "form"), unit: p.text(key, m, "unit"), method: p.text(key, m, "method"), depth: p.text(key, m, "depth")}}
	if a.column == "" || a.name == "" {
		p.fail(key, "column or analyte is missing", "both", "")
		return a
	}
	for _, x := range [...][2]string{{"method", a.method}, {"form", a.form}, {"depth", a.depth}} {
		if x[1] != "" && t.find(x[0]) < 0 {
			p.fail(key+"."+x[0], t.sheet+" has no field "+x[0], "", "leave it out")
			return a
		}
	}
	p.sound(key, a.column, a.meaning, t)
	return a
}

// sound refuses a meaning that no column of the table can have.
func (p *mapParser) sound(key, column string, m meaning, t *table) {
	if what, _ := t.measures(); what == "" {
		p.fail(key, "measured columns in "+t.sheet, "soil_tests, water_tests, leaf_tests, materials or advice", "set its fields under [rows.set]")
	} else if err := m.check(t); err != nil {
		p.fail(key, fmt.Sprintf("column %q: %s", column, err), "", "")
	}
}

// columns reads the compact form: a list of headings that say it all, or a
// table of headings and what they mean.
func (p *mapParser) columns(key string, v any, t *table) (out []measurement) {
	switch v := v.(type) {
	case nil:
	case []any:
		for _, x := range v {
			s, ok := x.(string)
			if !ok {
				p.fail(key, "a list of other than texts", `headings, as ["pH", "P ppm M3", "Avail. P = P ppm M3"]`, "")
				continue
			}
			heading, means := s, s
			if i := strings.LastIndex(s, " = "); i > 0 {
				heading, means = s[:i], s[i+3:]
			}
			out = append(out, p.compact(key, s, heading, means, t))
		}
	case map[string]any:
		for _, k := range keys(v) {
			at := key + "." + k
			switch x := v[k].(type) {
			case string:
				out = append(out, p.compact(at, x, k, x, t))
			case bool:
				if !x {
					p.fail(at, "false", "what the column means, or true where its heading says it all", "leave the line out")
				}
				out = append(out, p.compact(at, k, k, k, t))
			case map[string]any:
				p.known(at, x, "is", "unit_column", "when")
				a := p.compact(at, p.text(at, x, "is"), k, p.text(at, x, "is"), t)
				a.unitColumn, a.when = p.column(at, x, "unit_column"), p.conditions(at+".when", x["when"])
				out = append(out, a)
			default:
				p.fail(at, "neither a text nor true", `what the column means, as "P ppm Mehlich-3"`, "")
			}
		}
	default:
		p.fail(key, "a single value", `a list of headings, or [rows.columns] with a line for each: "P (M3)" = "P ppm Mehlich-3"`, "")
	}
	return out
}

var nth = regexp.MustCompile(`\s*#\d+$`) // of equal headings

// compact reads one column, as shown in the map, and what it means.
func (p *mapParser) compact(key, shown, column, text string, t *table) measurement {
	a := measurement{column: strings.TrimSpace(column), compact: true, line: p.line(key)}
	if text == column { // the heading says it all
		text = nth.ReplaceAllString(strings.TrimSpace(text), "")
		if t.name == "advice" {
			text = adviceWords(text)
		}
	}
	if what, _ := t.measures(); what == "" {
		p.sound(key, a.column, a.meaning, t)
	} else if p.answeredIn(key, shown, text, "analyte, unit and method, as "+t.example()) {
		var ask string
		if a.meaning, ask = readMeaning(t, text); ask != "" {
			p.fail(key, strconv.Quote(shown)+": "+ask, "", "")
		} else if err := a.meaning.check(t); err != nil {
			p.fail(key, strconv.Quote(shown)+": "+err.Error(), "", "")
		}
	}
	return a
}

// names reads what a sheet with a row for each analyte calls them.
func (p *mapParser) names(key string, v any, t *table) map[string]measurement {
	out := map[string]measurement{}
	table, ok := v.(map[string]any)
	if !ok {
		p.fail(key, "no table", `[rows.names] with lines such as "Phosphorus M3" = "P Mehlich-3"`, "")
	}
	for _, k := range keys(table) {
		switch x := table[k].(type) {
		case string:
			out[fold(k)] = p.compact(key+"."+k, x, k, x, t)
		case bool:
			if x {
				out[fold(k)] = p.compact(key+"."+k, k, k, k, t)
			} else {
				out[fold(k)] = measurement{skip: true}
			}
		default:
			p.fail(key+"."+k, "neither a text nor false", `what the name means, as "P Mehlich-3", or false to leave its rows out`, "")
		}
	}
	return out
}

// defaults takes constants of unit and method out of the settings: they stand
// for measured columns that say none, each for those it fits.
func (p *mapParser) defaults(key string, b *block, t *table) {
	take := func(field string) (out []string) {
		i := slices.IndexFunc(b.set, func(s setting) bool { return s.field == field })
		if i < 0 {
			return nil
		}
		for _, o := range b.set[i].origins {
			if !o.fixed() || o.value == "" || o.when != nil || o.unless != nil || o.lookup != nil {
				return nil
			}
			out = append(out, o.value)
		}
		b.set = slices.Delete(b.set, i, i+1)
		return out
	}
	b.units, b.methods = take("unit"), take("method")
	for _, s := range b.methods {
		if _, own := cutOwn(s); own != "" {
			p.fail(key+".set.method", strconv.Quote(s)+" belongs to no column by itself", "a method known by name", fmt.Sprintf(`write a lab's own on its column, as "K ppm" = "K ppm %s"`, own))
		}
	}
	if b.names != nil {
		return // what the rows will name is not known yet
	}
	for _, x := range [...]struct {
		field string
		list  []string
		fits  func(meaning, string) error
	}{{"unit", b.units, func(m meaning, s string) error { return m.unitFits(t, s) }}, {"method", b.methods, func(m meaning, s string) error { return m.methodFits(s) }}} {
		for _, s := range x.list {
			if _, own := cutOwn(s); s == "?" || own != "" { // told already
				continue
			}
			var why error
			column := ""
			fits := slices.ContainsFunc(b.measured, func(a measurement) bool {
				err := x.fits(a.meaning, s)
				if err != nil && a.name != "" {
					why, column = err, a.column
				}
				return err == nil
			})
			if !fits && why != nil && !slices.ContainsFunc(unit.Analytes(), func(a unit.Analyte) bool { // that a lab has, though not this sheet
				return t.name == "soil_tests" && x.fits(meaning{name: a.ID, form: a.ID}, s) == nil
			}) {
				p.fail(key+".set."+x.field, fmt.Sprintf("%q fits no column; of column %q: %s", s, column, why), "", "")
			}
		}
	}
}
