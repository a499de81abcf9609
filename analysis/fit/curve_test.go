package fit

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

func TestNISTNonlinear(t *testing.T) {
	type certified struct{ value, sd [9]float64 }
	sets := map[string]*certified{}
	rest := map[string]map[string]float64{}
	for _, row := range readCSV(t, "nist/certified_nonlinear.csv") {
		name, q := row["dataset"], row["quantity"]
		if sets[name] == nil {
			sets[name], rest[name] = &certified{}, map[string]float64{}
		}
		if q[0] != 'b' {
			rest[name][q] = number(t, row["certified_value"])
			continue
		}
		i := int(q[1] - '1')
		sets[name].value[i], sets[name].sd[i] = number(t, row["certified_value"]), number(t, row["certified_sd"])
	}
	starts := func(name, column string, p int) (out []float64) {
		for _, row := range readCSV(t, "nist/certified_nonlinear.csv") {
			if row["dataset"] == name && row["quantity"][0] == 'b' && len(out) < p {
				out = append(out, number(t, row[column]))
			}
		}
		return out
	}
	sumOfExp := func(x float64, p, g []float64) (v float64) {
		for i := 0; i < len(p); i += 2 {
			e := math.Exp(-p[i+1] * x)
			g[i], g[i+1] = e, -p[i]*x*e
			v += p[i] * e
		}
		return v
	}
	for _, c := range []struct {
		name   string
		p      int
		model  Model
		digits float64
	}{
		{"Misra1a", 2, Rise.Value, 10}, // the first-order rise of mineralized nitrogen has this form
		{"Chwirut2", 3, func(x float64, p, g []float64) float64 {
			e, d := math.Exp(-p[0]*x), p[1]+p[2]*x
			g[0], g[1], g[2] = -x*e/d, -e/(d*d), -x*e/(d*d)
			return e / d
		}, 10},
		{"DanWood", 2, func(x float64, p, g []float64) float64 {
			g[0] = math.Pow(x, p[1])
			g[1] = p[0] * g[0] * math.Log(x)
			return p[0] * g[0]
		}, 10},
		{"Lanczos3", 6, sumOfExp, 10},
		{"MGH17", 5, func(x float64, p, g []float64) float64 {
			a, b := math.Exp(-p[3]*x), math.Exp(-p[4]*x)
			g[0], g[1], g[2], g[3], g[4] = 1, a, b, -p[1]*x*a, -p[2]*x*b
			return p[0] + p[1]*a + p[2]*b
		}, 10},
	} {
		y, x := nistData(t, c.name)
		want := sets[c.name]
		t.Run("NIST/"+c.name+"/equation", func(t *testing.T) { // judged apart from the solver
			rss, g := 0.0, make([]float64, c.p)
			for i := range y {
				e := y[i] - c.model(x[0][i], want.value[:c.p], g)
				rss += e * e
			}
			// Eleven digits of the parameters leave fewer of a tiny sum.
			near(t, "RSS at the certified parameters", rss, rest[c.name]["rss"], 1e-4)
		})
		for _, column := range []string{"start1", "start2"} {
			t.Run("NIST/"+c.name+"/"+column, func(t *testing.T) {
				m := must(FitCurve(c.model, x[0], y, nil, starts(c.name, column, c.p), 0.9))(t)
				if c.name == "MGH17" && column == "start1" {
					// A start from which the middle exponential runs away: to say so is
					// what we ask.
					if m.Converged || !slices.Contains(m.Doubts, NotConverged) {
						t.Errorf("converged to %v", m.par)
					}
					return
				}
				if !m.Converged {
					t.Fatalf("did not converge: %+v", m)
				}
				worst := 16.0
				for i, b := range m.Coef {
					worst = min(worst, digits(b.Value, want.value[i]), digits(b.SE, want.sd[i]))
				}
				worst = min(worst, digits(m.ResidualSD, rest[c.name]["residual_sd"]))
				if worst < c.digits {
					t.Errorf("%.1f digits, want %v", worst, c.digits)
				}
				t.Logf("%d steps, at least %.1f digits", m.Steps, worst)
			})
		}
	}
}

