package fit

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// Test is one tested value for the error model, on a scale where errors add.
type Test struct {
	// Run numbers, from 0, the stretches of time over which a level is expected to
	// move in a straight line: one bed between two inputs.
	Run    int
	Report int // from 0: tests of one report share its effect
	Time   float64
	Value  float64
	SD     float64 // prior standard deviation of the test's own error, > 0
	Offset bool    // whether the value holds the seasonal offset
}

// ErrorPrior is what is held of test error before a book has its say.
type ErrorPrior struct {
	// ReportSD is the median of the standard deviation of what tests of one report
	// share, and ReportSpread the standard deviation of its natural logarithm.
	ReportSD, ReportSpread float64
	// OwnSpread is the standard deviation of the natural logarithm of the factor,
	// of median 1, by which all tests' own SDs are wrong.
	OwnSpread            float64
	OffsetMean, OffsetSD float64
	DriftSD              float64 // of a run's slope, per unit of time
	Walk                 float64 // variance per unit of time of a level's wandering about its line
}

// Source says where an estimate comes from: how much of its prior's variance the
// data took away.
type Source string

const (
	FromPrior Source = "prior"           // less than a tenth
	FromBoth  Source = "prior and tests" // less than two thirds
	FromTests Source = "tests"
)

func sourceOf(learned float64) Source {
	switch {
	case learned < 0.1:
		return FromPrior
	case learned < 2.0/3:
		return FromBoth
	}
	return FromTests
}

// Learned is an estimate between a prior and data.
type Learned struct {
	Value, Low, High float64 // median and range
	// Share is the share of the prior's variance that the data took away: of the
	// logarithm for a standard deviation or a factor.
	Share float64
	From  Source
}

// ErrorModel is what an error model found: the standard deviation of what tests
// of one report share, the factor on their own standard deviations, and the
// offset, with the effect of each report.
type ErrorModel struct {
	N, Runs, Reports   int // tests in runs of two or more, those runs, and their reports
	ReportSD, OwnScale Learned
	Offset             Learned
	// Effects has, per report number, the mean and standard deviation of its
	// effect: what its tests hold in common beyond the beds' own lines.
	Effects []Effect

	reportVar, ownVar, offsetVar float64 // posterior means
}

// Effect is the effect of one report.
type Effect struct{ Mean, SD float64 }

// FitErrorModel parts the error of tests into a report effect, shared by all
// tests of a report, and each test's own, and finds the seasonal offset:
//
//	value = line of its run + wandering + offset + report effect + own error
//
// The level of each run is free; its slope and its wandering have the prior's
// variances. Both scales are weighted on a grid by the likelihood with all else
// integrated out (restricted), times their priors, so that the estimates move from
// the priors as far as the tests compel: one bed alone cannot part the report from
// the test, and From says so. What all beds truly did in common from one report
// to the next counts as the reports' effect, beyond what DriftSD and Walk allow.
//
// The error wraps ErrNotFinite or ErrDomain.
//
// Source: Searle, Casella and McCulloch 1992, Variance Components, ch. 6 and 9
// (restricted likelihood, empirical Bayes).
func FitErrorModel(tests []Test, prior ErrorPrior, level float64) (*ErrorModel, error) {
	checkLevel(level)
	if !(prior.ReportSD > 0 && prior.ReportSpread > 0 && prior.OwnSpread > 0 && prior.OffsetSD > 0 && prior.DriftSD >= 0 && prior.Walk >= 0) {
		panic(fmt.Sprintf("fit: error prior %+v", prior))
	}
	reports := 0
	for i, t := range tests {
		if math.IsNaN(t.Value-t.Value) || math.IsNaN(t.Time-t.Time) {
			return nil, fmt.Errorf("test %d is %v at %v: %w", i, t.Value, t.Time, ErrNotFinite)
		}
		if !(t.SD > 0) || math.IsInf(t.SD, 0) {
			return nil, fmt.Errorf("test %d has the SD %v: %w", i, t.SD, ErrDomain)
		}
		if t.Report < 0 || t.Run < 0 {
			panic(fmt.Sprintf("fit: test %d of run %d, report %d", i, t.Run, t.Report))
		}
		reports = max(reports, t.Report+1)
	}
	e := newErrorFit(tests, reports, prior)
	m := &ErrorModel{N: e.n, Runs: len(e.runs), Reports: e.reports, Effects: make([]Effect, reports)}

	const nodes = 13
	own, report := NewAxis(1, prior.OwnSpread, nodes, 0), NewAxis(prior.ReportSD, prior.ReportSpread, nodes, 0)
	logs := make([]float64, 0, nodes*nodes)
	type cell struct{ offset, offsetVar float64 }
	var cells []cell
	effects, effectVars := make([]float64, nodes*nodes*reports), make([]float64, nodes*nodes*reports)
	best := math.Inf(-1)
	for i, scale := range own.Value {
		e.reduce(scale)
		for j, sd := range report.Value {
			k := i*nodes + j
			log := e.likelihood(sd) + own.LogPrior[i] + report.LogPrior[j]
			best = max(best, log)
			var c cell
			if log > best-16 { // else its weight is below 1e-6, and it may go
				c.offset, c.offsetVar = e.effects(effects[k*reports:(k+1)*reports], effectVars[k*reports:(k+1)*reports])
			} else {
				log = math.Inf(-1)
			}
			logs, cells = append(logs, log), append(cells, c)
		}
	}
	weight, err := Normalise(nil, logs)
	if err != nil {
		return nil, err
	}
	ownWeight, reportWeight := make([]float64, nodes), make([]float64, nodes)
	mix := Mixture{Weight: weight}
	for k, w := range weight {
		i, j := k/nodes, k%nodes
		ownWeight[i] += w
		reportWeight[j] += w
		m.ownVar += w * own.Value[i] * own.Value[i]
		m.reportVar += w * report.Value[j] * report.Value[j]
		mix.Mean, mix.SD = append(mix.Mean, cells[k].offset), append(mix.SD, math.Sqrt(cells[k].offsetVar))
	}
	m.OwnScale = learned(own, ownWeight, level)
	m.ReportSD = learned(report, reportWeight, level)
	_, sd := mix.Moments()
	m.offsetVar = sd * sd
	m.Offset.Value, m.Offset.Low, m.Offset.High = mix.Range(level)
	m.Offset.Share = max(0, 1-m.offsetVar/(prior.OffsetSD*prior.OffsetSD))
	m.Offset.From = sourceOf(m.Offset.Share)
	for r := range reports {
		mix := Mixture{Weight: weight, Mean: make([]float64, len(weight)), SD: make([]float64, len(weight))}
		for k := range weight {
			mix.Mean[k], mix.SD[k] = effects[k*reports+r], math.Sqrt(effectVars[k*reports+r])
		}
		m.Effects[r].Mean, m.Effects[r].SD = mix.Moments()
	}
	return m, nil
}

