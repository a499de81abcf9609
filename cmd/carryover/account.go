package main

import (
	"encoding/csv"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"carryover/analysis"
	"carryover/dataset"
)

func newAccount() *cobra.Command {
	var look looking
	var save saving
	var format string
	var nutrients []string
	cmd := &cobra.Command{
		Use:   "account",
		Short: "Show what each season gave a bed and took from it",
		Long: `account lists the sources and uses of each nutrient in each bed and season:
bags, compost, water, what organic matter released; fruit, vines. Every figure
has its 90 % range and where it comes from. Nitrogen has sources and uses and no
end: too much of it moves unseen. What winter's water washes down is not in it
yet.

One season unless told otherwise: the last with a harvest. --season chooses it,
and looks at nothing later.`,
		Example: "  carryover account --bed Creek --nutrient K\n  carryover account --season 2025 --format csv --out account.csv",
		Args:    wantArgs(0, 0, "no argument"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := oneOf("format", format, "table", "csv", "json"); err != nil {
				return err
			}
			book, err := openBook(cmd)
			if err != nil {
				return err
			}
			o, s, rec, err := look.options(book)
			if err != nil {
				return err
			}
			r, err := analysis.Accounts(rec, analysis.AccountOptions{Options: o})
			if err != nil {
				return err
			}
			if nutrients, err = accounted(r, nutrients); err != nil {
				return err
			}
			keep(r, look.season, nutrients)
			return save.write(cmd, func(w io.Writer) error {
				switch format {
				case "json":
					return writeJSON(w, r)
				case "csv":
					return accountCSV(w, r, s)
				}
				return showAccounts(w, r, s, book, width(cmd.OutOrStdout()))
			})
		},
	}
	look.addFlags(cmd)
	save.addFlags(cmd, "write the account to this file")
	cmd.Flags().StringVar(&format, "format", "table", "table, csv (a row a line) or json (all, SI units)")
	cmd.Flags().StringArrayVar(&nutrients, "nutrient", nil, "only this nutrient, such as K, or CaCO3 for lime value (may be given again)")
	return cmd
}

// accounted finds the nutrients that are asked for.
func accounted(r *analysis.AccountReport, asked []string) (out []string, err error) {
	var known []string
	for i := range r.Accounts {
		for _, n := range r.Accounts[i].Nutrients {
			if !slices.Contains(known, n.Nutrient) {
				known = append(known, n.Nutrient)
			}
		}
	}
	for _, a := range asked {
		i := slices.IndexFunc(known, func(n string) bool { return strings.EqualFold(n, a) })
		if i < 0 {
			return nil, usagef("--nutrient %q: accounts are kept of %s", a, strings.Join(known, ", "))
		}
		out = append(out, known[i])
	}
	return out, nil
}

// keep drops the seasons and nutrients that were not asked for; season 0 is each
// bed's last.
func keep(r *analysis.AccountReport, season int, nutrients []string) {
	last := map[[2]string]int{}
	for i := range r.Accounts {
		a := &r.Accounts[i]
		last[[2]string{a.Grower, a.Bed}] = max(last[[2]string{a.Grower, a.Bed}], a.Season)
	}
	used := map[int]bool{}
	r.Accounts = slices.DeleteFunc(r.Accounts, func(a analysis.BedAccount) bool {
		return season == 0 && a.Season != last[[2]string{a.Grower, a.Bed}] || season != 0 && a.Season != season
	})
	drop := func(n string) bool { return nutrients != nil && !slices.Contains(nutrients, n) }
	for i := range r.Accounts {
		a := &r.Accounts[i]
		a.Lines = slices.DeleteFunc(a.Lines, func(l analysis.AccountLine) bool { return drop(l.Nutrient) })
		a.Nutrients = slices.DeleteFunc(a.Nutrients, func(n analysis.NutrientAccount) bool { return drop(n.Nutrient) })
		for _, id := range a.Doubts {
			used[id] = true
		}
		for _, l := range a.Lines {
			for _, id := range l.Doubts {
				used[id] = true
			}
		}
	}
	r.Doubts = slices.DeleteFunc(r.Doubts, func(d analysis.Doubt) bool { return !used[d.ID] })
}

