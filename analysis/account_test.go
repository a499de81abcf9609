package analysis

import (
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"carryover/analysis/fit"
	"carryover/dataset"
	"carryover/dataset/intake"
	"carryover/dataset/unit"
	"carryover/fixtures"
)

// demoRecords imports the demo book's sheets, batch by batch.
func demoRecords(t testing.TB) *dataset.Records {
	t.Helper()
	book, err := dataset.Create(t.TempDir()+"/book", dataset.Options{Grower: fixtures.DemoGrower, Units: "us", Invented: true})
	if err != nil {
		t.Fatal(err)
	}
	for _, b := range fixtures.DemoBatches() {
		when, err := time.Parse(time.RFC3339, b.When)
		if err != nil {
			t.Fatal(err)
		}
		var src []intake.Source
		for _, f := range b.Files {
			src = append(src, intake.Source{Name: f.Name, Data: f.Data})
		}
		in, err := intake.Read(src, intake.Options{Grower: fixtures.DemoGrower, Today: dataset.Date(when.Unix() / 86400)})
		if err != nil {
			t.Fatal(err)
		}
		batch := dataset.Batch{Records: &in.Records, Claims: in.Claims, Program: "test", Now: when}
		if _, err := book.Commit(batch); err != nil {
			t.Fatal(err)
		}
	}
	rec, err := book.Records()
	if err != nil {
		t.Fatal(err)
	}
	return rec
}

// plot is a bed of 1,000 sq ft, measured at 1.2 g/cm3, sampled to 6 in, with one
// pumpkin planted in 2024 and its vines hauled off.
func plot(b *book, change ...func(*dataset.Bed)) {
	b.bed("A", "2020-01-01", func(d *dataset.Bed) {
		d.Area, d.BulkDensity, d.DensitySource, d.DepthTo = ptr(1000*unit.M2PerSqFt), ptr(1.2), "measured", ptr(15.24)
		for _, c := range change {
			c(d)
		}
	})
}

func grow(b *book, change func(*dataset.Planting)) {
	p := dataset.Planting{Grower: "Ada", Bed: "A", Season: 2024, Crop: "pumpkin", Plants: ptr(int32(1)), SetOut: ptr(day("2024-05-15")),
		VinesCleared: ptr(day("2024-10-05")), VinesHauled: ptr(100.0), Source: b.source()}
	if change != nil {
		change(&p)
	}
	b.Plantings = append(b.Plantings, p)
}

// give spreads something; a figure of its analysis is one row.
func (b *book) give(date, material string, amount float64, u string, change ...func(*dataset.Amendment)) {
	a := dataset.Amendment{Grower: "Ada", Bed: "A", Date: day(date), DateBasis: dataset.ByDay, Material: material, Amount: &amount, Unit: u, ReportedAmount: &amount, ReportedUnit: u, Source: b.source()}
	for _, c := range change {
		c(&a)
	}
	b.Amendments = append(b.Amendments, a)
}

func (b *book) analysed(material, kind, component string, value float64, basis, origin string, from ...string) {
	m := dataset.Material{Grower: "Ada", Material: material, Kind: kind, Component: component, Value: value, Basis: basis, Origin: origin, Source: b.source()}
	if len(from) > 0 {
		m.From = ptr(day(from[0]))
	}
	b.Materials = append(b.Materials, m)
}

// account keeps the account of bed A in 2024.
func (b *book) account(t testing.TB, o AccountOptions, season ...int) *BedAccount {
	t.Helper()
	if o.AsOf == nil {
		o.AsOf = ptr(day("2024-12-31"))
	}
	b.Sort()
	r, err := Accounts(&b.Records, o)
	if err != nil {
		t.Fatal(err)
	}
	year := 2024
	if len(season) > 0 {
		year = season[0]
	}
	for i := range r.Accounts {
		if a := &r.Accounts[i]; a.Season == year {
			a.list = r.Doubts
			return a
		}
	}
	t.Fatalf("no account of %d", year)
	return nil
}

// line finds the only line of a nutrient whose term begins so.
func (x *BedAccount) line(t testing.TB, nutrient, kind, term string) *AccountLine {
	t.Helper()
	var at *AccountLine
	for i := range x.Lines {
		if l := &x.Lines[i]; l.Nutrient == nutrient && l.Kind == kind && strings.HasPrefix(l.Term, term) {
			if at != nil {
				t.Fatalf("several lines: %s %s %s", nutrient, kind, term)
			}
			at = l
		}
	}
	if at == nil {
		for _, l := range x.Lines {
			t.Log(l.Nutrient, l.Kind, l.Term)
		}
		t.Fatalf("no line %s %s %q", nutrient, kind, term)
	}
	return at
}

func (x *BedAccount) sum(t testing.TB, nutrient string) *NutrientAccount {
	t.Helper()
	for i := range x.Nutrients {
		if x.Nutrients[i].Nutrient == nutrient {
			return &x.Nutrients[i]
		}
	}
	t.Fatalf("no %s", nutrient)
	return nil
}

