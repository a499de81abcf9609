package main

import (
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"carryover/analysis"
	"carryover/dataset"
	"carryover/dataset/unit"
	"carryover/plots"
)

func newChart() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "chart",
		Short: "Draw a chart (SVG or PNG): chart drawdown",
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 0 {
				return usagef("no chart %q: expected drawdown", args[0])
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(newChartDrawdown())
	return cmd
}

func newChartDrawdown() *cobra.Command {
	var look looking
	save := saving{}
	var nutrients []string
	cmd := &cobra.Command{
		Use:   "drawdown",
		Short: "Levels by season, bed by bed: spring to autumn solid, winter dotted",
		Long: `chart drawdown draws a small chart for every bed and nutrient: tests by season,
spring to autumn solid, winter dotted, year to year dashed, inputs marked on
their dates, one scale for each nutrient. Bars are 90 % ranges of a test; hollow
marks carry a doubt that the review explains. More beds or nutrients than fit go
on further pages: name-1.svg, name-2.svg ...`,
		Example: "  carryover chart drawdown --out drawdown.svg\n  carryover chart drawdown --bed Creek --nutrient K --out creek.png",
		Args:    wantArgs(0, 0, "no argument"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if save.out == "" {
				return usagef("--out is missing: name the file, such as drawdown.svg or drawdown.png")
			}
			ext := filepath.Ext(save.out)
			if err := oneOf("out", strings.ToLower(ext), ".svg", ".png"); err != nil {
				return usagef("--out %q: expected a name that ends in .svg or .png", save.out)
			}
			r, s, err := look.load(cmd)
			if err != nil {
				return err
			}
			if nutrients, err = testedAll(r, nutrients); err != nil {
				return err
			}
			d := drawdownChart(r, s, nutrients)
			figures, err := d.Figures(plots.Options{})
			if err != nil {
				return err
			}
			for n := range figures { // a chart of several pages is named as plots.Save does
				page := save
				if len(figures) > 1 {
					page.out = fmt.Sprintf("%s-%d%s", strings.TrimSuffix(save.out, ext), n+1, ext)
				}
				if err := page.free(); err != nil {
					return err
				}
			}
			files, err := plots.Save(save.out, d, plots.Options{})
			for _, f := range files {
				fmt.Fprintln(cmd.ErrOrStderr(), "wrote "+f)
			}
			return err
		},
	}
	look.addFlags(cmd)
	save.addFlags(cmd, "file to draw: .svg or .png (required)")
	cmd.Flags().StringArrayVar(&nutrients, "nutrient", nil, "only this nutrient or level, such as K or pH (may be given again)")
	return cmd
}

// testedAll is tested for each of a list; nil stays nil.
func testedAll(r *analysis.Review, names []string) (out []string, err error) {
	for _, n := range names {
		a, err := tested(r, n)
		if err != nil {
			return nil, err
		}
		out = append(out, a)
	}
	return out, nil
}

// tested returns the analyte that text names, if the review holds a test of it.
func tested(r *analysis.Review, text string) (string, error) {
	var have []string
	for i := range r.Beds {
		for j := range r.Beds[i].Levels {
			if a := r.Beds[i].Levels[j].Analyte; !slices.Contains(have, a) {
				have = append(have, a)
			}
		}
	}
	for _, a := range have {
		full, _ := unit.ByID(a)
		if strings.EqualFold(a, text) || strings.EqualFold(full.Name, text) {
			return a, nil
		}
	}
	slices.SortFunc(have, func(x, y string) int { return unit.Rank(x) - unit.Rank(y) })
	return "", usagef("--nutrient %q: the book holds tests of %s", text, strings.Join(have, ", "))
}

// charted are the levels a chart shows unless asked for others.
var charted = []string{"pH", "OM", "P", "K", "Ca", "Mg", "S", "B"}

// drawdownChart lays the review out as a chart; it computes nothing.
func drawdownChart(r *analysis.Review, s shown, nutrients []string) plots.Drawdown {
	if nutrients == nil {
		nutrients = charted
	}
	d := plots.Drawdown{Title: chartTitle(r)}
	var cols []column
	for i := range r.Beds {
		for _, c := range columnsOf(r.Beds[i].Levels) {
			if slices.Contains(nutrients, c.analyte) && !slices.Contains(cols, c) {
				cols = append(cols, c)
			}
		}
	}
	// Values without a method are drawn in the row of the method that the
	// analyte usually has here, hollow and unjoined.
	cols = slices.DeleteFunc(cols, func(c column) bool {
		return c.method == "" && slices.ContainsFunc(cols, func(o column) bool { return o.method != "" && o.analyte == c.analyte && o.unit == c.unit })
	})
	slices.SortStableFunc(cols, func(x, y column) int { return unit.Rank(x.analyte) - unit.Rank(y.analyte) })
	for _, c := range cols {
		d.Nutrients = append(d.Nutrients, plots.Nutrient{Symbol: c.analyte, Unit: s.soilUnit(c.unit), Method: c.method})
	}
	for i := range r.Beds {
		b := &r.Beds[i]
		d.Beds = append(d.Beds, bedName(r, b))
		for n := range cols {
			d.Panels = append(d.Panels, panelOf(b, cols, i, n))
		}
	}
	d.Subtitle = "Spring tests joined to autumn tests by solid lines; winter dotted; bars are the 90 % range of one test; triangles mark a spreading that acts on that level, by its analysis."
	d.Caption = fmt.Sprintf("Sampled %s. Ranges from default test errors (cores, lab, season; from memory). Hollow marks carry a doubt: see carryover review. A rise over winter may be something spread, not the soil.", strings.Join(shownDepths(r, s), " and "))
	if r.Invented {
		d.Caption += " Invented demo data."
	}
	return d
}

