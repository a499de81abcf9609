package fit

import (
	"fmt"
	"math"
	"slices"
)

// Form is one of the exponential curves.
type Form int

const (
	Rise   Form = iota // y = End (1 - exp(-Rate x))
	Decay              // y = Start exp(-Rate x)
	Settle             // y = End + (Start - End) exp(-Rate x)
)

// Parameter is a fitted number with, besides the range of its tangent, that of
// its profile: all values that some choice of the other parameters makes fit
// with a residual sum of squares within F of the best. A profile range follows
// the curve where the tangent's cannot; its ends are infinite where the data set
// no bound.
type Parameter struct {
	Coefficient
	ProfileLow, ProfileHigh float64
}

// Expo is a fitted exponential curve. Start is the value at x = 0 and End that
// at infinity; Rise has no Start (it is 0) and Decay no End.
type Expo struct {
	Form             Form
	N, DF            int
	Level            float64
	Start, End, Rate Parameter
	// HalfLife is log 2/Rate with its standard error by the delta method, in the
	// unit of x; both 0 where Rate is not above zero.
	HalfLife, HalfLifeSE float64
	RSS, ResidualSD, R2  float64
	// Converged is false where no best rate exists in the data; Doubts then says
	// why, and the parameters are 0.
	Converged bool
	Doubts    []Doubt

	curve *Curve
}

// Value is the curve with parameters in the order Start, End, Rate, without
// those that the form lacks; it is a Model.
func (f Form) Value(x float64, p, grad []float64) float64 {
	k := p[len(p)-1]
	e := math.Exp(-k * x)
	switch f {
	case Rise:
		grad[0], grad[1] = -math.Expm1(-k*x), p[0]*x*e
		return p[0] * grad[0]
	case Decay:
		grad[0], grad[1] = e, -p[0]*x*e
		return p[0] * e
	}
	grad[0], grad[1], grad[2] = e, -math.Expm1(-k*x), -(p[0]-p[1])*x*e
	return p[1] + (p[0]-p[1])*e
}

// FitExpo fits an exponential curve to x and y, of equal length, by least
// squares; w are weights, nil for equal ones. x may be in any order, and needs
// one value more than the form has parameters and as many distinct ones as it
// has. The error wraps ErrTooFew, ErrDuplicates, ErrConstant (x or y),
// ErrNotFinite or ErrDomain.
//
// No start is needed: for a given rate the rest is linear, so that the rate alone
// is searched, over all that the spacing of x can hold and on both sides of zero
// (a rate below zero is a fit, with a doubt), before Gauss and Newton's steps make
// it exact.
//
// Sources: Golub and Pereyra 1973, SIAM J. Numer. Anal. 10:413-432 (separable
// least squares); Bates and Watts 1988, Nonlinear Regression Analysis, ch. 6
// (profiles).
func FitExpo(form Form, x, y, w []float64, level float64) (*Expo, error) {
	sameLength(x, y)
	checkLevel(level)
	root, err := roots(x, y, w)
	if err != nil {
		return nil, err
	}
	parameters := 2
	if form == Settle {
		parameters = 3
	}
	if err := enough(x, parameters+1, parameters); err != nil {
		return nil, err
	}
	if slices.Min(y) == slices.Max(y) {
		return nil, fmt.Errorf("every y is %v: %w", y[0], ErrConstant)
	}
	p := newProfile(form, x, y, root)
	out := &Expo{Form: form, N: len(y), DF: len(y) - parameters, Level: level}
	tq := studentQuantile((1+level)/2, float64(out.DF))
	best, problem := p.search()
	if problem != "" {
		out.Doubts = append(out.Doubts, problem)
		return out, nil
	}
	if math.Abs(best) < 1e-5 { // rate 0: a line, or for Decay a constant
		out.Doubts = append(out.Doubts, RateNotPositive)
		if form != Decay {
			out.Doubts = append(out.Doubts, LineAsGood)
		}
		return out, nil
	}
	natural := p.natural(best)
	c, err := FitCurve(form.Value, x, y, w, natural, level)
	if err != nil || !c.Converged {
		out.Doubts = append(out.Doubts, NotConverged)
		return out, nil
	}
	out.Converged, out.curve = true, c
	out.RSS, out.ResidualSD, out.R2 = c.RSS, c.ResidualSD, c.R2
	out.Doubts = append(out.Doubts, c.Doubts...)
	out.Rate.Coefficient = c.Coef[parameters-1]
	if form != Rise {
		out.Start.Coefficient = c.Coef[0]
	}
	if form != Decay {
		out.End.Coefficient = c.Coef[parameters-2]
	}
	if k := out.Rate.Value; k > 0 {
		out.HalfLife = math.Ln2 / k
		out.HalfLifeSE = out.HalfLife / k * out.Rate.SE
	} else {
		out.Doubts = append(out.Doubts, RateNotPositive)
	}
	p.ranges(out, c.RSS*(1+tq*tq/float64(out.DF)))
	return out, nil
}

