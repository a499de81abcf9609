package fit

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// dense works out by plain algebra of one large normal distribution what a
// Tracker finds step by step: the log-density of the readings, and mean and
// variance of each asked level given them. All that is uncertain is one vector,
// the state at the start and the walk of each interval; a level is a row of it.
func dense(r *Relaxation, node int, prior Prior, readings []Reading, times []float64) (logLik float64, mean, variance []float64) {
	var cuts []float64 // ends of the intervals
	for _, v := range readings {
		cuts = append(cuts, v.Time)
	}
	cuts = append(cuts, times...)
	slices.Sort(cuts)
	cuts = slices.DeleteFunc(slices.Compact(cuts), func(c float64) bool { return c <= prior.Time })
	d, k := len(prior.Mean), r.Rate[node]
	base := mat.NewSymDense(d+len(cuts), nil)
	for i := range d {
		for j := range i + 1 {
			base.SetSym(i, j, prior.Cov[i*d+j])
		}
	}
	from := prior.Time
	for i, c := range cuts {
		v := r.Walk[node] * (c - from)
		if k > 0 {
			v = r.Walk[node] * (1 - math.Exp(-2*k*(c-from))) / (2 * k)
		}
		base.SetSym(d+i, d+i, v)
		from = c
	}
	row := func(time float64, plus int) *mat.VecDense {
		v := make([]float64, d+len(cuts))
		v[0] = math.Exp(-k * (time - prior.Time))
		v[1] = 1 - v[0]
		for _, in := range r.Inputs {
			if in.Time >= prior.Time && in.Time < time {
				v[in.Effect] += in.Amount * math.Exp(-k*(time-in.Time))
			}
		}
		for i, c := range cuts {
			if c <= time {
				v[d+i] = math.Exp(-k * (time - c))
			}
		}
		if plus > 0 {
			v[plus]++
		}
		return mat.NewVecDense(len(v), v)
	}
	expect := func(a *mat.VecDense) float64 { return dot(prior.Mean, a.RawVector().Data) }
	n := len(readings)
	s, e := mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)
	var h []*mat.VecDense
	for i, v := range readings {
		h = append(h, row(v.Time, v.Plus))
		e.SetVec(i, v.Value-expect(h[i]))
		for j := range i + 1 {
			s.SetSym(i, j, mat.Inner(h[i], base, h[j]))
		}
		s.SetSym(i, i, s.At(i, i)+v.Var)
	}
	var chol mat.Cholesky
	if !chol.Factorize(s) {
		panic("not positive definite")
	}
	solve := func(b *mat.VecDense) *mat.VecDense {
		x := mat.NewVecDense(n, nil)
		if err := chol.SolveVecTo(x, b); err != nil {
			panic(err)
		}
		return x
	}
	w := solve(e)
	logLik = -(float64(n)*math.Log(2*math.Pi) + chol.LogDet() + mat.Dot(e, w)) / 2
	for _, at := range times {
		a, c := row(at, 0), mat.NewVecDense(n, nil)
		for i := range h {
			c.SetVec(i, mat.Inner(a, base, h[i]))
		}
		mean = append(mean, expect(a)+mat.Dot(c, w))
		variance = append(variance, mat.Inner(a, base, a)-mat.Dot(c, solve(c)))
	}
	return logLik, mean, variance
}

// property: step by step equals all at once.
func TestTrackerAgainstOneLargeNormal(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	var tr Tracker
	for trial := range 40 {
		prior := Prior{Time: -0.5, Mean: []float64{6 + rng.NormFloat64(), 5.5, 0.3, -0.1},
			Cov: []float64{1, 0.2, 0, 0, 0.2, 0.25, 0, 0, 0, 0, 0.04, 0, 0, 0, 0, 0.03}}
		r := &Relaxation{Rate: []float64{0, 0.05, 0.4}, Walk: []float64{0.02, 0.003, 0}}
		var readings []Reading
		at := 0.0
		for i := range 1 + rng.IntN(14) {
			readings = append(readings, Reading{Time: at, Value: 6 + 0.5*rng.NormFloat64(), Var: 0.02 + 0.1*rng.Float64(), Plus: 3 * (i % 2)})
			if rng.IntN(5) > 0 {
				at += 0.7 * rng.Float64()
			}
			if rng.IntN(4) == 0 {
				r.Inputs = append(r.Inputs, Input{at, 2 * rng.Float64(), 2})
			}
		}
		times := []float64{-0.5, 0, at / 3, at / 2, at, at + 1, at + 5}
		if err := tr.Run(r, 3, prior, readings, times); err != nil {
			t.Fatal(err)
		}
		for node := range 3 {
			logLik, mean, variance := dense(r, node, prior, readings, times)
			near(t, fmt.Sprintf("trial %d, node %d, log-likelihood", trial, node), tr.LogLikelihood[node], logLik, 1e-9)
			weight := make([]float64, 3)
			weight[node] = 1
			for i := range times {
				m := tr.Level(i, weight)
				near(t, fmt.Sprintf("trial %d, node %d, level at %v", trial, node, times[i]), m.Mean[node], mean[i], 1e-9)
				if got := m.SD[node] * m.SD[node]; math.Abs(got-variance[i]) > 1e-9 {
					t.Errorf("trial %d, node %d, variance at %v: %v, want %v", trial, node, times[i], got, variance[i])
				}
			}
			if end := tr.State(0, weight); len(readings) > 0 && math.Abs(end.Mean[node]-tr.Level(4, weight).Mean[node]) > 1e-9 && times[4] == readings[len(readings)-1].Time {
				t.Errorf("trial %d: the state at the end is %v", trial, end.Mean[node])
			}
		}
	}
}

func TestTrackerRefuses(t *testing.T) {
	var tr Tracker
	r := &Relaxation{Rate: []float64{0}, Walk: []float64{1}}
	prior := Prior{Mean: []float64{0, 0}, Cov: []float64{1, 0, 0, 1}}
	for name, c := range map[string]struct {
		readings []Reading
		times    []float64
		want     error
	}{
		"value NaN":        {[]Reading{{1, math.NaN(), 1, 0}}, nil, ErrNotFinite},
		"variance zero":    {[]Reading{{1, 2, 0, 0}}, nil, ErrDomain},
		"out of order":     {[]Reading{{2, 2, 1, 0}, {1, 2, 1, 0}}, nil, ErrDomain},
		"before the prior": {[]Reading{{-1, 2, 1, 0}}, nil, ErrDomain},
		"asked before":     {nil, []float64{-1}, ErrDomain},
	} {
		if err := tr.Run(r, 1, prior, c.readings, c.times); !errors.Is(err, c.want) {
			t.Errorf("%s: %v, want %v", name, err, c.want)
		}
	}
}
