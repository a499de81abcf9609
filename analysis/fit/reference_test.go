package fit

import (
	"fmt"
	"math"
	"strings"
	"testing"
)

// Results of R 4.2.2 (lm, nls, cor.test, p.adjust) on data of Rothamsted
// Research (doi:10.23637/rrs1-SOILCN1959-2014-01, rcs10-soil-01, KeyRefOABKsoc-02,
// rhb2; CC BY 4.0), carData Soils and agridat cate.potassium; the file says which.
const reference = "reference/regressions_r422.csv"

func referenceCases(t testing.TB) map[string]map[string]string {
	cases := map[string]map[string]string{}
	for _, row := range readCSV(t, reference) {
		if cases[row["case"]] == nil {
			cases[row["case"]] = map[string]string{}
		}
		cases[row["case"]][row["key"]] = row["value"]
	}
	return cases
}

func caseData(t testing.TB, name string) (x, y []float64) {
	for _, row := range readCSV(t, "reference/cases/"+name+".csv") {
		x, y = append(x, number(t, row["x"])), append(y, number(t, row["y"]))
	}
	return x, y
}

// compare checks every numeric key of a case for which got has a value, and
// complains of keys that nobody looked at.
func compare(t *testing.T, want map[string]string, got map[string]float64, tolerance func(key string) float64, skip ...string) {
	t.Helper()
	worst := 0.0
keys:
	for key, s := range want {
		for _, p := range append(skip, "source", "x", "y", "level", "form", "status") {
			if key == p || strings.HasSuffix(p, "*") && strings.HasPrefix(key, strings.TrimSuffix(p, "*")) {
				continue keys
			}
		}
		g, ok := got[key]
		if !ok {
			t.Errorf("%s is not checked", key)
			continue
		}
		v := number(t, s)
		near(t, key, g, v, tolerance(key))
		if v != 0 {
			worst = max(worst, math.Abs(g/v-1)/tolerance(key))
		}
	}
	t.Logf("largest difference %.2g of the tolerance", worst)
}

func TestReferenceRegressions(t *testing.T) {
	for name, want := range referenceCases(t) {
		if _, ok := want["lm.slope"]; !ok {
			continue
		}
		t.Run("R4.2.2/"+name, func(t *testing.T) {
			x, y := caseData(t, name)
			got := map[string]float64{"n": float64(len(x))}
			m := must(Line(x, y, nil, 0.95))(t)
			for i, c := range []string{"intercept", "slope"} {
				b := m.Coef[i]
				got["lm."+c], got["lm.se_"+c] = b.Value, b.SE
				got["lm.ci_"+c+"[1]"], got["lm.ci_"+c+"[2]"] = b.Low, b.High
			}
			got["lm.t_slope"], got["lm.p_slope"] = m.Coef[1].T, m.Coef[1].P
			got["lm.r2"], got["lm.adj_r2"] = m.R2, m.AdjR2
			got["lm.residual_se"], got["lm.df"], got["lm.rss"], got["lm.f"] = m.ResidualSD, float64(m.DF), m.RSS, m.F
			got["lm.pearson_r"] = math.Copysign(math.Sqrt(m.R2), m.Coef[1].Value)
			for i := 1; i <= 3; i++ {
				at := fmt.Sprintf("at.x%d.", i)
				got[at+"x"] = number(t, want[at+"x"])
				b := m.At(got[at+"x"])
				got[at+"fit"] = b.Fit
				got[at+"ci[1]"], got[at+"ci[2]"] = b.Low, b.High
				got[at+"pi[1]"], got[at+"pi[2]"] = b.PredictLow, b.PredictHigh
			}
			for i, p := range m.Points {
				if p.Cook > got["cooks_max"] {
					got["cooks_max"], got["cooks_max_row"] = p.Cook, float64(i+1)
				}
				if math.Abs(p.Student) > got["rstudent_absmax"] {
					got["rstudent_absmax"], got["rstudent_absmax_row"] = math.Abs(p.Student), float64(i+1)
				}
				got["leverage_max"] = max(got["leverage_max"], p.Leverage)
			}
			rho := must(SpearmanRho(x, y))(t)
			got["spearman.rho"], got["spearman.p_t_approx"], got["spearman.p_exact"] = rho.Rho, rho.PT, rho.P
			tau := must(KendallTau(x, y))(t)
			got["kendall.tau_b"], got["kendall.z"], got["kendall.p_normal_tiecorrected"], got["kendall.p_exact"] = tau.TauB, tau.Z, tau.PNormal, tau.P
			trend := must(MannKendall(x, y))(t)
			got["mann_kendall.S"], got["mann_kendall.var_S"] = float64(trend.S), trend.VarS
			got["mann_kendall.z_continuity"], got["mann_kendall.p_continuity"] = trend.ZContinuity, trend.PContinued
			got["mann_kendall.z_plain"], got["mann_kendall.p_plain"] = trend.Z, trend.PNormal
			ts := must(TheilSenLine(x, y, 0.95))(t)
			got["theil_sen.slope"], got["theil_sen.slope_lo"], got["theil_sen.slope_hi"] = ts.Slope, ts.Low, ts.High
			got["theil_sen.intercept_median"], got["theil_sen.intercept_of_residuals"], got["theil_sen.n_pairs"] = ts.InterceptOfMedians, ts.Intercept, float64(ts.Pairs)
			skip := []string{"ties_*"}
			if name == "broadbalk_fym_soc" {
				skip = append(skip, "spearman.p_exact") // R prints 0 at n = 15
			}
			compare(t, want, got, func(string) float64 { return 1e-8 }, skip...)

			quick := must(NewSlopes(0.95).Fit(x, y))(t)
			near(t, "quick slope", quick.Value, m.Coef[1].Value, 1e-12)
			near(t, "quick SE", quick.SE, m.Coef[1].SE, 1e-12)
			near(t, "quick low", quick.Low, m.Coef[1].Low, 1e-11)
			near(t, "quick R2", quick.R2, m.R2, 1e-11)
			near(t, "quick P", quick.P(), m.Coef[1].P, 1e-10)
		})
	}
}

