"""Figures that tests of analysis/fit hold against other people's code.

Run with what requirements.txt names; it prints each figure under the name that
the tests (crosscheck_test.go) give it, as fit.txt holds them. The data are
invented.
"""
import itertools
import math

import numpy as np
import statsmodels.api as sm
from scipy import optimize, stats

x = np.array([6.4, 6.6, 6.7, 6.8, 6.9, 7.0, 7.1, 7.3])
y = np.array([1450, 1720, 1380, 1910, 1655, 1840, 1600, 2050.0])
w = np.array([1, 2, 0.5, 4, 1, 3, 0.25, 2])


def show(name, *values):
    print(f"{name}:", ", ".join(f"{float(v):.9g}" for v in np.ravel(values)))


def weighted():
    fit = sm.WLS(y, sm.add_constant(x), weights=w).fit()
    show("wls coef", fit.params)
    show("wls se", fit.bse)
    show("wls p", fit.pvalues)
    show("wls ci slope", fit.conf_int(0.1)[1])
    show("wls s, R2, adj R2, F, p(F)", math.sqrt(fit.scale), fit.rsquared, fit.rsquared_adj, fit.fvalue, fit.f_pvalue)
    band = fit.get_prediction([[1, 6.9]], weights=1).summary_frame(alpha=0.1)
    show("wls at 6.9: fit, mean, new", band[["mean", "mean_ci_lower", "mean_ci_upper", "obs_ci_lower", "obs_ci_upper"]].values)
    # Influence of the rows times the roots of their weights, which is that of
    # the weighted fit.
    root = np.sqrt(w)
    inf = sm.OLS(y * root, sm.add_constant(x) * root[:, None]).fit().get_influence()
    show("wls leverage", inf.hat_matrix_diag)
    show("wls student", inf.resid_studentized_external)
    show("wls cook", inf.cooks_distance[0])


def permutations():
    a = np.array([1, 2, 2, 3, 4, 5, 5.0])
    b = np.array([2, 1, 3, 3, 5, 4, 6.0])
    rb = stats.rankdata(b)
    score = lambda v: sum(np.sign(a[j] - a[i]) * np.sign(v[j] - v[i]) for j in range(7) for i in range(j))
    rho = lambda v: stats.pearsonr(stats.rankdata(a), v)[0]
    all_ = list(itertools.permutations(range(7)))
    s0, r0 = score(b), rho(rb)
    show("permuted S, p", s0, np.mean([abs(score(b[list(p)])) >= abs(s0) for p in all_]))
    show("permuted rho, p", r0, np.mean([abs(rho(rb[list(p)])) >= abs(r0) - 1e-12 for p in all_]))
    show("tau-b", stats.kendalltau(a, b).statistic)


def within():
    bed = np.array([0, 0, 0, 0, 1, 1, 1, 2, 2, 2, 2, 3])
    year = np.array([0, 1, 2, 3, 0, 1, 3, 1, 2, 3, 0, 2])
    u = np.array([6.1, 6.3, 6.0, 6.6, 5.9, 6.4, 6.2, 6.8, 6.5, 6.9, 6.4, 6.0])
    v = np.array([1500, 1610, 1480, 1700, 1300, 1450, 1410, 1820, 1790, 1880, 1650, 1500.0])
    for name, groups in (("bed", [bed]), ("bed and year", [bed, year])):
        columns = [u] + [(g == k).astype(float) for g in groups for k in np.unique(g)]
        design = np.column_stack(columns)
        fit = sm.OLS(v, design).fit()  # the pseudo-inverse bears the surplus column
        show(f"within {name}: slope, se, df", fit.params[0], fit.bse[0], fit.df_resid)


def errors():
    # run, report, time, value, own SD, offset
    tests = [(0, 0, 0.3, 6.41, 0.1, 0), (1, 0, 0.3, 6.05, 0.1, 0), (2, 0, 0.3, 6.70, 0.12, 0),
             (0, 1, 0.8, 6.10, 0.1, 1), (1, 1, 0.8, 5.80, 0.1, 1), (2, 1, 0.8, 6.30, 0.1, 1),
             (0, 2, 1.3, 6.52, 0.1, 0), (1, 2, 1.3, 6.11, 0.15, 0), (2, 2, 1.3, 6.77, 0.1, 0),
             (0, 3, 1.8, 6.12, 0.1, 1), (2, 3, 1.8, 6.40, 0.1, 1), (0, 4, 2.3, 6.30, 0.1, 0), (1, 4, 2.3, 5.98, 0.1, 0)]
    run, report, t, v, sd, off = (np.array(c, float) for c in zip(*tests))
    drift, walk, offset_mean, offset_sd = 0.08, 0.003, -0.1, 0.15

    def loglike(scale, report_sd):
        n = len(tests)
        V = np.zeros((n, n))
        for i in range(n):
            for j in range(n):
                if run[i] == run[j]:
                    first = t[run == run[i]].min()
                    V[i, j] += drift**2 * (t[i] - first) * (t[j] - first) + walk * min(t[i] - first, t[j] - first)
                if report[i] == report[j]:
                    V[i, j] += report_sd**2
                V[i, j] += offset_sd**2 * off[i] * off[j]
                if i == j:
                    V[i, j] += (scale * sd[i]) ** 2
        X = np.array([[run[i] == k for k in range(3)] for i in range(n)], float)
        r = v - offset_mean * off
        Vi = np.linalg.inv(V)
        XVX = X.T @ Vi @ X
        P = Vi - Vi @ X @ np.linalg.inv(XVX) @ X.T @ Vi
        c = np.array([offset_sd**2 * o for o in off])
        gamma = offset_mean + c @ P @ r
        gamma_var = offset_sd**2 - c @ P @ c
        effect = [report_sd**2 * (report == k) @ P @ r for k in range(5)]
        return -0.5 * (np.linalg.slogdet(V)[1] + np.linalg.slogdet(XVX)[1] + r @ P @ r), gamma, gamma_var, effect

    a, g, gv, e = loglike(1, 0.12)
    b = loglike(1.5, 0.05)[0]
    show("errors: log-likelihood at (1, 0.12) less at (1.5, 0.05)", a - b)
    show("errors: offset, variance at (1, 0.12)", g, gv)
    show("errors: effects at (1, 0.12)", e)
    best = optimize.minimize(lambda p: -loglike(math.exp(p[0]), math.exp(p[1]))[0], [0, -2], method="Nelder-Mead",
                             options={"xatol": 1e-7, "fatol": 1e-9})
    show("errors: restricted maximum at scale, report SD", np.exp(best.x))


def local_level():
    obs = np.array([6.41, 6.10, 6.52, 6.12, 6.30, 6.22, 6.05, 6.18])
    model = sm.tsa.UnobservedComponents(obs, "local level")
    model.ssm.initialize_known(np.array([6.2]), np.array([[0.49]]))
    model.ssm.loglikelihood_burn = 0
    result = model.smooth([0.0265, 0.01])
    show("local level: log-likelihood", result.llf)
    show("local level: smoothed", result.smoothed_state[0])
    show("local level: variance", result.smoothed_state_cov[0, 0])


for part in (weighted, permutations, within, errors, local_level):
    part()
