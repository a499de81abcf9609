package fit

import (
	"fmt"
	"math"
)

// Explored is a posterior as weighted points.
type Explored struct {
	// Z are the points, a slice per parameter, in the coordinates in which the
	// prior is standard normal.
	Z [][]float64
	Weighted
	// LogEvidence is the natural logarithm of the mean likelihood over the prior,
	// by which models are weighed against each other: one that moves against one
	// that only wanders.
	LogEvidence float64
	Rounds      int // of drawing again
}

const (
	exploreSets  = 4   // times N points in the end
	exploreWide  = 2.0 // how much wider the tails' points are drawn
	exploreShare = 0.3 // and how many of all
)

// Explore finds the posterior of d parameters, at most 7, from any likelihood.
// logLikelihood takes the parameters in coordinates in which the prior is
// standard normal and independent (a log-normal rate is median exp(sd z)); it may
// return minus infinity.
//
// N points of the prior are weighted by the likelihood. Where few of them count,
// they are drawn again about their weighted mean, with their covariance, the
// likelihoods tempered so that enough count: seven of ten from a normal
// distribution, three from one twice as wide, for the tails; and weighted by prior
// times likelihood over what they were drawn from. When half of them count, or
// after 12 rounds, 4 N points are drawn where most counted. That finds one hill of
// any tilt and width; several hills far apart want a grid, or an Explore each and
// their evidence. 4 N points, half of which count, put a bound within about 5 % of
// the half-width: where closed forms serve, a Tracker is better. Resample makes
// quantities of equal points.
//
// The error wraps ErrDomain if no point is possible and ErrNotFinite if a
// likelihood is NaN or plus infinity.
//
// Source: Bugallo et al. 2017, IEEE Signal Process. Mag. 34(4):60-79 (adaptive
// importance sampling).
func Explore(d int, logLikelihood func(z []float64) float64) (*Explored, error) {
	if d < 1 || (d+1)*exploreSets > Dimensions {
		panic(fmt.Sprintf("fit: %d parameters to explore, want 1 to %d", d, Dimensions/exploreSets-1))
	}
	e := explorer{d: d, like: logLikelihood, mean: make([]float64, d), root: make([]float64, d*d), prior: true}
	for j := range d {
		e.root[j*d+j] = 1
	}
	best, size := e, 0.0
	rounds := 0
	for rounds < 12 {
		rounds++
		z, logs, err := e.draw(1)
		if err != nil {
			return nil, err
		}
		w, err := Weigh(logs)
		if err != nil {
			return nil, err
		}
		if w.ESS > size {
			best, size = e, w.ESS
		}
		if w.ESS >= N/2 || !e.follow(z, logs) {
			break
		}
	}
	z, logs, err := best.draw(exploreSets)
	if err != nil {
		return nil, err
	}
	w, err := Weigh(logs)
	if err != nil {
		return nil, err
	}
	out := &Explored{Z: z, Weighted: w, Rounds: rounds}
	top := math.Inf(-1)
	for _, v := range logs {
		top = max(top, v)
	}
	for _, v := range logs {
		out.LogEvidence += math.Exp(v-top) / float64(len(logs))
	}
	out.LogEvidence = top + math.Log(out.LogEvidence)
	return out, nil
}

// explorer is where points are drawn from: the prior or, about a mean with the
// root of a covariance, a mixture of two normal distributions.
type explorer struct {
	d          int
	like       func(z []float64) float64
	mean, root []float64
	prior      bool
}

// draw returns sets x N points and the logarithms of their weights.
func (e *explorer) draw(sets int) (points [][]float64, logs []float64, err error) {
	d := e.d
	logRoot := 0.0
	for j := range d {
		points = append(points, make([]float64, sets*N))
		logRoot += math.Log(e.root[j*d+j])
	}
	logs = make([]float64, sets*N)
	z := make([]float64, d)
	for at := range logs {
		set, i := at/N*(d+1), at%N
		stretch := 1.0
		if !e.prior && Points(set + d)[i] < exploreShare {
			stretch = exploreWide
		}
		square := 0.0
		copy(z, e.mean)
		for k := range d {
			v := stretch * NormalPoints(set + k)[i]
			square += v * v
			for j := k; j < d; j++ {
				z[j] += e.root[j*d+k] * v
			}
		}
		density := math.Exp(-square / 2)
		if !e.prior {
			density = (1-exploreShare)*density + exploreShare*math.Pow(exploreWide, -float64(d))*math.Exp(-square/(2*exploreWide*exploreWide))
		}
		logs[at] = e.like(z) + logRoot - dot(z, z)/2 - math.Log(density)
		if math.IsNaN(logs[at]) || math.IsInf(logs[at], 1) {
			return nil, nil, fmt.Errorf("log-likelihood %v at %v: %w", logs[at], z, ErrNotFinite)
		}
		for j, v := range z {
			points[j][at] = v
		}
	}
	return points, logs, nil
}

// follow moves to the mean and covariance of tempered points. It reports whether
// they have an extent in every direction.
func (e *explorer) follow(points [][]float64, logs []float64) bool {
	d := e.d
	share := temper(logs, max(N/8, 8*float64(d)))
	cov := make([]float64, d*d)
	e.mean, e.root, e.prior = make([]float64, d), make([]float64, d*d), false
	for j := range d {
		e.mean[j] = dot(share, points[j])
	}
	for j := range d {
		for k := range j + 1 {
			v := 0.0
			for i, s := range share {
				v += s * (points[j][i] - e.mean[j]) * (points[k][i] - e.mean[k])
			}
			cov[j*d+k], cov[k*d+j] = v, v
		}
	}
	return cholesky(e.root, cov, d)
}

// temper returns the shares of points with their log-weights times the largest
// factor, up to 1, that leaves an effective size of at least size.
func temper(logs []float64, size float64) []float64 {
	share := make([]float64, len(logs))
	at := func(factor float64) float64 {
		top := math.Inf(-1)
		for i, v := range logs {
			share[i] = factor * v
			top = max(top, share[i])
		}
		sum, squares := 0.0, 0.0
		for i, v := range share {
			share[i] = math.Exp(v - top)
			sum += share[i]
			squares += share[i] * share[i]
		}
		for i := range share {
			share[i] /= sum
		}
		return sum * sum / squares
	}
	if at(1) >= size {
		return share
	}
	low, high := 1e-9, 1.0 // 0 times minus infinity is no number
	for range 40 {
		if mid := (low + high) / 2; at(mid) >= size {
			low = mid
		} else {
			high = mid
		}
	}
	at(low)
	return share
}
