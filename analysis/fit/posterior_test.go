package fit

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// history is a simulated series: what moved it, what was read of it, and what it
// truly was.
type history struct {
	rate, rest, effect, offset, walk float64
	ownSD, reportSD                  float64
}

// The prior of the simulations: a level that moves back by half in 3 to 28 years,
// or wanders only; a spring and an autumn reading in each of ten years; two inputs.
const (
	simYears   = 10
	simRate    = 0.08
	simSpread  = 0.587
	simZero    = 0.1
	simWalk    = 0.002 // variance per year
	simWander  = 0.010 // where nothing pulls back
	simStart   = 6.2
	simStartSD = 0.7
	simRest    = 5.4
	simRestSD  = 0.4
	simEffect  = 0.25
	simEffSD   = 0.08
	simOffset  = -0.1
	simOffSD   = 0.15
	simOwnSD   = 0.11
	simRepSD   = 0.12
)

// asked times of the simulations: a past one, now, and two forecasts.
var simTimes = [...]float64{4.25, simYears, simYears + 2, simYears + 5}

func simPrior() Prior {
	sd := []float64{simStartSD, simRestSD, simEffSD, simOffSD}
	p := Prior{Mean: []float64{simStart, simRest, simEffect, simOffset}, Cov: make([]float64, 16)}
	for i, s := range sd {
		p.Cov[i*5] = s * s
	}
	return p
}

func simAxis(n int) (*Axis, *Relaxation) {
	a := NewAxis(simRate, simSpread, n, simZero)
	r := &Relaxation{Rate: a.Value, Inputs: []Input{{2, 2, 2}, {6, 3, 2}}}
	for i := range a.Value {
		w := simWalk
		if i == 0 {
			w = simWander
		}
		r.Walk = append(r.Walk, w)
	}
	return a, r
}

func drawHistory(rng *rand.Rand) history {
	h := history{
		rate: simRate * math.Exp(simSpread*rng.NormFloat64()), rest: simRest + simRestSD*rng.NormFloat64(),
		effect: simEffect + simEffSD*rng.NormFloat64(), offset: simOffset + simOffSD*rng.NormFloat64(),
		walk: simWalk, ownSD: simOwnSD, reportSD: simRepSD,
	}
	if rng.Float64() < simZero {
		h.rate, h.walk = 0, simWander
	}
	return h
}

// simulate returns readings and the true level at simTimes. reports, if not nil,
// holds the effects of the reports.
func (h history) simulate(rng *rand.Rand, inputs []Input, reports []float64) (readings []Reading, truth [len(simTimes)]float64) {
	x, now := simStart+simStartSD*rng.NormFloat64(), 0.0
	to := func(time float64) {
		for now < time { // in short steps, by Euler's rule made exact for the pull
			next := min(now+1.0/64, time)
			stay := math.Exp(-h.rate * (next - now))
			x = h.rest + (x-h.rest)*stay + math.Sqrt(h.walk*(next-now))*rng.NormFloat64()
			for _, in := range inputs {
				if in.Time >= now && in.Time < next {
					x += h.effect * in.Amount
				}
			}
			now = next
		}
	}
	at := 0
	for i := range 2 * simYears {
		time := float64(i/2) + 0.3 + 0.5*float64(i%2)
		for at < len(simTimes) && simTimes[at] <= time {
			to(simTimes[at])
			truth[at] = x
			at++
		}
		to(time)
		report := h.reportSD * rng.NormFloat64()
		if reports != nil {
			report = reports[i]
		}
		r := Reading{Time: time, Value: x + report + h.ownSD*rng.NormFloat64(), Var: simOwnSD*simOwnSD + simRepSD*simRepSD}
		if i%2 == 1 {
			r.Value += h.offset
			r.Plus = 3
		}
		readings = append(readings, r)
	}
	for ; at < len(simTimes); at++ {
		to(simTimes[at])
		truth[at] = x
	}
	return readings, truth
}

