package intake

import (
	"cmp"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"carryover/dataset/unit"
)

// draft is a sheet map that is being written.
type draft struct {
	*probe
	out              Proposal
	top, set         []string
	entries, asked   []string // columns as "heading = meaning"; what they leave open
	noUnit, noMethod []string // analytes whose headings say none
	withUnits        bool     // units stand in columns of their own
}

// maxMap is how many lines a proposed map should have at most.
const maxMap = 30

// propose writes the sheet map that the probe suggests.
func (p *probe) propose() Proposal {
	d := &draft{probe: p}
	d.out = Proposal{File: p.name, Turned: p.turnedOver}
	for i := p.at - p.deep; i < p.at; i++ {
		d.out.Headings = append(d.out.Headings, p.nums[i])
	}
	d.sections()
	d.findBed()
	long := p.long()
	for i := range p.columns {
		if c := &p.columns[i]; long && c.measured {
			c.measured, c.why = false, "beside the column of values"
		}
	}
	d.shapeOf()
	for i := range p.columns {
		c, values := &p.columns[i], d.below(i)
		if c.measured && len(values) > 0 && !slices.ContainsFunc(values, func(s string) bool { return strings.ContainsAny(s, "0123456789") || isNothing(s) }) {
			c.measured, c.why = false, "no figures below it"
		}
	}
	d.figures(long)
	d.where()
	d.when()
	d.who()
	d.deepness()
	d.rest(long)
	names := d.measure(long)
	d.finish(long, names)
	return d.out
}

