package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"carryover/dataset"
	"carryover/dataset/intake"
	"carryover/dataset/unit"
)

func newImport() *cobra.Command {
	var in importing
	cmd := &cobra.Command{
		Use:   "import FILE...",
		Short: "Take sheets (XLSX, CSV) into the record book",
		Long: `import takes sheets into the book as one batch: all of them, or none if anything
is at fault. Every fault is listed with its file, line and column.

Import the same workbook every year: rows that the book holds already are
skipped and counted, rows that are new are added. Rows that were changed are
listed, old beside new, and kept only with --correct; the old ones stay in
history. --dry-run shows row by row what was understood, and keeps nothing.

A sheet that "carryover new" wrote is known by its name or its headings. Any
other sheet, such as a lab's, needs a sheet map (--map), a small text file that
says which column is what; --propose drafts one from the sheet's headings.`,
		Example: "  carryover import patch/sheets.xlsx\n  carryover import --propose lab.toml lab-2026.xlsx\n  carryover import --map lab.toml --dry-run lab-2026.xlsx",
		Args:    wantArgs(1, -1, "the file to import"),
		RunE:    func(cmd *cobra.Command, args []string) error { return in.run(cmd, args) },
	}
	f := cmd.Flags()
	f.StringVar(&in.mapFile, "map", "", "sheet map (TOML) that says which column is what")
	f.StringVar(&in.propose, "propose", "", "draft a sheet map from the file's headings, into this file")
	f.StringVar(&in.o.Table, "table", "", "the table all files belong to, if names and headings do not tell")
	f.StringVar(&in.o.Dates, "dates", "", "order of dates such as 10/28/2026: MDY or DMY")
	f.StringVar(&in.o.Decimal, "decimal", "", "how decimals are written: comma or point (default: as the sheet's figures show)")
	f.BoolVar(&in.correct, "correct", false, "keep changed rows in place of those they were; these stay in history")
	f.BoolVar(&in.dry, "dry-run", false, "show what was understood and what would be done, and keep nothing")
	return cmd
}

// importing is one import as it was asked for.
type importing struct {
	o                intake.Options
	mapFile, propose string
	correct, dry     bool
}

func (in *importing) run(cmd *cobra.Command, args []string) error {
	if in.o.Dates != "" {
		in.o.Dates = strings.ToUpper(in.o.Dates)
		if err := oneOf("dates", in.o.Dates, "MDY", "DMY"); err != nil {
			return err
		}
	}
	if in.o.Decimal != "" {
		if err := oneOf("decimal", in.o.Decimal, "comma", "point"); err != nil {
			return err
		}
	}
	if in.propose != "" && (in.mapFile != "" || in.correct || len(args) != 1) {
		return usagef("--propose drafts a map for one file: give it alone, without --map or --correct")
	}
	book, err := openBook(cmd)
	if err != nil {
		return err
	}
	src, err := intake.ReadFiles(args)
	if err != nil {
		return err
	}
	rec, err := book.Records()
	if err != nil {
		return err
	}
	if err := bookOptions(&in.o, book, rec); err != nil {
		return err
	}
	if in.propose != "" {
		return in.draft(src[0], cmd.OutOrStdout(), cmd.ErrOrStderr())
	}
	b := dataset.Batch{Correct: in.correct}
	if in.mapFile != "" {
		if b.Map, err = os.ReadFile(in.mapFile); err != nil {
			return err
		}
		b.MapName = filepath.Base(in.mapFile)
		if in.o.Map, err = intake.ParseMap(b.MapName, b.Map); err != nil {
			return err
		}
	}
	in.o.Explain = in.dry
	return take(book, src, in.o, b, in.dry, cmd.OutOrStdout(), cmd.ErrOrStderr())
}

// bookOptions fills in what the book says of its sheets.
func bookOptions(o *intake.Options, book *dataset.Book, rec *dataset.Records) error {
	o.South, o.Units = south(book), book.Config.Units
	if o.Dates == "" {
		o.Dates = book.Config.Dates
	}
	o.Beds, o.Book, o.Labs = rec.BedNames(), rec, book.Config.Lab
	o.Measures = unit.Measures{}
	for name, m := range book.Config.Measure {
		o.Measures[name] = unit.OwnMeasure{Amount: m.Amount, Unit: m.Unit}
	}
	if err := o.Measures.Check(); err != nil {
		return fmt.Errorf("book.toml: [measure]: %w", err)
	}
	if o.Today == 0 {
		o.Today = today()
	}
	return nil
}

// importInto reads the sources and commits them as one batch.
func importInto(book *dataset.Book, src []intake.Source, o intake.Options, b dataset.Batch, stdout, stderr io.Writer) error {
	rec, err := book.Records()
	if err != nil {
		return err
	}
	if err := bookOptions(&o, book, rec); err != nil {
		return err
	}
	return take(book, src, o, b, false, stdout, stderr)
}

