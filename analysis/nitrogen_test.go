package analysis

import (
	"math"
	"testing"

	"carryover/dataset"
	"carryover/dataset/unit"
)

func TestSourcedNitrogen(t *testing.T) {
	t.Run("Kansas State University: 3 % organic matter holds 3,000 lb N/acre, 2 % set free 60", func(t *testing.T) {
		held, free := OrganicN(unit.FurrowSlice, 3, 0.05, 0.02)
		if math.Abs(held-3000) > 1e-6 || math.Abs(free-60) > 1e-6 {
			t.Errorf("%v and %v", held, free)
		}
	})
	t.Run("PNW 636: per ton of cover 0 lb N at 1.5 %, 35 at 3.5 %, about 40 at 4 %", func(t *testing.T) {
		for n, want := range map[float64]float64{1.5: 0, 3.5: 35, 4: 40} {
			if got := 2000 * CoverN(n); math.Abs(got-want) > 1e-9 {
				t.Errorf("%v %%: %v lb", n, got)
			}
		}
	})
	t.Run("PNW 636: two tons at 2.5 % give 35 lb/acre", func(t *testing.T) {
		if got := 2 * 2000 * CoverN(2.5); math.Abs(got-35) > 1e-9 {
			t.Errorf("%v", got)
		}
	})
	t.Run("Kansas State University: 20 lb N a year for each per cent, 1-3 %, is inside", func(t *testing.T) {
		b := &book{}
		plot(b, func(d *dataset.Bed) { d.BulkDensity, d.DepthTo = ptr(unit.SliceDensity), ptr(unit.CmPerInch*20/3) })
		grow(b, nil)
		b.test("A", "2024-04-01", "OM", 3, layer(0, unit.CmPerInch*20/3))
		l := b.account(t, AccountOptions{}).line(t, "N", Source, "set free from organic matter")
		per := func(kgHa float64) float64 { return kgHa / unit.KgHaPerLbAc / 3 }
		if per(l.PerArea.Low) > 20 || per(l.PerArea.High) < 20 || per(l.PerArea.Value) < 15 || per(l.PerArea.Value) > 30 {
			t.Errorf("%v lb/acre for each per cent (%v-%v)", per(l.PerArea.Value), per(l.PerArea.Low), per(l.PerArea.High))
		}
	})
}

func TestSourcedCompostN(t *testing.T) {
	share := func(cn, n float64) Range95 {
		f := facts{kind: "compost", row: map[string]*dataset.Material{"C:N": {Value: cn}, "N": {Value: n}}}
		r, _, _ := f.compostN()
		return r
	}
	t.Run("Hartz, UC Davis: 5-10 % for most composts", func(t *testing.T) {
		if r := share(14, 1.5); r.Mid < 0.05 || r.Mid > 0.10 || r.Low > 0.05 || r.High < 0.10 {
			t.Errorf("%v", r)
		}
	})
	t.Run("Hartz, UC Davis: above 10 % where N is above 3 %", func(t *testing.T) {
		if r := share(10, 3.2); r.Mid <= 0.10 {
			t.Errorf("%v", r)
		}
	})
	t.Run("Clemson University: none, or less, where C:N is above 20-30", func(t *testing.T) {
		if r, wide := share(22, 1.5), share(31, 1.5); r.Mid > 0.03 || wide.Mid > 0 || wide.Low >= 0 {
			t.Errorf("%v, %v", r, wide)
		}
	})
	t.Run("Horrocks et al. 2016: 13-23 % in 3-4 years is within the first and later shares", func(t *testing.T) {
		f := facts{kind: "compost", row: map[string]*dataset.Material{}}
		first, _, _ := f.compostN()
		one, two := f.later("N", 1), f.later("N", 2)
		if low, high := first.Low+one.Low+two.Low, first.High+one.High+two.High; low > 0.13 || high < 0.23 {
			t.Errorf("%v to %v", low, high)
		}
	})
	t.Run("Brown 2013, OMAFRA 13-043: P of manure 40 % in the year, 80 % in all", func(t *testing.T) {
		f := facts{kind: "manure", row: map[string]*dataset.Material{}}
		first, _, _ := f.acts("P")
		one, two := f.later("P", 1), f.later("P", 2)
		if sum := first.Mid + one.Mid + two.Mid; first.Mid != 0.4 || sum > 0.8 || first.High+one.High+two.High < 0.8 {
			t.Errorf("first %v, three seasons %v", first, sum)
		}
	})
}