// doubted returns the account's doubts of a code.
func (x *BedAccount) doubted(code string) (texts []string) {
	for _, d := range x.list {
		if d.Code == code && slices.Contains(x.Doubts, d.ID) {
			texts = append(texts, d.Text)
		}
	}
	return texts
}

func exactly(v float64) Range95 { return Range95{v, v, v} }

// flesh is the main crop by the food table, without a range, and no uptake from
// below, so that figures can be checked by hand.
func flesh() AccountOptions {
	c := Content{}
	for id, v := range fleshOfPumpkin() {
		c[id] = exactly(v)
	}
	none := exactly(0)
	return AccountOptions{Crops: []Crop{{Name: "pumpkin", Fruit: c}}, DeepShare: &none}
}

const lb = unit.KgPerPound

// 1,000 lb of fruit of the food table's composition on 1000 sq ft.
func TestFruitOfFoodTable(t *testing.T) {
	b := &book{}
	plot(b)
	grow(b, nil)
	b.harvest("A", "2024-10-01", 1000*lb)
	a := b.account(t, flesh())
	t.Run("USDA composition, K in 6 in of 1.2 g/cm3", func(t *testing.T) {
		l := a.line(t, "K", Use, "fruit")
		if !near(l.Estimate.Value, 3.40*lb, 1e-9) || math.Abs(l.Equivalent.Value-90.77) > 0.05 || math.Abs(l.PerArea.Value-166) > 0.5 {
			t.Errorf("K: %v kg, %v mg/kg, %v kg/ha", l.Estimate.Value, l.Equivalent.Value, l.PerArea.Value)
		}
		if l.Source != "your own composition" {
			t.Errorf("source %q does not say that the composition is the grower's", l.Source)
		}
	})
	t.Run("USDA composition, N is protein over 6.25", func(t *testing.T) {
		if f := a.sum(t, "N").Fruit; !near(f.Value, 1.0/100*1000*lb/6.25, 1e-9) {
			t.Errorf("N %v", f.Value)
		}
	})
	t.Run("USDA composition, the rest in 6 in of 1.2 g/cm3", func(t *testing.T) {
		for id, ppm := range map[string]float64{"N": 42.7, "P": 11.7, "Ca": 5.6, "Mg": 3.2, "S": 3.0} {
			if l := a.line(t, id, Use, "fruit"); math.Abs(l.Equivalent.Value-ppm) > 0.06 {
				t.Errorf("%s: %v mg/kg, want %v", id, l.Equivalent.Value, ppm)
			}
		}
	})
}

func TestSourcedUptake(t *testing.T) {
	t.Run("New England Vegetable Management Guide, muskmelon: 11 tons take 95 N, 17 P2O5, 120 K2O lb", func(t *testing.T) {
		b := &book{}
		plot(b)
		b.Harvests = append(b.Harvests, dataset.Harvest{Grower: "Ada", Bed: "A", Date: day("2024-09-01"), DateBasis: dataset.ByDay, Crop: "muskmelon", Weight: 22000 * lb, Weighed: "scale", Source: b.source()})
		a := b.account(t, AccountOptions{})
		for id, want := range map[string]float64{"N": 95, "P": 17 / factorTo("P2O5"), "K": 120 / factorTo("K2O")} {
			if l := a.line(t, id, Use, "muskmelon"); !near(l.Estimate.Value, want*lb, 0.002) {
				t.Errorf("%s: %v lb, want %v", id, l.Estimate.Value/lb, want)
			}
		}
		if got := a.doubted("composition"); len(got) != 1 || !strings.Contains(got[0], "Mg in muskmelon") {
			t.Errorf("what the source does not print is not named: %v", got)
		}
	})
	t.Run("Mitova and Nenova 2021: whole plants of C. maxima, 270.4 K2O to 33.6-58.7 t/ha of fruit, are within fruit and vines", func(t *testing.T) {
		// Per t of fruit: 4.6-8.0 K2O, so 3.8-6.7 K. Ours: a fruit of 1,500 lb with its vines.
		b := &book{}
		plot(b)
		grow(b, nil)
		b.harvest("A", "2024-10-01", 1500*lb)
		a := b.account(t, AccountOptions{})
		up := a.sum(t, "K").Uptake
		if per := up.Value / (1.5 * lb); up.Low/(1.5*lb) > 6.7 || up.High/(1.5*lb) < 3.8 {
			t.Errorf("K %v kg/t", per)
		}
	})
	t.Run("Vidigal et al. 2007: most of Ca and Mg is in the vines, most of K and N in the fruit", func(t *testing.T) {
		b := &book{}
		plot(b)
		grow(b, nil)
		b.harvest("A", "2024-10-01", 2000*lb)
		a := b.account(t, AccountOptions{})
		for id, inVines := range map[string]bool{"Ca": true, "Mg": true, "K": false, "N": false} {
			fruit, vines := a.line(t, id, Use, "fruit"), a.line(t, id, Use, "vines hauled off")
			if (vines.Estimate.Value > fruit.Estimate.Value) != inVines {
				t.Errorf("%s: vines %v, fruit %v", id, vines.Estimate.Value, fruit.Estimate.Value)
			}
		}
	})
}

