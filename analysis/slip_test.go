package analysis

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"carryover/dataset"
)

// slipsOf looks for slips alone, and lists the levels that a doubt lies on: P
// 2024-04-20.
func slipsOf(b *book) (wrong, weak []string) {
	b.Sort()
	last, _ := lastRecord(&b.Records)
	work, _ := worker(&b.Records, Options{}, last)
	for h := range b.Histories(dataset.Selection{}) {
		w := work(h, &doubts{})
		levels := w.levels()
		w.slips(levels)
		for i := range levels {
			for _, id := range levels[i].Doubts {
				at := levels[i].Analyte + " " + levels[i].Date.String()
				switch w.doubts.list[id-1].Code {
				case "slip":
					wrong = append(wrong, at)
				case "form":
					weak = append(weak, at)
				}
			}
		}
	}
	return wrong, weak
}

// noisy draws a bed that stands still, tested spring and autumn with a noise of so
// much; K reads lower every autumn by dip.
func noisy(rng *rand.Rand, years int, noise, dip float64) *book {
	var b book
	known(&b, "1")
	for y := range years {
		for _, when := range []string{"-04-20", "-10-20"} {
			for _, x := range []struct {
				analyte string
				at      float64
			}{{"OM", 6}, {"CEC", 13}, {"P", 55}, {"K", 170}, {"Ca", 1700}, {"Mg", 170}, {"S", 15}, {"B", 0.8}, {"Zn", 6}, {"NO3-N", 14}} {
				v := x.at * math.Exp(noise*rng.NormFloat64())
				if x.analyte == "K" && when == "-10-20" {
					v *= 1 - dip
				}
				b.test("1", fmt.Sprintf("%d%s", 2018+y, when), x.analyte, v, cores(15))
			}
		}
	}
	return &b
}

func TestSlipIsNotItsNeighbour(t *testing.T) {
	for _, c := range []struct {
		values []float64
		want   string
	}{
		{[]float64{56, 57, 50, 49, 58, 265.8, 52, 54}, "P 2020-10-20"},
		{[]float64{56, 57, 50, 49, 58, 11, 52, 54}, "P 2020-10-20"},
		{[]float64{540, 57, 50, 49, 58}, "P 2018-04-20"},
		{[]float64{56, 265.8, 50, 49, 58}, "P 2018-10-20"},
		{[]float64{56, 57, 50, 52, 265.8, 54}, "P 2020-04-20"},
		{[]float64{56, 57, 50, 52, 54, 540}, "P 2020-10-20"},
		{[]float64{56, 57, 50, 52, 54, 215}, ""}, // no known factor fits: wait for the next
		{[]float64{56, 57, 50, 260, 255, 53, 55}, "P 2019-10-20;P 2020-04-20"},
	} {
		var b book
		for i, v := range c.values {
			b.test("1", fmt.Sprintf("%d-%s-20", 2018+i/2, []string{"04", "10"}[i%2]), "P", v)
		}
		named, _ := slipsOf(&b)
		if got := strings.Join(named, ";"); got != c.want {
			t.Errorf("%v: named %q, want %q", c.values, got, c.want)
		}
	}
}

// simulation: the slipped result is named, the innocent beside it is not.
func TestSlipNamesTheRightTest(t *testing.T) {
	books := 50
	if testing.Short() {
		books = 30
	}
	rng := rand.New(rand.NewPCG(7, 31))
	for _, c := range []struct{ noise, dip float64 }{{0.05, 0}, {0.08, 0.15}} {
		for _, factor := range []float64{2, 2.29133, 3, 4, 4.4266, 4.8, 6, 10} {
			for _, last := range []bool{false, true} {
				right, innocent := 0, 0
				for n := range books {
					b := noisy(rng, 6, c.noise, c.dip)
					when, analyte := "2020-10-20", []string{"P", "K", "Ca", "Mg", "Zn"}[n%5]
					if last {
						when = "2023-10-20"
					}
					f := factor
					if n%2 == 1 {
						f = 1 / f
					}
					for i := range b.SoilTests {
						if x := &b.SoilTests[i]; x.Date == day(when) && x.Analyte == analyte {
							x.Value *= f
						}
					}
					named, _ := slipsOf(b)
					if slices.Contains(named, analyte+" "+when) {
						right++
					}
					if len(slices.DeleteFunc(named, func(s string) bool { return s == analyte+" "+when })) > 0 {
						innocent++
					}
				}
				t.Logf("noise %.2f, dip %.2f, times %.3g, last %v: right %d, innocent %d of %d", c.noise, c.dip, factor, last, right, innocent, books)
				if !last && right*10 < books*8 {
					t.Errorf("noise %.2f, times %.3g: named in %d of %d books", c.noise, factor, right, books)
				}
				if innocent*50 > books {
					t.Errorf("noise %.2f, times %.3g, last %v: an innocent named in %d of %d books", c.noise, factor, last, innocent, books)
				}
			}
		}
	}
}

