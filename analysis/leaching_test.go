package analysis

import (
	"errors"
	"math"
	"testing"

	"carryover/analysis/fit"
	"carryover/dataset"
)

func TestLeachingSources(t *testing.T) {
	first, _, _ := ShortDays(47.4, 2012, AlmanacHorizon)
	rye, vetch := cutBy("winter rye"), cutBy("hairy vetch")
	for _, x := range []struct {
		source         string
		got, want, tol float64
	}{
		{"Scotter, White and Dyson 1993/exp(-z theta over I), 30 cm, 0.25, 10 cm", TubeShare(10, 0.25, 30), 0.4724, 0.00005},
		{"Shepherd and Bennett 1998/Ca 78 mg per L in 200 mm", Leached(78, 200), 156, 0.05},
		{"Shepherd and Bennett 1998/Ca 71 mg per L in 200 mm", Leached(71, 200), 142, 0.05},
		{"GEMAS/boron, median Kd 2.19, density 1.2, water 0.30", Retardation(1.2, 2.19, 0.30), 9.76, 0.005},
		{"Tonitto et al. 2006/non-legume cover, less nitrate lost", rye.high, 0.70, 0},
		{"Christianson et al. 2021/grasses and mixes", rye.low, 0.40, 0},
		{"Christianson et al. 2021/legumes negligible", vetch.low, 0, 0},
		{"Tonitto et al. 2006/legume-based", vetch.high, 0.40, 0},
		{"Lawson et al. 2015/sown 2.5 weeks later, nitrogen held", sownInTime(first-fourWeeks+17, 47.4, false), 0.60, 0.02}, // in whole days
	} {
		t.Run(x.source, func(t *testing.T) {
			if math.Abs(x.got-x.want) > x.tol {
				t.Errorf("got %v, the source has %v (tolerance %v)", x.got, x.want, x.tol)
			}
		})
	}
	// Yearly losses under bare soil must lie inside our 95 % range at the drainage of
	// such a year, 250 mm (from memory).
	for _, x := range []struct {
		source    string
		nutrient  string
		sandy     bool
		rich      bool
		low, high float64
	}{
		{"Finnish lysimeters 1996/Ca", "Ca", false, false, 50, 120}, {"Finnish lysimeters 1996/Mg", "Mg", false, false, 30, 70},
		{"Finnish lysimeters 1996/K", "K", false, false, 4, 24}, {"Finnish lysimeters 1996/K of sand", "K", true, false, 56, 94},
		{"Finnish lysimeters 1996/P", "P", false, false, 0.02, 0.26}, {"Alfaro et al. 2004/K under grass", "K", false, false, 6, 13},
		{"raised-bed trial beside Small et al. 2019/P, g PO4 per m2 times 3.26", "P", false, true, 0.06 * 3.26, 4.2 * 3.26},
	} {
		t.Run(x.source, func(t *testing.T) {
			for _, n := range leachers(x.sandy, x.rich) {
				if n.analyte == x.nutrient && (Leached(n.low, 250) > x.low || Leached(n.high, 250) < x.high) {
					t.Errorf("%v to %v kg/ha, the source has %v to %v", Leached(n.low, 250), Leached(n.high, 250), x.low, x.high)
				}
			}
		})
	}
}

// The form we have of Burns' equation has the limit that Scotter, White and Dyson
// 1993 print: the two meet as drainage grows against the soil's water.
func TestBurnsLimit(t *testing.T) {
	for _, x := range []struct{ drainage, within float64 }{{5, 0.04}, {10, 0.011}, {20, 0.004}, {100, 0.0002}} {
		if burns, tube := BurnsShare(x.drainage, 25, 30), TubeShare(x.drainage, 0.25, 30); math.Abs(burns/tube-1) > x.within {
			t.Errorf("%v cm: %v and %v", x.drainage, burns, tube)
		}
	}
}

