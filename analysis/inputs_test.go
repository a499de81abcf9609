package analysis

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"carryover/dataset"
	"carryover/dataset/unit"
)

func TestLabelArithmetic(t *testing.T) {
	element := func(product, percent float64, form string) float64 {
		t.Helper()
		m, err := ElementMass(product, percent, form)
		if err != nil {
			t.Fatal(err)
		}
		return m
	}
	at := func(t *testing.T, got, want, by float64) {
		t.Helper()
		if math.Abs(got-want) > by {
			t.Errorf("%v, want %v", got, want)
		}
	}
	t.Run("gardenguides.com: 3 lb N by 21-0-0 is 14.28 lb, five times 71.42 (exactly 71.43)", func(t *testing.T) {
		p, err := ProductFor(3, 21, "N")
		if err != nil {
			t.Fatal(err)
		}
		at(t, p, 14.28, 0.02)
		at(t, 5*p, 71.42, 0.02)
	})
	t.Run("AHDB RB209: Epsom salt of 16 % MgO is 9.65 % Mg", func(t *testing.T) { at(t, element(100, 16, "MgO"), 9.65, 0.02) })
	t.Run("AHDB RB209: potassium sulfate of 45 % SO3 is 18.0 % S", func(t *testing.T) { at(t, element(100, 45, "SO3"), 18.0, 0.1) })
	t.Run("AHDB RB209: kieserite of 25 % MgO and 50 % SO3 is 15 % Mg, 20 % S", func(t *testing.T) {
		at(t, element(100, 25, "MgO"), 15, 0.1)
		at(t, element(100, 50, "SO3"), 20, 0.1)
	})
	t.Run("Virginia Tech SPES-201: 1 K2O is 0.8301 K, CaO 0.7147 Ca", func(t *testing.T) {
		at(t, element(1, 100, "K2O"), 0.8301, 0.0005)
		at(t, element(1, 100, "CaO"), 0.7147, 0.0002)
	})
	t.Run("Kansas State University: 2 lb P is 4.5 lb P2O5 (exactly 4.58)", func(t *testing.T) {
		p, err := ProductFor(2, 100, "P2O5")
		if err != nil {
			t.Fatal(err)
		}
		at(t, p, 4.5, 0.1)
	})
	t.Run("50 lb of 10-10-10 by the atomic masses", func(t *testing.T) {
		at(t, element(50, 10, "N"), 5, 1e-12)
		at(t, element(50, 10, "P2O5"), 2.18, 0.005)
		at(t, element(50, 10, "K2O"), 4.15, 0.005)
	})
	t.Run("the inverse returns", func(t *testing.T) {
		for _, form := range []string{"N", "P2O5", "P", "K2O", "K", "CaO", "MgO", "SO3", "S", "B", "Zn"} {
			for _, pct := range []float64{0.02, 1, 21, 50} {
				p, err := ProductFor(element(37, pct, form), pct, form)
				if err != nil {
					t.Fatal(err)
				}
				at(t, p, 37, 1e-9)
			}
		}
	})
	if _, err := ProductFor(1, 0, "N"); !errors.Is(err, unit.ErrUnit) {
		t.Errorf("a product of 0 %% N: %v", err)
	}
	if _, err := ElementMass(1, 10, "10-10-10"); !errors.Is(err, unit.ErrUnit) {
		t.Errorf("a grade as a form: %v", err)
	}
}

func TestGradeOf(t *testing.T) {
	for name, want := range map[string][3]float64{
		"soluble feed 15-5-30": {15, 5 * 0.43643, 30 * 0.83015}, "Feed (2.5-0-1)": {2.5, 0, 0.83015},
	} {
		g := gradeOf(name)
		for i, id := range []string{"N", "P", "K"} {
			if !near(g[id].Mid, want[i], 1e-4) {
				t.Errorf("%s: %s %v, want %v", name, id, g[id].Mid, want[i])
			}
		}
	}
	for _, name := range []string{"lime 2024-05-10", "compost", "0-0-0", "60-60-60", "mix 1-2-3-4"} {
		if g := gradeOf(name); g != nil {
			t.Errorf("%s is read as a grade: %v", name, g)
		}
	}
}

