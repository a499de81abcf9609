package intake

import (
	"cmp"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"carryover/dataset/unit"
)

// maxMap is how many lines a proposed map should have at most.
const maxMap = 30

// mapLine is one line of a map: a key with its value, or a remark alone.
type mapLine struct {
	key, value, remark string
	open               int // question marks in value
}

func (l mapLine) String() string {
	text := l.key
	if l.key != "" {
		text += " = " + l.value
	}
	if l.remark != "" {
		text = strings.TrimLeft(text+" # "+onOneLine(l.remark), " ")
	}
	return text
}

// mapEntry is one measured column, or one name of an analyte.
type mapEntry struct {
	name, means string // means is empty where the name says it all
	unitColumn  string
	skip        bool
	questions   string
	open        int
}

// draft is a sheet map that is being written.
type draft struct {
	*probe
	out              Proposal
	long             bool      // the sheet has a row for each analyte
	top, set         []mapLine // keys of the file and of [rows.set]
	entries          []mapEntry
	noUnit, noMethod []string // analytes whose headings say none
	labName          string
	leaf             bool // a report of leaves, not of soil
}

// propose writes the sheet map that the probe suggests.
func (p *probe) propose() Proposal {
	d := &draft{probe: p, long: p.long(), out: Proposal{File: p.name, Turned: p.turnedOver, Headings: slices.Clone(p.nums[p.at-p.deep : p.at])}}
	d.sections()
	d.findBed()
	d.shapeOf()
	for i := range p.columns {
		c, values := &p.columns[i], d.below(i)
		switch {
		case c.measured && d.long:
			c.measured, c.why = false, "beside the column of values"
		case c.measured && len(values) > 0 && !slices.ContainsFunc(values, func(s string) bool { return hasDigit(s) || isNothing(s) }):
			c.measured, c.why = false, "no figures below it"
		}
	}
	d.leaf = d.ofLeaves()
	d.figures()
	d.bed()
	d.date()
	d.lab()
	fields := []string{"report", "site", "sample", "cores", "timing", "note", "analyte", "value", "unit", "method"}
	if d.leaf {
		fields = []string{"part", "note", "analyte", "value", "unit"}
	} else {
		d.depth()
	}
	for _, f := range fields {
		if i, ok := d.column(f); ok && (d.long || !slices.Contains([]string{"analyte", "value", "unit", "method"}, f)) && !d.bound(i) {
			d.put(f, fromColumn(d.named(i)), "")
		}
	}
	d.measure()
	d.finish()
	return d.out
}

// put adds a line under [rows.set].
func (d *draft) put(key, value, remark string) {
	open := 0
	if value == `"?"` || value == `["?"]` || strings.HasSuffix(value, `unit = "?"}`) {
		open = 1
	}
	d.set = append(d.set, mapLine{strings.ReplaceAll(key, " ", "_"), value, remark, open})
}

// atTop adds a line above the blocks.
func (d *draft) atTop(key, value, remark string, open int) {
	d.top = append(d.top, mapLine{key, value, remark, open})
}

// skip adds a condition that passes over rows.
func (d *draft) skip(col int, is []string, remark string) {
	condition := "{column = " + tomlText(d.named(col)) + ", is = " + tomlList(is) + "}"
	if i := slices.IndexFunc(d.top, func(l mapLine) bool { return l.key == "skip" }); i >= 0 {
		d.top[i].value = "[" + d.top[i].value + ", " + condition + "]"
		d.top[i].remark += ", " + remark
		return
	}
	d.atTop("skip", condition, remark, 0)
}

// column returns the column that a field was found in.
func (d *draft) column(field string) (int, bool) {
	i, ok := d.role[field]
	return i, ok
}

// bound reports whether a line under [rows.set] reads the column.
func (d *draft) bound(col int) bool { return d.fieldOf(col) != "" }

// fieldOf returns the field that a column fills in the draft.
func (d *draft) fieldOf(col int) string {
	from := "column = " + tomlText(d.named(col))
	for _, l := range d.set {
		if rest, ok := strings.CutPrefix(l.value, "{"+from); ok && (rest[0] == '}' || rest[0] == ',') {
			return strings.ReplaceAll(l.key, "_", " ")
		}
	}
	return ""
}

// fromColumn writes where a value comes from: a column and what is done with it.
func fromColumn(column string, more ...string) string {
	return "{" + strings.Join(append([]string{"column = " + tomlText(column)}, more...), ", ") + "}"
}

