package intake

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// shape says where the headings of a file stand, what stands above and below its
// rows, and which way it is turned.
type shape struct {
	sheets   []string // of a workbook; nil: those that have the columns
	turn     bool     // rows and columns change places first
	headings []int    // lines of the headings; nil: the first rows that hold the map's columns
	with     []string // cells that the first row of headings holds
	deep     int      // how many rows of headings there are; 0: one
	merged   bool     // an empty cell of an upper heading row is part of the cell to its left
	until    []string // where the rows end: starts of the first filled cell; empty: an empty line
	skip     []condition
	hash     bool // rows that start with # are rows
}

const (
	maxLook   = 200     // lines in which headings are looked for
	maxTurned = 2000000 // cells of a sheet that is turned
)

func shapeKeys() []string {
	return []string{"sheet", "turn", "headings", "headings_with", "heading_rows", "merged", "until", "skip", "comments"}
}

func (p *mapParser) shape(m map[string]any) shape {
	s := shape{sheets: p.texts("", m, "sheet"), turn: p.flag("", m, "turn"), with: p.texts("", m, "headings_with"), merged: p.flag("", m, "merged"),
		until: p.texts("", m, "until"), skip: p.conditions("skip", m["skip"])}
	if _, there := m["comments"]; there {
		s.hash = !p.flag("", m, "comments")
	}
	number := func(key string, v any, above, most int) int {
		n, ok := v.(int64)
		if !ok || int(n) <= above || int(n) > most {
			p.fail(key, fmt.Sprint(v), fmt.Sprintf("a number from %d to %d", above+1, most), "")
			return 0
		}
		return int(n)
	}
	switch v := m["headings"].(type) {
	case nil:
	case []any:
		above := 0
		for _, x := range v {
			if above = number("headings", x, above, maxLook); above == 0 {
				break
			}
			s.headings = append(s.headings, above)
		}
	default:
		if n := number("headings", v, 0, maxLook); n > 0 {
			s.headings = []int{n}
		}
	}
	if v := m["heading_rows"]; v != nil {
		s.deep = number("heading_rows", v, 0, 5)
	}
	if s.headings != nil && (s.with != nil || s.deep > 0) {
		p.fail("headings", "beside headings_with or heading_rows", "the lines, or how to find them", "take one out")
	}
	return s
}

// grid is a sheet on its way through a map: the rows that were looked at so far
// and those still to come.
type grid struct {
	sheet
	rows  [][]string
	nums  []int
	flaws [][]flaw
	more  bool // sh.lines has rows left

	above     [][]string // rows above the headings, as the file has them
	aboveNums []int
	turned    []int // number of the row of the file that each column was; nil: not turned

	head     []string // headings, several rows joined
	lastHead []string // the lowest of these rows as it stands
	line     int      // of the first row of headings
	at       int      // next row to read
	lacks    int      // columns of the map that the headings lack
}

// fill looks at rows until there are n, or the sheet ends.
func (g *grid) fill(n int) (enough bool, err *scanError) {
	for len(g.rows) < n && g.more {
		cells, line, err := g.lines.next()
		if err != nil {
			return false, err
		}
		if g.more = cells != nil; g.more {
			g.rows, g.nums = append(g.rows, slices.Clone(cells)), append(g.nums, line)
			g.flaws = append(g.flaws, slices.Clone(g.lines.flaws()))
		}
	}
	return len(g.rows) >= n, nil
}

// next returns the next row below the headings; nil at the end.
func (g *grid) next() (cells []string, line int, flaws []flaw, err *scanError) {
	if g.at < len(g.rows) {
		g.at++
		return g.rows[g.at-1], g.nums[g.at-1], g.flaws[g.at-1], nil
	}
	if !g.more {
		return nil, 0, nil, nil
	}
	cells, line, err = g.lines.next()
	return cells, line, g.lines.flaws(), err
}