// simulation: books without a slip, with and without an autumn in which K reads
// lower, raise none, nor a mix-up of K2O and K.
func TestHonestBooksRaiseNoSlip(t *testing.T) {
	books := 150
	if testing.Short() {
		books = 50
	}
	rng := rand.New(rand.NewPCG(12, 15))
	for _, noise := range []float64{0, 0.02, 0.05, 0.08} {
		for _, dip := range []float64{0, 0.15, 0.17} {
			wrong, weak := 0, 0
			for range books {
				x, y := slipsOf(noisy(rng, 6, noise, dip))
				wrong, weak = wrong+min(1, len(x)), weak+min(1, len(y))
			}
			t.Logf("noise %.2f, dip %.2f: %d likely wrong, %d weak of %d", noise, dip, wrong, weak, books)
			if (wrong+weak)*50 > books {
				t.Errorf("noise %.2f, dip %.2f: %d of %d honest books are doubted, %d weakly", noise, dip, wrong, books, weak)
			}
		}
	}
}

// A mix of two soils halves what it touches, and is told as a mix alone; a report
// in the wrong unit, whose organic matter stands still, is told as a slip.
func TestMixIsNoSlip(t *testing.T) {
	half := func(f map[string]float64) *CheckReport {
		b := noisy(rand.New(rand.NewPCG(3, 3)), 4, 0.02, 0)
		for i := range b.SoilTests {
			if x := &b.SoilTests[i]; x.Date == day("2021-10-20") && f[x.Analyte] > 0 {
				x.Value *= f[x.Analyte]
			}
		}
		return b.check(t, Options{})
	}
	all := map[string]float64{"P": 0.5, "K": 0.5, "Ca": 0.5, "Mg": 0.5, "S": 0.5, "B": 0.5, "Zn": 0.5}
	if x := half(all); len(x.told("slip")) != 1 {
		t.Errorf("lb/acre and ppm: %v", x.told("slip"))
	}
	all["OM"], all["CEC"] = 0.6, 0.6
	if x := half(all); len(x.told("slip")) != 0 || len(x.told("not the same soil")) != 1 {
		t.Errorf("a mix: %v, %v", x.told("slip"), x.told("not the same soil"))
	}
}

// Nitrate read as N is found where the other springs lie close together, and not
// where they move as nitrate does.
func TestNitrateSlip(t *testing.T) {
	for _, c := range []struct {
		values []float64
		want   int
	}{
		{[]float64{12, 14, 13, 15, 58}, 1}, {[]float64{12, 14, 58, 15, 13}, 1}, {[]float64{12, 14, 13, 3, 15}, 1},
		{[]float64{12, 30, 8, 22, 58}, 0}, {[]float64{12, 14, 13, 58}, 0}, {[]float64{12, 14, 13, 15, 30}, 0},
	} {
		var b book
		for i, v := range c.values {
			b.test("1", fmt.Sprintf("%d-04-20", 2018+i), "NO3-N", v)
			b.test("1", fmt.Sprintf("%d-10-20", 2018+i), "NO3-N", 4+float64(i%3))
		}
		if found := b.check(t, Options{}).told("slip"); len(found) != c.want {
			t.Errorf("%v: %v, want %d", c.values, found, c.want)
		}
	}
}