// Misra1a without any start, and from rates a thousand times off either way.
func TestRiseFromPoorStarts(t *testing.T) {
	t.Run("NIST/Misra1a/no-start", func(t *testing.T) {
		y, x := nistData(t, "Misra1a")
		e := must(FitExpo(Rise, x[0], y, nil, 0.9))(t)
		near(t, "b1", e.End.Value, 2.3894212918e+02, 1e-9)
		near(t, "b1 SD", e.End.SE, 2.7070075241e+00, 1e-9)
		near(t, "b2", e.Rate.Value, 5.5015643181e-04, 1e-9)
		near(t, "b2 SD", e.Rate.SE, 7.2668688436e-06, 1e-9)
		near(t, "RSS", e.RSS, 1.2455138894e-01, 1e-9)
		for _, start := range [][]float64{{1, 5e-7}, {1, 0.5}, {-50, 1e-3}} {
			m := must(FitCurve(Rise.Value, x[0], y, nil, start, 0.9))(t)
			if m.Converged && math.Abs(m.Coef[1].Value-5.5015643181e-04) > 1e-9 {
				t.Errorf("from %v: converged to %v", start, m.Coef[1].Value)
			}
			if !m.Converged && !slices.Contains(m.Doubts, NotConverged) {
				t.Errorf("from %v: neither converged nor says so", start)
			}
		}
	})
}

// property: exponential fits find what made the data, at any scale and offset of
// x, and scale as they should.
func TestExpoRecovers(t *testing.T) {
	rng := rand.New(rand.NewPCG(41, 42))
	for trial := range 200 {
		n := 6 + rng.IntN(20)
		span := math.Exp(6*rng.Float64() - 3)
		k := math.Exp(3*rng.Float64()-1) / span
		start, end := 10*rng.NormFloat64(), 10*rng.NormFloat64()
		var x, y []float64
		for i := range n {
			x = append(x, span*float64(i)/float64(n-1))
			y = append(y, end+(start-end)*math.Exp(-k*x[i]))
		}
		e := must(FitExpo(Settle, x, y, nil, 0.9))(t)
		if !e.Converged || math.Abs(e.Rate.Value/k-1) > 1e-6 || math.Abs(e.End.Value-end) > 1e-5*(1+math.Abs(end)) {
			t.Fatalf("trial %d: %+v, want rate %v, end %v", trial, e, k, end)
		}
		// With noise: the same data shifted in y and stretched in x.
		for i := range y {
			y[i] += 0.05 * math.Abs(start-end) * rng.NormFloat64()
		}
		a := must(FitExpo(Settle, x, y, nil, 0.9))(t)
		if !a.Converged {
			continue
		}
		var x2, y2 []float64
		for i := range x {
			x2, y2 = append(x2, 7*x[i]), append(y2, y[i]+100)
		}
		b := must(FitExpo(Settle, x2, y2, nil, 0.9))(t)
		near(t, fmt.Sprintf("trial %d: rate", trial), 7*b.Rate.Value, a.Rate.Value, 1e-7)
		near(t, fmt.Sprintf("trial %d: end", trial), b.End.Value-100, a.End.Value, 1e-6)
		if lo := a.Rate.ProfileLow; !math.IsInf(lo, 0) {
			near(t, fmt.Sprintf("trial %d: profile", trial), 7*b.Rate.ProfileLow, lo, 1e-5)
		}
		if a.Rate.ProfileLow > a.Rate.Value || a.Rate.ProfileHigh < a.Rate.Value || a.Start.ProfileLow > a.Start.Value || a.Start.ProfileHigh < a.Start.Value ||
			a.End.ProfileLow > a.End.Value || a.End.ProfileHigh < a.End.Value {
			t.Fatalf("trial %d: a value lies outside its profile range: %+v", trial, a)
		}
	}
}

// Simulation: 90 % profile ranges of the rate cover it.
func TestProfileCoverage(t *testing.T) {
	rng := rand.New(rand.NewPCG(43, 44))
	n := 1500
	hit, wald := 0.0, 0.0
	for range n {
		var x, y []float64
		for i := range 10 {
			x = append(x, float64(i))
			y = append(y, 2+3*math.Exp(-0.25*float64(i))+0.3*rng.NormFloat64())
		}
		e := must(FitExpo(Settle, x, y, nil, 0.9))(t)
		if !e.Converged {
			continue // says so; counts as a miss
		}
		if e.Rate.ProfileLow <= 0.25 && 0.25 <= e.Rate.ProfileHigh {
			hit++
		}
		if e.Rate.Low <= 0.25 && 0.25 <= e.Rate.High {
			wald++
		}
	}
	t.Logf("profile ranges cover %.1f %%, those of the tangent %.1f %%", 100*hit/float64(n), 100*wald/float64(n))
	if share := hit / float64(n); share < 0.87 || share > 0.93 {
		t.Errorf("profile ranges cover %.1f %%, want about 90", 100*share)
	}
}