// look reads a sheet's headings as the map says where they stand.
func (m *Map) look(sh sheet) (*grid, *scanError) {
	g := &grid{sheet: sh, more: true}
	if all, ok := sh.lines.(interface{ everyRow() }); ok {
		all.everyRow() // headings may start with #
	}
	if m.turn {
		if err := g.turn(); err != nil {
			return g, err
		}
	}
	need := max(1, m.deep)
	if m.headings != nil {
		return g, m.headAt(g)
	}
	best, lacks := -1, 0
	for i := 0; i < maxLook; i++ {
		enough, err := g.fill(i + need)
		if err != nil && best < 0 {
			return g, err
		}
		if err != nil || !enough && i > 0 {
			break
		}
		if i >= len(g.rows) {
			return g, &scanError{0, "an empty file", "a line of headings and rows below it", ""}
		}
		if !holds(m.joined(g.rows[i:i+1], nil), m.with) {
			continue
		}
		n := m.lacking(g.joined(m, i, min(i+need, len(g.rows))))
		if n > 0 && strings.HasPrefix(g.rows[i][0], "#") {
			continue
		}
		if best < 0 || n < lacks {
			best, lacks = i, n
		}
		if lacks == 0 {
			break
		}
	}
	if best < 0 {
		return g, &scanError{0, "no line that holds " + strings.Join(m.with, ", "), fmt.Sprintf("the headings that headings_with of %s names, in the first %d lines", m.Name, maxLook), ""}
	}
	m.settle(g, best, min(best+need, len(g.rows)))
	return g, nil
}

// headAt takes the headings from the lines the map names.
func (m *Map) headAt(g *grid) *scanError {
	if _, err := g.fill(maxLook); err != nil {
		return err
	}
	var rows [][]string
	var spans [][]flaw
	first, last := -1, -1
	for _, n := range m.headings {
		i := slices.Index(g.nums, n)
		if i < 0 {
			return &scanError{n, "an empty line or none", "the headings, as headings of " + m.Name + " says", ""}
		}
		rows, spans, last = append(rows, g.rows[i]), append(spans, g.flaws[i]), i
		if first < 0 {
			first = i
		}
	}
	m.settle(g, first, last+1)
	g.head = m.joined(rows, spans)
	g.lacks = m.lacking(g.head)
	return nil
}

// settle takes rows from to to as the headings.
func (m *Map) settle(g *grid, from, to int) {
	g.head, g.line, g.at = g.joined(m, from, to), g.nums[from], to
	g.lastHead = g.rows[to-1]
	g.lacks = m.lacking(g.head)
	if g.turned == nil {
		g.above, g.aboveNums = g.rows[:from], g.nums[:from]
	}
}

func (g *grid) joined(m *Map, from, to int) []string {
	return m.joined(g.rows[from:to], g.flaws[from:to])
}

// joined makes one row of headings of several. A cell of an upper row stands
// over all columns that a workbook merges in it.
func (m *Map) joined(rows [][]string, spans [][]flaw) []string {
	n := 0
	for _, r := range rows {
		n = max(n, len(r))
	}
	out := make([]string, n)
	for k, r := range rows {
		left, upper := "", k+1 < len(rows)
		for i := range n {
			text := ""
			if i < len(r) {
				text = strings.Join(strings.Fields(r[i]), " ")
			}
			if upper && text == "" && (m.merged || slices.ContainsFunc(spans[k], func(f flaw) bool { return f.from < i && i <= f.to })) {
				text = left
			}
			left = text
			out[i] = strings.TrimSpace(out[i] + " " + text)
		}
	}
	return out
}

func holds(head, cells []string) bool {
	for _, c := range cells {
		if !slices.ContainsFunc(head, func(h string) bool { return fold(h) == fold(c) }) {
			return false
		}
	}
	return true
}

// lacking counts the map's columns that a row of headings does not have.
func (m *Map) lacking(head []string) (n int) {
	for _, ref := range m.refs() {
		if at, twice := find(head, ref.column); at < 0 && !twice {
			n++
		}
	}
	return n
}

// ref is a column that a map names, and the line on which it does.
type ref struct {
	column string
	line   int
}