// The average of 1,600 composts (CalRecycle 2013), one inch on 1,000 sq ft, as
// 1,000 lb a cubic yard with 40 % moisture: 1,852 lb dry.
func calRecycle(b *book, basis string) {
	plot(b)
	grow(b, nil)
	b.give("2024-04-01", "average compost", 2.54, "cm")
	dry := func(c string, v float64) { b.analysed("average compost", "compost", c, v, basis, "lab") }
	dry("N", 1.53)
	dry("P", 0.59)
	dry("K", 1.13)
	dry("OM", 42.32)
	dry("CCE", 45.0/20) // lb/ton
	b.analysed("average compost", "compost", "moisture", 40, "as-is", "lab")
	b.analysed("average compost", "compost", "density", 1000*lb/(27*unit.M3PerCuFt), "", "lab")
	b.analysed("average compost", "compost", "C:N", 16.8, "", "lab")
}

func TestSourcedCompost(t *testing.T) {
	b := &book{}
	calRecycle(b, "dry")
	a := b.account(t, AccountOptions{})
	acts := a.line(t, "N", Source, "average compost: acts")
	held := a.line(t, "N", Within, "average compost: held")
	t.Run("CalRecycle average compost, one inch: 28.3 lb N", func(t *testing.T) {
		if n := (acts.Estimate.Value + held.Estimate.Value) / lb; math.Abs(n-28.3) > 0.6 {
			t.Errorf("%v lb", n)
		}
	})
	t.Run("Hartz, UC Davis: 5-10 % of it in the first year, 1.4-2.8 lb", func(t *testing.T) {
		e := acts.Estimate
		if m := e.Value / lb; m < 1.4 || m > 2.8 || e.Low/lb > 1.4 || e.High/lb < 2.8 {
			t.Errorf("%v lb (%v-%v)", m, e.Low/lb, e.High/lb)
		}
	})
	t.Run("CalRecycle average compost, one inch: 24.8 lb P2O5 by its P, 25.2 lb K2O", func(t *testing.T) {
		for id, want := range map[string]float64{"P": 1852 * 0.0059, "K": 1852 * 0.0113} {
			sum := (a.line(t, id, Source, "average compost: acts").Estimate.Value + a.line(t, id, Within, "average compost: held").Estimate.Value) / lb
			if !near(sum, want, 0.03) {
				t.Errorf("%s: %v lb, want %v", id, sum, want)
			}
		}
	})
	t.Run("CalRecycle average compost: 45 lb CaCO3 a ton is 41.7 lb", func(t *testing.T) {
		if v := a.line(t, LimeValue, Source, "average compost").Estimate.Value / lb; math.Abs(v-41.7) > 0.5 {
			t.Errorf("%v lb", v)
		}
	})
	t.Run("Cornell Waste Management: 70,000 sq ft by 2 in are 434 cu yd (exactly 432.1)", func(t *testing.T) {
		b := &book{}
		plot(b, func(d *dataset.Bed) { d.Area = ptr(70000 * unit.M2PerSqFt) })
		b.give("2024-04-01", "stuff", 5.08, "cm")
		b.analysed("stuff", "other", "K", 1, "as-is", "lab")
		b.analysed("stuff", "other", "density", 1/(27*unit.M3PerCuFt), "", "lab") // 1 kg a cubic yard
		if yards := 100 * b.account(t, AccountOptions{}).line(t, "K", Source, "stuff").Estimate.Value; !near(yards, 434, 0.01) || !near(yards, 432.1, 0.005) {
			t.Errorf("%v cu yd", yards)
		}
	})
	t.Run("a supplier's page: 1,018 lb with 35 % moisture are 662 lb dry, not 808", func(t *testing.T) {
		b := &book{}
		plot(b)
		b.give("2024-04-01", "stuff", 1018*lb, "kg")
		b.analysed("stuff", "compost", "K", 1, "dry", "lab")
		b.analysed("stuff", "compost", "moisture", 35, "as-is", "lab")
		a := b.account(t, AccountOptions{})
		sum := a.line(t, "K", Source, "stuff").Estimate.Value + a.line(t, "K", Within, "stuff").Estimate.Value
		if dry := sum * 100 / lb; !near(dry, 661.7, 0.01) {
			t.Errorf("%v lb dry", dry)
		}
	})
	t.Run("Small et al. 2019: 300 kg P/ha are 6.14 lb/1000 sq ft, 1,400 kg N 28.67", func(t *testing.T) {
		for kg, want := range map[float64]float64{300: 6.14, 1400: 28.67} {
			if got := kg / kgHaPerLb1000; math.Abs(got-want) > 0.01 {
				t.Errorf("%v kg/ha: %v", kg, got)
			}
		}
	})
}

