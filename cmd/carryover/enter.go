package main

import (
	"bufio"
	"cmp"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"golang.org/x/term"

	"carryover/analysis"
	"carryover/dataset"
	"carryover/dataset/intake"
	"carryover/dataset/unit"
)

// entryKind is one kind of record that can be typed.
type entryKind struct {
	name, table, use, short, long, example string
}

func entryKinds() []entryKind {
	return []entryKind{
		{"test", "soil_tests", "BED DAY [ANALYTE FIGURE [UNIT] [METHOD]]...", "A soil test: a whole report on one line",
			`enter test takes a whole report on one line, each figure behind its analyte, or
bare figures in the order in which book.toml says that the lab lists them:

  [lab."Lab Sedge"]
  order   = ["pH", "buffer pH", "OM", "P", "K"]
  units   = {OM = "%", P = "ppm", K = "ppm"}
  methods = {pH = "water 1:1", P = "Mehlich-3"}

"-" stands for a figure that was not given, "below 0.2" for <0.2, which a shell
takes for itself. Units and methods that you leave out are those of the lab's
profile, else of its last report; which is said. The report is shown beside the
last one of the same bed, lab and method.`,
			`  carryover enter test Barn 2026-10-28 pH 6.4 OM 4.6% P 118ppm --lab "Lab A"
  carryover enter test Barn 2026-10-28 --lab "Lab Sedge" 6.4 6.88 4.6 118 310
  carryover enter test Barn 2026-10-28 K 310 --correct`},
		{"amendment", "amendments", "BED DAY MATERIAL [AMOUNT UNIT]", "What was spread on a bed, once or again and again",
			"enter amendment takes what was spread: bed, day, material, how much, and as you\nlike how often, how it was placed and how deep it was mixed in.",
			`  carryover enter amendment Barn 2026-10-30 "calcitic lime" 40 lb worked in 6in
  carryover enter amendment Barn 2026-06-20 fish feed 2 lb weekly to 2026-09-01`},
		{"harvest", "harvests", "BED DAY WEIGHT UNIT scale|taped|guessed", "A weighed fruit, or a crop taken off a bed",
			"enter harvest takes one fruit: bed, day, weight and how it was weighed. A crop\nthat is no pumpkin stands before its weight.",
			`  carryover enter harvest Barn 2026-10-03 1240.5 lb scale
  carryover enter harvest Hill 2026-08-20 courgette 12 lb guessed`},
		{"planting", "plantings", "BED SEASON [CROP]", "A crop on a bed in a season, and its days",
			"enter planting takes a crop of a season. Days that come later are added with\n--correct: what you do not say stays as it was.",
			`  carryover enter planting Barn 2026 --plants 1 --set-out 2026-05-20
  carryover enter planting Barn 2026 --pollinated 2026-07-02 --correct`},
		{"cover", "covers", "BED DAY SPECIES", "A cover crop on a bed",
			"enter cover takes a cover crop: bed, the day it was sown, and what it is.",
			`  carryover enter cover Barn 2026-10-15 winter rye
  carryover enter cover Barn 2026-10-15 winter rye --ended 2027-04-20 --correct`},
	}
}

