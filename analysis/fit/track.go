package fit

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// Mover says how a level moves. The state is the level, then constants that stay
// what they are (a resting level, the effect of an input, an offset of some
// readings). Given the state at one time, at one node of a grid of parameters,
// Move returns the level expected at a later time and the variance that the
// interval adds to it; it puts the derivatives of the expected level by each
// part of the state into grad.
type Mover interface {
	Move(node int, from, to float64, state, grad []float64) (level, variance float64)
}

// Reading is one observed level.
type Reading struct {
	Time, Value float64
	Var         float64 // error variance, > 0
	Plus        int     // the constant of the state that the reading holds as well; 0: none
}

// Prior is what is known of the state before any reading, at a time no later
// than the first: the means of its d parts and their covariance, d x d.
type Prior struct {
	Time      float64
	Mean, Cov []float64
}

// Tracker follows a level from readings, node by node of a grid: a Kalman filter
// for the state, linear or made linear about its mean, so that the likelihood of
// each node and, given it, the distribution of the level at any time are known in
// closed form. What a node means is the Mover's business. A tracker reuses its
// memory: what it says holds until the next Run. The zero Tracker is ready.
//
// Sources: Kalman 1960, J. Basic Eng. 82:35-45; Bierman 1973, J. Optim. Theory
// Appl. 12:521-536 (the smoother, as modified from Bryson and Frazier).
type Tracker struct {
	// LogLikelihood has one value per node: the natural logarithm of the density
	// of the readings, each given those before it.
	LogLikelihood []float64

	d, nodes, times int
	level, variance []float64 // times x nodes
	end, endCov     []float64 // nodes x d, nodes x d x d: the state after the last reading
	events          []event
	steps           []step
	vec             []float64 // the vectors of the steps
}

// event is a reading or, with reading -1, a time asked for.
type event struct {
	time    float64
	reading int
	asked   int
}

// step is what the smoother needs of one event.
type step struct {
	moved, read       bool
	innovation, s     float64
	plus              int
	x0                float64
	grad, gain, first []float64 // first: the first column of the covariance
}

// Run follows the level through readings, in order of time, and works out its
// distribution at each of the times asked for, before, between or after the
// readings (never before the prior's time). Errors wrap ErrDomain or
// ErrNotFinite.
func (t *Tracker) Run(move Mover, nodes int, prior Prior, readings []Reading, times []float64) error {
	d := len(prior.Mean)
	if d == 0 || len(prior.Cov) != d*d || nodes < 1 {
		panic(fmt.Sprintf("fit: a state of %d, covariance of %d, %d nodes", d, len(prior.Cov), nodes))
	}
	if err := finite("prior", prior.Mean); err != nil {
		return err
	}
	if err := finite("prior covariance", prior.Cov); err != nil {
		return err
	}
	t.d, t.nodes, t.times = d, nodes, len(times)
	t.events = t.events[:0]
	for i, r := range readings {
		switch {
		case math.IsNaN(r.Value-r.Value) || math.IsNaN(r.Time-r.Time):
			return fmt.Errorf("reading %d is %v at %v: %w", i, r.Value, r.Time, ErrNotFinite)
		case !(r.Var > 0) || math.IsInf(r.Var, 0):
			return fmt.Errorf("reading %d has the variance %v: %w", i, r.Var, ErrDomain)
		case r.Plus < 0 || r.Plus >= d:
			panic(fmt.Sprintf("fit: reading %d holds part %d of %d", i, r.Plus, d))
		case r.Time < prior.Time || i > 0 && r.Time < readings[i-1].Time:
			return fmt.Errorf("reading %d at %v comes before what it should follow: %w", i, r.Time, ErrDomain)
		}
		t.events = append(t.events, event{r.Time, i, -1})
	}
	for i, at := range times {
		if !(at >= prior.Time) || math.IsInf(at, 0) {
			return fmt.Errorf("time %v is before the prior's, %v: %w", at, prior.Time, ErrDomain)
		}
		t.events = append(t.events, event{at, -1, i})
	}
	// Stable: at one time readings, put first, stay before what is asked.
	slices.SortStableFunc(t.events, func(a, b event) int { return cmp.Compare(a.time, b.time) })
	t.LogLikelihood = resize(t.LogLikelihood, nodes)
	t.level, t.variance = resize(t.level, nodes*len(times)), resize(t.variance, nodes*len(times))
	t.end, t.endCov = resize(t.end, nodes*d), resize(t.endCov, nodes*d*d)
	t.vec = resize(t.vec, len(t.events)*3*d+3*d+2*d*d)
	if cap(t.steps) < len(t.events) {
		t.steps = make([]step, len(t.events))
	}
	t.steps = t.steps[:len(t.events)]
	for i := range t.steps {
		v := t.vec[i*3*d:]
		t.steps[i].grad, t.steps[i].gain, t.steps[i].first = v[:d:d], v[d:2*d:2*d], v[2*d:3*d:3*d]
	}
	for node := range nodes {
		t.filter(move, node, prior, readings)
		if math.IsNaN(t.LogLikelihood[node]) {
			return fmt.Errorf("the level at node %d is no number: %w", node, ErrNotFinite)
		}
		t.smooth(node)
	}
	return nil
}

