package analysis

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"carryover/analysis/fit"
	"carryover/dataset"
	"carryover/dataset/unit"
)

// testError is how far one composite sample's result may lie from the truth of
// the bed: standard deviations between cores, within a lab, and of the season's
// moisture and salts. pH in pH units, all else on the log scale. Cores and lab
// are the bed's own error; the season's is in part that of the report, shared by
// all beds sampled together, and in part what autumn reads apart from spring.
type testError struct{ core, lab, season float64 }

// The component figures are defaults from memory. They lie within what surveys
// print: core CV of 10-80 % in short transects (Grains Research and Development
// Corporation, soil sampling notes), a median CV near 9 % between labs (Rayment
// and Lyons 2019, Australasian ring tests 2013-15), 0.1 pH for sampling and
// analysis together (Ferrari and Vermeulen). Nutrients with no figure of their own borrow that of the
// nutrient that behaves most alike, and say so.
func errorOf(analyte string) (e testError, basis string) {
	switch analyte {
	case "pH", "buffer pH":
		return testError{0.30, 0.08, 0.20}, "default test error, from memory"
	case "OM", "OC", "total C", "total N":
		return testError{0.20, 0.07, 0.05}, "default test error, from memory"
	case "P":
		return testError{0.40, 0.08, 0.08}, "default test error, from memory"
	case "K":
		return testError{0.30, 0.06, 0.12}, "default test error, from memory"
	case "NO3-N", "NH4-N":
		return testError{0.50, 0.08, 0.25}, "default test error of nitrate, from memory"
	case "Ca":
		return testError{0.20, 0.06, 0.08}, "default test error, from memory"
	case "Mg", "CEC", "Na", "Ca sat", "Mg sat", "K sat", "base sat", "bulk density", "sand", "silt", "clay":
		return testError{0.20, 0.06, 0.08}, "default test error of Ca, borrowed, from memory"
	}
	return testError{0.40, 0.08, 0.12}, "default test error of P, borrowed, from memory"
}

// reportShare is the part of the season's standard deviation that is new with
// every report; the rest is the offset of autumn from spring. On eight plots
// never limed, pH changed from one autumn to the next by 0.24 (root mean square
// of 13 means of a date), so by 0.17 in each report, of 0.20 in all; plots of one
// date lay 0.11 about their mean. The other analytes borrow the share.
//
// Source: own calculation on Glendining, Holland, McGrath and Goulding 2023,
// Rothamsted long-term liming experiment, doi 10.23637/rcs10-soil-01
// (TestReportEffect).
const reportShare = 0.85

// additive reports whether an analyte's error is in its own units, not a share.
func additive(analyte string) bool { return analyte == "pH" || analyte == "buffer pH" }

// defaultCores stands in where a report does not say how many cores were
// mixed; few growers take fewer than ten. Common practice, no source.
const defaultCores = 10

// own returns the standard deviation, from cores and lab alone, of the mean of n
// samples that together hold cores cores (0: not known).
func (e testError) own(cores, n int) float64 {
	if cores <= 0 {
		cores = defaultCores * n
	}
	return math.Sqrt(e.core*e.core/float64(cores) + e.lab*e.lab/float64(n))
}

// sd returns the standard deviation of the same mean about the truth of the bed.
func (e testError) sd(cores, n int) float64 { return math.Hypot(e.own(cores, n), e.season) }

// methodKey is one analyte by one method in one grower's book.
type methodKey struct{ grower, analyte, method string }

// duplicates holds what a grower's own duplicates say of the own error: samples
// of one day, bed, depth, lab and method, compared with each other.
type duplicates map[methodKey]*spread

// spread gathers squares about the means of the days, in units of the default
// own error, and their degrees of freedom: one for a pair.
type spread struct {
	squares float64
	df      int
}

// enoughDuplicates is how many pairs replace the default: with fewer, their own
// standard deviation is known worse than the default.
const enoughDuplicates = 6

// duplicate reports whether two samples of a bed, analyte and day differ in
// nothing but the soil in them.
func duplicate(x, y *dataset.SoilTest) bool {
	return x.Method == y.Method && x.Lab == y.Lab && x.Unit == y.Unit && x.Timing == y.Timing &&
		depthKey(x.DepthFrom) == depthKey(y.DepthFrom) && depthKey(x.DepthTo) == depthKey(y.DepthTo)
}

