package analysis

import (
	"math"
	"slices"
	"strings"
	"testing"

	"carryover/dataset"
)

// clemson is the example that Clemson University prints, in its own lb/acre.
func clemson() *book {
	var b book
	o := method("Mehlich-1")
	for a, lb := range map[string]float64{"K": 221, "Mg": 28, "Ca": 400, "Na": 12} {
		b.test("1", "2024-10-20", a, lb*perLbAc, o)
	}
	b.test("1", "2024-10-20", "pH", 5.2)
	b.test("1", "2024-10-20", "buffer pH", 7.70, method("Adams-Evans"))
	return &b
}

func TestAcidityAndCEC(t *testing.T) {
	for _, c := range []struct {
		source          string
		buffer          string
		reading, soilPH float64
		want, tol       float64
		volume          bool
	}{
		{"Clemson/acidity-Adams-Evans", "Adams-Evans", 7.70, 5.2, 2.40, 0.01, false},
		{"NCDA/acidity-Mehlich", "Mehlich buffer", 6.3, 5.0, 1.2, 0.01, true},
	} {
		t.Run(c.source, func(t *testing.T) {
			got, volume, source, err := Acidity(c.buffer, c.reading, c.soilPH)
			if err != nil || math.Abs(got-c.want) > c.tol || volume != c.volume || source == "" {
				t.Errorf("%v (by volume %v, %v), want %v", got, volume, err, c.want)
			}
		})
	}
	t.Run("Clemson/CEC", func(t *testing.T) {
		x := clemson().review(t, Options{US: true}).Beds[0].CEC
		if len(x) != 1 || x[0].CEC == nil || math.Abs(x[0].CEC.Value-3.83) > 0.01 {
			t.Fatalf("%+v, want 3.83", x)
		}
		if e := x[0].CEC; !(e.Low < e.Value && e.Value < e.High) || x[0].Method != "Mehlich-1" {
			t.Errorf("%+v", e)
		}
		contains(t, x[0].Text, "estimated CEC 3.8 meq/100 g")
		contains(t, x[0].CEC.Basis, "estimated")
	})
	t.Run("Clemson/base-saturation", func(t *testing.T) {
		x := clemson().review(t, Options{}).Beds[0].CEC[0]
		n := slices.IndexFunc(x.Saturation, func(s Saturation) bool { return s.Of == "bases" })
		if s := x.Saturation[n].Estimate; math.Abs(s.Value-37) > 0.5 || !(s.Low < s.Value && s.Value < s.High) {
			t.Errorf("%+v, want 37 %%", s)
		}
	})
	t.Run("ServiTech/calcium", func(t *testing.T) {
		ca := Charge("Ca", 1471)
		if math.Abs(ca-7.4) > 0.1 || math.Abs(100*ca/20.4-36) > 0.5 {
			t.Errorf("%.2f meq, %.1f %% of 20.4; want 7.4 and 36", ca, 100*ca/20.4)
		}
	})
	t.Run("own/Bear-by-weight", func(t *testing.T) {
		if v := BearCaMgWeight(); math.Abs(v-10.72) > 0.05 {
			t.Errorf("%.2f, want 10.72", v)
		}
	})
}

func TestAcidityRefuses(t *testing.T) {
	for _, c := range []struct {
		buffer          string
		reading, soilPH float64
		say             string
	}{
		{"", 6.6, 5.5, "no name"}, {"Woodruff", 6.6, 5.5, "no formula"}, {"Sikora-2", 6.6, 5.5, "no formula"},
		{"SMP", 6.6, 6.5, "up to pH 6.4"}, {"Sikora", 6.6, 0, "up to pH 6.4"}, {"Adams-Evans", 6.9, 5.5, "below 7"},
	} {
		if _, _, _, err := Acidity(c.buffer, c.reading, c.soilPH); err == nil {
			t.Errorf("%s %v gave an acidity", c.buffer, c.reading)
		} else {
			contains(t, err.Error(), c.say)
		}
	}
	// Above a buffer's own pH there is no acidity left.
	for buffer, top := range map[string]float64{"Adams-Evans": 8, "SMP": 7, "Mehlich buffer": 6.6} {
		if v, _, _, err := Acidity(buffer, top+0.05, 6.0); err != nil || v != 0 {
			t.Errorf("%s %v: %v, %v, want 0", buffer, top+0.05, v, err)
		}
	}
}

