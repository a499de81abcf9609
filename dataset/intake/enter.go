package intake

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/csv"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"carryover/dataset"
	"carryover/dataset/unit"
)

// Entry is one record that is typed: a row of one of our sheets, or, for a soil
// test, a row for each value of one report. It becomes records by way of the
// sheet it could have stood in, so that a typed record is checked as a sheet is.
type Entry struct {
	Table  string            // soil_tests, amendments, harvests, plantings or covers
	Cells  map[string]string // what the record says, by the names of the sheet's columns
	Values []Value           // of soil_tests
}

// Value is one analyte of a typed report, as it was printed.
type Value struct {
	Analyte, Form, Figure, Unit, Method string

	kept map[string]string // of the row it takes the place of: fills what the entry does not say
}

// EntryField is a column that an entry may fill.
type EntryField struct {
	Name, Says string
	Choices    []string
	US, Metric string // unit of the sheet's heading; empty: none, or any
	Need       bool
	Word       bool // stands on the line by its place; the others are named
}

// entryWords are the columns that stand on the line, in this order; those of a
// value come once for each.
func entryWords(table string) []string {
	switch table {
	case "soil_tests":
		return []string{"bed", "date", "analyte", "value", "unit", "form", "method"}
	case "amendments":
		return []string{"bed", "date", "material", "amount", "unit"}
	case "harvests":
		return []string{"bed", "date", "weight", "weighed"}
	case "plantings":
		return []string{"bed", "season", "crop"}
	case "covers":
		return []string{"bed", "sown", "species"}
	}
	panic("intake: no entry of " + table)
}

func tableNamed(name string) *table {
	for _, t := range tables() {
		if t.name == name {
			return &t
		}
	}
	panic("intake: no table " + name)
}

// EntryFields lists the columns of a table in the order of its sheet.
func EntryFields(table string) (out []EntryField) {
	words := entryWords(table)
	for _, f := range tableNamed(table).fields {
		if f.more && f.name != "grower" && f.name != "replaces" {
			continue
		}
		var choices []string
		for _, c := range f.choices {
			if !strings.Contains(c, "=") {
				choices = append(choices, c)
			}
		}
		out = append(out, EntryField{f.name, f.says, choices, f.us, f.si, f.need, slices.Contains(words, f.name)})
	}
	return out
}

// entryName stands for a file in the messages about an entry.
const entryName = "entry"

func entryFault(column, found, expected, mend string) error {
	return &Faults{List: []Fault{{File: entryName, Column: column, Text: say(found, expected, mend)}}}
}

// ParseEntry reads the words of a line. given holds what was said by name; "-"
// stands for no value. A bed, a lab and a material that the book knows is
// recognized in any case of its letters. The figures of a test stand behind
// their analytes, "pH 6.4 P 118 ppm Mehlich-3", or bare in the order of the
// lab's profile.
//
// The error is a *Faults about words that fit no column; what the columns hold
// is judged by [Entry.Read].
func ParseEntry(table string, words []string, given map[string]string, opt Options) (*Entry, error) {
	e := &Entry{Table: table, Cells: map[string]string{}}
	for field, text := range given {
		if text = strings.Join(strings.Fields(text), " "); field != "note" {
			text = Day(text, opt.Today)
		}
		if e.Cells[field] = text; text == "-" {
			e.Cells[field] = ""
		}
	}
	day := entryWords(table)[1]
	words = e.place(words, day, opt)
	if lab := e.Cells["lab"]; lab != "" {
		e.Cells["lab"] = SameName(lab, LabNames(opt))
	}
	var err error
	switch table {
	case "soil_tests":
		var order []string
		if words = fields(words); len(words) > 0 && figureWord.MatchString(words[0]) {
			if order, err = e.order(opt); err != nil {
				return nil, err
			}
		}
		if len(words) > 0 {
			err = e.AddValues(words, order)
		}
	case "amendments":
		err = e.spreading(words, opt)
	case "harvests":
		err = e.weighing(words)
	case "plantings":
		e.words("crop", words)
	case "covers":
		e.words("species", words)
	}
	if err != nil {
		return nil, err
	}
	return e, nil
}

func (e *Entry) words(field string, words []string) {
	if len(words) > 0 {
		e.Cells[field] = strings.Join(words, " ")
	}
}

// place takes bed and day off the front of the words. The bed is one that the
// book knows, or what stands before the first word that is a day.
func (e *Entry) place(words []string, day string, opt Options) []string {
	if len(words) == 0 {
		return nil
	}
	at := 0
	for n := range words {
		if name := strings.Join(words[:n+1], " "); slices.ContainsFunc(opt.Beds, func(b string) bool { return strings.EqualFold(b, name) }) {
			at = n + 1
		}
	}
	if at == 0 || at < len(words) && dayWords(words[at:], opt) == 0 && !strings.ContainsAny(words[at], "0123456789") {
		first := 1
		for first < len(words) && dayWords(words[first:], opt) == 0 {
			first++
		}
		if first < len(words) {
			at = first
		}
	}
	at = max(at, 1)
	e.Cells["bed"] = SameName(strings.Join(words[:at], " "), opt.Beds)
	if words = words[at:]; len(words) == 0 {
		return nil
	}
	n := max(1, dayWords(words, opt))
	e.Cells[day] = Day(strings.Join(words[:n], " "), opt.Today)
	return words[n:]
}