// duplicatesOf compares the duplicates tested up to a day. Rows come sorted, so
// those of one bed, analyte and day stand together.
func duplicatesOf(tests []dataset.SoilTest, asOf dataset.Date) duplicates {
	all := duplicates{}
	for i := 0; i < len(tests); {
		x, end := &tests[i], i+1
		for end < len(tests) && tests[end].Date == x.Date && tests[end].Analyte == x.Analyte && tests[end].Bed == x.Bed && tests[end].Grower == x.Grower {
			end++
		}
		rest := tests[i:end]
		for i = end; len(rest) > 1 && x.Date <= asOf; {
			var day, others []dataset.SoilTest
			for j := range rest {
				if duplicate(&rest[j], &rest[0]) {
					day = append(day, rest[j])
				} else {
					others = append(others, rest[j])
				}
			}
			all.add(day)
			rest = others
		}
	}
	return all
}

// add takes in the samples of one day.
func (d duplicates) add(day []dataset.SoilTest) {
	x := &day[0]
	if a, ok := unit.ByID(x.Analyte); !ok || x.Method == "" && !a.Plain {
		return
	}
	e, _ := errorOf(x.Analyte)
	var weights, sum float64
	var v, w []float64
	for i := range day {
		t := &day[i]
		if t.Qualifier != "" || !(t.Value > 0) {
			continue
		}
		cores := 0
		if t.Cores != nil {
			cores = int(*t.Cores)
		}
		own, y := e.own(cores, 1), t.Value
		if !additive(t.Analyte) {
			y = math.Log(y)
		}
		v, w = append(v, y), append(w, 1/(own*own))
		weights, sum = weights+w[len(w)-1], sum+y*w[len(w)-1]
	}
	if len(v) < 2 {
		return
	}
	k := methodKey{x.Grower, x.Analyte, x.Method}
	if d[k] == nil {
		d[k] = &spread{}
	}
	for i := range v {
		d[k].squares += w[i] * (v[i] - sum/weights) * (v[i] - sum/weights)
	}
	d[k].df += len(v) - 1
}

// leastOwn keeps duplicates that agree by rounding alone from promising more
// than a lab's print can: the share of the default that the own error stays above.
const leastOwn = 0.25

// factor returns what the default own error is to be multiplied with, and the
// degrees of freedom behind it (0: the default stands). It is widened so that
// ranges of 1.645 standard deviations still hold the truth in 9 of 10 cases.
func (d duplicates) factor(k methodKey) (factor float64, df int) {
	s := d[k]
	if s == nil || s.df < enoughDuplicates {
		return 1, 0
	}
	return max(leastOwn, math.Sqrt(s.squares/float64(s.df))) * student(s.df) / z90, s.df
}

// Duplicates says what a grower's duplicates tell of one analyte by one method.
// The standard deviations are of one sample of ten cores: cores and lab, without
// the season; pH in pH units, all else on the log scale.
type Duplicates struct {
	Grower  string  `json:"grower"`
	Analyte string  `json:"analyte"`
	Method  string  `json:"method"`
	Pairs   int     `json:"pairs"` // or their worth, where three and more were taken
	Own     float64 `json:"own_sd"`
	Default float64 `json:"default_sd"`
	Used    bool    `json:"used"` // they replace the default
	Text    string  `json:"text"`
}

