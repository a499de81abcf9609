package main

import (
	"cmp"
	"encoding/csv"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/apache/arrow/go/v17/arrow"
	"github.com/apache/arrow/go/v17/arrow/array"
	"github.com/spf13/cobra"

	"carryover/analysis"
	"carryover/dataset"
	"carryover/dataset/intake"
	"carryover/dataset/unit"
)

func newExport() *cobra.Command {
	var e exporting
	cmd := &cobra.Command{
		Use:   "export TABLE",
		Short: "Write a table for a newsletter or a spreadsheet",
		Long: `export writes one table of the review, rounded as the trade does, with units and
methods in the headings:

  levels    every test of the worked layer, a row a test
  drawdown  spring minus autumn, a row a season, with 90 % ranges
  harvests  weights and how they were weighed; lost fruit too

or rows of the book as they were written, each with its address in the column
"row", to look through, to mend and to import again (import --correct):

  tests, beds, materials, amendments, plantings, harvests --rows, covers,
  weather, water_tests, tillage, leaf_tests, advice, lists, forecasts
  sheets    all of them in one workbook`,
		Example: "  carryover export drawdown --nutrient K --nutrient Mg --format markdown\n  carryover export levels --bed Creek --out creek.csv\n  carryover export tests --bed Creek --out creek.xlsx",
		Args:    wantArgs(1, 1, "the table to export (levels, drawdown, harvests, tests ...)"),
		RunE:    func(cmd *cobra.Command, args []string) error { return e.run(cmd, args[0]) },
	}
	e.look.addFlags(cmd)
	e.save.addFlags(cmd, "write the table to this file")
	cmd.Flags().StringVar(&e.format, "format", "", "csv, xlsx or markdown (default: by the file's name, else csv)")
	cmd.Flags().BoolVar(&e.rows, "rows", false, "the rows as they were written, with their addresses")
	cmd.Flags().StringArrayVar(&e.nutrients, "nutrient", nil, "only this nutrient or level, such as K or pH (may be given again)")
	return cmd
}

// exporting is one export as it was asked for.
type exporting struct {
	look      looking
	save      saving
	format    string
	rows      bool
	nutrients []string
}

func (e *exporting) run(cmd *cobra.Command, table string) error {
	if e.format == "" {
		switch e.format = "csv"; strings.ToLower(filepath.Ext(e.save.out)) {
		case ".xlsx":
			e.format = "xlsx"
		case ".md":
			e.format = "markdown"
		}
	}
	if err := oneOf("format", e.format, "csv", "xlsx", "markdown"); err != nil {
		return err
	}
	if e.format == "xlsx" && e.save.out == "" {
		return usagef("a workbook goes into a file: say --out %s.xlsx", table)
	}
	if !e.rows && slices.Contains(analysis.Tables(), table) {
		return e.ofReview(cmd, table)
	}
	return e.ofRows(cmd, table)
}

// ofReview writes a table of the review.
func (e *exporting) ofReview(cmd *cobra.Command, table string) error {
	r, s, err := e.look.load(cmd)
	if err != nil {
		return err
	}
	scale := s.scale()
	if scale.Only, err = testedAll(r, e.nutrients); err != nil {
		return err
	}
	rec, err := r.Table(table, scale)
	if err != nil {
		return err
	}
	defer rec.Release()
	if err := e.save.write(cmd, func(w io.Writer) error {
		switch e.format {
		case "markdown":
			return markdown(w, rec)
		case "xlsx":
			return writeWorkbook(w, tablePage(table, rec, r.Invented))
		}
		return writeCSV(w, rec)
	}); err != nil {
		return err
	}
	if rec.NumRows() == 0 {
		fmt.Fprintf(cmd.ErrOrStderr(), "note: nothing to show: %s\n", map[string]string{
			"levels": "no test of these beds", "drawdown": "no season of these beds has both a spring and an autumn test that may be compared", "harvests": "no harvest of these beds"}[table])
	}
	if r.Invented {
		fmt.Fprintln(cmd.ErrOrStderr(), "note: invented demo data")
	}
	if table != "harvests" && len(r.Doubts) > 0 {
		fmt.Fprintf(cmd.ErrOrStderr(), "note: %s on these figures: see carryover review\n", plural(len(r.Doubts), "doubt"))
	}
	return nil
}