// tomlText quotes a text as TOML.
func tomlText(s string) string {
	if strings.ContainsAny(s, `"\`) && !strings.ContainsAny(s, "'\n\t") {
		return "'" + s + "'"
	}
	return strconv.Quote(s)
}

func tomlList(texts []string) string {
	quoted := make([]string, len(texts))
	for i, s := range texts {
		quoted[i] = tomlText(s)
	}
	return "[" + strings.Join(quoted, ", ") + "]"
}

// column names a column as a map does.
func (p *probe) column(i int) string {
	h, nth, many := p.head[i], 0, 0
	for k, s := range p.head {
		if fold(s) == fold(h) {
			many++
			if k <= i {
				nth++
			}
		}
	}
	switch {
	case h == "":
		return "#" + strconv.Itoa(i+1)
	case many > 1:
		return fmt.Sprintf("%s #%d", h, nth)
	}
	return h
}

// ask adds a line with a question mark.
func (d *draft) ask(key, value, why string) string {
	d.out.Open++
	return remark(key+" = "+value, why)
}

func remark(line, why string) string {
	if why != "" {
		line += " # " + why
	}
	return line
}

// sections leaves out lines between the samples that say again what stands
// above the headings, where the headings stand there again too.
func (d *draft) sections() {
	again := func(cells []string) bool { return slices.Equal(cells, d.rows[d.at-1]) }
	if !slices.ContainsFunc(d.rows[d.at:], again) {
		return
	}
	var starts []string
	for _, row := range d.above {
		before, _, _ := strings.Cut(append(words(row), "")[0], ":")
		starts = append(starts, before)
	}
	kept, nums, flaws := slices.Clone(d.rows[:d.at]), slices.Clone(d.nums[:d.at]), slices.Clone(d.flaws[:d.at])
	for i := d.at; i < len(d.rows); i++ {
		first := words(d.rows[i])[0]
		if again(d.rows[i]) || slices.ContainsFunc(starts, func(s string) bool { return s != "" && strings.HasPrefix(first, s) }) {
			continue
		}
		kept, nums, flaws = append(kept, d.rows[i]), append(nums, d.nums[i]), append(flaws, d.flaws[i])
	}
	d.rows, d.nums, d.flaws = kept, nums, flaws
}

// findBed prefers the column that holds beds of the book.
func (d *draft) findBed() {
	if len(d.r.opt.Beds) == 0 {
		return
	}
	best := 0
	for i, c := range d.columns {
		if c.measured {
			continue
		}
		n, values := 0, distinct(d.below(i))
		for _, v := range values {
			if d.knownBed(v) != "" {
				n++
			}
		}
		if n > best && 2*n >= len(values) {
			best = n
			d.role["bed"] = i
		}
	}
}

func (p *probe) knownBed(text string) string {
	for _, b := range p.r.opt.Beds {
		if fold(b) == fold(text) {
			return b
		}
	}
	return ""
}

// shapeOf says where the sheet's rows stand.
func (d *draft) shapeOf() {
	if !d.only && d.title != "" {
		d.top = append(d.top, "sheet = "+tomlText(d.title))
	}
	if d.turnedOver {
		d.top = append(d.top, "turn = true")
	}
	if d.deep > 1 {
		d.top = append(d.top, fmt.Sprintf("heading_rows = %d", d.deep))
	}
	if d.merged {
		d.top = append(d.top, "merged = true")
	}
	// Rows of words below the last figure are no samples.
	last := len(d.rows)
	for last > d.at && !d.hasFigure(d.rows[last-1]) {
		last--
	}
	if last == d.at || last == len(d.rows) || d.more {
		return
	}
	start := words(d.rows[last])[0]
	if i := strings.IndexByte(start, ':'); i > 0 {
		start = start[:i]
	}
	if i := strings.IndexByte(start, ' '); i > 0 && len(start) > 30 {
		start = start[:i]
	}
	for _, cells := range d.rows[d.at:last] {
		if w := words(cells); strings.HasPrefix(fold(w[0]), fold(start)) {
			return
		}
	}
	d.rows, d.nums, d.flaws = d.rows[:last], d.nums[:last], d.flaws[:last]
	d.top = append(d.top, remark("until = "+tomlText(start), "what stands below is no sample"))
}

func (d *draft) hasFigure(cells []string) bool {
	for i, c := range d.columns {
		if _, value := d.role["value"]; (c.measured || value && d.role["value"] == i) && i < len(cells) && strings.ContainsAny(cells[i], "0123456789") {
			return true
		}
	}
	return false
}

var (
	wordAfter  = regexp.MustCompile(`^[<>]?\s*[\d.,]+\s*[\[(]?\s*(\pL[\pL ]*?)\s*[\])]?$`)
	wordBefore = regexp.MustCompile(`^[\[(]?(\pL+)[\])]?\s*[:<>]?\s*[\d.,]+$`)
	slashed    = regexp.MustCompile(`^(\d{1,2})[-/.](\d{1,2}|\pL{3,})[-/. ](\d{2}|\d{4})$`)
)

// isNothing reports whether a text says that there is no value, whatever the lab.
func isNothing(text string) bool {
	return slices.Contains([]string{"n/a", "na", "-", "--", "---", "*", "**", ".", "none", "nt", "not tested", "not requested", "not analyzed", "not analysed", "missing", "null", "nan", "#n/a"}, strings.ToLower(text))
}

// figures looks at what stands beside or in place of figures.
func (d *draft) figures(long bool) {
	var missing, ratings, below []string
	put := func(to *[]string, s string) {
		if !slices.ContainsFunc(*to, func(x string) bool { return strings.EqualFold(x, s) }) {
			*to = append(*to, s)
		}
	}
	rating := []string{"vl", "l", "ml", "m", "mh", "h", "vh", "b", "n", "a", "o", "e", "d", "s", "low", "very low", "medium", "high", "very high", "optimum", "adequate",
		"excess", "excessive", "deficient", "sufficient", "normal", "good", "ok", "critical", "above optimum", "below optimum", "marginal"}
	for i, c := range d.columns {
		if !c.measured && !(long && i == d.role["value"]) {
			continue
		}
		for _, text := range distinct(d.below(i)) {
			if !strings.ContainsAny(text, "0123456789") {
				if isNothing(text) {
					put(&missing, text)
				} else if !long {
					put(&missing, text+" ?")
				}
				continue
			}
			w := ""
			if m := wordAfter.FindStringSubmatch(text); m != nil {
				w = m[1]
			} else if m := wordBefore.FindStringSubmatch(text); m != nil {
				w = m[1]
			}
			a, known := unit.ByID(c.of.Analyte.Text)
			switch low := strings.ToLower(w); {
			case w == "" || low == "about" || known && soilUnit(a, unit.Form{Factor: 1}, w) == nil || !known && slices.Contains(unit.Names(unit.Mass), low):
			case slices.Contains(rating, low):
				put(&ratings, w)
			case low == "u" || low == "nd" || low == "bdl":
				put(&below, w+" ?")
			default:
				put(&ratings, w+" ?")
			}
		}
	}
	for _, x := range []struct {
		key  string
		list []string
		why  string
	}{{"missing", missing, "cells without a value"}, {"ratings", ratings, "words beside a figure, left out"}, {"below", below, "marks that say: less than this figure"}} {
		if len(x.list) > 0 {
			n := 0
			for _, s := range x.list {
				if strings.HasSuffix(s, " ?") {
					n++
				}
			}
			d.out.Open += n
			d.top = append(d.top, remark(x.key+" = "+tomlList(x.list[:min(len(x.list), 12)]), x.why))
		}
	}
}

// where says which column names the bed.
func (d *draft) where() {
	i, ok := d.role["bed"]
	if !ok || d.columns[i].rank == 1 && d.columns[i].field == "bed" && d.knownIn(i) == 0 {
		delete(d.role, "bed")
		if label, found, _ := d.label("sample", "sample id", "sample name", "field", "field id", "plot", "bed", "location"); found {
			d.set = append(d.set, "bed = {after = "+tomlText(label)+"}")
			return
		}
		why := d.perhaps(func(s string) bool { return !strings.ContainsAny(s, "0123456789") })
		if why == "" && ok {
			why = d.perhaps(func(string) bool { return true })
		}
		d.set = append(d.set, d.ask("bed", `"?"`, cmp.Or(why, "its name, or {column = \"...\"}")))
		return
	}
	from := "column = " + tomlText(d.column(i))
	if slices.ContainsFunc(d.rows[d.at:], func(cells []string) bool { return (i >= len(cells) || cells[i] == "") && d.hasFigure(cells) }) {
		from += ", down = true"
	}
	values := distinct(d.below(i))
	var aside []string // lines that are no samples
	values = slices.DeleteFunc(values, func(v string) bool {
		no := slices.Contains([]string{"average", "averages", "mean", "median", "total", "sum", "maximum", "minimum", "max", "min", "optimum", "target", "blank", "check", "control", "standard", "standard deviation"}, strings.ToLower(v)) && d.knownBed(v) == ""
		if no {
			aside = append(aside, v)
		}
		return no
	})
	if len(aside) > 0 {
		d.top = append(d.top, fmt.Sprintf("skip = {column = %s, is = %s} # no samples", tomlText(d.column(i)), tomlList(aside)))
	}
	if d.r.opt.Beds == nil || !slices.ContainsFunc(values, func(v string) bool { return d.knownBed(v) != v }) {
		d.set = append(d.set, "bed = {"+from+"}")
		return
	}
	var pairs []string
	for _, v := range values {
		b := d.knownBed(v)
		if b == "" {
			d.out.Open++
			b = "?"
			if near := d.nearBeds(v); near != "" {
				d.set = append(d.set, "# "+v+": "+near+"?")
			}
		}
		pairs = append(pairs, tomlText(v)+" = "+tomlText(b))
	}
	d.set = append(d.set, "bed = {"+from+", lookup = {"+strings.Join(pairs, ", ")+"}}")
}

// perhaps names the first column that is not understood and whose cells all look
// like it.
func (d *draft) perhaps(like func(string) bool) string {
	for i, c := range d.columns {
		values := distinct(d.below(i))
		if c.measured || c.why != "" || len(values) == 0 || slices.ContainsFunc(values, func(s string) bool { return !like(s) }) {
			continue
		}
		if k, ok := d.role[c.field]; !ok || k != i {
			return fmt.Sprintf("perhaps {column = %s}: %s", tomlText(d.column(i)), shorten(strings.Join(values, ", ")))
		}
	}
	return ""
}

// nearBeds lists beds of the book whose name is in the text, or near it.
func (d *draft) nearBeds(text string) string {
	var in []string
	for _, b := range d.r.opt.Beds {
		if strings.Contains(fold(text), fold(b)) {
			in = append(in, b)
		}
	}
	if in == nil {
		in = unit.Near(text, d.r.opt.Beds)
	}
	return strings.Join(in[:min(len(in), 3)], " or ")
}

func (d *draft) knownIn(col int) (n int) {
	for _, v := range distinct(d.below(col)) {
		if d.knownBed(v) != "" {
			n++
		}
	}
	return n
}

// when says where the day of sampling stands.
func (d *draft) when() {
	i, ok := d.role["date"]
	var values []string
	switch label, found, text := d.label("date sampled", "sampled", "sample date", "sampling date", "date of sampling", "collected", "date collected", "collection date", "date taken"); {
	case ok:
		values = distinct(d.below(i))
		from := "column = " + tomlText(d.column(i))
		if len(values) > 0 && strings.Contains(values[0], ":") {
			from += `, match = '^(\S+)'`
			values[0], _, _ = strings.Cut(values[0], " ")
		}
		d.set = append(d.set, "date = {"+from+"}")
	case found:
		values = []string{text}
		d.set = append(d.set, "date = {after = "+tomlText(label)+"}")
	default:
		why := cmp.Or(d.perhaps(func(s string) bool {
			_, err := dates{last: d.r.opt.Today.Year() + 1, layout: "DMY"}.read(s)
			_, again := dates{last: d.r.opt.Today.Year() + 1, layout: "MDY"}.read(s)
			return (err == nil || again == nil) && len(s) > 4
		}), "day of sampling: 2026-10-28, {column = \"...\"} or {after = \"...\"}")
		if found := strings.HasPrefix(why, "perhaps"); found {
			why += "" // a column of days
		} else if m := regexp.MustCompile(`\d{4}-\d\d-\d\d`).FindString(d.name); m != "" {
			why = `perhaps {name_of = "file", match = '\d{4}-\d\d-\d\d'}: ` + m
		} else if k, ok := d.role["received"]; ok {
			why = "day of sampling; " + tomlText(d.column(k)) + " is another day"
		}
		d.set = append(d.set, d.ask("date", `"?"`, why))
		return
	}
	order, why, short := "", "", ""
	for _, v := range values {
		m := slashed.FindStringSubmatch(v)
		if m == nil {
			continue
		}
		if len(m[3]) == 2 {
			short = v
		}
		a, _ := strconv.Atoi(m[1])
		b, err := strconv.Atoi(m[2])
		switch {
		case err != nil: // a month's name
		case a > 12 && order != "MDY":
			order, why = "DMY", v
		case b > 12 && order != "DMY":
			order, why = "MDY", v
		case a > 12 || b > 12:
			order, why = "?", v+" and others disagree"
		case order == "" && d.r.opt.Dates == "":
			order, why = "?", v+": MDY or DMY?"
		}
		if order == "?" && (a > 12) != (b > 12) && !strings.Contains(why, "disagree") {
			order, why = map[bool]string{true: "DMY", false: "MDY"}[a > 12], v
		}
	}
	switch order {
	case "":
	case "?":
		d.top = append(d.top, d.ask("dates", `"?"`, why))
	default:
		d.top = append(d.top, remark("dates = "+tomlText(order), "as "+why+" shows"))
	}
	if short != "" {
		d.top = append(d.top, remark("century = 2000", "of years such as "+short))
	}
}

// label finds a text above the headings that starts with one of the words, and
// what stands behind it.
func (d *draft) label(starts ...string) (label string, found bool, text string) {
	for _, row := range d.above {
		for _, c := range row {
			before, _, cut := strings.Cut(c, ":")
			if cut {
				before += ":"
			}
			if !slices.Contains(starts, strings.ToLower(strings.Trim(before, ": "))) {
				continue
			}
			if text, _, n := d.after(before); n == 1 {
				return before, true, text
			}
		}
	}
	return "", false, ""
}

var depthIn = regexp.MustCompile(`\d+ ?(?:-|to) ?\d+ ?(in|cm)\b`)

// deepness says where the sampled depth stands.
func (d *draft) deepness() {
	known := false
	for _, f := range []string{"depth", "depth from", "depth to"} {
		i, ok := d.role[f]
		if !ok {
			continue
		}
		known = true
		from, u := "column = "+tomlText(d.column(i)), ""
		for _, w := range strings.FieldsFunc(strings.ToLower(d.head[i]), func(c rune) bool { return c == ' ' || c == '(' || c == ')' || c == ',' }) {
			if _, ok := unit.Factor(w, unit.Length); ok {
				u = w
			}
		}
		own := slices.ContainsFunc(d.below(i), func(s string) bool { return strings.ContainsAny(strings.ToLower(s), `imcn"'`) })
		switch {
		case u != "":
			from += ", unit = " + tomlText(u)
		case !own:
			d.set = append(d.set, d.ask(strings.ReplaceAll(f, " ", "_"), "{"+from+`, unit = "?"}`, "in or cm?"))
			continue
		}
		d.set = append(d.set, strings.ReplaceAll(f, " ", "_")+" = {"+from+"}")
	}
	if p := d.profileOf(); known || p != nil && p.depth != "" {
		return
	}
	if label, found, text := d.label("depth", "sample depth", "sampling depth", "depth sampled"); found && depthUnit(text) == nil {
		d.set = append(d.set, "depth = {after = "+tomlText(label)+"}")
		return
	}
	if i, ok := d.role["bed"]; ok {
		values := d.below(i)
		if m := depthIn.FindStringSubmatch(strings.Join(values, "\n")); m != nil && !slices.ContainsFunc(values, func(s string) bool { return !depthIn.MatchString(s) }) {
			d.set = append(d.set, fmt.Sprintf(`depth = {column = %s, match = '(\d+ ?(?:-|to) ?\d+) ?%s\b', unit = %q}`, tomlText(d.column(i)), m[1], m[1]))
			return
		}
	}
	if !slices.ContainsFunc(d.columns, func(c probed) bool { return c.measured && c.of.DepthTo == 0 }) && !d.isLong() {
		return // each heading has its own
	}
	why := d.perhaps(func(s string) bool { return regexp.MustCompile(`^\d+ ?(-|to) ?\d+`).MatchString(s) && len(s) < 12 })
	d.set = append(d.set, d.ask("depth", `"?"`, cmp.Or(why, `as "0-6 in"; or take it out`)))
}

