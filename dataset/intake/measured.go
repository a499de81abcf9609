package intake

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"carryover/dataset/unit"
)

// meaning is what the values of a column are: "P ppm Mehlich-3" read.
type meaning struct {
	name string // analyte, item or component
	form string
	unit string
	// method of a soil test. noMethod: the map says that there is none to be had.
	method, depth string
}

// noMethod stands for a method that nobody stated.
const noMethod = "no method"

// measures returns the fields that name and hold what a column of the table may
// measure; empty where none can.
func (t *table) measures() (name, value string) {
	switch t.name {
	case "soil_tests", "water_tests", "leaf_tests":
		return "analyte", "value"
	case "materials":
		return "component", "value"
	case "advice":
		return "item", "amount"
	}
	return "", ""
}

// example is a meaning as a map writes it.
func (t *table) example() string {
	switch t.name {
	case "soil_tests":
		return `"P ppm Mehlich-3" or "P ppm no method"`
	case "advice":
		return `"lime ton/acre"`
	case "water_tests":
		return `"NO3-N mg/L"`
	}
	return `"N %"`
}

// readMeaning reads a text that says what a column holds. ask tells what it
// leaves open; a unit or method may still come from elsewhere.
func readMeaning(t *table, text string) (m meaning, ask string) {
	if t.name != "soil_tests" {
		return otherMeaning(t, text)
	}
	if len(text) > 2*maxHeading {
		return m, say("a text of "+plural(len(text), "byte"), "analyte, unit and method", "")
	}
	rest, none := cutSuffixFold(strings.TrimSpace(text), noMethod)
	rest, own := cutOwn(rest)
	h := headingOf(rest)
	m = headed(h)
	switch {
	case own != "" && m.method != "":
		return m, say(fmt.Sprintf("two methods, %s and %s", m.method, own), "one", "")
	case own != "":
		m.method = own
	case none && m.method == "":
		m.method = noMethod
	}
	example := "write analyte, unit and method, as " + t.example()
	switch {
	case h.Aside != "":
		return m, say(h.Aside, "the name of what was measured", "leave the column out")
	case len(h.Rest) > 0:
		if h.Method.Text == "" && m.method == "" && m.name != "" {
			example += fmt.Sprintf(`; if %s is the method, as "%s other: %[1]s"`, strings.Join(h.Rest, " "), strings.TrimSpace(m.name+" "+m.unit))
		}
		return m, say(strings.Join(append(questions(h), strings.Join(h.Rest, " ")+": not understood"), " "), "", example)
	case len(questions(h)) > 0:
		return m, say(strings.Join(questions(h), " "), "", example)
	}
	return m, ""
}

var ownMethod = regexp.MustCompile(`(?i)(?:^|\s)other:\s*(.*)$`)

// cutOwn cuts a lab's own procedure, which ends a meaning: "P mg/kg other: NAME".
func cutOwn(text string) (rest, method string) {
	at := ownMethod.FindStringSubmatchIndex(text)
	if at == nil || at[2] == at[3] {
		return text, ""
	}
	return text[:at[0]], "other: " + strings.TrimSpace(text[at[2]:])
}

// headed takes what a heading says without doubt.
func headed(h unit.Heading) meaning {
	m := meaning{name: h.Analyte.Text, form: h.Form.Text, unit: h.Unit.Text, method: h.Method.Text}
	if h.DepthTo > 0 {
		from, to, of := h.DepthFrom, h.DepthTo, "cm"
		if !whole(from) || !whole(to) {
			from, to, of = from/unit.CmPerInch, to/unit.CmPerInch, "in"
		}
		m.depth = fmt.Sprintf("%s-%s %s", trim(math.Round(from*100)/100), trim(math.Round(to*100)/100), of)
	}
	return m
}

func whole(v float64) bool { return math.Abs(v-math.Round(v)) < 1e-6 }

// questions are those of a heading that only a better text can answer: a unit
// or method that is not said at all may come from elsewhere.
func questions(h unit.Heading) (out []string) {
	for _, q := range h.Open {
		if strings.HasPrefix(q, "unit:") && h.Unit.From == "" || strings.HasPrefix(q, "which method?") {
			continue
		}
		out = append(out, q)
	}
	return out
}