// named names a column as a map does.
func (p *probe) named(i int) string {
	h, nth, many := p.head[i], 0, 0
	for k, s := range p.head {
		if fold(s) == fold(h) {
			if many++; k <= i {
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

// sections leaves out lines between the samples that say again what stands
// above the headings, where the headings stand there again too.
func (d *draft) sections() {
	again := func(cells []string) bool { return slices.Equal(cells, d.rows[d.at-1]) }
	if !slices.ContainsFunc(d.rows[d.at:], again) {
		return
	}
	var starts []string
	for _, row := range d.above {
		if w := words(row); len(w) > 0 {
			before, _, _ := strings.Cut(w[0], ":")
			starts = append(starts, before)
		}
	}
	d.keep(func(cells []string) bool {
		return !again(cells) && !slices.ContainsFunc(starts, func(s string) bool { return s != "" && strings.HasPrefix(words(cells)[0], s) })
	})
}

// keep drops the rows below the headings that are no samples.
func (d *draft) keep(sample func(cells []string) bool) {
	rows, nums, flaws := slices.Clone(d.rows[:d.at]), slices.Clone(d.nums[:d.at]), slices.Clone(d.flaws[:d.at])
	for i := d.at; i < len(d.rows); i++ {
		if sample(d.rows[i]) {
			rows, nums, flaws = append(rows, d.rows[i]), append(nums, d.nums[i]), append(flaws, d.flaws[i])
		}
	}
	d.rows, d.nums, d.flaws = rows, nums, flaws
}

// shapeOf says where the sheet's rows stand.
func (d *draft) shapeOf() {
	if !d.only && d.title != "" {
		d.atTop("sheet", tomlText(d.title), "", 0)
	}
	if d.turnedOver {
		d.atTop("turn", "true", "", 0)
	}
	if d.deep > 1 {
		d.atTop("heading_rows", strconv.Itoa(d.deep), "", 0)
	}
	if d.merged {
		d.atTop("merged", "true", "", 0)
	}
	d.ratings()
	last := len(d.rows) // rows of words below the last figure are no samples
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
		if strings.HasPrefix(fold(words(cells)[0]), fold(start)) {
			return
		}
	}
	d.rows, d.nums, d.flaws = d.rows[:last], d.nums[:last], d.flaws[:last]
	d.atTop("until", tomlText(start), "what stands below is no sample", 0)
}

// ratings passes over rows that rate the figures of others, where a column tells
// them apart.
func (d *draft) ratings() {
	if !slices.ContainsFunc(d.rows[d.at:], d.hasFigure) {
		return
	}
	rates := func(cells []string) bool {
		n := 0
		for i, c := range d.columns {
			if c.measured && i < len(cells) && cells[i] != "" {
				if n++; !isRating(cells[i]) {
					return false
				}
			}
		}
		return n > 0
	}
	for i, c := range d.columns {
		var are, others []string
		for _, cells := range d.rows[d.at:] {
			text := ""
			if i < len(cells) {
				text = cells[i]
			}
			if rates(cells) {
				are = append(are, text)
			} else {
				others = append(others, text)
			}
		}
		if !c.measured && len(are) > 0 && !slices.ContainsFunc(are, func(s string) bool { return s == "" || slices.Contains(others, s) }) {
			d.skip(i, distinct(are), "ratings")
			d.keep(func(cells []string) bool { return !rates(cells) })
			return
		}
	}
}

func (d *draft) hasFigure(cells []string) bool {
	for i, c := range d.columns {
		if (c.measured || d.isValue(i)) && i < len(cells) && hasDigit(cells[i]) {
			return true
		}
	}
	return false
}

func (d *draft) isValue(col int) bool {
	i, ok := d.column("value")
	return d.long && ok && i == col
}

var (
	wordAfter  = regexp.MustCompile(`^[<>]?\s*[\d.,]+\s*[\[(]?\s*(\pL[\pL ]*?)\s*[\])]?$`)
	wordBefore = regexp.MustCompile(`^[\[(]?(\pL+)[\])]?\s*[:<>]?\s*[\d.,]+$`)
	slashed    = regexp.MustCompile(`^(\d{1,2})[-/.](\d{1,2}|\pL{3,})[-/. ](\d{2}|\d{4})$`)
	isoDay     = regexp.MustCompile(`\d{4}-\d\d-\d\d`)
	depthIn    = regexp.MustCompile(`\d+ ?(?:-|to) ?\d+ ?(in|cm)\b`)
	depthBare  = regexp.MustCompile(`^\d+ ?(-|to) ?\d+`)
)

// figures says what stands beside or in place of figures.
func (d *draft) figures() {
	var missing, ratings, below []string
	put := func(to *[]string, s string) {
		if !slices.ContainsFunc(*to, func(x string) bool { return strings.EqualFold(x, s) }) {
			*to = append(*to, s)
		}
	}
	for i, c := range d.columns {
		if !c.measured && !d.isValue(i) {
			continue
		}
		for _, text := range distinct(d.below(i)) {
			if !hasDigit(text) {
				if isNothing(text) {
					put(&missing, text)
				} else if !d.long { // the row may be left out by its name
					put(&missing, text+" ?")
				}
				continue
			}
			m := append(wordAfter.FindStringSubmatch(text), wordBefore.FindStringSubmatch(text)...)
			if m == nil {
				continue
			}
			switch w := m[1]; {
			case c.isUnit(w):
			case isRating(w):
				put(&ratings, w)
			case slices.Contains([]string{"u", "nd", "bdl"}, strings.ToLower(w)):
				put(&below, w+" ?")
			default:
				put(&ratings, w+" ?")
			}
		}
	}
	for _, x := range [...]struct {
		key, remark string
		list        []string
	}{{"missing", "cells without a value", missing}, {"ratings", "words beside a figure, left out", ratings}, {"below", "marks that say: less than this figure", below}} {
		if x.list = x.list[:min(len(x.list), 12)]; len(x.list) > 0 {
			open := 0
			for _, s := range x.list {
				if len(strings.Fields(s)) > 1 {
					open += marks(s)
				}
			}
			d.atTop(x.key, tomlList(x.list), x.remark, open)
		}
	}
}

// findBed prefers the column that holds beds of the book.
func (d *draft) findBed() {
	best := 0
	for i, c := range d.columns {
		if n, values := d.knownIn(i), distinct(d.below(i)); !c.measured && n > best && 2*n >= len(values) {
			best, d.role["bed"] = n, i
		}
	}
}

// knownBed returns the bed of the book that a text names, but for its case.
func (d *draft) knownBed(text string) string {
	for _, b := range d.r.opt.Beds {
		if fold(b) == fold(text) {
			return b
		}
	}
	return ""
}

func (d *draft) knownIn(col int) (n int) {
	for _, v := range distinct(d.below(col)) {
		if d.knownBed(v) != "" {
			n++
		}
	}
	return n
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

// bed says which column names the bed, and what names the book does not know.
func (d *draft) bed() {
	i, ok := d.column("bed")
	if !ok || d.columns[i].rank == 1 && d.columns[i].field == "bed" && d.knownIn(i) == 0 {
		delete(d.role, "bed")
		if label, text := d.label("sample", "sample id", "sample name", "field", "field id", "plot", "bed", "location"); text != "" {
			d.put("bed", "{after = "+tomlText(label)+"}", "")
			return
		}
		why := d.perhaps(func(s string) bool { return !hasDigit(s) })
		if why == "" && ok {
			why = d.perhaps(func(string) bool { return true })
		}
		d.put("bed", `"?"`, cmp.Or(why, `its name, or {column = "..."}`))
		return
	}
	var more []string
	if slices.ContainsFunc(d.rows[d.at:], func(cells []string) bool { return (i >= len(cells) || cells[i] == "") && d.hasFigure(cells) }) {
		more = append(more, "down = true")
	}
	var aside []string // lines that are no samples
	values := slices.DeleteFunc(distinct(d.below(i)), func(v string) bool {
		no := isNoSample(v) && d.knownBed(v) == ""
		if no {
			aside = append(aside, v)
		}
		return no
	})
	if len(aside) > 0 {
		d.skip(i, aside, "no samples")
	}
	open := 0
	if d.r.opt.Beds != nil && slices.ContainsFunc(values, func(v string) bool { return d.knownBed(v) != v }) {
		var pairs []string
		for _, v := range values {
			b := d.knownBed(v)
			if near := d.nearBeds(v); b == "" && near != "" {
				d.set = append(d.set, mapLine{remark: v + ": " + near + "?"})
			}
			if b == "" {
				open, b = open+1, "?"
			}
			pairs = append(pairs, tomlText(v)+" = "+tomlText(b))
		}
		more = append(more, "lookup = {"+strings.Join(pairs, ", ")+"}")
	}
	d.put("bed", fromColumn(d.named(i), more...), "")
	d.set[len(d.set)-1].open = open
}

// perhaps names the first column that is not understood and whose cells all look
// like it.
func (d *draft) perhaps(like func(string) bool) string {
	for i, c := range d.columns {
		values := distinct(d.below(i))
		if c.measured || c.why != "" || len(values) == 0 || slices.ContainsFunc(values, func(s string) bool { return !like(s) }) {
			continue
		}
		if k, ok := d.column(c.field); !ok || k != i {
			return "perhaps " + fromColumn(d.named(i)) + ": " + shorten(strings.Join(values, ", "))
		}
	}
	return ""
}

// label finds one of the words above the headings, and what stands behind it.
func (d *draft) label(any ...string) (label, text string) {
	for _, row := range d.above {
		for _, c := range row {
			before, _, cut := strings.Cut(c, ":")
			if !slices.Contains(any, strings.ToLower(strings.TrimSpace(before))) {
				continue
			}
			if cut {
				before += ":"
			}
			if text, _, n := d.after(before); n == 1 {
				return before, text
			}
		}
	}
	return "", ""
}

// date says where the day of sampling stands, and how it is written.
func (d *draft) date() {
	var values []string
	label, text := d.label("date sampled", "sampled", "sample date", "sampling date", "date of sampling", "collected", "date collected", "collection date", "date taken")
	if i, ok := d.column("date"); ok {
		values = distinct(d.below(i))
		if len(values) > 0 && strings.Contains(values[0], ":") { // with the time of day
			for k, v := range values {
				values[k], _, _ = strings.Cut(v, " ")
			}
			d.put("date", fromColumn(d.named(i), append(d.gaps(i), `match = '^(\S+)'`)...), "")
		} else {
			d.put("date", fromColumn(d.named(i), d.gaps(i)...), "")
		}
	} else if text != "" {
		values = []string{text}
		d.put("date", "{after = "+tomlText(label)+"}", "")
	} else {
		why := d.perhaps(func(s string) bool {
			last := d.r.opt.Today.Year() + 1
			_, err := dates{last: last, layout: "DMY"}.read(s)
			_, again := dates{last: last, layout: "MDY"}.read(s)
			return (err == nil || again == nil) && len(s) > 4
		})
		if m := isoDay.FindString(d.name); why == "" && m != "" {
			why = `perhaps {name_of = "file", match = '\d{4}-\d\d-\d\d'}: ` + m
		}
		if k, ok := d.column("received"); why == "" && ok {
			why = "day of sampling; " + tomlText(d.named(k)) + " is another day"
		}
		if label, text := d.label("date received", "received", "date reported", "report date", "reported", "date"); why == "" && text != "" {
			why = "perhaps {after = " + tomlText(label) + "}: " + shorten(text)
			if !strings.EqualFold(strings.Trim(label, ": "), "date") {
				why += ", not the day of sampling"
			}
			if order, _ := d.order([]string{text}); order != "?" {
				values = []string{text}
			}
		}
		d.put("date", `"?"`, cmp.Or(why, `day of sampling: 2026-10-28, {column = "..."} or {after = "..."}`))
	}
	if order, why := d.order(values); order == "?" {
		d.atTop("dates", `"?"`, why, 1)
	} else if order != "" {
		d.atTop("dates", tomlText(order), why, 0)
	}
	for _, v := range values {
		if m := slashed.FindStringSubmatch(v); m != nil && len(m[3]) == 2 {
			d.atTop("century", "2000", "of years such as "+v, 0)
			break
		}
	}
}

// gaps lets the empty cells of a column take what stands above them, where those
// of the bed do and no others are empty.
func (d *draft) gaps(col int) []string {
	i, ok := d.column("bed")
	if !ok {
		return nil
	}
	n := 0
	for _, cells := range d.rows[d.at:] {
		empty := func(k int) bool { return k >= len(cells) || cells[k] == "" }
		if !empty(col) || !d.hasFigure(cells) {
			continue
		}
		if n++; !empty(i) {
			return nil
		}
	}
	if n == 0 {
		return nil
	}
	return []string{"down = true"}
}

// order tells which comes first in days such as 10/28/2026; "?" where they do
// not show it, empty where there are none or Options.Dates says it.
func (d *draft) order(values []string) (order, why string) {
	shows := map[string]string{}
	open := ""
	for _, v := range values {
		m := slashed.FindStringSubmatch(v)
		if m == nil {
			continue
		}
		a, _ := strconv.Atoi(m[1])
		b, err := strconv.Atoi(m[2])
		switch {
		case err != nil: // a month's name
		case a > 12:
			shows["DMY"] = v
		case b > 12:
			shows["MDY"] = v
		default:
			open = v
		}
	}
	switch dmy, mdy := shows["DMY"], shows["MDY"]; {
	case dmy != "" && mdy != "":
		return "?", dmy + " and " + mdy + " disagree"
	case dmy != "":
		return "DMY", "as " + dmy + " shows"
	case mdy != "":
		return "MDY", "as " + mdy + " shows"
	case open != "" && d.r.opt.Dates == "":
		return "?", open + ": MDY or DMY?"
	}
	return "", ""
}

// lab says which lab it was.
func (d *draft) lab() {
	if i, ok := d.column("lab"); ok {
		if v := distinct(d.below(i)); len(v) == 1 {
			d.labName = v[0]
		}
		d.put("lab", fromColumn(d.named(i)), "")
		return
	}
	if label, text := d.label("lab", "laboratory", "tested by"); text != "" {
		d.labName = text
		d.put("lab", "{after = "+tomlText(label)+"}", "")
		return
	}
	above, first := "", ""
	for _, row := range d.above {
		w := words(row)
		above += "\n" + fold(strings.Join(w, "\n"))
		if first == "" && len(w) == 1 && !d.turnedOver && !strings.Contains(w[0], ":") && strings.IndexFunc(w[0], unicode.IsLetter) >= 0 {
			first = w[0]
		}
	}
	for _, name := range slices.Sorted(maps.Keys(d.r.opt.Labs)) {
		if strings.Contains(above, fold(name)) {
			d.labName = name
			d.put("lab", tomlText(name), "as it stands above the headings")
			return
		}
	}
	why := "its name, always spelt the same way"
	if first != "" {
		why += "; above the headings stands " + tomlText(shorten(first))
	}
	d.put("lab", `"?"`, why)
}

// profileOf returns what book.toml says of the sheet's lab: nothing, if it says
// nothing.
func (d *draft) profileOf() profile {
	if p := d.r.profile(d.labName); p != nil && d.labName != "" {
		return *p
	}
	return profile{}
}

// depth says where the sampled depth stands.
func (d *draft) depth() {
	known := false
	for _, f := range []string{"depth", "depth from", "depth to"} {
		i, ok := d.column(f)
		if !ok {
			continue
		}
		known = true
		u := ""
		for _, w := range strings.FieldsFunc(strings.ToLower(d.head[i]), func(c rune) bool { return strings.ContainsRune(" (),_", c) }) {
			if _, ok := unit.Factor(w, unit.Length); ok {
				u = w
			}
		}
		switch own := slices.ContainsFunc(d.below(i), func(s string) bool { return strings.ContainsAny(strings.ToLower(s), `imcn"'`) }); {
		case u != "":
			d.put(f, fromColumn(d.named(i), "unit = "+tomlText(u)), "")
		case own:
			d.put(f, fromColumn(d.named(i)), "")
		default:
			d.put(f, fromColumn(d.named(i), `unit = "?"`), "in or cm?")
		}
	}
	if known || d.profileOf().depth != "" {
		return
	}
	if label, text := d.label("depth", "sample depth", "sampling depth", "depth sampled"); depthUnit(text) == nil {
		d.put("depth", "{after = "+tomlText(label)+"}", "")
		return
	}
	if i, ok := d.column("bed"); ok {
		values := d.below(i)
		if m := depthIn.FindStringSubmatch(strings.Join(values, "\n")); m != nil && !slices.ContainsFunc(values, func(s string) bool { return !depthIn.MatchString(s) }) {
			d.put("depth", fromColumn(d.named(i), `match = '(\d+ ?(?:-|to) ?\d+) ?`+m[1]+`\b'`, "unit = "+tomlText(m[1])), "")
			return
		}
	}
	if d.long || slices.ContainsFunc(d.columns, func(c probed) bool { return c.measured && c.of.DepthTo == 0 }) { // else each heading has its own
		why := d.perhaps(func(s string) bool { return depthBare.MatchString(s) && len(s) < 12 })
		d.put("depth", `"?"`, cmp.Or(why, `as "0-6 in"; or take it out`))
	}
}

// entry says what a heading or name means, with question marks where it leaves
// something open.
func (d *draft) entry(name string, h unit.Heading, ownUnit, ownMethod bool) (e mapEntry, as string) {
	e.name = name
	var asked []string
	for _, o := range h.Open {
		if (!strings.HasPrefix(o, "unit:") || h.Unit.From != "") && o != "which method?" {
			asked = append(asked, o)
		}
	}
	if len(h.Rest) > 0 {
		asked = append(asked, strings.Join(h.Rest, " ")+": not understood")
		if h.Method.Text == "" && h.Analyte.Text != "" {
			asked = append(asked, `(a method? then "other: `+strings.Join(h.Rest, " ")+`")`)
			ownMethod = true // it is asked for on the column
		}
	}
	a, known := unit.ByID(h.Analyte.Text)
	var parts []string
	switch f := h.Form; {
	case !known || f.Text == "" && f.From != "":
		parts = append(parts, "?")
	case f.Text == "" || f.Text == a.ID:
		parts = append(parts, a.ID)
	default:
		if _, _, err := unit.ParseAnalyte(f.Text, ""); err != nil { // NO3 alone is not sure
			parts = append(parts, a.ID, "as")
		}
		parts = append(parts, f.Text)
	}
	p := d.profileOf()
	part := func(x unit.Part, missing *[]string, needed bool) {
		switch {
		case x.Text != "":
			parts = append(parts, x.Text)
		case x.From != "":
			parts = append(parts, "?")
		case known && needed:
			*missing = append(*missing, a.ID)
		}
	}
	part(h.Unit, &d.noUnit, a.Kind != unit.PH && !ownUnit && p.units[a.ID] == "")
	part(h.Method, &d.noMethod, !a.Plain && !ownMethod && p.methods[a.ID] == "")
	if m := headed(h); m.depth != "" {
		parts = append(parts, m.depth)
	}
	if len(asked) > 0 && !slices.Contains(parts, "?") {
		parts = append(parts, "?")
	}
	as = strings.Join(parts, " ")
	e.open = marks(as)
	e.questions = strings.Join(asked, " ")
	if _, ask := readMeaning(d.r.tableNamed("soil_tests"), name); e.open > 0 || ask != "" || marks(name) > 0 {
		e.means = as
	}
	if h.Trap != "" {
		d.out.Notes = append(d.out.Notes, fmt.Sprintf("column %q: %s", name, h.Trap))
	}
	return e, as
}

// measure lists the columns, and says what the measured ones mean, or the names
// of a sheet with a row for each analyte.
func (d *draft) measure() {
	if d.long {
		i, _ := d.column("analyte")
		_, units := d.column("unit")
		_, methods := d.column("method")
		for _, name := range distinct(d.below(i)) {
			h := headingOf(shorten(name))
			if d.leaf {
				if e := d.leafEntry(name, h, units); e.means != "" {
					d.entries = append(d.entries, e)
				}
			} else if h.Aside != "" {
				d.entries = append(d.entries, mapEntry{name: name, skip: true, questions: h.Aside})
			} else if e, _ := d.entry(name, h, units, methods); e.means != "" {
				d.entries = append(d.entries, e)
			}
		}
	}
	for i, c := range d.columns {
		col := Column{Pos: i + 1, Heading: c.heading, As: d.fieldOf(i)}
		values := d.below(i)
		if len(values) > 0 {
			col.Example = values[0]
		}
		if k := d.again(i); k >= 0 {
			c.measured, c.why = false, fmt.Sprintf("%s again, which column %s has: a report has one, or say how they differ", c.of.Analyte.Text, d.named(k))
			d.columns[i] = c
		}
		switch {
		case c.measured:
			beside := i+1 < len(d.columns) && d.columns[i+1].field == "unit"
			own := beside || len(values) > 0 && !slices.ContainsFunc(values, func(s string) bool { _, u := splitUnit(s); return u == "" || !c.isUnit(u) })
			var e mapEntry
			if d.leaf {
				e = d.leafEntry(d.named(i), c.of, own)
				col.As = cmp.Or(e.means, d.named(i))
			} else {
				e, col.As = d.entry(d.named(i), c.of, own, false)
				if why := d.implausible(c, values); why != "" && e.open == 0 {
					e.means, e.open = col.As+" ?", 1
					e.questions = strings.TrimSpace(e.questions + " " + why)
					col.As = e.means
				}
			}
			if beside {
				e.unitColumn, e.means = d.named(i+1), col.As
			}
			if col.Question = e.questions; e.questions == "" {
				col.Question = strings.Join(c.of.Open, " ")
			}
			d.entries = append(d.entries, e)
		case c.of.Trap != "" && len(values) > 0:
			d.out.Notes = append(d.out.Notes, fmt.Sprintf("column %q: %s", d.named(i), c.of.Trap))
			col.Question = cmp.Or(c.why, c.of.Trap)
		case col.As != "":
		case c.field == "unit" && i > 0 && d.columns[i-1].measured:
			col.As = "unit of " + d.columns[i-1].of.Analyte.Text
		case c.heading != "" || col.Example != "":
			col.Question = cmp.Or(c.why, c.field, "not understood")
		}
		d.out.Columns = append(d.out.Columns, col)
	}
}

// again returns the column to the left that holds the same analyte as far as the
// headings tell, or -1.
func (d *draft) again(col int) int {
	c := d.columns[col]
	if !c.measured || c.of.Analyte.Text == "" {
		return -1
	}
	return slices.IndexFunc(d.columns[:col], func(x probed) bool {
		return x.measured && x.of.Analyte.Text == c.of.Analyte.Text && x.of.Method.Text == c.of.Method.Text && x.of.DepthFrom == c.of.DepthFrom && x.of.DepthTo == c.of.DepthTo
	})
}

// advice finds columns of the lab's own recommendation that give a unit.
func (d *draft) advice() (lines []mapLine) {
	for i, c := range d.columns {
		if c.why != "advice" {
			continue
		}
		switch m, ask := otherMeaning(d.r.tableNamed("advice"), adviceWords(c.heading)); {
		case ask == "" && m.unit != "":
			lines = append(lines, mapLine{key: tomlText(d.named(i)), value: tomlText(m.name + " " + m.unit)})
			d.out.Columns[i].As, d.out.Columns[i].Question = "advice: "+m.name+" "+m.unit, ""
		case ask != "" && weighs.MatchString(c.heading) && slices.ContainsFunc(d.below(i), hasDigit):
			name, _, _ := strings.Cut(weighs.ReplaceAllString(adviceWords(c.heading), "\n"), "\n")
			as := cmp.Or(strings.Trim(name, " (,"), "?") + " ?"
			lines = append(lines, mapLine{key: tomlText(d.named(i)), value: tomlText(as), remark: "its unit, as lb/1000 sq ft; or take the line out", open: marks(as)})
			d.out.Columns[i].As, d.out.Columns[i].Question = "advice: "+as, "which unit?"
		}
	}
	return lines
}

var (
	adviceUnit = regexp.MustCompile(`(?i)(^|[\s(,:])(lbs?\.?|pounds?|#|tons?|tonnes?|t|kgs?|g|oz|ounces?|cu\.? ?yds?\.?|cubic yards?|yds?3|yd\^3|m3|gal|gallons?)\s*(?:of\s+)?([a-z][a-z0-9]*\s*)?(?:/|per\b)\s*` +
		`(1,?000 ?sq\.? ?(?:ft\.?|feet)|1,?000 ?ft(?:2|\^2)|1,?000 ?sf|1,?000 ?square feet|msf|m|100 ?sq\.? ?ft\.?|100 ?ft2|acres?|ac\.?|a|ha|hectare|m2|sq\.? ?m)(\)|$)`)
	// weighs finds words that weigh or measure what is spread; a name holds none.
	weighs  = regexp.MustCompile(`(?i)(^|[\s(/])(lbs?|pounds?|tons?|tonnes?|kg|sq|acres?|ha|cu|yds?3?|per|msf|1,?000)([\s./)]|$)|/\s*(a|ac|acre|ha|m2|1,?000)\b|\bft2|#/`)
	advises = regexp.MustCompile(`(?i)^[(:,]*(rec|recs|recommendations?|recommended|suggested|required|requirement|needed|apply|to|advice|for)[.:,)]*$`)
)

// adviceWords leaves out the words of a heading that only say that it is advice.
func adviceWords(heading string) string {
	return strings.Join(slices.DeleteFunc(strings.Fields(heading), advises.MatchString), " ")
}

// adviceMeaning reads a text such as "Lime lb/1000 sq. ft." whose unit is an
// amount on an area. found: it holds one, or part of one, so that nothing else
// can be meant.
func adviceMeaning(t *table, text string) (m meaning, ask string, found bool) {
	text = strings.TrimSpace(strings.NewReplacer("\u00b2", "2", "\u00b3", "3").Replace(text))
	unclear := say("its unit is not understood", "what is advised and one unit, as "+t.example(), "")
	at := adviceUnit.FindStringSubmatchIndex(text)
	if at == nil || at[1] != len(text) {
		return m, unclear, weighs.MatchString(text) && !bareAmount(t, text)
	}
	part := func(k int) string {
		if at[2*k] < 0 {
			return ""
		}
		return strings.ToLower(strings.TrimRight(strings.TrimSpace(text[at[2*k]:at[2*k+1]]), "."))
	}
	name := strings.Trim(text[:at[2]], " (,:")
	if weighs.MatchString(name) {
		return m, unclear, true
	}
	top, under := part(2), strings.NewReplacer(",", "", ".", "", " ", "").Replace(part(4))
	switch {
	case strings.HasPrefix(under, "1000"), under == "msf", under == "m":
		under = "1000 sq ft"
	case strings.HasPrefix(under, "100"):
		under = "100 sq ft"
	case strings.HasPrefix(under, "ac"), under == "a":
		under = "acre"
	case under == "hectare":
		under = "ha"
	case under == "sqm":
		under = "m2"
	}
	switch {
	case top == "#", strings.HasPrefix(top, "lb"), strings.HasPrefix(top, "pound"):
		top = "lb"
	case strings.HasPrefix(top, "tonne"):
		top = "t"
	case strings.HasPrefix(top, "ton"), top == "t" && under == "acre":
		top = "ton"
	case strings.HasPrefix(top, "oz"), strings.HasPrefix(top, "ounce"):
		top = "oz"
	case strings.HasPrefix(top, "cu"), strings.HasPrefix(top, "yd"):
		top = "cu yd"
	case strings.HasPrefix(top, "gal"):
		top = "gal"
	case strings.HasPrefix(top, "kg"):
		top = "kg"
	}
	if top == "t" && under == "acre" || top == "ton" && under == "ha" { // which ton?
		return m, unclear, true
	}
	if of := strings.TrimSpace(text[max(at[6], 0):max(at[7], 0)]); of != "" { // lb P2O5/acre
		switch base := fold(name); {
		case base == "", slices.Contains([]string{"p", "phosphorus", "phosphate", "k", "potassium", "potash"}, base):
			name = of
		case base != fold(of) && fold(of) != "n":
			name += " " + of
		}
	}
	m = meaning{name: name, unit: top + "/" + under}
	if err := m.check(t); err != nil || name == "" {
		if err != nil {
			unclear = err.Error()
		}
		return m, unclear, true
	}
	return m, "", true
}

// bareAmount reports whether a text ends in a weight or a volume alone: "lime lb".
func bareAmount(t *table, text string) bool {
	words := strings.Fields(strings.NewReplacer("(", " ", ")", " ").Replace(text))
	for i := 1; i < len(words); i++ {
		name, u := strings.Join(words[:i], " "), strings.Join(words[i:], " ")
		if _, length := unit.Factor(u, unit.Length); !length && !weighs.MatchString(name) && (meaning{name: name, unit: u}).check(t) == nil {
			return true
		}
	}
	return false
}

// table is the table that the draft reads into.
func (d *draft) table() string {
	if d.leaf {
		return "leaf_tests"
	}
	return "soil_tests"
}

// ofLeaves reports whether the sheet says that leaves were tested. Only soil has
// a pH, organic matter and an exchange capacity.
func (d *draft) ofLeaves() bool {
	if slices.ContainsFunc(d.columns, func(c probed) bool {
		return c.measured && slices.Contains([]string{"pH", "buffer pH", "OM", "CEC"}, c.of.Analyte.Text)
	}) {
		return false
	}
	if _, ok := d.column("part"); ok {
		return true
	}
	said := fold(d.title)
	for _, row := range append(slices.Clone(d.above), d.head) {
		said += "\n" + fold(strings.Join(row, "\n"))
	}
	return !strings.Contains(said, "soil") && slices.ContainsFunc([]string{"tissue", "leafanalysis", "leaftest", "leafreport", "foliar", "petiole", "plantanalysis"}, func(w string) bool { return strings.Contains(said, w) })
}

// leafEntry says what a heading or name of a leaf report means.
func (d *draft) leafEntry(name string, h unit.Heading, ownUnit bool) (e mapEntry) {
	e.name = name
	t := d.r.tableNamed("leaf_tests")
	if m, ask := otherMeaning(t, name); ask == "" && (m.unit != "" || ownUnit) {
		return e
	}
	what := strings.TrimSuffix(h.Analyte.Text, " sat")
	if _, err := unit.Leaf(cmp.Or(what, h.Analyte.From), 1, "%"); err != nil {
		what = "?"
	} else if what == "" {
		what = h.Analyte.From
	}
	u := h.Unit.Text
	if _, err := unit.Leaf("N", 1, u); err != nil && !ownUnit {
		u = "?"
	}
	e.means = strings.TrimSpace(what + " " + u)
	e.open = marks(e.means)
	return e
}

// methodGroups parts analytes into groups that one method may serve.
func methodGroups(ids []string) (groups [][]string) {
	at := map[string]int{}
	for _, id := range ids {
		var of string
		switch id {
		case "pH", "buffer pH", "CEC", "EC", "LBC", "acidity":
			of = id
		case "OM", "OC", "total C", "total N":
			of = "OM"
		case "NO3-N", "NH4-N":
			of = "N"
		}
		k, met := at[of]
		if !met {
			k = len(groups)
			at[of], groups = k, append(groups, nil)
		}
		groups[k] = append(groups[k], id)
	}
	return groups
}

// most is what extraction of a soil hardly ever gives, mg/kg: what is more, the
// heading was not understood. From memory.
var most = map[string]float64{"P": 3000, "K": 5000, "Ca": 40000, "Mg": 10000, "S": 5000, "Na": 20000, "NO3-N": 1000, "NH4-N": 1000, "B": 100, "Zn": 2000, "Mn": 3000, "Fe": 5000, "Cu": 2000, "Al": 5000, "Mo": 50}

// implausible asks about a column half of whose values no soil test gives.
func (d *draft) implausible(c probed, values []string) string {
	a, known := unit.ByID(c.of.Analyte.Text)
	if !known || c.of.Method.Text == "total digest" || len(values) == 0 {
		return ""
	}
	f := unit.Form{Name: a.ID, Analyte: a.ID, Factor: 1}
	if c.of.Form.Text != "" {
		if _, x, err := unit.ParseAnalyte(a.ID, c.of.Form.Text); err == nil {
			f = x
		}
	}
	n, bad, eg := 0, 0, ""
	for _, text := range values {
		figure, _ := splitUnit(text)
		v, _, err := unit.ParseNumber(figure)
		if err != nil {
			continue
		}
		n++
		s, err := unit.Soil(unit.SoilReading{Analyte: a, Form: f, Value: v, Unit: c.of.Unit.Text, DepthTo: 15})
		if unit.About(err) == "value" || err == nil && most[a.ID] > 0 && s.Value > most[a.ID] {
			if bad++; eg == "" {
				eg = text
			}
		}
	}
	if 2*bad < n || bad == 0 {
		if strings.HasSuffix(a.ID, " sat") && d.inPercent() {
			return fmt.Sprintf("share of the exchange sites, or %s in a dry leaf?", strings.TrimSuffix(a.ID, " sat"))
		}
		return ""
	}
	return fmt.Sprintf("%s %s: no soil test gives so much: what was measured?", eg, strings.TrimSpace(a.ID+" "+c.of.Unit.Text))
}

// inPercent reports whether the sheet gives N, P or S in %, as leaf reports do.
func (d *draft) inPercent() bool {
	n := 0
	for _, c := range d.columns {
		if c.measured && c.of.Unit.Text == "%" && (c.of.Analyte.Text == "P" || c.of.Analyte.Text == "S" || strings.EqualFold(c.of.Analyte.From, "N")) {
			n++
		}
	}
	return n > 1
}

// finish puts the map together, in at most 30 lines where that is possible.
func (d *draft) finish() {
	if u := distinct(d.noUnit); len(u) > 0 {
		d.put("unit", `["?"]`, "of "+strings.Join(u, ", "))
	}
	if groups := methodGroups(distinct(d.noMethod)); len(groups) > 0 {
		var of []string
		for _, g := range groups {
			of = append(of, strings.Join(g, ", "))
		}
		why := "of " + strings.Join(of, "; of ") + "; or take it out"
		if slices.ContainsFunc(groups, func(g []string) bool { return len(g) > 1 }) {
			why = "of " + strings.Join(of, "; of ") + ": one for each group; where they differ, on the column: \"K ppm Olsen\"; or take it out"
		}
		d.put("method", "["+strings.Repeat(`"?", `, len(groups)-1)+`"?"]`, why)
		d.set[len(d.set)-1].open = len(groups)
	}
	advice := d.advice()
	lines := []mapLine{{remark: "Proposed for " + d.name + ": answer each ? and import with it."}}
	var left []string
	for _, c := range d.out.Columns {
		if c.As == "" && c.Heading != "" && c.Example != "" {
			left = append(left, c.Heading)
		}
	}
	if len(left) > 0 {
		lines = append(lines, mapLine{remark: "Left out: " + shorten(strings.Join(left, ", "))})
	}
	for _, n := range d.out.Notes {
		lines = append(lines, mapLine{remark: n})
	}
	lines = append(append(lines, mapLine{key: "format", value: "1"}), d.top...)
	after := len(d.set) + 1
	if len(advice) > 0 {
		after += 7 + len(advice)
	}
	table := d.long || slices.ContainsFunc(d.entries, func(e mapEntry) bool { return e.unitColumn != "" || strings.Contains(e.name, " = ") }) ||
		len(lines)+3+len(d.entries)+after <= maxMap
	var text strings.Builder
	write := func(lines ...mapLine) {
		for _, l := range lines {
			text.WriteString(l.String() + "\n")
			d.out.Open += l.open
		}
	}
	write(lines...)
	text.WriteString("[[rows]]\ntable = \"" + d.table() + "\"\n")
	if !table {
		d.listed(&text)
	}
	text.WriteString("[rows.set]\n")
	write(d.set...)
	if table {
		text.WriteString(map[bool]string{true: "[rows.names]\n", false: "[rows.columns]\n"}[d.long])
		for _, e := range d.entries {
			write(e.line())
		}
	}
	if len(advice) > 0 {
		text.WriteString("[[rows]]\ntable = \"advice\"\n[rows.set]\n")
		for _, l := range d.set {
			if l.key == "bed" || l.key == "date" || l.key == "lab" {
				l.remark = ""
				write(l)
			}
		}
		text.WriteString("[rows.columns]\n")
		write(advice...)
	}
	d.out.Map = text.String()
}

// line writes an entry on a line of its own.
func (e mapEntry) line() mapLine {
	value := "true"
	switch {
	case e.skip:
		value = "false"
	case e.unitColumn != "":
		value = "{is = " + tomlText(e.means) + ", unit_column = " + tomlText(e.unitColumn) + "}"
	case e.means != "":
		value = tomlText(e.means)
	}
	return mapLine{tomlText(e.name), value, e.questions, e.open}
}

// listed writes the entries as one list over few lines, what they ask above it.
func (d *draft) listed(text *strings.Builder) {
	var pieces []string
	for _, e := range d.entries {
		piece := e.name
		if e.questions != "" {
			fmt.Fprintln(text, mapLine{remark: e.name + ": " + e.questions})
		}
		if d.out.Open += e.open; e.means != "" {
			piece += " = " + e.means
		}
		pieces = append(pieces, tomlText(piece))
	}
	line := "columns = ["
	for i, piece := range pieces {
		if i+1 < len(pieces) {
			piece += ","
		}
		if len(line)+len(piece) > 98 {
			text.WriteString(strings.TrimRight(line, " ") + "\n")
			line = "  "
		}
		line += piece + " "
	}
	text.WriteString(strings.TrimRight(line, " ") + "]\n")
}

// tomlText quotes a text as TOML.
func tomlText(s string) string {
	if strings.ContainsAny(s, `"\`) && !strings.Contains(s, "'") && strings.IndexFunc(s, unicode.IsControl) < 0 {
		return "'" + s + "'"
	}
	var b strings.Builder
	b.WriteByte('"')
	for _, c := range s {
		switch {
		case c == '"' || c == '\\':
			b.WriteString(`\` + string(c))
		case unicode.IsControl(c):
			fmt.Fprintf(&b, `\u%04X`, c)
		default:
			b.WriteRune(c)
		}
	}
	return b.String() + `"`
}

func tomlList(texts []string) string {
	quoted := make([]string, len(texts))
	for i, s := range texts {
		quoted[i] = tomlText(s)
	}
	return "[" + strings.Join(quoted, ", ") + "]"
}

// onOneLine makes a text fit for a comment.
func onOneLine(s string) string {
	return strings.Join(strings.FieldsFunc(s, func(c rune) bool { return unicode.IsControl(c) || unicode.IsSpace(c) }), " ")
}