func chartTitle(r *analysis.Review) string {
	first, last := math.MaxInt, 0
	for i := range r.Beds {
		for j := range r.Beds[i].Levels {
			first, last = min(first, r.Beds[i].Levels[j].Season), max(last, r.Beds[i].Levels[j].Season)
		}
	}
	beds := fmt.Sprintf("%d beds", len(r.Beds))
	if len(r.Beds) == 1 {
		beds = r.Beds[0].Bed
	}
	return plain(fmt.Sprintf("Soil tests in spring and autumn, %s, %d-%d", beds, first, last))
}

// shownDepths lists the worked layers sampled.
func shownDepths(r *analysis.Review, s shown) (out []string) {
	for i := range r.Beds {
		for j := range r.Beds[i].Levels {
			l := &r.Beds[i].Levels[j]
			if t := s.depth(l.DepthFrom, l.DepthTo); l.Top() && !slices.Contains(out, t) {
				out = append(out, t)
			}
		}
	}
	slices.Sort(out)
	return out
}

// decimalYear places a day on the axis of years.
func decimalYear(d dataset.Date) float64 {
	y := d.Year()
	start, next := dataset.DateOf(y, 1, 1), dataset.DateOf(y+1, 1, 1)
	return float64(y) + float64(d-start)/float64(next-start)
}

func panelOf(b *analysis.BedReview, cols []column, bed, nutrient int) plots.Panel {
	c := cols[nutrient]
	p := plots.Panel{Bed: bed, Nutrient: nutrient}
	type test struct {
		date  dataset.Date
		value float64
	}
	at, onDay := map[test]int{}, map[dataset.Date]int{}
	for i := range b.Levels {
		l := &b.Levels[i]
		if l.Analyte != c.analyte || l.Estimate.Unit != c.unit || !l.Top() || l.Method != c.method && (l.Method != "" || home(cols, column{l.Analyte, l.Method, l.Estimate.Unit}) != c) {
			continue
		}
		if l.Method == c.method {
			at[test{l.Date, l.Estimate.Value}], onDay[l.Date] = len(p.Points), len(p.Points)
		}
		timing := map[string]plots.Timing{analysis.Spring: plots.Spring, analysis.Autumn: plots.Autumn, analysis.MidSeason: plots.MidSeason}[l.Timing]
		pt := plots.Point{
			X: decimalYear(l.Date), Value: l.Estimate.Value, Low: l.Estimate.Low, High: l.Estimate.High,
			Timing: timing, Below: l.Qualifier == "<", Above: l.Qualifier == ">",
		}
		if l.Qualifier == ">" {
			pt.Low, pt.High = math.NaN(), math.NaN()
		}
		pt.Doubt = l.Method == "" || l.Suspect
		p.Points = append(p.Points, pt)
	}
	link := func(from, to test, kind plots.LinkKind) {
		f, ok := at[from]
		t, ok2 := at[to]
		if ok && ok2 {
			p.Links = append(p.Links, plots.Link{From: f, To: t, Kind: kind})
		}
	}
	for i := range b.Changes {
		if x := &b.Changes[i]; x.Analyte == c.analyte && x.Method == c.method && x.Estimate.Unit == c.unit {
			kind := map[string]plots.LinkKind{analysis.Drawdown: plots.SeasonLink, analysis.Winter: plots.WinterLink, analysis.Year: plots.YearLink}[x.Kind]
			link(test{x.From.Date, x.From.Value}, test{x.To.Date, x.To.Value}, kind)
		}
	}
	for i := range b.Breaks {
		if k := &b.Breaks[i]; slices.Contains(k.Analytes, c.analyte) {
			f, ok := onDay[k.From]
			t, ok2 := onDay[k.To]
			if ok && ok2 {
				p.Links = append(p.Links, plots.Link{From: f, To: t, Kind: plots.BreakLink})
			}
		}
	}
	for i := range b.Inputs {
		in := &b.Inputs[i]
		if in.Feeds != nil && !slices.Contains(in.Feeds, c.analyte) {
			continue // its analysis says that it brings none of this
		}
		p.Inputs = append(p.Inputs, plots.Input{X: decimalYear(in.Date), Label: in.Material})
	}
	return p
}