// A fruit of 6 % dry matter must lie within the ranges that the table's 8.4 % and
// the wettest 4.5 % span.
func TestWetterFruit(t *testing.T) {
	giant := Crops()[0].Fruit
	for id, table := range fleshOfPumpkin() {
		for _, dm := range []float64{4.5, 6.5, 8.5} {
			if v := table * dm / 8.4; v > giant[id].High || v < giant[id].Low*0.85 {
				t.Errorf("%s at %.1f %% dry matter: %v outside %v", id, dm, v, giant[id])
			}
		}
	}
}

func TestUsesAddUp(t *testing.T) {
	o := flesh()
	o.Crops[0].VinesDM = &Range95{3600, 3600, 3600}
	o.Crops[0].Vines = Content{}
	for id, r := range Crops()[0].Vines {
		o.Crops[0].Vines[id] = exactly(r.Mid)
	}
	deep := exactly(0.1)
	o.DeepShare = &deep
	b := &book{}
	plot(b)
	grow(b, func(p *dataset.Planting) { p.VinesHauled = ptr(30.0) })
	b.harvest("A", "2024-10-01", 700)
	b.harvest("A", "2024-10-02", 41)
	a := b.account(t, o)
	for _, n := range []string{"N", "P", "K", "Ca", "Mg", "S"} {
		fruit, gone, stayed := a.line(t, n, Use, "2 fruit"), a.line(t, n, Use, "vines hauled off (30 %)"), a.line(t, n, Within, "vines gone back")
		x := a.sum(t, n)
		if !near(fruit.Estimate.Value+gone.Estimate.Value+stayed.Estimate.Value, x.Uptake.Value, 1e-9) {
			t.Errorf("%s: fruit, vines hauled and vines left do not make the uptake", n)
		}
		if !near(gone.Estimate.Value/0.3, stayed.Estimate.Value/0.7, 1e-9) {
			t.Errorf("%s: 30 %% hauled: %v gone, %v left", n, gone.Estimate.Value, stayed.Estimate.Value)
		}
		if !near(fruit.Estimate.Value+gone.Estimate.Value, x.Uses.Value, 1e-9) {
			t.Errorf("%s: lines do not add up to the uses", n)
		}
		if deep := a.line(t, n, Source, "fetched by roots"); !near(deep.Estimate.Value, 0.1*x.Uptake.Value, 1e-9) {
			t.Errorf("%s: a tenth from below is %v of %v", n, deep.Estimate.Value, x.Uptake.Value)
		}
		if !near(x.Fruit.Value, 0.741*x.PerTonne.Value, 1e-9) {
			t.Errorf("%s: %v in 741 kg at %v per t", n, x.Fruit.Value, x.PerTonne.Value)
		}
	}
}

// Vines go by the ground, never by the fruit.
func TestVinesByGround(t *testing.T) {
	vines := func(kg, area float64) float64 {
		b := &book{}
		plot(b, func(d *dataset.Bed) { d.Area = &area })
		grow(b, nil)
		if kg > 0 {
			b.harvest("A", "2024-10-01", kg)
		}
		return b.account(t, AccountOptions{}).line(t, "Ca", Use, "vines hauled off").Estimate.Value
	}
	if x, y := vines(900, 90), vines(90, 90); x != y {
		t.Errorf("vines of a heavy fruit %v, of a light one %v", x, y)
	}
	if x, y := vines(900, 90), vines(900, 180); !near(2*x, y, 1e-9) {
		t.Errorf("twice the ground has %v, not twice %v", y, x)
	}
	if x, y := vines(900, 90), vines(0, 90); x != y {
		t.Errorf("a lost fruit leaves vines of %v, not %v", y, x)
	}
}

func TestDoubleAreaHalvesPerArea(t *testing.T) {
	at := func(area float64) *AccountLine {
		b := &book{}
		plot(b, func(d *dataset.Bed) { d.Area = &area })
		grow(b, nil)
		b.harvest("A", "2024-10-01", 600)
		return b.account(t, AccountOptions{}).line(t, "K", Use, "fruit")
	}
	x, y := at(80), at(160)
	if x.Estimate != y.Estimate {
		t.Error("what the fruit took depends on the area")
	}
	if !near(x.PerArea.Value, 2*y.PerArea.Value, 1e-9) || !near(x.Equivalent.High, 2*y.Equivalent.High, 1e-9) {
		t.Errorf("kg/ha %v and %v, mg/kg %v and %v", x.PerArea.Value, y.PerArea.Value, x.Equivalent.High, y.Equivalent.High)
	}
}

