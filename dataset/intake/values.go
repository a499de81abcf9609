package intake

import (
	"cmp"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"carryover/dataset"
	"carryover/dataset/unit"
)

// Value is one analyte of a typed report, as it was printed.
type Value struct {
	Analyte, Form, Figure, Unit, Method string

	kept map[string]string // of the row it takes the place of: fills what the entry does not say
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
	if len(name) > maxBehind {
		return entryFault("value", strconv.Quote(shorten(strings.Join(name, " "))), "an analyte before its figure", "")
	}
	var values []Value
	for k, i := range at {
		end := len(words)
		if k+1 < len(at) {
			end = at[k+1]
		}
		behind := words[i+1 : end]
		if len(behind) > maxBehind {
			return entryFault("value", strconv.Quote(shorten(strings.Join(behind, " "))), "an analyte, unit and method between two figures", "put a note in quotes: --note \"...\"")
		}
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

// maxBehind is how many words may stand behind a figure; no analyte with its unit
// and method takes so many.
const maxBehind = 16

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
