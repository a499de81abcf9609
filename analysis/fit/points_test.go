package fit

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// z95 is the 95 % point of the standard normal distribution.
// Source: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.1.
const z95 = 1.64485

func TestPointsFillTheInterval(t *testing.T) {
	for dim := range Dimensions {
		p := slices.Clone(Points(dim))
		for i := range N / 2 {
			if p[i]+p[i+N/2] != 1 {
				t.Fatalf("dimension %d: point %d is no mirror image of %d", dim, i+N/2, i)
			}
		}
		slices.Sort(p)
		for i, u := range p {
			if want := (float64(i) + 0.5) / N; u != want {
				t.Fatalf("dimension %d, point %d: %v, want %v: not every cell is hit once", dim, i, u, want)
			}
		}
		for i, u := range Points(dim) {
			if got := NormalCDF(NormalPoints(dim)[i]); math.Abs(got-u) > 1e-14 {
				t.Fatalf("dimension %d, point %d: normal %v is no image of %v", dim, i, got, u)
			}
		}
		m, lo, hi := Range(slices.Clone(NormalPoints(dim)), 0.9)
		if math.Abs(m) > 1e-12 || math.Abs(lo+z95) > 0.0003 || math.Abs(hi-z95) > 0.0003 {
			t.Errorf("dimension %d: median %.5f, 90 %% range %.5f to %.5f, want 0, -%v, %v", dim, m, lo, hi, z95, z95)
		}
	}
}

// property: a sum of independent normal values is normal. The error of a bound
// is told as a share of the half-width.
func TestSumsOfPoints(t *testing.T) {
	miss := func(dims []int, weights []float64) float64 {
		x, norm := NewQuantity(), 0.0
		for j, d := range dims {
			axpy(x, weights[j], NormalPoints(d))
			norm += weights[j] * weights[j]
		}
		m, lo, hi := x.Range(0.9, nil)
		want := z95 * math.Sqrt(norm)
		return max(math.Abs(m), math.Abs(lo+want), math.Abs(hi-want)) / want
	}
	worst := 0.0
	for a := range Dimensions {
		for b := range a {
			for _, ratio := range []float64{1, -1, 2, -2, 0.3} {
				e := miss([]int{a, b}, []float64{1, ratio})
				worst = max(worst, e)
				if e > 0.02 {
					t.Errorf("dimensions %d and %d, 1 to %v: %.1f %% off", a, b, ratio, 100*e)
				}
			}
		}
	}
	t.Logf("pairs: at most %.2f %% off", 100*worst)
	rng := rand.New(rand.NewPCG(3, 4))
	var off []float64
	for range 4000 {
		k := 3 + rng.IntN(22)
		dims, w := rng.Perm(Dimensions)[:k], make([]float64, k)
		for j := range w {
			w[j] = rng.NormFloat64()
		}
		off = append(off, miss(dims, w))
	}
	slices.Sort(off)
	t.Logf("3 to 24 dimensions: median %.2f %%, 95 of 100 within %.2f %%, 99 within %.2f %%, worst %.2f %%", 100*off[2000], 100*off[3800], 100*off[3960], 100*off[3999])
	if off[3920] > 0.03 {
		t.Errorf("98 of 100 sums within %.2f %%, want 3", 100*off[3920])
	}
}

// property: equal points, atoms and hard ends survive the smoothing.
func TestRangeOfAwkwardPoints(t *testing.T) {
	x := NewQuantity()
	check := func(what string, want [3]float64, tol float64) {
		t.Helper()
		m, lo, hi := x.Range(0.9, nil)
		for i, got := range []float64{m, lo, hi} {
			if math.Abs(got-want[i]) > tol {
				t.Errorf("%s: median %v, range %v to %v, want %v", what, m, lo, hi, want)
				return
			}
		}
	}
	x.Constant(7)
	check("constant", [3]float64{7, 7, 7}, 0)
	x.Clamp(x.Normal(0, -1, 1), 0, 9)
	check("mostly zero", [3]float64{0, 0, z95 - 1}, 0.001)
	x.Clamp(x.Normal(0, 1.5, 1), 0, 9)
	check("a few zeros", [3]float64{1.5, 0, z95 + 1.5}, 0.001)
	x.Uniform(3, 20, 110)
	check("uniform", [3]float64{65, 24.5, 105.5}, 0.027*40.5)
	for i := range x { // two heaps
		x[i] = float64(i % 2)
	}
	if _, lo, hi := x.Range(0.9, nil); lo != 0 || hi != 1 {
		t.Errorf("two heaps: %v to %v, want 0 to 1", lo, hi)
	}
}

func TestRangeOfFewPoints(t *testing.T) {
	m, lo, hi := Range([]float64{3, 1, 2}, 0.9)
	if m != 2 || lo != 1 || hi != 3 {
		t.Errorf("median %v, range %v to %v, want 2, 1 to 3", m, lo, hi)
	}
}

func TestNormal(t *testing.T) {
	if got := NormalCDF(z95); math.Abs(got-0.95) > 1e-5 {
		t.Errorf("NormalCDF(%v) = %v, want 0.95", z95, got)
	}
	for _, p := range []float64{1e-12, 0.05, 0.5, 0.975} {
		near(t, "there and back", NormalCDF(NormalQuantile(p)), p, 1e-12)
	}
}

func BenchmarkRange(b *testing.B) {
	x, s := NewQuantity().Normal(3, 0, 1), NewQuantity()
	x.Range(0.9, s)
	b.ReportAllocs()
	for b.Loop() {
		x.Range(0.9, s)
	}
}
