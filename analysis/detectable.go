package analysis

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"carryover/dataset"
	"carryover/dataset/unit"
)

// Margin is the smallest difference from a value that two tests can show: nine
// of ten pairs without a true difference stay within it. It is in the unit of
// the value.
type Margin struct {
	Fall float64 `json:"fall"`
	Rise float64 `json:"rise"`
}

// Detectable holds the margins of a level at RangeLevel: against a like test of
// the season's other timing, of the same timing in another year, and of another
// bed in the same report. The first holds the cores', the lab's, the report's
// and autumn's own reading, the next lacks the last, the last has the bed's own
// error alone.
type Detectable struct {
	Season Margin `json:"within_season"`
	Year   Margin `json:"same_timing"`
	Bed    Margin `json:"same_report"`
}

// margin is what a difference with standard deviation sd must exceed to be seen.
func (l *Level) margin(sd float64) Margin {
	m := z90 * sd
	if additive(l.Analyte) {
		return Margin{m, m}
	}
	return Margin{-l.Estimate.Value * math.Expm1(-m), l.Estimate.Value * math.Expm1(m)}
}

// What a change says of itself.
const (
	CanBeSeen    = "can be seen"
	CannotBeTold = "cannot be told from no change"
)

func says(seen bool) string {
	if seen {
		return CanBeSeen
	}
	return CannotBeTold
}

// sdFor returns a level's share of the error of a change of that kind. Tests of
// the same timing read the season alike, so what is left of it is the report's.
func (l *Level) sdFor(kind string) float64 {
	if kind == Year {
		return math.Hypot(l.own, l.report)
	}
	return l.sd
}

// Sentence says a change in one line, in ppm where us is set.
func (c *Change) Sentence(us bool) string {
	u := unitText(c.Estimate.Unit, us)
	how := "did not move"
	from, to := c.From.Qualifier+Round(c.Analyte, c.From.Value), c.To.Qualifier+Round(c.Analyte, c.To.Value)
	if d := c.To.Value - c.From.Value; from != to {
		how = "rose"
		if d < 0 {
			how = "fell"
		}
		how += fmt.Sprintf(" from %s to %s", from, to)
	} else {
		how += " from " + from
	}
	t := fmt.Sprintf("%s %s%s: %s", c.Analyte, how, u, c.Says)
	if c.Detectable != nil {
		t += fmt.Sprintf(" (two such tests show a fall of %s or a rise of %s)", roundUp(c.Analyte, c.Detectable.Fall), roundUp(c.Analyte, c.Detectable.Rise))
	}
	if c.Suspect {
		t += ", but perhaps not of the same soil"
	}
	return t
}

// unitText is a unit as it stands behind a figure: " ppm"; pH has none.
func unitText(u string, us bool) string {
	switch {
	case u == "pH":
		return ""
	case us && u == "mg/kg":
		return " ppm"
	}
	return " " + u
}

// roundUp prints a margin with the digits of its analyte, never as less.
func roundUp(analyte string, v float64) string {
	d := 1
	if a, ok := unit.ByID(analyte); ok {
		d = a.Decimals
	}
	scale := math.Pow(10, float64(d))
	return Round(analyte, math.Ceil(v*scale-1e-9)/scale)
}

// Contrast is the difference of two beds in one report, second minus first.
type Contrast struct {
	Beds       [2]string `json:"beds"`
	Analyte    string    `json:"analyte"`
	Method     string    `json:"method"`
	Estimate   Estimate  `json:"estimate"`
	Detectable Margin    `json:"detectable"` // from the first bed's value
	Seen       bool      `json:"seen"`
	Says       string    `json:"says"`
}

// Between compares the levels of two beds of one report: day, lab and method are
// the same, so the report's error is in both and falls out of the difference.
// The error says why two levels must not be compared.
func Between(bedX, bedY string, x, y *Level) (Contrast, error) {
	here := *y
	here.Ground = x.Ground // the beds differ anyway
	switch r := comparable(x, &here, (&bedWork{}).depth); {
	case x.Analyte != y.Analyte:
		return Contrast{}, fmt.Errorf("%s and %s are two things", x.Analyte, y.Analyte)
	case r != "":
		return Contrast{}, fmt.Errorf("beds %s and %s: %s", bedX, bedY, r)
	case x.Date != y.Date || x.reportID != y.reportID:
		return Contrast{}, fmt.Errorf("the tests of %s and %s stand in two reports: compare their changes instead", x.when(), y.when())
	case x.Qualifier+y.Qualifier != "":
		return Contrast{}, fmt.Errorf("a result beyond the lab's limit has no difference")
	}
	e := minus(y, x, y.own, x.own, &[2][]float64{})
	seen := e.Low > 0 || e.High < 0
	return Contrast{[2]string{bedX, bedY}, x.Analyte, x.Method, e, x.margin(math.Hypot(x.own, y.own)), seen, says(seen)}, nil
}