// otherMeaning reads "NO3-N mg/L" or "lime (ton/acre)": the longest unit that
// fits ends the text.
func otherMeaning(t *table, text string) (m meaning, ask string) {
	if t.name == "advice" {
		if m, ask, found := adviceMeaning(t, text); found {
			return m, ask
		}
	}
	if name, u := parseHeading(strings.TrimSpace(text)); u != "" {
		if m = (meaning{name: name, unit: u}); m.check(t) == nil {
			return m, ""
		}
	}
	words := strings.Fields(strings.NewReplacer("(", " ", ")", " ").Replace(text))
	var why error
	for i := 1; i <= len(words); i++ {
		m = meaning{name: strings.Join(words[:i], " "), unit: strings.Join(words[i:], " ")}
		err := m.check(t)
		if err == nil && (t.name != "advice" || m.unit != "" || len(words) == i) {
			return m, ""
		}
		if err != nil && (why == nil || unit.About(why) == "analyte") {
			why = err
		}
	}
	if why == nil {
		why = errors.New(say("an empty text", t.example(), ""))
	}
	return m, why.Error()
}

// check refuses what no column of the table can be. A unit that is missing may
// still come from elsewhere.
func (m meaning) check(t *table) (err error) {
	switch t.name {
	case "soil_tests":
		a, f, err := unit.ParseAnalyte(m.name, m.form)
		if err == nil && m.method != noMethod {
			_, err = unit.ParseMethod(m.method, a)
		}
		if err == nil && m.unit != "" {
			err = soilUnit(a, f, m.unit)
		}
		if err == nil && m.depth != "" {
			err = depthUnit(m.depth)
		}
		return err
	case "water_tests":
		_, err = unit.Water(m.name, m.form, 1, m.unit)
	case "leaf_tests":
		_, err = unit.Leaf(m.name, 1, m.unit)
	case "materials":
		_, err = unit.Component(m.name, 1, m.unit)
	case "advice":
		if qs := t.fields[t.index("amount")].qs; m.unit != "" {
			_, _, err = unit.Convert(1, m.unit, qs...)
		}
	}
	if m.unit == "" && unit.About(err) == "unit" {
		return nil
	}
	return err
}

// depthUnit refuses a depth that is none or has no unit.
func depthUnit(text string) error {
	_, to := cutDepth(text)
	num, own := splitUnit(to)
	_, known := unit.Factor(own, unit.Length)
	if _, _, err := unit.ParseNumber(num); err != nil || !known {
		return errors.New(say(strconv.Quote(text), "a depth with its unit, as 0-6 in", ""))
	}
	return nil
}

// unitFits reports whether a unit that stands for several columns may stand for
// this one: percents only for what is a percentage, and nothing else for it.
func (m meaning) unitFits(t *table, text string) error {
	if m.unit != "" {
		return fmt.Errorf("unit %q: every column has its own", text)
	}
	if t.name == "soil_tests" {
		a, f, err := unit.ParseAnalyte(m.name, m.form)
		if err != nil {
			return err
		}
		if percent := text == "%" || fold(text) == "g/kg"; a.Kind == unit.PH || a.Kind == unit.Percent != percent {
			return fmt.Errorf("unit %q is not that of %s", text, a.ID)
		}
		return soilUnit(a, f, text)
	}
	m.unit = text
	return m.check(t)
}

// among returns those of the methods that may have measured what the column
// holds. One of its own, such as hot water for boron, goes before those that
// extract everything; what the lab alone knows belongs to no column by itself.
func (m meaning) among(list []string) (fits []string) {
	a, _, err := unit.ParseAnalyte(m.name, m.form)
	if m.method != "" || err != nil {
		return nil
	}
	owned := false
	for _, s := range list {
		id, err := unit.ParseMethod(s, a)
		if _, lab := cutOwn(s); err != nil || id == "" || lab != "" || slices.Contains(fits, id) {
			continue
		}
		own := a.ID != "Al" && slices.ContainsFunc(unit.Methods(), func(x unit.Method) bool { return x.ID == id && slices.Contains(x.For, a.ID) }) // Al is read in any extract
		if own && !owned {
			fits, owned = nil, true
		}
		if own == owned {
			fits = append(fits, id)
		}
	}
	return fits
}

func (m meaning) methodFits(text string) error {
	if m.method != "" {
		return fmt.Errorf("method %q: every column has its own", text)
	}
	a, _, err := unit.ParseAnalyte(m.name, m.form)
	if err == nil {
		_, err = unit.ParseMethod(text, a)
	}
	return err
}

// against says where what the map makes of a column contradicts its heading.
func (m meaning) against(h meaning) string {
	a, f, err := unit.ParseAnalyte(m.name, m.form)
	b, g, berr := unit.ParseAnalyte(h.name, h.form)
	if err != nil || berr != nil {
		return ""
	}
	differ := func(what, one, other string) string {
		return fmt.Sprintf("%s %s in the map, %s in the heading", what, one, other)
	}
	switch {
	case a.ID != b.ID:
		return differ("analyte", a.ID, b.ID)
	case h.form != "" && f.Factor != g.Factor:
		return differ("form", f.Name, g.Name)
	case m.unit != "" && h.unit != "" && !sameUnit(a, f, m.unit, h.unit):
		return differ("unit", m.unit, h.unit)
	case m.method != "" && m.method != noMethod && h.method != "":
		one, e1 := unit.ParseMethod(m.method, a)
		other, e2 := unit.ParseMethod(h.method, a)
		if e1 == nil && e2 == nil && one != other && !strings.HasPrefix(one, other+" ") {
			return differ("method", one, other)
		}
	}
	return ""
}

