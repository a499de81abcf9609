package fit

import (
	"fmt"
	"math"
)

// Slope is the slope of a straight line through one short series, in brief.
type Slope struct {
	N                    int
	Value, SE, Low, High float64
	R2                   float64
}

// Slopes fits straight lines to many short series, without allocating: what
// Line's slope says, at a fraction of its cost. Its P is left to Slope.P.
type Slopes struct {
	tq [64]float64 // Student's t by degrees of freedom
	p  float64
}

// NewSlopes makes ready for ranges at a level.
func NewSlopes(level float64) *Slopes {
	checkLevel(level)
	s := &Slopes{p: (1 + level) / 2}
	for df := 1; df < len(s.tq); df++ {
		s.tq[df] = studentQuantile(s.p, float64(df))
	}
	return s
}

// Fit returns the least-squares slope of y on x, of the same length, at least 3.
// R2 is 0 where y is constant. Errors are those of Line.
func (s *Slopes) Fit(x, y []float64) (Slope, error) {
	sameLength(x, y)
	n := len(x)
	if n < 3 {
		return Slope{}, fmt.Errorf("%d values, want at least 3: %w", n, ErrTooFew)
	}
	y = y[:n]
	sx, sy := 0.0, 0.0
	for i, v := range x {
		sx += v
		sy += y[i]
	}
	mx, my := sx/float64(n), sy/float64(n)
	sxx, syy, sxy := 0.0, 0.0, 0.0
	for i, v := range x {
		u, w := v-mx, y[i]-my
		sxx += u * u
		syy += w * w
		sxy += u * w
	}
	if d := sxx + syy; d-d != 0 { // NaN or infinite
		if err := finite("x", x); err != nil {
			return Slope{}, err
		}
		return Slope{}, finite("y", y)
	}
	// Equal x may differ from their mean by rounding.
	if sxx <= 1e-30*float64(n)*mx*mx {
		return Slope{}, fmt.Errorf("every x is %v: %w", x[0], ErrConstant)
	}
	out := Slope{N: n, Value: sxy / sxx}
	rss := 0.0
	for i, v := range x {
		e := y[i] - my - out.Value*(v-mx)
		rss += e * e
	}
	df := n - 2
	out.SE = math.Sqrt(rss / (float64(df) * sxx))
	if syy > 0 {
		out.R2 = 1 - rss/syy
	}
	t := 0.0
	if df < len(s.tq) {
		t = s.tq[df]
	} else {
		t = studentQuantile(s.p, float64(df))
	}
	out.Low, out.High = out.Value-t*out.SE, out.Value+t*out.SE
	return out, nil
}

// P returns the two-sided probability of such a slope if the true one is 0.
func (s Slope) P() float64 {
	return newCoefficient(s.Value, s.SE, s.N-2, 0).P
}