func (d *draft) isLong() bool {
	return !slices.ContainsFunc(d.columns, func(c probed) bool { return c.measured })
}

// who says which lab it was.
func (d *draft) who() {
	if i, ok := d.role["lab"]; ok {
		d.set = append(d.set, "lab = {column = "+tomlText(d.column(i))+"}")
		if v := distinct(d.below(i)); len(v) == 1 {
			d.labName = v[0]
		}
		return
	}
	if label, found, text := d.label("lab", "laboratory", "tested by"); found {
		d.labName = text
		d.set = append(d.set, "lab = {after = "+tomlText(label)+"}")
		return
	}
	above, first := "", ""
	for _, row := range d.above {
		for _, c := range words(row) {
			above += "\n" + fold(c)
			if first == "" && !d.turnedOver && !strings.Contains(c, ":") && strings.IndexFunc(c, unicode.IsLetter) >= 0 {
				first = c
			}
		}
	}
	for _, name := range slices.Sorted(keysOf(d.r.opt.Labs)) {
		if strings.Contains(above, fold(name)) {
			d.labName = name
			d.set = append(d.set, remark("lab = "+tomlText(name), "as it stands above the headings"))
			return
		}
	}
	why := "its name, always spelt the same way"
	if first != "" {
		why += "; above the headings stands " + tomlText(shorten(first))
	}
	d.set = append(d.set, d.ask("lab", `"?"`, why))
}

