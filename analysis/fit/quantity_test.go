package fit

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

// pick rearranges x so that x[k] is what it would be if x were sorted.
func pick(x []float64, k int) float64 {
	for low, high := 0, len(x)-1; low < high; {
		pivot := x[(low+high)/2]
		i, j := low, high
		for i <= j {
			for x[i] < pivot {
				i++
			}
			for x[j] > pivot {
				j--
			}
			if i <= j {
				x[i], x[j] = x[j], x[i]
				i, j = i+1, j-1
			}
		}
		if k <= j {
			high = j
		} else if k >= i {
			low = i
		} else {
			break
		}
	}
	return x[k]
}

// Simulation: 512 points against 2 million independent draws, bounds of 90 %
// within 3 % of the bound or, where that is near zero, of the half-width.
func TestQuantitiesAgainstMonteCarlo(t *testing.T) {
	draws := 2_000_000
	if testing.Short() {
		draws = 200_000
	}
	tri := func(r *rand.Rand, low, mode, high float64) float64 {
		u := r.Float64()
		if u < (mode-low)/(high-low) {
			return low + math.Sqrt(u*(high-low)*(mode-low))
		}
		return high - math.Sqrt((1-u)*(high-low)*(high-mode))
	}
	uni := func(r *rand.Rand, low, high float64) float64 { return low + r.Float64()*(high-low) }
	trunc := func(r *rand.Rand, mean, sd, low, high float64) float64 {
		for {
			if v := mean + sd*r.NormFloat64(); v >= low && v <= high {
				return v
			}
		}
	}
	div := func(t *testing.T, x, y Quantity) Quantity { return must(x.Div(x, y))(t) }
	q := NewQuantity
	for _, c := range []struct {
		name   string
		points func(t *testing.T) Quantity
		draw   func(r *rand.Rand) float64
	}{
		{"uniform", func(*testing.T) Quantity { return q().Uniform(5, 3, 8) }, func(r *rand.Rand) float64 { return uni(r, 3, 8) }},
		{"triangular", func(*testing.T) Quantity { return q().Triangular(7, 4.5, 6.5, 8.5) }, func(r *rand.Rand) float64 { return tri(r, 4.5, 6.5, 8.5) }},
		{"log-normal", func(*testing.T) Quantity { return q().LogNormal(9, 0.08, 0.587) }, func(r *rand.Rand) float64 { return 0.08 * math.Exp(0.587*r.NormFloat64()) }},
		{"truncated normal", func(*testing.T) Quantity { return q().TruncatedNormal(11, 0.5, 0.4, 0.1, 2) }, func(r *rand.Rand) float64 { return trunc(r, 0.5, 0.4, 0.1, 2) }},
		{"upper tail", func(*testing.T) Quantity { return q().TruncatedNormal(12, 0, 1, 1.5, math.Inf(1)) }, func(r *rand.Rand) float64 { return trunc(r, 0, 1, 1.5, 99) }},
		{"truncated log-normal", func(*testing.T) Quantity { return q().TruncatedLogNormal(13, 1, 0.5, 0.6, 3) }, func(r *rand.Rand) float64 { return math.Exp(trunc(r, 0, 0.5, math.Log(0.6), math.Log(3))) }},
		{"sum of unlike", func(*testing.T) Quantity {
			x := q().Uniform(0, 0, 4)
			x.Add(x, q().Triangular(1, 1, 2, 6))
			return x.Add(x, q().LogNormal(2, 2, 0.4))
		}, func(r *rand.Rand) float64 { return uni(r, 0, 4) + tri(r, 1, 2, 6) + 2*math.Exp(0.4*r.NormFloat64()) }},
		{"difference near zero", func(*testing.T) Quantity { return q().Sub(q().LogNormal(3, 80, 0.16), q().LogNormal(4, 78, 0.16)) },
			func(r *rand.Rand) float64 {
				return 80*math.Exp(0.16*r.NormFloat64()) - 78*math.Exp(0.16*r.NormFloat64())
			}},
		{"product", func(*testing.T) Quantity {
			return q().Mul(q().LogNormal(5, 1.1, 0.15), q().Triangular(6, 0.15, 0.2, 0.4))
		},
			func(r *rand.Rand) float64 { return 1.1 * math.Exp(0.15*r.NormFloat64()) * tri(r, 0.15, 0.2, 0.4) }},
		{"product of signs", func(*testing.T) Quantity { return q().Mul(q().Normal(8, 0.3, 1), q().Normal(10, 0.5, 1)) },
			func(r *rand.Rand) float64 { return (0.3 + r.NormFloat64()) * (0.5 + r.NormFloat64()) }},
		{"quotient", func(t *testing.T) Quantity { return div(t, q().Normal(14, 5, 2), q().Uniform(15, 0.25, 0.7)) },
			func(r *rand.Rand) float64 { return (5 + 2*r.NormFloat64()) / uni(r, 0.25, 0.7) }},
		{"half-life", func(t *testing.T) Quantity { return div(t, q().Constant(math.Ln2), q().LogNormal(16, 0.08, 0.587)) },
			func(r *rand.Rand) float64 { return math.Ln2 / (0.08 * math.Exp(0.587*r.NormFloat64())) }},
		// A chain as an account makes it: fruit x composition, vines x composition x
		// share hauled, less what was spread, over a soil mass shared by all, times
		// an efficiency, beside the difference of two tests.
		{"chain", func(t *testing.T) Quantity {
			mass := q().LogNormal(0, 190, 0.1)
			fruit := q().Mul(q().Normal(1, 700, 20), q().Triangular(2, 2, 2.9, 3.6))
			vine := q().Mul(q().Uniform(3, 20, 50), q().Triangular(4, 25, 35, 50))
			vine.Mul(vine, q().Uniform(5, 0.2, 0.9))
			lost := q().Add(fruit, vine)
			lost.Add(lost, q().Uniform(6, 25, 300))
			lost.Sub(lost, q().Normal(7, 1000, 50))
			lost.Mul(div(t, lost, mass), q().Uniform(8, 0.25, 0.7))
			tests := q().Sub(q().Normal(9, 19, 1), q().Normal(10, 17.4, 1))
			return tests.Sub(tests, lost)
		}, func(r *rand.Rand) float64 {
			mass := 190 * math.Exp(0.1*r.NormFloat64())
			lost := (700+20*r.NormFloat64())*tri(r, 2, 2.9, 3.6) + uni(r, 20, 50)*tri(r, 25, 35, 50)*uni(r, 0.2, 0.9) + uni(r, 25, 300) - (1000 + 50*r.NormFloat64())
			return 19 + r.NormFloat64() - 17.4 - r.NormFloat64() - lost/mass*uni(r, 0.25, 0.7)
		}},
		// The soil mass is in every term: drawn once it cancels between levels.
		{"shared draw", func(t *testing.T) Quantity {
			mass, a, b := q().LogNormal(0, 190, 0.2), q().Normal(1, 100, 5), q().Normal(2, 80, 4)
			left, right := q().Mul(mass, a), q().Mul(mass, b)
			return div(t, left, right)
		}, func(r *rand.Rand) float64 {
			return (100 + 5*r.NormFloat64()) / (80 + 4*r.NormFloat64())
		}},
		{"twelve terms", func(*testing.T) Quantity {
			x := q()
			for d := range 12 {
				x.Add(x, q().LogNormal(d+12, 1+float64(d)/3, 0.5))
			}
			return x
		}, func(r *rand.Rand) (x float64) {
			for d := range 12 {
				x += (1 + float64(d)/3) * math.Exp(0.5*r.NormFloat64())
			}
			return x
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			m, lo, hi := c.points(t).Range(0.9, nil)
			rng := rand.New(rand.NewPCG(20, 26))
			x := make([]float64, draws)
			for i := range x {
				x[i] = c.draw(rng)
			}
			wantLo, want, wantHi := pick(x, draws/20), pick(x, draws/2), pick(x, draws-draws/20)
			for _, b := range []struct {
				name      string
				got, want float64
			}{{"low", lo, wantLo}, {"median", m, want}, {"high", hi, wantHi}} {
				scale := max(math.Abs(b.want), (wantHi-wantLo)/2)
				if off := math.Abs(b.got-b.want) / scale; off > 0.03 {
					t.Errorf("%s: %.5g, plain %.5g: %.1f %% off", b.name, b.got, b.want, 100*off)
				}
			}
			t.Logf("%.5g (%.5g to %.5g), plain %.5g (%.5g to %.5g)", m, lo, hi, want, wantLo, wantHi)
		})
	}
}