func TestLostFruit(t *testing.T) {
	lose := func(how string, change func(*dataset.Planting)) *BedAccount {
		b := &book{}
		plot(b)
		grow(b, func(p *dataset.Planting) {
			p.Pollinated, p.FruitLost, p.LostHow = ptr(day("2024-07-01")), ptr(day("2024-08-20")), how
			if change != nil {
				change(p)
			}
		})
		return b.account(t, AccountOptions{})
	}
	a := lose("split, hauled off", nil)
	l := a.line(t, "K", Use, "lost fruit taken off")
	// Forty days at 2-10 kg a day and 2.9 kg K a tonne.
	if l.Estimate.Low > 40*5*2.9e-3 || l.Estimate.High < 40*5*2.9e-3 || l.Estimate.High > 40*10*3.6e-3 {
		t.Errorf("lost fruit took %+v kg K", l.Estimate)
	}
	a = lose("rotted in the bed", nil)
	a.line(t, "K", Within, "lost fruit left on the bed")
	if got := a.sum(t, "K").Fruit; got != nil {
		t.Errorf("a fruit that rotted in the bed was weighed: %v", got)
	}
	a = lose("split at the stem", nil)
	gone, left := a.line(t, "K", Use, "lost fruit taken off"), a.line(t, "K", Within, "lost fruit left")
	if gone.Estimate.Low > 0.1*gone.Estimate.High || left.Estimate.Low > 0.1*left.Estimate.High {
		t.Errorf("not said whether hauled: taken %+v, left %+v", gone.Estimate, left.Estimate)
	}
	a = lose("split", func(p *dataset.Planting) { p.Pollinated, p.SetOut = nil, nil })
	if got := a.doubted("lost fruit"); len(got) != 1 || !strings.Contains(got[0], "took more than is shown") {
		t.Errorf("no way to weigh it: %v", got)
	}
}

func TestVinesNotRecorded(t *testing.T) {
	b := &book{}
	plot(b)
	grow(b, func(p *dataset.Planting) { p.VinesHauled = nil })
	b.harvest("A", "2024-10-01", 500)
	a := b.account(t, AccountOptions{})
	gone := a.line(t, "K", Use, "vines hauled off")
	if all := a.sum(t, "K").Uptake.Value - a.sum(t, "K").Fruit.Value; gone.Estimate.Low > 0.15*all || gone.Estimate.High < 0.8*all {
		t.Errorf("none to all of %v: %+v", all, gone.Estimate)
	}
	if len(a.doubted("vines")) != 1 {
		t.Error("no doubt of the vines")
	}
}

// K comes out of dead vines at once; the rest has not by an autumn test two days on.
func TestVinesAtTheAutumnTest(t *testing.T) {
	pending := func(cleared, n string) float64 {
		b := &book{}
		plot(b)
		grow(b, func(p *dataset.Planting) { p.VinesHauled, p.VinesCleared = ptr(0.0), ptr(day(cleared)) })
		b.harvest("A", "2024-08-20", 500)
		for _, x := range []string{"P", "K"} {
			b.test("A", "2024-04-20", x, 100)
			b.test("A", "2024-10-20", x, 90)
		}
		a := b.account(t, AccountOptions{})
		all := a.line(t, n, Within, "vines gone back").Estimate.Value
		for i := range a.Lines {
			if l := &a.Lines[i]; l.Nutrient == n && strings.HasPrefix(l.Term, "of these, still in the vines") {
				return l.Estimate.Value / all
			}
		}
		return 0
	}
	if k, p := pending("2024-10-18", "K"), pending("2024-10-18", "P"); p < 0.9 || k < 0.6 {
		t.Errorf("two days after clearing the vines hold %v of P, %v of K", p, k)
	}
	if k, p := pending("2024-10-02", "K"), pending("2024-10-02", "P"); k > 0.2 || p < 0.5 || p > 0.8 {
		t.Errorf("18 days after clearing the vines hold %v of K, %v of P", k, p)
	}
	if p := pending("2024-08-01", "P"); p > 0.05 {
		t.Errorf("11 weeks after clearing the vines hold %v of P", p)
	}
}

func TestBadHarvests(t *testing.T) {
	b := &book{}
	plot(b)
	grow(b, nil)
	b.harvest("A", "2024-10-01", 500)
	b.harvest("A", "2024-04-01", 300)
	a := b.account(t, AccountOptions{})
	if a.Fruit != 500 {
		t.Errorf("%v kg of fruit", a.Fruit)
	}
	if got := a.doubted("harvest before planting"); len(got) != 1 || !strings.Contains(got[0], "2024-04-01") || !strings.Contains(got[0], "too low") {
		t.Errorf("harvest before planting: %v", got)
	}
}

func TestOtherCropUnknown(t *testing.T) {
	b := &book{}
	plot(b)
	b.Harvests = append(b.Harvests, dataset.Harvest{Grower: "Ada", Bed: "A", Date: day("2024-09-01"), DateBasis: dataset.ByDay, Crop: "artichoke", Weight: 10, Weighed: "scale", Source: b.source()})
	a := b.account(t, AccountOptions{})
	if got := a.doubted("crop"); len(got) != 1 || !strings.Contains(got[0], "artichoke") {
		t.Errorf("%v", got)
	}
	o := AccountOptions{Crops: []Crop{{Name: "artichoke", Fruit: Content{"K": exactly(4)}}}}
	if l := b.account(t, o).line(t, "K", Use, "artichoke"); !near(l.Estimate.Value, 0.04, 1e-9) {
		t.Errorf("10 kg at 4 kg/t: %v", l.Estimate.Value)
	}
}