// sameUnit reports whether one unit is another name of the other.
func sameUnit(a unit.Analyte, f unit.Form, one, other string) bool {
	in := unit.SoilReading{Analyte: a, Form: f, Value: 5, Unit: one, DepthTo: 15}
	x, err := unit.Soil(in)
	in.Unit = other
	y, yerr := unit.Soil(in)
	return err != nil || yerr != nil || x.Unit == y.Unit && math.Abs(x.Value-y.Value) <= 1e-9*x.Value
}

func cutSuffixFold(s, suffix string) (string, bool) {
	if n := len(s) - len(suffix); n >= 0 && strings.EqualFold(s[n:], suffix) {
		return strings.TrimRight(s[:n], " ,;"), true
	}
	return s, false
}

// boundMeasurement is a measurement with its column found and what it leaves
// open filled in.
type boundMeasurement struct {
	*measurement
	meaning
	at     int
	unitAt int // column of its units; -1: none
	when   []boundCondition
	like   int      // those that give the same value of a report have the same number
	filled []string // where unit, method and depth were taken from
	lent   string   // the unit that stands for all columns, if it stands for this one; a cell's own goes before it

	needsUnit bool // figures alone mean nothing
	asked     bool // for a unit
}

// complete fills what a measurement leaves open: from the sheet's heading, then
// from the block's own unit and method.
func (a *boundMeasurement) complete(h *heads, b *boundBlock, text string) {
	if b.row.table.name == "soil_tests" && text != "" && len(text) <= 2*maxHeading {
		of := headingOf(text)
		said := headed(of)
		if of.Trap != "" {
			h.r.note("%s: column %q: %s", h.g.name, text, of.Trap)
		}
		if a.compact && said.name != "" && of.Aside == "" && len(of.Rest) == 0 && len(questions(of)) == 0 {
			if differ := a.meaning.against(said); differ != "" {
				h.fail(a.line, fmt.Sprintf("column %q: %s", text, differ), "the same in both", "mend the map; [[rows.analyte]] takes a column as the map says")
			}
		}
		if a.compact && sameAnalyte(said.name, a.name) {
			a.fill(&a.meaning.unit, said.unit, "unit", "its heading")
			a.fill(&a.meaning.method, said.method, "method", "its heading")
			a.fill(&a.meaning.depth, said.depth, "depth", "its heading")
		}
		if a.compact {
			if ask, mend := a.meaning.unheard(of); ask != "" {
				h.fail(a.line, fmt.Sprintf("column %q: %s", text, ask), "", mend(text))
				return
			}
		}
	}
	if ask, mend := a.fromBlock(b, h.m); ask != "" {
		h.fail(a.line, fmt.Sprintf("column %q: %s", a.column, ask), "", mend)
	}
}

// unheard asks about words of a heading that were not understood and may name
// the method, where the map names none or another.
func (m meaning) unheard(of unit.Heading) (ask string, mend func(column string) string) {
	a, _, err := unit.ParseAnalyte(m.name, m.form)
	if err != nil && unit.About(err) != "form" || a.Plain || m.method == noMethod {
		return "", nil
	}
	words := strings.Join(of.Rest, " ")
	write := func(name string) func(string) string {
		return func(column string) string {
			return fmt.Sprintf(`if %s is the method, write %s = "%s other: %[1]s"; else write its method there, or "no method"`, name, strconv.Quote(column), strings.TrimSpace(strings.Join(strings.Fields(m.name+" "+m.unit+" "+m.depth), " ")))
		}
	}
	for _, w := range of.Rest {
		if i := slices.IndexFunc(extractants, func(x string) bool { return fold(x) == fold(w) }); i >= 0 && m.method != "" && !strings.Contains(fold(m.method), fold(w)) {
			return fmt.Sprintf("method %s in the map, %s in the heading", m.method, w), write(w)
		}
	}
	if words != "" && m.method == "" && sameAnalyte(of.Analyte.Text, m.name) {
		return strconv.Quote(words) + " is not understood, and the map names no method", write(words)
	}
	return "", nil
}

// extractants are procedures in print that package unit does not know; a value by
// one of them is never that of another. From memory.
var extractants = []string{"Colwell", "Kelowna", "Truog", "resin", "Egner", "Hedley", "Soltanpour", "AB-DTPA", "H3A", "KCl-40", "KCl40", "DGT", "PBI", "oxalate", "citric", "lactate"}

