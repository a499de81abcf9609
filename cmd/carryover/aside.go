package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"carryover/analysis"
	"carryover/dataset/unit"
)

// asides are the pages that a review shows only when asked.
type asides struct {
	ratios          bool
	shownAs, region string
}

func (a *asides) addFlags(cmd *cobra.Command) {
	f := cmd.Flags()
	f.BoolVar(&a.ratios, "cation-ratios", false, "show the ratios of the cations, and the evidence against steering by them")
	f.StringVar(&a.shownAs, "shown-as", "", "show the newest levels as this method might have read them")
	f.StringVar(&a.region, "region", "", "the state the soil lies in, for --shown-as")
}

func (a *asides) asked() bool { return a.ratios || a.shownAs != "" }

func (a *asides) check(format string) error {
	switch {
	case a.ratios && a.shownAs != "":
		return usagef("--cation-ratios and --shown-as are two pages: ask for one")
	case a.region != "" && a.shownAs == "":
		return usagef("--region goes with --shown-as")
	case a.asked() && format == "csv":
		return usagef("--format csv holds the states of the beds: this page goes as table or json")
	}
	return nil
}

func (a *asides) show(w io.Writer, r *analysis.Review, format string, width int) error {
	if a.ratios {
		return showRatios(w, r, format, width)
	}
	return a.showAs(w, r, format, width)
}

func showRatios(w io.Writer, r *analysis.Review, format string, width int) error {
	var pages []analysis.CationRatios
	for i := range r.Beds {
		pages = append(pages, r.Beds[i].CationRatios())
	}
	if format == "json" {
		return writeJSON(w, pages)
	}
	p := &page{w: w, width: width}
	p.para("", fmt.Sprintf("CATION RATIOS of %s, as of %s. No dose rests on them.", plain(r.Book), r.AsOf))
	if r.Invented {
		p.para("", "Invented demo data: no such patch, no such grower, no such lab.")
	}
	for i := range pages {
		x := &pages[i]
		p.line("")
		p.para("", plain(x.Bed)+": "+plain(x.Text)+".")
		for _, s := range x.Standings {
			p.para("  ", plain(s.Text)+".")
		}
	}
	if len(pages) > 0 {
		p.line("")
		p.line("What was proposed, in %% of the exchange sites")
		for _, o := range pages[0].Proposed {
			p.line("  %s: Ca %s, Mg %s, K %s", o.Author, span(o.Ca), span(o.Mg), span(o.K))
		}
		p.line("")
		p.line("What trials found")
		for _, e := range pages[0].Evidence {
			p.para("  ", e)
		}
	}
	return p.err
}

func span(x [2]float64) string {
	if x[0] == x[1] {
		return fmt.Sprintf("%.0f", x[0])
	}
	return fmt.Sprintf("%.0f-%.0f", x[0], x[1])
}

// shownLevel is one line of the page of conversions.
type shownLevel struct {
	Bed       string              `json:"bed"`
	Analyte   string              `json:"analyte"`
	When      string              `json:"when"`
	Converted *analysis.Converted `json:"converted,omitempty"`
	Refused   string              `json:"refused,omitempty"`
	level     *analysis.Level
}

// showAs prints the newest level of each analyte as another method might have
// read it, or why it cannot be told.
func (a *asides) showAs(w io.Writer, r *analysis.Review, format string, width int) error {
	lines := []shownLevel{}
	for i := range r.Beds {
		b := &r.Beds[i]
		newest := map[string]*analysis.Level{}
		var order []string
		for j := range b.Levels {
			l := &b.Levels[j]
			if !l.Top() || l.Method == "" {
				continue
			}
			if newest[l.Analyte] == nil {
				order = append(order, l.Analyte)
			}
			if o := newest[l.Analyte]; o == nil || l.Date >= o.Date {
				newest[l.Analyte] = l
			}
		}
		for _, name := range order {
			l := newest[name]
			x, _ := unit.ByID(name)
			to, err := unit.ParseMethod(a.shownAs, x)
			if err != nil || to == l.Method {
				continue // another analyte's method, or nothing to convert
			}
			place := analysis.Place{Region: a.region}
			if ph := newest["pH"]; ph != nil && sameReport(ph, l) {
				place.PH = &ph.Estimate.Value
			}
			line := shownLevel{Bed: b.Bed, Analyte: name, When: l.When, level: l}
			if c, refused := analysis.Shown(l, to, place); refused == "" {
				line.Converted = &c
			} else {
				line.Refused = refused
			}
			lines = append(lines, line)
		}
	}
	if format == "json" {
		return writeJSON(w, lines)
	}
	p := &page{w: w, width: width}
	p.para("", fmt.Sprintf("SHOWN AS %s: the newest levels of %s as that method might have read them. For looking only: they enter no series, band or rate.", plain(a.shownAs), plain(r.Book)))
	if r.Invented {
		p.para("", "Invented demo data: no such patch, no such grower, no such lab.")
	}
	if len(lines) == 0 {
		p.line("")
		p.para("", fmt.Sprintf("No level here could be read by %q in another way: a method's name as labs print it, such as Mehlich-3, Bray P1 or CaCl2.", plain(a.shownAs)))
	}
	bed := ""
	for _, l := range lines {
		if l.Bed != bed {
			p.line("")
			p.line("%s", plain(l.Bed))
			bed = l.Bed
		}
		if l.Converted != nil {
			p.para("  ", plain(l.When+": "+l.Converted.Text)+".")
		} else {
			p.para("  ", plain(fmt.Sprintf("%s: %s by %s is not shown: %s", l.When, l.Analyte, l.level.Method, l.Refused))+".")
		}
	}
	return p.err
}

func sameReport(x, y *analysis.Level) bool { return x.Date == y.Date && x.Lab == y.Lab }

// chosenTargets is the targets.toml of a new book, by lab and state.
func chosenTargets(lab, state string) (text, note string) {
	if lab == "" && state == "" {
		return analysis.DefaultTargets(), ""
	}
	sets, note := analysis.ChooseTargets(lab, state)
	return analysis.TargetsTOML(sets, note), note
}