func resize(v []float64, n int) []float64 {
	if cap(v) < n {
		return make([]float64, n)
	}
	return v[:n]
}

// filter goes forward through the events at one node.
func (t *Tracker) filter(move Mover, node int, prior Prior, readings []Reading) {
	d := t.d
	x, p := t.end[node*d:(node+1)*d], t.endCov[node*d*d:(node+1)*d*d]
	copy(x, prior.Mean)
	copy(p, prior.Cov)
	logs, squares, scale := 0.0, 0.0, 1.0
	now := prior.Time
	rest := len(readings)
	// After the last reading the state goes on in a copy: the end stays.
	tail := t.vec[len(t.events)*3*d:]
	for i := range t.events {
		e, s := &t.events[i], &t.steps[i]
		if e.asked >= 0 && rest == 0 {
			copy(tail[:d], x)
			copy(tail[d:d+d*d], p)
			x, p = tail[:d], tail[d:d+d*d]
			rest = -1
		}
		s.moved, s.read = e.time > now, e.reading >= 0
		if s.moved {
			level, variance := move.Move(node, now, e.time, x, s.grad)
			// The first row of the covariance becomes that of grad x.
			g := s.grad
			corner := 0.0
			for j := d - 1; j >= 0; j-- {
				v := 0.0
				row := p[j*d : (j+1)*d]
				for k, gk := range g {
					v += row[k] * gk
				}
				corner += g[j] * v
				s.first[j] = v
			}
			for j := 1; j < d; j++ {
				p[j], p[j*d] = s.first[j], s.first[j]
			}
			p[0] = corner + variance
			x[0] = level
			now = e.time
		}
		if s.read {
			r := &readings[e.reading]
			s.plus = r.Plus
			s.innovation = r.Value - x[0]
			for j := range d {
				s.gain[j] = p[j*d]
			}
			if r.Plus > 0 {
				s.innovation -= x[r.Plus]
				for j := range d {
					s.gain[j] += p[j*d+r.Plus]
				}
			}
			s.s = s.gain[0] + r.Var
			if r.Plus > 0 {
				s.s += s.gain[r.Plus]
			}
			squares += s.innovation * s.innovation / s.s
			if scale *= s.s; scale > 1e200 || scale < 1e-200 { // one logarithm for many readings
				logs += math.Log(scale)
				scale = 1
			}
			for j := range d { // gain is still the covariance with the reading
				w := s.gain[j] / s.s
				x[j] += w * s.innovation
				row := p[j*d : (j+1)*d]
				for k := range row {
					row[k] -= w * s.gain[k]
				}
			}
			for j := range d {
				s.gain[j] /= s.s
			}
			rest--
		}
		s.x0 = x[0]
		for j := range d {
			s.first[j] = p[j*d]
		}
	}
	t.LogLikelihood[node] = -(float64(len(readings))*math.Log(2*math.Pi) + logs + math.Log(scale) + squares) / 2
}

// smooth goes back through the events and fills the levels asked for.
func (t *Tracker) smooth(node int) {
	d := t.d
	work := t.vec[len(t.events)*3*d+d+d*d:]
	r, ng, n := work[:d], work[d:2*d], work[2*d:2*d+d*d]
	clear(r)
	clear(n)
	for i := len(t.events) - 1; i >= 0; i-- {
		e, s := &t.events[i], &t.steps[i]
		if e.asked >= 0 {
			level, reduction := s.x0, 0.0
			for j, pj := range s.first {
				level += pj * r[j]
				v := 0.0
				for k, pk := range s.first {
					v += n[j*d+k] * pk
				}
				reduction += pj * v
			}
			at := e.asked*t.nodes + node
			t.level[at], t.variance[at] = level, max(s.first[0]-reduction, 0)
		}
		if s.read {
			// r := (I - h gain') r + h innovation/s; n likewise on both sides.
			kr := dot(s.gain, r)
			knk := 0.0
			for j, gj := range s.gain {
				ng[j] = dot(n[j*d:(j+1)*d], s.gain)
				knk += gj * ng[j]
			}
			add := func(j int) {
				r[j] += s.innovation/s.s - kr
				for k := range d {
					n[j*d+k] -= ng[k]
					n[k*d+j] -= ng[k]
				}
			}
			corner := knk + 1/s.s
			add(0)
			n[0] += corner
			if s.plus > 0 {
				add(s.plus)
				n[s.plus*d+s.plus] += corner
				n[s.plus] += corner
				n[s.plus*d] += corner
			}
		}
		if s.moved { // the level before enters the level after by grad
			g := s.grad
			r0, n00 := r[0], n[0]
			r[0] *= g[0]
			for j := 1; j < d; j++ {
				r[j] += g[j] * r0
			}
			// n := F' n F, F being the identity but for its first row, grad.
			for j := 1; j < d; j++ {
				for k := 1; k < d; k++ {
					n[j*d+k] += g[j]*n[k] + n[j*d]*g[k] + g[j]*n00*g[k]
				}
			}
			for j := 1; j < d; j++ {
				v := g[0] * (n[j] + n00*g[j])
				n[j], n[j*d] = v, v
			}
			n[0] = g[0] * g[0] * n00
		}
	}
}