// rest binds what else the sheet tells, and says what is left out.
func (d *draft) rest(long bool) {
	for _, f := range []string{"report", "site", "sample", "cores", "timing", "note", "analyte", "value", "unit", "method"} {
		i, ok := d.role[f]
		if !ok || !long && slices.Contains([]string{"analyte", "value", "unit", "method"}, f) || d.role["bed"] == i && d.hasBed() {
			continue
		}
		d.set = append(d.set, f+" = {column = "+tomlText(d.column(i))+"}")
	}
}

func (d *draft) hasBed() bool { _, ok := d.role["bed"]; return ok }

// profileOf returns what book.toml says of the sheet's lab.
func (d *draft) profileOf() *profile {
	if d.labName == "" {
		return nil
	}
	return d.r.profile(d.labName)
}

// meaningOf writes what a heading means, with question marks where it leaves
// something open, and the questions.
func (d *draft) meaningOf(h unit.Heading, ownUnit bool) (text string, questions []string) {
	what, ask := h.Analyte.Text, false
	for _, o := range h.Open {
		if (!strings.HasPrefix(o, "unit:") || h.Unit.From != "") && o != "which method?" {
			questions = append(questions, o)
		}
	}
	a, known := unit.ByID(what)
	if f := h.Form; known && f.Text != "" && f.Text != what {
		if what = f.Text; unit.About(analyteErr(what)) == "form" {
			what = h.Analyte.Text + " as " + f.Text
		}
	} else if !known || f.Text == "" && f.From != "" {
		what, ask = "?", true
	}
	parts := []string{what}
	part := func(p unit.Part, missing *[]string, needed bool) {
		switch {
		case p.Text != "":
			parts = append(parts, p.Text)
		case p.From != "":
			parts, ask = append(parts, "?"), true
		case needed && known:
			*missing = append(*missing, a.ID)
		}
	}
	p := d.profileOf()
	part(h.Unit, &d.noUnit, known && a.Kind != unit.PH && !ownUnit && (p == nil || p.units[a.ID] == ""))
	part(h.Method, &d.noMethod, known && !a.Plain && (p == nil || p.methods[a.ID] == ""))
	if m := headed(h); m.depth != "" {
		parts = append(parts, m.depth)
	}
	if len(h.Rest) > 0 {
		questions = append(questions, strings.Join(h.Rest, " ")+": not understood")
		if !ask {
			parts, ask = append(parts, "?"), true
		}
	} else if len(questions) > 0 && !ask {
		parts = append(parts, "?")
		ask = true
	}
	if ask {
		d.out.Open += strings.Count(" "+strings.Join(parts, " ")+" ", " ? ")
	}
	return strings.Join(parts, " "), questions
}