func TestSharesStayShares(t *testing.T) {
	for _, fc := range []float64{7, 25, 42} {
		for _, depth := range []float64{2, 15, 60, 900} {
			lastM, last := -1.0, fit.NewQuantity()
			for p := 0.0; p < 2000; p += 50 {
				perCm := perCentimetre(fit.NewQuantity(), fit.NewQuantity().Constant(p), fit.NewQuantity().Constant(fc))
				if f := BurnsShare(p/10, fc, depth); math.Abs(math.Exp(perCm[0]*depth)-f) > 1e-12 {
					t.Fatalf("%v mm: by the centimetre is not %v", p, f)
				}
				q := burnsQuantity(fit.NewQuantity(), perCm, fit.NewQuantity().Constant(depth))
				for i, v := range q {
					if !(v >= 0 && v <= 1) || v < last[i]-1e-12 {
						t.Fatalf("%v mm, %v vol %%, %v cm: share %v after %v", p, fc, depth, v, last[i])
					}
				}
				m, low, high := q.Range(RangeLevel, nil)
				if p == 0 && high != 0 || m < lastM-1e-9 || low > m || m > high {
					t.Fatalf("%v mm: %v (%v to %v)", p, m, low, high)
				}
				lastM = m
				copy(last, q)
				if BurnsMixed(p/10, fc, depth) < BurnsShare(p/10, fc, depth) {
					t.Fatal("what is mixed in has farther to go than what lies on top")
				}
			}
		}
	}
}

// waterOf works the book out at 43 N.
func waterOf(t testing.TB, b *book, o Options) *Water {
	t.Helper()
	b.Sort()
	w, err := NewWater(&dataset.Book{Config: dataset.Config{Latitude: ptr(43.0), Elevation: ptr(200.0)}}, &b.Records, o)
	if err != nil {
		t.Fatal(err)
	}
	return w
}

// period returns the only bed's period.
func (w *Water) period(t testing.TB, kind string, season int) *WaterPeriod {
	t.Helper()
	p := w.Beds[0].Period(kind, season)
	if p == nil {
		t.Fatalf("no %s %d", kind, season)
	}
	return p
}

func (p *WaterPeriod) of(t testing.TB, nutrient string) *Leaching {
	t.Helper()
	for i := range p.Leaching {
		if p.Leaching[i].Nutrient == nutrient {
			return &p.Leaching[i]
		}
	}
	t.Fatalf("no leaching of %s in %s", nutrient, p.Name())
	return nil
}

func TestWaterOfABed(t *testing.T) {
	b := patch(inventedDays("2019-03-01", "2024-10-15"))
	for y := 2019; y < 2024; y++ {
		b.test("A", ymd(y, "10-15"), "S", 18)
		b.test("A", ymd(y, "10-15"), "B", 1.2)
	}
	w := waterOf(t, b, Options{})
	if n := len(w.Beds[0].Periods); n != 11 {
		t.Fatalf("%d periods, want 6 seasons and 5 winters", n)
	}
	for i := range w.Beds[0].Periods {
		p := &w.Beds[0].Periods[i]
		if p.NoWeather != nil {
			t.Fatal(p.NoWeather)
		}
		if p.Resolution != "daily" || p.Method != "Hargreaves (FAO-56)" {
			t.Errorf("%s: %q, %q", p.Name(), p.Resolution, p.Method)
		}
		if sum := p.ET.Value + p.Drainage.Value + p.Stored.Value; math.Abs(p.Rain.Value-sum) > 25 { // medians need not add up
			t.Errorf("%s: rain %.0f, the rest %.0f mm", p.Name(), p.Rain.Value, sum)
		}
		if p.Through.Value < p.Drainage.Value-50 {
			t.Errorf("%s: %.0f mm through the layer, %.0f below the roots", p.Name(), p.Through.Value, p.Drainage.Value)
		}
		for j := range p.Leaching {
			l := &p.Leaching[j]
			if l.Moved != nil && (l.Moved.Low < 0 || l.Moved.High > 1 || l.Lost.Value > l.Moved.Value) {
				t.Errorf("%s, %s: %+v, %+v", p.Name(), l.Nutrient, l.Moved, l.Lost)
			}
			if l.Source == "" || l.Moved == nil && l.Amount == nil {
				t.Errorf("%s, %s: %+v", p.Name(), l.Nutrient, l)
			}
		}
	}
	winter := w.period(t, WinterPeriod, 2022)
	n, s, boron := winter.of(t, "NO3-N"), winter.of(t, "S"), winter.of(t, "B")
	if !(n.Moved.Value > s.Moved.Value && s.Moved.Value > boron.Moved.Value) {
		t.Errorf("nitrate %v, sulfate %v, boron %v: sorption slows nothing", n.Moved.Value, s.Moved.Value, boron.Moved.Value)
	}
	if n.Amount == nil || n.Amount.High > 20*1.5*15.24/10*1.5 {
		t.Errorf("nitrate: %+v", n.Amount)
	}
	if w.period(t, SeasonPeriod, 2022).of(t, "NO3-N").Doubts == nil {
		t.Error("a season's nitrate is without doubt")
	}
	if len(w.period(t, SeasonPeriod, 2022).Doubts) == 0 {
		t.Error("no watering recorded, and no doubt")
	}
	// The same book, the same answer.
	if x, y := asJSON(t, w), asJSON(t, waterOf(t, b, Options{})); x != y {
		t.Error("two runs differ")
	}
	// Spoil the order of rows: Sort mends it.
	for i, j := 0, len(b.Weather)-1; i < j; i, j = i+1, j-1 {
		b.Weather[i], b.Weather[j] = b.Weather[j], b.Weather[i]
	}
	if x, y := asJSON(t, w), asJSON(t, waterOf(t, b, Options{})); x != y {
		t.Error("the order of rows matters")
	}
}