// refs lists the columns a map reads.
func (m *Map) refs() (out []ref) {
	seen := map[string]bool{}
	add := func(column string, line int) {
		if column != "" && !seen[column] {
			seen[column] = true
			out = append(out, ref{column, line})
		}
	}
	conditions := func(list []condition) {
		for _, c := range list {
			add(c.column, c.line)
		}
	}
	conditions(m.skip)
	for _, b := range m.blocks {
		conditions(b.when)
		for _, s := range b.set {
			for _, o := range s.origins {
				for _, c := range o.columns {
					add(c, o.line)
				}
				conditions(o.when)
				conditions(o.unless)
			}
		}
		for _, a := range b.measured {
			add(a.column, a.line)
			add(a.unitColumn, a.line)
			conditions(a.when)
		}
	}
	return out
}

// find returns the column that a map names: by its heading, by its place ("#5",
// or "#E" as a workbook counts), or as one of equal headings ("Rating #2").
// twice: several bear that heading.
func find(head []string, name string) (at int, twice bool) {
	for _, same := range []func(string) bool{func(s string) bool { return s == name }, func(s string) bool { return s != "" && fold(s) == fold(name) }} {
		at = slices.IndexFunc(head, same)
		if at >= 0 {
			return at, slices.ContainsFunc(head[at+1:], same)
		}
	}
	i := strings.LastIndexByte(name, '#')
	if i < 0 {
		return -1, false
	}
	base, place := fold(name[:i]), strings.TrimSpace(name[i+1:])
	n, err := strconv.Atoi(place)
	if err != nil && base == "" {
		col, _ := cellAt(strings.ToUpper(place) + "1")
		n = col + 1
	}
	if n < 1 {
		return -1, false
	}
	if base == "" && n <= len(head) {
		return n - 1, false
	}
	for k, s := range head {
		if base != "" && fold(s) == base {
			if n--; n == 0 {
				return k, false
			}
		}
	}
	return -1, false
}

// turn reads the whole sheet and lets rows and columns change places.
func (g *grid) turn() *scanError {
	cells, width := 0, 0
	for n := 1; ; n++ {
		enough, err := g.fill(n)
		if err != nil {
			return err
		}
		if !enough {
			break
		}
		width = max(width, len(g.rows[n-1]))
		if cells += len(g.rows[n-1]); n > maxColumns || cells > maxTurned {
			return &scanError{g.nums[n-1], "a sheet too long to turn", fmt.Sprintf("at most %d lines, one for each column of the turned sheet", maxColumns), ""}
		}
	}
	rows, nums, flaws := g.rows, g.nums, g.flaws
	g.above, g.aboveNums, g.turned = rows, nums, nums
	g.rows, g.nums, g.flaws = nil, nil, nil
	for c := range width {
		column := make([]string, len(rows))
		var spoilt []flaw
		blank := true
		for i, r := range rows {
			if c < len(r) {
				column[i] = r[c]
				blank = blank && r[c] == ""
			}
			for _, f := range flaws[i] {
				if f.from <= c && c <= f.to {
					f.from, f.to = i, i
					spoilt = append(spoilt, f)
				}
			}
		}
		if !blank {
			g.rows, g.nums, g.flaws = append(g.rows, column), append(g.nums, c+1), append(g.flaws, spoilt)
		}
	}
	return nil
}

// cell returns what stands in a cell above the headings.
func (g *grid) cell(name string) (text string, ok bool) {
	column, row := cellAt(name)
	i := slices.Index(g.aboveNums, row)
	if i < 0 || column >= len(g.above[i]) {
		return "", false
	}
	return strings.TrimSpace(g.above[i][column]), true
}

// behind returns what stands behind a text in the cell that starts with it, or
// else in the next cell to the right that is filled.
func behind(row []string, text string, first bool) (answer string, col int) {
	for k, c := range row {
		if len(c) >= len(text) && strings.EqualFold(c[:len(text)], text) {
			if rest := strings.Trim(c[len(text):], " :\t"); rest != "" {
				return rest, k
			}
			for at := k + 1; at < len(row); at++ {
				if row[at] != "" {
					return row[at], at
				}
			}
		}
		if first && c != "" {
			break
		}
	}
	return "", -1
}

