package fit

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// Ranks returns the ranks of the values, 1 for the least, with the mean rank for
// ties. Values are rounded to 10 decimals first: the means of samples that agree
// in every printed digit must not differ by rounding.
func Ranks(v []float64) []float64 {
	order, groups := ranking(v)
	out := make([]float64, len(v))
	at := 0
	for _, g := range groups {
		for _, i := range order[at : at+g] {
			out[i] = float64(2*at+g+1) / 2
		}
		at += g
	}
	return out
}

// ranking returns the indices of v in ascending order and the sizes of the
// groups of ties.
func ranking(v []float64) (order, groups []int) {
	r := make([]float64, len(v))
	order = make([]int, len(v))
	for i, x := range v {
		r[i], order[i] = round10(x), i
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Or(cmp.Compare(r[a], r[b]), a-b) })
	for at, i := range order {
		if at > 0 && r[i] == r[order[at-1]] {
			groups[len(groups)-1]++
		} else {
			groups = append(groups, 1)
		}
	}
	return order, groups
}

// round10 rounds to 10 decimals; a number so large that it has none stays.
func round10(v float64) float64 {
	if math.Abs(v) > 1e5 {
		return v
	}
	return math.Round(v*1e10) / 1e10
}

// Spearman is a rank correlation.
type Spearman struct {
	N   int
	Rho float64
	// P is the two-sided probability of a rho this far from 0 if x and y are
	// unrelated: over all permutations, ties kept, for n <= 10 (Exact), else PT.
	P     float64
	Exact bool
	PT    float64 // by Student's t with n - 2 degrees of freedom
}

// SpearmanRho returns Spearman's rank correlation of x and y, of equal length,
// at least 4. The error wraps ErrTooFew, ErrNotFinite or ErrConstant.
//
// Source: Kendall and Gibbons 1990, Rank Correlation Methods, 5th ed., ch. 1, 4.
func SpearmanRho(x, y []float64) (Spearman, error) {
	if err := checkRanks(x, y); err != nil {
		return Spearman{}, err
	}
	rx, ry := Ranks(x), Ranks(y)
	n := len(x)
	mean := float64(n+1) / 2
	sxx, syy, sxy := 0.0, 0.0, 0.0
	for i := range rx {
		a, b := rx[i]-mean, ry[i]-mean
		sxx, syy, sxy = sxx+a*a, syy+b*b, sxy+a*b
	}
	s := Spearman{N: n, Rho: sxy / math.Sqrt(sxx*syy)}
	t := math.Inf(1)
	if r2 := s.Rho * s.Rho; r2 < 1-1e-15 {
		t = s.Rho * math.Sqrt(float64(n-2)/(1-r2))
	}
	s.PT = studentTail(t, float64(n-2))
	s.P = s.PT
	if n > maxPermuted {
		return s, nil
	}
	// Twice the ranks are whole numbers; their sum of products has the mean
	// n (n+1)^2 over all permutations.
	_, gx := ranking(x)
	oy, gy := ranking(y)
	double := make([]int, len(gy))
	at := 0
	for j, g := range gy {
		double[j] = int(2 * ry[oy[at]])
		at += g
	}
	highest := 2 * n * (n + 1) * (2*n + 1) / 3 // 4 (1 + 4 + 9 + ... + n^2)
	dist := permuted(gx, gy, 0, highest, func(g int, used, take []int) int {
		seen := 0
		for _, k := range used {
			seen += k
		}
		rank, sum := 2*seen+gx[g]+1, 0
		for j, k := range take {
			sum += k * rank * double[j]
		}
		return sum
	})
	centre := n * (n + 1) * (n + 1)
	observed := 0
	for i := range rx {
		observed += int(4 * rx[i] * ry[i])
	}
	s.P, s.Exact = dist.tail(centre, observed), true
	return s, nil
}

// Kendall is a rank correlation, or a trend if x is time.
type Kendall struct {
	N    int
	S    int     // concordant less discordant pairs
	VarS float64 // of S if x and y are unrelated, ties kept
	TauB float64
	// P is the two-sided probability of an S this far from 0 if x and y are
	// unrelated: exact without ties below n = 50, over all permutations with ties
	// kept for n <= 10 (both Exact), else one of the next two.
	P     float64
	Exact bool
	// Normal approximations, without and with the correction for continuity.
	Z, PNormal              float64
	ZContinuity, PContinued float64
}

// KendallTau returns Kendall's tau-b of x and y, of equal length, at least 4.
// Where P is not exact it is PNormal. Errors are those of SpearmanRho.
//
// Source: Kendall and Gibbons 1990, Rank Correlation Methods, 5th ed., ch. 3-5.
func KendallTau(x, y []float64) (Kendall, error) {
	if err := checkRanks(x, y); err != nil {
		return Kendall{}, err
	}
	n := len(x)
	k := Kendall{N: n}
	rx, ry := Ranks(x), Ranks(y)
	for i := range rx {
		for j := range i {
			if a, b := rx[i]-rx[j], ry[i]-ry[j]; a*b > 0 {
				k.S++
			} else if a*b < 0 {
				k.S--
			}
		}
	}
	_, gx := ranking(x)
	_, gy := ranking(y)
	k.VarS = varianceOfS(n, gx, gy)
	tx, ty, f := tieSums(gx), tieSums(gy), float64(n)
	k.TauB = float64(k.S) / math.Sqrt((f*(f-1)-tx[0])*(f*(f-1)-ty[0])) * 2
	sd := math.Sqrt(k.VarS)
	k.Z = float64(k.S) / sd
	k.PNormal = math.Erfc(math.Abs(k.Z) / math.Sqrt2)
	if k.S != 0 {
		k.ZContinuity = math.Copysign(math.Abs(float64(k.S))-1, float64(k.S)) / sd
	}
	k.PContinued = math.Erfc(math.Abs(k.ZContinuity) / math.Sqrt2)
	k.P = k.PNormal
	switch untied := len(gx) == n && len(gy) == n; {
	case untied && n < 50:
		k.P, k.Exact = inversions(n).tail(0, k.S), true
	case n <= maxPermuted:
		most := n * (n - 1) / 2
		dist := permuted(gx, gy, -most, most, func(_ int, used, take []int) (s int) {
			below, above := 0, 0
			for _, u := range used {
				above += u
			}
			for j, u := range used {
				above -= u
				s += take[j] * (below - above)
				below += u
			}
			return s
		})
		k.P, k.Exact = dist.tail(0, k.S), true
	}
	return k, nil
}