func ymd(y int, md string) string { return dataset.DateOf(y, 1, 1).String()[:5] + md }

func TestCoverHoldsNitrate(t *testing.T) {
	run := func(change func(*book)) *Leaching {
		b := patch(inventedDays("2019-03-01", "2024-10-15"))
		change(b)
		return waterOf(t, b, Options{}).period(t, WinterPeriod, 2022).of(t, "NO3-N")
	}
	cover := func(species, sown string, biomass *float64) func(*book) {
		return func(b *book) {
			b.Covers = append(b.Covers, dataset.Cover{Grower: "Ada", Bed: "A", Sown: day(sown), SownBasis: dataset.ByDay, Species: species, Ended: ptr(day("2023-04-25")), Biomass: biomass, Source: b.source()})
		}
	}
	none := run(func(*book) {})
	early := run(cover("winter rye", "2022-10-03", nil))
	late := run(cover("winter rye", "2022-10-25", nil))
	small := run(cover("winter rye", "2022-10-03", ptr(900.0)))
	vetch := run(cover("hairy vetch", "2022-10-03", nil))
	if none.CoverCut != nil || early.CoverCut == nil {
		t.Fatalf("no cover %+v, cover %+v", none.CoverCut, early.CoverCut)
	}
	for _, x := range []struct {
		name         string
		less, than   *Leaching
		from, to     float64
		cutLow, high float64
	}{
		{"rye in time", early, none, 0.30, 0.70, 0.38, 0.70}, {"late rye", early, late, 0.2, 0.99, 0.3, 0.71}, {"small rye", early, small, 0.2, 0.99, 0.3, 0.71}, {"vetch", early, vetch, 0.2, 0.99, 0.3, 0.71},
	} {
		if r := x.less.Moved.Value / x.than.Moved.Value; r < x.from || r > x.to {
			t.Errorf("%s: %v of it", x.name, r)
		}
		if c := x.less.CoverCut; c.Low < x.cutLow || c.High > x.high {
			t.Errorf("%s: cut %v to %v", x.name, c.Low, c.High)
		}
	}
	b := patch(inventedDays("2019-03-01", "2024-10-15"))
	cover("winter rye", "2022-10-03", nil)(b)
	text := waterOf(t, b, Options{}).period(t, WinterPeriod, 2022).Text(true)
	contains(t, text[1], "NO3-N: ")
	contains(t, text[1], "; the cover kept back ")
	contains(t, late.CoverCut.Basis, "sown late, it counts for")
	contains(t, small.CoverCut.Basis, "it was small")
}