func TestCompostAnalysis(t *testing.T) {
	b := &book{}
	calRecycle(b, "dry")
	dry := b.account(t, AccountOptions{}).line(t, "K", Source, "average").Estimate
	b = &book{}
	calRecycle(b, "as-is")
	if moist := b.account(t, AccountOptions{}).line(t, "K", Source, "average").Estimate; !near(moist.Value*0.6, dry.Value, 0.01) {
		t.Errorf("as-is %v, dry %v at 40 %% moisture", moist.Value, dry.Value)
	}
	b = &book{}
	calRecycle(b, "")
	a := b.account(t, AccountOptions{})
	open := a.line(t, "K", Source, "average").Estimate
	if open.Low > dry.Value || open.High < dry.Value/0.6 || len(a.doubted("basis")) != 1 {
		t.Errorf("basis not said: %+v beside %+v, doubts %v", open, dry, a.doubted("basis"))
	}
	b = &book{}
	calRecycle(b, "dry")
	b.Materials = slicesDelete(b.Materials, "moisture")
	a = b.account(t, AccountOptions{})
	if e := a.line(t, "K", Source, "average").Estimate; e.High-e.Low <= dry.High-dry.Low || len(a.doubted("moisture")) != 1 {
		t.Errorf("no moisture: %+v beside %+v, doubts %v", e, dry, a.doubted("moisture"))
	}
	b = &book{}
	calRecycle(b, "dry")
	b.Materials = slicesDelete(b.Materials, "density")
	a = b.account(t, AccountOptions{})
	if got := a.doubted("density"); len(got) != 1 || !strings.Contains(got[0], "bucket") {
		t.Errorf("no density: %v", got)
	}
	for c, v := range map[string]float64{"C:N": 31, "EC": 12, "Na": 0.8} {
		b = &book{}
		calRecycle(b, "dry")
		b.Materials = slicesDelete(b.Materials, c)
		b.analysed("average compost", "compost", c, v, "dry", "lab")
		a = b.account(t, AccountOptions{})
		if got := a.doubted("compost"); len(got) != 1 {
			t.Errorf("%s %v: %v", c, v, got)
		}
		if n := a.line(t, "N", Source, "average").Estimate; c == "C:N" && (n.Low > 0 || n.High/lb > 1) {
			t.Errorf("C:N 31 sets %+v kg N free", n)
		}
	}
	b = &book{}
	calRecycle(b, "dry")
	b.analysed("average compost", "compost", "total C", 60, "dry", "lab")
	if got := b.account(t, AccountOptions{}).doubted("compost"); len(got) != 1 || !strings.Contains(got[0], "another sample") {
		t.Errorf("C, N and C:N that disagree: %v", got)
	}
}