// coverage counts how often ranges hold what they should, and how wide they are.
type coverage struct {
	names      []string
	hit, width map[string]float64
	zeros      float64 // how many ranges of the rate begin at 0
	n          int
}

func (c *coverage) add(name string, truth, low, high float64) {
	if c.hit == nil {
		c.hit, c.width = map[string]float64{}, map[string]float64{}
	}
	if _, ok := c.hit[name]; !ok {
		c.names = append(c.names, name)
		c.hit[name] = 0
	}
	if low <= truth && truth <= high {
		c.hit[name]++
	}
	c.width[name] += high - low
}

func (c *coverage) report(t *testing.T, low, high float64, only func(name string) bool) {
	t.Helper()
	for _, name := range c.names {
		share := c.hit[name] / float64(c.n)
		t.Logf("%-18s covers %.1f %%, mean width %.3f", name, 100*share, c.width[name]/float64(c.n))
		if name == "rate" && c.zeros > 0 {
			// Where more than 5 % of the posterior stands at 0 nothing is below the
			// range, and it holds 95 %.
			share -= 0.05 * c.zeros / float64(c.n)
		}
		if only(name) && (share < low || share > high) {
			t.Errorf("%s: 90 %% ranges cover %.1f %%, want %.0f to %.0f", name, 100*share, 100*low, 100*high)
		}
	}
}

func everything(string) bool { return true }

// levels leaves out the parameters: where a truth is put in the tail of a prior, a
// range of that parameter misses it as often as the data are silent on it.
func levels(name string) bool {
	return name != "rate" && name != "rest" && name != "effect" && name != "offset"
}

func (c *coverage) score(t *testing.T, tr *Tracker, a *Axis, weight []float64, h history, truth [len(simTimes)]float64) {
	t.Helper()
	c.n++
	for i, name := range []string{"level then", "level now", "forecast 2 years", "forecast 5 years"} {
		_, low, high := tr.Level(i, weight).Range(0.9)
		c.add(name, truth[i], low, high)
	}
	_, low, high := a.Range(weight, 0.9)
	c.add("rate", h.rate, low, high)
	if low == 0 {
		c.zeros++
	}
	for j, v := range []float64{h.rest, h.effect, h.offset} {
		_, low, high := tr.State(j+1, weight).Range(0.9)
		c.add([]string{"rest", "effect", "offset"}[j], v, low, high)
	}
}