func TestNoWeatherNoNumber(t *testing.T) {
	w := waterOf(t, patch(nil), Options{})
	for i := range w.Beds[0].Periods {
		p := &w.Beds[0].Periods[i]
		if p.NoWeather == nil || p.Rain != nil || p.Drainage != nil || len(p.Leaching) != 0 {
			t.Fatalf("%s: %+v", p.Name(), p)
		}
		contains(t, p.Text(true)[0], "no weather, so no leaching number; to have one, add")
	}
	// Half of it: the years that have weather have figures, the others say so.
	w = waterOf(t, patch(inventedDays("2022-03-01", "2023-05-01")), Options{})
	if p := w.period(t, SeasonPeriod, 2022); p.NoWeather != nil {
		t.Errorf("season 2022: %v", p.NoWeather)
	}
	w2 := waterOf(t, patch(inventedDays("2022-10-10", "2023-05-01")), Options{})
	if p := w2.period(t, WinterPeriod, 2022); p.NoWeather != nil || len(p.Doubts) != 1 {
		t.Errorf("a winter without the weather before it: %+v", p)
	} else {
		contains(t, w2.Doubts[p.Doubts[0]-1].Text, "winter 2022-23: of the 120 days before it 115 have no weather")
	}
	p := w.period(t, SeasonPeriod, 2023)
	if p.NoWeather == nil {
		t.Fatal("season 2023 has a figure")
	}
	contains(t, p.NoWeather.String(), "from 2023-04-20 to 2023-10-14 rain is missing on 166 days of 178 and temperature on 166")
	// The latitude is missing.
	b := patch(inventedDays("2019-03-01", "2024-10-15"))
	b.Sort()
	w, err := NewWater(&dataset.Book{}, &b.Records, Options{})
	if err != nil {
		t.Fatal(err)
	}
	contains(t, w.period(t, WinterPeriod, 2022).NoWeather.String(), "add latitude to book.toml")
	if _, err := NewWater(&dataset.Book{}, &dataset.Records{}, Options{}); !errors.Is(err, ErrTooFew) {
		t.Errorf("an empty book: %v", err)
	}
}

// Normals are marked and wider than what was recorded.
func TestNormalsAreWider(t *testing.T) {
	width := func(e *Estimate) float64 { return e.High - e.Low }
	days := waterOf(t, patch(inventedDays("2019-03-01", "2024-10-15")), Options{}).period(t, WinterPeriod, 2022)
	w := waterOf(t, patch(normalsOf(80)), Options{})
	p := w.period(t, WinterPeriod, 2022)
	if p.Resolution != "normals" || p.Days.Normal != int(p.To-p.From) || len(p.Doubts) == 0 {
		t.Errorf("not marked: %+v", p)
	}
	if width(p.Drainage) < 1.5*width(days.Drainage) {
		t.Errorf("normals %v to %v, days %v to %v", p.Drainage.Low, p.Drainage.High, days.Drainage.Low, days.Drainage.High)
	}
}

// What months and normals make of an invented station's days: their ranges must
// hold what the days themselves give.
func TestMonthsAndNormalsAgainstDays(t *testing.T) {
	days := inventedDays("2019-03-01", "2024-10-15")
	byMonth, byYear := map[int]*dataset.Weather{}, map[int]*dataset.Weather{}
	n, years := map[int]float64{}, map[int]float64{}
	for _, r := range days {
		ym := yearMonth(r.Date)
		if byMonth[ym] == nil {
			byMonth[ym] = &dataset.Weather{Grower: "Ada", Site: "home", Date: firstOf(ym), Period: "month", Rain: ptr(0.0), TempMax: ptr(0.0), TempMin: ptr(0.0)}
		}
		m := byMonth[ym]
		*m.Rain += *r.Rain
		*m.TempMax += *r.TempMax
		*m.TempMin += *r.TempMin
		n[ym]++
	}
	var months, normals []dataset.Weather
	for ym, m := range byMonth {
		*m.TempMax /= n[ym]
		*m.TempMin /= n[ym]
		months = append(months, *m)
		if n[ym] < 28 {
			continue
		}
		if byYear[ym%12] == nil {
			byYear[ym%12] = &dataset.Weather{Grower: "Ada", Site: "home", Date: firstOf(2024*12 + ym%12), Period: "normal", Rain: ptr(0.0), TempMax: ptr(0.0), TempMin: ptr(0.0)}
		}
		y := byYear[ym%12]
		*y.Rain += *m.Rain
		*y.TempMax += *m.TempMax
		*y.TempMin += *m.TempMin
		years[ym%12]++
	}
	for ym, y := range byYear {
		*y.Rain /= years[ym]
		*y.TempMax /= years[ym]
		*y.TempMin /= years[ym]
		normals = append(normals, *y)
	}
	truth := waterOf(t, patch(days), Options{}).Beds[0].Periods
	for name, rows := range map[string][]dataset.Weather{"months": months, "normals": normals} {
		inside, all := 0, 0
		for i, p := range waterOf(t, patch(rows), Options{}).Beds[0].Periods {
			for _, x := range [][2]*Estimate{{p.Drainage, truth[i].Drainage}, {p.Through, truth[i].Through}} {
				all++
				if x[0].Low <= x[1].Value && x[1].Value <= x[0].High {
					inside++
				} else {
					t.Logf("%s, %s: %.0f (%.0f to %.0f), the days give %.0f mm", name, p.Name(), x[0].Value, x[0].Low, x[0].High, x[1].Value)
				}
			}
		}
		if inside*10 < all*9 {
			t.Errorf("%s hold %d of %d", name, inside, all)
		}
	}
}