func TestDivisionByZero(t *testing.T) {
	one := NewQuantity().Constant(1)
	for name, y := range map[string]Quantity{
		"zero":       NewQuantity(),
		"both sides": NewQuantity().Normal(0, 1, 1),
		"touches":    NewQuantity().Clamp(NewQuantity().Normal(0, 1, 1), 0, 9),
	} {
		if _, err := one.Div(one, y); !errors.Is(err, ErrPole) {
			t.Errorf("%s: %v, want a pole named", name, err)
		}
	}
	if one[0] != 1 {
		t.Error("a refused division changed its receiver")
	}
	if _, err := one.Div(one, NewQuantity().Uniform(0, -3, -1)); err != nil {
		t.Error(err)
	}
}

// property: operators allocate nothing.
func TestQuantityAllocations(t *testing.T) {
	x, y, s := NewQuantity().Normal(0, 5, 1), NewQuantity().Uniform(1, 2, 3), NewQuantity()
	z := NewQuantity()
	x.Range(0.9, s)
	if n := testing.AllocsPerRun(20, func() {
		z.LogNormal(2, 3, 0.2)
		z.Add(z.Mul(z, x), y)
		if _, err := z.Div(z, y); err != nil {
			t.Error(err)
		}
		z.Range(0.9, s)
	}); n != 0 {
		t.Errorf("%v allocations", n)
	}
}

func TestSDFromRange(t *testing.T) {
	near(t, "95 %", SDFromRange(1, 1+2*1.959964, 0.95), 1, 1e-6)
}