func TestCECRefuses(t *testing.T) {
	set := func(ph float64, o ...option) *book {
		var b book
		for a, v := range map[string]float64{"Ca": 1500, "Mg": 150, "K": 150} {
			b.test("1", "2024-10-20", a, v, o...)
		}
		b.test("1", "2024-10-20", "pH", ph)
		return &b
	}
	buffer := func(b *book, o ...option) *book {
		b.test("1", "2024-10-20", "buffer pH", 6.7, o...)
		return b
	}
	spread := func(b *book, date, material, same string) *book {
		b.spread("1", date, material)
		b.Amendments[0].SameDay = same
		return b
	}
	limed := func(cce float64) *book {
		b := spread(buffer(set(6.2)), "2024-04-20", "town compost", "")
		b.Materials = []dataset.Material{{Grower: "Ada", Material: "Town compost", Kind: "compost", Component: "CCE", Value: cce}}
		return b
	}
	poor := func(ca float64) *book {
		var b book
		for a, v := range map[string]float64{"Ca": ca, "Mg": 20, "K": 20} {
			b.test("1", "2024-10-20", a, v)
		}
		b.test("1", "2024-10-20", "pH", 6.2)
		b.test("1", "2024-10-20", "buffer pH", 6.95)
		return &b
	}
	for _, c := range []struct {
		name string
		b    *book
		say  string // of the refusal; empty: estimated
	}{
		{"KansasState/Mehlich-3-Ca-at-pH-7.6", set(7.6), "free lime"},
		{"at 7.3", set(7.3), "free lime"},
		{"below 7.3", set(7.2), ""},
		{"ammonium acetate at 7.6", set(7.6, method("ammonium acetate")), ""},
		{"named buffer", buffer(set(6.2)), ""},
		{"no buffer", set(6.2), "no buffer pH"},
		{"no name to the buffer", buffer(set(6.2), method("")), "no name"},
		{"buffer beyond its soils", buffer(set(6.6)), "up to pH 6.4"},
		{"Huluka/Adams-Evans-below-13", buffer(set(6.2), func(x *dataset.SoilTest) { x.Method, x.Value = "Adams-Evans", 7.7 }), ""},
		{"Huluka/Adams-Evans-above-13", buffer(set(6.2), func(x *dataset.SoilTest) { x.Method, x.Value = "Adams-Evans", 7.3 }), "below a CEC of 13"},
		{"acidity by volume", buffer(set(6.2), method("Mehlich buffer")), "by volume"},
		{"both by volume", buffer(set(6.2, volume), method("Mehlich buffer")), ""},
		{"a limit", set(7.1, below), "beyond the lab's limit"},
		{"limed 11 months before", spread(buffer(set(6.2)), "2023-11-25", "dolomitic lime", ""), "dolomitic lime of 2023-11-25"},
		{"limed 13 months before", spread(buffer(set(6.2)), "2023-09-15", "dolomitic lime", ""), ""},
		{"gypsum", spread(buffer(set(6.2)), "2024-05-01", "gypsum", ""), "gypsum"},
		{"ash", spread(buffer(set(6.2)), "2024-05-01", "wood ash", ""), "wood ash"},
		{"limed the same day, order not known", spread(buffer(set(6.2)), "2024-10-20", "lime", ""), "lime of 2024-10-20"},
		{"limed after the test", spread(buffer(set(6.2)), "2024-10-20", "lime", "after test"), ""},
		{"limed just before the test", spread(buffer(set(6.2)), "2024-10-20", "lime", "before test"), "lime of 2024-10-20"},
		{"limed compost", limed(12), "town compost"},
		{"compost as it is", limed(2.3), ""},
		{"below 3", poor(300), "below 3"},
		{"above 3", poor(480), ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			x := c.b.review(t, Options{}).Beds[0].CEC
			if len(x) != 1 {
				t.Fatalf("%d sums", len(x))
			}
			if refused := x[0].Refused; (refused != "") != (c.say != "") || (x[0].CEC == nil) != (c.say != "") || (x[0].Saturation == nil) != (c.say != "") {
				t.Fatalf("refused %q, %+v", refused, x[0].CEC)
			}
			contains(t, x[0].Refused, c.say)
			contains(t, x[0].Text, "estimated")
		})
	}
	// Cations by two extractants make no sum.
	b := set(7.1)
	for i := range b.SoilTests {
		if b.SoilTests[i].Analyte == "K" {
			b.SoilTests[i].Method = "ammonium acetate"
		}
	}
	if x := b.review(t, Options{}).Beds[0].CEC; len(x) != 0 {
		t.Errorf("a sum of two methods: %+v", x)
	}
}

func TestCationRatios(t *testing.T) {
	var b book
	for a, v := range map[string]float64{"Ca": 1302.6, "Mg": 121.5, "K": 195.5} {
		b.test("1", "2024-10-20", a, v)
	}
	b.test("1", "2024-10-20", "pH", 7.1)
	r := b.review(t, Options{Targets: defaultTargets(t)})
	c := r.Beds[0].CationRatios()
	if c.Refused != "" || !near(c.CaMg, 6.5, 0.001) || !near(c.CaK, 13, 0.001) || !near(c.MgK, 2, 0.001) || !near(c.CaMgWeight, 10.72, 0.001) {
		t.Errorf("%+v, want Bear's 6.5, 13 and 2", c)
	}
	if len(c.Standings) != 2 || len(c.Evidence) < 3 {
		t.Errorf("no bands or evidence beside the ratios: %+v", c)
	}
	contains(t, strings.Join(c.Evidence, " "), "Kopittke and Menzies 2007")
	contains(t, c.Text, "Published trials do not support steering by these")
	// Whatever is in a review, no ratio is: they are made only when asked for.
	if s := asJSON(t, r); strings.Contains(s, "ca_mg") || strings.Contains(s, "Bear") {
		t.Error("ratios stand in the review unasked")
	}
	b.SoilTests[len(b.SoilTests)-1].Value = 7.5
	for i := range b.SoilTests {
		if x := &b.SoilTests[i]; x.Analyte != "pH" {
			x.Method = "ammonium acetate"
		} else {
			x.Value = 7.5
		}
	}
	if c := b.review(t, Options{}).Beds[0].CationRatios(); c.Refused == "" || c.CaMg != 0 {
		t.Errorf("ratios at pH 7.5: %+v", c)
	}
	var none book
	none.test("1", "2024-10-20", "pH", 6.5)
	if c := none.review(t, Options{}).Beds[0].CationRatios(); c.Refused == "" {
		t.Error("ratios of nothing")
	}
}
