package main

import (
	"encoding/csv"
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/apache/arrow/go/v17/arrow"
	"github.com/apache/arrow/go/v17/arrow/array"
	"github.com/spf13/cobra"

	"carryover/analysis"
	"carryover/dataset/unit"
)

func newExport() *cobra.Command {
	var look looking
	var save saving
	var format string
	var nutrients []string
	cmd := &cobra.Command{
		Use:   "export levels|drawdown|harvests",
		Short: "Write a table for a newsletter or a spreadsheet (CSV, Markdown)",
		Long: `export writes one table of the review, rounded as the trade does, with units and
methods in the headings:

  levels    every test of the worked layer, a row a test
  drawdown  spring minus autumn, a row a season, with 90 % ranges
  harvests  weights and how they were weighed; lost fruit too`,
		Example: "  carryover export drawdown --nutrient K --nutrient Mg --format markdown\n  carryover export levels --bed Creek --out creek.csv",
		Args:    wantArgs(1, 1, "the table to export (levels, drawdown or harvests)"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := oneOf("format", format, "csv", "markdown"); err != nil {
				return err
			}
			if err := oneOf("table", args[0], analysis.Tables()...); err != nil {
				return usagef("no table %q: expected levels, drawdown or harvests", args[0])
			}
			r, s, err := look.load(cmd)
			if err != nil {
				return err
			}
			scale := s.scale()
			if scale.Only, err = testedAll(r, nutrients); err != nil {
				return err
			}
			rec, err := r.Table(args[0], scale)
			if err != nil {
				return err
			}
			defer rec.Release()
			if err := save.write(cmd, func(w io.Writer) error {
				if format == "markdown" {
					return markdown(w, rec)
				}
				return writeCSV(w, rec)
			}); err != nil {
				return err
			}
			if rec.NumRows() == 0 {
				fmt.Fprintf(cmd.ErrOrStderr(), "note: nothing to show: %s\n", map[string]string{
					"levels": "no test of these beds", "drawdown": "no season of these beds has both a spring and an autumn test that may be compared", "harvests": "no harvest of these beds"}[args[0]])
			}
			if r.Invented {
				fmt.Fprintln(cmd.ErrOrStderr(), "note: invented demo data")
			}
			if args[0] != "harvests" && len(r.Doubts) > 0 {
				fmt.Fprintf(cmd.ErrOrStderr(), "note: %s on these figures: see carryover review\n", plural(len(r.Doubts), "doubt"))
			}
			return nil
		},
	}
	look.addFlags(cmd)
	save.addFlags(cmd, "write the table to this file")
	cmd.Flags().StringVar(&format, "format", "csv", "csv or markdown")
	cmd.Flags().StringArrayVar(&nutrients, "nutrient", nil, "only this nutrient or level, such as K or pH (may be given again)")
	return cmd
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