func slicesDelete(list []dataset.Material, component string) (out []dataset.Material) {
	for _, m := range list {
		if m.Component != component {
			out = append(out, m)
		}
	}
	return out
}

func TestLaterSeasons(t *testing.T) {
	b := &book{}
	calRecycle(b, "dry")
	p := b.Plantings[0]
	p.Season = 2025
	b.Plantings = append(b.Plantings, p)
	asOf := AccountOptions{Options: Options{AsOf: ptr(day("2025-12-31"))}}
	first := b.account(t, asOf, 2024)
	second := b.account(t, asOf, 2025)
	all := 1852 * lb * 0.0059
	now, later := first.line(t, "P", Source, "average").Estimate.Value, second.line(t, "P", Source, "compost and manure of 2024").Estimate
	if later.Value <= 0 || now+later.High > all {
		t.Errorf("P: %v at first, %+v a year on, of %v", now, later, all)
	}
	if l := second.line(t, "N", Within, "of the release from organic matter"); l.Estimate.High > 0.08*28.3*lb {
		t.Errorf("N a year on: %+v", l.Estimate)
	}
}

func TestMaterialAnalyses(t *testing.T) {
	t.Run("the bag wins over the typical figure", func(t *testing.T) {
		b := &book{}
		plot(b)
		b.give("2024-05-01", "bone meal", 10, "kg")
		a := b.account(t, AccountOptions{})
		if len(a.doubted("typical")) != 1 {
			t.Error("a typical figure is not said to be one")
		}
		wide := a.line(t, "Ca", Source, "bone meal").Estimate
		b.analysed("bone meal", "fertilizer", "Ca", 20, "label", "label")
		a = b.account(t, AccountOptions{})
		if e := a.line(t, "Ca", Source, "bone meal").Estimate; !near(e.Value, 2, 1e-6) || e.High-e.Low >= wide.High-wide.Low {
			t.Errorf("%+v, typical %+v", e, wide)
		}
		if len(a.doubted("typical")) != 0 {
			t.Error("the bag is there")
		}
	})
	t.Run("the newest analysis up to the day", func(t *testing.T) {
		b := &book{}
		plot(b)
		b.analysed("feed", "fertilizer", "N", 10, "label", "label")
		b.analysed("feed", "fertilizer", "N", 20, "label", "label", "2024-06-01")
		b.give("2024-05-01", "feed", 1, "kg")
		b.give("2024-07-01", "Feed", 1, "kg")
		a := b.account(t, AccountOptions{})
		if n := a.sum(t, "N").Sources.Value; !near(n, 0.3, 1e-3) {
			t.Errorf("0.1 and 0.2 kg make %v", n)
		}
	})
	t.Run("a grade in the name", func(t *testing.T) {
		b := &book{}
		plot(b)
		b.give("2024-05-01", "Bloom 5-10-20", 10, "kg")
		a := b.account(t, AccountOptions{})
		if k := a.line(t, "K", Source, "Bloom").Estimate.Value; !near(k, 10*0.2*0.83015, 1e-3) {
			t.Errorf("%v kg K", k)
		}
	})
	t.Run("not known", func(t *testing.T) {
		b := &book{}
		plot(b)
		grow(b, nil)
		b.give("2024-05-01", "grandfather's mix", 10, "kg")
		if got := b.account(t, AccountOptions{}).doubted("material"); len(got) != 1 || !strings.Contains(got[0], "grandfather's mix") {
			t.Errorf("%v", got)
		}
	})
	t.Run("an analysis above 100 %", func(t *testing.T) {
		b := &book{}
		plot(b)
		grow(b, nil)
		b.give("2024-05-01", "feed", 10, "kg")
		b.analysed("feed", "fertilizer", "N", 60, "label", "label")
		b.analysed("feed", "fertilizer", "P", 20, "label", "label") // 45.8 % P2O5
		a := b.account(t, AccountOptions{})
		if got := a.doubted("above 100"); len(got) != 1 || !strings.Contains(got[0], "106 %") {
			t.Errorf("%v", got)
		}
		if n := a.sum(t, "N").Sources.Value; n > 0.5 {
			t.Errorf("counted all the same: %v", n)
		}
	})
}