// dayWords counts the words that a day begins with: 28 Oct 2026, autumn 2026.
func dayWords(words []string, opt Options) int {
	d := dates{layout: opt.Dates, south: opt.South, last: opt.Today.Year() + 1}
	for n := min(3, len(words)); n > 0; n-- {
		text := Day(strings.Join(words[:n], " "), opt.Today)
		if n > 1 && !strings.ContainsFunc(words[0]+words[1], unicode.IsLetter) {
			continue // 2026-10 15 is a month and a figure
		}
		if _, err := d.read(text); err == nil {
			return n
		}
	}
	return 0
}

// Day turns today and yesterday into the day they are.
func Day(text string, today dataset.Date) string {
	switch strings.ToLower(text) {
	case "today":
		return today.String()
	case "yesterday":
		return (today - 1).String()
	}
	return text
}

// SameName returns the name that text is but for the case of its letters.
func SameName(text string, names []string) string {
	for _, n := range names {
		if n == text {
			return n
		}
	}
	for _, n := range names {
		if strings.EqualFold(n, text) {
			return n
		}
	}
	return text
}

// LabNames lists the labs that book.toml and the book's tests name.
func LabNames(opt Options) []string {
	names := slices.Sorted(maps.Keys(opt.Labs))
	if opt.Book != nil {
		var seen []string
		for i := range opt.Book.SoilTests {
			if l := opt.Book.SoilTests[i].Lab; l != "" && !slices.Contains(seen, l) && !slices.Contains(names, l) {
				seen = append(seen, l)
			}
		}
		slices.Sort(seen)
		names = append(names, seen...)
	}
	return names
}

// MaterialNames lists the materials that the book's records name.
func MaterialNames(rec *dataset.Records) []string {
	if rec == nil {
		return nil
	}
	seen := map[string]bool{}
	for i := range rec.Materials {
		seen[rec.Materials[i].Material] = true
	}
	for i := range rec.Amendments {
		seen[rec.Amendments[i].Material] = true
	}
	return slices.Sorted(maps.Keys(seen))
}

// A figure of a test, with its unit behind it or without: 6.4, <0.2ppm, 4.6%.
// ND and its like are figures too, for the message they deserve.
var figureWord = regexp.MustCompile(`(?i)^(?:-|n/?d|bdl|([<>~\x{2264}\x{2265}]?=?(?:\d[\d.,]*|\.\d+)(?:e[+-]?\d+)?)((?:[a-z%\x{b5}\x{3bc}#].*)?))$`)

// order returns the analytes of the lab's report in the order of its profile.
func (e *Entry) order(opt Options) ([]string, error) {
	lab := e.Cells["lab"]
	if lab == "" {
		return nil, entryFault("analyte", "figures without their analytes", "pH 6.4 P 118ppm ..., or bare figures in the order of a lab", "say --lab")
	}
	if p, ok := opt.Labs[lab]; ok && len(p.Order) > 0 {
		return p.Order, nil
	}
	order := `"pH", "OM", "P", "K"`
	if was := LastOrder(opt, e.Cells["bed"], lab); len(was) > 0 {
		var names []string
		for _, t := range was {
			names = append(names, strconv.Quote(PrintedName(&t)))
		}
		order = strings.Join(names, ", ")
	}
	return nil, entryFault("analyte", "bare figures, and "+bookFile+" does not say in which order "+lab+" lists its analytes", "",
		fmt.Sprintf("write the analytes, as pH 6.4 P 118ppm, or add to %s, in the order of its report: [lab.%q] order = [%s]", bookFile, lab, order))
}

// fields parts words at the spaces they hold.
func fields(words []string) []string { return strings.Fields(strings.Join(words, " ")) }