// after returns what stands behind a text above the headings, and where. n is how
// many different answers there are.
func (g *grid) after(text string) (answer, cell string, n int) {
	for i, row := range g.above {
		if rest, col := behind(row, text, false); rest != "" && rest != answer {
			answer, cell, n = rest, columnName(col)+strconv.Itoa(g.aboveNums[i]), n+1
		}
	}
	return answer, cell, n
}

// mapped reads the sheets of one file through the map.
func (r *reader) mapped(file string, sheets []sheet, alone bool) {
	m := r.opt.Map
	fail := func(name string, line int, found, expected, mend string) {
		r.unread = true
		r.faults.add(Fault{File: name, Line: line, Text: say(found, expected, mend)})
	}
	chosen := sheets
	if len(m.sheets) > 0 && sheets[0].title != "" {
		chosen = nil
		var titles []string
		for _, sh := range sheets {
			titles = append(titles, sh.title)
		}
		for _, want := range m.sheets {
			i := slices.IndexFunc(titles, func(s string) bool { return fold(s) == fold(want) })
			if i < 0 {
				mend := didYouMean(want, titles)
				fail(file, 0, fmt.Sprintf("no sheet %q, which %s names", want, m.Name), "one of "+someOf(titles), mend)
				continue
			}
			chosen = append(chosen, sheets[i])
		}
	}
	var grids []*grid
	fewest := -1
	for _, sh := range chosen {
		g, err := m.look(sh)
		if err != nil {
			if len(chosen) == 1 || len(m.sheets) > 0 {
				fail(sh.name, err.line, err.found, err.expected, err.mend)
			}
			continue
		}
		if grids = append(grids, g); fewest < 0 || g.lacks < fewest {
			fewest = g.lacks
		}
	}
	var passed []string
	told := false
	for _, g := range grids {
		if len(m.sheets) == 0 && len(sheets) > 1 && (g.lacks > fewest || fewest > 0 && told) {
			passed = append(passed, g.title)
			continue
		}
		told = true
		r.throughMap(g, alone && len(chosen) == 1)
	}
	switch {
	case len(grids) == 0 && len(chosen) > 1:
		fail(file, 0, "no sheet that "+m.Name+" can read", "one with the headings it names", "name it in the map: sheet = \"...\"")
	case len(passed) > 0 && fewest == 0:
		r.note("%s: sheets passed over, since they lack columns of %s: %s", file, m.Name, someOf(passed))
	}
}