// No area: what is weighed stays, what is by area goes, and a doubt says so.
func TestNoArea(t *testing.T) {
	for _, area := range []*float64{nil, ptr(0.0)} {
		b := &book{}
		plot(b, func(d *dataset.Bed) { d.Area = area })
		grow(b, nil)
		b.harvest("A", "2024-10-01", 500)
		b.give("2024-05-01", "ammonium sulfate", 10, "kg")
		b.give("2024-05-02", "ammonium sulfate", 100, "kg/ha")
		a := b.account(t, AccountOptions{})
		l := a.line(t, "N", Use, "fruit")
		if l.PerArea != nil || l.Equivalent != nil || !(l.Estimate.Value > 0) {
			t.Errorf("%+v", l)
		}
		if n := a.line(t, "N", Source, "ammonium sulfate").Estimate.Value; !near(n, 2.1, 1e-3) {
			t.Errorf("10 kg at 21 %%: %v", n)
		}
		if got := a.doubted("area"); len(got) != 2 {
			t.Errorf("%v", got)
		}
	}
}

func TestRowsWithoutBed(t *testing.T) {
	b := &book{}
	plot(b)
	grow(b, nil)
	b.harvest("A", "2024-10-01", 500)
	b.harvest("", "2024-10-01", 600)
	a := b.account(t, AccountOptions{})
	if a.Fruit != 500 || !slices.ContainsFunc(a.list, func(d Doubt) bool { return d.Code == "no bed" }) {
		t.Errorf("%v kg, %v", a.Fruit, a.list)
	}
	if _, err := Accounts(&dataset.Records{}, AccountOptions{}); !errors.Is(err, ErrTooFew) {
		t.Errorf("an empty book: %v", err)
	}
	if _, err := Accounts(&b.Records, AccountOptions{Options: Options{Select: dataset.Selection{Beds: []string{"Z"}}}}); !errors.Is(err, ErrTooFew) {
		t.Errorf("no such bed: %v", err)
	}
}

// One bed's account alone is that of the report.
func TestAccountAlone(t *testing.T) {
	rec := demoRecords(t)
	asOf, _ := lastRecord(rec)
	o := AccountOptions{Options: Options{AsOf: &asOf}}
	r, err := Accounts(rec, o)
	if err != nil {
		t.Fatal(err)
	}
	for h := range rec.Histories(dataset.Selection{Beds: []string{"Barn"}}) {
		one := Account(h, 2023, AccountOptions{Options: o.Options, Materials: rec.Materials, Water: rec.WaterTests})
		for i := range r.Accounts {
			a := &r.Accounts[i]
			if a.Bed != "Barn" || a.Season != 2023 {
				continue
			}
			for j := range a.Lines {
				x, y := a.Lines[j], one.Lines[j]
				x.Doubts, y.Doubts = nil, nil
				if asJSON(t, x) != asJSON(t, y) {
					t.Errorf("%s\n%s", asJSON(t, x), asJSON(t, y))
				}
			}
			if len(one.Lines) != len(a.Lines) || len(one.DoubtList()) != len(a.Doubts) {
				t.Errorf("%d lines and %d doubts alone, %d and %d in the report", len(one.Lines), len(one.DoubtList()), len(a.Lines), len(a.Doubts))
			}
		}
	}
	// A bed of which only a planting is known.
	alone := Account(&dataset.BedHistory{Grower: "Ada", Name: "A", Plantings: []dataset.Planting{{Grower: "Ada", Bed: "A", Season: 2024, Crop: "pumpkin"}}}, 2024, AccountOptions{})
	if len(alone.Doubts) == 0 {
		t.Error("no doubts of a bed without area, depth or tests")
	}
}

// South of the equator a season bears the year of its harvest, and what is spread
// in spring, months before, is of it.
func TestSouthernAccount(t *testing.T) {
	b := &book{}
	plot(b)
	grow(b, func(p *dataset.Planting) { p.SetOut, p.VinesCleared = ptr(day("2023-11-15")), ptr(day("2024-04-20")) })
	b.harvest("A", "2024-04-01", 500)
	b.give("2023-10-20", "ammonium sulfate", 10, "kg")
	b.give("2024-05-20", "ammonium sulfate", 40, "kg")
	a := b.account(t, AccountOptions{Options: Options{South: true, AsOf: ptr(day("2024-06-30"))}})
	if n := a.line(t, "N", Source, "ammonium sulfate").Estimate.Value; a.Fruit != 500 || !near(n, 2.1, 1e-3) {
		t.Errorf("%v kg of fruit, %v kg N", a.Fruit, n)
	}
}