// Whatever is missing, of weather or of the bed, a period has sound figures or says
// why it has none.
func TestAnyWeatherIsSound(t *testing.T) {
	all := inventedDays("2019-03-01", "2024-10-15")
	for seed := range uint64(40) {
		d := draw(seed + 100)
		var rows []dataset.Weather
		keep := d.next()
		for _, r := range all {
			if d.next() < 0.02 {
				keep = d.next()*1.5 - 0.2
			}
			if d.next() > keep {
				continue
			}
			if d.next() < 0.1 {
				r.Rain = nil
			}
			if d.next() < 0.1 {
				r.TempMax = nil
			}
			rows = append(rows, r)
		}
		if seed%3 == 0 {
			rows = append(rows, normalsOf(70)...)
		}
		for y := 2019; y < 2025; y++ {
			if seed%2 == 0 && d.next() < 0.7 {
				rows = append(rows, monthOf("month", ymd(y, "07-01"), 200*d.next(), 28, 15), monthOf("month", ymd(y, "01-01"), 90*d.next(), 1, -9))
			}
		}
		b := patch(rows)
		b.Beds[0].Texture = textures()[seed%12].name
		for i := range b.Plantings {
			if d.next() < 0.3 {
				b.Plantings[i].SetOut = nil
			}
			if d.next() < 0.3 {
				b.Plantings[i].VinesCleared = ptr(day(ymd(2019+i, "10-20")))
			}
		}
		asOf := day("2022-01-01") + dataset.Date(900*d.next())
		figures := 0
		for _, p := range waterOf(t, b, Options{AsOf: &asOf}).Beds[0].Periods {
			if (p.NoWeather == nil) != (p.Drainage != nil) || p.To > asOf {
				t.Fatalf("seed %d: %+v", seed, p)
			}
			list := []*Estimate{p.Rain, p.Irrigation, p.ET, p.Through, p.Drainage}
			for i := range p.Leaching {
				l := &p.Leaching[i]
				list = append(list, l.Moved, l.Lost, l.Amount, l.CoverCut)
				if l.Moved != nil && l.Moved.High > 1 {
					t.Fatalf("seed %d, %s, %s: %+v", seed, p.Name(), l.Nutrient, l.Moved)
				}
			}
			for _, e := range list {
				if e == nil {
					continue
				}
				figures++
				if !(e.Low >= 0 && e.Low <= e.Value && e.Value <= e.High && e.High < 1e5) {
					t.Fatalf("seed %d, %s: %+v", seed, p.Name(), e)
				}
			}
		}
		if seed%3 == 0 && figures == 0 {
			t.Errorf("seed %d: normals give no figure", seed)
		}
	}
}

