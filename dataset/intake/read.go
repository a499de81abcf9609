package intake

import (
	"fmt"
	"maps"
	"path"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"carryover/dataset"
	"carryover/dataset/unit"
)

// Source is one file as it was handed in.
type Source struct {
	Name string // as the grower named it
	Data []byte
}

// Options say how to read.
type Options struct {
	Grower  string       // for rows that name none
	Units   string       // "us" or "metric": only for the headings that messages suggest
	South   bool         // the bed lies south of the equator: seasons are shifted by six months
	Dates   string       // "MDY" or "DMY": how 10/11/2026 is meant; empty: such dates are refused
	Decimal string       // "comma" or "point": how decimals are written; empty: as the sheet's own figures show
	Table   string       // read every file as this table; empty: by the file's name, else its headings
	Map     *Map         // read every file through this sheet map; it outdoes Table
	Today   dataset.Date // years up to the next one are accepted; what is done lies no later than tomorrow
	Beds    []string     // beds the book describes; nil: names of beds are not checked

	Labs    map[string]dataset.Lab // lab profiles of book.toml: they fill blanks of method, unit and depth
	Explain bool                   // fill Result.Understood

	Measures unit.Measures    // the grower's own, checked: barrow = 6 cu ft
	Book     *dataset.Records // what the book holds, for questions that rows of both raise; nil: the sheets alone
}

// Result is what was read.
type Result struct {
	Records   dataset.Records // Source.File and Line filled, Batch 0
	Rows      []Count         // tables with rows, in the order of the sheets
	Collapsed int             // rows left out because an equal one was read already (sheet maps only)
	Notes     []string        // what was understood or assumed
	Claims    []dataset.Claim // which row of the book a row says it is, in its column row

	Understood []Line // row by row, where Options.Explain asks; at most 1,000 and a count of the rest
}

// Count is how many rows a table received.
type Count struct {
	Table string
	Rows  int
}

// maxFile is the largest file that is read, in bytes.
const maxFile = 100 << 20

const maxNotes = 50

// reader is what all rows of one Read share.
type reader struct {
	opt    Options
	tables []table
	faults Faults
	rec    dataset.Records

	notes     []string
	moreNotes int
	told      map[string]int // notes of each kind
	tallies   []tally

	words    map[string]string
	floats   map[float64]*float64
	ints     map[int32]*int32
	dayPtrs  map[dataset.Date]*dataset.Date
	days     map[string]when
	depths   map[depthText][2]*float64
	analytes map[[2]string]analyte
	methods  map[[2]string]string
	noUnit   map[string]bool

	labs           map[string]*profile     // by the name in the rows; nil: book.toml has none
	ids            map[[2]string][2]string // analyte and form as written, to ID and form
	fills          []fill
	understood     []Line
	moreUnderstood int

	beds                    map[string]bool // described, by the book or these sheets
	strange                 []Fault         // beds that were not, when their row was read: Text is the name
	unread                  bool            // rows that may describe beds could not be read
	claims                  []dataset.Claim
	reports, waters, leaves reports  // read so far, against a second value
	empty                   []string // sheets without rows
	comma                   bool     // the sheet at hand writes decimals with a comma
	reads                   []bool   // its columns that are read; nil: all

	rowCount int // rows of sheets so far
}

type tally struct {
	text []string // in parts, so that counting need not join them
	n    int
}

func newReader(opt Options) *reader {
	return &reader{opt: opt, tables: tables(), words: map[string]string{}, floats: map[float64]*float64{}, ints: map[int32]*int32{},
		dayPtrs: map[dataset.Date]*dataset.Date{}, days: map[string]when{}, depths: map[depthText][2]*float64{},
		analytes: map[[2]string]analyte{}, methods: map[[2]string]string{}, noUnit: map[string]bool{}, told: map[string]int{}, beds: map[string]bool{},
		labs: map[string]*profile{}, ids: map[[2]string][2]string{}}
}