// list tells all duplicates, by grower and as tables show the analytes.
func (d duplicates) list() []Duplicates {
	out := []Duplicates{}
	for k, s := range d {
		e, _ := errorOf(k.analyte)
		x := Duplicates{k.grower, k.analyte, k.method, s.df, math.Sqrt(s.squares/float64(s.df)) * e.own(defaultCores, 1), e.own(defaultCores, 1), s.df >= enoughDuplicates, ""}
		of := k.analyte
		if k.method != "" {
			of += " by " + k.method
		}
		show := func(sd float64) string {
			if additive(k.analyte) {
				return fmt.Sprintf("%.2f", sd)
			}
			return fmt.Sprintf("%.0f %%", 100*sd)
		}
		x.Text = fmt.Sprintf("%s: %d pairs of your duplicates differ by an error of %s a sample, default %s", of, x.Pairs, show(x.Own), show(x.Default))
		if x.Pairs == 1 {
			x.Text = strings.Replace(x.Text, "1 pairs of your duplicates differ", "1 pair of your duplicates differs", 1)
		}
		if x.Used {
			x.Text += ": yours are used"
		} else {
			x.Text += fmt.Sprintf(": the default stands until there are %d", enoughDuplicates)
		}
		out = append(out, x)
	}
	slices.SortFunc(out, func(x, y Duplicates) int {
		return cmp.Or(strings.Compare(x.Grower, y.Grower), cmp.Compare(unit.Rank(x.Analyte), unit.Rank(y.Analyte)), strings.Compare(x.Analyte, y.Analyte), strings.Compare(x.Method, y.Method))
	})
	return out
}

// z90 bounds the middle 90 % of a normal distribution.
const z90 = 1.6448536

// student returns the bound of the middle 90 % of Student's t, to 0.001 from 6
// degrees of freedom on.
//
// Source: Abramowitz and Stegun 1964, Handbook of Mathematical Functions, 26.7.5.
func student(df int) float64 {
	const z = z90
	n := float64(df)
	return z + (math.Pow(z, 3)+z)/(4*n) + (5*math.Pow(z, 5)+16*math.Pow(z, 3)+3*z)/(96*n*n) +
		(3*math.Pow(z, 7)+19*math.Pow(z, 5)+17*math.Pow(z, 3)-15*z)/(384*n*n*n)
}

// draws returns fit.N values that stand for the true level behind l, in out if
// that is long enough. Independent levels take different dimensions.
func (l *Level) draws(dim int, out []float64) []float64 { return l.drawsWith(l.sd, dim, out) }

// drawsWith is draws with another standard deviation.
func (l *Level) drawsWith(sd float64, dim int, out []float64) []float64 {
	out = append(out[:0], fit.NormalPoints(dim)...)
	switch {
	case l.Qualifier == "<": // anywhere from nothing to the limit
		for i, u := range fit.Points(dim) {
			out[i] = u * l.Estimate.Value
		}
	case additive(l.Analyte):
		for i, z := range out {
			out[i] = l.Estimate.Value + sd*z
		}
	default:
		for i, z := range out {
			out[i] = l.Estimate.Value * math.Exp(sd*z)
		}
	}
	return out
}

// setRange gives the level its 90 % range, and what tests like it can show.
func (b *bedWork) setRange(l *Level) {
	e, basis := errorOf(l.Analyte)
	n, cores := len(l.Reported), 0
	if l.Cores != nil {
		cores = int(*l.Cores)
	}
	l.own, l.report = e.own(cores, n), e.season*reportShare
	if f, df := b.duplicates.factor(methodKey{b.history.Grower, l.Analyte, l.Method}); df > 0 {
		l.own *= f
		basis = fmt.Sprintf("own error from your own duplicates (%d pairs' worth), season from memory", df)
	}
	l.sd = math.Hypot(l.own, e.season)
	est := &l.Estimate
	est.Level, est.N, est.Basis = RangeLevel, n, basis
	if cores == 0 {
		est.Basis += fmt.Sprintf(", cores not given (%d assumed)", defaultCores)
	}
	switch {
	case l.Qualifier == "<":
		est.Low, est.High = 0, est.Value
		est.Basis = "below the lab's limit"
		return
	case l.Qualifier == ">":
		est.Low, est.High = est.Value, math.Inf(1)
		est.Basis = "above the lab's limit, no upper bound known"
		return
	case additive(l.Analyte):
		est.Low, est.High = est.Value-z90*l.sd, est.Value+z90*l.sd
	default:
		est.Low, est.High = est.Value*math.Exp(-z90*l.sd), est.Value*math.Exp(z90*l.sd)
	}
	l.Detectable = &Detectable{
		Season: l.margin(math.Sqrt2 * l.sd), Year: l.margin(math.Sqrt2 * math.Hypot(l.own, l.report)), Bed: l.margin(math.Sqrt2 * l.own),
	}
}