// ofRows writes rows of the book as the sheets they could have come from.
func (e *exporting) ofRows(cmd *cobra.Command, table string) error {
	sheets := slices.DeleteFunc(intake.SheetNames(), func(s string) bool { return s == "withdraw" })
	switch {
	case table == "tests":
		sheets = []string{"soil_tests"}
	case table == "sheets" && e.format != "xlsx":
		return usagef("all sheets go into one workbook: say --out book.xlsx")
	case table == "sheets":
	case slices.Contains(sheets, table):
		sheets = []string{table}
	default:
		known := append(append(analysis.Tables(), "tests"), append(sheets, "sheets")...)
		near := ""
		if n := unit.Near(table, known); len(n) > 0 {
			near = ": did you mean " + strings.Join(n, " or ") + "?"
		}
		return usagef("no table %q: expected levels, drawdown, harvests, tests or a sheet's name%s", table, near)
	}
	if e.look.season != 0 || e.look.asOf != "" || e.nutrients != nil {
		return usagef("--season, --as-of and --nutrient choose from the tables of the review; rows are chosen by --bed")
	}
	if e.format == "markdown" {
		return usagef("rows go out as csv or xlsx: markdown is for the tables of the review")
	}
	book, err := openBook(cmd)
	if err != nil {
		return err
	}
	if e.look.units != "" {
		if err := oneOf("units", e.look.units, "us", "metric"); err != nil {
			return err
		}
	}
	rec, err := book.Records()
	if err != nil {
		return err
	}
	if err := knownBeds(rec, e.look.beds); err != nil {
		return err
	}
	var pages []intake.Page
	for _, name := range sheets {
		p, err := intake.Back(name, rec, e.look.beds, cmp.Or(e.look.units, book.Config.Units), south(book))
		if err != nil {
			return err
		}
		if len(p.Rows) > 0 || len(sheets) == 1 {
			pages = append(pages, p)
		}
	}
	if len(pages) == 0 {
		return fmt.Errorf("the book holds no rows yet")
	}
	if err := e.save.write(cmd, func(w io.Writer) error {
		if e.format == "xlsx" {
			pages[0].Notes = append(pages[0].Notes, `Mend a figure where it stands and import the workbook with --correct. The column "row" tells the book which row it is: leave it as it is, and empty in rows you add.`)
			if book.Config.Invented {
				pages[0].Notes = append(pages[0].Notes, "Invented demo data.")
			}
			return writeWorkbook(w, pages...)
		}
		return writePage(w, pages[0])
	}); err != nil {
		return err
	}
	if book.Config.Invented {
		fmt.Fprintln(cmd.ErrOrStderr(), "note: invented demo data")
	}
	if len(pages[0].Rows) == 0 {
		fmt.Fprintln(cmd.ErrOrStderr(), "note: no such row in the book")
	}
	return nil
}

// tablePage turns a table of the review into a page of a workbook.
func tablePage(name string, rec arrow.Record, invented bool) intake.Page {
	p := intake.Page{Name: name, Notes: []string{"Ranges are 90 % ranges, from default test errors (cores, lab, season; from memory). A range of a change that holds zero cannot be told from no change."}}
	if invented {
		p.Notes = append(p.Notes, "Invented demo data.")
	}
	for i := range int(rec.NumCols()) {
		p.Head = append(p.Head, rec.Schema().Field(i).Name)
	}
	for j := range int(rec.NumRows()) {
		row := make([]any, rec.NumCols())
		for i := range row {
			text := cell(rec, i, j)
			row[i] = text
			if rec.Column(i).DataType().ID() != arrow.FLOAT64 || text == "" {
				if d, err := dataset.ParseISO(text); err == nil {
					row[i] = d
				}
				continue
			}
			row[i], _ = strconv.ParseFloat(text, 64) // rounded as the trade does
		}
		p.Rows = append(p.Rows, row)
	}
	return p
}

func writeWorkbook(w io.Writer, pages ...intake.Page) error {
	data, err := intake.WriteWorkbook(pages)
	if err != nil {
		return err
	}
	_, err = w.Write(data)
	return err
}

// writePage writes a sheet as CSV, in full digits.
func writePage(w io.Writer, p intake.Page) error {
	c := csv.NewWriter(w)
	row := slices.Clone(p.Head)
	if err := c.Write(row); err != nil {
		return err
	}
	for _, cells := range p.Rows {
		for i, v := range cells {
			switch v := v.(type) {
			case nil:
				row[i] = ""
			case float64:
				row[i] = strconv.FormatFloat(v, 'f', -1, 64)
			default:
				row[i] = harmless(fmt.Sprint(v))
			}
		}
		if err := c.Write(row); err != nil {
			return err
		}
	}
	c.Flush()
	return c.Error()
}

// scale hands the reader's units to the tables.
func (s shown) scale() analysis.Scale {
	length := func(cm float64) float64 { return cm }
	if s.us {
		length = func(cm float64) float64 { return cm / unit.CmPerInch }
	}
	return analysis.Scale{SoilUnit: s.soilUnit, WeightUnit: s.weightUnit(), Weight: s.weight, Length: length, LengthUnit: s.pick("in", "cm")}
}