// AddValues reads values of a report: an analyte and its figure, then unit and
// method where they are known, and the next. order gives the analytes where
// the words are bare figures; nil: the words name them. "-" is no value.
func (e *Entry) AddValues(words, order []string) error {
	words = valueWords(words)
	var at []int // where figures stand
	for i, w := range words {
		if figureWord.MatchString(w) {
			at = append(at, i)
		}
	}
	if len(at) == 0 {
		return entryFault("value", strconv.Quote(strings.Join(words, " ")), "an analyte and its figure, as P 118ppm", "")
	}
	name := words[:at[0]]
	var values []Value
	for k, i := range at {
		end := len(words)
		if k+1 < len(at) {
			end = at[k+1]
		}
		behind := words[i+1 : end]
		var v Value
		if order != nil {
			if k >= len(order) {
				return entryFault("value", plural(len(at), "figure"), fmt.Sprintf("%d, in the order that %s gives for %s (%s)", len(order), bookFile, e.Cells["lab"], strings.Join(order, ", ")),
					strconv.Quote(strings.Join(words[i:], " "))+" is too much")
			}
			name = strings.Fields(order[k])
		}
		v.Analyte, v.Form, v.Method = valueName(name)
		a, f := v.analyte()
		m := figureWord.FindStringSubmatch(words[i])
		if v.Figure, v.Unit = m[1], m[2]; v.Figure == "" {
			v.Figure = words[i] // -, ND
		}
		cut := len(behind)
		if order == nil && k+1 < len(at) {
			cut = nextName(behind, a, f, v.Unit == "")
		}
		u, method := behindFigure(behind[:cut], a, f, v.Unit == "")
		if order != nil && !(u == "" || soilUnit(a, f, u) == nil) {
			return entryFault("value", strconv.Quote(strings.Join(behind, " ")), "bare figures only, or each with its analyte", "")
		}
		v.Unit, v.Method = cmp.Or(v.Unit, u), cmp.Or(method, v.Method)
		name = behind[cut:]
		if v.Figure != "-" {
			values = append(values, v)
		}
	}
	if n := len(at); order != nil && n < len(order) {
		return entryFault("value", plural(n, "figure"), fmt.Sprintf("%d, in the order that %s gives for %s (%s)", len(order), bookFile, e.Cells["lab"], strings.Join(order, ", ")),
			"none is left for "+strings.Join(order[n:], ", ")+": write - for what was not given")
	}
	e.Values = append(e.Values, values...)
	return nil
}

// valueWords parts pH=6.4, drops stops between values, and joins < or "below"
// with the figure behind it.
func valueWords(words []string) (out []string) {
	for _, w := range words {
		for i, part := range strings.Split(w, "=") {
			if i > 0 && len(out) > 0 && strings.ContainsAny(out[len(out)-1], "<>") {
				out[len(out)-1] += part // <=2
				continue
			}
			if bare := strings.TrimRight(part, ",;:"); bare != "" && !strings.EqualFold(part, "other:") { // of a method
				part = bare
			}
			if strings.Trim(part, ",;:") != "" {
				out = append(out, part)
			}
		}
	}
	signs := map[string]string{"<": "<", ">": ">", "below": "<", "under": "<", "above": ">", "over": ">"}
	for i := 0; i+1 < len(out); i++ {
		if sign := signs[strings.ToLower(out[i])]; sign != "" && figureWord.MatchString(sign+out[i+1]) {
			out = slices.Replace(out, i, i+2, sign+out[i+1])
		}
	}
	return out
}

// valueName reads an analyte, with "as" and its form or with its method behind
// it: "P (Mehlich-3)", "nitrate as NO3". What it cannot read is the name.
func valueName(words []string) (analyte, form, method string) {
	for n := len(words); n > 0; n-- {
		name := strings.Join(words[:n], " ")
		a, _, err := unit.ParseAnalyte(name, "")
		if err != nil && unit.About(err) != "form" {
			continue
		}
		rest := words[n:]
		if len(rest) > 1 && strings.EqualFold(rest[0], "as") {
			form, rest = rest[1], rest[2:]
		}
		method = strings.Trim(strings.Join(rest, " "), "()")
		if _, err := unit.ParseMethod(method, a); err == nil {
			return name, form, method
		}
		form, method = "", ""
	}
	return strings.Join(words, " "), "", ""
}

// analyte returns what the value is of, or a stand-in for one that is not known.
func (v *Value) analyte() (unit.Analyte, unit.Form) {
	a, f, err := unit.ParseAnalyte(v.Analyte, v.Form)
	if err != nil && unit.About(err) != "form" {
		a, f, _ = unit.ParseAnalyte("P", "")
	}
	return a, f
}

// nextName tells where, in the words between two figures, the name of the next
// analyte begins: behind unit and method of the first, if they are there.
func nextName(words []string, a unit.Analyte, f unit.Form, noUnit bool) int {
	named := func(i int) bool {
		name, form, method := valueName(words[i:])
		_, _, err := unit.ParseAnalyte(name, form)
		return i < len(words) && (err == nil || unit.About(err) == "form") && (method == "" || i == 0 || len(strings.Fields(name)) < len(words)-i)
	}
	known := func(i int) bool {
		u, method := behindFigure(words[:i], a, f, noUnit)
		_, err := unit.ParseMethod(method, a)
		return err == nil && (u == "" || soilUnit(a, f, u) == nil)
	}
	for i := range words {
		if u, _ := behindFigure(words[:i], a, f, noUnit); u != "" && named(i) && known(i) {
			return i // "4.6 % K" is no share of K
		}
	}
	for i := range words {
		if named(i) && known(i) {
			return i
		}
	}
	for i := range words { // a unit or method that is not known: its own message
		if named(i) {
			return i
		}
	}
	for i := len(words) - 1; i > 0; i-- { // an analyte that is not known
		if known(i) {
			return i
		}
	}
	return 0
}