// Whatever is listed must be found by its own name, and hold no more than itself.
func TestTypicalMaterials(t *testing.T) {
	list := TypicalMaterials()
	for i := range list {
		m := &list[i]
		if got := typicalOf(list, m.Name); got != m {
			t.Errorf("%s is found as %v", m.Name, got)
		}
		f := facts{name: m.Name, kind: m.Kind, typical: m}
		if sum := f.sum(); sum <= 0 || sum > 100 {
			t.Errorf("%s adds up to %v %%", m.Name, sum)
		}
		for id, r := range m.Content {
			if !(0 <= r.Low && r.Low <= r.Mid && r.Mid <= r.High) {
				t.Errorf("%s %s: %v", m.Name, id, r)
			}
		}
	}
	for name, want := range map[string]string{
		"potassium magnesium sulfate 0-0-22": "potassium magnesium sulfate", "potash, muriate of potash": "muriate of potash", "Dolomitic lime": "dolomitic lime", "pelleted lime": "calcitic lime",
		"sulphate of potash": "potassium sulfate", "magnesium sulphate": "Epsom salt",
	} {
		if got := typicalOf(list, name); got == nil || got.Name != want {
			t.Errorf("%s is found as %v", name, got)
		}
	}
	if got := typicalOf(list, "fish emulsion"); got != nil {
		t.Errorf("fish emulsion is found as %s", got.Name)
	}
}

// What we hold typical is what its source prints, in the source's own terms.
func TestSourcedAnalyses(t *testing.T) {
	list := TypicalMaterials()
	for _, x := range []struct {
		source, material, form string
		percent                float64
	}{
		{"AHDB RB209", "ammonium sulfate", "SO3", 60}, {"AHDB RB209", "potassium sulfate", "SO3", 45}, {"AHDB RB209", "Epsom salt", "MgO", 16},
		{"AHDB RB209", "Epsom salt", "SO3", 33}, {"AHDB RB209", "kieserite", "MgO", 25}, {"AHDB RB209", "kieserite", "SO3", 50}, {"AHDB RB209", "gypsum", "SO3", 40},
		{"AHDB RB209", "calcium nitrate", "CaO", 19}, {"AHDB RB209", "triple superphosphate", "P2O5", 45}, {"ANR-174", "ammonium nitrate", "N", 34}, {"ANR-174", "ammonium sulfate", "N", 21},
		{"trade label", "potassium magnesium sulfate", "K2O", 22}, {"PLANTanswers", "bone meal", "P2O5", 27}, {"PLANTanswers", "blood meal", "N", 12},
	} {
		t.Run(fmt.Sprintf("%s: %s %v %% %s", x.source, x.material, x.percent, x.form), func(t *testing.T) {
			m, err := unit.Component(x.form, x.percent, "%")
			if err != nil {
				t.Fatal(err)
			}
			r, ok := typicalOf(list, x.material).Content[m.ID]
			if !ok || m.Value < r.Low*0.98 || m.Value > r.High*1.02 {
				t.Errorf("%s %v %%, ours %v", m.ID, m.Value, r)
			}
		})
	}
	t.Run("pure gypsum by the atomic masses", func(t *testing.T) {
		c := typicalOf(list, "gypsum").Content
		if !near(100*unit.GypsumCa, c["Ca"].High, 0.01) || !near(100*unit.GypsumS, c["S"].High, 0.01) {
			t.Errorf("%v", c)
		}
	})
	t.Run("ANR-174: lb CaCO3 per 100 lb", func(t *testing.T) {
		for name, want := range map[string]float64{"urea": -81, "ammonium sulfate": -110, "ammonium nitrate": -61, "calcium nitrate": 20, "potassium nitrate": 26} {
			if l := typicalOf(list, name).Lime; l == nil || l.Mid != want {
				t.Errorf("%s: %v, want %v", name, l, want)
			}
		}
	})
}