// throughMap reads one sheet whose headings were found.
func (r *reader) throughMap(g *grid, alone bool) {
	m := r.opt.Map
	r.comma = g.comma
	r.tellHidden(&g.sheet)
	fail := func(line int, found, expected, mend string) {
		r.unread = true
		r.faults.add(Fault{File: g.name, Line: line, Text: say(found, expected, mend)})
	}
	if len(g.head) > maxColumns {
		fail(g.line, plural(len(g.head), "column"), fmt.Sprintf("at most %d", maxColumns), "")
		return
	}
	if err := g.err; err != nil {
		fail(err.line, err.found, err.expected, err.mend)
		return
	}
	before := len(r.faults.List)
	b := m.bind(r, g)
	if b == nil || len(r.faults.List) > before {
		r.unread = true
		return
	}
	if g.turned != nil {
		r.note("%s: turned: the line of a record is the number of its column in the file", g.name)
	}
	var barren, hashed []int
	rows, skipped, sections, end := 0, 0, 0, 0
	var padded []string
	for {
		cells, line, flaws, err := g.next()
		if err != nil {
			fail(err.line, err.found, err.expected, err.mend)
			return
		}
		if cells == nil {
			break
		}
		if start, over := m.over(cells, line, end); over {
			r.note("%s: read as far as line %d, %s", g.name, line, start)
			break
		}
		end = line + lineEnds(cells)
		if !m.hash && strings.HasPrefix(cells[0], "#") {
			hashed = append(hashed, line)
			continue
		}
		if g.turned == nil && b.section(cells, line) || slices.Equal(cells, g.lastHead) {
			sections++
			continue
		}
		if n := len(cells); n > len(g.head) && slices.IndexFunc(cells[len(g.head):], func(s string) bool { return s != "" }) < 0 {
			cells = cells[:len(g.head)]
		} else if n != len(g.head) && (n > len(g.head) || n < b.last && g.title == "") {
			mend := "add or take out " + g.between + "s; a cell that holds a " + g.between + " stands in quotes"
			if g.title != "" {
				mend = "clear those beyond the headings"
			}
			if n < len(g.head) && len(words(cells)) < 3 {
				mend = fmt.Sprintf("where the rows end here, say so in %s: until = %q", m.Name, words(cells)[0])
			}
			fail(line, plural(n, "cell"), fmt.Sprintf("%d, one for each heading on line %d", len(g.head), g.line), mend)
			continue
		} else if n < len(g.head) {
			padded = append(append(padded[:0], cells...), make([]string, len(g.head)-n)...)
			cells = padded
		}
		if b.skips(cells) {
			skipped++
			continue
		}
		b.carry(cells)
		if rows++; !b.spoilt(g, line, cells, flaws, rows == 1) && !b.take(line, cells) {
			barren = append(barren, line)
		}
	}
	if sections > 0 {
		r.note("%s: %s between the samples taken for headings: those of %s stand there again", g.name, plural(sections, "line"), m.Name)
	}
	if skipped > 0 {
		r.note("%s: %s passed over, as %s says under skip", g.name, plural(skipped, "row"), m.Name)
	}
	if len(barren) > 0 {
		r.note("%s: %s without a value that %s reads: line%s", g.name, plural(len(barren), "row"), m.Name, numbers(barren))
	}
	if len(hashed) > 0 && rows > 0 {
		r.note("%s: %s passed over, since it starts with #: line%s (comments = false in a map reads such rows)", g.name, plural(len(hashed), "row"), numbers(hashed))
	}
	switch {
	case rows > 0 || skipped > 0:
	case alone:
		found := "headings but no rows"
		if len(hashed) > 0 {
			found += fmt.Sprintf(" (%s with # passed over)", plural(len(hashed), "line"))
		}
		fail(0, found, "a row for each record below line "+strconv.Itoa(g.line), "fill in the sheet")
	default:
		r.empty = append(r.empty, g.name)
	}
}

// over reports whether the rows end above this one, and where.
func (m *Map) over(cells []string, line, end int) (start string, over bool) {
	for _, u := range m.until {
		if u == "" {
			if end > 0 && line > end+1 {
				return "above an empty line", true
			}
			continue
		}
		if w := words(cells); len(w) > 0 && len(w[0]) >= len(u) && strings.EqualFold(w[0][:len(u)], u) {
			return "where " + strconv.Quote(u) + " stands", true
		}
	}
	return "", false
}

// words lists the cells that are filled.
func words(cells []string) (out []string) {
	for _, c := range cells {
		if c != "" {
			out = append(out, c)
		}
	}
	return out
}

// lineEnds counts the line ends inside a row's cells.
func lineEnds(cells []string) (n int) {
	for _, c := range cells {
		n += strings.Count(c, "\n")
	}
	return n
}

// numbers lists line numbers, at most ten.
func numbers(list []int) string {
	out := ""
	if len(list) > 1 {
		out = "s"
	}
	for i, n := range list[:min(len(list), 10)] {
		if i > 0 {
			out += ","
		}
		out += " " + strconv.Itoa(n)
	}
	if len(list) > 10 {
		out += " ..."
	}
	return out
}

// unturned gives the place of a fault in a turned sheet as the file has it: a
// record stands in a column there, its field on a line.
func (f Fault) unturned(lines []int) Fault {
	if lines == nil {
		return f
	}
	column, field := f.Line, f.Pos
	f.Line, f.Pos = 0, column
	if field > 0 {
		f.Line = lines[field-1]
	}
	f.Column = fmt.Sprintf("%s (%s)", columnName(column-1), f.Column)
	return f
}