// behindFigure parts what stands behind a figure into unit and method.
func behindFigure(words []string, a unit.Analyte, f unit.Form, noUnit bool) (u, method string) {
	n := 0
	for i := 1; noUnit && i <= len(words); i++ {
		if soilUnit(a, f, strings.Join(words[:i], " ")) == nil {
			n = i
		}
	}
	u, method = strings.Join(words[:n], " "), strings.Trim(strings.Join(words[n:], " "), "()")
	if _, err := unit.ParseMethod(method, a); err != nil && noUnit && n == 0 {
		return method, "" // for the message about units
	}
	return u, method
}

// An amount begins with a figure, a range, a fraction or a word for "about";
// a grade such as 0-0-50 is part of a name.
var (
	amountWord = regexp.MustCompile(`(?i)^(?:[~\x{2248}]?(?:\d+/\d+|\d[\d.,]*(?:[-\x{2013}]\d[\d.,]*)?|\.\d+|[\x{bc}\x{bd}\x{be}])(?:(?:[a-z"'#\x{b1}\x{d7}\x{bc}\x{bd}\x{be}]).*)?|about|around|roughly|circa|ca\.?|approx\.?|approximately|~)$`)
	lengthWord = regexp.MustCompile(`(?i)^(\d[\d.,/]*)([a-z"']*)$`)
)

// spreading reads the words of an amendment behind bed and day: material,
// amount, how often, where it was placed.
func (e *Entry) spreading(words []string, opt Options) error {
	if len(words) == 0 {
		return nil
	}
	known := len(strings.Fields(words[0])) // words of the material, whatever they look like
	words = fields(words)
	names := MaterialNames(opt.Book)
	for n := known; n < len(words); n++ {
		if name := strings.Join(words[:n+1], " "); slices.Contains(names, SameName(name, names)) {
			known = n + 1
		}
	}
	words = append(slices.Clone(words[:known]), e.phrases(words[known:])...)
	text := strings.Join(words, " ")
	day := e.Cells["date"]
	d := dates{layout: opt.Dates, south: opt.South, last: opt.Today.Year() + 1}
	w, dayErr := d.read(day)
	begin := &w.day
	if dayErr != nil || w.year {
		begin = nil
	}
	year := opt.Today.Year()
	if dayErr == nil {
		year = w.day.Year()
	}
	run, err := d.repeat(text, year, begin)
	if err != nil {
		return entryFault("every days", err.Error(), "", "")
	}
	if run.Every > 0 {
		e.Cells["every days"] = strconv.Itoa(int(run.Every))
		if run.Until != nil {
			e.Cells["until"] = run.Until.String()
		}
		switch {
		case run.From == nil:
		case day == "" || w.year:
			e.Cells["date"] = run.From.String()
		case *run.From != w.day:
			return entryFault("date", strconv.Quote(day), "the day on which the run begins, "+run.From.String(), "mend one of the two")
		}
		words = strings.Fields(run.Rest)
	}
	at := min(known, len(words))
	for at < len(words) && !amountWord.MatchString(words[at]) {
		at++
	}
	e.Cells["material"] = SameName(strings.Join(words[:at], " "), names)
	e.words("amount", words[at:])
	return nil
}

// phrases takes out words that are choices of a column, such as "worked in",
// and a depth behind that.
func (e *Entry) phrases(words []string) []string {
	for _, f := range tableNamed(e.Table).fields {
		for _, c := range f.choices {
			c, means, alias := strings.Cut(c, "=")
			if !alias {
				means = c
			}
			parts := strings.Fields(c)
			for i := 0; i+len(parts) <= len(words); i++ {
				if !slices.EqualFunc(parts, words[i:i+len(parts)], strings.EqualFold) || e.Cells[f.name] != "" {
					continue
				}
				e.Cells[f.name] = means
				end := i + len(parts)
				if means == "worked in" && e.Cells["mixed depth"] == "" {
					end += e.mixed(words[end:])
				}
				words = slices.Concat(words[:i], words[end:])
				break
			}
		}
	}
	return words
}

// mixed reads "6in", "6 in" or "to 6 in deep" and returns how many words it is.
func (e *Entry) mixed(words []string) int {
	n := 0
	if len(words) > 0 && strings.EqualFold(words[0], "to") {
		n = 1
	}
	if n == len(words) {
		return 0
	}
	m := lengthWord.FindStringSubmatch(words[n])
	if m == nil {
		return 0
	}
	u := m[2]
	if n++; u == "" && n < len(words) {
		u = words[n]
		n++
	}
	if _, ok := unit.Factor(u, unit.Length); !ok {
		return 0
	}
	e.Cells["mixed depth"] = m[1] + " " + u
	if n < len(words) && strings.EqualFold(words[n], "deep") {
		n++
	}
	return n
}

// weighing reads the words of a harvest behind bed and day: a crop if it is no
// pumpkin, the weight, and how it was weighed.
func (e *Entry) weighing(words []string) error {
	words = e.phrases(fields(words))
	at := slices.IndexFunc(words, func(w string) bool { return amountWord.MatchString(w) })
	if at < 0 {
		at = len(words)
	}
	if at > 0 && e.Cells["crop"] != "" {
		return entryFault("crop", strconv.Quote(strings.Join(words[:at], " ")), "one crop, and "+strconv.Quote(e.Cells["crop"])+" is said too", "leave one out")
	}
	e.words("crop", words[:at])
	e.words("weight", words[at:])
	return nil
}