// take reads the sources and commits them as one batch, or only says what it
// would do.
func take(book *dataset.Book, src []intake.Source, o intake.Options, b dataset.Batch, dry bool, stdout, stderr io.Writer) error {
	in, err := intake.Read(src, o)
	if err != nil {
		return err
	}
	for _, l := range in.Understood {
		fmt.Fprintln(stdout, fill(plain(l.String()), "    ", width(stdout)))
	}
	for _, n := range in.Notes {
		fmt.Fprintln(stderr, "note: "+plain(n))
	}
	b.Records, b.Claims, b.Program = &in.Records, in.Claims, "carryover "+programVersion()
	if b.Now.IsZero() {
		b.Now = now()
	}
	for _, s := range src {
		b.Sources = append(b.Sources, dataset.SourceFile{Name: s.Name, Data: s.Data})
	}
	keep := book.Commit
	if dry {
		keep = book.Preview
	}
	done, err := keep(b)
	if err != nil {
		return err
	}
	showBatch(stdout, stderr, done, in.Collapsed, dry)
	return nil
}

// maxChanges is how many corrected rows are listed; the rest are counted.
const maxChanges = 50

// showBatch says what a commit did, or would do.
func showBatch(stdout, stderr io.Writer, done dataset.Result, collapsed int, dry bool) {
	var parts []string
	skipped, gone, corrected := collapsed, 0, 0
	for _, t := range dataset.TableNames() {
		if n := done.Rows[t]; n > 0 {
			parts = append(parts, fmt.Sprintf("%s %s", plural(n, "row"), t))
		}
		skipped += done.Skipped[t]
		gone += done.Gone[t]
		corrected += done.Corrected[t]
	}
	head := fmt.Sprintf("batch %d: %s", done.Number, strings.Join(parts, ", "))
	if dry {
		head = "would add " + strings.Join(parts, ", ") + " (nothing was kept)"
	}
	fmt.Fprintln(stdout, head)
	if skipped > 0 {
		fmt.Fprintf(stdout, "%s skipped: the same facts again\n", plural(skipped, "row"))
	}
	if corrected > 0 {
		fmt.Fprintf(stdout, "%s corrected; what it was stays in history:\n", plural(corrected, "row"))
		shown := done.Changes[:min(len(done.Changes), maxChanges)]
		for _, c := range shown {
			fmt.Fprintln(stdout, "  "+fill(plain(fmt.Sprintf("%s: %s (was %s)", c.Subject, c.Differs(), c.There.Address())), "    ", width(stdout)))
		}
		if n := corrected - len(shown); n > 0 {
			fmt.Fprintf(stdout, "  and %d more\n", n)
		}
	}
	if gone > 0 {
		verb, them := "stand", "them"
		if gone == 1 {
			verb, them = "stands", "it"
		}
		fmt.Fprintf(stderr, "note: %s of an earlier import of this sheet no longer %s in it; the book keeps %s: to take one out, name it in the sheet withdraw\n", plural(gone, "row"), verb, them)
	}
	if done.Warning != "" {
		fmt.Fprintln(stderr, "warning: "+done.Warning)
	}
}

// draft shows what an unknown sheet looks like and writes the map it proposes.
func (in *importing) draft(src intake.Source, stdout, stderr io.Writer) error {
	if _, err := os.Lstat(in.propose); err == nil {
		return fmt.Errorf("%s is there already: choose another name for the sheet map", in.propose)
	}
	p, err := intake.Propose(src, in.o)
	if err != nil {
		return err
	}
	showProposal(stdout, p)
	if err := dataset.WriteFile(in.propose, []byte(p.Map)); err != nil {
		return err
	}
	fmt.Fprintln(stderr, "wrote "+in.propose)
	next := "check it, then: carryover import --map " + quoted(in.propose) + " --dry-run " + quoted(src.Name)
	if p.Open > 0 {
		next = fmt.Sprintf("it leaves %s, marked ?: answer them in it; then: carryover import --map %s --dry-run %s", plural(p.Open, "question"), quoted(in.propose), quoted(src.Name))
	}
	fmt.Fprintln(stderr, "hint: "+next)
	return nil
}

// showProposal prints one line a column: where, heading, example, what it is
// taken for, what stays open.
func showProposal(w io.Writer, p intake.Proposal) {
	lines := make([]string, len(p.Headings))
	for i, n := range p.Headings {
		lines[i] = fmt.Sprint(n)
	}
	what := "line"
	if p.Turned {
		what = "column"
	}
	fmt.Fprintf(w, "%s: headings in %s %s\n", p.File, what, strings.Join(lines, " and "))
	wide := 0
	for _, c := range p.Columns {
		wide = max(wide, len([]rune(c.Heading)))
	}
	wide = min(max(wide, 8), 24)
	for _, c := range p.Columns {
		as := c.As
		switch {
		case as == "" && c.Question != "":
			as = "left out: " + c.Question
		case as == "":
			as = "left out"
		case c.Question != "":
			as += " ? " + c.Question
		}
		at := fmt.Sprintf("%3d  %s  %s  ", c.Pos, pad(plain(c.Heading), wide), pad(plain(c.Example), 12))
		fmt.Fprintln(w, at+fill(as, strings.Repeat(" ", wide+21), width(w)))
	}
	for _, n := range p.Notes {
		fmt.Fprintln(w, fill("note: "+plain(n), "      ", width(w)))
	}
}

// fill breaks a text between words so that it fits; further lines are indented.
func fill(s, indent string, width int) string {
	return strings.Join(wrap(s, width-len(indent)), "\n"+indent)
}

func plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	end := "s"
	if strings.HasSuffix(what, "ch") {
		end = "es"
	}
	return fmt.Sprintf("%s %s%s", commas(float64(n)), what, end)
}