// Data that hold no rate are said to hold none.
func TestExpoSaysWhatItCannot(t *testing.T) {
	x := []float64{0, 1, 2, 3, 4, 5}
	for _, c := range []struct {
		name      string
		form      Form
		y         []float64
		converged bool
		doubt     Doubt
	}{
		{"straight line", Settle, []float64{10, 9, 8, 7, 6, 5}, false, LineAsGood},
		{"nearly straight", Settle, []float64{10, 9.1, 7.95, 7, 6.05, 4.9}, true, LineAsGood},
		{"one step down", Settle, []float64{10, 5.1, 4.9, 5, 5.05, 4.95}, true, WideInterval},
		{"step and flat", Settle, []float64{10, 5, 5, 5, 5, 5}, false, RateAtEdge},
		{"bends the wrong way", Settle, []float64{10, 9.9, 9.6, 8.8, 7.1, 3}, true, RateNotPositive},
		{"grows", Decay, []float64{1, 1.3, 1.8, 2.4, 3.2, 4.1}, true, RateNotPositive},
		{"line through zero", Rise, []float64{0, 1, 2, 3, 4, 5}, false, LineAsGood},
		{"two rates", Settle, []float64{5.3, 4.8, 3.6, 3, 2.1, 2.8, 4.8}, true, SecondMinimum},
	} {
		at := x
		if len(c.y) == 7 {
			at = []float64{0, 0.3, 1, 2, 10, 20, 40}
		}
		e := must(FitExpo(c.form, at, c.y, nil, 0.9))(t)
		if e.Converged != c.converged || !slices.Contains(e.Doubts, c.doubt) {
			t.Errorf("%s: converged %v, doubts %q, want %v and %q", c.name, e.Converged, e.Doubts, c.converged, c.doubt)
		}
		for _, p := range []Parameter{e.Start, e.End, e.Rate} {
			if math.IsNaN(p.Value+p.SE+p.Low+p.High) || math.IsNaN(p.ProfileLow) || math.IsNaN(p.ProfileHigh) {
				t.Errorf("%s: NaN in %+v", c.name, p)
			}
		}
	}
}

func TestCurveRefuses(t *testing.T) {
	x, y := []float64{0, 1, 2, 3}, []float64{4, 3, 2.5, 2.2}
	nan := slices.Clone(y)
	nan[2] = math.NaN()
	for name, c := range map[string]struct {
		run  func() error
		want error
	}{
		"too few":    {func() error { _, err := FitExpo(Settle, x[:3], y[:3], nil, 0.9); return err }, ErrTooFew},
		"duplicates": {func() error { _, err := FitExpo(Settle, []float64{0, 0, 1, 1}, y, nil, 0.9); return err }, ErrDuplicates},
		"one x":      {func() error { _, err := FitExpo(Decay, []float64{2, 2, 2, 2}, y, nil, 0.9); return err }, ErrConstant},
		"constant y": {func() error { _, err := FitExpo(Settle, x, []float64{3, 3, 3, 3}, nil, 0.9); return err }, ErrConstant},
		"NaN":        {func() error { _, err := FitExpo(Settle, x, nan, nil, 0.9); return err }, ErrNotFinite},
		"weight 0":   {func() error { _, err := FitExpo(Settle, x, y, []float64{1, 1, 0, 1}, 0.9); return err }, ErrDomain},
		"start a pole": {func() error {
			_, err := FitCurve(func(x float64, p, g []float64) float64 { g[0] = 1; return 1 / (p[0] - p[0]) }, x, y, nil, []float64{1}, 0.9)
			return err
		}, ErrDomain},
	} {
		if err := c.run(); !errors.Is(err, c.want) {
			t.Errorf("%s: %v, want %v", name, err, c.want)
		}
	}
}

func BenchmarkExpo(b *testing.B) {
	var x, y []float64
	for i := range 10 {
		x = append(x, float64(i))
		y = append(y, 2+3*math.Exp(-0.25*float64(i))+0.1*math.Sin(float64(5*i)))
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := FitExpo(Settle, x, y, nil, 0.9); err != nil {
			b.Fatal(err)
		}
	}
}
