package main

import (
	"bufio"
	"cmp"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"slices"
	"strconv"
	"strings"

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
	if k.table == "amendments" || k.table == "harvests" {
		f.BoolVar(&e.again, "again", false, "keep it as a second one of that bed and day")
	}
	f.BoolVar(&e.dry, "dry-run", false, "show it, keep nothing")
	f.BoolVarP(&e.yes, "yes", "y", false, "keep it without asking")
	return cmd
}

// entering is one record on its way into the book.
type entering struct {
	kind                     entryKind
	correct, again, dry, yes bool

	dates string

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
	e.correct = e.correct || entry.Cells["replaces"] != ""
	if e.correct && e.again {
		return usagef("--again keeps a second one, a correction takes the place of the first: say one")
	}
	line := typedLine(words, said, e.opt.Today)
	if missing := e.missing(entry); len(missing) > 0 && e.asks && !e.correct {
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
	return e.keep(entry, line)
}

// keep shows the record and, if it is wanted, puts it into the book.
func (e *entering) keep(entry *intake.Entry, line string) (err error) {
	gone, same := &dataset.Records{}, &dataset.Records{}
	var claims []dataset.Claim
	if e.correct {
		if gone, claims, err = entry.Correct(e.opt, e.book.Config.Grower); err != nil {
			return err
		}
	}
	in, err := entry.Read(e.opt)
	if err != nil {
		return err
	}
	batch := dataset.Batch{Records: &in.Records, Claims: claims, Correct: e.correct, Program: "carryover " + programVersion(), Now: now()}
	if _, err := e.book.Preview(batch); err != nil {
		if e.again && errors.Is(err, dataset.ErrNothingNew) {
			err = fmt.Errorf("%w\nhint: a second one that says the same is told apart by a note: --note \"the second\"", err)
		}
		return err
	}
	var says []string
	if !e.correct && !e.again {
		if same, says, err = intake.Again(&in.Records, e.opt, e.book.Config.Grower); err != nil {
			return err
		}
	}
	p := &page{w: e.out, width: e.width}
	if e.kind.table == "soil_tests" {
		err = e.showReport(p, &in.Records, gone)
	} else {
		err = e.showRow(p, &in.Records, gone, same)
	}
	if err = cmp.Or(err, p.err); err != nil {
		return err
	}
	for _, n := range in.Notes {
		e.say("note", n)
	}
	if says != nil {
		p.para("check: ", plain(fmt.Sprintf("the book has %s of that bed and day: is this a second one (--again), or is that to be corrected (--correct)?", strings.Join(says, ", "))))
	}
	switch {
	case e.dry:
		fmt.Fprintln(e.note, "nothing kept: --dry-run")
		return nil
	case says != nil && (e.yes || !e.asks):
		return fmt.Errorf("%w: the book has one of that bed and day\nhint: --again keeps it as a second one, --correct puts it in the place of what the book has", errKeptNothing)
	case says != nil:
		p.line("")
		answer, err := e.ask("keep it as a second one, or correct the book with it? (again, correct; Enter keeps nothing)", "", "again: two of one day; correct: this takes the place of what the book has",
			func(text string) (answer, wrong string) {
				if text = strings.ToLower(text); !slices.Contains([]string{"", "n", "no", "again", "correct"}, text) {
					wrong = "write again or correct; Enter keeps nothing"
				}
				return text, wrong
			})
		switch e.again, e.correct = answer == "again", answer == "correct"; {
		case err != nil:
			return err
		case e.correct:
			return e.keep(entry, line)
		case !e.again:
			return errKeptNothing
		}
	case e.yes:
	case !e.asks:
		return fmt.Errorf("%w: standard input is no terminal to ask at\nhint: --yes keeps it without asking, --dry-run only shows it", errKeptNothing)
	default:
		fmt.Fprint(e.out, "\nkeep it? [y/N] ")
		answer, _ := e.in.ReadString('\n')
		if a := strings.ToLower(strings.TrimSpace(answer)); a != "y" && a != "yes" {
			return errKeptNothing
		}
	}
	switch {
	case e.correct:
		line += " --correct"
	case e.again:
		line += " --again"
	}
	batch.Sources = []dataset.SourceFile{{Name: entry.Name(), Data: []byte("enter " + e.kind.name + " " + line + "\n")}}
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
					v := t.Value - last.Estimate.Value
					if row[5] = analysis.Round(t.Analyte, v); v > 0 && strings.Trim(row[5], "0.") != "" {
						row[5] = "+" + row[5]
					}
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

// showRow prints any other record beside the one it replaces, or the last one
// like it.
func (e *entering) showRow(p *page, in, gone, same *dataset.Records) error {
	head, beside := "as it was", gone
	switch {
	case gone.Total() > 0:
	case same.Total() > 0:
		head, beside = "in the book", same
	default:
		head, beside = "last time", intake.LastLike(e.kind.table, in, e.rec, e.book.Config.Grower)
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
