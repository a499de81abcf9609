package intake

import (
	"bytes"
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

func twice(column, found, was string) error {
	return entryFault(column, strconv.Quote(found), "one, and "+strconv.Quote(was)+" is said too", "leave one out")
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
		err = e.weighing(words, opt)
	case "plantings":
		err = e.planted(words, opt)
	case "covers":
		err = e.covered(words, opt)
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

// length reads "6in" or "6 in" and returns how many words it is.
func length(words []string) (text string, n int) {
	if len(words) == 0 {
		return "", 0
	}
	m := lengthWord.FindStringSubmatch(words[0])
	if m == nil {
		return "", 0
	}
	u, n := m[2], 1
	if u == "" && len(words) > 1 {
		u, n = words[1], 2
	}
	if u = strings.TrimRight(u, ",;"); u == "" {
		return "", 0
	}
	if _, ok := unit.Factor(u, unit.Length); !ok {
		return "", 0
	}
	return m[1] + " " + u, n
}

// mixed reads "6 in" or "to 6 in deep" and returns how many words it is.
func (e *Entry) mixed(words []string) int {
	to := 0
	if len(words) > 0 && strings.EqualFold(words[0], "to") {
		to = 1
	}
	text, n := length(words[to:])
	if n == 0 {
		return 0
	}
	e.Cells["mixed depth"] = text
	if n += to; n < len(words) && strings.EqualFold(words[n], "deep") {
		n++
	}
	return n
}

// saying finds the column that the words begin with the name of, as in
// "ended 2025-04-20" or "height 14 in": its name, what it says, and how many
// words that is; 0 if they begin with none.
func (e *Entry) saying(words []string, opt Options) (name, text string, n int) {
	for _, f := range EntryFields(e.Table) {
		parts := strings.Fields(f.Name)
		if k := len(parts); f.Word && f.Name != "weighed" || k >= len(words) || !slices.EqualFunc(parts, words[:k], strings.EqualFold) {
			continue
		}
		at := len(parts)
		if words[at] == "on" && dayWords(words[at+1:], opt) > 0 {
			at++
		}
		if k := e.saysWords(f, words[at:], opt); k > 0 {
			return f.Name, strings.TrimRight(strings.Join(words[at:at+k], " "), ",;"), at + k
		}
	}
	return "", "", 0
}

// saysWords counts the words that are what the column says.
func (e *Entry) saysWords(f EntryField, words []string, opt Options) int {
	digit := words[0] != "" && strings.ContainsRune("0123456789~<", rune(words[0][0]))
	switch {
	case f.Name == "note":
		return len(words)
	case f.Name == "lost how":
		for n := 1; n < len(words); n++ {
			if _, _, more := e.saying(words[n:], opt); more > 0 {
				return n
			}
		}
		return len(words)
	case f.Choices != nil:
		if slices.ContainsFunc(f.Choices, func(c string) bool { return strings.EqualFold(c, strings.TrimRight(words[0], ",;")) }) {
			return 1
		}
	case f.US != "" && digit:
		t := tableNamed(e.Table)
		if len(words) > 1 && !strings.ContainsFunc(words[0], func(c rune) bool { return c == '%' || c == '"' || c == '\'' || unicode.IsLetter(c) }) {
			if _, ok := unit.Factor(strings.TrimRight(words[1], ",;"), t.fields[t.index(f.Name)].qs...); ok {
				return 2
			}
		}
		return 1
	case f.US == "":
		if n := dayWords(words, opt); n > 0 {
			return n
		}
		if digit || f.Name == "plant" {
			return 1
		}
	}
	return 0
}

// named takes out what stands behind the name of its column, and returns what
// stood before the first such name, and behind one.
func (e *Entry) named(words []string, opt Options) (before, behind []string, err error) {
	met := false
	for i := 0; i < len(words); {
		name, text, n := e.saying(words[i:], opt)
		switch was := e.Cells[name]; {
		case n == 0 && met:
			behind = append(behind, words[i])
		case n == 0:
			before = append(before, words[i])
		case was != "":
			return nil, nil, twice(name, text, was)
		default:
			met = true
			e.Cells[name] = Day(text, opt.Today)
		}
		i += max(1, n)
	}
	return before, behind, nil
}

// called takes the words before the named columns for the column that the line
// ends in; words behind them belong to none.
func (e *Entry) called(column string, words, behind []string) error {
	if len(behind) > 0 {
		return entryFault(column, strconv.Quote(strings.Join(behind, " ")), "nothing more behind the columns that are named", "the "+column+" stands before them")
	}
	if len(words) > 0 {
		e.Cells[column] = strings.TrimRight(strings.Join(words, " "), ",;")
	}
	return nil
}

var countWord = regexp.MustCompile(`^\d{1,6}$`)

// planted reads the words of a planting behind bed and season: the crop, how
// many plants, "set out 2026-05-20" and the like.
func (e *Entry) planted(words []string, opt Options) error {
	words, behind, err := e.named(words, opt)
	if err != nil {
		return err
	}
	count := func(words []string, at int) []string {
		end := at + 1
		if at > 0 && slices.Contains([]string{"plant", "plants"}, strings.ToLower(words[at])) {
			at--
		}
		if at < 0 || at >= len(words) || !countWord.MatchString(words[at]) {
			return words
		}
		if was := e.Cells["plants"]; was != "" {
			err = twice("plants", words[at], was)
		}
		e.Cells["plants"] = words[at]
		return slices.Concat(words[:at], words[end:])
	}
	words = count(words, len(words)-1)
	words = count(words, 0)
	if len(behind) < 3 {
		behind = count(behind, len(behind)-1)
	}
	if err != nil {
		return err
	}
	return e.called("crop", words, behind)
}

// covered reads the words of a cover crop behind bed and day: the species, how
// high it stood, "ended 2027-04-20" and the like.
func (e *Entry) covered(words []string, opt Options) error {
	words, behind, err := e.named(words, opt)
	if err != nil {
		return err
	}
	high := func(words []string) bool {
		text, n := length(words)
		rest := strings.ToLower(strings.TrimRight(strings.Join(words[n:], " "), ",;"))
		if e.Cells["height"] != "" || n == 0 || rest != "" && rest != "tall" && rest != "high" {
			return false
		}
		e.Cells["height"] = text
		return true
	}
	for i := 1; i < len(words); i++ {
		if high(words[i:]) {
			words = words[:i]
		}
	}
	if high(behind) {
		behind = nil
	}
	return e.called("species", words, behind)
}

// weighing reads the words of a harvest behind bed and day: a crop if it is no
// pumpkin, the weight, and how it was weighed.
func (e *Entry) weighing(words []string, opt Options) error {
	before, behind, err := e.named(fields(words), opt)
	if err != nil {
		return err
	}
	words = e.phrases(append(before, behind...))
	at := slices.IndexFunc(words, func(w string) bool { return amountWord.MatchString(w) })
	if at < 0 {
		at = len(words)
	}
	if at > 0 && e.Cells["crop"] != "" {
		return twice("crop", strings.Join(words[:at], " "), e.Cells["crop"])
	}
	e.words("crop", words[:at])
	e.words("weight", words[at:])
	return nil
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
			"write it under form", `add "as" and the form`, "write before test or after test under same day of that row, and import it with --correct", "say it of that row with enter amendment --replaces and --same-day",
			"write before test or after test under same day", `say --same-day "before test" or "after test", and --correct once it is kept`).Replace(text)
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
	only(e.Table, &res.Records, func(r bookRow) bool { *r.source = at; return false })
	for i := range res.Records.Corrections {
		res.Records.Corrections[i].Source = at
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
