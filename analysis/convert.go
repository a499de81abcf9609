package analysis

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Conversion is a published line between two methods. Such lines are regional and
// disagree with each other, so they only serve to show a figure beside the one
// that was measured: none enters a series, a target, a sum or a rate.
type Conversion struct {
	Analyte string   `json:"analyte"`
	From    string   `json:"from"`
	To      string   `json:"to"`
	Formula string   `json:"formula"`
	Regions []string `json:"regions,omitempty"` // where it was made; none: not tied to a place
	Domain  string   `json:"domain"`
	Source  string   `json:"source"`
	// Spread is the half-width of the 90 % range that the line itself adds, as a
	// share (pH: in pH units), and SpreadBasis where it comes from.
	Spread      float64 `json:"spread"`
	SpreadBasis string  `json:"spread_basis"`

	slope, intercept float64
	most             float64 // the line holds below this result; 0: not limited
}

// Conversions lists the lines that were read in their source.
func Conversions() []Conversion {
	const (
		triState = "Culman and others 2019, Ohioline ANR-75"
		kansas   = "Rutter and Ruiz Diaz 2019, Kansas Agricultural Experiment Station Research Reports 5(4), doi 10.4148/2378-5977.7759"
		alaska   = "Michaelson, Ping and Mitchell 1987, Communications in Soil Science and Plant Analysis 18, 1003-1016"
		lead     = "Hamel, Heckman and others, Rutgers: lead by soil-test extractants"
		apart    = "how far published lines for this pair lie apart"
		assumed  = "assumed: the source we read prints none"
	)
	ohio := []string{"Ohio", "Indiana"}
	mid := []string{"New Jersey", "Delaware"}
	list := []Conversion{
		{Analyte: "P", From: "Mehlich-3 ICP", To: "Bray P1", slope: 0.832, intercept: -8.08, Regions: []string{"Ohio"}, Domain: "above 9.7 mg/kg", Source: "Ohio State University, agricultural best management practices FAQ", Spread: 0.35, SpreadBasis: apart},
		{Analyte: "P", From: "Bray P1", To: "Mehlich-3", slope: 1.35, Regions: ohio, Domain: "field soils", Source: triState, Spread: 0.35, SpreadBasis: apart},
		{Analyte: "P", From: "Bray P1", To: "Mehlich-3", slope: 1.38, Regions: []string{"Alaska"}, Domain: "slopes 1.01 (least) to 1.88 (volcanic ash); the middle is used", Source: alaska, Spread: 0.36, SpreadBasis: "the slopes printed"},
		{Analyte: "K", From: "ammonium acetate", To: "Mehlich-3", slope: 1.14, Regions: ohio, Domain: "field soils", Source: triState, Spread: 0.15, SpreadBasis: apart},
		{Analyte: "K", From: "Mehlich-3", To: "ammonium acetate", slope: 1 / 1.14, Regions: ohio, Domain: "field soils", Source: triState, Spread: 0.15, SpreadBasis: apart},
		{Analyte: "K", From: "Mehlich-3", To: "ammonium acetate", slope: 1, Regions: []string{"Kansas"}, Domain: "slope 0.97, R2 0.98: read as one to one", Source: kansas, Spread: 0.15, SpreadBasis: apart},
		{Analyte: "Mg", From: "Mehlich-3", To: "ammonium acetate", slope: 1, Regions: []string{"Kansas"}, Domain: "about one to one at every pH", Source: "Kansas Agricultural Experiment Station Research Reports 7(8)", Spread: 0.15, SpreadBasis: assumed},
		{Analyte: "Ca", From: "Mehlich-3", To: "ammonium acetate", slope: 1 / 1.17, Regions: []string{"Alaska"}, Domain: "slopes 0.95 to 1.33, below pH 7.3", Source: alaska, Spread: 0.2, SpreadBasis: "the slopes printed"},
		{Analyte: "Pb", From: "Mehlich-1", To: "total digest", slope: 5.3, intercept: 96, most: 720, Regions: mid, Domain: "below 720 mg/kg, 96 Alfisols and Ultisols, r2 0.49", Source: lead, Spread: 0.7, SpreadBasis: assumed},
		{Analyte: "Pb", From: "Mehlich-3", To: "total digest", slope: 1.3, intercept: 39, most: 720, Regions: mid, Domain: "below 720 mg/kg, 96 Alfisols and Ultisols, r2 0.60", Source: lead, Spread: 0.6, SpreadBasis: assumed},
		{Analyte: "Pb", From: "modified Morgan", To: "total digest", slope: 4.7, intercept: 64, most: 720, Regions: mid, Domain: "below 720 mg/kg, 96 Alfisols and Ultisols, r2 0.74", Source: lead, Spread: 0.5, SpreadBasis: assumed},
		{Analyte: "pH", From: "water", To: "CaCl2", slope: 1.05, intercept: -0.9, Domain: "soils that are not saline", Source: "Conyers and Davey 1988", Spread: 0.23, SpreadBasis: "1.645 times the residual of a like line, 0.14 (Japan)"},
	}
	for i := range list {
		c := &list[i]
		c.Formula = fmt.Sprintf("%s = %.3g x %s", c.To, c.slope, c.From)
		if c.intercept != 0 {
			c.Formula += fmt.Sprintf(" %+.3g", c.intercept)
		}
	}
	return list
}

