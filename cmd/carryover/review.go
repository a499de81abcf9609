package main

import (
	"encoding/csv"
	"encoding/json"
	"io"

	"github.com/spf13/cobra"

	"carryover/analysis"
)

func newReview() *cobra.Command {
	var look looking
	var save saving
	var format string
	var aside asides
	cmd := &cobra.Command{
		Use:   "review",
		Short: "Look back on the season: what to do now, levels, drawdown, carryover",
		Long: `review prints one line a bed (do now, test again, wait for spring, leave, and
why), then bed by bed: levels by season, spring-to-autumn drawdown, winter
change, what is carried into the next season, inputs on their dates and
weights. Doubts stand as footnotes.

Without this autumn's test it works from what there is, marked lab pending.

Two pages are made only when asked for, since no dose should rest on them: the
ratios of the cations (--cation-ratios), and the newest levels as another method
might have read them (--shown-as METHOD --region STATE), where a published line
for that region allows it.`,
		Example: "  carryover review\n  carryover review --bed Creek --units metric\n  carryover review --season 2025 --format json --out review.json",
		Args:    wantArgs(0, 0, "no argument"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := oneOf("format", format, "table", "csv", "json"); err != nil {
				return err
			}
			if err := aside.check(format); err != nil {
				return err
			}
			r, s, err := look.load(cmd)
			if err != nil {
				return err
			}
			return save.write(cmd, func(w io.Writer) error {
				if aside.asked() {
					return aside.show(w, r, format, width(cmd.OutOrStdout()))
				}
				switch format {
				case "json":
					return writeJSON(w, r)
				case "csv":
					return statesCSV(w, r)
				}
				return showReview(w, r, s, width(cmd.OutOrStdout()), len(look.beds) > 0)
			})
		},
	}
	look.addFlags(cmd)
	save.addFlags(cmd, "write the review to this file")
	cmd.Flags().StringVar(&format, "format", "table", "table, csv (the line of each bed) or json (everything, SI units)")
	aside.addFlags(cmd)
	return cmd
}

func writeJSON(w io.Writer, v any) error {
	e := json.NewEncoder(w)
	e.SetIndent("", " ")
	e.SetEscapeHTML(false)
	return e.Encode(v)
}

// statesCSV writes the top of the review: one row a bed.
func statesCSV(w io.Writer, r *analysis.Review) error {
	c := csv.NewWriter(w)
	rows := [][]string{{"grower", "bed", "as of", "state", "lab pending", "why"}}
	for i := range r.Beds {
		b := &r.Beds[i]
		pending := "no"
		if b.LabPending {
			pending = "yes"
		}
		rows = append(rows, []string{harmless(b.Grower), harmless(b.Bed), r.AsOf.String(), b.State, pending, harmless(b.Why)})
	}
	return c.WriteAll(rows)
}

// harmless keeps a cell from being run as a formula by a spreadsheet.
func harmless(s string) string {
	if s != "" && (s[0] == '=' || s[0] == '+' || s[0] == '-' || s[0] == '@' || s[0] == '\t' || s[0] == '\r') {
		return "'" + s
	}
	return plain(s)
}