func TestSourcedAcidity(t *testing.T) {
	acid := func(t *testing.T, material string) float64 { // of 150 kg N
		t.Helper()
		b := &book{}
		plot(b)
		m := typicalOf(TypicalMaterials(), material)
		b.give("2024-05-01", material, 1, "kg")
		b.Amendments[0].Amount = ptr(150 / m.Content["N"].Mid * 100)
		b.analysed(material, "fertilizer", "N", m.Content["N"].Mid, "label", "label")
		return b.account(t, AccountOptions{}).sum(t, LimeValue).Uses.Value
	}
	t.Run("Cornell PO 37: 150 lb N as urea cost 270 lb CaCO3", func(t *testing.T) {
		if v := acid(t, "urea"); !near(v, 270, 0.02) {
			t.Errorf("%v", v)
		}
	})
	t.Run("Cornell PO 37: as ammonium sulfate 810 lb; by ANR-174 786", func(t *testing.T) {
		if v := acid(t, "ammonium sulfate"); !near(v, 786, 0.002) || !near(v, 810, 0.04) {
			t.Errorf("%v", v)
		}
	})
	t.Run("ANR-174: per lb N 5.238 ammonium sulfate, 1.794 ammonium nitrate", func(t *testing.T) {
		for name, want := range map[string]float64{"ammonium sulfate": 5.238, "ammonium nitrate": 1.794} {
			if v := acid(t, name) / 150; math.Abs(v-want) > 0.001 {
				t.Errorf("%s: %v, want %v", name, v, want)
			}
		}
	})
	t.Run("ANR-174: calcium nitrate limes, +20 per 100", func(t *testing.T) {
		b := &book{}
		plot(b)
		b.give("2024-05-01", "calcium nitrate", 100, "kg")
		if v := b.account(t, AccountOptions{}).sum(t, LimeValue).Sources.Value; !near(v, 20, 1e-6) {
			t.Errorf("%v", v)
		}
	})
}

func TestAmounts(t *testing.T) {
	k := func(amount float64, u string, change ...func(*dataset.Amendment)) Estimate {
		b := &book{}
		plot(b)
		b.analysed("feed", "fertilizer", "K", 10, "label", "label")
		b.analysed("feed", "fertilizer", "density", 1200, "", "label")
		b.give("2024-06-01", "feed", amount, u, change...)
		return b.account(t, AccountOptions{}).line(t, "K", Source, "feed").Estimate
	}
	area := 1000 * unit.M2PerSqFt
	for _, x := range []struct {
		amount float64
		unit   string
		want   float64
	}{{5, "kg", 0.5}, {100, "kg/ha", area / 1e4 * 10}, {10, "L", 1.2}, {100, "L/ha", 1.2 * area / 1e4 * 10}, {0.01, "m3", 1.2}, {1, "cm", 0.01 * area * 120}} {
		if e := k(x.amount, x.unit); !near(e.Value, x.want, 0.01) {
			t.Errorf("%v %s: %v kg K, want %v", x.amount, x.unit, e.Value, x.want)
		}
	}
	if e := k(1, "kg", func(a *dataset.Amendment) { a.Every, a.Until = ptr(int32(7)), ptr(day("2024-08-05")) }); !near(e.Value, 10*0.1, 1e-6) {
		t.Errorf("each week from 1 June to 5 August: %v", e.Value)
	}
	if sure, about := k(5, "kg"), k(5, "kg", func(a *dataset.Amendment) { a.Qualifier = "about" }); about.High < 0.55 || about.High-about.Low < 2*(sure.High-sure.Low) {
		t.Errorf("about 5 kg: %+v, 5 kg: %+v", about, sure)
	}
	b := &book{}
	plot(b)
	grow(b, nil)
	b.analysed("feed", "fertilizer", "K", 10, "label", "label")
	b.give("2024-06-01", "feed", 0, "kg")
	b.Amendments[0].Amount = nil
	if got := b.account(t, AccountOptions{}).doubted("amount"); len(got) != 1 || !strings.Contains(got[0], "at least") {
		t.Errorf("no amount: %v", got)
	}
}