// PrintedName is the analyte as its report has it: P as P2O5.
func PrintedName(t *dataset.SoilTest) string {
	if t.ReportedForm == "" {
		return t.Analyte
	}
	return t.Analyte + " as " + t.ReportedForm
}

// LastOrder lists what the last report of a lab holds, of the bed if there is
// one and else of any, in the order in which it was written down if one sheet
// has all of it.
func LastOrder(opt Options, bed, lab string) []dataset.SoilTest {
	if opt.Book == nil {
		return nil
	}
	var last []dataset.SoilTest
	newer := func(t, than *dataset.SoilTest) int {
		ofBed := func(t *dataset.SoilTest) int {
			if t.Bed == bed {
				return 1
			}
			return 0
		}
		return cmp.Or(cmp.Compare(ofBed(t), ofBed(than)), cmp.Compare(t.Date, than.Date))
	}
	for i := range opt.Book.SoilTests {
		t := &opt.Book.SoilTests[i]
		if t.Lab != lab || lab == "" {
			continue
		}
		c := 1
		if last != nil {
			c = newer(t, &last[0])
		}
		if c > 0 {
			last = last[:0:0]
		}
		if c >= 0 {
			last = append(last, *t)
		}
	}
	asWritten := !slices.ContainsFunc(last, func(t dataset.SoilTest) bool { return t.Batch != last[0].Batch || t.File != last[0].File })
	slices.SortStableFunc(last, func(x, y dataset.SoilTest) int {
		c := cmp.Or(strings.Compare(x.Bed, y.Bed), cmp.Compare(x.Line, y.Line))
		if !asWritten { // what was corrected stands elsewhere
			c = 0
		}
		return cmp.Or(c, cmp.Compare(unit.Rank(x.Analyte), unit.Rank(y.Analyte)))
	})
	seen := map[string]bool{}
	return slices.DeleteFunc(last, func(t dataset.SoilTest) bool {
		again := seen[t.Analyte]
		seen[t.Analyte] = true
		return again
	})
}

// Usual tells how a lab prints an analyte: the unit and method of its profile,
// else those of its last report, and that report's row of it, or nil.
func Usual(opt Options, lab, id string) (unitText, method string, last *dataset.SoilTest) {
	if lab == "" {
		return "", "", nil
	}
	said := func(m map[string]string) string {
		for _, k := range slices.Sorted(maps.Keys(m)) {
			if a, _, err := unit.ParseAnalyte(k, ""); (err == nil || unit.About(err) == "form") && a.ID == id {
				return m[k]
			}
		}
		return ""
	}
	if opt.Book != nil {
		for i := range opt.Book.SoilTests {
			if t := &opt.Book.SoilTests[i]; t.Lab == lab && t.Analyte == id && (last == nil || t.Date > last.Date) {
				last = t
			}
		}
	}
	p := opt.Labs[lab]
	if unitText, method = said(p.Units), said(p.Methods); last != nil {
		unitText, method = cmp.Or(unitText, last.ReportedUnit), cmp.Or(method, last.ReportedMethod)
	}
	return unitText, method, last
}

// filled returns the values with the units and methods that neither the line
// nor the lab's profile gives, as the lab's last report has them, and says so.
// What the profile gives is filled where rows are read.
func (e *Entry) filled(opt Options) (values []Value, notes []string) {
	taken := map[string][]string{}
	profile := opt
	profile.Book = nil
	for _, v := range e.Values {
		a, _, err := unit.ParseAnalyte(v.Analyte, v.Form)
		u, method, last := Usual(opt, e.Cells["lab"], a.ID)
		if err == nil && last != nil {
			day := last.Date.String()
			hasUnit, hasMethod, _ := Usual(profile, e.Cells["lab"], a.ID)
			if v.Unit+hasUnit == "" && a.Kind != unit.PH {
				v.Unit = u
				taken["unit "+day] = append(taken["unit "+day], v.Analyte)
			}
			if v.Method+hasMethod == "" && method != "" {
				v.Method = method
				taken["method "+day] = append(taken["method "+day], v.Analyte)
			}
		}
		values = append(values, v)
	}
	for _, k := range slices.Sorted(maps.Keys(taken)) {
		what, day, _ := strings.Cut(k, " ")
		notes = append(notes, fmt.Sprintf("%s of %s as in the report of %s of %s", what, strings.Join(taken[k], ", "), e.Cells["lab"], day))
	}
	return values, notes
}

