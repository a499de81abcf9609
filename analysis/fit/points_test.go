package fit

import (
	"math"
	"slices"
	"testing"
)

// z95 is the 95 % point of the standard normal distribution.
// Source: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.1.
const z95 = 1.64485

func TestPointsFillTheInterval(t *testing.T) {
	for dim := range Dimensions {
		p := slices.Clone(Points(dim))
		if !slices.Equal(p, Points(dim)) {
			t.Fatalf("dimension %d differs from call to call", dim)
		}
		slices.Sort(p)
		for i, u := range p {
			if want := (float64(i) + 0.5) / N; u != want {
				t.Fatalf("dimension %d, point %d: %v, want %v: not every cell is hit once", dim, i, u, want)
			}
		}
		m, lo, hi := Range(slices.Clone(NormalPoints(dim)), 0.9)
		if math.Abs(m) > 1e-9 || math.Abs(lo+z95) > 0.002 || math.Abs(hi-z95) > 0.002 {
			t.Errorf("dimension %d: median %.4f, 90 %% range %.4f to %.4f, want 0, -%v, %v", dim, m, lo, hi, z95, z95)
		}
	}
}

// property: the sum and the difference of two standard normals have SD sqrt 2.
func TestPairsOfDimensions(t *testing.T) {
	for a := range Dimensions {
		for b := range a {
			for _, sign := range []float64{1, -1} {
				x, y := slices.Clone(NormalPoints(a)), NormalPoints(b)
				for i := range x {
					x[i] += sign * y[i]
				}
				m, lo, hi := Range(x, 0.9)
				want := z95 * math.Sqrt2
				if math.Abs(m) > 0.014*want || math.Abs(lo+want) > 0.014*want || math.Abs(hi-want) > 0.014*want {
					t.Errorf("dimensions %d and %d, sign %v: %.3f, %.3f to %.3f, want 0, -+%.3f within 1.4 %%", a, b, sign, m, lo, hi, want)
				}
			}
		}
	}
}

func TestRangeOfFewPoints(t *testing.T) {
	m, lo, hi := Range([]float64{3, 1, 2}, 0.9)
	if m != 2 || lo != 1 || hi != 3 {
		t.Errorf("median %v, range %v to %v, want 2, 1 to 3", m, lo, hi)
	}
}

func TestNormalCDF(t *testing.T) {
	if got := NormalCDF(z95); math.Abs(got-0.95) > 1e-5 {
		t.Errorf("NormalCDF(%v) = %v, want 0.95", z95, got)
	}
}
