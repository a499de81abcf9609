package fit

import (
	"fmt"
	"math"
	"slices"
)

// Model is a curve: it returns its value at x for the parameters and puts the
// derivatives by them into grad, of the same length.
type Model func(x float64, parameters, grad []float64) float64

// Curve is a nonlinear least-squares fit. Standard errors and ranges are of the
// curve's tangent at the fitted parameters (Wald).
type Curve struct {
	Coef            []Coefficient
	N, DF           int
	Level           float64
	RSS, ResidualSD float64
	R2              float64 // about the mean
	Steps           int     // that lowered RSS
	// Converged is false, and Doubts says so, where the search stopped short of a
	// minimum: the parameters are where it stood and have no ranges.
	Converged bool
	Doubts    []Doubt

	model Model
	par   []float64
	rinv  []float64
	tq    float64
}

// FitCurve fits a model to x and y of equal length n by least squares, from a
// start with one value per parameter. w are weights, nil for equal ones. It
// needs n > len(start), as many distinct x as parameters and finite values, or
// the error wraps ErrTooFew, ErrDuplicates, ErrConstant or ErrNotFinite; a start
// where the model is not finite wraps ErrDomain.
//
// Source: Marquardt 1963, J. SIAM 11:431-441; the linear steps are solved by
// orthogonal columns. Converged means that the last step changed no parameter by
// more than 1e-9 of itself and that the tangent holds less than 1e-6 of what
// residuals there are (Bates and Watts 1988, Nonlinear Regression Analysis, 2.2).
func FitCurve(model Model, x, y, w, start []float64, level float64) (*Curve, error) {
	sameLength(x, y)
	checkLevel(level)
	root, err := roots(x, y, w)
	if err != nil {
		return nil, err
	}
	n, p := len(y), len(start)
	if err := enough(x, p+1, p); err != nil {
		return nil, err
	}
	c := &Curve{N: n, DF: n - p, Level: level, model: model, par: slices.Clone(start), tq: studentQuantile((1+level)/2, float64(n-p))}
	s := newSearch(model, x, y, root, p)
	c.RSS = s.residuals(c.par)
	if math.IsNaN(c.RSS) || math.IsInf(c.RSS, 0) {
		return nil, fmt.Errorf("the curve is not finite at the start %v: %w", start, ErrDomain)
	}
	lambda, polish := 1e-3, 0
	trial := make([]float64, p)
	for tries := 0; tries < 2000 && lambda < 1e20; tries++ {
		step, gain := s.step(lambda)
		small, tiny := true, true
		for i, d := range step {
			trial[i] = c.par[i] + d
			small = small && math.Abs(d) <= 1e-9*math.Abs(trial[i])
			tiny = tiny && math.Abs(d) <= 1e-14*math.Abs(trial[i])
		}
		s.swap()
		// Near the end RSS no longer tells a better place from a worse one; the
		// tangent still does.
		settled := gain <= 1e-9*c.RSS
		if rss := s.residuals(trial); rss < c.RSS || settled && rss <= c.RSS*(1+1e-9) {
			c.RSS = rss
			copy(c.par, trial)
			c.Steps++
			lambda /= 10
			c.Converged = small
			if small {
				polish++
			}
			if tiny || polish > 5 {
				break
			}
			continue
		}
		s.swap()
		if small { // the step is below what RSS can show
			c.Converged = true
			break
		}
		lambda *= 8
	}
	c.finish(s, y, root)
	return c, nil
}

// roots checks the data of a curve and returns the roots of the weights.
func roots(x, y, w []float64) ([]float64, error) {
	for _, err := range []error{finite("x", x), finite("y", y)} {
		if err != nil {
			return nil, err
		}
	}
	root := make([]float64, len(y))
	if w != nil {
		sameLength(w, y)
	}
	for i := range root {
		v := 1.0
		if w != nil {
			v = w[i]
		}
		if !(v > 0) || math.IsInf(v, 0) {
			return nil, fmt.Errorf("weight[%d] is %v: %w", i, v, ErrDomain)
		}
		root[i] = math.Sqrt(v)
	}
	return root, nil
}

// search holds the residuals and the tangent at one set of parameters.
type search struct {
	model      Model
	x, y, root []float64
	r, old     []float64   // residuals and the ones before
	j, oldJ    [][]float64 // a column per parameter
	work       [][]float64 // columns with p rows more, for damping
	target     []float64
	grad       []float64
}

