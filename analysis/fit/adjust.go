package fit

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// BenjaminiHochberg returns the adjusted p-values of a family of tests, in the
// order given: rejecting those at most q keeps the expected share of false ones
// among the rejected at q or below. The error wraps ErrDomain if a p-value is not
// in [0, 1].
//
// Source: Benjamini and Hochberg 1995, J. R. Stat. Soc. B 57:289-300.
func BenjaminiHochberg(p []float64) ([]float64, error) {
	order := make([]int, len(p))
	for i, v := range p {
		if !(v >= 0 && v <= 1) {
			return nil, fmt.Errorf("p[%d] is %v: %w", i, v, ErrDomain)
		}
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Or(cmp.Compare(p[b], p[a]), a-b) })
	out := make([]float64, len(p))
	least, m := 1.0, float64(len(p))
	for k, i := range order {
		least = min(least, p[i]*m/(m-float64(k)))
		out[i] = least
	}
	return out, nil
}

// Centre takes the group means out of v and puts the overall mean back, so that
// what varies is within groups only. groups are one or two classifications, each
// with a group number from 0 per value (beds, seasons); with two, both kinds of
// means are out. lost is how many degrees of freedom the means cost, the overall
// one among them: the number of groups or, of two classifications, their sum less
// the number of parts that share no group.
//
// The error wraps ErrTooFew or ErrNotFinite, or ErrGroups if no group has two
// values (or, of two classifications, nothing is left free).
//
// Source: Baltagi 2021, Econometric Analysis of Panel Data, 6th ed., ch. 2-3
// (within transformation), by alternating projections where the groups are
// unequal.
func Centre(v []float64, groups ...[]int) (within []float64, lost int, err error) {
	if err := finite("value", v); err != nil {
		return nil, 0, err
	}
	if len(v) == 0 {
		return nil, 0, fmt.Errorf("no values: %w", ErrTooFew)
	}
	if len(groups) < 1 || len(groups) > 2 {
		panic(fmt.Sprintf("fit: %d classifications, want 1 or 2", len(groups)))
	}
	var sizes [][]float64
	for _, g := range groups {
		if len(g) != len(v) {
			panic(fmt.Sprintf("fit: %d group numbers for %d values", len(g), len(v)))
		}
		size := make([]float64, slices.Max(g)+1)
		for _, k := range g {
			size[k]++
		}
		for _, n := range size {
			if n > 0 {
				lost++
			}
		}
		sizes = append(sizes, size)
	}
	if len(groups) == 2 {
		lost -= parts(groups[0], groups[1], len(sizes[0]), len(sizes[1]))
	}
	if lost >= len(v) {
		return nil, 0, fmt.Errorf("%d values in groups that cost %d degrees of freedom: %w", len(v), lost, ErrGroups)
	}
	mean, largest := 0.0, 0.0
	for _, x := range v {
		mean += x / float64(len(v))
		largest = max(largest, math.Abs(x))
	}
	within = slices.Clone(v)
	for range 10_000 {
		moved := 0.0
		for c, g := range groups {
			sum := make([]float64, len(sizes[c]))
			for i, k := range g {
				sum[k] += within[i]
			}
			for k, n := range sizes[c] {
				if n > 0 {
					sum[k] /= n
					moved = max(moved, math.Abs(sum[k]))
				}
			}
			for i, k := range g {
				within[i] -= sum[k]
			}
		}
		if moved <= 1e-14*largest {
			break
		}
	}
	for i := range within {
		within[i] += mean
	}
	return within, lost, nil
}

// parts counts the connected parts of a graph whose edges join group a[i] of one
// classification to group b[i] of another.
func parts(a, b []int, na, nb int) int {
	root := make([]int, na+nb)
	for i := range root {
		root[i] = i
	}
	find := func(i int) int {
		for root[i] != i {
			root[i] = root[root[i]]
			i = root[i]
		}
		return i
	}
	used := map[int]bool{}
	for i := range a {
		root[find(a[i])] = find(na + b[i])
	}
	for i := range a {
		used[find(a[i])] = true
	}
	return len(used)
}

// Within fits y = a + b x with the means of one or two classifications taken out
// of both (Centre): b is the slope within groups, with the degrees of freedom
// that the means cost; At gives the line of the mean group. The error wraps those
// of Centre and Line: ErrGroups if there is but one group too, ErrConstant if x
// varies between the groups only.
func Within(x, y []float64, level float64, groups ...[]int) (*Linear, error) {
	sameLength(x, y)
	for _, g := range groups {
		if len(g) > 0 && slices.Min(g) == slices.Max(g) {
			return nil, fmt.Errorf("all %d values are of one group: %w", len(g), ErrGroups)
		}
	}
	cx, lost, err := Centre(x, groups...)
	if err != nil {
		return nil, fmt.Errorf("x: %w", err)
	}
	cy, _, err := Centre(y, groups...)
	if err != nil {
		return nil, fmt.Errorf("y: %w", err)
	}
	// What the centring left of an x without spread within groups is rounding.
	if spread(cx) <= 1e-11*spread(x) {
		return nil, fmt.Errorf("x does not vary within the groups: %w", ErrConstant)
	}
	if err := enough(cx, 3, 2); err != nil {
		return nil, err
	}
	low, high := slices.Min(cx), slices.Max(cx)
	b := basis{centre: (low + high) / 2, scale: (high - low) / 2, degree: 1}
	return solve(b, b.columns(cx), cy, nil, true, lost-1, level)
}

func spread(v []float64) float64 { return slices.Max(v) - slices.Min(v) }

// Corrected is a slope with the part mended that error in x takes.
type Corrected struct {
	// Reliability is the share of x's variance that is not error.
	Reliability      float64
	Slope, Low, High float64
	Doubts           []Doubt // ErrorInX if the reliability is below 1/2
}

// Disattenuate mends a least-squares slope on n values of x whose observed
// standard deviation is sdX and whose known error has the standard deviation
// errorSD: least squares finds about reliability times the true slope,
// reliability = 1 - errorSD^2/sdX^2. The range is widened for both the slope's
// error and that of the observed variance; df are the fit's degrees of freedom.
// The error wraps ErrPole if the error is as large as the spread of x.
//
// Source: Fuller 1987, Measurement Error Models, sections 1.1-1.2; the range is
// his large-sample variance with reliability estimated from sdX.
func Disattenuate(slope Coefficient, df, n int, sdX, errorSD, level float64) (Corrected, error) {
	checkLevel(level)
	if !(errorSD >= 0) || !(sdX > 0) {
		return Corrected{}, fmt.Errorf("standard deviation of x %v, of its error %v: %w", sdX, errorSD, ErrDomain)
	}
	share := errorSD * errorSD / (sdX * sdX)
	c := Corrected{Reliability: 1 - share}
	if share >= 1 {
		return Corrected{}, fmt.Errorf("error in x (SD %.3g) is as large as its spread (SD %.3g): %w", errorSD, sdX, ErrPole)
	}
	c.Slope = slope.Value / c.Reliability
	// Var(s^2)/s^4 = 2/(n-1), so reliability has the SD share sqrt(2/(n-1)).
	sd := math.Hypot(slope.SE/c.Reliability, c.Slope/c.Reliability*share*math.Sqrt(2/float64(n-1)))
	half := studentQuantile((1+level)/2, float64(df)) * sd
	c.Low, c.High = c.Slope-half, c.Slope+half
	if c.Reliability < 0.5 {
		c.Doubts = []Doubt{ErrorInX}
	}
	return c, nil
}