func showAccounts(w io.Writer, r *analysis.AccountReport, s shown, book *dataset.Book, width int) error {
	p := &page{w: w, width: width}
	p.para("", fmt.Sprintf("ACCOUNT of %s, as of %s: what each season gave and took, as the element, 90 %% ranges", plain(r.Book), r.AsOf))
	if r.Invented {
		p.para("", "Invented demo data: no such patch, no such grower, no such lab.")
	}
	for i := range r.Accounts {
		a := &r.Accounts[i]
		p.line("")
		p.line("%s", strings.Repeat("-", p.width))
		head := fmt.Sprintf("%s, season %d", strings.ToUpper(plain(a.Bed)), a.Season)
		if a.Area != nil {
			head += ", " + s.area(*a.Area)
		}
		p.line("%s", head)
		if a.Fruit > 0 {
			p.para("", plain(a.Took(s.us)))
		}
		for j := range a.Nutrients {
			n := &a.Nutrients[j]
			p.line("")
			name := n.Nutrient
			if name == analysis.LimeValue {
				name = "Lime value, as CaCO3"
			}
			p.line("%s%s%s", pad(name, 8+1), pad(s.weightUnit()+" on the bed", 24), s.perAreaUnit())
			line := func(kind string, e, area *analysis.Estimate, term string) {
				p.para(fmt.Sprintf("%s%s%s", pad(kind, 9), pad(s.onBed(e), 24), pad(s.onArea(area), 9)), plain(term))
			}
			for _, kind := range []string{analysis.Source, analysis.Use, analysis.Within} {
				for k := range a.Lines {
					if l := &a.Lines[k]; l.Nutrient == n.Nutrient && l.Kind == kind {
						line(kind, &l.Estimate, l.PerArea, l.Term+refs(l.Doubts))
					}
				}
			}
			line("sources", &n.Sources, nil, "in all")
			line("uses", &n.Uses, nil, "in all")
			for _, t := range n.Text {
				p.para("  ", plain(t))
			}
		}
	}
	if d := shortDays(book, r); d != "" {
		p.line("")
		p.para("", d)
	}
	if len(r.Doubts) > 0 {
		p.line("")
		p.line("Doubts")
		for _, d := range r.Doubts {
			text := d.Text
			if len(d.Beds) > 0 && len(d.Beds) <= 6 {
				text = strings.Join(d.Beds, ", ") + ": " + text
			}
			p.para(fmt.Sprintf("[%d] ", d.ID), plain(text)+".")
		}
	}
	p.line("")
	for _, c := range r.Cautions {
		p.para("", c)
	}
	return p.err
}

// onBed prints an amount on the bed with its range: 1.5 (1.4 to 1.6).
func (s shown) onBed(e *analysis.Estimate) string {
	return fmt.Sprintf("%s (%s to %s)", signedFigures(s.weight(e.Value)), signedFigures(s.weight(e.Low)), signedFigures(s.weight(e.High)))
}

func (s shown) onArea(e *analysis.Estimate) string {
	if e == nil {
		return ""
	}
	return signedFigures(s.perArea(e.Value))
}

// signedFigures is figures2 for what may lie below zero.
func signedFigures(v float64) string {
	if v < 0 {
		return "-" + figures2(-v)
	}
	return figures2(v)
}

// shortDays tells when covers stop growing at the book's latitude, in the winter
// after the last season shown.
func shortDays(book *dataset.Book, r *analysis.AccountReport) string {
	if book.Config.Latitude == nil || len(r.Accounts) == 0 {
		return ""
	}
	season := 0
	for i := range r.Accounts {
		season = max(season, r.Accounts[i].Season)
	}
	first, last, ok := analysis.ShortDays(*book.Config.Latitude, season, analysis.AlmanacHorizon)
	if !ok {
		return ""
	}
	return fmt.Sprintf("Days are shorter than 10 h from %s to %s at %.4g degrees: a cover sown then does not grow before they lengthen (common practice, no source).", first, last, *book.Config.Latitude)
}

// accountCSV writes a row a line, amounts in the reader's units in full digits.
func accountCSV(w io.Writer, r *analysis.AccountReport, s shown) error {
	c := csv.NewWriter(w)
	u, area := s.weightUnit(), s.perAreaUnit()
	rows := [][]string{{"grower", "bed", "season", "nutrient (element)", "kind", "term", u, u + " low", u + " high", area, area + " low", area + " high", "equivalent (ppm)", "source of the range"}}
	if !s.us {
		rows[0][12] = "equivalent (mg/kg)"
	}
	num := func(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }
	for i := range r.Accounts {
		a := &r.Accounts[i]
		for k := range a.Lines {
			l := &a.Lines[k]
			row := []string{harmless(a.Grower), harmless(a.Bed), strconv.Itoa(a.Season), l.Nutrient, l.Kind, harmless(l.Term),
				num(s.weight(l.Estimate.Value)), num(s.weight(l.Estimate.Low)), num(s.weight(l.Estimate.High)), "", "", "", "", harmless(l.Source)}
			if p := l.PerArea; p != nil {
				row[9], row[10], row[11] = num(s.perArea(p.Value)), num(s.perArea(p.Low)), num(s.perArea(p.High))
			}
			if e := l.Equivalent; e != nil {
				row[12] = num(e.Value)
			}
			rows = append(rows, row)
		}
	}
	return c.WriteAll(rows)
}
