package fit

import (
	"fmt"
	"math"
	"slices"
)

// TheilSen is a straight line by the median of the slopes between all pairs of
// points. It bears up to 29 % of wild points.
type TheilSen struct {
	N, Pairs         int
	Slope, Low, High float64
	Intercept        float64 // the median of y - Slope x
	// InterceptOfMedians is median y - Slope (median x), the form of Conover.
	InterceptOfMedians float64
	// Doubts holds WideInterval where the pairs cannot bound the slope at the
	// level; Low or High is then infinite.
	Doubts []Doubt
}

// TheilSenLine fits the line to x and y, of equal length, at least 3, with pairs of
// equal x left out. Low and High are Sen's: order statistics of the slopes,
// placed by the variance of Kendall's S, ties kept. The error wraps ErrTooFew,
// ErrNotFinite or ErrConstant.
//
// Source: Sen 1968, J. Am. Stat. Assoc. 63:1379-1389.
func TheilSenLine(x, y []float64, level float64) (TheilSen, error) {
	sameLength(x, y)
	checkLevel(level)
	for _, err := range []error{finite("x", x), finite("y", y)} {
		if err != nil {
			return TheilSen{}, err
		}
	}
	n := len(x)
	if n < 3 {
		return TheilSen{}, fmt.Errorf("%d values, want at least 3: %w", n, ErrTooFew)
	}
	slopes := make([]float64, 0, n*(n-1)/2)
	for i := range x {
		for j := range i {
			if dx := round10(x[i]) - round10(x[j]); dx != 0 {
				slopes = append(slopes, (y[i]-y[j])/(x[i]-x[j]))
			}
		}
	}
	if len(slopes) == 0 {
		return TheilSen{}, fmt.Errorf("every x is %v: %w", x[0], ErrConstant)
	}
	slices.Sort(slopes)
	t := TheilSen{N: n, Pairs: len(slopes), Slope: median(slopes)}
	rest := make([]float64, n)
	for i := range x {
		rest[i] = y[i] - t.Slope*x[i]
	}
	slices.Sort(rest)
	t.Intercept = median(rest)
	sx, sy := slices.Clone(x), slices.Clone(y)
	slices.Sort(sx)
	slices.Sort(sy)
	t.InterceptOfMedians = median(sy) - t.Slope*median(sx)

	_, gx := ranking(x)
	_, gy := ranking(y)
	reach := NormalQuantile((1+level)/2) * math.Sqrt(varianceOfS(n, gx, gy))
	m := float64(len(slopes))
	low, high := int(math.Round((m-reach)/2))-1, int(math.Round((m+reach)/2))
	t.Low, t.High = math.Inf(-1), math.Inf(1)
	if low >= 0 {
		t.Low = slopes[low]
	}
	if high < len(slopes) {
		t.High = slopes[high]
	}
	if low < 0 || high >= len(slopes) {
		t.Doubts = []Doubt{WideInterval}
	}
	return t, nil
}

// median of sorted values.
func median(sorted []float64) float64 {
	n := len(sorted)
	return (sorted[(n-1)/2] + sorted[n/2]) / 2
}
