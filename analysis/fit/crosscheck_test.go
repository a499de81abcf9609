package fit

import (
	"fmt"
	"testing"
)

// Every figure here is printed by notebooks/checks/fit.py, which has the same
// data, under the name in the comment, with the versions that requirements.txt
// beside it names.

var (
	crossX = []float64{6.4, 6.6, 6.7, 6.8, 6.9, 7.0, 7.1, 7.3}
	crossY = []float64{1450, 1720, 1380, 1910, 1655, 1840, 1600, 2050}
	crossW = []float64{1, 2, 0.5, 4, 1, 3, 0.25, 2}
)

func TestWeightedLine(t *testing.T) {
	t.Run("statsmodels/WLS", func(t *testing.T) {
		m := must(Line(crossX, crossY, crossW, 0.9))(t)
		check := func(what string, got []float64, want ...float64) {
			t.Helper()
			for i, w := range want {
				near(t, fmt.Sprintf("%s %d", what, i), got[i], w, 2e-10)
			}
		}
		a, b := m.Coef[0], m.Coef[1]
		check("wls coef", []float64{a.Value, b.Value}, -1706.20374401, 512.102742708)
		check("wls se", []float64{a.SE, b.SE}, 1413.81234945, 205.744362122)
		check("wls p", []float64{a.P, b.P}, 0.272921113644, 0.0472245625323)
		check("wls ci slope", []float64{b.Low, b.High}, 112.304355406, 911.90113001)
		check("wls s, R2, adj R2, F, p(F)", []float64{m.ResidualSD, m.R2, m.AdjR2, m.F, m.FP}, 188.036471922, 0.508004867011, 0.42600567818, 6.19524259021, 0.0472245625323)
		p := m.At(6.9)
		check("wls at 6.9", []float64{p.Fit, p.Low, p.High, p.PredictLow, p.PredictHigh}, 1827.30518067, 1727.90225848, 1926.70810286, 1448.63660529, 2205.97375606)
		var h, s, c []float64
		for i, v := range m.Points {
			h, s, c = append(h, v.Leverage), append(s, v.Student), append(c, v.Cook)
			near(t, "fitted", v.Fitted, m.At(crossX[i]).Fit, 1e-12)
			near(t, "residual", v.Fitted+v.Residual, crossY[i], 1e-14)
		}
		check("wls leverage", h, 0.334131475838, 0.316499782325, 0.0531127557684, 0.312581628211, 0.0740095777101, 0.281454070527, 0.0343926861123, 0.593818023509)
		check("wls student", s, -0.762138306525, 0.39053423796, -1.45014045011, 2.19973758817, -0.943500510301, -0.387765856653, -0.87458191944, 0.193047073118)
		check("wls cook", c, 0.156681245631, 0.0411201612593, 0.0498202393442, 0.670905236804, 0.0362374328862, 0.0343064359564, 0.014177397059, 0.032447813574)
	})
}

func TestPermutations(t *testing.T) {
	a, b := []float64{1, 2, 2, 3, 4, 5, 5}, []float64{2, 1, 3, 3, 5, 4, 6}
	t.Run("numpy2/all-5040-permutations", func(t *testing.T) {
		tau := must(KendallTau(a, b))(t)
		if tau.S != 14 || !tau.Exact {
			t.Errorf("S %d, exact %v, want 14, true", tau.S, tau.Exact)
		}
		near(t, "permuted S, p", tau.P, 0.0373015873016, 1e-10)
		near(t, "tau-b", tau.TauB, 0.71818484646, 1e-10)
		rho := must(SpearmanRho(a, b))(t)
		near(t, "permuted rho", rho.Rho, 0.853246917973, 1e-10)
		near(t, "permuted rho, p", rho.P, 0.0198412698413, 1e-10)
	})
}

func TestWithinGroups(t *testing.T) {
	bed := []int{0, 0, 0, 0, 1, 1, 1, 2, 2, 2, 2, 3}
	year := []int{0, 1, 2, 3, 0, 1, 3, 1, 2, 3, 0, 2}
	u := []float64{6.1, 6.3, 6.0, 6.6, 5.9, 6.4, 6.2, 6.8, 6.5, 6.9, 6.4, 6.0}
	v := []float64{1500, 1610, 1480, 1700, 1300, 1450, 1410, 1820, 1790, 1880, 1650, 1500}
	for _, c := range []struct {
		source    string
		groups    [][]int
		slope, se float64
		df        int
	}{
		{"statsmodels/dummies/bed", [][]int{bed}, 357.565789474, 45.2520026361, 7},
		{"statsmodels/dummies/bed-and-year", [][]int{bed, year}, 338.636363636, 120.214884508, 4},
	} {
		t.Run(c.source, func(t *testing.T) {
			m := must(Within(u, v, 0.9, c.groups...))(t)
			near(t, "slope", m.Coef[1].Value, c.slope, 1e-10)
			near(t, "se", m.Coef[1].SE, c.se, 1e-10)
			if m.DF != c.df {
				t.Errorf("%d degrees of freedom, want %d", m.DF, c.df)
			}
		})
	}
}