// Rows come sorted; where they stood in the sheets changes nothing.
func TestRowOrder(t *testing.T) {
	b := &book{Records: *demoRecords(t)}
	want := ""
	r := rand.New(rand.NewPCG(1, 2))
	for range 3 {
		rec := &b.Records
		r.Shuffle(len(rec.Amendments), func(i, j int) { rec.Amendments[i], rec.Amendments[j] = rec.Amendments[j], rec.Amendments[i] })
		r.Shuffle(len(rec.Materials), func(i, j int) { rec.Materials[i], rec.Materials[j] = rec.Materials[j], rec.Materials[i] })
		r.Shuffle(len(rec.Harvests), func(i, j int) { rec.Harvests[i], rec.Harvests[j] = rec.Harvests[j], rec.Harvests[i] })
		r.Shuffle(len(rec.WaterTests), func(i, j int) { rec.WaterTests[i], rec.WaterTests[j] = rec.WaterTests[j], rec.WaterTests[i] })
		r.Shuffle(len(rec.Covers), func(i, j int) { rec.Covers[i], rec.Covers[j] = rec.Covers[j], rec.Covers[i] })
		rec.Sort()
		x, err := Accounts(rec, AccountOptions{})
		if err != nil {
			t.Fatal(err)
		}
		text, err := json.Marshal(x)
		if err != nil {
			t.Fatal(err)
		}
		if want != "" && string(text) != want {
			t.Fatal("the order of rows in the sheets changes the accounts")
		}
		want = string(text)
	}
}

// The points of an account against independent draws: a guessed weight times a
// composition, plus vines of unknown fate.
func TestAccountAgainstMonteCarlo(t *testing.T) {
	b := &book{}
	plot(b)
	grow(b, func(p *dataset.Planting) { p.VinesHauled = nil })
	b.harvest("A", "2024-10-01", 500)
	b.Harvests[0].Weighed = "guessed"
	got := b.account(t, AccountOptions{}).sum(t, "K").Uses
	r := rand.New(rand.NewPCG(7, 8))
	piece := func(x Range95) float64 {
		z := r.NormFloat64()
		if z < 0 {
			return max(x.Mid+z*(x.Mid-x.Low)/z95, 0)
		}
		return x.Mid + z*(x.High-x.Mid)/z95
	}
	c := Crops()[0]
	area := 1000 * unit.M2PerSqFt / 1e4
	draws := make([]float64, 400000)
	for i := range draws {
		draws[i] = piece(within(500, guessedOff))*piece(c.Fruit["K"])/1000 + piece(*c.VinesDM)*area*piece(c.Vines["K"])/100*r.Float64()
	}
	slices.Sort(draws)
	at := func(p float64) float64 { return draws[int(p*float64(len(draws)))] }
	half := (at(0.95) - at(0.05)) / 2
	for _, x := range [][2]float64{{got.Low, at(0.05)}, {got.Value, at(0.5)}, {got.High, at(0.95)}} {
		if math.Abs(x[0]-x[1]) > 0.03*half {
			t.Errorf("%v, %v by chance (half-width %v)", x[0], x[1], half)
		}
	}
}

// Ranges remembered and cells sorted give what a plain range gives.
func TestEstimateIsRange(t *testing.T) {
	a := &accounting{sorted: fit.NewQuantity(), usual: usualShapes(), shapes: shapes{}}
	r := rand.New(rand.NewPCG(3, 4))
	for k := range 200 {
		q := fit.NewQuantity()
		switch k % 5 {
		case 0:
			q = Range95{1, 2, 2 + 5*r.Float64()}.draw(q, k%fit.Dimensions)
		case 1:
			q.Uniform(k%fit.Dimensions, -r.Float64(), r.Float64())
		case 2:
			q.LogNormal(k%fit.Dimensions, 1, 3)
		case 3:
			q.Constant(r.NormFloat64())
		case 4:
			q.Scale(Range95{1, 2, 4}.draw(q, k%7), 1e-6+r.Float64())
		}
		e := a.estimate(q, "", 0, "")
		m, low, high := q.Range(RangeLevel, nil)
		if !near(e.Value, m, 1e-9) || !near(e.Low, low, 1e-9) || !near(e.High, high, 1e-9) {
			t.Fatalf("case %d: %v %v %v, want %v %v %v", k, e.Value, e.Low, e.High, m, low, high)
		}
	}
}

func TestAsOf(t *testing.T) {
	b := &book{}
	plot(b)
	grow(b, nil)
	b.harvest("A", "2024-10-01", 500)
	b.give("2024-05-01", "ammonium sulfate", 10, "kg")
	b.give("2024-07-01", "ammonium sulfate", 10, "kg")
	a := b.account(t, AccountOptions{Options: Options{AsOf: ptr(day("2024-06-01"))}})
	if n := a.line(t, "N", Source, "ammonium sulfate").Estimate.Value; !near(n, 2.1, 1e-3) || a.Fruit != 0 {
		t.Errorf("in June: %v kg N, %v kg of fruit", n, a.Fruit)
	}
	a.line(t, "K", Within, "vines standing on the bed")
}

func TestNoUnexplainedNitrogen(t *testing.T) {
	r, err := Accounts(demoRecords(t), AccountOptions{Options: Options{US: true}})
	if err != nil {
		t.Fatal(err)
	}
	for i := range r.Accounts {
		n := r.Accounts[i].sum(t, "N")
		if n.Left != nil || n.TestChange != nil || n.Buffering != nil {
			t.Fatalf("%s %d has an end for N", r.Accounts[i].Bed, r.Accounts[i].Season)
		}
	}
	if text := asJSON(t, r); strings.Contains(text, "unexplained") || strings.Contains(text, "leached") || strings.Contains(text, "ledger") {
		t.Error("a word that must not be said")
	}
}