// Correct makes the entry take the place of what the book holds of the same bed
// and day: of a test the values of the same analytes, else the one row; or of
// the rows at the address in the column replaces. What the entry does not say
// stays as it was. It returns the rows that it takes the place of, and the
// claims that say so. grower is that of the book.
//
// The error is a *Faults: no such row, or more than one.
func (e *Entry) Correct(opt Options, grower string) (*dataset.Records, []dataset.Claim, error) {
	old, err := e.standing(opt, cmp.Or(e.Cells["grower"], grower))
	if err != nil {
		return nil, nil, err
	}
	page, err := Back(e.Table, old, nil, opt.Units, opt.South)
	if err != nil {
		return nil, nil, err
	}
	var rows []map[string]string
	for _, cells := range page.Rows {
		row := map[string]string{}
		for i, c := range cells {
			name, u := parseHeading(page.Head[i])
			switch c := c.(type) {
			case nil:
			case float64:
				row[name] = strings.TrimSpace(trim(c) + " " + u)
			default:
				if row[name] = fmt.Sprint(c); name == "depth" && strings.LastIndexAny(row[name], "0123456789") == len(row[name])-1 {
					row[name] += " " + u
				}
			}
		}
		if row["grower"] == grower {
			delete(row, "grower") // as a sheet of the book has it
		}
		rows = append(rows, row)
	}
	delete(e.Cells, "replaces") // claims say it
	if e.Table == "soil_tests" {
		rows, err = e.correctValues(rows)
	} else {
		rows, err = e.correctRow(rows)
	}
	if err != nil {
		return nil, nil, err
	}
	var claims []dataset.Claim
	at := dataset.Source{File: e.Name(), Line: 1}
	for _, row := range rows {
		s, err := dataset.ParseAddress(row["row"])
		if err != nil {
			return nil, nil, err
		}
		claims = append(claims, dataset.Claim{Table: e.Table, At: at, OfBatch: s.Batch, OfFile: s.File, OfLine: s.Line, Analyte: row["analyte"]})
	}
	is := func(s dataset.Source, analyte string) bool {
		return slices.ContainsFunc(claims, func(c dataset.Claim) bool {
			return c.OfBatch == s.Batch && c.OfFile == s.File && c.OfLine == s.Line && c.Analyte == analyte
		})
	}
	return &dataset.Records{
		SoilTests:  pick(old.SoilTests, func(t *dataset.SoilTest) bool { return is(t.Source, t.Analyte) }),
		Amendments: pick(old.Amendments, func(t *dataset.Amendment) bool { return is(t.Source, "") }),
		Harvests:   pick(old.Harvests, func(t *dataset.Harvest) bool { return is(t.Source, "") }),
		Plantings:  pick(old.Plantings, func(t *dataset.Planting) bool { return is(t.Source, "") }),
		Covers:     pick(old.Covers, func(t *dataset.Cover) bool { return is(t.Source, "") }),
	}, claims, nil
}

// standing returns the rows of the book that the entry may mean.
func (e *Entry) standing(opt Options, grower string) (*dataset.Records, error) {
	rec := opt.Book
	if rec == nil {
		rec = &dataset.Records{}
	}
	field := entryWords(e.Table)[1]
	var day dataset.Date
	season, _ := strconv.Atoi(e.Cells["season"])
	if field != "season" && e.Cells["replaces"] == "" {
		d := dates{layout: opt.Dates, south: opt.South, last: opt.Today.Year() + 1}
		w, err := d.read(e.Cells[field])
		if err != nil {
			return nil, entryFault(field, err.Error(), "", "")
		}
		if w.year && e.Cells["timing"] != "" {
			w = d.season(e.Cells["timing"], w.day.Year())
		}
		day = w.day
	}
	named, err := dataset.ParseAddress(e.Cells["replaces"])
	if e.Cells["replaces"] != "" && err != nil {
		return nil, entryFault("replaces", err.Error(), "", "")
	}
	var others []string
	means := func(s dataset.Source, g, bed string, at dataset.Date, year int32) bool {
		if e.Cells["replaces"] != "" {
			return s.Batch == named.Batch && s.Line == named.Line && (named.File == "" || named.File == s.File)
		}
		if g != grower || bed != e.Cells["bed"] {
			return false
		}
		if field == "season" {
			others = append(others, strconv.Itoa(int(year)))
			return int(year) == season
		}
		others = append(others, at.String())
		return at == day
	}
	old := &dataset.Records{}
	found := 0
	switch e.Table {
	case "soil_tests":
		old.SoilTests = pick(rec.SoilTests, func(t *dataset.SoilTest) bool {
			return means(t.Source, t.Grower, t.Bed, t.Date, 0) && slices.ContainsFunc(e.Values, func(v Value) bool { a, _ := v.analyte(); return a.ID == t.Analyte })
		})
		found = len(old.SoilTests)
	case "amendments":
		old.Amendments = pick(rec.Amendments, func(t *dataset.Amendment) bool { return means(t.Source, t.Grower, t.Bed, t.Date, 0) })
		found = len(old.Amendments)
	case "harvests":
		old.Harvests = pick(rec.Harvests, func(t *dataset.Harvest) bool { return means(t.Source, t.Grower, t.Bed, t.Date, 0) })
		found = len(old.Harvests)
	case "plantings":
		old.Plantings = pick(rec.Plantings, func(t *dataset.Planting) bool { return means(t.Source, t.Grower, t.Bed, 0, t.Season) })
		found = len(old.Plantings)
	case "covers":
		old.Covers = pick(rec.Covers, func(t *dataset.Cover) bool { return means(t.Source, t.Grower, t.Bed, t.Sown, 0) })
		found = len(old.Covers)
	}
	if found > 0 {
		return old, nil
	}
	what := map[string]string{"soil_tests": "such value of a soil test", "amendments": "amendment", "harvests": "harvest", "plantings": "planting", "covers": "cover crop"}[e.Table]
	if e.Cells["replaces"] != "" {
		return nil, entryFault("replaces", strconv.Quote(e.Cells["replaces"])+": the book holds no "+what+" from there", "", "carryover export shows every row with its address")
	}
	mend := "leave out --correct to add it"
	if slices.Sort(others); others != nil {
		others = slices.Compact(others)
		mend = "the book has " + shorten(strings.Join(others[max(0, len(others)-4):], ", ")) + "; leave out --correct to add it, or name its row with --replaces"
	}
	return nil, entryFault("", "no "+what+" of "+e.Cells["bed"]+" at "+cmp.Or(e.Cells[field], "no day")+" to correct", "", mend)
}