func analyteErr(name string) error {
	_, _, err := unit.ParseAnalyte(name, "")
	return err
}

// measure writes the measured columns, or the names of a sheet with a row for
// each analyte.
func (d *draft) measure(long bool) (names bool) {
	entry := func(heading string, h unit.Heading, ownUnit bool) string {
		text, questions := d.meaningOf(h, ownUnit)
		_, ask := readMeaning(d.r.tableNamed("soil_tests"), heading)
		value := tomlText(text)
		if !strings.Contains(" "+text+" ", " ? ") && ask == "" {
			value = "true"
		}
		d.entries = append(d.entries, tomlText(heading)+" = "+value)
		d.asked = append(d.asked, strings.Join(questions, " "))
		if h.Trap != "" {
			d.out.Notes = append(d.out.Notes, fmt.Sprintf("column %q: %s", heading, h.Trap))
		}
		return text
	}
	if long {
		_, units := d.role["unit"]
		_, methods := d.role["method"]
		for _, name := range distinct(d.below(d.role["analyte"])) {
			h := unit.ParseHeading(name)
			before := [2]int{len(d.noUnit), len(d.noMethod)}
			n := len(d.entries)
			switch {
			case h.Aside != "":
				d.entries, d.asked = append(d.entries, tomlText(name)+" = false"), append(d.asked, h.Aside)
			default:
				entry(name, h, units)
				if strings.HasSuffix(d.entries[n], " = true") { // read without a word
					d.entries, d.asked = d.entries[:n], d.asked[:n]
				}
			}
			if methods {
				d.noMethod = d.noMethod[:before[1]]
			}
		}
	}
	for i, c := range d.columns {
		col := Column{Pos: i + 1, Heading: c.heading}
		if v := d.below(i); len(v) > 0 {
			col.Example = v[0]
		}
		switch field := d.fieldOf(i); {
		case c.measured:
			values := d.below(i)
			own := len(values) > 0 && !slices.ContainsFunc(values, func(s string) bool {
				_, u := splitUnit(s)
				a, ok := unit.ByID(c.of.Analyte.Text)
				return !ok || soilUnit(a, unit.Form{Factor: 1}, u) != nil || u == ""
			})
			heading := d.column(i)
			h := c.of
			if beside := i+1 < len(d.columns) && d.columns[i+1].field == "unit" && !long; beside {
				text, questions := d.meaningOf(h, true)
				d.entries = append(d.entries, fmt.Sprintf("%s = {is = %s, unit_column = %s}", tomlText(heading), tomlText(text), tomlText(d.column(i+1))))
				d.asked = append(d.asked, strings.Join(questions, " "))
				d.withUnits = true
				col.As = text
			} else if heading != c.heading && len(h.Rest) == 0 {
				d.entries = append(d.entries, "")
				d.asked = append(d.asked, "")
				text, questions := d.meaningOf(h, own)
				d.entries[len(d.entries)-1], d.asked[len(d.asked)-1] = tomlText(heading)+" = "+tomlText(text), strings.Join(questions, " ")
				col.As = text
			} else {
				col.As = entry(heading, h, own)
			}
			col.Question = d.asked[len(d.asked)-1]
			if col.Question == "" && len(h.Open) > 0 {
				col.Question = strings.Join(h.Open, " ")
			}
		case field != "":
			col.As = field
		case c.field == "unit" && i > 0 && d.columns[i-1].measured && !long:
			col.As = "unit of " + d.columns[i-1].of.Analyte.Text
		case c.why != "":
			col.Question = "left out: " + c.why
		case c.heading != "" || col.Example != "":
			col.Question = "left out: not understood"
			if c.field != "" {
				col.Question = "left out: " + c.field
			}
		}
		d.out.Columns = append(d.out.Columns, col)
	}
	return long
}