func TestMixedDepth(t *testing.T) {
	at := func(cm float64) *BedAccount {
		b := &book{}
		plot(b)
		b.give("2024-05-01", "kieserite", 10, "kg", func(a *dataset.Amendment) { a.MixedDepth = &cm })
		return b.account(t, AccountOptions{})
	}
	a := at(30.48)
	if l := a.line(t, "Mg", Use, "worked in below"); !near(l.Estimate.Value, 0.75, 0.01) {
		t.Errorf("worked in twice as deep as sampled: %v of 1.5 kg below", l.Estimate.Value)
	}
	for _, cm := range []float64{15.24, 10} {
		for _, l := range at(cm).Lines {
			if l.Kind == Use && l.Nutrient == "Mg" {
				t.Errorf("mixed to %v cm: %v", cm, l.Term)
			}
		}
	}
}

func TestIrrigation(t *testing.T) {
	b := &book{}
	plot(b)
	water := func(date, analyte string, v float64, name string) {
		b.WaterTests = append(b.WaterTests, dataset.WaterTest{Grower: "Ada", Water: name, Date: day(date), DateBasis: dataset.ByDay, Analyte: analyte, Value: v, Unit: "mg/L", Source: b.source()})
	}
	flow := func(date string, mm, litres *float64) {
		b.Weather = append(b.Weather, dataset.Weather{Grower: "Ada", Bed: "A", Date: day(date), Period: "day", Irrigation: mm, IrrigationL: litres, Source: b.source()})
	}
	grow(b, nil)
	water("2023-01-01", "NO3-N", 5, "well")
	water("2024-07-01", "NO3-N", 20, "well")
	water("2023-01-01", "alkalinity", 100, "well")
	flow("2024-06-10", ptr(25.4), nil)
	t.Run("100 mg/L alkalinity, one inch on 1000 sq ft is 0.520 lb, by geometry", func(t *testing.T) {
		a := b.account(t, AccountOptions{})
		if l := a.line(t, LimeValue, Source, "irrigation"); math.Abs(l.Estimate.Value/lb-0.520) > 0.01 {
			t.Errorf("%v lb", l.Estimate.Value/lb)
		}
		litres := 25.4 * 1000 * unit.M2PerSqFt
		if l := a.line(t, "N", Source, "irrigation"); !near(l.Estimate.Value, litres*5e-6, 0.01) {
			t.Errorf("N %v kg by the report of 2023", l.Estimate.Value)
		}
		flow("2024-08-10", nil, ptr(litres))
		a = b.account(t, AccountOptions{})
		if l := a.line(t, "N", Source, "irrigation"); !near(l.Estimate.Value, litres*25e-6, 0.01) {
			t.Errorf("N %v kg by both reports", l.Estimate.Value)
		}
	})
	t.Run("two waters, and which was used is not said", func(t *testing.T) {
		before := b.account(t, AccountOptions{}).line(t, "N", Source, "irrigation").Estimate
		water("2023-01-01", "NO3-N", 0.5, "pond")
		a := b.account(t, AccountOptions{})
		if e := a.line(t, "N", Source, "irrigation").Estimate; e.Low > before.Low/2 || len(a.doubted("water")) != 1 {
			t.Errorf("%+v, doubts %v", e, a.doubted("water"))
		}
	})
	t.Run("no watering recorded", func(t *testing.T) {
		b.Weather = nil
		if got := b.account(t, AccountOptions{}).doubted("irrigation"); len(got) != 1 {
			t.Errorf("%v", got)
		}
	})
}