func TestReferenceExponentials(t *testing.T) {
	for name, want := range referenceCases(t) {
		if _, ok := want["coef.k"]; !ok {
			continue
		}
		t.Run("R4.2.2/"+name, func(t *testing.T) {
			data, _, _ := strings.Cut(name, "__")
			x, y := caseData(t, data)
			form := Settle
			if strings.HasSuffix(name, "nls_exp") {
				form = Decay
			}
			e := must(FitExpo(form, x, y, nil, 0.95))(t)
			if !e.Converged {
				t.Fatalf("did not converge: %v", e.Doubts)
			}
			got := map[string]float64{"n": float64(e.N), "residual_se": e.ResidualSD, "df": float64(e.DF), "rss": e.RSS, "r2": e.R2,
				"half_life": e.HalfLife, "half_life_se_delta": e.HalfLifeSE}
			put := func(key string, p Parameter) {
				got["coef."+key], got["se."+key] = p.Value, p.SE
				got["wald_ci."+key+"[1]"], got["wald_ci."+key+"[2]"] = p.Low, p.High
				got["profile_ci."+key+"[1]"], got["profile_ci."+key+"[2]"] = p.ProfileLow, p.ProfileHigh
			}
			put("k", e.Rate)
			if form == Settle {
				put("Cinf", e.End)
				put("C0", e.Start)
			} else {
				put("a", e.Start)
			}
			for i := 1; i <= 3; i++ {
				at := fmt.Sprintf("at.x%d.", i)
				got[at+"x"] = number(t, want[at+"x"])
				b := e.At(got[at+"x"])
				got[at+"fit"] = b.Fit
				got[at+"ci_delta[1]"], got[at+"ci_delta[2]"] = b.Low, b.High
				got[at+"pi_delta[1]"], got[at+"pi_delta[2]"] = b.PredictLow, b.PredictHigh
			}
			compare(t, want, got, func(key string) float64 {
				switch {
				case strings.HasPrefix(key, "profile_ci"):
					return 1e-3
				case strings.HasPrefix(key, "coef."), key == "rss", key == "residual_se", key == "r2", key == "half_life", strings.HasSuffix(key, "fit"):
					return 1e-7
				}
				return 1e-6
			}, "nls_max_*", "local_minima*")
		})
	}
}

func TestReferenceBenjaminiHochberg(t *testing.T) {
	for _, c := range []struct{ source, file, p, adjusted string }{
		{"BenjaminiHochberg1995/15-p-values", "reference/bh_adjust_benjamini_hochberg_1995_15p.csv", "p", "BH"},
		{"R4.2.2/p.adjust/Soils-pearson", "reference/bh_adjust_cardata_soils_36_pairs.csv", "p_pearson", "p_pearson_BH"},
		{"R4.2.2/p.adjust/Soils-spearman", "reference/bh_adjust_cardata_soils_36_pairs.csv", "p_spearman", "p_spearman_BH"},
	} {
		t.Run(c.source, func(t *testing.T) {
			var p, want []float64
			for _, row := range readCSV(t, c.file) {
				p, want = append(p, number(t, row[c.p])), append(want, number(t, row[c.adjusted]))
			}
			got := must(BenjaminiHochberg(p))(t)
			rejected := 0
			for i := range p {
				near(t, fmt.Sprintf("p %v", p[i]), got[i], want[i], 1e-12)
				if got[i] <= 0.05 {
					rejected++
				}
			}
			// The paper rejects four of its fifteen at 0.05.
			if len(p) == 15 && rejected != 4 {
				t.Errorf("%d rejected, the paper rejects 4", rejected)
			}
		})
	}
}
