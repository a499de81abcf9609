package analysis

import (
	"carryover/dataset"
	"errors"
	"math"
	"testing"

	"carryover/dataset/unit"
)

func TestNitrateAndOrganicNitrogen(t *testing.T) {
	t.Run("KansasState/nitrogen-in-organic-matter", func(t *testing.T) {
		soil := 2e6 * unit.KgHaPerLbAc
		total, released, err := OMNitrogen(3, soil, 0.02)
		if err != nil || math.Abs(total/unit.KgHaPerLbAc-3000) > 0.5 || math.Abs(released/unit.KgHaPerLbAc-60) > 0.5 {
			t.Errorf("%.1f and %.1f lb/acre, %v; want 3,000 and 60", total/unit.KgHaPerLbAc, released/unit.KgHaPerLbAc, err)
		}
	})
	t.Run("KansasState/phosphate-of-phosphorus", func(t *testing.T) {
		if v := 2 * formRatio("P2O5"); math.Abs(v-4.58) > 0.1 {
			t.Errorf("%.2f lb P2O5, want 4.58 (printed 4.5)", v)
		}
	})
	t.Run("TriState/phosphorus-buffer", func(t *testing.T) {
		if v := PTestChange(55 * unit.KgHaPerLbAc); math.Abs(v+2.75) > 0.005 {
			t.Errorf("%.3f ppm, want -2.75 (printed about 3)", v)
		}
	})
	if _, _, err := OMNitrogen(6.5, 2e6, 0.02); !errors.Is(err, ErrTooFew) {
		t.Errorf("above 6 %%: %v", err)
	}

	var b book
	b.bed("1", "2020-01-01", measured(1.2))
	b.test("1", "2024-04-20", "NO3-N", 20)
	b.test("1", "2024-04-20", "OM", 4)
	b.test("1", "2024-07-10", "NO3-N", 30, layer(0, 30.48))
	b.test("1", "2024-10-20", "NO3-N", 20, layer(15.24, 30.48))
	b.test("1", "2024-10-20", "NO3-N", 10, volume, layer(0, 20))
	b.test("1", "2024-10-21", "NO3-N", 10, noDepth)
	b.test("1", "2024-10-22", "NO3-N", 10, method(""))
	x := b.review(t, Options{US: true}).Beds[0].Nitrate
	if len(x) != 4 {
		t.Fatalf("%d layers, want 4: no depth and no method make no amount", len(x))
	}
	// 20 mg/kg x 1.2 g/cm3 x 15.24 cm / 10 = 36.6 kg/ha; by the rule 20 x 0.3 x 6 =
	// 36 lb/acre = 40.4 kg/ha, the furrow slice weighing more than this bed.
	if !near(x[0].Amount.Value, 36.58, 0.005) || x[0].ByRule == nil || !near(*x[0].ByRule, 36*unit.KgHaPerLbAc, 1e-9) || x[0].Rule == "" {
		t.Errorf("%+v, want 36.6 kg/ha and by the rule 40.4", x[0])
	}
	contains(t, x[0].Text, "33 lb/acre of N")
	contains(t, x[0].Text, "by the rule of 0.3 lb N/acre for each ppm and inch, 36")
	contains(t, x[0].Text, "from 68 (Howell 1998")
	// 4 % of 1.2 x 15.24 cm of soil is 73,152 kg/ha, 5 % of it N, 2 % of that a year.
	if o := x[0].Organic; o == nil || !near(o.Value, 73.15, 0.001) || o.Low >= o.Value || o.High <= o.Value {
		t.Errorf("organic nitrogen %+v, want 73 kg/ha", o)
	}
	contains(t, x[1].Text, "25 ppm to 12 in is enough")
	contains(t, x[2].Text, "do not count on it")
	if x[3].DepthFrom == 0 {
		x[2], x[3] = x[3], x[2]
	}
	if v := x[2]; v.ByRule != nil || !near(v.Amount.Value, 20, 0.005) { // mg/dm3 to 20 cm, twice kg/ha
		t.Errorf("by volume: %+v, want 20 kg/ha and no rule", v)
	}
	if v := x[3]; v.DepthFrom != 15.24 || v.Organic != nil {
		t.Errorf("deeper layer: %+v", v)
	}
}