// At returns the curve at x with the ranges of its tangent (delta method). It
// panics unless the fit converged.
func (e *Expo) At(x float64) Band {
	if !e.Converged {
		panic("fit: At of a curve that did not converge")
	}
	return e.curve.At(x)
}

// profile is the least sum of squares at each rate. The rate is searched as v,
// rate = sinh(v)/span, which is even near zero and logarithmic far from it.
type profile struct {
	form       Form
	x, y, root []float64
	origin     float64 // the x nearest 0 within the data
	span       float64
	low, high  float64 // bounds of v
	grid       []float64
	rss        []float64
}

const profileStep = 0.04 // of v

func newProfile(form Form, x, y, root []float64) *profile {
	p := &profile{form: form, x: x, y: y, root: root}
	s := slices.Clone(x)
	slices.Sort(s)
	s = slices.Compact(s)
	first, last := s[0], s[len(s)-1]
	p.span = last - first
	p.origin = min(max(0, first), last)
	if form == Rise {
		p.origin = 0
		p.span = max(math.Abs(first), math.Abs(last))
	}
	gap := p.span
	for i := 1; i < len(s); i++ {
		gap = min(gap, s[i]-s[i-1])
	}
	// Beyond 40 to the smallest gap, exp(-40), nothing changes any more; below
	// zero the curve bends the other way, and 20 to the span is steep enough.
	p.low, p.high = math.Asinh(-20), math.Asinh(min(40*p.span/gap, 1e6))
	for v := p.low; ; v += profileStep {
		v = min(v, p.high)
		p.grid = append(p.grid, v)
		p.rss = append(p.rss, p.at(v).rss)
		if v == p.high {
			return p
		}
	}
}

func (p *profile) rate(v float64) float64 { return math.Sinh(v) / p.span }

// linear is the linear part of a fit at one rate: coefficients of the basis, the
// inverse of their normal matrix, and the sum of squares.
type linear struct {
	rate, rss     float64
	b0, b1        float64 // of 1 (Settle only) and of the basis function
	v00, v01, v11 float64
}

// ramp is (1 - exp(-k x))/k, which is x at k = 0.
func ramp(k, x float64) float64 {
	if k == 0 {
		return x
	}
	return -math.Expm1(-k*x) / k
}

func (p *profile) at(v float64) linear {
	k := p.rate(v)
	l := linear{rate: k}
	value := func(x float64) float64 {
		if p.form == Decay {
			return math.Exp(-k * (x - p.origin))
		}
		return ramp(k, x-p.origin)
	}
	sw, sf, sy, sff, sfy := 0.0, 0.0, 0.0, 0.0, 0.0
	f := make([]float64, len(p.x))
	for i, x := range p.x {
		w := p.root[i] * p.root[i]
		f[i] = value(x)
		sw, sf, sy = sw+w, sf+w*f[i], sy+w*p.y[i]
	}
	mf, my := 0.0, 0.0
	if p.form == Settle {
		mf, my = sf/sw, sy/sw
	}
	for i := range f {
		w := p.root[i] * p.root[i]
		sff += w * (f[i] - mf) * (f[i] - mf)
		sfy += w * (f[i] - mf) * (p.y[i] - my)
	}
	if sff > 0 {
		l.b1, l.v11 = sfy/sff, 1/sff
	}
	if p.form == Settle {
		l.b0 = my - l.b1*mf
		l.v00, l.v01 = 1/sw+mf*mf*l.v11, -mf*l.v11
	}
	for i := range f {
		e := p.root[i] * (p.y[i] - l.b0 - l.b1*f[i])
		l.rss += e * e
	}
	return l
}

// start and end are the weights that make Start and End out of b0 and b1.
func (p *profile) start(k float64) (w0, w1 float64) {
	if p.form == Decay {
		return 0, math.Exp(k * p.origin)
	}
	return 1, ramp(k, -p.origin)
}

func (p *profile) end(k float64) (w0, w1 float64) {
	if p.form == Rise {
		return 0, 1 / k
	}
	return 1, 1 / k
}

// natural returns the parameters of Form.Value at v.
func (p *profile) natural(v float64) (out []float64) {
	l := p.at(v)
	if p.form != Rise {
		w0, w1 := p.start(l.rate)
		out = append(out, w0*l.b0+w1*l.b1)
	}
	if p.form != Decay {
		w0, w1 := p.end(l.rate)
		out = append(out, w0*l.b0+w1*l.b1)
	}
	return append(out, l.rate)
}