// Simulation: histories drawn from the prior, and posterior ranges of what they
// truly were.
func TestPosteriorCoverage(t *testing.T) {
	n := 2000
	if testing.Short() {
		n = 300
	}
	var tr Tracker
	run := func(t *testing.T, n int, change func(*history)) *coverage {
		rng := rand.New(rand.NewPCG(7, 8))
		a, move := simAxis(21)
		var c coverage
		for range n {
			h := drawHistory(rng)
			change(&h)
			readings, truth := h.simulate(rng, move.Inputs, nil)
			if err := tr.Run(move, len(a.Value), simPrior(), readings, simTimes[:]); err != nil {
				t.Fatal(err)
			}
			weight := must(Normalise(nil, a.LogPrior, tr.LogLikelihood))(t)
			c.score(t, &tr, a, weight, h, truth)
		}
		return &c
	}
	slack := 0.0
	if testing.Short() {
		slack = 0.03
	}
	t.Run("prior", func(t *testing.T) {
		run(t, n, func(*history) {}).report(t, 0.88-slack, 0.92+slack, everything)
	})
	for _, c := range []struct {
		name   string
		change func(*history)
	}{
		{"slowest rate", func(h *history) { h.rate, h.walk = simRate*math.Exp(-1.96*simSpread), simWalk }},
		{"fastest rate", func(h *history) { h.rate, h.walk = simRate*math.Exp(1.96*simSpread), simWalk }},
		{"rest 0.5 low", func(h *history) { h.rest = simRest - 0.5 }},
		{"rest 0.5 high", func(h *history) { h.rest = simRest + 0.5 }},
		{"autumn offset", func(h *history) { h.offset = simOffset - 0.4 }},
	} {
		t.Run(c.name, func(t *testing.T) { run(t, n/2, c.change).report(t, 0.80-slack, 1, levels) })
	}
	// Four beds of one grower: one rate, reports that shift all four at once, and a
	// posterior that takes the beds for independent but tempers what they share.
	for _, temper := range []float64{0, 0.1, 1} {
		t.Run(fmt.Sprintf("shared date error, temper %v", temper), func(t *testing.T) {
			rng := rand.New(rand.NewPCG(9, 10))
			a, move := simAxis(21)
			var c coverage
			var beds [4]Tracker
			for range n / 4 {
				first := drawHistory(rng)
				reports := make([]float64, 2*simYears)
				for i := range reports {
					reports[i] = 0.17 * rng.NormFloat64()
				}
				var hs [4]history
				var truths [4][len(simTimes)]float64
				var own [][]float64
				for b := range beds {
					h := drawHistory(rng)
					h.rate, h.walk = first.rate, first.walk
					readings, truth := h.simulate(rng, move.Inputs, reports)
					for i := range readings { // the error model knows its variance
						readings[i].Var = simOwnSD*simOwnSD + 0.17*0.17
					}
					hs[b], truths[b] = h, truth
					if err := beds[b].Run(move, len(a.Value), simPrior(), readings, simTimes[:]); err != nil {
						t.Fatal(err)
					}
					own = append(own, beds[b].LogLikelihood)
				}
				for b, l := range Share(own, temper) {
					c.score(t, &beds[b], a, must(Normalise(nil, a.LogPrior, l))(t), hs[b], truths[b])
				}
			}
			c.report(t, 0.80-slack, 1, levels)
		})
	}
}

// property: halving the step of the grid moves no bound by 2 % of the half-width.
func TestGridIsFineEnough(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 12))
	worst := map[string]float64{}
	for range 200 {
		h := drawHistory(rng)
		_, move := simAxis(21)
		readings, _ := h.simulate(rng, move.Inputs, nil)
		var ranges [2]map[string][2]float64
		for k, n := range []int{21, 42} {
			a, move := simAxis(n)
			var tr Tracker
			if err := tr.Run(move, len(a.Value), simPrior(), readings, simTimes[:]); err != nil {
				t.Fatal(err)
			}
			w := must(Normalise(nil, a.LogPrior, tr.LogLikelihood))(t)
			ranges[k] = map[string][2]float64{}
			for i := range simTimes {
				_, lo, hi := tr.Level(i, w).Range(0.9)
				ranges[k][fmt.Sprintf("level %d", i)] = [2]float64{lo, hi}
			}
			_, lo, hi := tr.State(1, w).Range(0.9)
			ranges[k]["rest"] = [2]float64{lo, hi}
			_, lo, hi = a.Range(w, 0.9)
			ranges[k]["rate"] = [2]float64{lo, hi}
		}
		for name, fine := range ranges[1] {
			half := (fine[1] - fine[0]) / 2
			for e := range 2 {
				if d := math.Abs(fine[e] - ranges[0][name][e]); d > 0 {
					worst[name] = max(worst[name], d/half)
				}
			}
		}
	}
	for name, w := range worst {
		t.Logf("%s: at most %.2f %%", name, 100*w)
		if w > 0.02 {
			t.Errorf("%s: a bound moves by %.1f %%", name, 100*w)
		}
	}
}