func TestWateringByMonthAndLitres(t *testing.T) {
	b := patch(inventedDays("2019-03-01", "2024-10-15"))
	dry := waterOf(t, b, Options{}).period(t, SeasonPeriod, 2023)
	b.Weather = append(b.Weather,
		dataset.Weather{Grower: "Ada", Bed: "A", Date: day("2023-07-01"), Period: "month", Irrigation: ptr(120.0), Source: b.source()},
		dataset.Weather{Grower: "Ada", Bed: "A", Date: day("2023-08-10"), Period: "day", IrrigationL: ptr(1600.0), Source: b.source()}, // 20 mm on 80 m2
		dataset.Weather{Grower: "Ada", Bed: "A", Date: day("2023-08-11"), Period: "day", IrrigationL: ptr(800.0), Source: b.source()})
	wet := waterOf(t, b, Options{}).period(t, SeasonPeriod, 2023)
	if math.Abs(wet.Irrigation.Value-150) > 1 {
		t.Errorf("watering of 120 + 20 + 10 mm: %+v", wet.Irrigation)
	}
	if wet.Through.Value < dry.Through.Value || wet.Drainage.Value < dry.Drainage.Value || wet.Doubts != nil {
		t.Errorf("wet %+v, dry %+v", wet, dry)
	}
	contains(t, wet.Text(true)[0], "season 2023: rain ")
	contains(t, wet.Text(true)[0], "watering 5.9 in (5.")
	contains(t, wet.Text(false)[0], "watering 150 mm")
}

// What stands on the ground in winter decides what evaporates.
func TestWinterGround(t *testing.T) {
	rows := inventedDays("2019-03-01", "2024-10-15")
	et := func(change func(*book)) float64 {
		b := patch(rows)
		change(b)
		return waterOf(t, b, Options{}).period(t, WinterPeriod, 2022).ET.Value
	}
	bareET := et(func(*book) {})
	mulchET := et(func(b *book) { b.spread("A", "2022-10-20", "wheat straw") })
	tilledET := et(func(b *book) {
		b.spread("A", "2022-10-20", "wheat straw")
		b.Tillage = append(b.Tillage, dataset.Tillage{Grower: "Ada", Bed: "A", Date: day("2022-10-25"), DateBasis: dataset.ByDay, Tool: "tiller", Source: b.source()})
	})
	coverET := et(func(b *book) {
		b.Covers = append(b.Covers, dataset.Cover{Grower: "Ada", Bed: "A", Sown: day("2022-09-20"), Species: "winter rye", Source: b.source()})
	})
	if !(mulchET < tilledET && tilledET < bareET && bareET < coverET) {
		t.Errorf("mulched %.0f, mulch tilled in %.0f, bare %.0f, covered %.0f mm", mulchET, tilledET, bareET, coverET)
	}
	// A frozen winter: under snow a quarter of the reference evaporates, and all the
	// rest waits for spring.
	cold := make([]dataset.Weather, len(rows))
	for i, r := range rows {
		if m := r.Date.Month(); m == 12 || m < 3 {
			r.TempMax, r.TempMin = ptr(-6.0), ptr(-14.0)
		}
		cold[i] = r
	}
	b := patch(cold)
	b.Sort()
	site := NewSiteWeather(b.Weather, "Ada", day("2022-03-01"), day("2023-04-30"), ptr(43.0), ptr(200.0))
	work, _ := worker(&b.Records, Options{}, day("2023-04-30"))
	for h := range b.Histories(dataset.Selection{}) {
		w, k := work(h, &doubts{}), &bedBucket{}
		w.lay(site, k, site.From, 15)
		k.run(30, 120)
		flow := func(of column, from, to string) float64 {
			x := of(&k.central)
			return x[day(to)-k.from] - x[day(from)-k.from]
		}
		if d := flow(ofDrainage, "2022-12-01", "2023-03-01"); d != 0 {
			t.Errorf("%v mm drained from frozen ground", d)
		}
		ref := 0.0
		for d := day("2022-12-05"); d < day("2023-02-25"); d++ {
			ref += site.days[d-site.From].et0
		}
		if e := flow(ofET, "2022-12-05", "2023-02-25"); math.Abs(e-kSnow*ref) > 1e-6 {
			t.Errorf("%v mm evaporated, reference %v", e, ref)
		}
		if d := flow(ofDrainage, "2023-03-01", "2023-04-15"); d < 100 {
			t.Errorf("%v mm of meltwater", d)
		}
	}
}