// The invented book's figures as a grower would look at them.
func TestDemoAccounts(t *testing.T) {
	r, err := Accounts(demoRecords(t), AccountOptions{Options: Options{US: true}})
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Accounts) != 28 {
		t.Errorf("%d accounts of three beds over eight seasons and one over four", len(r.Accounts))
	}
	for i := range r.Accounts {
		a := &r.Accounts[i]
		a.list = r.Doubts
		for _, code := range []string{"material", "typical", "area", "crop", "above 100", "moisture", "basis", "amount"} {
			if got := a.doubted(code); got != nil {
				t.Errorf("%s %d: %v", a.Bed, a.Season, got)
			}
		}
		n, k := a.sum(t, "N"), a.sum(t, "K")
		// lb/1000 sq ft: a fed giant gets two to nine of N all told.
		if per := n.Sources.Value / lb / (*a.Area / unit.M2PerSqFt / 1000); per < 2 || per > 9 {
			t.Errorf("%s %d: N sources %v lb/1000 sq ft", a.Bed, a.Season, per)
		}
		if a.Fruit > 0 {
			if per := k.Fruit.Value / a.Fruit * 1000; per < 2.7 || per > 3.0 {
				t.Errorf("%s %d: %v kg K per t", a.Bed, a.Season, per)
			}
		}
		for j := range a.Lines {
			if l := &a.Lines[j]; !(l.Estimate.Low <= l.Estimate.Value && l.Estimate.Value <= l.Estimate.High) || l.Source == "" {
				t.Errorf("%s %d: %+v", a.Bed, a.Season, l)
			}
		}
		for _, x := range a.Nutrients {
			for _, s := range x.Text {
				if strings.Contains(s, "NaN") || strings.Contains(s, "%!") {
					t.Errorf("%s %d: %s", a.Bed, a.Season, s)
				}
			}
		}
	}
	find := func(bed string, season int) *BedAccount {
		n := slices.IndexFunc(r.Accounts, func(a BedAccount) bool { return a.Bed == bed && a.Season == season })
		return &r.Accounts[n]
	}
	// The fruit that split in August 2022.
	if got := find("Creek", 2022).doubted("lost fruit"); len(got) != 1 {
		t.Errorf("Creek 2022: %v", got)
	}
	contains(t, find("Barn", 2026).Took(true), "1,721 lb of fruit took about 2.8 (1.9-3.6) lb N, 0.60 (0.39-0.82) lb P, 5.0 (3.7-6.0) lb K off the bed.")
	contains(t, find("Barn", 2026).Took(false), "781 kg of fruit took about 1.2 (0.9-1.6) kg N")
	if got := find("Creek", 2022).Took(true); got != "" {
		t.Errorf("nothing was weighed: %s", got)
	}
	// Ten weekly feeds of 1 lb at 30 % K2O.
	if l := find("Barn", 2025).line(t, "K", Source, "soluble feed 15-5-30 (10 times)"); !near(l.Estimate.Value, 10*0.3*lb/factorTo("K2O"), 0.001) {
		t.Errorf("ten feeds: %v lb K", l.Estimate.Value/lb)
	}
	// The gypsum that was withdrawn.
	for _, l := range find("Creek", 2024).Lines {
		if l.Term == "gypsum" {
			t.Error("gypsum that never went on is counted")
		}
	}
}

