package fit

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// Axis is a grid over one parameter that is zero or positive: nodes in the
// middle of equal cells of its logarithm, over 3.5 prior standard deviations each
// way, and, if the prior gives it a share, zero itself.
type Axis struct {
	Value    []float64 // nodes, ascending
	LogPrior []float64 // natural logarithms of the nodes' prior shares
	zero     int       // how many nodes are zero, 0 or 1
	median   float64
	step     float64 // of the logarithm
}

// NewAxis makes a grid of n >= 5 positive nodes for a log-normal prior with the
// given median and standard deviation of the natural logarithm, after a node at
// zero with the prior share zero, in [0, 1). A rate that may be none at all is
// given such a share: then "nothing moves" is among what the data are asked.
func NewAxis(median, sdLog float64, n int, zero float64) *Axis {
	if !(median > 0) || !(sdLog > 0) || n < 5 || !(zero >= 0 && zero < 1) {
		panic(fmt.Sprintf("fit: an axis of %d nodes about %v, SD %v, zero %v", n, median, sdLog, zero))
	}
	const reach = 3.5
	h := 2 * reach / float64(n)
	a := &Axis{median: median, step: h * sdLog}
	if zero > 0 {
		a.zero = 1
		a.Value, a.LogPrior = []float64{0}, []float64{math.Log(zero)}
	}
	total := 0.0 // the density at the middle, rather than a cell's share, interpolates exactly
	at := func(i int) float64 { return -reach + (float64(i)+0.5)*h }
	for i := range n {
		total += normalDensity(at(i))
	}
	for i := range n {
		z := at(i)
		a.Value = append(a.Value, median*math.Exp(z*sdLog))
		a.LogPrior = append(a.LogPrior, math.Log(normalDensity(z)/total*(1-zero)))
	}
	return a
}

// Range returns the median and the bounds of the middle share level of the
// parameter, given the nodes' weights, which sum to 1. Between nodes the
// logarithm of the density is interpolated. A bound is 0 where zero holds that
// share.
func (a *Axis) Range(weight []float64, level float64) (median, low, high float64) {
	checkLevel(level)
	if len(weight) != len(a.Value) {
		panic(fmt.Sprintf("fit: %d weights for %d nodes", len(weight), len(a.Value)))
	}
	const parts = 8 // per step
	atom := 0.0
	if a.zero == 1 {
		atom = weight[0]
	}
	w := weight[a.zero:]
	n := len(w)
	logw := make([]float64, n)
	for i, v := range w {
		logw[i] = math.Log(max(v, 1e-300))
	}
	// Shares of the parts, from half a step before the first node on.
	share := make([]float64, n*parts)
	sum := 0.0
	for i := range share {
		at := (float64(i)+0.5)/parts - 0.5 // in steps from the first node
		share[i] = math.Exp(cubic(logw, at))
		sum += share[i]
	}
	quantile := func(p float64) float64 {
		if p <= atom {
			return 0
		}
		left := (p - atom) / (1 - atom) * sum
		for i, s := range share {
			if left <= s || i == len(share)-1 {
				at := (float64(i)+min(left/s, 1))/parts - 0.5
				return a.median * math.Exp((at-float64(n-1)/2)*a.step)
			}
			left -= s
		}
		panic("unreachable")
	}
	return quantile(0.5), quantile((1 - level) / 2), quantile((1 + level) / 2)
}

// cubic interpolates y, given at 0, 1, 2 ..., by the cubic through the four
// nearest points. Where those differ by more than a factor e^20 it is linear: a
// cubic would swing.
func cubic(y []float64, at float64) float64 {
	i := min(max(int(math.Floor(at)), 0), len(y)-2)
	u := at - float64(i)
	j := min(max(i-1, 0), len(y)-4)
	four := y[j : j+4]
	if slices.Max(four)-slices.Min(four) > 20 {
		return y[i]*(1-u) + y[i+1]*u
	}
	t := at - float64(j)
	return four[0]*(t-1)*(t-2)*(t-3)/-6 + four[1]*t*(t-2)*(t-3)/2 + four[2]*t*(t-1)*(t-3)/-2 + four[3]*t*(t-1)*(t-2)/6
}