// Level returns the distribution of the level at time i of those asked for, given
// the nodes' weights (Normalise), which it keeps.
func (t *Tracker) Level(i int, weight []float64) Mixture {
	if i < 0 || i >= t.times || len(weight) != t.nodes {
		panic(fmt.Sprintf("fit: time %d of %d, %d weights for %d nodes", i, t.times, len(weight), t.nodes))
	}
	m := Mixture{Weight: weight, Mean: slices.Clone(t.level[i*t.nodes : (i+1)*t.nodes]), SD: make([]float64, t.nodes)}
	for k := range m.SD {
		m.SD[k] = math.Sqrt(t.variance[i*t.nodes+k])
	}
	return m
}

// State returns the distribution of part j of the state after the last reading:
// of the level for 0, of a constant otherwise.
func (t *Tracker) State(j int, weight []float64) Mixture {
	if j < 0 || j >= t.d || len(weight) != t.nodes {
		panic(fmt.Sprintf("fit: part %d of %d, %d weights for %d nodes", j, t.d, len(weight), t.nodes))
	}
	m := Mixture{Weight: weight, Mean: make([]float64, t.nodes), SD: make([]float64, t.nodes)}
	for k := range t.nodes {
		m.Mean[k] = t.end[k*t.d+j]
		m.SD[k] = math.Sqrt(max(t.endCov[k*t.d*t.d+j*t.d+j], 0))
	}
	return m
}

// Points draws the whole state after the last reading, and its node, so that what
// hangs together stays together. dims are d + 1 dimensions: the first picks the
// node, the others the parts of the state. state has d quantities; node has N
// numbers.
func (t *Tracker) Points(weight []float64, dims []int, state []Quantity, node []int) {
	d := t.d
	if len(dims) != d+1 || len(state) != d || len(node) != N || len(weight) != t.nodes {
		panic(fmt.Sprintf("fit: %d dimensions and %d quantities for a state of %d", len(dims), len(state), d))
	}
	root := make([]float64, t.nodes*d*d)
	for k := range t.nodes {
		cholesky(root[k*d*d:(k+1)*d*d], t.endCov[k*d*d:(k+1)*d*d], d)
	}
	upTo := make([]float64, t.nodes)
	sum := 0.0
	for k, w := range weight {
		sum += w
		upTo[k] = sum
	}
	for i, u := range Points(dims[0]) {
		k, _ := slices.BinarySearch(upTo, u)
		k = min(k, t.nodes-1)
		node[i] = k
		for j := range d {
			v := t.end[k*d+j]
			for m := range j + 1 {
				v += root[k*d*d+j*d+m] * NormalPoints(dims[m+1])[i]
			}
			state[j][i] = v
		}
	}
}

// cholesky puts the lower triangular root of a symmetric a, d x d, into l, which
// must be zero above the diagonal. It reports whether a is positive definite;
// where it is not, the root of the nearest part is 0.
func cholesky(l, a []float64, d int) bool {
	ok := true
	for j := range d {
		for i := j; i < d; i++ {
			s := a[i*d+j] - dot(l[i*d:i*d+j], l[j*d:j*d+j])
			switch {
			case i == j && s > 1e-14*a[i*d+i]:
				l[j*d+j] = math.Sqrt(s)
			case i == j:
				l[j*d+j] = 0
				ok = false
			case l[j*d+j] > 0:
				l[i*d+j] = s / l[j*d+j]
			default:
				l[i*d+j] = 0
			}
		}
	}
	return ok
}

// Input is something added to a level on a date.
type Input struct {
	Time, Amount float64
	Effect       int // the part of the state that is its effect per unit
}

// Relaxation is a level that moves back toward a resting level at a rate, is
// lifted by inputs, and wanders:
//
//	dx/dt = -rate (x - rest) + effect x input + a random walk
//
// State 0 is the level and state 1 the resting level. Rate and Walk, the variance
// that wandering adds per unit of time, have one value per node; rate 0 is a plain
// random walk. Inputs are in order of time; one on the day of a reading counts as
// after it.
type Relaxation struct {
	Rate, Walk []float64
	Inputs     []Input
}

// Move implements Mover.
func (r *Relaxation) Move(node int, from, to float64, state, grad []float64) (level, variance float64) {
	k, span := r.Rate[node], to-from
	stay := math.Exp(-k * span)
	clear(grad)
	grad[0], grad[1] = stay, 1-stay
	level = state[1] + (state[0]-state[1])*stay
	for _, in := range r.Inputs {
		if in.Time < from {
			continue
		}
		if in.Time >= to {
			break
		}
		g := in.Amount
		if k != 0 {
			g *= math.Exp(-k * (to - in.Time))
		}
		grad[in.Effect] += g
		level += g * state[in.Effect]
	}
	variance = r.Walk[node] * span
	if k*span > 1e-6 {
		variance = r.Walk[node] * (1 - stay*stay) / (2 * k)
	}
	return level, variance
}