func TestSalts(t *testing.T) {
	t.Run("Maas1990/zucchini-at-7", func(t *testing.T) {
		if v, err := SaltYield("zucchini", 7); err != nil || math.Abs(v-78.4) > 0.1 {
			t.Errorf("%.1f %%, %v; want 78.4", v, err)
		}
	})
	for ec, want := range map[float64]float64{0: 100, 3.2: 100, 4.2: 84, 20: 0} {
		if v, err := SaltYield(standIn, ec); err != nil || math.Abs(v-want) > 1e-9 {
			t.Errorf("scallop squash at %v: %v, want %v", ec, v, want)
		}
	}
	if _, err := SaltYield("pumpkin", 3); err == nil {
		t.Error("pumpkin has a curve of its own")
	}
	var b book
	b.test("1", "2024-04-20", "EC", 4.2, method("EC paste"))
	b.test("1", "2024-04-20", "Na", 120)
	b.test("1", "2024-04-20", "Na sat", 7)
	b.test("1", "2024-10-20", "EC", 4.2, method("EC 1:5"))
	b.test("1", "2025-04-20", "EC", 0.3, method("EC 1:2"))
	b.test("1", "2025-10-20", "EC", 0.3, method(""))
	x := b.review(t, Options{}).Beds[0].Salts
	if len(x) != 4 {
		t.Fatalf("%d tests, want 4", len(x))
	}
	if y := x[0].Yield; y == nil || y.Value != 84 || !(y.Low < 84 && y.High > 84) || x[0].Sodium == nil || x[0].SodiumShare == nil {
		t.Errorf("%+v", x[0])
	}
	contains(t, x[0].Text, "usual below 2 by this method")
	contains(t, x[0].Text, "scallop squash, standing in for pumpkin, would give 84 %")
	contains(t, x[0].Text, "sodium holds 7.0 % of the exchange sites, 5 or more")
	contains(t, x[0].Yield.Basis, "a stand-in: no curve is published for pumpkin")
	// Only a paste may be fed to the curve.
	for _, n := range []int{1, 2, 3} {
		if x[n].Yield != nil {
			t.Errorf("%s fed to the curve: %+v", x[n].Method, x[n].Yield)
		}
	}
	contains(t, x[1].Text, "not turned into one of a paste")
	contains(t, x[2].Text, "below 0.6 as it should be")
	contains(t, x[3].Text, "no method on the report")
}

// A result beyond the lab's limit says below or above only where it must be so;
// two labs of one day stay apart.
func TestSaltsBeyondLimits(t *testing.T) {
	for _, c := range []struct {
		v    float64
		o    option
		want string
	}{
		{1, above, "cannot be told from 2"}, {3, above, "usual below 2"}, {3, below, "cannot be told from 2"}, {2, below, "below 2 as it should be"},
	} {
		var b book
		b.test("1", "2024-04-20", "EC", c.v, method("EC paste"), c.o)
		contains(t, b.review(t, Options{}).Beds[0].Salts[0].Text, c.want)
	}
	var b book
	b.test("1", "2024-04-20", "Na sat", 9, lab("A"))
	b.test("1", "2024-04-20", "Na sat", 2, lab("B"))
	if x := b.review(t, Options{}).Beds[0].Salts; len(x) != 2 || x[0].SodiumShare.Value != 9 || x[1].SodiumShare.Value != 2 {
		t.Errorf("%+v", x)
	}
}

func TestLeadScreen(t *testing.T) {
	volume := func(t *dataset.SoilTest) { t.Unit, t.Basis = "mg/dm3", "volume" }
	for _, c := range []struct {
		method string
		v      float64
		o      []option
		stop   bool
		say    string
	}{
		{"total digest", 199, nil, false, ""}, {"total digest", 200, nil, true, "health department"}, {"Mehlich-3", 21, nil, false, ""},
		{"Mehlich-3", 22, nil, false, "ask the lab for total lead"}, {"", 300, nil, false, "ask the lab for total lead"},
		{"total digest", 300, []option{below}, false, ""}, {"total digest", 300, []option{above}, true, "health department"},
		{"total digest", 450, []option{volume}, true, "by volume: ask the lab for mg/kg"}, {"Mehlich-3", 450, []option{volume}, false, "by volume: ask the lab for mg/kg"},
	} {
		var b book
		b.test("1", "2019-07-20", "Pb", c.v, append(c.o, method(c.method))...)
		b.test("1", "2024-07-20", "Pb", 5, method("total digest"))
		x := b.review(t, Options{}).Beds[0].Lead
		if (x != nil) != (c.say != "") || x != nil && x.Stop != c.stop {
			t.Errorf("%v by %q: %+v", c.v, c.method, x)
		} else if x != nil {
			contains(t, x.Text, c.say)
		}
	}
}