// Whatever the sheets hold, an account is kept, its ranges are in order and its
// words are whole.
func TestAccountOfAnything(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 12))
	pick := func(list ...string) string { return list[r.IntN(len(list))] }
	maybe := func(v float64) *float64 {
		if r.IntN(4) == 0 {
			return nil
		}
		return &v
	}
	date := func() dataset.Date { return day("2022-06-01") + dataset.Date(r.IntN(1000)) }
	dateOr := func() *dataset.Date {
		if d := date(); r.IntN(3) > 0 {
			return &d
		}
		return nil
	}
	kept := 0
	for range 150 {
		b := &book{}
		for range r.IntN(3) {
			b.bed("A", "2022-01-01", func(d *dataset.Bed) {
				d.Area, d.DepthTo, d.BulkDensity, d.DensitySource = maybe(100*r.Float64()), maybe(60*r.Float64()), maybe(2*r.Float64()), pick("measured", "assumed", "")
			})
		}
		for range r.IntN(4) {
			b.Plantings = append(b.Plantings, dataset.Planting{Grower: "Ada", Bed: "A", Season: int32(2022 + r.IntN(4)), Crop: pick("pumpkin", "", "rock garden", "summer squash"), SetOut: dateOr(), Pollinated: dateOr(),
				FeedsComplete: pick("", "no", "yes"), VinesCleared: dateOr(), VinesHauled: maybe(120*r.Float64() - 10), FruitLost: dateOr(), LostHow: pick("", "hauled", "left to rot"), Source: b.source()})
		}
		for range r.IntN(5) {
			b.Harvests = append(b.Harvests, dataset.Harvest{Grower: "Ada", Bed: "A", Date: date(), DateBasis: dataset.ByMonth, Crop: pick("", "pumpkin", "tomato", "grass"), Weight: 900 * r.Float64() * float64(r.IntN(2)), Weighed: pick("scale", "taped", "guessed"), Source: b.source()})
		}
		names := []string{"compost", "urea", "lime", "horse manure", "Bloom 5-10-20", "dust", "bone meal", "sulfur"}
		for range r.IntN(12) {
			b.give("2022-01-01", pick(names...), 50*r.Float64(), pick("kg", "kg/ha", "L", "L/ha", "m3", "cm", ""), func(a *dataset.Amendment) {
				a.Date, a.Until, a.MixedDepth = date(), dateOr(), maybe(40*r.Float64())
				if r.IntN(3) == 0 {
					a.Every = ptr(int32(r.IntN(20)))
				}
				if r.IntN(6) == 0 {
					a.Amount = nil
				}
			})
		}
		for range r.IntN(12) {
			b.analysed(pick(names...), pick("", "compost", "fertilizer", "manure", "lime"), pick("N", "P", "K", "Ca", "CCE", "moisture", "OM", "density", "C:N"), 110*r.Float64(), pick("", "dry", "as-is", "label"), pick("", "lab", "label", "typical"))
		}
		for range r.IntN(3) {
			b.Covers = append(b.Covers, dataset.Cover{Grower: "Ada", Bed: "A", Sown: date(), SownBasis: dataset.ByDay, Ended: dateOr(), Species: pick("rye", "vetch and oats", "lava"), Biomass: maybe(9000 * r.Float64()), Source: b.source()})
		}
		for range r.IntN(10) {
			b.test("A", date().String(), pick("P", "K", "OM", "CEC", "Ca"), 1+200*r.Float64()*r.Float64(), layer(0, 5+40*r.Float64()))
		}
		b.Weather = append(b.Weather, dataset.Weather{Grower: "Ada", Bed: "A", Date: date(), Period: "month", Irrigation: maybe(80), IrrigationL: maybe(500), Source: b.source()})
		b.WaterTests = append(b.WaterTests, dataset.WaterTest{Grower: "Ada", Water: "well", Date: date(), Analyte: pick("NO3-N", "Ca", "alkalinity"), Value: 90 * r.Float64(), Unit: "mg/L", Qualifier: pick("", "<"), Source: b.source()})
		b.Sort()
		x, err := Accounts(&b.Records, AccountOptions{Options: Options{US: r.IntN(2) == 0, South: r.IntN(2) == 0}})
		if err != nil {
			if errors.Is(err, ErrTooFew) {
				continue
			}
			t.Fatal(err)
		}
		for i := range x.Accounts {
			a := &x.Accounts[i]
			check := func(e *Estimate, what string) {
				if e != nil && !(e.Low <= e.Value && e.Value <= e.High) {
					t.Fatalf("%d %s: %v (%v to %v)", a.Season, what, e.Value, e.Low, e.High)
				}
			}
			for j := range a.Lines {
				l := &a.Lines[j]
				check(&l.Estimate, l.Term)
				check(l.PerArea, l.Term)
				check(l.Equivalent, l.Term)
				if l.Kind == Use && l.Estimate.Low < 0 || l.Term == "" || l.Source == "" {
					t.Fatalf("%+v", l)
				}
			}
			for _, n := range a.Nutrients {
				for _, e := range []*Estimate{&n.Sources, &n.Uses, n.Left, n.Fruit, n.Uptake, n.PerTonne, n.TestChange} {
					check(e, n.Nutrient)
				}
				if text := strings.Join(n.Text, " "); strings.Contains(text, "%!") || strings.Contains(text, "NaN") || strings.Contains(text, "Inf") {
					t.Fatal(text)
				}
			}
		}
		if _, err := json.Marshal(x); err != nil {
			t.Fatal(err)
		}
		kept += len(x.Accounts)
	}
	if kept < 200 {
		t.Errorf("only %d accounts kept", kept)
	}
}

// The demo book's accounts, after the points are made; wanted below 30 ms.
func BenchmarkAccounts(b *testing.B) {
	rec := demoRecords(b)
	for b.Loop() {
		if _, err := Accounts(rec, AccountOptions{}); err != nil {
			b.Fatal(err)
		}
	}
}

// One account of one bed, without making its history.
func BenchmarkAccount(b *testing.B) {
	rec := demoRecords(b)
	d := &doubts{}
	asOf, _ := lastRecord(rec)
	o := AccountOptions{Materials: rec.Materials, Water: rec.WaterTests}
	work, _ := worker(rec, o.Options, asOf)
	for h := range rec.Histories(dataset.Selection{Beds: []string{"Barn"}}) {
		a := newAccounting(work(h, d), &o, indexMaterials(o.Materials))
		for b.Loop() {
			a.account(2024)
		}
	}
}