func newEnter() *cobra.Command {
	var names []string
	cmd := &cobra.Command{
		Use:   "enter",
		Short: "Type one record: a soil test, an amendment, a harvest ...",
		Long: `enter takes one record without a file: typed on the line, or asked for word by
word where the line leaves it out. It is checked as a sheet is, shown beside
what the book has, and kept when you say so.

Days are written 2026-10-28, 2026-10, "autumn 2026", today or yesterday. A
figure carries its unit: 6in, 40 lb.`,
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	for _, k := range entryKinds() {
		names = append(names, k.name)
		cmd.AddCommand(newEnterOf(k))
	}
	cmd.Args = func(_ *cobra.Command, args []string) error {
		if len(args) > 0 {
			return usagef("no record %q to enter: expected %s", args[0], strings.Join(names, ", "))
		}
		return nil
	}
	return cmd
}

func newEnterOf(k entryKind) *cobra.Command {
	e := &entering{kind: k}
	given := map[string]*string{}
	cmd := &cobra.Command{
		Use:     k.name + " " + k.use,
		Short:   k.short,
		Long:    k.long,
		Example: k.example,
		Args:    wantArgs(0, -1, "a word"),
		RunE: func(cmd *cobra.Command, words []string) error {
			book, err := openBook(cmd)
			if err != nil {
				return err
			}
			e.out, e.note, e.in = cmd.OutOrStdout(), cmd.ErrOrStderr(), bufio.NewReader(cmd.InOrStdin())
			if f, ok := cmd.InOrStdin().(*os.File); ok {
				e.asks = term.IsTerminal(int(f.Fd()))
			}
			e.width = width(e.out)
			said := map[string]string{}
			cmd.Flags().Visit(func(f *pflag.Flag) {
				for field, v := range given {
					if intake.FlagName(field) == f.Name {
						said[field] = *v
					}
				}
			})
			return e.run(book, words, said)
		},
	}
	f := cmd.Flags()
	f.SortFlags = false
	for _, c := range intake.EntryFields(k.table) {
		if c.Word && c.Name != "crop" {
			continue
		}
		says := c.Says
		if c.US != "" {
			says = strings.TrimPrefix(says+", with its unit", ", ")
		}
		given[c.Name] = f.String(intake.FlagName(c.Name), "", says)
	}
	f.StringVar(&e.dates, "dates", "", "order of days such as 10/28/2026: MDY or DMY")
	f.BoolVar(&e.correct, "correct", false, "put it in the place of what the book has of that bed and day")
	f.BoolVar(&e.dry, "dry-run", false, "show it, keep nothing")
	f.BoolVarP(&e.yes, "yes", "y", false, "keep it without asking")
	return cmd
}

// entering is one record on its way into the book.
type entering struct {
	kind              entryKind
	correct, dry, yes bool
	dates             string

	in        *bufio.Reader
	out, note io.Writer
	asks      bool // somebody sits at the other end of in
	width     int

	book *dataset.Book
	rec  *dataset.Records
	opt  intake.Options
	s    shown
}

// errKeptNothing says that whoever was asked did not say yes.
var errKeptNothing = errors.New("nothing kept")

func (e *entering) run(book *dataset.Book, words []string, said map[string]string) error {
	rec, err := book.Records()
	if err != nil {
		return err
	}
	e.book, e.rec = book, rec
	if e.opt.Today == 0 {
		y, m, d := now().Local().Date() // the grower's own day
		e.opt.Today = dataset.DateOf(y, m, d)
	}
	if err := bookOptions(&e.opt, book, rec); err != nil {
		return err
	}
	if e.dates != "" {
		e.opt.Dates = strings.ToUpper(e.dates)
		if err := oneOf("dates", e.opt.Dates, "MDY", "DMY"); err != nil {
			return err
		}
	}
	if e.s, err = unitsOf("", book); err != nil {
		return err
	}
	err = e.take(words, said)
	var faults *intake.Faults
	if errors.As(err, &faults) {
		fmt.Fprintln(e.note, faults)
		return errors.New("nothing kept: mend the above and enter it again")
	}
	return err
}

func (e *entering) take(words []string, said map[string]string) error {
	entry, err := intake.ParseEntry(e.kind.table, words, said, e.opt)
	if err != nil {
		return err
	}
	correct := e.correct || entry.Cells["replaces"] != ""
	line := typedLine(words, said, e.opt.Today)
	if missing := e.missing(entry); len(missing) > 0 && e.asks && !correct {
		if err := e.askAll(entry); err != nil {
			return err
		}
		line = entry.Line()
	} else if len(words) == 0 && entry.Cells["replaces"] == "" {
		return usagef("%s missing, and standard input is no terminal to ask at: write them on the line", strings.Join(missing, ", "))
	}
	if lab, known := entry.Cells["lab"], intake.LabNames(e.opt); lab != "" && !slices.Contains(known, lab) {
		if near := unit.Near(lab, known); len(near) > 0 {
			e.say("note", fmt.Sprintf("%s is new in this book: did you mean %s?", lab, strings.Join(near, " or ")))
		}
	}
	gone := &dataset.Records{}
	var claims []dataset.Claim
	if correct {
		if gone, claims, err = entry.Correct(e.opt, e.book.Config.Grower); err != nil {
			return err
		}
	}
	in, err := entry.Read(e.opt)
	if err != nil {
		return err
	}
	if correct {
		line += " --correct"
	}
	batch := dataset.Batch{Records: &in.Records, Claims: claims, Correct: correct, Program: "carryover " + programVersion(), Now: now(),
		Sources: []dataset.SourceFile{{Name: entry.Name(), Data: []byte("enter " + e.kind.name + " " + line + "\n")}}}
	if _, err := e.book.Preview(batch); err != nil {
		return err
	}
	p := &page{w: e.out, width: e.width}
	if e.kind.table == "soil_tests" {
		err = e.showReport(p, &in.Records, gone)
	} else {
		err = e.showRow(p, &in.Records, gone)
	}
	if err = cmp.Or(err, p.err); err != nil {
		return err
	}
	for _, n := range in.Notes {
		e.say("note", n)
	}
	if e.dry {
		fmt.Fprintln(e.note, "nothing kept: --dry-run")
		return nil
	}
	if !e.yes {
		if !e.asks {
			return fmt.Errorf("%w: standard input is no terminal to ask at\nhint: --yes keeps it without asking, --dry-run only shows it", errKeptNothing)
		}
		fmt.Fprint(e.out, "\nkeep it? [y/N] ")
		answer, _ := e.in.ReadString('\n')
		if a := strings.ToLower(strings.TrimSpace(answer)); a != "y" && a != "yes" {
			return errKeptNothing
		}
	}
	done, err := e.book.Commit(batch)
	if err != nil {
		return err
	}
	showBatch(e.out, e.note, done, 0, false)
	return nil
}

// typedLine is the line as it was typed; its day is named.
func typedLine(words []string, said map[string]string, today dataset.Date) string {
	var out []string
	for _, w := range words {
		out = append(out, intake.Quoted(intake.Day(w, today)))
	}
	for _, field := range slices.Sorted(maps.Keys(said)) {
		if text := said[field]; field != "replaces" {
			if field != "note" {
				text = intake.Day(text, today)
			}
			out = append(out, "--"+intake.FlagName(field), intake.Quoted(text))
		}
	}
	return strings.Join(strings.Fields(strings.Join(out, " ")), " ")
}

// say tells something beside the record.
func (e *entering) say(what, text string) {
	p := &page{w: e.note, width: e.width}
	p.para(what+": ", plain(text))
}

// missing lists what the line leaves out and a person would be asked for.
func (e *entering) missing(entry *intake.Entry) (out []string) {
	for _, f := range intake.EntryFields(e.kind.table) {
		ask := f.Need || f.Name == "amount"
		if _, said := entry.Cells[f.Name]; said || !ask || f.Name == "value" {
			continue
		}
		if f.Name == "analyte" {
			if len(entry.Values) == 0 {
				out = append(out, "analytes and figures")
			}
			continue
		}
		out = append(out, f.Name)
	}
	if e.kind.table == "plantings" && len(entry.Cells) == 2 {
		out = append(out, "what was planted")
	}
	return out
}

// askAll asks for what the line leaves out.
func (e *entering) askAll(entry *intake.Entry) error {
	p := &page{w: e.out, width: e.width}
	p.para("", "Enter takes what stands in [brackets], and skips where nothing does; - is no value, ? explains, Ctrl-C keeps nothing.")
	test := e.kind.table == "soil_tests"
	for _, f := range intake.EntryFields(e.kind.table) {
		if _, said := entry.Cells[f.Name]; said || slices.Contains([]string{"grower", "replaces", "analyte", "value", "unit", "form", "method"}, f.Name) ||
			test && slices.Contains([]string{"timing", "site", "sample", "note"}, f.Name) || f.Name == "same day" && !e.tested(entry) ||
			f.Name == "mixed depth" && entry.Cells["placed"] != "worked in" || f.Name == "until" && entry.Cells["every days"] == "" {
			continue
		}
		if err := e.askField(entry, f); err != nil {
			return err
		}
	}
	if test && len(entry.Values) == 0 {
		return e.askValues(entry)
	}
	return nil
}

// tested tells whether the bed has a test of the entry's day.
func (e *entering) tested(entry *intake.Entry) bool {
	return slices.ContainsFunc(e.rec.SoilTests, func(t dataset.SoilTest) bool {
		return t.Bed == entry.Cells["bed"] && t.Date.String() == entry.Cells["date"]
	})
}

func (e *entering) askField(entry *intake.Entry, f intake.EntryField) error {
	heading := e.s.pick(f.US, f.Metric)
	question, offer := f.Name, ""
	switch {
	case f.Name == "bed":
		if len(e.opt.Beds) == 1 {
			offer = e.opt.Beds[0]
		}
		if list := strings.Join(e.opt.Beds, ", "); list != "" && len(list) < 60 {
			question += " (" + list + ")"
		}
	case f.Name == "date", f.Name == "sown":
		question += " (" + e.opt.Today.String() + ", autumn " + strconv.Itoa(e.opt.Today.Year()) + ", today ...)"
	case f.Name == "amount":
		question += e.s.pick(" (as 40 lb)", " (as 18 kg)")
	case f.Choices != nil:
		question += " (" + strings.Join(f.Choices, ", ") + ")"
	case heading != "":
		question += " (" + heading + ")"
	}
	if e.kind.table == "soil_tests" {
		offer = cmp.Or(offer, e.offer(entry, f.Name))
	}
	answer, err := e.ask(question, offer, cmp.Or(f.Says, f.Name), func(text string) (string, string) {
		if f.Name == "bed" || f.Name == "lab" {
			text = intake.SameName(text, map[string][]string{"bed": e.opt.Beds, "lab": intake.LabNames(e.opt)}[f.Name])
		}
		if f.Name != "note" {
			text = intake.Day(text, e.opt.Today)
		}
		if heading != "" && text != "" && !strings.ContainsFunc(text, unicode.IsLetter) && !strings.ContainsAny(text, "%'\"") {
			text += " " + heading // the question names it
		}
		if text == "" && f.Need {
			return "", "it is needed: " + f.Says
		}
		entry.Cells[f.Name] = text
		columns := []string{f.Name}
		if f.Name == "amount" {
			columns = append(columns, "unit")
		}
		return text, entry.Check(e.opt, columns...)
	})
	entry.Cells[f.Name] = answer
	return err
}

// offer is what the bed's last report said.
func (e *entering) offer(entry *intake.Entry, field string) string {
	var last *dataset.SoilTest
	for i := range e.rec.SoilTests {
		if t := &e.rec.SoilTests[i]; t.Bed == entry.Cells["bed"] && t.Lab != "" && (field == "lab" || t.Lab == entry.Cells["lab"]) && (last == nil || t.Date > last.Date) {
			last = t
		}
	}
	switch {
	case last == nil:
	case field == "lab":
		return last.Lab
	case field == "depth" && e.opt.Labs[last.Lab].Depth != "":
		return e.opt.Labs[last.Lab].Depth
	case field == "depth" && last.DepthTo != nil:
		return e.s.depth(last.DepthFrom, last.DepthTo)
	case field == "cores" && last.Cores != nil:
		return strconv.Itoa(int(*last.Cores))
	}
	return ""
}

// ask puts a question until it has an answer that check finds nothing wrong
// with. check may complete the answer.
func (e *entering) ask(question, offer, help string, check func(string) (answer, wrong string)) (string, error) {
	p := &page{w: e.out, width: e.width}
	if offer != "" {
		question += " [" + offer + "]"
	}
	for {
		fmt.Fprint(e.out, plain(question)+": ")
		line, err := e.in.ReadString('\n')
		text := strings.Join(strings.Fields(line), " ")
		switch {
		case err != nil && text == "":
			fmt.Fprintln(e.out)
			return "", errKeptNothing
		case text == "?":
			p.para("  ", help)
			continue
		case text == "":
			text = offer
		case text == "-":
			text = ""
		}
		answer, wrong := check(text)
		if wrong == "" {
			return answer, nil
		}
		p.para("  ", wrong)
	}
}

// usualOrder lists the analytes to ask for where neither the lab's profile nor
// its last report tells.
func usualOrder() []string {
	return []string{"pH", "buffer pH", "OM", "CEC", "P", "K", "Ca", "Mg", "S", "B", "Zn", "Mn", "Fe", "Cu"}
}

// askValues asks for one analyte after the other, then for any others.
func (e *entering) askValues(entry *intake.Entry) error {
	lab := entry.Cells["lab"]
	names := e.opt.Labs[lab].Order
	if len(names) == 0 {
		for _, t := range intake.LastOrder(e.opt, entry.Cells["bed"], lab) {
			names = append(names, intake.PrintedName(&t))
		}
	}
	if len(names) == 0 {
		names = usualOrder()
	}
	const help = "the figure as printed; < and > may stand before it, unit and method behind it: 118 ppm Mehlich-3"
	for _, name := range names {
		id, _, _ := strings.Cut(name, " as ")
		a, _, _ := unit.ParseAnalyte(id, "")
		question := strings.Join(slices.DeleteFunc(e.usual(lab, name, a), func(s string) bool { return s == "" }), ", ")
		if last := e.lastOf(entry, a.ID); last != "" {
			question += " (last " + last + ")"
		}
		says := help
		if a.Name != "" && a.Name != name {
			says = a.Name + ": " + help
		}
		if err := e.askValue(entry, question, says, strings.Fields(name)); err != nil {
			return err
		}
	}
	for {
		n := len(entry.Values)
		if err := e.askValue(entry, "another, as Cu 1.2 ppm DTPA", "the analyte, then "+help+"; Enter if there is no more", nil); err != nil || n == len(entry.Values) {
			return err
		}
	}
}

// usual is an analyte with the unit and method that its lab uses.
func (e *entering) usual(lab, name string, a unit.Analyte) []string {
	u, method, _ := intake.Usual(e.opt, lab, a.ID)
	if a.Kind == unit.PH {
		u = ""
	}
	return []string{name, u, method}
}

// lastOf is the last value of the bed by the entry's lab, as it was printed.
func (e *entering) lastOf(entry *intake.Entry, analyte string) string {
	var last *dataset.SoilTest
	for i := range e.rec.SoilTests {
		if t := &e.rec.SoilTests[i]; t.Bed == entry.Cells["bed"] && t.Lab == entry.Cells["lab"] && t.Analyte == analyte && (last == nil || t.Date >= last.Date) {
			last = t
		}
	}
	if last == nil {
		return ""
	}
	return last.Qualifier + strconv.FormatFloat(last.ReportedValue, 'f', -1, 64) + " on " + last.Date.String()
}

// askValue asks for one figure. name is its analyte; nil: the answer names it.
func (e *entering) askValue(entry *intake.Entry, question, help string, name []string) error {
	_, err := e.ask(question, "", help, func(text string) (string, string) {
		if text == "" {
			return "", ""
		}
		one := *entry
		one.Values = nil
		err := one.AddValues(append(slices.Clone(name), strings.Fields(text)...), nil)
		var faults *intake.Faults
		if errors.As(err, &faults) {
			return "", faults.List[0].Text
		}
		if wrong := one.Check(e.opt, "analyte", "form", "value", "unit", "method", "depth"); wrong != "" {
			return "", wrong
		}
		entry.Values = append(entry.Values, one.Values...)
		return text, ""
	})
	return err
}

// showReport prints the report beside the last one of the same bed, lab, method
// and depth: of the same timing if there is one.
func (e *entering) showReport(p *page, in, gone *dataset.Records) error {
	fresh := slices.Clone(in.SoilTests)
	for i := range fresh {
		fresh[i].Grower = cmp.Or(fresh[i].Grower, e.book.Config.Grower)
	}
	first := &fresh[0]
	with := *e.rec // as the book will be
	with.SoilTests = slices.DeleteFunc(slices.Clone(e.rec.SoilTests), func(t dataset.SoilTest) bool {
		return slices.ContainsFunc(gone.SoilTests, func(g dataset.SoilTest) bool { return g.Source == t.Source && g.Analyte == t.Analyte })
	})
	with.SoilTests = append(with.SoilTests, fresh...)
	with.Sort()
	r, err := analysis.NewReview(e.book, &with, analysis.Options{South: e.opt.South, US: e.s.us,
		Select: dataset.Selection{Growers: []string{first.Grower}, Beds: []string{first.Bed}}})
	if err != nil {
		return err
	}
	var levels []analysis.Level
	for i := range r.Beds {
		levels = append(levels, r.Beds[i].Levels...)
	}
	levelOf := func(t *dataset.SoilTest) *analysis.Level {
		for i := range levels {
			l := &levels[i]
			if l.Analyte == t.Analyte && slices.ContainsFunc(l.Reported, func(x analysis.Reported) bool { return x.Row.Batch == 0 && x.Row.File == t.File }) {
				return l
			}
		}
		return nil
	}
	before := func(now *analysis.Level) *analysis.Level {
		var last, sameTiming *analysis.Level
		for i := range levels {
			l := &levels[i]
			if l.Analyte != now.Analyte || l.Lab != now.Lab || l.Method != now.Method || l.Estimate.Unit != now.Estimate.Unit || l.Date >= now.Date ||
				e.s.depth(l.DepthFrom, l.DepthTo) != e.s.depth(now.DepthFrom, now.DepthTo) {
				continue
			}
			if last == nil || l.Date > last.Date {
				last = l
			}
			if l.Timing == now.Timing && (sameTiming == nil || l.Date > sameTiming.Date) {
				sameTiming = l
			}
		}
		return cmp.Or(sameTiming, last)
	}
	slices.SortStableFunc(fresh, func(x, y dataset.SoilTest) int { return unit.Rank(x.Analyte) - unit.Rank(y.Analyte) })
	lastHead := "last"
	var rows [][]string
	var days []string
	var jumps []jump
	for i := range fresh {
		t := &fresh[i]
		now := &analysis.Level{Analyte: t.Analyte, Qualifier: t.Qualifier, Estimate: analysis.Estimate{Value: t.Value}}
		u := e.s.soilUnit(t.Unit)
		row := []string{strings.TrimSuffix(t.Analyte+", "+u, ", "), "", "", "", tableNumber(now), "", plain(t.Method), ""}
		if t.ReportedUnit != u && t.ReportedUnit != t.Unit || t.ReportedForm != "" && t.ReportedForm != t.Analyte {
			row[7] = asPrinted(t)
		}
		if old := slices.IndexFunc(gone.SoilTests, func(g dataset.SoilTest) bool { return g.Analyte == t.Analyte }); old >= 0 {
			g := &gone.SoilTests[old]
			row[1] = tableNumber(&analysis.Level{Analyte: g.Analyte, Qualifier: g.Qualifier, Estimate: analysis.Estimate{Value: g.Value}})
			if g.Unit != t.Unit {
				row[1] = asPrinted(g)
			}
		}
		if l := levelOf(t); l != nil {
			if last := before(l); last != nil {
				row[2], row[3] = tableNumber(last), last.When
				if days = append(days, last.When); last.Qualifier+now.Qualifier == "" {
					row[5] = difference(t.Analyte, t.Value-last.Estimate.Value)
					jumps = append(jumps, jump{t.Analyte, last.Estimate.Value, t.Value})
				}
			}
		}
		rows = append(rows, row)
	}
	slices.Sort(days)
	if days = slices.Compact(days); len(days) == 1 {
		lastHead += " (" + days[0] + ")"
		for i := range rows {
			rows[i][3] = ""
		}
	}
	p.para("", e.reportHead(first, levelOf(first)))
	head := []string{"", "as it was", lastHead, "of", "now", "change", "method", "as printed"}
	var printed []string
	if tableWidth(head, rows) > p.width {
		for i, t := range fresh {
			if rows[i][7] != "" {
				printed = append(printed, t.Analyte+" "+rows[i][7])
			}
			rows[i][6], rows[i][7] = shortMethod(column{t.Analyte, t.Method, t.Unit}), ""
		}
	}
	table(p, head, rows)
	if printed != nil {
		p.para("as printed: ", plain(strings.Join(printed, "; ")))
	}
	if len(days) == 0 {
		p.para("", fmt.Sprintf("The book has no earlier test of %s by this lab, method and depth to set beside it.", plain(first.Bed)))
	}
	for _, text := range slips(jumps) {
		p.para("check: ", plain(text))
	}
	return p.err
}

// reportHead says what the report is of.
func (e *entering) reportHead(t *dataset.SoilTest, l *analysis.Level) string {
	parts := []string{t.Bed, t.Date.String()}
	if l != nil {
		parts = []string{t.Bed, l.When, fmt.Sprintf("%s test of season %d", l.Timing, l.Season)}
	}
	if t.Lab != "" {
		parts = append(parts, t.Lab)
	}
	if t.Report != "" {
		parts = append(parts, "report "+t.Report)
	}
	if parts = append(parts, e.s.depth(t.DepthFrom, t.DepthTo)); t.Cores != nil {
		parts = append(parts, plural(int(*t.Cores), "core"))
	}
	return plain(strings.Join(parts, ", "))
}

// tableWidth is how wide table prints the rows.
func tableWidth(head []string, rows [][]string) (sum int) {
	for i, h := range head {
		w := len([]rune(h))
		some := i == 0
		for _, r := range rows {
			w, some = max(w, len([]rune(r[i]))), some || r[i] != ""
		}
		if some {
			sum += w + 2
		}
	}
	return sum - 2
}

// asPrinted is a value as the lab has it.
func asPrinted(t *dataset.SoilTest) string {
	return strings.TrimSpace(t.Qualifier + strconv.FormatFloat(t.ReportedValue, 'f', -1, 64) + " " + t.ReportedUnit + " " + t.ReportedForm)
}

// difference prints a change with its sign.
func difference(analyte string, v float64) string {
	t := analysis.Round(analyte, v)
	if v > 0 && strings.Trim(t, "0.") != "" {
		t = "+" + t
	}
	return t
}

// jump is one value beside the last one, in the same unit.
type jump struct {
	analyte   string
	last, now float64
}

// slips names steps that a wrong unit, form or decimal point would make.
func slips(list []jump) (out []string) {
	near := func(r, factor float64) float64 { return math.Abs(math.Abs(math.Log(r)) - math.Log(factor)) }
	var twice []string
	up, nutrients := 0, 0
	for _, j := range list {
		if a, ok := unit.ByID(j.analyte); ok && a.Kind == unit.Fraction && j.last > 0 && j.now > 0 {
			nutrients++
			if near(j.now/j.last, 2) < 0.15 {
				twice = append(twice, j.analyte)
				if j.now > j.last {
					up++
				}
			}
		}
	}
	whole := len(twice) >= 3 && 3*len(twice) >= 2*nutrients && (up == 0 || up == len(twice))
	if whole {
		how := "half"
		if up > 0 {
			how = "twice"
		}
		out = append(out, fmt.Sprintf("%s are about %s what they were; lb/acre reads about 2 times ppm: is the unit right?", strings.Join(twice, ", "), how))
	}
	for _, j := range list {
		a, ok := unit.ByID(j.analyte)
		if !ok || a.Kind == unit.PH || j.last <= 0 || j.now <= 0 || whole && slices.Contains(twice, j.analyte) {
			continue
		}
		r := j.now / j.last
		why, best := "", 1.0
		try := func(factor, tol float64, text string) {
			if d := near(r, factor); d < min(tol, best) {
				why, best = text, d
			}
		}
		restless := j.analyte == "NO3-N" || j.analyte == "NH4-N" // they may well change so much
		for _, f := range unit.Forms() {
			if factor := 1 / f.Factor; f.Analyte == j.analyte && factor != 1 {
				tol := min(0.14, (factor-1)/10) // a step of a fifth is common enough
				if restless {
					tol = 0.04
				}
				try(factor, tol, fmt.Sprintf("%s reads %.3g times %s: is the form right?", f.Name, factor, j.analyte))
			}
		}
		if a.Kind == unit.Fraction && !restless {
			try(2, 0.1, "lb/acre reads about 2 times ppm: is the unit right?")
		}
		if r >= 5 || r <= 0.2 {
			tol := 0.3
			if restless {
				tol = 0.03
			}
			if try(10, tol, "is the decimal point right?"); why == "" && !restless {
				why = "are unit, form and decimal point right?"
			}
		}
		if why == "" {
			continue
		}
		how := fmt.Sprintf("%.3g times", r)
		if r < 1 {
			how = fmt.Sprintf("1/%.3g of", 1/r)
		}
		out = append(out, fmt.Sprintf("%s %s is %s the %s before: %s", j.analyte, analysis.Round(j.analyte, j.now), how, analysis.Round(j.analyte, j.last), why))
	}
	return out
}

// showRow prints any other record beside the one it replaces, or the last one
// like it.
func (e *entering) showRow(p *page, in, gone *dataset.Records) error {
	head := "as it was"
	beside := gone
	if gone.Total() == 0 {
		head, beside = "last time", e.lastLike(in)
	}
	cellsOf := func(rec *dataset.Records) (map[string]string, []string, error) {
		back, err := intake.Back(e.kind.table, rec, nil, e.book.Config.Units, e.opt.South)
		if err != nil || len(back.Rows) == 0 {
			return nil, nil, err
		}
		cells := map[string]string{}
		for i, c := range back.Rows[0] {
			text := ""
			switch c := c.(type) {
			case nil:
			case float64:
				text = strconv.FormatFloat(c, 'f', -1, 64)
			default:
				text = fmt.Sprint(c)
			}
			cells[back.Head[i]] = plain(text)
		}
		if u := cells["unit"]; u != "" {
			cells["amount"] += " " + u
		}
		return cells, back.Head, nil
	}
	now, names, err := cellsOf(in)
	if err != nil {
		return err
	}
	was, others, err := cellsOf(beside)
	if err != nil {
		return err
	}
	for _, n := range others {
		if !slices.Contains(names, n) {
			names = append(names, n)
		}
	}
	label := 0
	names = slices.DeleteFunc(names, func(n string) bool {
		return n == "row" || n == "unit" || n == "grower" || now[n] == "" && was[n] == ""
	})
	for _, n := range names {
		label = max(label, len([]rune(n)))
	}
	column := (p.width - label - 4) / 2
	if was == nil {
		for _, n := range names {
			p.para(pad(n, label)+"  ", now[n])
		}
	} else {
		p.line("%s  %s  now", pad("", label), pad(head, column))
		for _, n := range names {
			left, right := wrap(was[n], column), wrap(now[n], column)
			for i := range max(len(left), len(right)) {
				cell := func(list []string) string {
					if i < len(list) {
						return list[i]
					}
					return ""
				}
				if i > 0 {
					n = ""
				}
				p.line("%s  %s  %s", pad(n, label), pad(cell(left), column), cell(right))
			}
		}
	}
	for i := range in.Amendments {
		e.showCautions(p, in.Amendments[i].Material)
	}
	return p.err
}

// lastLike returns the last record before this one of the same bed, and for an
// amendment of the same material.
func (e *entering) lastLike(in *dataset.Records) *dataset.Records {
	out := &dataset.Records{}
	grower := func(g string) string { return cmp.Or(g, e.book.Config.Grower) }
	for _, x := range in.Amendments {
		out.Amendments = newest(e.rec.Amendments, func(t *dataset.Amendment) (bool, int) {
			return t.Bed == x.Bed && t.Grower == grower(x.Grower) && t.Material == x.Material && t.Date < x.Date, int(t.Date)
		})
	}
	for _, x := range in.Harvests {
		out.Harvests = newest(e.rec.Harvests, func(t *dataset.Harvest) (bool, int) {
			return t.Bed == x.Bed && t.Grower == grower(x.Grower) && t.Crop == x.Crop && t.Date < x.Date, int(t.Date)
		})
	}
	for _, x := range in.Plantings {
		out.Plantings = newest(e.rec.Plantings, func(t *dataset.Planting) (bool, int) {
			return t.Bed == x.Bed && t.Grower == grower(x.Grower) && t.Season < x.Season, int(t.Season)
		})
	}
	for _, x := range in.Covers {
		out.Covers = newest(e.rec.Covers, func(t *dataset.Cover) (bool, int) {
			return t.Bed == x.Bed && t.Grower == grower(x.Grower) && t.Sown < x.Sown, int(t.Sown)
		})
	}
	return out
}

// newest returns the last of the rows that are like, or nil.
func newest[T any](rows []T, like func(*T) (ok bool, when int)) (out []T) {
	best := 0
	for i := range rows {
		if ok, when := like(&rows[i]); ok && (out == nil || when >= best) {
			best, out = when, []T{rows[i]}
		}
	}
	return out
}

// showCautions says in a line what can harm whoever spreads it, and asks where
// the name is nearly one that the book has.
func (e *entering) showCautions(p *page, material string) {
	kind := ""
	for i := range e.rec.Materials {
		if m := &e.rec.Materials[i]; m.Material == material && m.Kind != "" {
			kind = m.Kind
		}
	}
	name := " " + strings.ToLower(material) + " "
	has := func(words ...string) bool {
		return slices.ContainsFunc(words, func(w string) bool { return strings.Contains(name, w) })
	}
	switch {
	case kind == "lime" || kind == "ash" || kind == "" && has("lime", "chalk", "dolomit", "marl", " ash "):
		p.para("caution: ", "lime and ash are caustic dusts: still air, gloves, goggles, mask; the label and your lab's rate come first.")
	case kind == "sulfur" || kind == "" && has("sulfur", "sulphur") && !has("sulfate", "sulphate"):
		p.para("caution: ", "sulfur is a dust that irritates and can catch fire: still air, gloves, goggles, mask; the label and your lab's rate come first.")
	case kind == "manure" || kind == "" && has("manure") && !has("compost"):
		p.para("caution: ", "raw manure carries germs: wash, and keep it off what is eaten; local rules on manure and phosphorus come first.")
	}
	names := intake.MaterialNames(e.rec)
	if slices.Contains(names, material) {
		return
	}
	if near := unit.Near(material, names); len(near) > 0 {
		p.para("check: ", fmt.Sprintf("%s is new in this book: did you mean %s?", plain(material), plain(strings.Join(near, " or "))))
	}
}
