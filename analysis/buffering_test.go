package analysis

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"carryover/dataset"
)

func TestSourcedBuffering(t *testing.T) {
	t.Run("Vitosh, Johnson and Mengel 1995: 55 lb P2O5/acre of 150 bu corn take about 3 ppm (exactly 2.75)", func(t *testing.T) {
		if v := 55.0 / PBuildUp; math.Abs(v-2.75) > 1e-9 || math.Abs(v-3) > 0.3 {
			t.Errorf("%v", v)
		}
	})
	t.Run("Vitosh, Johnson and Mengel 1995: 6-10 lb K2O/acre per ppm, rising with CEC", func(t *testing.T) {
		for cec, want := range map[float64]float64{10: 6, 20: 8, 30: 10} {
			if got := KBuildUp(cec); math.Abs(got-want) > 1e-9 {
				t.Errorf("CEC %v: %v", cec, got)
			}
		}
	})
	t.Run("own arithmetic: shares 0.229 of P, 0.402 and 0.241 of K", func(t *testing.T) {
		for got, want := range map[float64]float64{shareOf(20, "P2O5"): 0.229, shareOf(6, "K2O"): 0.402, shareOf(10, "K2O"): 0.241} {
			if math.Abs(got-want) > 0.001 {
				t.Errorf("%v, want %v", got, want)
			}
		}
	})
	t.Run("own arithmetic: 2,000 lb of fruit move P by 4.39 and K by 36-59 ppm of a furrow slice", func(t *testing.T) {
		perAcre := 43.56 * 2
		if p := 0.44 * factorTo("P2O5") * perAcre / PBuildUp; math.Abs(p-4.39) > 0.1 {
			t.Errorf("P %v", p)
		}
		k := 3.4 * factorTo("K2O") * perAcre
		if math.Abs(k/KBuildUp(30)-35.7) > 0.1 || math.Abs(k/KBuildUp(10)-59.5) > 0.1 {
			t.Errorf("K %v to %v", k/KBuildUp(30), k/KBuildUp(10))
		}
	})
	t.Run("the published share is inside its range, of P and of K at any CEC", func(t *testing.T) {
		for _, cec := range []float64{0, 3, 5, 12, 30} {
			for _, n := range buffered {
				r, source, ok := publishedShare(n, cec)
				if !ok || !(0 < r.Low && r.Low < r.Mid && r.Mid < r.High && r.High <= 1) || !strings.Contains(source, "Vitosh") {
					t.Errorf("%s at CEC %v: %v %s", n, cec, r, source)
				}
			}
		}
	})
}

// eightSeasons is a bed whose K moves by a share of what the account holds, now
// much fed, now not at all; each test is off by its own error.
func eightSeasons(share float64, off func(season int, spring bool) float64) *book {
	b := &book{}
	plot(b)
	level := 300.0
	for y := 2017; y <= 2024; y++ {
		b.Plantings = append(b.Plantings, dataset.Planting{Grower: "Ada", Bed: "A", Season: int32(y), Crop: "pumpkin", SetOut: ptr(day(fmt.Sprintf("%d-05-15", y))),
			VinesCleared: ptr(day(fmt.Sprintf("%d-09-20", y))), VinesHauled: ptr(100.0), Source: b.source()})
		b.harvest("A", fmt.Sprintf("%d-09-15", y), 500)
		fed := 0.0
		if y%2 == 0 {
			fed = 20 // kg of muriate of potash
			b.give(fmt.Sprintf("%d-05-20", y), "muriate of potash", fed, "kg")
		}
		// The central figures of the account: 2.9 kg K a tonne, vines 75 lb of 3.75 %.
		net := fed*0.6/factorTo("K2O") - 0.88*(0.5*2.9+75*lb*0.0375)
		spring := level
		autumn := spring + share*net*1e10/(1000*0.09290304)/(1.2*15.24*1e5)
		b.test("A", fmt.Sprintf("%d-04-20", y), "K", spring*off(y, true), cores(20))
		b.test("A", fmt.Sprintf("%d-10-20", y), "K", autumn*off(y, false), cores(20))
		level = 300
	}
	return b
}

func exactTest(int, bool) float64 { return 1 }