// learned reads an estimate off an axis.
func learned(a *Axis, weight []float64, level float64) (l Learned) {
	l.Value, l.Low, l.High = a.Range(weight, level)
	variance := func(w []float64) float64 {
		mean, square := 0.0, 0.0
		for i, v := range a.Value {
			mean += w[i] * math.Log(v)
			square += w[i] * math.Log(v) * math.Log(v)
		}
		return square - mean*mean
	}
	before := make([]float64, len(weight))
	for i, v := range a.LogPrior {
		before[i] = math.Exp(v)
	}
	l.Share = max(0, 1-variance(weight)/variance(before))
	l.From = sourceOf(l.Share)
	return l
}

// Cov returns the error covariance of tests, row-major, in dst if that is long
// enough: after the offset's Value is taken from those that hold it, what they
// have of their report, of their own, and of the offset's uncertainty. Runs and
// times do not matter to it.
func (m *ErrorModel) Cov(tests []Test, dst []float64) []float64 {
	n := len(tests)
	dst = resize(dst, n*n)
	for i, a := range tests {
		for j, b := range tests {
			v := 0.0
			if a.Report == b.Report {
				v += m.reportVar
			}
			if a.Offset && b.Offset {
				v += m.offsetVar
			}
			if i == j {
				v += m.ownVar * a.SD * a.SD
			}
			dst[i*n+j] = v
		}
	}
	return dst
}

// errorFit holds the tests by run and, for one scale of the own errors, what is
// left of them when the lines of the runs are out: a normal problem in the report
// effects and the offset.
type errorFit struct {
	prior      ErrorPrior
	runs       [][]Test
	n, reports int
	size       int       // reports + 1: the offset comes last
	a, b       []float64 // normal matrix and right side
	c, logDet  float64   // sum of squares, log-determinant of all runs
	m, l, x    []float64 // work
	work       []float64 // three matrices and a vector of the longest run
}

func newErrorFit(tests []Test, reports int, prior ErrorPrior) *errorFit {
	e := &errorFit{prior: prior, size: reports + 1}
	byRun := map[int][]Test{}
	for _, t := range tests {
		byRun[t.Run] = append(byRun[t.Run], t)
	}
	var numbers []int
	for r, of := range byRun {
		if len(of) > 1 { // a single test says nothing beyond its own level
			numbers = append(numbers, r)
		}
	}
	slices.Sort(numbers)
	seen, longest := map[int]bool{}, 0
	for _, r := range numbers {
		of := byRun[r]
		slices.SortStableFunc(of, func(a, b Test) int { return cmp.Compare(a.Time, b.Time) })
		e.runs = append(e.runs, of)
		e.n += len(of)
		longest = max(longest, len(of))
		for _, t := range of {
			seen[t.Report] = true
		}
	}
	e.reports = len(seen)
	e.work = make([]float64, (3*longest+1)*longest)
	e.a, e.b = make([]float64, e.size*e.size), make([]float64, e.size)
	e.m, e.l, e.x = make([]float64, e.size*e.size), make([]float64, e.size*e.size), make([]float64, e.size)
	return e
}