func TestAxis(t *testing.T) {
	a := NewAxis(0.08, 0.587, 21, 0.1)
	w := must(Normalise(nil, a.LogPrior))(t)
	m, lo, hi := a.Range(w, 0.9)
	// Quantiles of 0.1 at zero and 0.9 log-normal: the 5 % one is zero, the others
	// are those at (p - 0.1)/0.9.
	if lo != 0 {
		t.Errorf("low %v, want 0: a tenth of the prior stands there", lo)
	}
	near(t, "median", m, 0.08*math.Exp(0.587*NormalQuantile(0.4/0.9)), 0.002)
	near(t, "high", hi, 0.08*math.Exp(0.587*NormalQuantile(0.85/0.9)), 0.004)
	// A narrow posterior, a normal of the logarithm with a fifth of the prior's SD.
	like := make([]float64, len(a.Value))
	for i, v := range a.Value {
		z := math.Log(v/0.1) / (0.587 / 5)
		like[i] = -z * z / 2
	}
	like[0] = math.Inf(-1)
	m, lo, hi = a.Range(must(Normalise(nil, a.LogPrior, like))(t), 0.9)
	prec := 1/(0.587*0.587) + 25/(0.587*0.587)
	mean, sd := math.Log(0.08)+25/(0.587*0.587)/prec*math.Log(0.1/0.08), 1/math.Sqrt(prec)
	near(t, "narrow median", m, math.Exp(mean), 0.002)
	near(t, "narrow low", lo, math.Exp(mean-z95*sd), 0.004)
	near(t, "narrow high", hi, math.Exp(mean+z95*sd), 0.004)
}

func TestMixture(t *testing.T) {
	m := Mixture{Weight: []float64{0.3, 0.7}, Mean: []float64{-2, 1}, SD: []float64{0.5, 1}}
	for _, p := range []float64{0.01, 0.05, 0.3, 0.5, 0.95} {
		near(t, "there and back", m.Below(m.Quantile(p)), p, 1e-7)
	}
	mean, sd := m.Moments()
	near(t, "mean", mean, 0.1, 1e-12)
	near(t, "sd", sd, math.Sqrt(0.3*(0.25+2.1*2.1)+0.7*(1+0.9*0.9)), 1e-12)
	q := m.Points(NewQuantity(), 4)
	for i, u := range Points(4) {
		near(t, "a point", m.Below(q[i]), u, 1e-7)
	}
	one := Mixture{Weight: []float64{1}, Mean: []float64{3}, SD: []float64{0}}
	near(t, "a certain number", one.Quantile(0.05), 3, 1e-9)
}

func TestShare(t *testing.T) {
	own := [][]float64{{0, -1}, {-3, 0}, {math.Inf(-1), -2}}
	got := Share(own, 0.1)
	for m, want := range [][]float64{{math.Inf(-1), -1.2}, {math.Inf(-1), -0.3}, {math.Inf(-1), -2.1}} {
		for i, v := range want {
			if d := got[m][i] - v; !(math.Abs(d) < 1e-12) && got[m][i] != v {
				t.Errorf("member %d, node %d: %v, want %v", m, i, got[m][i], v)
			}
		}
	}
	if apart := Share(own, 0); apart[0][0] != 0 || apart[1][0] != -3 {
		t.Errorf("kept apart: %v", apart)
	}
}