// Place is where a soil lies, for what a conversion may be shown of it.
type Place struct {
	Region string   // a state or country; "": not declared
	PH     *float64 // of the same soil; nil: not known
}

// Converted is a level shown as another method might read it.
type Converted struct {
	Estimate   Estimate   `json:"estimate"`   // its range holds the line's own error too
	Measured   Estimate   `json:"measured"`   // what the lab found, by its method
	Conversion Conversion `json:"conversion"` // with source and domain
	Text       string     `json:"text"`
}

// carbonatePH is the pH from which acid extractants dissolve free lime, so that
// their calcium is no longer exchangeable calcium.
//
// Source: Kansas Agricultural Experiment Station Research Reports 7(8), Mehlich-3
// against ammonium acetate.
const carbonatePH = 7.3

// Shown converts a level for display. Where it must not be shown, refused says
// why and nothing is returned.
func Shown(l *Level, to string, at Place) (c Converted, refused string) {
	named := func(have, want string) bool {
		switch want {
		case "water":
			return have == "water" || strings.HasPrefix(have, "water ")
		case "Mehlich-3": // ICP or colour makes no difference but to P
			return have == want || l.Analyte != "P" && strings.HasPrefix(have, want)
		}
		return have == want
	}
	switch {
	case l.Method == "":
		return c, "the report names no method"
	case l.Method == to:
		return c, "it was measured by this method"
	case l.Qualifier != "":
		return c, "a result beyond the lab's limit has no conversion"
	case l.Estimate.Unit != "mg/kg" && l.Estimate.Unit != "pH":
		return c, fmt.Sprintf("no line was made for %s", l.Estimate.Unit)
	}
	var pair, here []Conversion
	for _, x := range Conversions() {
		if x.Analyte == l.Analyte && named(l.Method, x.From) && x.To == to {
			pair = append(pair, x)
			if x.Regions == nil || slices.ContainsFunc(x.Regions, func(r string) bool { return strings.EqualFold(r, at.Region) }) {
				here = append(here, x)
			}
		}
	}
	switch {
	case l.Analyte == "Ca" && (at.PH == nil || *at.PH >= carbonatePH):
		return c, fmt.Sprintf("calcium is not converted at pH %v or above, nor where pH is not known: free lime dissolves in the extract", carbonatePH)
	case len(pair) == 0 && l.Analyte == "P" && l.Method == "Mehlich-3" && to == "Bray P1":
		return c, "the report does not say whether P was read by ICP or by colour, which differ"
	case len(pair) == 0:
		return c, fmt.Sprintf("no line from %s to %s that holds outside its own region was found in print", l.Method, to)
	case len(here) == 0 && at.Region == "":
		return c, "the region is not declared, and every line holds for its own"
	case len(here) == 0:
		return c, fmt.Sprintf("the published lines were made in %s", regionsOf(pair))
	}
	x := here[0]
	line := func(v float64) float64 { return x.slope*v + x.intercept }
	v := line(l.Estimate.Value)
	switch {
	case v <= 0:
		return c, fmt.Sprintf("the line gives %.1f, which no soil holds: it is not defined so low", v)
	case x.most > 0 && v >= x.most:
		return c, fmt.Sprintf("the line was made below %v %s", x.most, l.Estimate.Unit)
	}
	e := l.Estimate
	e.Value = v
	if additive(l.Analyte) {
		half := math.Hypot(x.slope*z90*l.sd, x.Spread)
		e.Low, e.High = v-half, v+half
	} else {
		steep := x.slope * l.Estimate.Value / v // relative slope of a line with an intercept
		half := math.Hypot(steep*z90*l.sd, math.Log1p(x.Spread))
		e.Low, e.High = v*math.Exp(-half), v*math.Exp(half)
	}
	e.Basis = fmt.Sprintf("%s, and the line's own %.2g (%s)", l.Estimate.Basis, x.Spread, x.SpreadBasis)
	c = Converted{Estimate: e, Measured: l.Estimate, Conversion: x}
	c.Text = fmt.Sprintf("%s %s%s by %s; estimated %s (90 %% range %s to %s) by %s: %s; %s. For looking only: it enters no series, band or rate",
		l.Analyte, l.Text(), unitText(e.Unit, false), l.Method, Round(l.Analyte, v), Round(l.Analyte, e.Low), Round(l.Analyte, e.High), to, x.Source, x.Domain)
	return c, ""
}

func regionsOf(list []Conversion) string {
	var out []string
	for _, c := range list {
		for _, r := range c.Regions {
			if !slices.Contains(out, r) {
				out = append(out, r)
			}
		}
	}
	return strings.Join(out, ", ")
}