func pick[T any](rows []T, means func(*T) bool) (out []T) {
	for i := range rows {
		if means(&rows[i]) {
			out = append(out, rows[i])
		}
	}
	return out
}

// narrow keeps, column by column, the rows that agree with what the entry
// says, as long as any does: what agrees with none is what is corrected.
func (e *Entry) narrow(rows []map[string]string, say map[string]string, columns ...string) ([]map[string]string, error) {
	for _, c := range columns {
		agree := slices.DeleteFunc(slices.Clone(rows), func(r map[string]string) bool { return fold(r[c]) != fold(say[c]) })
		if say[c] != "" && len(agree) > 0 {
			rows = agree
		}
	}
	if len(rows) < 2 {
		return rows, nil
	}
	var list []string
	for _, r := range rows[:min(4, len(rows))] {
		text := r["row"]
		for _, c := range []string{"material", "amount", "weight", "crop", "plant", "species", "analyte", "value", "lab", "report", "sample", "depth", "method"} {
			if r[c] != "" && (say[c] == "" || fold(r[c]) != fold(say[c])) {
				text += ", " + r[c]
			}
		}
		list = append(list, text)
	}
	return nil, entryFault("", plural(len(rows), "row")+" of the book may be meant ("+strings.Join(list, "; ")+")", "one", "name it, as --replaces "+rows[0]["row"])
}

func (e *Entry) correctRow(rows []map[string]string) ([]map[string]string, error) {
	rows, err := e.narrow(rows, e.Cells, "material", "crop", "plant", "species")
	if err != nil {
		return nil, err
	}
	for field, text := range rows[0] {
		_, said := e.Cells[field]
		if said || field == "row" || field == "unit" && strings.ContainsFunc(e.Cells["amount"], unicode.IsLetter) {
			continue
		}
		e.Cells[field] = text
	}
	return rows, nil
}

func (e *Entry) correctValues(rows []map[string]string) (of []map[string]string, err error) {
	var report map[string]string // what values share that the report did not have
	for i := range e.Values {
		v := &e.Values[i]
		a, _ := v.analyte()
		said := maps.Clone(e.Cells)
		said["method"] = v.Method
		one, err := e.narrow(slices.DeleteFunc(slices.Clone(rows), func(r map[string]string) bool { return r["analyte"] != a.ID }),
			said, "lab", "report", "site", "sample", "timing", "depth", "method")
		if err != nil {
			return nil, err
		}
		if len(one) == 0 {
			continue
		}
		of = append(of, one[0])
		v.kept = maps.Clone(one[0])
		delete(v.kept, "row")
		if _, _, err := unit.ParseAnalyte(v.Analyte, v.Form); unit.About(err) == "form" {
			v.Form = v.kept["form"]
		}
		v.Unit, v.Method = cmp.Or(v.Unit, v.kept["unit"]), cmp.Or(v.Method, v.kept["method"])
		if report == nil {
			report = maps.Clone(v.kept)
			delete(report, "note")
		}
	}
	for i := range e.Values {
		if v := &e.Values[i]; v.kept == nil {
			v.kept = report
		}
	}
	return of, nil
}

// csv writes the sheet that the entry could have stood in.
func (e *Entry) csv(values []Value) []byte {
	t := tableNamed(e.Table)
	rows := []map[string]string{e.Cells}
	if e.Table == "soil_tests" {
		rows = nil
		for _, v := range values {
			row := maps.Clone(v.kept)
			if row == nil {
				row = map[string]string{}
			}
			maps.Copy(row, e.Cells)
			row["analyte"], row["form"], row["value"], row["unit"], row["method"] = v.Analyte, v.Form, v.Figure, v.Unit, v.Method
			rows = append(rows, row)
		}
		if rows == nil {
			rows = []map[string]string{e.Cells} // its faults say what is missing
		}
	}
	var names []string
	for _, f := range t.fields {
		if f.need || slices.ContainsFunc(rows, func(r map[string]string) bool { return r[f.name] != "" }) {
			names = append(names, f.name)
		}
	}
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	_ = w.Write(names) // a buffer takes all
	for _, row := range rows {
		cells := make([]string, len(names))
		for i, n := range names {
			cells[i] = row[n]
		}
		_ = w.Write(cells)
	}
	w.Flush()
	return b.Bytes()
}