func TestOrganicMatterRelease(t *testing.T) {
	n := func(om float64) Estimate {
		b := &book{}
		plot(b)
		grow(b, nil)
		b.test("A", "2024-04-01", "OM", om)
		a := b.account(t, AccountOptions{})
		if got := len(a.doubted("much organic matter")); got != map[bool]int{true: 1, false: 0}[om > 6] {
			t.Errorf("%v %%: %d doubts", om, got)
		}
		return a.line(t, "N", Source, "set free").Estimate
	}
	if x, y := n(2), n(4); !near(2*x.Value, y.Value, 0.01) {
		t.Errorf("2 %%: %v, 4 %%: %v", x.Value, y.Value)
	}
	if x, y := n(6), n(12); y.Low > 1.5*x.Low || y.Value > 1.6*x.Value || y.High < x.High {
		t.Errorf("6 %%: %+v, 12 %%: %+v", x, y)
	}
	b := &book{}
	plot(b)
	grow(b, nil)
	if got := b.account(t, AccountOptions{}).doubted("no organic matter"); len(got) != 1 {
		t.Errorf("%v", got)
	}
}

// Compost spread before the test of organic matter is in it, but is no humus yet.
func TestFreshCompostIsNoHumus(t *testing.T) {
	free := func(compost bool) float64 {
		b := &book{}
		if compost {
			calRecycle(b, "dry")
		} else {
			plot(b)
			grow(b, nil)
		}
		b.test("A", "2024-04-20", "OM", 5.5)
		return b.account(t, AccountOptions{}).line(t, "N", Source, "set free").Estimate.Value
	}
	// 784 lb of the 2,060 lb in the layer.
	if share := free(true) / free(false); math.Abs(share-(1-784.0/2060)) > 0.05 {
		t.Errorf("with an inch of compost in the sample %v of the release is left", share)
	}
}

func TestCoverNitrogen(t *testing.T) {
	n := func(species, sown, ended string, biomass *float64) (*BedAccount, Estimate) {
		b := &book{}
		plot(b)
		grow(b, nil)
		b.Covers = append(b.Covers, dataset.Cover{Grower: "Ada", Bed: "A", Sown: day(sown), SownBasis: dataset.ByDay, Species: species, Ended: ptr(day(ended)), Biomass: biomass, Source: b.source()})
		a := b.account(t, AccountOptions{})
		return a, *a.line(t, "N", Source, "cover of "+species).PerArea
	}
	_, vetch := n("hairy vetch", "2023-09-10", "2024-04-30", ptr(2300.0))
	_, rye := n("winter rye", "2023-09-10", "2024-04-30", ptr(5100.0))
	if vetch.Low <= 0 || rye.Low >= 0 || vetch.Value/2300 <= rye.Value/5100 {
		t.Errorf("vetch %+v, rye %+v kg/ha", vetch, rye)
	}
	if vetch.High > 2300*1.3*0.02 || rye.Low < -mostBound {
		t.Errorf("beyond the source's bounds: %+v, %+v", vetch, rye)
	}
	a, early := n("winter rye", "2023-09-10", "2024-04-30", nil)
	_, late := n("winter rye", "2023-10-20", "2024-04-30", nil)
	if late.Value >= early.Value || len(a.doubted("cover")) != 1 {
		t.Errorf("sown in September %+v, in October %+v, doubts %v", early, late, a.doubted("cover"))
	}
	b := &book{}
	plot(b)
	grow(b, nil)
	b.Covers = append(b.Covers, dataset.Cover{Grower: "Ada", Bed: "A", Sown: day("2023-09-10"), SownBasis: dataset.ByDay, Species: "gravel", Ended: ptr(day("2024-04-30")), Source: b.source()})
	if got := b.account(t, AccountOptions{}).doubted("cover"); len(got) != 1 {
		t.Errorf("%v", got)
	}
}