// Read turns sheets into records. A file that names a table (soil_tests.csv,
// soil_tests-2026.csv) is that table's sheet; else its headings tell. With a
// sheet map every file is read by it.
//
// The error is a *Faults that lists what is wrong in all files; then there are
// no records at all.
func Read(src []Source, opt Options) (Result, error) {
	r := newReader(opt)
	src = slices.Clone(src)
	slices.SortStableFunc(src, func(a, b Source) int { return strings.Compare(a.Name, b.Name) })
	if len(src) == 0 {
		r.faults.add(Fault{File: "import", Text: say("no file", "one or more sheets", "name them, as sheets/*.csv")})
	}
	for _, name := range opt.Beds {
		r.beds[name] = true
	}
	for _, s := range src {
		r.file(s, len(src) == 1)
	}
	r.unknownBeds()
	switch len(r.empty) {
	case 0:
	case 1:
		r.note("%s: headings but no rows: nothing to read", r.empty[0])
	default:
		r.note("headings but no rows, nothing to read: %s", strings.Join(r.empty, ", "))
	}
	if err := r.faults.err(); err != nil {
		return Result{}, err
	}
	var out Result
	if opt.Map != nil {
		out.Collapsed = r.collapse(opt.Map)
	}
	r.askSameDay()
	out.Records, out.Rows, out.Claims = r.rec, r.counts(), r.claims
	if out.Understood = r.understood; r.moreUnderstood > 0 {
		out.Understood = append(out.Understood, Line{Text: "and " + plural(r.moreUnderstood, "more row")})
	}
	r.noteFills()
	for _, t := range r.tallies {
		r.note("%s: %d", strings.Join(t.text, ""), t.n)
	}
	if out.Notes = r.notes; r.moreNotes > 0 {
		out.Notes = append(out.Notes, fmt.Sprintf("and %d more notes", r.moreNotes))
	}
	return out, nil
}

func (r *reader) note(format string, args ...any) {
	if len(r.notes) >= maxNotes {
		r.moreNotes++
		return
	}
	r.notes = append(r.notes, fmt.Sprintf(format, args...))
}

// few notes the first of a kind, and counts the rest under kind.
func (r *reader) few(kind, format string, args ...any) {
	if r.told[kind]++; r.told[kind] > 5 {
		r.tally(kind)
		return
	}
	r.note(format, args...)
}

// tally counts what is said once with its number.
func (r *reader) tally(text ...string) {
	for i := range r.tallies {
		if slices.Equal(r.tallies[i].text, text) {
			r.tallies[i].n++
			return
		}
	}
	r.tallies = append(r.tallies, tally{slices.Clone(text), 1})
}

// word keeps one copy of a text.
func (r *reader) word(s string) string {
	if w, ok := r.words[s]; ok {
		return w
	}
	r.words[s] = s
	return s
}

// tableNames lists the sheets' names.
func (r *reader) sheetNames() (out []string) {
	for i := range r.tables {
		out = append(out, r.tables[i].sheet)
	}
	return out
}

// file reads one file: the sheet it is, or the sheets of a workbook.
func (r *reader) file(s Source, alone bool) {
	sheets, err := r.open(s)
	if err == nil && r.opt.Map != nil {
		r.mapped(s.Name, sheets, alone)
		return
	}
	if err == nil {
		sheets, err = r.choose(s.Name, sheets)
	}
	if err != nil {
		r.unread = true
		r.faults.add(Fault{File: s.Name, Line: err.line, Text: say(err.found, err.expected, err.mend)})
		return
	}
	rows, faults := r.rowCount, len(r.faults.List)
	for _, sh := range sheets {
		r.sheet(sh, alone && sh.title == "")
	}
	switch { // a workbook's sheets may stay empty, but not all of them
	case sheets[0].title == "" || r.rowCount > rows || len(r.faults.List) > faults:
	case alone:
		r.faults.add(Fault{File: s.Name, Text: say("headings but no rows", "a row for each record below the headings of a sheet", "fill it in, the sheet beds first")})
	default:
		r.empty = append(r.empty, s.Name)
	}
}