// Normalise returns shares that sum to 1, in proportion to the exponentials of
// the sums of its arguments, in dst if that is long enough: a prior and
// log-likelihoods, node by node. It returns an error that wraps ErrDomain if no
// node is possible.
func Normalise(dst []float64, logs ...[]float64) ([]float64, error) {
	n := len(logs[0])
	dst = append(dst[:0], logs[0]...)
	for _, l := range logs[1:] {
		sameLength(l, dst)
		for i, v := range l {
			dst[i] += v
		}
	}
	top := math.Inf(-1)
	for _, v := range dst {
		if math.IsNaN(v) {
			return dst, fmt.Errorf("a log-likelihood is NaN: %w", ErrNotFinite)
		}
		top = max(top, v)
	}
	if n == 0 || math.IsInf(top, 0) {
		return dst, fmt.Errorf("no node is possible: %w", ErrDomain)
	}
	sum := 0.0
	for i, v := range dst {
		dst[i] = math.Exp(v - top)
		sum += dst[i]
	}
	for i := range dst {
		dst[i] /= sum
	}
	return dst, nil
}

// Share lets each of several members (the beds of one grower) learn from the
// others what they have in common: to a member's own log-likelihoods, node by
// node, it adds those of the others times temper, in [0, 1]. 0 keeps them apart
// and 1 holds all their parameters to be the same; a law that is not quite true
// wants much less than 1: 0.05 to 0.2, from memory.
// The result has the shape of own: members, nodes.
func Share(own [][]float64, temper float64) [][]float64 {
	if !(temper >= 0 && temper <= 1) {
		panic(fmt.Sprintf("fit: temper %v, want one in 0 to 1", temper))
	}
	if len(own) == 0 {
		return nil
	}
	out := make([][]float64, len(own))
	for m, l := range own {
		sameLength(l, own[0])
		out[m] = make([]float64, len(l))
		for i, v := range l {
			if math.IsInf(v, -1) { // impossible here, whatever the others say
				out[m][i] = v
				continue
			}
			others := 0.0
			for k, o := range own {
				if k != m {
					others += o[i]
				}
			}
			out[m][i] = v
			if temper > 0 { // 0 times minus infinity is no number
				out[m][i] += temper * others
			}
		}
	}
	return out
}

// Mixture is a weighted mixture of normal distributions, an uncertain number as a
// grid leaves it. The slices have one value per node; Weight sums to 1, SD may
// be 0.
type Mixture struct {
	Weight, Mean, SD []float64
}

// Moments returns the mean and the standard deviation.
func (m Mixture) Moments() (mean, sd float64) {
	for i, w := range m.Weight {
		mean += w * m.Mean[i]
	}
	v := 0.0
	for i, w := range m.Weight {
		d := m.Mean[i] - mean
		v += w * (m.SD[i]*m.SD[i] + d*d)
	}
	return mean, math.Sqrt(v)
}

// Below returns the probability of a value at or below x.
func (m Mixture) Below(x float64) float64 {
	p, _ := m.below(x)
	return p
}

func (m Mixture) below(x float64) (p, density float64) {
	for i, w := range m.Weight {
		if w < 1e-9 {
			continue
		}
		if m.SD[i] == 0 {
			if m.Mean[i] <= x {
				p += w
			}
			continue
		}
		z := (x - m.Mean[i]) / m.SD[i]
		p += w * NormalCDF(z)
		density += w * normalDensity(z) / m.SD[i]
	}
	return p, density
}

// Quantile returns the x at or below which the probability is p, in (0, 1).
func (m Mixture) Quantile(p float64) float64 {
	mean, sd := m.Moments()
	low, high := math.Inf(1), math.Inf(-1)
	for i, w := range m.Weight {
		if w >= 1e-9 {
			low, high = min(low, m.Mean[i]-9*m.SD[i]), max(high, m.Mean[i]+9*m.SD[i])
		}
	}
	// Newton's steps, kept inside a bracket that shrinks.
	x := min(max(mean+sd*NormalQuantile(p), low), high)
	for range 100 {
		got, density := m.below(x)
		if got < p {
			low = x
		} else {
			high = x
		}
		next := x - (got-p)/density
		if !(next > low && next < high) {
			next = (low + high) / 2
		}
		if math.Abs(next-x) <= 1e-8*sd || next == x {
			return next
		}
		x = next
	}
	return x
}