// property: weighted points agree with the closed form, here of a normal prior
// and a normal reading, and say when they are too few.
func TestWeigh(t *testing.T) {
	x := NewQuantity().Normal(2, 5, 1)
	like := make([]float64, N)
	for i, v := range x {
		like[i] = -(v - 5.6) * (v - 5.6) / (2 * 0.64)
	}
	w := must(Weigh(like))(t)
	mean, sd := (5+5.6/0.64)/(1+1/0.64), 1/math.Sqrt(1+1/0.64)
	m, lo, hi := w.Range(x, 0.9)
	for _, c := range []struct{ got, want float64 }{{m, mean}, {lo, mean - z95*sd}, {hi, mean + z95*sd}} {
		if math.Abs(c.got-c.want) > 0.03*z95*sd {
			t.Errorf("got %.4f, want %.4f", c.got, c.want)
		}
	}
	if w.ESS < 200 || w.ESS > N || len(w.Doubts) != 0 {
		t.Errorf("effective size %.0f of %d, doubts %v", w.ESS, N, w.Doubts)
	}
	again := NewQuantity()
	for k, i := range w.Resample(N) {
		again[k] = x[i]
	}
	if _, lo2, hi2 := again.Range(0.9, nil); math.Abs(lo2-lo) > 0.05*sd || math.Abs(hi2-hi) > 0.05*sd {
		t.Errorf("resampled %.3f to %.3f, weighted %.3f to %.3f", lo2, hi2, lo, hi)
	}
	for i, v := range x { // a reading that leaves a hundredth of the prior
		like[i] = -(v - 7) * (v - 7) / (2 * 0.0004)
	}
	if w := must(Weigh(like))(t); len(w.Doubts) != 1 || w.Doubts[0] != FewPoints {
		t.Errorf("effective size %.1f, doubts %v, want few points named", w.ESS, w.Doubts)
	}
	for i := range like {
		like[i] = math.Inf(-1)
	}
	if _, err := Weigh(like); !errors.Is(err, ErrDomain) {
		t.Errorf("nothing possible: %v", err)
	}
	like[3] = math.NaN()
	if _, err := Weigh(like); !errors.Is(err, ErrNotFinite) {
		t.Errorf("NaN: %v", err)
	}
}

// property: points drawn from the end of a track have its distribution.
func TestTrackerPoints(t *testing.T) {
	rng := rand.New(rand.NewPCG(13, 14))
	a, move := simAxis(21)
	h := drawHistory(rng)
	readings, _ := h.simulate(rng, move.Inputs, nil)
	var tr Tracker
	if err := tr.Run(move, len(a.Value), simPrior(), readings, nil); err != nil {
		t.Fatal(err)
	}
	w := must(Normalise(nil, a.LogPrior, tr.LogLikelihood))(t)
	state := []Quantity{NewQuantity(), NewQuantity(), NewQuantity(), NewQuantity()}
	node := make([]int, N)
	tr.Points(w, []int{0, 1, 2, 3, 4}, state, node)
	for j, q := range state {
		m := tr.State(j, w)
		_, sd := m.Moments()
		_, lo, hi := m.Range(0.9)
		_, gotLo, gotHi := q.Range(0.9, nil)
		if math.Abs(gotLo-lo) > 0.05*sd || math.Abs(gotHi-hi) > 0.05*sd {
			t.Errorf("part %d: %.4f to %.4f, want %.4f to %.4f", j, gotLo, gotHi, lo, hi)
		}
	}
	rates := NewQuantity()
	for i, k := range node {
		rates[i] = a.Value[k]
	}
	_, lo, hi := a.Range(w, 0.9)
	_, gotLo, gotHi := rates.Range(0.9, nil)
	if math.Abs(gotLo-lo) > 0.1*(hi-lo) || math.Abs(gotHi-hi) > 0.1*(hi-lo) {
		t.Errorf("rate: %.4f to %.4f, want %.4f to %.4f", gotLo, gotHi, lo, hi)
	}
}

func BenchmarkPosterior(b *testing.B) {
	rng := rand.New(rand.NewPCG(15, 16))
	a, move := simAxis(21)
	readings, _ := drawHistory(rng).simulate(rng, move.Inputs, nil)
	var tr Tracker
	var w []float64
	prior := simPrior()
	b.ReportAllocs()
	for b.Loop() {
		if err := tr.Run(move, len(a.Value), prior, readings, simTimes[:]); err != nil {
			b.Fatal(err)
		}
		w, _ = Normalise(w, a.LogPrior, tr.LogLikelihood)
		a.Range(w, 0.9)
		for i := range simTimes {
			tr.Level(i, w).Range(0.9)
		}
		tr.State(1, w).Range(0.9)
	}
}
