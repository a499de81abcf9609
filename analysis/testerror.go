package analysis

import (
	"fmt"
	"math"

	"carryover/analysis/fit"
)

// testError is how far one composite sample's result may lie from the truth of
// the bed: standard deviations between cores, within a lab, and of the season's
// moisture and salts. pH in pH units, all else on the log scale.
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

// additive reports whether an analyte's error is in its own units, not a share.
func additive(analyte string) bool { return analyte == "pH" || analyte == "buffer pH" }

// defaultCores stands in where a report does not say how many cores were
// mixed; few growers take fewer than ten. Common practice, no source.
const defaultCores = 10

// sd returns the standard deviation of the mean of n samples that together hold
// cores cores (0: not known).
func (e testError) sd(cores, n int) float64 {
	if cores <= 0 {
		cores = defaultCores * n
	}
	return math.Sqrt(e.core*e.core/float64(cores) + e.lab*e.lab/float64(n) + e.season*e.season)
}

// draws returns fit.N values that stand for the true level behind l, in out if
// that is long enough. Independent levels take different dimensions.
func (l *Level) draws(dim int, out []float64) []float64 {
	out = append(out[:0], fit.NormalPoints(dim)...)
	switch {
	case l.Qualifier == "<": // anywhere from nothing to the limit
		for i, u := range fit.Points(dim) {
			out[i] = u * l.Estimate.Value
		}
	case additive(l.Analyte):
		for i, z := range out {
			out[i] = l.Estimate.Value + l.sd*z
		}
	default:
		for i, z := range out {
			out[i] = l.Estimate.Value * math.Exp(l.sd*z)
		}
	}
	return out
}

// z90 bounds the middle 90 % of a normal distribution.
const z90 = 1.6448536

// setRange gives the level its 90 % range.
func (l *Level) setRange(n int) {
	e, basis := errorOf(l.Analyte)
	cores := 0
	if l.Cores != nil {
		cores = int(*l.Cores)
	}
	l.sd = e.sd(cores, n)
	est := &l.Estimate
	est.Level, est.N, est.Basis = RangeLevel, n, basis
	if cores == 0 {
		est.Basis += fmt.Sprintf(", cores not given (%d assumed)", defaultCores)
	}
	switch {
	case l.Qualifier == "<":
		est.Low, est.High = 0, est.Value
		est.Basis = "below the lab's limit"
	case l.Qualifier == ">":
		est.Low, est.High = est.Value, est.Value
		est.Basis = "above the lab's limit, no upper bound known"
	case additive(l.Analyte):
		est.Low, est.High = est.Value-z90*l.sd, est.Value+z90*l.sd
	default:
		est.Low, est.High = est.Value*math.Exp(-z90*l.sd), est.Value*math.Exp(z90*l.sd)
	}
}
