package fit

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// dense works out by plain algebra of one large normal distribution what a
// Tracker finds step by step: the log-density of the readings, and mean and
// variance of each asked level given them. It propagates unit vectors of
// everything that is uncertain (state at the start, walk of each interval).
func dense(r *Relaxation, node int, prior Prior, readings []Reading, times []float64) (logLik float64, mean, variance []float64) {
	type at struct {
		time float64
		read int
		ask  int
	}
	var all []at
	for i, v := range readings {
		all = append(all, at{v.Time, i, -1})
	}
	for i, v := range times {
		all = append(all, at{v, -1, i})
	}
	// Every level is a row: constant + row . (start state, walk increments).
	d := len(prior.Mean)
	level := func(time float64, cuts []float64) (c float64, row []float64, q []float64) {
		// cuts ascending times from prior.Time to time; walk increments enter at
		// the end of each and relax after.
		row = make([]float64, d+len(cuts))
		q = make([]float64, len(cuts))
		k := r.Rate[node]
		row[0] = math.Exp(-k * (time - prior.Time))
		row[1] = 1 - row[0]
		for _, in := range r.Inputs {
			if in.Time >= prior.Time && in.Time < time {
				row[in.Effect] += in.Amount * math.Exp(-k*(time-in.Time))
			}
		}
		from := prior.Time
		for i, cut := range cuts {
			if cut > time {
				break
			}
			span := cut - from
			q[i] = r.Walk[node] * span
			if k > 0 {
				q[i] = r.Walk[node] * (1 - math.Exp(-2*k*span)) / (2 * k)
			}
			row[d+i] = math.Exp(-k * (time - cut))
			from = cut
		}
		return 0, row, q
	}
	var cuts []float64
	for _, e := range all {
		cuts = append(cuts, e.time)
	}
	for i := range cuts { // insertion sort, then unique
		for j := i; j > 0 && cuts[j] < cuts[j-1]; j-- {
			cuts[j], cuts[j-1] = cuts[j-1], cuts[j]
		}
	}
	unique := cuts[:0]
	for i, c := range cuts {
		if c > prior.Time && (i == 0 || c != cuts[i-1]) {
			unique = append(unique, c)
		}
	}
	cuts = unique
	m := d + len(cuts)
	base := mat.NewSymDense(m, nil)
	for i := range d {
		for j := range i + 1 {
			base.SetSym(i, j, prior.Cov[i*d+j])
		}
	}
	_, _, q := level(math.Inf(1), cuts)
	_ = q
	from := prior.Time
	for i, c := range cuts {
		k, span := r.Rate[node], c-from
		v := r.Walk[node] * span
		if k > 0 {
			v = r.Walk[node] * (1 - math.Exp(-2*k*span)) / (2 * k)
		}
		base.SetSym(d+i, d+i, v)
		from = c
	}
	rows := func(time float64, plus int) *mat.VecDense {
		_, row, _ := level(time, cuts)
		if plus > 0 {
			row[plus]++
		}
		return mat.NewVecDense(m, row)
	}
	prod := func(a, b *mat.VecDense) float64 { return mat.Inner(a, base, b) }
	expect := func(a *mat.VecDense) (s float64) {
		for i, v := range prior.Mean {
			s += a.AtVec(i) * v
		}
		return s
	}
	n := len(readings)
	s := mat.NewSymDense(n, nil)
	e := mat.NewVecDense(n, nil)
	var h []*mat.VecDense
	for i, v := range readings {
		h = append(h, rows(v.Time, v.Plus))
		e.SetVec(i, v.Value-expect(h[i]))
		for j := range i + 1 {
			c := prod(h[i], h[j])
			if i == j {
				c += v.Var
			}
			s.SetSym(i, j, c)
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(s) {
		panic("not positive definite")
	}
	w := mat.NewVecDense(n, nil)
	if err := chol.SolveVecTo(w, e); err != nil {
		panic(err)
	}
	logLik = -(float64(n)*math.Log(2*math.Pi) + chol.LogDet() + mat.Dot(e, w)) / 2
	for _, at := range times {
		row := rows(at, 0)
		c := mat.NewVecDense(n, nil)
		for i := range h {
			c.SetVec(i, prod(row, h[i]))
		}
		mean = append(mean, expect(row)+mat.Dot(c, w))
		sc := mat.NewVecDense(n, nil)
		if err := chol.SolveVecTo(sc, c); err != nil {
			panic(err)
		}
		variance = append(variance, prod(row, row)-mat.Dot(c, sc))
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