// fieldOf returns the field that a column fills in the draft.
func (d *draft) fieldOf(col int) string {
	for _, f := range []string{"bed", "date", "depth", "depth from", "depth to", "lab", "report", "site", "sample", "cores", "timing", "note", "analyte", "value", "unit", "method"} {
		if i, ok := d.role[f]; ok && i == col && slices.ContainsFunc(d.set, func(s string) bool { return strings.HasPrefix(s, strings.ReplaceAll(f, " ", "_")+" = ") }) {
			return f
		}
	}
	return ""
}

func (r *reader) tableNamed(name string) *table {
	for i := range r.tables {
		if r.tables[i].name == name {
			return &r.tables[i]
		}
	}
	return nil
}

// advice finds columns of the lab's own recommendation that give a unit.
func (d *draft) advice() (lines []string) {
	t := d.r.tableNamed("advice")
	drop := []string{"rec", "rec.", "recs", "recommendation", "recommendations", "recommended", "suggested", "required", "requirement", "needed", "apply", "to", "advice", "for"}
	for i, c := range d.columns {
		if c.why != "advice" {
			continue
		}
		ws := slices.DeleteFunc(strings.Fields(c.heading), func(w string) bool { return slices.Contains(drop, strings.ToLower(strings.Trim(w, ":,()"))) })
		for k, w := range ws {
			switch fold(strings.Trim(w, "()")) {
			case "t/a", "tons/a", "ton/a", "tons/acre", "t/acre":
				ws[k] = "ton/acre"
			case "lb/a", "lbs/a", "lbs/acre", "#/a":
				ws[k] = "lb/acre"
			case "lb/1000", "lbs/1000", "lb/m", "lbs/m", "lbs/1000sqft":
				ws[k] = "lb/1000 sq ft"
			}
		}
		if m, ask := otherMeaning(t, strings.Join(ws, " ")); ask == "" && m.unit != "" {
			lines = append(lines, tomlText(d.column(i))+" = "+tomlText(m.name+" "+m.unit))
			d.out.Columns[i].As, d.out.Columns[i].Question = "advice: "+m.name+" "+m.unit, ""
		}
	}
	return lines
}