// Name is what the entry is called where a row's file is named. Two entries
// that say the same bear the same name, others do not, so that none is taken
// for a later state of another.
func (e *Entry) Name() string {
	sum := sha256.Sum256(e.csv(e.Values))
	return fmt.Sprintf("entry-%x", sum[:4])
}

// Check returns what is wrong with these columns of an unfinished entry, or
// nothing.
func (e *Entry) Check(opt Options, columns ...string) string {
	_, err := e.Read(opt)
	if faults, ok := err.(*Faults); ok {
		for _, f := range faults.List {
			if slices.Contains(columns, f.Column) {
				return f.Text
			}
		}
	}
	return ""
}

var (
	inHeading = regexp.MustCompile(`write it in the heading, as ".*"$`)
	atLine    = regexp.MustCompile(entryName + `:\d+`)
	otherLine = regexp.MustCompile(`: line \d+ has `)
	lineShows = regexp.MustCompile(`, as line \d+ shows: `)
)

// Read turns the entry into records, as [Read] does for sheets. All its rows
// stand on line 1 of a file called [Entry.Name]; messages say "entry" in place
// of file and line. Units and methods that a test leaves out are those of the
// lab's profile, else of its last report; Result.Notes says which.
//
// The error is a *Faults.
func (e *Entry) Read(opt Options) (Result, error) {
	values, notes := e.filled(opt)
	opt.Table, opt.Map, opt.Explain = e.Table, nil, false
	res, err := Read([]Source{{Name: entryName, Data: e.csv(values)}}, opt)
	typed := func(text string) string {
		text = inHeading.ReplaceAllString(atLine.ReplaceAllString(text, entryName), "write it behind the figure")
		text = lineShows.ReplaceAllString(otherLine.ReplaceAllString(text, ": the entry has "), ", as in ")
		return strings.NewReplacer("fill in the column unit", "write it behind the figure", "fill in the column depth", "say --depth",
			"write it under form", `add "as" and the form`, "write before test or after test under same day", `say --same-day "before test" or "after test"`).Replace(text)
	}
	if faults, ok := err.(*Faults); ok {
		for i := range faults.List {
			f := &faults.List[i]
			if f.Text = typed(f.Text); f.File == entryName {
				f.Line = 0
			}
		}
		faults.List = slices.Compact(faults.List)
		return Result{}, faults
	}
	if err != nil {
		return Result{}, err
	}
	for i := range res.Notes {
		res.Notes[i] = typed(res.Notes[i])
	}
	res.Notes = append(res.Notes, notes...)
	at := dataset.Source{File: e.Name(), Line: 1}
	rec := &res.Records
	for i := range rec.SoilTests {
		rec.SoilTests[i].Source = at
	}
	for i := range rec.Amendments {
		rec.Amendments[i].Source = at
	}
	for i := range rec.Harvests {
		rec.Harvests[i].Source = at
	}
	for i := range rec.Plantings {
		rec.Plantings[i].Source = at
	}
	for i := range rec.Covers {
		rec.Covers[i].Source = at
	}
	for i := range rec.Corrections {
		rec.Corrections[i].Source = at
	}
	return res, nil
}

// Line writes the entry as the words one would type for it.
func (e *Entry) Line() string {
	var out []string
	words := entryWords(e.Table)
	put := func(text string) {
		if text != "" {
			out = append(out, Quoted(text))
		}
	}
	for _, w := range words {
		if w == "analyte" {
			break
		}
		put(e.Cells[w])
	}
	for _, v := range e.Values {
		for _, w := range strings.Fields(v.Analyte) {
			put(w)
		}
		if v.Form != "" {
			put("as")
			put(v.Form)
		}
		put(v.Figure)
		for _, w := range strings.Fields(v.Unit + " " + v.Method) {
			put(w)
		}
	}
	for _, f := range tableNamed(e.Table).fields {
		if text := e.Cells[f.name]; text != "" && !slices.Contains(words, f.name) {
			out = append(out, "--"+FlagName(f.name), Quoted(text))
		}
	}
	return strings.Join(out, " ")
}

// FlagName is a column's name as an option.
func FlagName(field string) string { return strings.ReplaceAll(field, " ", "-") }

// Quoted puts a word in quotes where a shell would part or read it.
func Quoted(word string) string {
	if word != "" && !strings.ContainsFunc(word, func(c rune) bool { return c <= ' ' || strings.ContainsRune("\"'`$&|;<>()*?#~\\!", c) }) {
		return word
	}
	return `"` + strings.ReplaceAll(word, `"`, `\"`) + `"`
}