// cell prints one value of a record with the digits its field asks for; a null
// is empty.
func cell(rec arrow.Record, col, row int) string {
	switch a := rec.Column(col).(type) {
	case *array.String:
		if a.IsValid(row) {
			return a.Value(row)
		}
	case *array.Float64:
		if a.IsValid(row) {
			d, err := strconv.Atoi(meta(rec, col, "decimals"))
			if err != nil {
				d = -1
			}
			return strconv.FormatFloat(a.Value(row)+0, 'f', d, 64) // +0: no minus zero
		}
	}
	return ""
}

func meta(rec arrow.Record, col int, key string) string {
	m := rec.Schema().Field(col).Metadata
	if i := m.FindKey(key); i >= 0 {
		return m.Values()[i]
	}
	return ""
}

func writeCSV(w io.Writer, rec arrow.Record) error {
	c := csv.NewWriter(w)
	row := make([]string, rec.NumCols())
	for i := range row {
		row[i] = harmless(rec.Schema().Field(i).Name)
	}
	if err := c.Write(row); err != nil {
		return err
	}
	for j := range int(rec.NumRows()) {
		for i := range row {
			row[i] = cell(rec, i, j)
			if rec.Column(i).DataType().ID() == arrow.STRING { // a minus sign is no formula in a number
				row[i] = harmless(row[i])
			}
		}
		if err := c.Write(row); err != nil {
			return err
		}
	}
	c.Flush()
	return c.Error()
}

// markdown writes the record as a table; a range stands in the cell of its
// value: 36 (9 to 62). Columns that are empty throughout are left out, and so is
// the grower where there is but one.
func markdown(w io.Writer, rec arrow.Record) error {
	type col struct {
		at, low, high int
		number        bool
	}
	var cols []col
	byName := map[string]int{}
	for i := range int(rec.NumCols()) {
		f := rec.Schema().Field(i)
		if meta(rec, i, "range") != "" {
			c := &cols[byName[meta(rec, i, "of")]]
			if meta(rec, i, "range") == "low" {
				c.low = i
			} else {
				c.high = i
			}
			continue
		}
		if rec.NumRows() > 0 && (rec.Column(i).NullN() == int(rec.NumRows()) || f.Name == "grower" && same(rec, i)) {
			byName[f.Name] = len(cols)
			cols = append(cols, col{at: -1})
			continue
		}
		byName[f.Name] = len(cols)
		cols = append(cols, col{at: i, number: f.Type.ID() == arrow.FLOAT64})
	}
	var head, rule strings.Builder
	for _, c := range cols {
		if c.at < 0 {
			continue
		}
		fmt.Fprintf(&head, "| %s ", escaped(rec.Schema().Field(c.at).Name))
		if c.number {
			rule.WriteString("| ---: ")
		} else {
			rule.WriteString("| --- ")
		}
	}
	if _, err := fmt.Fprintf(w, "%s|\n%s|\n", head.String(), rule.String()); err != nil {
		return err
	}
	ranged := false
	invented := rec.Schema().Metadata()
	for j := range int(rec.NumRows()) {
		var line strings.Builder
		for _, c := range cols {
			if c.at < 0 {
				continue
			}
			t := escaped(cell(rec, c.at, j))
			if c.low > 0 && t != "" {
				ranged = true
				t += fmt.Sprintf(" (%s to %s)", cell(rec, c.low, j), cell(rec, c.high, j))
			}
			fmt.Fprintf(&line, "| %s ", t)
		}
		if _, err := fmt.Fprintln(w, line.String()+"|"); err != nil {
			return err
		}
	}
	if i := invented.FindKey("invented"); i >= 0 && invented.Values()[i] == "yes" {
		if _, err := fmt.Fprintln(w, "\nInvented demo data."); err != nil {
			return err
		}
	}
	if ranged {
		if _, err := fmt.Fprintln(w, "\nIn brackets: 90 % range, from default test errors (cores, lab, season; from memory). A range that holds zero cannot be told from no change."); err != nil {
			return err
		}
	}
	return nil
}

// same reports whether a column holds one value throughout.
func same(rec arrow.Record, col int) bool {
	for j := range int(rec.NumRows()) {
		if cell(rec, col, j) != cell(rec, col, 0) {
			return false
		}
	}
	return true
}

// escaped keeps text from ending a cell or starting markup.
func escaped(s string) string {
	return strings.NewReplacer("|", "\\|", "\n", " ", "<", "&lt;", "*", "\\*", "_", "\\_", "`", "\\`", "[", "\\[").Replace(plain(s))
}