// finish puts the map together, in at most 30 lines where that is possible.
func (d *draft) finish(long bool, names bool) {
	if u := distinct(d.noUnit); len(u) > 0 {
		d.set = append(d.set, d.ask("unit", `["?"]`, "of "+strings.Join(u, ", ")))
	}
	if m := distinct(d.noMethod); len(m) > 0 {
		d.set = append(d.set, d.ask("method", `["?"]`, "of "+strings.Join(m, ", ")+": several may stand here; or take it out"))
	}
	advice := d.advice()
	var left []string
	for _, c := range d.out.Columns {
		if c.As == "" && c.Heading != "" && c.Example != "" {
			left = append(left, c.Heading)
		}
	}
	lines := []string{"# Proposed for " + d.name + ": answer each ? and import with it."}
	if len(left) > 0 {
		lines = append(lines, "# Left out: "+shorten(strings.Join(left, ", ")))
	}
	for _, n := range d.out.Notes {
		lines = append(lines, "# "+n)
	}
	lines = append(lines, "format = 1")
	lines = append(lines, d.top...)
	lines = append(lines, "[[rows]]", `table = "soil_tests"`)
	head, key := "[rows.columns]", "columns"
	if long {
		head, key = "[rows.names]", "names"
	}
	tail := 0
	if len(advice) > 0 {
		tail = 6 + len(advice)
	}
	asTable := long || d.withUnits || len(lines)+len(d.set)+1+len(d.entries)+tail <= maxMap
	if !asTable {
		lines = append(lines, d.listed(key)...)
	}
	lines = append(append(lines, "[rows.set]"), d.set...)
	if asTable {
		lines = append(lines, head)
		for i, e := range d.entries {
			lines = append(lines, remark(e, d.asked[i]))
		}
	}
	if len(advice) > 0 {
		lines = append(lines, "[[rows]]", `table = "advice"`, "[rows.set]")
		for _, s := range d.set {
			if f, _, _ := strings.Cut(s, " = "); f == "bed" || f == "date" || f == "lab" {
				if strings.Contains(s, `"?"`) {
					d.out.Open += strings.Count(s, `"?"`)
				}
				s, _, _ = strings.Cut(s, " # ")
				lines = append(lines, s)
			}
		}
		lines = append(append(lines, "[rows.columns]"), advice...)
	}
	d.out.Map = strings.Join(lines, "\n") + "\n"
}

// listed writes the measured columns as one list over few lines, with what they
// ask above it.
func (d *draft) listed(key string) (lines []string) {
	line := key + " = ["
	for i, e := range d.entries {
		if d.asked[i] != "" {
			lines = append(lines, "# "+unquote(e[:strings.LastIndex(e, " = ")])+": "+d.asked[i])
		}
	}
	for i, e := range d.entries {
		heading, value := e[:strings.LastIndex(e, " = ")], e[strings.LastIndex(e, " = ")+3:]
		text := unquote(heading)
		if value != "true" {
			text += " = " + unquote(value)
		}
		piece := tomlText(text)
		if i+1 < len(d.entries) {
			piece += ", "
		}
		if len(line)+len(piece) > 100 {
			lines = append(lines, strings.TrimRight(line, " "))
			line = "  "
		}
		line += piece
	}
	return append(lines, line+"]")
}

func unquote(s string) string {
	if t, err := strconv.Unquote(s); err == nil && s[0] == '"' {
		return t
	}
	return strings.Trim(s, "'")
}