func TestWaterDoubts(t *testing.T) {
	b := patch(inventedDays("2019-03-01", "2024-10-15"))
	b.Beds[0].Texture = "silty clay"
	b.spread("A", "2022-11-01", "gypsum")
	b.Plantings[3].SetOut = nil // 2022
	b.Plantings[4].Crop = "sweetcorn"
	w := waterOf(t, b, Options{})
	told := map[string]string{}
	for _, d := range w.Doubts {
		told[d.Code] += d.Text + "\n"
	}
	for code, want := range map[string]string{
		"cracks":         "clay cracks",
		"gypsum":         "gypsum of 2022-11-01: for a year the water holds more calcium",
		"crop days":      "season 2022: for water use take set-out as 2022-05-20, which is not recorded",
		"crop water":     "season 2023: sweetcorn is taken to use water as pumpkin does",
		"season nitrate": "feeds given later are not in it",
		"winter nitrate": "after the autumn test comes on top",
		"no watering":    "more drained than is said",
	} {
		contains(t, told[code], want)
	}
	if w.period(t, WinterPeriod, 2022).of(t, "Ca").Doubts == nil || w.period(t, WinterPeriod, 2020).of(t, "Ca").Doubts != nil {
		t.Error("gypsum is doubted in the wrong winter")
	}
}

func TestSoilDoubts(t *testing.T) {
	rows := inventedDays("2022-03-01", "2023-10-15")
	soil := func(change func(*book)) (SoilWater, string) {
		b := &book{}
		b.bed("A", "2019-04-01", func(d *dataset.Bed) { d.Texture = "sandy loam" })
		b.test("A", "2022-04-20", "OM", 4)
		b.Weather = rows
		change(b)
		w := waterOf(t, b, Options{})
		text := ""
		for _, d := range w.Doubts {
			text += d.Text + "\n"
		}
		return w.Beds[0].Soil, text
	}
	plain, _ := soil(func(*book) {})
	rich, told := soil(func(b *book) { b.SoilTests[0].Value = 14 })
	contains(t, told, "water capacities are known up to 8 % organic matter: that of 8 % is taken for 14.0 %")
	if rich.Available.Value <= plain.Available.Value || rich.FieldCapacity.Value <= plain.FieldCapacity.Value {
		t.Errorf("organic matter holds no water: %+v, %+v", rich, plain)
	}
	if plain.FieldCapacity.Low < 18 || plain.FieldCapacity.High > 34 || plain.Available.Value < 90 || plain.Available.Value > 200 {
		t.Errorf("sandy loam: %+v", plain)
	}
	none, told := soil(func(b *book) { b.Beds[0].Texture = "" })
	contains(t, told, "texture is not recorded: for water a loam is taken")
	if none.FieldCapacity.High-none.FieldCapacity.Low < 1.5*(plain.FieldCapacity.High-plain.FieldCapacity.Low) {
		t.Errorf("an unknown texture is as sure as a known one: %+v", none.FieldCapacity)
	}
	_, told = soil(func(b *book) { b.Beds[0].Texture = "muck" })
	contains(t, told, `texture "muck" is none of the classes (sandy loam, silt loam, clay ...)`)
	_, told = soil(func(b *book) { b.SoilTests[0].Analyte, b.SoilTests[0].Unit = "K", "mg/kg" })
	contains(t, told, "no organic matter was tested: for water 2.5 % is taken")
	x, told := soil(func(b *book) { noDepth(&b.SoilTests[0]) })
	contains(t, told, "no sampled depth is recorded: for water 15 cm is taken")
	if x.Layer != 15 {
		t.Errorf("layer %v", x.Layer)
	}
	if x, _ = soil(func(b *book) { noDepth(&b.SoilTests[0]); b.Beds[0].DepthTo = ptr(20.0) }); x.Layer != 20 {
		t.Errorf("the bed's own depth is not taken: %v", x.Layer)
	}
	_, told = soil(func(b *book) {
		b.Weather = append(b.Weather, dataset.Weather{Grower: "Ada", Bed: "A", Date: day("2022-07-01"), Period: "day", IrrigationL: ptr(500.0), Source: b.source()},
			dataset.Weather{Grower: "Ada", Bed: "A", Date: day("2022-07-02"), Period: "day", Irrigation: ptr(5000.0), Source: b.source()})
	})
	contains(t, told, "water is recorded in litres and the bed has no area: not counted")
	contains(t, told, "watering of 5000 mm on 2022-07-02: not used")
}