// Range returns the median and the bounds of the middle share level.
func (m Mixture) Range(level float64) (median, low, high float64) {
	checkLevel(level)
	return m.Quantile(0.5), m.Quantile((1 - level) / 2), m.Quantile((1 + level) / 2)
}

// Points makes q the mixture, in the order of dimension dim.
func (m Mixture) Points(q Quantity, dim int) Quantity {
	q.of()
	at := make([]float64, N)
	for i := range at {
		at[i] = m.Quantile((float64(i) + 0.5) / N)
	}
	for i, u := range Points(dim) {
		q[i] = at[int(u*N)]
	}
	return q
}

// Weighted are the shares that points of a prior have after data were seen.
type Weighted struct {
	Share []float64
	// ESS is the effective sample size, 1 over the sum of squared shares: about how
	// many equal points would tell as much. Largest is the largest share.
	ESS, Largest float64
	Doubts       []Doubt // FewPoints if ESS is below 50
}

// Weigh gives each point of a prior its share after data, in proportion to its
// likelihood, whose natural logarithms it takes. The error wraps ErrDomain if no
// point is possible.
//
// Source: Kong, Liu and Wong 1994, J. Am. Stat. Assoc. 89:278-288 (sequential
// imputation and its effective sample size).
func Weigh(logLikelihood []float64) (Weighted, error) {
	share, err := Normalise(nil, logLikelihood)
	if err != nil {
		return Weighted{}, err
	}
	w := Weighted{Share: share, Largest: slices.Max(share)}
	w.ESS = 1 / dot(share, share)
	if w.ESS < 50 {
		w.Doubts = []Doubt{FewPoints}
	}
	return w, nil
}

// Range returns the median and the bounds of the middle share level of points
// that have these shares, smoothed as the function Range does. It does not change
// them.
func (w Weighted) Range(points []float64, level float64) (median, low, high float64) {
	checkLevel(level)
	sameLength(points, w.Share)
	order := make([]int, 0, len(points))
	for i, s := range w.Share {
		if s > 1e-12 {
			order = append(order, i)
		}
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Or(cmp.Compare(points[a], points[b]), a-b) })
	// Each point stands at the middle of its share.
	n := len(order)
	value, share, place, score := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	sum := 0.0
	for k, i := range order {
		value[k], share[k] = points[i], w.Share[i]
		place[k] = sum + share[k]/2
		score[k] = NormalQuantile(min(max(place[k], 1e-12), 1-1e-12))
		sum += share[k]
	}
	plain := func(p float64) float64 {
		k, _ := slices.BinarySearch(place, p)
		switch k {
		case 0:
			return value[0]
		case n:
			return value[n-1]
		}
		u := (p - place[k-1]) / (place[k] - place[k-1])
		return value[k-1]*(1-u) + value[k]*u
	}
	quantile := func(p float64) float64 {
		if w.ESS < 50 || heaped(value) {
			return plain(p)
		}
		off := 1.5 * math.Sqrt(p*(1-p)/w.ESS)
		return min(max(dot(localCubic(score, share, NormalQuantile(p)), value), plain(p-off)), plain(p+off))
	}
	return quantile(0.5), quantile((1 - level) / 2), quantile((1 + level) / 2)
}

// Resample returns n indices of points in which each stands about as often as its
// share says, at even steps along the points (systematic resampling, without
// chance): quantities taken at them are equally likely again, and what belonged
// together stays together.
func (w Weighted) Resample(n int) []int {
	out := make([]int, 0, n)
	sum := 0.0
	for i, s := range w.Share {
		sum += s
		for len(out) < n && (float64(len(out))+0.5)/float64(n) <= sum {
			out = append(out, i)
		}
	}
	for len(out) < n { // the shares sum to 1 less rounding
		out = append(out, out[len(out)-1])
	}
	return out
}
