package analysis

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"carryover/analysis/fit"
	"carryover/dataset"
)

// plain returns the 5, 50 and 95 % points of a large plain Monte Carlo.
func plain(f func(*rand.Rand) float64) (median, low, high float64) {
	const n = 400_000
	rng := rand.New(rand.NewPCG(20, 26))
	x := make([]float64, n)
	for i := range x {
		x[i] = f(rng)
	}
	slices.Sort(x)
	return x[n/2], x[n/20], x[n-n/20]
}

// property: the fixed points give the bounds of a plain Monte Carlo within 3 %
// of the bound or, where that is near zero, of half the width.
func TestRangesAgainstMonteCarlo(t *testing.T) {
	check := func(name string, e Estimate, f func(*rand.Rand) float64) {
		t.Helper()
		_, low, high := plain(f)
		for bound, pair := range map[string][2]float64{"low": {e.Low, low}, "high": {e.High, high}} {
			if tolerance := 0.03 * max(math.Abs(pair[1]), (high-low)/2); math.Abs(pair[0]-pair[1]) > tolerance {
				t.Errorf("%s, %s: %.4f, plain %.4f, more than %.4f apart", name, bound, pair[0], pair[1], tolerance)
			}
		}
	}
	level := func(analyte string, v float64, n int) func(*rand.Rand) float64 {
		e, _ := errorOf(analyte)
		sd := math.Sqrt(e.core*e.core/float64(n) + e.lab*e.lab + e.season*e.season)
		if analyte == "pH" {
			return func(r *rand.Rand) float64 { return v + sd*r.NormFloat64() }
		}
		return func(r *rand.Rand) float64 { return v * math.Exp(sd*r.NormFloat64()) }
	}
	for _, c := range []struct {
		analyte        string
		spring, autumn float64
		n              int32
	}{
		{"P", 80, 60, 10}, {"P", 60, 60, 1}, {"NO3-N", 40, 10, 1}, {"NO3-N", 5, 60, 1}, {"K", 250, 120, 5}, {"OM", 9.8, 9.1, 15}, {"pH", 6.6, 6.3, 10},
	} {
		var b book
		b.bed("1", "2020-01-01", measured(1.1))
		b.test("1", "2024-04-20", c.analyte, c.spring, cores(c.n))
		b.test("1", "2024-10-20", c.analyte, c.autumn, cores(c.n))
		x := b.review(t, Options{}).Beds[0]
		s, a := level(c.analyte, c.spring, int(c.n)), level(c.analyte, c.autumn, int(c.n))
		check(c.analyte+" drawdown", x.find(t, Drawdown, c.analyte).Estimate, func(r *rand.Rand) float64 { return s(r) - a(r) })
		check(c.analyte+" level", x.Levels[0].Estimate, s)
		if len(x.Carryover) > 0 {
			check(c.analyte+" amount", x.Carryover[0].Amount, func(r *rand.Rand) float64 {
				return a(r) * 1.1 * (1 + 0.05/1.6449*r.NormFloat64()) * 1.524
			})
			check(c.analyte+" share", *x.Carryover[0].OfSpring, func(r *rand.Rand) float64 { return 100 * a(r) / s(r) })
		}
	}

	// A wide density, log-normal times normal.
	wide := autumnP(func(d *dataset.Bed) { d.BulkDensity, d.DensitySource = ptr(1.1), "assumed" }).review(t, Options{}).Beds[0].Carryover[0]
	p := level("P", 100, 10)
	check("amount, density assumed", wide.Amount, func(r *rand.Rand) float64 { return p(r) * 1.1 * (1 + 0.2/1.6449*r.NormFloat64()) * 1.524 })

	// Uniforms below a limit, against a log-normal and against each other.
	limit, number := Level{Qualifier: "<", Analyte: "Zn"}, Level{Analyte: "Zn", sd: 0.3}
	limit.Estimate.Value, number.Estimate.Value = 4, 5
	minus := func(x, y []float64) Estimate {
		for i := range x {
			x[i] -= y[i]
		}
		m, lo, hi := fit.Range(x, RangeLevel)
		return Estimate{Value: m, Low: lo, High: hi}
	}
	check("number less limit", minus(number.draws(0, nil), limit.draws(1, nil)), func(r *rand.Rand) float64 {
		return 5*math.Exp(0.3*r.NormFloat64()) - 4*r.Float64()
	})
	check("limit less limit", minus(limit.draws(0, nil), limit.draws(1, nil)), func(r *rand.Rand) float64 { return 4*r.Float64() - 4*r.Float64() })
}