func TestCoverSpeciesAndSowing(t *testing.T) {
	for species, want := range map[string][2]float64{
		"Winter rye": {0.4, 0.7}, "rye + hairy vetch": {0.4, 0.7}, "oats and peas": {0.4, 0.7}, "crimson clover": {0, 0.4}, "field peas": {0, 0.4}, "weeds": {0, 0.7},
	} {
		if c := cutBy(species); c.low != want[0] || c.high != want[1] || c.source == "" {
			t.Errorf("%s: %+v, want %v", species, c, want)
		}
	}
	for _, x := range []struct {
		sown     string
		latitude float64
		want     float64
	}{
		{"2026-09-10", 43, 1}, {"2026-06-10", 43, 1}, {"2026-12-20", 43, 0.1}, {"2027-02-20", 43, 0.1}, {"2026-12-20", 30, 1},
		{"2026-03-10", -43, 1}, {"2026-06-20", -43, 0.1},
	} {
		if got := sownInTime(day(x.sown), x.latitude, x.latitude < 0); math.Abs(got-x.want) > 1e-9 {
			t.Errorf("sown %s at %v: %v, want %v", x.sown, x.latitude, got, x.want)
		}
	}
}

// Where humidity, wind and sun are given for all or some days, the period says so.
func TestMethodIsNamed(t *testing.T) {
	rows := inventedDays("2019-03-01", "2024-10-15")
	for i := range rows {
		if rows[i].Date >= day("2022-07-01") {
			rows[i].Humidity, rows[i].Wind, rows[i].Sun = ptr(70.0), ptr(3.0), ptr(5.0)
		}
	}
	w := waterOf(t, patch(rows), Options{})
	for season, want := range map[int]string{2021: "Hargreaves (FAO-56)", 2022: "Penman-Monteith where humidity, wind and sun are given, else Hargreaves (FAO-56)", 2023: "Penman-Monteith (FAO-56)"} {
		if p := w.period(t, SeasonPeriod, season); p.Method != want {
			t.Errorf("season %d: %q", season, p.Method)
		}
	}
}

// In the south a winter lies in the middle of the year.
func TestSouthernWater(t *testing.T) {
	b := &book{}
	b.bed("A", "2020-08-01", func(d *dataset.Bed) { d.Texture = "sandy loam" })
	b.test("A", "2020-10-10", "OM", 4)
	b.test("A", "2021-04-15", "NO3-N", 25)
	b.test("A", "2021-10-10", "NO3-N", 9)
	b.planting("A", 2021, "2020-11-20")
	b.harvest("A", "2021-04-02", 400)
	rows := inventedDays("2020-01-01", "2022-01-01")
	for i := range rows {
		rows[i].Date += southShift
	}
	b.Weather = rows
	b.Sort()
	w, err := NewWater(&dataset.Book{Config: dataset.Config{Latitude: ptr(-41.0)}}, &b.Records, Options{South: true})
	if err != nil {
		t.Fatal(err)
	}
	p := w.period(t, WinterPeriod, 2021)
	if p.NoWeather != nil || p.From != day("2021-04-15") || p.To != day("2021-10-10") {
		t.Fatalf("%+v", p)
	}
	if p.of(t, "NO3-N").Amount == nil || p.ET.Value > p.Rain.Value/2 {
		t.Errorf("%+v", p)
	}
}

// One bed of six seasons under its daily weather, all its figures.
func BenchmarkWater(b *testing.B) {
	p := patch(inventedDays("2019-03-01", "2024-10-15"))
	p.Sort()
	book := &dataset.Book{Config: dataset.Config{Latitude: ptr(43.0), Elevation: ptr(200.0)}}
	for b.Loop() {
		if _, err := NewWater(book, &p.Records, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}