// reduce takes the lines of the runs out at one scale of the own errors.
func (e *errorFit) reduce(scale float64) {
	clear(e.a)
	clear(e.b)
	e.c, e.logDet = 0, 0
	p := e.prior
	for _, run := range e.runs {
		n := len(run)
		v, l, w, one := e.work[:n*n], e.work[n*n:2*n*n], e.work[2*n*n:3*n*n], e.work[3*n*n:3*n*n+n]
		clear(e.work)
		first := run[0].Time
		for i, a := range run {
			for j, b := range run {
				v[i*n+j] = p.DriftSD*p.DriftSD*(a.Time-first)*(b.Time-first) + p.Walk*min(a.Time-first, b.Time-first)
			}
			v[i*n+i] += scale * scale * a.SD * a.SD
		}
		cholesky(l, v, n)
		// w is the inverse of v, and one its row sums.
		inv := invertLower(l, v, n)
		for k := range n { // the sum over rows of the inverse root
			row := inv[k*n : k*n+k+1]
			for i, f := range row {
				axpy(w[i*n:i*n+k+1], f, row)
			}
			e.logDet += 2 * math.Log(l[k*n+k])
		}
		for i := range n {
			for _, f := range w[i*n : (i+1)*n] {
				one[i] += f
			}
		}
		sum := 0.0
		for _, o := range one {
			sum += o
		}
		e.logDet += math.Log(sum)
		for i, a := range run {
			ya := a.Value
			if a.Offset {
				ya -= p.OffsetMean
			}
			for j, b := range run {
				wij := w[i*n+j] - one[i]*one[j]/sum
				yb := b.Value
				if b.Offset {
					yb -= p.OffsetMean
				}
				e.c += wij * ya * yb
				e.b[a.Report] += wij * yb
				e.a[a.Report*e.size+b.Report] += wij
				if a.Offset {
					e.b[e.size-1] += wij * yb
					e.a[(e.size-1)*e.size+b.Report] += wij
				}
				if b.Offset {
					e.a[a.Report*e.size+e.size-1] += wij
				}
				if a.Offset && b.Offset {
					e.a[e.size*e.size-1] += wij
				}
			}
		}
	}
}

// likelihood returns the log-likelihood of the reduced tests at one standard
// deviation of the report effects, up to a constant.
func (e *errorFit) likelihood(reportSD float64) float64 {
	s := e.size
	copy(e.m, e.a)
	log := -e.logDet - e.c
	for r := range s {
		sd := reportSD
		if r == s-1 {
			sd = e.prior.OffsetSD
		}
		e.m[r*s+r] += 1 / (sd * sd)
		log -= 2 * math.Log(sd)
	}
	cholesky(e.l, e.m, s)
	copy(e.x, e.b)
	solveRoot(e.l, e.x, s)
	for r := range s {
		log -= 2 * math.Log(e.l[r*s+r])
	}
	return (log + dot(e.b, e.x)) / 2
}

// effects fills the means and variances of the report effects at the last
// likelihood, and returns those of the offset.
func (e *errorFit) effects(mean, variance []float64) (offset, offsetVar float64) {
	s := e.size
	diagonal := make([]float64, s) // of the inverse: squares of the inverse root's columns
	inv := invertLower(e.l, e.m, s)
	for i := range s {
		for r, v := range inv[i*s : i*s+i+1] {
			diagonal[r] += v * v
		}
	}
	copy(mean, e.x[:s-1])
	copy(variance, diagonal[:s-1])
	return e.prior.OffsetMean + e.x[s-1], diagonal[s-1]
}

// solveRoot solves l l' x = b in place, l lower triangular, n x n.
func solveRoot(l, b []float64, n int) {
	for i := range n {
		b[i] = (b[i] - dot(l[i*n:i*n+i], b[:i])) / l[i*n+i]
	}
	for i := n - 1; i >= 0; i-- {
		b[i] /= l[i*n+i]
		axpy(b[:i], -b[i], l[i*n:i*n+i])
	}
}

// invertLower puts the inverse of the lower triangular l into dst, row by row.
func invertLower(l, dst []float64, n int) []float64 {
	clear(dst)
	for i := range n {
		row, d := dst[i*n:i*n+i+1], 1/l[i*n+i]
		for k := range i {
			axpy(row[:k+1], -d*l[i*n+k], dst[k*n:k*n+k+1])
		}
		row[i] = d
	}
	return dst
}