func newSearch(model Model, x, y, root []float64, p int) *search {
	n := len(y)
	s := &search{model: model, x: x, y: y, root: root, r: make([]float64, n), old: make([]float64, n), grad: make([]float64, p), target: make([]float64, n+p)}
	for range p {
		s.j = append(s.j, make([]float64, n))
		s.oldJ = append(s.oldJ, make([]float64, n))
		s.work = append(s.work, make([]float64, n+p))
	}
	return s
}

// residuals works out residuals and tangent, and returns the sum of squares.
func (s *search) residuals(par []float64) float64 {
	for i, x := range s.x {
		s.r[i] = s.root[i] * (s.y[i] - s.model(x, par, s.grad))
		for k, g := range s.grad {
			s.j[k][i] = s.root[i] * g
		}
	}
	return dot(s.r, s.r)
}

// swap exchanges the residuals and the tangent with the ones before.
func (s *search) swap() { s.r, s.old, s.j, s.oldJ = s.old, s.r, s.oldJ, s.j }

// step returns the damped step from the current tangent, and by how much it should
// lower the sum of squares.
func (s *search) step(lambda float64) (step []float64, gain float64) {
	n, p := len(s.r), len(s.j)
	clear(s.target)
	copy(s.target, s.r)
	for k, c := range s.j {
		clear(s.work[k])
		copy(s.work[k], c)
		scale := math.Sqrt(dot(c, c))
		if scale == 0 {
			scale = 1
		}
		s.work[k][n+k] = math.Sqrt(lambda) * scale
	}
	r := orthogonalise(s.work)
	step = make([]float64, p)
	for k := range p {
		step[k] = dot(s.work[k], s.target)
		gain += step[k] * step[k]
		axpy(s.target, -step[k], s.work[k])
	}
	for k := p - 1; k >= 0; k-- {
		for i := k + 1; i < p; i++ {
			step[k] -= r[k*p+i] * step[i]
		}
		if d := r[k*p+k]; d != 0 {
			step[k] /= d
		} else {
			step[k] = 0
		}
	}
	return step, gain
}

// finish turns the end of a search into coefficients.
func (c *Curve) finish(s *search, y, root []float64) {
	p := len(c.par)
	c.RSS = s.residuals(c.par)
	c.ResidualSD = math.Sqrt(c.RSS / float64(c.DF))
	sw, swy := 0.0, 0.0
	for i, w := range root {
		sw, swy = sw+w*w, swy+w*w*y[i]
	}
	total := 0.0
	for i, w := range root {
		total += w * w * (y[i] - swy/sw) * (y[i] - swy/sw)
	}
	if total > 0 {
		c.R2 = 1 - c.RSS/total
	}
	r := orthogonalise(s.j)
	inTangent := 0.0
	for k, q := range s.j {
		d := dot(q, s.r)
		inTangent += d * d
		if r[k*p+k] == 0 {
			c.Converged = false
		}
	}
	if c.RSS > 1e-24*total && inTangent > 1e-12*c.RSS {
		c.Converged = false
	}
	if !c.Converged {
		c.Doubts = append(c.Doubts, NotConverged)
		for _, v := range c.par {
			c.Coef = append(c.Coef, Coefficient{Value: v})
		}
		return
	}
	if c.RSS <= 1e-28*total {
		c.Doubts = append(c.Doubts, ExactFit)
	}
	c.rinv = invert(r, p)
	for k, v := range c.par {
		row := c.rinv[k*p : (k+1)*p]
		c.Coef = append(c.Coef, newCoefficient(v, c.ResidualSD*math.Sqrt(dot(row, row)), c.DF, c.tq))
	}
}

// At returns the curve at x with the ranges of its tangent (delta method). It
// panics unless the fit converged.
func (c *Curve) At(x float64) Band {
	if !c.Converged {
		panic("fit: At of a curve that did not converge")
	}
	p := len(c.par)
	grad := make([]float64, p)
	b := Band{Fit: c.model(x, c.par, grad)}
	v := 0.0
	for j := range p {
		s := 0.0
		for i := range j + 1 {
			s += grad[i] * c.rinv[i*p+j]
		}
		v += s * s
	}
	b.SE = c.ResidualSD * math.Sqrt(v)
	half := c.tq * b.SE
	b.Low, b.High = b.Fit-half, b.Fit+half
	half = c.tq * c.ResidualSD * math.Sqrt(1+v)
	b.PredictLow, b.PredictHigh = b.Fit-half, b.Fit+half
	return b
}