func crossTests() []Test {
	var out []Test
	for _, v := range [][6]float64{
		{0, 0, 0.3, 6.41, 0.1, 0}, {1, 0, 0.3, 6.05, 0.1, 0}, {2, 0, 0.3, 6.70, 0.12, 0},
		{0, 1, 0.8, 6.10, 0.1, 1}, {1, 1, 0.8, 5.80, 0.1, 1}, {2, 1, 0.8, 6.30, 0.1, 1},
		{0, 2, 1.3, 6.52, 0.1, 0}, {1, 2, 1.3, 6.11, 0.15, 0}, {2, 2, 1.3, 6.77, 0.1, 0},
		{0, 3, 1.8, 6.12, 0.1, 1}, {2, 3, 1.8, 6.40, 0.1, 1}, {0, 4, 2.3, 6.30, 0.1, 0}, {1, 4, 2.3, 5.98, 0.1, 0},
	} {
		out = append(out, Test{Run: int(v[0]), Report: int(v[1]), Time: v[2], Value: v[3], SD: v[4], Offset: v[5] == 1})
	}
	return out
}

func TestErrorLikelihood(t *testing.T) {
	prior := ErrorPrior{ReportSD: 0.12, ReportSpread: 0.5, OwnSpread: 0.3, OffsetMean: -0.1, OffsetSD: 0.15, DriftSD: 0.08, Walk: 0.003}
	t.Run("numpy2/one-large-normal", func(t *testing.T) {
		e := newErrorFit(crossTests(), 5, prior)
		effect, variance := make([]float64, 5), make([]float64, 5)
		e.reduce(1.5)
		b := e.likelihood(0.05)
		e.reduce(1)
		a := e.likelihood(0.12)
		offset, offsetVar := e.effects(effect, variance)
		near(t, "log-likelihood at (1, 0.12) less at (1.5, 0.05)", a-b, 1.53528238752, 1e-9)
		near(t, "offset", offset, -0.218402162702, 1e-9)
		near(t, "variance", offsetVar, 0.00939829393619, 1e-9)
		for r, want := range []float64{0.0198106192474, -0.0562236598494, 0.0961855225581, -0.0195537242798, -0.0402187576763} {
			near(t, "effect", effect[r], want, 1e-9)
		}
	})
	t.Run("scipy/restricted-maximum", func(t *testing.T) {
		// With priors that hold next to nothing, the posterior's mode is the
		// maximum of the restricted likelihood.
		e := newErrorFit(crossTests(), 5, prior)
		at := func(scale, sd float64) float64 {
			e.reduce(scale)
			return e.likelihood(sd)
		}
		top := at(0.373720193942, 0.0751160568872)
		for _, f := range []float64{0.99, 1.01} {
			if at(0.373720193942*f, 0.0751160568872) > top || at(0.373720193942, 0.0751160568872*f) > top {
				t.Errorf("the maximum is elsewhere")
			}
		}
	})
}

func TestLocalLevel(t *testing.T) {
	t.Run("statsmodels/UnobservedComponents", func(t *testing.T) {
		var readings []Reading
		var times []float64
		for i, v := range []float64{6.41, 6.10, 6.52, 6.12, 6.30, 6.22, 6.05, 6.18} {
			readings = append(readings, Reading{Time: float64(i), Value: v, Var: 0.0265})
			times = append(times, float64(i))
		}
		var tr Tracker
		r := &Relaxation{Rate: []float64{0}, Walk: []float64{0.01}}
		if err := tr.Run(r, 1, Prior{Mean: []float64{6.2, 0}, Cov: []float64{0.49, 0, 0, 0}}, readings, times); err != nil {
			t.Fatal(err)
		}
		near(t, "local level: log-likelihood", tr.LogLikelihood[0], 0.71001082843, 1e-10)
		level := []float64{6.30759151075, 6.27114254294, 6.29927566681, 6.24411658947, 6.23579396098, 6.20324263853, 6.16436778345, 6.16865058251}
		variance := []float64{0.011743171898, 0.00896557456448, 0.00814374804958, 0.00792017187301, 0.00792553544049, 0.0081686984719, 0.00905132578237, 0.0120313706366}
		for i := range times {
			m := tr.Level(i, []float64{1})
			near(t, "local level: smoothed", m.Mean[0], level[i], 1e-10)
			near(t, "local level: variance", m.SD[0]*m.SD[0], variance[i], 1e-9)
		}
	})
}
