package fit

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

// property: explored points agree with the grid and its closed form, on a level
// that moves back at an unknown rate: rate, level, resting level, effect.
func TestExploreAgainstTheTracker(t *testing.T) {
	rng := rand.New(rand.NewPCG(61, 62))
	inputs := []Input{{2, 2, 2}, {6, 3, 2}}
	worst, mean, n, least := 0.0, 0.0, 0.0, math.Inf(1)
	for range 20 {
		h := drawHistory(rng)
		h.walk, h.offset = 0, 0
		readings, _ := h.simulate(rng, inputs, nil)
		for i := range readings {
			readings[i].Plus = 0
		}
		a := NewAxis(simRate, simSpread, 41, 0)
		move := &Relaxation{Rate: a.Value, Walk: make([]float64, len(a.Value)), Inputs: inputs}
		prior := Prior{Mean: []float64{simStart, simRest, simEffect}, Cov: []float64{simStartSD * simStartSD, 0, 0, 0, simRestSD * simRestSD, 0, 0, 0, simEffSD * simEffSD}}
		var tr Tracker
		if err := tr.Run(move, len(a.Value), prior, readings, []float64{12}); err != nil {
			t.Fatal(err)
		}
		w := must(Normalise(nil, a.LogPrior, tr.LogLikelihood))(t)

		one := &Relaxation{Rate: []float64{0}, Walk: []float64{0}, Inputs: inputs}
		grad := make([]float64, 3)
		at := func(z []float64, time float64) float64 {
			one.Rate[0] = simRate * math.Exp(simSpread*z[0])
			level, _ := one.Move(0, 0, time, []float64{simStart + simStartSD*z[1], simRest + simRestSD*z[2], simEffect + simEffSD*z[3]}, grad)
			return level
		}
		e := must(Explore(4, func(z []float64) (sum float64) {
			for _, r := range readings {
				d := r.Value - at(z, r.Time)
				sum -= d*d/(2*r.Var) + math.Log(2*math.Pi*r.Var)/2
			}
			return sum
		}))(t)
		least = min(least, e.ESS)
		forecast, rest := make([]float64, len(e.Share)), make([]float64, len(e.Share))
		for i := range forecast {
			z := []float64{e.Z[0][i], e.Z[1][i], e.Z[2][i], e.Z[3][i]}
			forecast[i], rest[i] = at(z, 12), simRest+simRestSD*z[2]
		}
		check := func(points []float64, m Mixture) {
			_, lo, hi := m.Range(0.9)
			_, gotLo, gotHi := e.Range(points, 0.9)
			for _, off := range []float64{gotLo - lo, gotHi - hi} {
				off = math.Abs(off) / (hi - lo) * 2
				worst, mean, n = max(worst, off), mean+off, n+1
			}
		}
		check(forecast, tr.Level(0, w))
		check(rest, tr.State(1, w))
		evidence := 0.0
		for i := range w {
			evidence += math.Exp(a.LogPrior[i] + tr.LogLikelihood[i] - e.LogEvidence)
		}
		if math.Abs(evidence-1) > 0.08 {
			t.Errorf("evidence %.3f of what it should be", 1/evidence)
		}
	}
	t.Logf("effective size at least %.0f of %d, bounds %.1f %% of the half-width off in the mean, %.1f %% at most", least, exploreSets*N, 100*mean/n, 100*worst)
	if least < exploreSets*N/3 || mean/n > 0.03 || worst > 0.10 {
		t.Errorf("too far off")
	}
}

func TestExploreSaysWhatItCannot(t *testing.T) {
	// A likelihood so narrow that no point of the prior comes near it, on a curve.
	e := must(Explore(2, func(z []float64) float64 {
		d := z[1] - z[0]*z[0]
		return -d * d / (2 * 1e-10)
	}))(t)
	if e.ESS < 50 && (len(e.Doubts) != 1 || e.Doubts[0] != FewPoints) || e.ESS > exploreSets*N/4 {
		t.Errorf("a thread of points: effective size %.1f, doubts %v", e.ESS, e.Doubts)
	}
	if _, err := Explore(1, func([]float64) float64 { return math.Inf(-1) }); !errors.Is(err, ErrDomain) {
		t.Errorf("impossible: %v", err)
	}
	if _, err := Explore(1, func([]float64) float64 { return math.NaN() }); !errors.Is(err, ErrNotFinite) {
		t.Errorf("NaN: %v", err)
	}
}

func BenchmarkExplore(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Explore(4, func(z []float64) float64 { return -20 * (z[0] - 1) * (z[0] - 1) }); err != nil {
			b.Fatal(err)
		}
	}
}