// sheet reads one sheet.
func (r *reader) sheet(sh sheet, alone bool) {
	r.comma = sh.comma
	r.tellHidden(&sh)
	var t *table
	fail := func(line int, found, expected, mend string) {
		r.unread = r.unread || t == nil || t.name == "beds"
		r.faults.add(Fault{File: sh.name, Line: line, Text: say(found, expected, mend)})
	}
	err := sh.err
	var head []string
	var headLine int
	if err == nil {
		head, headLine, err = r.head(&sh)
	}
	if err != nil {
		fail(err.line, err.found, err.expected, err.mend)
		return
	}
	if head == nil {
		fail(0, "an empty file", "a line of headings and rows below it", "carryover new writes sheets with their headings")
		return
	}
	before := len(r.faults.List)
	r.reads = nil
	var take func(line int, cells []string)
	if t = r.tableOf(sh.name, headLine, head); t != nil {
		take = r.bind(t, sh.name, headLine, head, sh.size)
	}
	if take == nil || len(r.faults.List) > before {
		r.unread = r.unread || t == nil || t.name == "beds"
		if len(r.faults.List) > before {
			r.faults.List[before].Text += r.lower(&sh, headLine, head)
		}
		return
	}
	rows, commented := 0, len(sh.lines.passed())
	for {
		cells, line, err := sh.lines.next()
		if err != nil {
			fail(err.line, err.found, err.expected, err.mend)
			return
		}
		if cells == nil {
			break
		}
		if rows == 0 { // those above the first row are the template's examples
			commented = len(sh.lines.passed())
		}
		rows++
		if sh.title != "" {
			if cells = r.plainCells(&sh, line, cells, head, rows == 1); cells == nil {
				r.unread = r.unread || t == nil || t.name == "beds"
				continue
			}
		}
		if len(cells) != len(head) {
			fail(line, plural(len(cells), "cell"), fmt.Sprintf("%d, one for each heading on line %d", len(head), headLine), "add or take out "+sh.between+"s; a cell that holds a "+sh.between+" stands in quotes")
			continue
		}
		take(line, cells)
	}
	r.rowCount += rows
	switch n := len(sh.lines.passed()); {
	case rows == 0 && alone:
		found := "headings but no rows"
		if n > 0 {
			found += fmt.Sprintf(" (%s with # passed over)", plural(n, "line"))
		}
		fail(0, found, "a row for each record below line "+strconv.Itoa(headLine), "fill in the sheet")
	case rows == 0 && sh.title == "":
		r.empty = append(r.empty, sh.name)
	case n > commented:
		r.note("%s: %s below the first row passed over, since it starts with #: line %d", sh.name, plural(n-commented, "line"), sh.lines.passed()[commented])
	}
}

// head reads the line of headings.
func (r *reader) head(sh *sheet) (head []string, line int, err *scanError) {
	cells, line, err := sh.lines.next()
	if cells == nil || err != nil {
		return nil, 0, err
	}
	for _, c := range cells {
		head = append(head, strings.Clone(c))
	}
	return head, line, nil
}

func plural(n int, what string) string {
	if n != 1 {
		what += "s"
	}
	return fmt.Sprintf("%d %s", n, what)
}

// parseHeading parts "area (sq ft)" into its name and unit.
func parseHeading(h string) (name, unitText string) {
	if i := strings.LastIndexByte(h, '('); i > 0 && strings.HasSuffix(h, ")") {
		return strings.TrimSpace(h[:i]), strings.TrimSpace(h[i+1 : len(h)-1])
	}
	return h, ""
}