// MannKendall tests y for a trend over time: KendallTau, whose P is PContinued
// where it is not exact.
//
// Source: Mann 1945, Econometrica 13:245-259; Helsel et al. 2020, Statistical
// Methods in Water Resources, USGS TM 4-A3, ch. 12.
func MannKendall(time, y []float64) (Kendall, error) {
	k, err := KendallTau(time, y)
	if err == nil && !k.Exact {
		k.P = k.PContinued
	}
	return k, err
}

func checkRanks(x, y []float64) error {
	sameLength(x, y)
	for _, c := range []struct {
		name string
		v    []float64
	}{{"x", x}, {"y", y}} {
		if err := finite(c.name, c.v); err != nil {
			return err
		}
		if len(c.v) < 4 {
			return fmt.Errorf("%d values, want at least 4: %w", len(c.v), ErrTooFew)
		}
		if _, g := ranking(c.v); len(g) == 1 {
			return fmt.Errorf("every %s is %v: %w", c.name, c.v[0], ErrConstant)
		}
	}
	return nil
}

// varianceOfS is the variance of Kendall's S over all permutations of n values
// with such groups of ties.
func varianceOfS(n int, gx, gy []int) float64 {
	f, tx, ty := float64(n), tieSums(gx), tieSums(gy)
	return (f*(f-1)*(2*f+5)-tx[2]-ty[2])/18 + tx[0]*ty[0]/(2*f*(f-1)) + tx[1]*ty[1]/(9*f*(f-1)*(f-2))
}

// tieSums returns the sums of t(t-1), t(t-1)(t-2) and t(t-1)(2t+5) over groups
// of t ties.
func tieSums(groups []int) (s [3]float64) {
	for _, g := range groups {
		t := float64(g)
		s[0] += t * (t - 1)
		s[1] += t * (t - 1) * (t - 2)
		s[2] += t * (t - 1) * (2*t + 5)
	}
	return s
}

// maxPermuted is the longest series whose permutations are counted: 10! of
// them, gone through by the 2^10 sets that a beginning may hold.
const maxPermuted = 10

// distribution counts the ways to reach each value of a whole-numbered statistic
// from low on.
type distribution struct {
	low   int
	count []float64
}

// permuted counts all ways to lay values (groups of cy equal ones, ascending)
// along x (groups of gx equal ones, ascending). gain is what group g of x adds to
// the statistic when it takes so many of each value and the groups before it used
// so many; all sums of gains lie in [low, high]. The counts are whole numbers
// below 2^53, hence exact.
func permuted(gx, cy []int, low, high int, gain func(g int, used, take []int) int) distribution {
	radix := make([]int, len(cy)+1) // a state is how many of each value are used
	radix[0] = 1
	for j, c := range cy {
		radix[j+1] = radix[j] * (c + 1)
	}
	now := make([][]float64, radix[len(cy)])
	now[0] = make([]float64, high-low+1)
	now[0][-low] = 1
	used, take := make([]int, len(cy)), make([]int, len(cy))
	for g, size := range gx {
		next := make([][]float64, len(now))
		for code, count := range now {
			if count == nil {
				continue
			}
			for j, c := range cy {
				used[j] = code / radix[j] % (c + 1)
			}
			// Choose size values out of the ones left, each choice as often as
			// there are ways to pick its members.
			var choose func(j, left int, ways float64, to int)
			choose = func(j, left int, ways float64, to int) {
				if left == 0 {
					if next[to] == nil {
						next[to] = make([]float64, len(count))
					}
					add := gain(g, used, take)
					for s, c := range count {
						if c > 0 {
							next[to][s+add] += c * ways
						}
					}
					return
				}
				if j == len(cy) {
					return
				}
				rest := cy[j] - used[j]
				for k := 0; k <= min(rest, left); k++ {
					take[j] = k
					choose(j+1, left-k, ways, to+k*radix[j])
					ways = ways * float64(rest-k) / float64(k+1)
				}
				take[j] = 0
			}
			choose(0, size, 1, code)
		}
		now = next
	}
	return distribution{low, now[len(now)-1]}
}

// inversions returns the distribution of S over the permutations of n values, as
// shares.
func inversions(n int) distribution {
	share := []float64{1} // of permutations of k values by number of inversions
	for k := 2; k <= n; k++ {
		next := make([]float64, len(share)+k-1)
		for i, c := range share {
			for j := range k {
				next[i+j] += c / float64(k)
			}
		}
		share = next
	}
	most := n * (n - 1) / 2 // S is most less twice the inversions
	d := distribution{-most, make([]float64, 2*most+1)}
	for i, c := range share {
		d.count[2*i] = c
	}
	return d
}

// tail returns the share of the distribution at least as far from centre as
// observed.
func (d distribution) tail(centre, observed int) float64 {
	far, all := 0.0, 0.0
	for i, c := range d.count {
		all += c
		if abs(d.low+i-centre) >= abs(observed-centre) {
			far += c
		}
	}
	return far / all
}

func abs(v int) int { return max(v, -v) }