// Together is how far the beds of one pair of reports moved on average, later
// minus earlier in % (pH: in pH units), a drawdown's fall positive. What a
// report adds to all its beds does not average out over them.
type Together struct {
	Kind       string       `json:"kind"`
	Season     int          `json:"season"`
	Analyte    string       `json:"analyte"`
	Method     string       `json:"method"`
	Grower     string       `json:"grower"`
	From       dataset.Date `json:"from"`
	To         dataset.Date `json:"to"`
	Beds       []string     `json:"beds"`
	Estimate   Estimate     `json:"estimate"`
	Detectable Margin       `json:"detectable"` // of the mean; fall and rise in the same unit
	Seen       bool         `json:"seen"`
	Says       string       `json:"says"`
}

// String says it in one line.
func (t Together) String() string {
	return fmt.Sprintf("%s of %d beds tested together, %s to %s: %s on average %+.2g%s (90 %% range %+.2g to %+.2g): %s",
		t.Kind, len(t.Beds), t.From, t.To, t.Analyte, t.Estimate.Value, unitText(t.Estimate.Unit, false), t.Estimate.Low, t.Estimate.High, t.Says)
}

// together gathers changes that share both their reports.
func together(beds []BedReview) (out []Together) {
	type key struct {
		grower, kind, analyte, method, unit, lab string
		from, to                                 dataset.Date
	}
	type sum struct{ mean, own, report, season float64 }
	at := map[key]int{}
	var sums []sum
	for i := range beds {
		for j := range beds[i].Changes {
			c := &beds[i].Changes[j]
			if c.From.Qualifier+c.To.Qualifier != "" || c.Suspect || c.Ground != "" || !(c.From.Value > 0 && c.To.Value > 0) {
				continue
			}
			k := key{beds[i].Grower, c.Kind, c.Analyte, c.Method, c.Estimate.Unit, c.lab, c.From.Date, c.To.Date}
			n, ok := at[k]
			if !ok {
				n = len(out)
				at[k] = n
				sums = append(sums, sum{report: c.report, season: c.season})
				out = append(out, Together{Kind: c.Kind, Season: c.Season, Analyte: c.Analyte, Method: c.Method, Grower: k.grower, From: k.from, To: k.to,
					Estimate: Estimate{Level: RangeLevel, Unit: "%", Basis: c.Estimate.Basis}})
			}
			d := math.Log(c.To.Value / c.From.Value)
			if additive(c.Analyte) {
				d, out[n].Estimate.Unit = c.To.Value-c.From.Value, c.Estimate.Unit
			}
			if c.Kind == Drawdown {
				d = -d
			}
			sums[n].mean, sums[n].own = sums[n].mean+d, sums[n].own+c.own*c.own
			out[n].Estimate.N += c.Estimate.N
			out[n].Beds = append(out[n].Beds, beds[i].Bed)
		}
	}
	for n := range out {
		t, s, beds := &out[n], sums[n], float64(len(out[n].Beds))
		mean, shared := s.mean/beds, s.report
		if t.Kind != Year {
			shared = s.season
		}
		m := z90 * math.Sqrt(s.own/(beds*beds)+2*shared*shared)
		show := func(v float64) float64 {
			switch {
			case additive(t.Analyte):
				return v
			case t.Kind == Drawdown:
				return -100 * math.Expm1(-v)
			}
			return 100 * math.Expm1(v)
		}
		t.Estimate.Value, t.Estimate.Low, t.Estimate.High = show(mean), show(mean-m), show(mean+m)
		t.Detectable = Margin{math.Abs(show(-m)), math.Abs(show(m))}
		if t.Kind == Drawdown {
			t.Detectable = Margin{t.Detectable.Rise, t.Detectable.Fall}
		}
		t.Seen = math.Abs(mean) > m
		t.Says = says(t.Seen)
	}
	out = slices.DeleteFunc(out, func(t Together) bool { return len(t.Beds) < 2 })
	slices.SortStableFunc(out, func(x, y Together) int {
		return cmp.Or(cmp.Compare(x.Grower, y.Grower), cmp.Compare(unit.Rank(x.Analyte), unit.Rank(y.Analyte)), cmp.Compare(x.Analyte, y.Analyte), cmp.Compare(x.To, y.To), cmp.Compare(x.From, y.From), cmp.Compare(x.Method, y.Method))
	})
	return out
}
