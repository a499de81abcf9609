package main

import (
	"encoding/csv"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"carryover/analysis"
)

func newCheck() *cobra.Command {
	var look looking
	var save saving
	var format string
	cmd := &cobra.Command{
		Use:   "check",
		Short: "List what in the book may mislead, worst first",
		Long: `check lists every doubt of the book, worst first: figures that look like a slip
of unit or form, tests that cannot be compared and why, lime just before a test,
an autumn sample unlike its spring one, shares that do not add up, samples with
few cores, what was never measured. Each names its rows, says why it matters and
what would settle it.`,
		Example: "  carryover check\n  carryover check --bed Creek --format json",
		Args:    wantArgs(0, 0, "no argument"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := oneOf("format", format, "table", "csv", "json"); err != nil {
				return err
			}
			book, err := openBook(cmd)
			if err != nil {
				return err
			}
			o, _, rec, err := look.options(book)
			if err != nil {
				return err
			}
			c := analysis.Check(rec, o)
			return save.write(cmd, func(w io.Writer) error {
				switch format {
				case "json":
					return writeJSON(w, c)
				case "csv":
					return checkCSV(w, c)
				}
				return showCheck(w, c, width(cmd.OutOrStdout()))
			})
		},
	}
	look.addFlags(cmd)
	save.addFlags(cmd, "write the list to this file")
	cmd.Flags().StringVar(&format, "format", "table", "table, csv or json")
	return cmd
}

// severityHead says what a severity means to a grower.
func severityHead(severity string) string {
	switch severity {
	case "stop":
		return "STOP"
	case "likely wrong":
		return "Likely wrong: look at these first"
	case "misleads":
		return "May mislead"
	case "weak":
		return "Weak: ranges are wider for it"
	}
	return "Would help"
}

func showCheck(w io.Writer, c *analysis.CheckReport, width int) error {
	p := &page{w: w, width: width}
	p.para("", fmt.Sprintf("CHECK of %s, as of %s: %s", plain(c.Book), c.AsOf, c.Text))
	if c.Invented {
		p.para("", "Invented demo data: no such patch, no such grower, no such lab.")
	}
	severity, code := "", ""
	for i := range c.Findings {
		f := &c.Findings[i]
		if f.Severity != severity {
			p.line("")
			p.line("%s", strings.ToUpper(severityHead(f.Severity)))
			severity = f.Severity
		}
		if f.Code != code { // why and what settles it is told once for all beds
			p.line("")
			p.line("%s", f.Title)
			p.para("    why      ", f.Why+".")
			p.para("    settles  ", f.Settle+".")
			code = f.Code
		}
		who := ""
		if len(f.Beds) > 6 {
			who = fmt.Sprintf("%d beds: ", len(f.Beds))
		} else if len(f.Beds) > 0 {
			who = strings.Join(f.Beds, ", ") + ": "
		}
		if f.Grower != "" {
			who = f.Grower + ", " + who
		}
		text := plain(who+f.Text) + "."
		if rows := f.Where(3); rows != "" {
			text += " Rows: " + plain(rows) + "."
		}
		p.para(fmt.Sprintf("%2d  ", i+1), text)
	}
	return p.err
}

func checkCSV(w io.Writer, c *analysis.CheckReport) error {
	out := csv.NewWriter(w)
	rows := [][]string{{"severity", "code", "title", "grower", "beds", "found", "why it matters", "what would settle it", "rows"}}
	for _, f := range c.Findings {
		row := []string{f.Severity, f.Code, f.Title, f.Grower, strings.Join(f.Beds, "; "), f.Text, f.Why, f.Settle, f.Where(len(f.Rows))}
		for i := range row {
			row[i] = harmless(row[i])
		}
		rows = append(rows, row)
	}
	return out.WriteAll(rows)
}