// fromBlock fills unit and method from the constants that stand for all columns.
// ask: several of the methods would do.
func (a *boundMeasurement) fromBlock(b *boundBlock, m *Map) (ask, mend string) {
	for _, u := range b.units {
		if a.lent == "" && a.meaning.unitFits(b.row.table, u) == nil {
			a.lent = u
		}
	}
	switch fits := a.meaning.among(b.methods); len(fits) {
	case 0:
	case 1:
		a.fill(&a.meaning.method, fits[0], "method", "[rows.set] of "+m.Name)
	default:
		ask = fmt.Sprintf("several methods under [rows.set] measure %s: %s", a.name, strings.Join(fits, ", "))
		if mend = fmt.Sprintf("write its own on the column, as %q = %q", cmp.Or(a.column, a.name), strings.Join(strings.Fields(a.name+" "+a.meaning.unit+" "+fits[len(fits)-1]), " ")); !a.compact {
			mend = fmt.Sprintf("write its own in its block, as method = %q", fits[len(fits)-1])
		}
	}
	if a.meaning.method == noMethod {
		a.meaning.method = ""
	}
	a.needsUnit = a.meaning.needsUnit(b.row.table)
	return ask, mend
}

func (a *boundMeasurement) fill(to *string, text, what, from string) {
	if *to == "" && text != "" {
		*to = text
		a.filled = append(a.filled, what+" from "+from)
	}
}

func sameAnalyte(one, other string) bool {
	a, _, err := unit.ParseAnalyte(one, "")
	b, _, berr := unit.ParseAnalyte(other, "")
	known := func(err error) bool { return err == nil || unit.About(err) == "form" }
	return known(err) && known(berr) && a.ID == b.ID
}

// needsUnit reports whether figures of what was measured mean nothing without a
// unit.
func (m meaning) needsUnit(t *table) bool {
	var err error
	switch t.name {
	case "soil_tests":
		a, _, err := unit.ParseAnalyte(m.name, m.form)
		return err == nil && a.Kind != unit.PH
	case "water_tests":
		_, err = unit.Water(m.name, m.form, 1, "")
	case "leaf_tests":
		_, err = unit.Leaf(m.name, 1, "")
	case "materials":
		_, err = unit.Component(m.name, 1, "")
	}
	return unit.About(err) == "unit"
}

// groups gives the same number to measurements of one analyte by one method at
// one depth: a report has one value of it. Without tell all are taken to differ.
func groups(list []boundMeasurement, tell bool) {
	method := func(a *boundMeasurement) string {
		if x, _, err := unit.ParseAnalyte(a.name, a.form); err == nil {
			if id, err := unit.ParseMethod(a.meaning.method, x); err == nil {
				return id
			}
		}
		return a.meaning.method
	}
	for i := range list {
		a := &list[i]
		a.like = i
		if k := slices.IndexFunc(list[:i], func(b boundMeasurement) bool {
			return tell && sameAnalyte(a.name, b.name) && method(a) == method(&b) && a.meaning.depth == b.meaning.depth
		}); k >= 0 {
			a.like = list[k].like
		}
	}
}

// figure takes away what a lab prints beside a figure: rating words, and marks
// that say "less than".
func (m *Map) figure(text string) string {
	text = m.read(text)
	if text == "" || !strings.ContainsAny(text, "0123456789") {
		return text
	}
	for _, w := range m.below {
		if bare, ok := without(text, w); ok {
			if text = bare; text[0] != '<' {
				text = "<" + text
			}
			break
		}
	}
	for _, w := range m.ratings {
		if bare, ok := without(text, w); ok {
			return bare
		}
	}
	return text
}

// without cuts a word that stands before or behind a figure, bare or in
// brackets.
func without(text, word string) (bare string, ok bool) {
	const round = "()[] \t"
	s, n := strings.Trim(text, round), len(word)
	if len(s) <= n {
		return text, false
	}
	if strings.EqualFold(s[len(s)-n:], word) {
		s = s[:len(s)-n]
		bare, ok = strings.Trim(s, round+"-,;/"), !letter(s[len(s)-1])
	} else if strings.EqualFold(s[:n], word) {
		s = s[n:]
		bare, ok = strings.Trim(s, round+",;:/"), !letter(s[0])
	}
	if ok && strings.ContainsAny(bare, "0123456789") {
		return bare, true
	}
	return text, false
}

func letter(c byte) bool { return c|0x20 >= 'a' && c|0x20 <= 'z' || c >= 0x80 }

// someOf joins at most 20 names.
func someOf(names []string) string {
	if len(names) > 20 {
		return strings.Join(names[:20], ", ") + fmt.Sprintf(" and %d more", len(names)-20)
	}
	return strings.Join(names, ", ")
}