// search returns the v of the least sum of squares, or why there is none.
func (p *profile) search() (best float64, problem Doubt) {
	at := 0
	for i, rss := range p.rss {
		if rss < p.rss[at] {
			at = i
		}
	}
	least, most := p.rss[at], slices.Max(p.rss)
	switch {
	case most-least <= 1e-12*most:
		return 0, NoRate
	case at == len(p.grid)-1, p.rss[len(p.rss)-1]-least <= 1e-12*most:
		return 0, RateAtEdge
	case at == 0:
		return 0, RateNotPositive
	}
	return golden(p.grid[at-1], p.grid[at+1], func(v float64) float64 { return p.at(v).rss }), ""
}

// golden returns where f is least between a and b, to about 1e-8.
func golden(a, b float64, f func(float64) float64) float64 {
	const ratio = 0.6180339887498949
	c, d := b-ratio*(b-a), a+ratio*(b-a)
	fc, fd := f(c), f(d)
	for range 40 {
		if fc < fd {
			b, d, fd = d, c, fc
			c = b - ratio*(b-a)
			fc = f(c)
		} else {
			a, c, fc = c, d, fd
			d = a + ratio*(b-a)
			fd = f(d)
		}
	}
	return (a + b) / 2
}

// ranges fills the profile ranges: all rates whose sum of squares is at most
// limit, and for each of the linear parameters the furthest value that some such
// rate allows. At a given rate the sum of squares is a parabola in the
// parameter, so that the furthest value there is known in closed form.
func (p *profile) ranges(out *Expo, limit float64) {
	over := func(v float64) float64 { return p.at(v).rss - limit }
	centre := math.Asinh(out.Rate.Value * p.span)
	// The hull of all that fits, from the grid and the best rate.
	first, last := centre, centre
	gaps, inside := 0, false
	for i, v := range p.grid {
		if p.rss[i] <= limit {
			if !inside {
				gaps++
			}
			first, last = min(first, v), max(last, v)
		}
		inside = p.rss[i] <= limit
	}
	if gaps > 1 {
		out.Doubts = append(out.Doubts, SecondMinimum)
	}
	openLow, openHigh := first <= p.low, last >= p.high
	if !openLow {
		first = bisect(max(first-profileStep, p.low), first, over)
	}
	if !openHigh {
		last = bisect(min(last+profileStep, p.high), last, over)
	}
	out.Rate.ProfileLow, out.Rate.ProfileHigh = p.rate(first), p.rate(last)
	if openLow {
		out.Rate.ProfileLow = math.Inf(-1)
	}
	if openHigh {
		out.Rate.ProfileHigh = math.Inf(1)
	}
	if openLow || openHigh {
		out.Doubts = append(out.Doubts, WideInterval)
	}
	zero := first <= 0 && last >= 0
	if zero && p.form != Decay {
		out.Doubts = append(out.Doubts, LineAsGood)
	}
	furthest := func(weights func(k float64) (w0, w1 float64), sign float64) float64 {
		reach := func(v float64) float64 {
			l := p.at(v)
			w0, w1 := weights(l.rate)
			variance := w0*w0*l.v00 + 2*w0*w1*l.v01 + w1*w1*l.v11
			return -(sign*(w0*l.b0+w1*l.b1) + math.Sqrt(max(limit-l.rss, 0)*variance))
		}
		const parts = 64
		at, least := first, math.Inf(1)
		for i := range parts + 1 {
			v := first + (last-first)*float64(i)/parts
			if r := reach(v); r < least {
				at, least = v, r
			}
		}
		h := (last - first) / parts
		v := golden(max(at-h, first), min(at+h, last), reach)
		return -sign * min(least, reach(v))
	}
	if p.form != Rise {
		out.Start.ProfileLow, out.Start.ProfileHigh = furthest(p.start, -1), furthest(p.start, 1)
		// Without a value at x = 0 a rate without bound takes Start with it.
		if p.origin != 0 && (openHigh || openLow) {
			out.Start.ProfileLow, out.Start.ProfileHigh = math.Inf(-1), math.Inf(1)
		}
	}
	if p.form != Decay {
		if zero { // a straight line ends nowhere
			out.End.ProfileLow, out.End.ProfileHigh = math.Inf(-1), math.Inf(1)
		} else {
			out.End.ProfileLow, out.End.ProfileHigh = furthest(p.end, -1), furthest(p.end, 1)
		}
	}
}

// bisect returns where f passes zero between a, where it is above or at zero, and
// b, where it is below or at zero.
func bisect(a, b float64, f func(float64) float64) float64 {
	for range 60 {
		if mid := (a + b) / 2; f(mid) > 0 {
			a = mid
		} else {
			b = mid
		}
	}
	return (a + b) / 2
}