func TestOwnSeasonsSharpen(t *testing.T) {
	for _, share := range []float64{0.30, 0.55} {
		x := eightSeasons(share, exactTest).account(t, AccountOptions{}).sum(t, "K").Buffering
		if !x.Own || x.Seasons != 7 {
			t.Fatalf("share %v: %s", share, x.Text)
		}
		if x.Share.Low > share || x.Share.High < share {
			t.Errorf("share %v: %v-%v", share, x.Share.Low, x.Share.High)
		}
		if x.Share.High-x.Share.Low >= x.Published.High-x.Published.Low {
			t.Errorf("share %v: %+v is no narrower than %+v", share, x.Share, x.Published)
		}
		if !strings.Contains(x.Text, "narrowed by 7 other seasons") {
			t.Error(x.Text)
		}
	}
	low := eightSeasons(0.30, exactTest).account(t, AccountOptions{}).sum(t, "K").Buffering.Share.Value
	high := eightSeasons(0.55, exactTest).account(t, AccountOptions{}).sum(t, "K").Buffering.Share.Value
	if high < low*1.2 {
		t.Errorf("beds of 0.30 and 0.55 read %v and %v", low, high)
	}
}

// K moves further on a soil that holds less.
func TestBufferingByCEC(t *testing.T) {
	share := func(cec float64) Estimate {
		b := &book{}
		plot(b)
		grow(b, nil)
		b.test("A", "2024-04-01", "CEC", cec)
		return b.account(t, AccountOptions{}).sum(t, "K").Buffering.Share
	}
	if x, y := share(5), share(25); !near(x.Value/y.Value, KBuildUp(25)/KBuildUp(5), 0.02) {
		t.Errorf("CEC 5: %v, CEC 25: %v", x.Value, y.Value)
	}
}

// A bed that is fed alike each season says little, and one that says nothing of
// the kind is not followed.
func TestOwnSeasonsThatCannot(t *testing.T) {
	b := &book{}
	plot(b)
	grow(b, nil)
	b.harvest("A", "2024-09-15", 500)
	x := b.account(t, AccountOptions{}).sum(t, "K").Buffering
	if x.Own || x.Seasons != 0 || x.Share != x.Published || !strings.Contains(x.Text, "0 other seasons") {
		t.Errorf("%+v", x)
	}
	// The season itself does not count for itself.
	b.test("A", "2024-04-20", "K", 200)
	b.test("A", "2024-10-20", "K", 150)
	if x := b.account(t, AccountOptions{}).sum(t, "K").Buffering; x.Seasons != 0 {
		t.Errorf("%d seasons", x.Seasons)
	}
	// Tests that fell by half each season whatever was given.
	wild := eightSeasons(0.4, func(y int, spring bool) float64 {
		if spring {
			return 1
		}
		return []float64{0.2, 3}[y%2]
	})
	if x := wild.account(t, AccountOptions{}).sum(t, "K").Buffering; x.Own && (x.Share.High-x.Share.Low < 0.3*(x.Published.High-x.Published.Low)) {
		t.Errorf("tests against all the account: %s", x.Text)
	}
}

// What the account expects of a test is its mass times the share, and the pair of
// tests bounds what counts.
func TestExpectedTestChange(t *testing.T) {
	b := eightSeasons(0.4, exactTest)
	x := b.account(t, AccountOptions{}).sum(t, "K") // fed
	y := b.account(t, AccountOptions{}, 2023).sum(t, "K")
	if x.TestChange.Low <= 0 || y.TestChange.High >= 0 {
		t.Errorf("fed %+v, not fed %+v", x.TestChange, y.TestChange)
	}
	b.give("2024-03-01", "muriate of potash", 20, "kg") // before the spring test
	again := b.account(t, AccountOptions{}).sum(t, "K")
	if !near(again.TestChange.Value, x.TestChange.Value, 0.1) {
		t.Errorf("what was spread before the spring test moves the change from %v to %v", x.TestChange.Value, again.TestChange.Value)
	}
	if again.Sources.Value < x.Sources.Value*1.5 {
		t.Error("but it is a source of the season")
	}
	contains(t, strings.Join(x.Text, "\n"), "between the tests of 2024-04-20 and 2024-10-20")
}