// tableOf finds the table a file belongs to, or adds a fault.
func (r *reader) tableOf(file string, line int, head []string) *table {
	if r.opt.Table != "" {
		for i := range r.tables {
			if t := &r.tables[i]; fold(r.opt.Table) == fold(t.sheet) || fold(r.opt.Table) == fold(t.name) {
				return t
			}
		}
		r.faults.add(Fault{File: file, Text: say(fmt.Sprintf("table %q is not known", r.opt.Table), "one of "+strings.Join(r.sheetNames(), ", "), didYouMean(r.opt.Table, r.sheetNames()))})
		return nil
	}
	stem := strings.ToLower(path.Base(strings.ReplaceAll(file, `\`, "/")))
	stem = strings.NewReplacer("-", "_", " ", "_").Replace(strings.TrimSuffix(stem, path.Ext(stem)))
	var byStem, byHead *table
	var fitting []string
	for i := range r.tables {
		t := &r.tables[i]
		for _, name := range []string{t.sheet, t.name} {
			if rest, ok := strings.CutPrefix(stem, name); ok && (rest == "" || rest[0] < 'a' || rest[0] > 'z') {
				byStem = t
			}
		}
		if t.fits(head) {
			byHead = t
			fitting = append(fitting, t.sheet)
		}
	}
	t := byStem
	if t == nil && len(fitting) == 1 {
		t = byHead
	}
	if t == nil && len(fitting) > 1 {
		r.faults.add(Fault{File: file, Line: line, Text: say("headings that fit "+strings.Join(fitting, " and "), "those of one sheet", "name the file after its sheet, or say --table")})
	} else if t == nil {
		r.faults.Unknown = true
		r.faults.add(Fault{File: file, Line: line, Text: say("headings that belong to no one sheet ("+shorten(strings.Join(head, ", "))+")", "those of "+strings.Join(r.sheetNames(), ", "),
			"name the file after its sheet, or say --table, or describe it with --map")})
	}
	return t
}

// shorten keeps a text that came from a file within a line.
func shorten(s string) string {
	if utf8.RuneCountInString(s) <= 60 {
		return s
	}
	return string([]rune(s)[:57]) + "..."
}

// fits reports whether the table knows all headings and misses none it needs.
func (t *table) fits(head []string) bool {
	seen := make([]bool, len(t.fields))
	for _, h := range head {
		if h == "" || h[0] == '#' {
			continue
		}
		name, _ := parseHeading(h)
		i := t.find(name)
		if i < 0 {
			return false
		}
		seen[i] = true
	}
	for i, f := range t.fields {
		if f.need && !seen[i] {
			return false
		}
	}
	return true
}

func didYouMean(s string, names []string) string {
	if near := unit.Near(s, names); len(near) > 0 {
		return "did you mean " + strings.Join(near, " or ") + "?"
	}
	return ""
}

// row returns an empty row of the table.
func (r *reader) row(t *table, file, layout string) *row {
	cells := make([]cell, len(t.fields))
	for i := range cells {
		cells[i].name = t.fields[i].name
	}
	return &row{reader: r, dates: dates{layout: layout, south: r.opt.South, last: r.opt.Today.Year() + 1}, table: t, file: file, cells: cells}
}

// bind matches a long sheet's headings with the table's fields and returns what
// takes a line, or nil after faults.
func (r *reader) bind(t *table, file string, line int, head []string, lines int) func(int, []string) {
	row := r.row(t, file, r.opt.Dates)
	to := make([]int, len(head)) // field of each column, -1: ignored
	good := true
	fail := func(i int, found, expected, mend string) {
		good = false
		r.faults.add(Fault{File: file, Line: line, Column: head[i], Pos: i + 1, Text: say(found, expected, mend)})
	}
	var names []string
	for i := range t.fields {
		names = append(names, t.fields[i].heading(r.opt.Units))
	}
	var strange []string
	for _, h := range head {
		if name, _ := parseHeading(h); h != "" && h[0] != '#' && t.find(name) < 0 {
			strange = append(strange, h)
		}
	}
	if len(strange) > 3 && 2*len(strange) > len(head) {
		r.faults.Unknown = true
		r.faults.add(Fault{File: file, Line: line, Text: say(fmt.Sprintf("%d of %d headings are not known in %s (%s)", len(strange), len(head), t.sheet, shorten(strings.Join(strange, ", "))),
			strings.Join(names, ", "), "a sheet with a column for each analyte is read with a sheet map: --map")})
		return nil
	}
	for i, h := range head {
		to[i] = -1
		if strings.HasPrefix(h, "#") {
			continue
		}
		if h == "" {
			to[i] = -2
			continue
		}
		name, unitText := parseHeading(h)
		k := t.find(name)
		if k < 0 {
			mend := didYouMean(h, names)
			if mend == "" {
				mend = "rename it, or put # before it to leave it out"
			}
			fail(i, "not known in "+t.sheet, "one of "+strings.Join(names, ", "), mend)
			continue
		}
		f, c := &t.fields[k], &row.cells[k]
		if c.pos > 0 {
			fail(i, "named twice", fmt.Sprintf("one column %s (the other is column %d)", f.name, c.pos), "take one out or put # before it")
			continue
		}
		c.name, c.pos, c.unit = h, i+1, unitText
		if unitText != "" {
			if len(f.qs) == 0 {
				fail(i, fmt.Sprintf("unit %q in the heading", unitText), "the bare heading "+f.name, "")
				continue
			}
			if _, _, err := r.opt.Measures.Convert(1, unitText, f.qs...); err != nil {
				known := unit.Names(f.qs...)
				fail(i, fmt.Sprintf("unit %q is not known here", unitText), "one of "+strings.Join(known, ", "), didYouMean(unitText, known))
				continue
			}
		}
		to[i] = k
	}
	var missing []string
	for i := range t.fields {
		if t.fields[i].need && row.cells[i].pos == 0 {
			missing = append(missing, t.fields[i].heading(r.opt.Units))
		}
	}
	if len(missing) > 0 {
		good = false
		r.faults.add(Fault{File: file, Line: line, Text: say("no column "+strings.Join(missing, ", no column "), "every needed column of "+t.sheet, "add it to the headings")})
	}
	if !good {
		return nil
	}
	r.reads = make([]bool, len(head))
	for i, k := range to {
		r.reads[i] = k != -1
	}
	if t.name == "soil_tests" {
		r.reports.expect = min(lines, 1<<17)
		r.rec.SoilTests = slices.Grow(r.rec.SoilTests, r.reports.expect)
	}
	return func(line int, cells []string) {
		row.line, row.bad = line, false
		for i, c := range cells {
			switch k := to[i]; {
			case k >= 0:
				row.cells[k].text = c
			case k == -2 && c != "":
				row.fault(&cell{name: strconv.Itoa(i + 1), pos: i + 1}, strconv.Quote(shorten(c)), "a heading above it", "name the column or clear it")
			}
		}
		row.build()
	}
}

// unknownBeds adds one fault for each name in each file that no row describes.
func (r *reader) unknownBeds() {
	if r.opt.Beds == nil || r.unread {
		return
	}
	type name struct{ file, bed string }
	first, more := map[name]Fault{}, map[name]int{}
	var order []name
	for _, f := range r.strange {
		k := name{f.File, f.Text}
		switch seen, ok := first[k]; {
		case r.beds[f.Text]:
		case !ok:
			first[k] = f
			order = append(order, k)
		case f.Line != seen.Line:
			more[k]++
		}
	}
	known := slices.Sorted(maps.Keys(r.beds))
	for _, k := range order {
		f := first[k]
		found := strconv.Quote(k.bed) + ": not described in this book"
		if n := more[k]; n > 0 {
			found += " (nor in " + plural(n, "more row") + ")"
		}
		mend := "mend the name or add it to beds.csv"
		if near := didYouMean(k.bed, known); near != "" {
			mend = near + " (or add it to beds.csv)"
		}
		f.Text = say(found, "", mend)
		r.faults.add(f)
	}
}

// meet notes the bed a row is of, and the beds that a row of beds describes.
func (r *row) meet() {
	if r.opt.Beds == nil || r.table.find("bed") < 0 {
		return
	}
	c := r.at("bed")
	if r.table.name == "beds" {
		for _, name := range append(strings.Split(r.at("was").text, ";"), c.text) {
			if name = strings.TrimSpace(name); name != "" {
				r.beds[strings.Clone(name)] = true
			}
		}
	} else if name := r.text("bed"); name != "" && !r.beds[name] {
		r.strange = append(r.strange, Fault{File: r.file, Line: r.line, Column: c.name, Pos: c.pos, Text: name}.unturned(r.turned))
	}
}

// build checks that nothing needed is empty and makes the record.
func (r *row) build() {
	r.meet()
	blanks, ok := r.fromProfile()
	if !ok {
		return
	}
	for i := range r.table.fields {
		if f := &r.table.fields[i]; f.need && r.cells[i].text == "" {
			expected := f.says
			if expected == "" {
				expected = "a value"
			}
			r.fault(&r.cells[i], "empty", expected, "")
		}
	}
	r.table.build(r)
	if r.opt.Explain && !r.bad {
		r.explain()
	}
	copy(r.cells, blanks)
	r.filled = r.filled[:0]
}

// counts returns the tables that received rows.
func (r *reader) counts() (out []Count) {
	for _, c := range []Count{{"beds", len(r.rec.Beds)}, {"soil_tests", len(r.rec.SoilTests)}, {"materials", len(r.rec.Materials)}, {"amendments", len(r.rec.Amendments)},
		{"plantings", len(r.rec.Plantings)}, {"harvests", len(r.rec.Harvests)}, {"covers", len(r.rec.Covers)}, {"weather", len(r.rec.Weather)},
		{"water_tests", len(r.rec.WaterTests)}, {"tillage", len(r.rec.Tillage)}, {"leaf_tests", len(r.rec.LeafTests)}, {"advice", len(r.rec.Advice)},
		{"lists", len(r.rec.Lists)}, {"forecasts", len(r.rec.Forecasts)}, {"corrections", len(r.rec.Corrections)}} {
		if c.Rows > 0 {
			out = append(out, c)
		}
	}
	return out
}

// collapse drops rows equal to an earlier one but for their line, in the tables
// where the map asks for it or equal rows cannot be two events.
func (r *reader) collapse(m *Map) (dropped int) {
	asked := map[string]bool{"beds": true, "soil_tests": true, "materials": true, "water_tests": true, "leaf_tests": true}
	for _, b := range m.blocks {
		if b.collapse {
			asked[b.table] = true
		}
	}
	rec := &r.rec
	return unique(asked["beds"], &rec.Beds, func(x *dataset.Bed) *dataset.Source { return &x.Source }) +
		unique(asked["soil_tests"], &rec.SoilTests, func(x *dataset.SoilTest) *dataset.Source { return &x.Source }) +
		unique(asked["materials"], &rec.Materials, func(x *dataset.Material) *dataset.Source { return &x.Source }) +
		unique(asked["amendments"], &rec.Amendments, func(x *dataset.Amendment) *dataset.Source { return &x.Source }) +
		unique(asked["plantings"], &rec.Plantings, func(x *dataset.Planting) *dataset.Source { return &x.Source }) +
		unique(asked["harvests"], &rec.Harvests, func(x *dataset.Harvest) *dataset.Source { return &x.Source }) +
		unique(asked["covers"], &rec.Covers, func(x *dataset.Cover) *dataset.Source { return &x.Source }) +
		unique(asked["weather"], &rec.Weather, func(x *dataset.Weather) *dataset.Source { return &x.Source }) +
		unique(asked["water_tests"], &rec.WaterTests, func(x *dataset.WaterTest) *dataset.Source { return &x.Source }) +
		unique(asked["tillage"], &rec.Tillage, func(x *dataset.Tillage) *dataset.Source { return &x.Source }) +
		unique(asked["leaf_tests"], &rec.LeafTests, func(x *dataset.LeafTest) *dataset.Source { return &x.Source }) +
		unique(asked["advice"], &rec.Advice, func(x *dataset.Advice) *dataset.Source { return &x.Source })
}

// unique keeps the first of equal rows. Rows share pointers to equal values, so
// that == compares them.
func unique[T comparable](asked bool, rows *[]T, source func(*T) *dataset.Source) int {
	if !asked {
		return 0
	}
	seen := make(map[T]struct{}, len(*rows))
	kept := (*rows)[:0]
	for _, x := range *rows {
		key := x
		*source(&key) = dataset.Source{}
		if _, ok := seen[key]; !ok {
			seen[key] = struct{}{}
			kept = append(kept, x)
		}
	}
	n := len(*rows) - len(kept)
	*rows = kept
	return n
}
