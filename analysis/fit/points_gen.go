//go:build ignore

// This program arranges the points that stand for uncertain quantities and
// writes them to points.bin: dims x half little-endian int16. The value v of
// quantity d and point i stands for the uniform point 1/2 + sign(v)(|v|-1/2)/512;
// the other half of the points are their mirror images, 1 minus the first. So
// every quantity runs through every cell of 1/512 once, and every odd moment of
// every sum is exact.
//
// Exchanges within a column, kept by simulated annealing, bring the even moments,
// 2nd to 10th, of a z(a) + b z(b) to those of a normal distribution, for all pairs
// of quantities and a:b of +-2/5, +-1 and +-5/2, z being normal scores. The first
// of these makes all columns uncorrelated, which serves sums of any number.
//
// Run by go generate; about two minutes. The same bytes come out on amd64; where
// the compiler fuses multiplication and addition they may differ.
//
// Sources: McKay, Beckman and Conover 1979, Technometrics 21:239-245 (Latin
// hypercubes); Hammersley and Morton 1956, Proc. Camb. Phil. Soc. 52:449-475
// (antithetic points); Morris and Mitchell 1995, J. Stat. Plan. Inference
// 43:381-402 (exchange by annealing).
package main

import (
	"encoding/binary"
	"fmt"
	"log"
	"math"
	"math/rand/v2"
	"os"
)

const (
	dims  = 32
	half  = 256
	moves = 4_000_000
)

// importance of the squared error in each moment: about the square of what it
// does to a 90 % bound (Hermite coefficients of Range's influence function).
var importance = [5]float64{1.35, 0.1, 0.06, 0.04, 0.016}

// sum is a weighted sum of two quantities.
type sum struct {
	moment [5]float64 // of the first half, summed
	value  [half]float64
}

type term struct {
	of     *sum
	weight float64
}

// hermite returns the orthonormal Hermite polynomials of degree 2 to 10.
func hermite(x float64) [5]float64 {
	y := x * x
	return [5]float64{
		(y - 1) / math.Sqrt(2),
		((y-6)*y + 3) / math.Sqrt(24),
		(((y-15)*y+45)*y - 15) / math.Sqrt(720),
		((((y-28)*y+210)*y-420)*y + 105) / math.Sqrt(40320),
		(((((y-45)*y+630)*y-3150)*y+4725)*y - 945) / math.Sqrt(3628800),
	}
}

// cost is the weighted square of a sum's errors, in excess where it is large.
func cost(moment *[5]float64) float64 {
	q := 0.0
	for m, v := range moment {
		q += importance[m] * v * v / half
	}
	return q * (1 + q/0.02)
}

func score(v int) float64 {
	z := math.Sqrt2 * math.Erfinv((math.Abs(float64(v))-0.5)/half)
	return math.Copysign(z, float64(v))
}

func main() {
	r := rand.New(rand.NewPCG(1, 2))
	var cell [dims][half]int
	var z [dims][half]float64
	for d := range cell {
		for i, p := range r.Perm(half) {
			cell[d][i] = (p + 1) * (1 - 2*r.IntN(2))
			z[d][i] = score(cell[d][i])
		}
	}
	var all []*sum
	var with [dims][]term
	for a := range dims {
		for b := range a {
			for _, ratio := range []float64{0.4, 1, 2.5, -0.4, -1, -2.5} {
				s := new(sum)
				wa, wb := 1/math.Hypot(1, ratio), ratio/math.Hypot(1, ratio)
				for i := range half {
					s.value[i] = wa*z[a][i] + wb*z[b][i]
					for m, h := range hermite(s.value[i]) {
						s.moment[m] += h
					}
				}
				with[a], with[b] = append(with[a], term{s, wa}), append(with[b], term{s, wb})
				all = append(all, s)
			}
		}
	}
	next := make([][5]float64, len(all))
	for move := range moves {
		cool := 1 - float64(move)/moves
		temperature := 0.3 * cool * cool
		// Exchange two cells, either of them mirrored or not, or mirror one.
		d, i, k := r.IntN(dims), r.IntN(half), r.IntN(half)
		ci, ck := cell[d][k]*(1-2*r.IntN(2)), cell[d][i]*(1-2*r.IntN(2))
		if i == k {
			ci = -cell[d][i]
			ck = ci
		}
		di, dk := score(ci)-z[d][i], score(ck)-z[d][k]
		if i == k {
			dk = 0
		}
		worse := 0.0
		for j, t := range with[d] {
			moment := t.of.moment
			before, after := hermite(t.of.value[i]), hermite(t.of.value[i]+t.weight*di)
			for m := range moment {
				moment[m] += after[m] - before[m]
			}
			if dk != 0 {
				before, after = hermite(t.of.value[k]), hermite(t.of.value[k]+t.weight*dk)
				for m := range moment {
					moment[m] += after[m] - before[m]
				}
			}
			worse += cost(&moment) - cost(&t.of.moment)
			next[j] = moment
		}
		if worse > 0 && r.Float64() >= math.Exp(-worse/temperature) {
			continue
		}
		for j, t := range with[d] {
			t.of.moment = next[j]
			t.of.value[i] += t.weight * di
			t.of.value[k] += t.weight * dk
		}
		cell[d][i], z[d][i] = ci, score(ci)
		cell[d][k], z[d][k] = ck, score(ck)
	}
	out := make([]byte, 0, 2*dims*half)
	left := 0.0
	for d := range cell {
		for _, v := range cell[d] {
			out = binary.LittleEndian.AppendUint16(out, uint16(int16(v)))
		}
	}
	for _, s := range all {
		for m, v := range s.moment {
			left += importance[m] * v * v / half / float64(len(all))
		}
	}
	fmt.Printf("weighted square of the moments' errors, mean over all pairs: %.4f\n", left)
	if err := os.WriteFile("points.bin", out, 0o644); err != nil {
		log.Fatal(err)
	}
}
