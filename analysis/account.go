package analysis

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"

	"carryover/analysis/fit"
	"carryover/dataset"
	"carryover/dataset/unit"
)

// Kinds of an account's lines.
const (
	Source = "source" // came to the layer that is sampled
	Use    = "use"    // left it
	Within = "within" // moved in the bed, or waits in it; neither source nor use
)

// LimeValue is the account of what inputs do to pH, in kg of CaCO3.
const LimeValue = "CaCO3"

// nutrients are the elements an account is kept of, as tables show them.
var nutrients = []string{"N", "P", "K", "Ca", "Mg", "S", "B", "Zn"}

// AccountReport holds the accounts of a book.
type AccountReport struct {
	Format   string       `json:"format"` // carryover.account/1
	Book     string       `json:"book"`
	Invented bool         `json:"invented"` // a demo book: nothing in it is real
	AsOf     dataset.Date `json:"as_of"`
	Accounts []BedAccount `json:"accounts"`
	Doubts   []Doubt      `json:"doubts"`
	Cautions []string     `json:"cautions"`
}

// BedAccount is what came to one bed and left it for one season: from the harvest
// before to the season's own.
type BedAccount struct {
	Grower    string            `json:"grower"`
	Bed       string            `json:"bed"`
	Season    int               `json:"season"`
	Area      *float64          `json:"area_m2"`
	Depth     *float64          `json:"sampled_depth_cm"`
	Density   *Density          `json:"bulk_density,omitempty"`
	Tests     *[2]dataset.Date  `json:"tests,omitempty"` // spring and autumn, or two autumns of a bed tested once a year
	Fruit     float64           `json:"fruit_kg"`        // of the main crop, weighed
	Lines     []AccountLine     `json:"lines"`
	Nutrients []NutrientAccount `json:"nutrients"`
	Doubts    []int             `json:"doubts,omitempty"`

	list []Doubt
}

// AccountLine is one source or use of one nutrient.
type AccountLine struct {
	Bed      string   `json:"bed"`
	Season   int      `json:"season"`
	Nutrient string   `json:"nutrient"`
	Kind     string   `json:"kind"` // source, use, within
	Term     string   `json:"term"`
	Estimate Estimate `json:"estimate"` // kg of the element on the bed
	// PerArea is the same in kg/ha; nil: the bed has no area.
	PerArea *Estimate `json:"kg_ha,omitempty"`
	// Equivalent is the same as mg/kg of the sampled layer: a mass, not the change a
	// test will show. Nil where it cannot be told, and within the bed.
	Equivalent *Estimate `json:"equivalent_mg_kg,omitempty"`
	Source     string    `json:"source"`
	Doubts     []int     `json:"doubts,omitempty"`
}

// NutrientAccount sums one nutrient's lines up.
type NutrientAccount struct {
	Nutrient string   `json:"nutrient"`
	Sources  Estimate `json:"sources"` // kg on the bed
	Uses     Estimate `json:"uses"`
	// Left is sources less uses; nil for N, of which no end is expected.
	Left *Estimate `json:"left,omitempty"`
	// Fruit is the element in the weighed main crop, PerTonne that in one t of it
	// (kg per t is lb per 1,000 lb), and Uptake what the crops took up in all, vines
	// that stayed among it.
	Fruit    *Estimate `json:"fruit,omitempty"`
	PerTonne *Estimate `json:"fruit_kg_per_t,omitempty"`
	Uptake   *Estimate `json:"uptake,omitempty"`
	// Buffering and TestChange are known of P and K: what all this should do to the
	// soil test between Tests, or over the season where there are no two.
	Buffering  *Buffering `json:"buffering,omitempty"`
	TestChange *Estimate  `json:"test_change_mg_kg,omitempty"`
	Text       []string   `json:"text"`
}

// AccountOptions of an account. What they leave out is taken from published and
// remembered figures.
type AccountOptions struct {
	Options
	Materials []dataset.Material  // labels and analyses; of other growers too
	Water     []dataset.WaterTest // reports of irrigation water
	Crops     []Crop              // the grower's own compositions: they win
	DeepShare *Range95            // the grower's own share of uptake from below the sampled depth, 0 to 1
	Nutrients []string            // nil: all, and the lime value
}

// Dimensions of the points an account draws from, below those of water and
// leaching (bucket.go). Within one nutrient, terms that meet have dimensions of
// their own. All labels and reports err together, and so do all amounts: their
// sums have ranges rather too wide than too narrow.
const (
	drawSoil = iota
	drawFruit
	drawVines
	drawVineContent
	drawHauled
	drawWeight
	drawDeep
	drawBack
	drawOM
	drawOMN
	drawOMRate
	drawWater
	drawWaterAmount
	drawCoverN
	drawCoverDM
	drawBuffer
	drawFree
	drawMoisture
	drawDensity
	drawAmount
	drawContent = fit.Dimensions - 1
	drawMeal    = drawBack
	drawLater   = drawCoverN // covers give N, where later seasons' shares are no source
	drawBasis   = drawCoverDM
	drawLost    = drawWeight
	drawLostOut = drawHauled
)

// accounting is one bed, ready for the accounts of its seasons.
type accounting struct {
	*bedWork
	o         *AccountOptions
	known     []Crop
	typical   []TypicalMaterial
	materials map[materialKey][]*dataset.Material
	levels    []Level
	observed  []Change
	slipped   map[int]bool // seasons of which a test may be in another unit
	cec       float64      // cmolc/kg; 0: not known
	seen      map[string][]evidence

	pool    []fit.Quantity
	used    int
	scratch fit.Quantity
	sorted  fit.Quantity
	usual   shapes // read only
	shapes  shapes // of the account at hand
}

// quantity hands out a quantity that lives until reset.
func (a *accounting) quantity() fit.Quantity {
	if a.used == len(a.pool) {
		a.pool = append(a.pool, fit.NewQuantity())
	}
	a.used++
	return a.pool[a.used-1]
}

// reset begins a new account.
func (a *accounting) reset() {
	a.used = 0
	clear(a.shapes)
}

// seasonWork is one season of a bed.
type seasonWork struct {
	*accounting
	season       int
	quiet        bool // only points are wanted: no estimates, no doubts
	area         float64
	depth        float64      // cm sampled; 0: not known
	soil         fit.Quantity // kg/ha in the sampled layer; nil: not known
	perSoil      fit.Quantity // mg/kg of the layer that 1 kg on the bed is
	paired       bool
	yearly       bool         // the two tests are those of two autumns
	from, to     dataset.Date // of the two tests
	springDay    dataset.Date
	crops        []picked
	spread0      []*spreading
	spreadBefore [][]*spreading
	feeds        int
	left         []string
	rest         map[string]*tally
	out          BedAccount
	mine         []int
}

// tally gathers one nutrient point by point.
type tally struct {
	source, use, test    fit.Quantity
	fruit, tonne, uptake *Estimate
}

// doubt of a season; quiet work tells none.
func (w *seasonWork) doubt(code, text string, rows ...RowRef) int {
	if w.quiet {
		return 0
	}
	id := w.bedWork.doubt(code, text, rows...)
	w.mine = addRef(w.mine, id)
	return id
}

// Account keeps the account of one bed for one season. Labels, analyses and water
// reports come with the options. It never fails: what is missing is left out, and
// a doubt says what that costs.
func Account(h *dataset.BedHistory, season int, o AccountOptions) BedAccount {
	d := &doubts{}
	rec := &dataset.Records{SoilTests: h.Tests, Amendments: h.Amendments, Harvests: h.Harvests, Tillage: h.Tillage, Covers: h.Covers, Materials: o.Materials}
	asOf, ok := lastRecord(rec)
	if o.AsOf != nil {
		asOf, ok = *o.AsOf, true
	}
	if !ok { // nothing but plantings: look back from the end of the season
		asOf = Calendar{South: o.South}.day(season, monthDay{12, 31})
	}
	work, _ := worker(rec, o.Options, asOf)
	a := newAccounting(work(h, d), &o, indexMaterials(o.Materials))
	out := a.account(season)
	out.list = d.list
	return out
}

// DoubtList returns the doubts that the account's numbers point at, of an account
// made alone; those of a report stand in the report.
func (x *BedAccount) DoubtList() []Doubt { return x.list }

// Accounts keeps the accounts of all beds that are selected, season by season up
// to that of the last record. Labels and water reports are those of the records,
// after those of the options.
//
// The error wraps ErrTooFew where there is nothing to account for.
func Accounts(rec *dataset.Records, o AccountOptions) (*AccountReport, error) {
	asOf, ok := lastRecord(rec)
	if o.AsOf != nil {
		asOf = *o.AsOf
	} else if !ok {
		return nil, fmt.Errorf("%w: the book holds no soil test, amendment or harvest yet: fill in a sheet and run: carryover import", ErrTooFew)
	}
	o.Materials = append(slices.Clone(o.Materials), rec.Materials...)
	o.Water = append(slices.Clone(o.Water), rec.WaterTests...)
	r := &AccountReport{
		Format: "carryover.account/1", Book: o.Book, Invented: o.Invented, AsOf: asOf, Accounts: []BedAccount{}, Doubts: []Doubt{},
		Cautions: []string{
			"Estimates come from published general methods. Confirm rates with your lab and your local extension service.",
			"Raw manure carries pathogens, nitrate reaches wells, and local rules may limit phosphorus.",
		},
	}
	d := &doubts{}
	work, _ := worker(rec, o.Options, asOf)
	index := indexMaterials(o.Materials)
	beds := 0
	for i := range rec.Harvests {
		if x := &rec.Harvests[i]; x.Bed == "" {
			d.add("", "no bed", fmt.Sprintf("a weight of %s names no bed: it is in no account", x.Date), refOf(x.Source))
		}
	}
	for h := range rec.Histories(o.Select) {
		beds++
		a := newAccounting(work(h, d), &o, index)
		for _, y := range a.seasons() {
			r.Accounts = append(r.Accounts, a.account(y))
		}
	}
	if beds == 0 {
		return nil, fmt.Errorf("%w: no such bed in the book", ErrTooFew)
	}
	slices.SortStableFunc(r.Accounts, func(x, y BedAccount) int {
		if c := natural(x.Grower, y.Grower); c != 0 {
			return c
		}
		return natural(x.Bed, y.Bed)
	})
	r.Doubts = append(r.Doubts, d.list...)
	for i := range r.Doubts {
		slices.SortStableFunc(r.Doubts[i].Beds, natural)
	}
	return r, nil
}

func newAccounting(b *bedWork, o *AccountOptions, index map[materialKey][]*dataset.Material) *accounting {
	a := &accounting{bedWork: b, o: o, known: Crops(), typical: TypicalMaterials(), materials: index,
		scratch: fit.NewQuantity(), sorted: fit.NewQuantity(), slipped: map[int]bool{}, usual: usualShapes(), shapes: shapes{}}
	// What the tests give rise to is told by the review: here they only serve.
	told := b.doubts
	b.doubts = &doubts{}
	a.levels = b.levels()
	// The analytes that an account asks of, and those that tell of another soil.
	asked := []string{"P", "K", "OM", "Ca", "Mg", "Zn"}
	r := BedReview{Levels: slices.DeleteFunc(slices.Clone(a.levels), func(l Level) bool { return !slices.Contains(asked, l.Analyte) })}
	r.Changes, _ = b.changes(r.Levels)
	b.unlikeSamples(&r)
	a.observed = r.Changes
	for i := range a.observed {
		c := &a.observed[i]
		for _, id := range c.Doubts {
			if b.doubts.list[id-1].Code == "slip" {
				a.slipped[c.Season] = true
			}
		}
	}
	if list := b.estimatedCECs(a.levels); len(list) > 0 && list[len(list)-1].CEC != nil {
		a.cec = list[len(list)-1].CEC.Value
	}
	for i := range a.levels {
		if l := &a.levels[i]; l.Analyte == "CEC" && l.Top() && l.Qualifier == "" {
			a.cec = l.Estimate.Value
		}
	}
	b.doubts, b.refs = told, nil
	a.seen = a.evidences()
	return a
}

func (a *accounting) shows(n string) bool {
	return a.o.Nutrients == nil || slices.Contains(a.o.Nutrients, n)
}

// seasons lists those of which anything is recorded but tests.
func (a *accounting) seasons() (out []int) {
	last := a.cal.SeasonOf(a.asOf)
	see := func(y int) {
		if y <= last && !slices.Contains(out, y) {
			out = append(out, y)
		}
	}
	h := a.history
	for i := range h.Plantings {
		if p := &h.Plantings[i]; p.SetOut == nil || *p.SetOut <= a.asOf {
			see(int(p.Season))
		}
	}
	for i := range h.Harvests {
		if h.Harvests[i].Date <= a.asOf {
			see(a.cal.SeasonOf(h.Harvests[i].Date))
		}
	}
	for i := range h.Amendments {
		if x := &h.Amendments[i]; x.Date <= a.asOf {
			see(a.cal.inputSeason(x.Date, a.seasonFacts))
		}
	}
	slices.Sort(out)
	return out
}

// season sets one season out to be worked on.
func (a *accounting) season(season int, quiet bool) *seasonWork {
	w := &seasonWork{accounting: a, season: season, quiet: quiet, rest: map[string]*tally{}}
	w.out = BedAccount{Grower: a.history.Grower, Bed: a.history.Name, Season: season, Lines: []AccountLine{}, Nutrients: []NutrientAccount{}}
	facts := a.seasonFacts(season)
	w.springDay = a.cal.day(season, springEnds)
	if facts.setOut != nil {
		w.springDay = *facts.setOut
	}
	d := a.descriptionAt(w.springDay)
	if d != nil && d.Area != nil && *d.Area > 0 {
		w.area, w.out.Area = *d.Area, d.Area
	} else {
		w.doubt("area", "the bed has no area: nothing can be said by area or in terms of the soil test, and what is given by area is not counted; vines, covers and organic matter neither")
	}
	for i := range a.observed {
		if c := &a.observed[i]; c.Season == season && (c.Analyte == "P" || c.Analyte == "K") && bounds(c) {
			w.paired, w.from, w.to, w.yearly = true, c.From.Date, c.To.Date, c.Kind == Year
			w.out.Tests = &[2]dataset.Date{c.From.Date, c.To.Date}
			break
		}
	}
	w.sampled(d)
	w.gather()
	w.spread0 = w.spreadings(season)
	if !quiet {
		w.checkCompost()
	}
	for lag := 1; lag <= 2; lag++ {
		w.spreadBefore = append(w.spreadBefore, w.spreadings(season-lag))
	}
	return w
}

// bounds reports whether a change spans one season's account: from spring to
// autumn, or from autumn to autumn where the bed is tested once a year.
func bounds(c *Change) bool {
	return c.Kind == Drawdown || c.Kind == Year && c.To.Timing == Autumn && c.From.Season == c.To.Season-1
}

// sampled finds the sampled depth and the soil in it.
func (w *seasonWork) sampled(d *dataset.Bed) {
	for i := range w.levels {
		l := &w.levels[i]
		if l.DepthTo == nil || !l.Top() || l.Analyte != "P" && l.Analyte != "K" && w.depth > 0 {
			continue
		}
		if w.depth == 0 || l.Season <= w.season {
			w.depth = *l.DepthTo
		}
	}
	if w.depth == 0 && d != nil && d.DepthTo != nil {
		w.depth = *d.DepthTo
		if d.DepthFrom != nil {
			w.depth -= *d.DepthFrom
		}
	}
	if w.depth <= 0 {
		w.depth = 0
		w.doubt("no depth", "the sampled depth is not known: nothing can be said in terms of the soil test")
		return
	}
	w.out.Depth = &w.depth
	rho := w.density(w.springDay, w.omNear(w.levels, w.springDay))
	w.out.Density = &rho
	if rho.Source == "assumed" {
		w.doubt("density", fmt.Sprintf("bulk density is assumed at %.1f g/cm3: a dried core of known volume would settle it", rho.Value))
	}
	w.soil, w.perSoil = w.quantity(), w.quantity()
	for i, z := range fit.NormalPoints(drawSoil) {
		v := rho.Value
		if z < 0 {
			v += z / z90 * (rho.Value - rho.Low)
		} else {
			v += z / z90 * (rho.High - rho.Value)
		}
		w.soil[i] = max(v, 0.05) * w.depth * 1e5 // g/cm3 x cm = 100 t/ha
		w.perSoil[i] = 1e10 / w.area / w.soil[i]
	}
}

// add books a term of kg on the bed, made from n records. effect is how much of it,
// with its sign, falls between the season's two tests.
func (w *seasonWork) add(nutrient, kind, term string, q fit.Quantity, n int, effect float64, source string, doubts ...int) {
	s := w.tally(nutrient)
	switch kind {
	case Source:
		s.source.Add(s.source, q)
	case Use:
		s.use.Add(s.use, q)
	}
	if effect != 0 {
		for i := range q {
			s.test[i] += effect * q[i]
		}
	}
	if w.quiet {
		return
	}
	l := AccountLine{Bed: w.out.Bed, Season: w.season, Nutrient: nutrient, Kind: kind, Term: term, Estimate: w.estimate(q, "kg", n, source), Source: source}
	l.PerArea = w.byArea(l.Estimate)
	if kind != Within {
		l.Equivalent = w.equivalent(q, l.Estimate)
	}
	for _, id := range doubts {
		if id != 0 {
			l.Doubts = addRef(l.Doubts, id)
		}
	}
	w.out.Lines = append(w.out.Lines, l)
}

func (w *seasonWork) tally(nutrient string) *tally {
	s := w.rest[nutrient]
	if s == nil {
		s = &tally{source: w.quantity().Constant(0), use: w.quantity().Constant(0), test: w.quantity().Constant(0)}
		w.rest[nutrient] = s
	}
	return s
}

// shape is a quantity met before, whose range is known.
type shape struct {
	points           fit.Quantity
	median, low, top float64
}

// shapes remembers ranges: most lines are a known quantity times a number, so
// their range is a known one times that number.
type shapes map[int64][]shape

// find returns the range of q if a quantity in proportion to it was met.
func (s shapes) find(q fit.Quantity) (median, low, high float64, key int64, ok bool) {
	key = math.MaxInt64
	if q[0] != 0 {
		key = int64(math.Round(q[1] / q[0] * 1e6))
	}
	for _, x := range s[key] {
		by := q[0] / x.points[0]
		if !(by > 0) {
			continue
		}
		same := true
		for i, v := range x.points {
			if d := q[i] - by*v; d*d > 1e-24*q[i]*q[i] {
				same = false
				break
			}
		}
		if same {
			return x.median * by, x.low * by, x.top * by, key, true
		}
	}
	return 0, 0, 0, key, false
}

// usualShapes are those that most accounts hold: what is in the fruit and vines of
// the main crop, and what a label or a lab says.
var usualShapes = sync.OnceValue(func() shapes {
	s, a := shapes{}, &accounting{sorted: fit.NewQuantity()}
	keep := func(q fit.Quantity) {
		if _, _, _, key, met := s.find(q); !met {
			m, low, high := fit.Range(a.order(q), RangeLevel)
			s[key] = append(s[key], shape{q, m, low, high})
		}
	}
	c := Crops()[0]
	for _, n := range nutrients {
		keep(c.Fruit[n].draw(fit.NewQuantity(), drawFruit))
		vines := c.VinesDM.draw(fit.NewQuantity(), drawVines)
		keep(vines.Mul(vines, c.Vines[n].draw(fit.NewQuantity(), drawVineContent)))
	}
	for _, share := range []float64{labelOff, labOff} {
		keep(within(1, share).draw(fit.NewQuantity(), drawContent))
	}
	return s
})

// estimate gives a quantity its 90 % range. What was met is remembered within one
// account only, so that no figure depends on what else was worked out.
func (a *accounting) estimate(q fit.Quantity, u string, n int, basis string) Estimate {
	m, low, high, key, ok := a.usual.find(q)
	if !ok {
		m, low, high, _, ok = a.shapes.find(q)
	}
	if !ok {
		m, low, high = fit.Range(a.order(q), RangeLevel)
		if key != math.MaxInt64 && len(a.shapes[key]) < 8 {
			kept := a.quantity()
			copy(kept, q)
			a.shapes[key] = append(a.shapes[key], shape{kept, m, low, high})
		}
	}
	return Estimate{m, min(low, m), max(high, m), RangeLevel, u, n, basis} // of a sure figure, to the last digit
}

// order returns the points of q all but sorted: they fall into as many equal
// cells as there are points, which is what smooth quantities ask for and takes a
// fifth of the time of a sort.
func (a *accounting) order(q fit.Quantity) fit.Quantity {
	low, high := q[0], q[0]
	for _, v := range q {
		if v < low {
			low = v
		} else if v > high {
			high = v
		}
	}
	if !(high > low) || math.IsInf(high-low, 0) {
		return append(a.sorted[:0], q...)
	}
	var begin [fit.N + 1]int16
	var cell [fit.N]int16
	by := (fit.N - 1) / (high - low)
	for i, v := range q {
		cell[i] = int16((v - low) * by)
		begin[cell[i]+1]++
	}
	sum := int16(0)
	for i := range begin {
		sum += begin[i]
		begin[i] = sum
	}
	out := a.sorted[:fit.N]
	for i, v := range q {
		out[begin[cell[i]]] = v
		begin[cell[i]]++
	}
	for i := 1; i < len(out); i++ {
		v, j := out[i], i
		for ; j > 0 && out[j-1] > v; j-- {
			out[j] = out[j-1]
		}
		out[j] = v
	}
	return out
}

// byArea turns kg on the bed into kg/ha.
func (w *seasonWork) byArea(e Estimate) *Estimate {
	if !(w.area > 0) {
		return nil
	}
	f := 1e4 / w.area
	return &Estimate{e.Value * f, e.Low * f, e.High * f, e.Level, "kg/ha", e.N, e.Basis}
}

// equivalent turns kg on the bed into mg/kg of the sampled layer, point by point,
// for both may share what is not known.
func (w *seasonWork) equivalent(q fit.Quantity, e Estimate) *Estimate {
	if !(w.area > 0) || w.soil == nil {
		return nil
	}
	x := w.scratch
	for i := range x {
		x[i] = q[i] * w.perSoil[i]
	}
	y := w.estimate(x, "mg/kg", e.N, e.Basis)
	return &y
}

// fruit keeps what the main crop's weighed fruit held.
func (w *seasonWork) fruit(n string, c *picked, content Range95, q fit.Quantity, source string) {
	if w.quiet || !isPumpkin(c.name) {
		return
	}
	s := w.tally(n)
	f := w.estimate(q, "kg", c.fruits, source)
	t := w.estimate(content.draw(w.scratch, drawFruit), "kg/t", c.fruits, source)
	s.fruit, s.tonne = &f, &t
	w.out.Fruit = c.total
}

// takeUp keeps what the crops took up in all.
func (w *seasonWork) takeUp(n string, q fit.Quantity, fruits int) {
	if w.quiet || !slices.ContainsFunc(q, func(v float64) bool { return v != 0 }) {
		return
	}
	e := w.estimate(q, "kg", fruits, "fruit and vines")
	w.tally(n).uptake = &e
}

// line adds all lines of one nutrient.
func (w *seasonWork) line(n string) {
	w.given(n)
	w.watered(n)
	if n == "N" {
		w.released()
		w.covers()
	}
	w.uptake(n)
}

// expectedMass is what the account adds between the two tests, mg/kg.
func (w *seasonWork) expectedMass(n string) (fit.Quantity, bool) {
	if !(w.area > 0) || w.soil == nil {
		return nil, false
	}
	q := w.quantity()
	for i, v := range w.tally(n).test {
		q[i] = v * w.perSoil[i]
	}
	return q, true
}

// account works one season out.
func (a *accounting) account(season int) BedAccount {
	a.reset()
	w := a.season(season, false)
	for _, n := range nutrients {
		if !w.shows(n) {
			continue
		}
		w.line(n)
		w.summary(n)
	}
	if w.shows(LimeValue) {
		w.limed()
		w.summary(LimeValue)
	}
	if len(w.left) > 0 {
		w.doubt("composition", "not known, and left out: "+strings.Join(w.left, ", "))
	}
	slices.Sort(w.mine)
	w.out.Doubts = w.mine
	return w.out
}

// summary sums a nutrient up and says it in words.
func (w *seasonWork) summary(n string) {
	s := w.rest[n]
	if s == nil {
		return
	}
	x := NutrientAccount{Nutrient: n, Sources: w.estimate(s.source, "kg", 0, "sum of its lines"), Uses: w.estimate(s.use, "kg", 0, "sum of its lines"),
		Fruit: s.fruit, PerTonne: s.tonne, Uptake: s.uptake, Text: []string{}}
	if n != "N" {
		left := w.scratch.Sub(s.source, s.use)
		e := w.estimate(left, "kg", 0, "sources less uses")
		x.Left = &e
	}
	if slices.Contains(buffered, n) && w.area > 0 {
		if b := w.buffering(n); b != nil {
			x.Buffering = b
			if q, ok := w.expectedMass(n); ok {
				e := w.estimate(q.Mul(q, b.share), "mg/kg", b.Seasons, b.Source)
				x.TestChange = &e
			}
		}
	}
	w.say(&x)
	w.out.Nutrients = append(w.out.Nutrients, x)
}

// say writes a nutrient's account in sentences.
func (w *seasonWork) say(x *NutrientAccount) {
	tell := func(format string, args ...any) { x.Text = append(x.Text, fmt.Sprintf(format, args...)) }
	if x.Nutrient == LimeValue {
		switch {
		case x.Uses.Value == 0:
			tell("The inputs of %d raise pH as %s of pure carbonate would; what the crop takes away is not in this.", w.season, w.mass(&x.Sources))
		case x.Sources.Value == 0:
			tell("The inputs of %d lower pH: %s of pure carbonate would make up for them; what the crop takes away is not in this.", w.season, w.mass(&x.Uses))
		default:
			tell("The inputs of %d raise pH as %s of pure carbonate would, and lower it by what %s would make up for; what the crop takes away is not in this.", w.season, w.mass(&x.Sources), w.mass(&x.Uses))
		}
		return
	}
	if x.Fruit != nil {
		t := fmt.Sprintf("The fruit of %d took %s of %s off the bed", w.season, w.mass(x.Fruit), x.Nutrient)
		if x.PerTonne != nil {
			per := "kg in 1 t"
			if w.us {
				per = "lb in 1,000 lb"
			}
			t += fmt.Sprintf(" (%s %s)", ranged(x.PerTonne, 1), per)
		}
		if e := w.byArea(*x.Fruit); e != nil {
			t += ": " + w.rate(e)
		}
		tell("%s.", t)
	}
	if x.Uptake != nil {
		tell("Fruit and vines together took up %s of %s.", w.mass(x.Uptake), x.Nutrient)
	}
	tell("Sources: %s; uses: %s.", w.mass(&x.Sources), w.mass(&x.Uses))
	if x.Nutrient == "N" {
		tell("%s", sidesOfN)
		return
	}
	if x.Left != nil {
		tell("Sources less uses: %s, before what water washes down.", w.mass(x.Left))
	}
	if x.Buffering != nil {
		tell("%s", x.Buffering.Text)
	}
	if x.TestChange != nil {
		over := "over the season"
		if w.paired {
			over = fmt.Sprintf("between the tests of %s and %s", w.from, w.to)
		}
		tell("By this account alone the soil test of %s should move by %s%s %s.", x.Nutrient, signed(x.TestChange), unitText("mg/kg", w.us), over)
	}
}

// mass writes kg on the bed as the reader weighs.
func (w *seasonWork) mass(e *Estimate) string {
	if w.us {
		return ranged(e, 1/unit.KgPerPound) + " lb"
	}
	return ranged(e, 1) + " kg"
}

// rate writes kg/ha as the reader spreads.
func (w *seasonWork) rate(e *Estimate) string {
	if w.us {
		return ranged(e, 1/kgHaPerLb1000) + " lb/1000 sq ft"
	}
	return ranged(e, 1) + " kg/ha"
}

// Text writes a line as the reader weighs: term, amount on the bed with its range.
func (l *AccountLine) Text(us bool) string {
	by, u := 1.0, "kg"
	if us {
		by, u = 1/unit.KgPerPound, "lb"
	}
	return fmt.Sprintf("%s: %s %s", l.Term, ranged(&l.Estimate, by), u)
}

// Took says in one sentence what the season's main crop took off the bed of the
// nutrients that an amendment is bought for; empty where nothing was weighed.
func (x *BedAccount) Took(us bool) string {
	var parts []string
	for i := range x.Nutrients {
		n := &x.Nutrients[i]
		if n.Fruit == nil || !slices.Contains([]string{"N", "P", "K"}, n.Nutrient) {
			continue
		}
		l := AccountLine{Term: n.Nutrient, Estimate: *n.Fruit}
		parts = append(parts, strings.TrimPrefix(l.Text(us), n.Nutrient+": ")+" "+n.Nutrient)
	}
	if len(parts) == 0 {
		return ""
	}
	weight := grouped(x.Fruit) + " kg"
	if us {
		weight = grouped(x.Fruit/unit.KgPerPound) + " lb"
	}
	return fmt.Sprintf("%s of fruit took about %s off the bed.", weight, strings.Join(parts, ", "))
}

// ranged prints a figure and its range with two digits of the wider end.
func ranged(e *Estimate, by float64) string {
	v, low, high := e.Value*by, e.Low*by, e.High*by
	d := digitsFor(max(math.Abs(low), math.Abs(high), math.Abs(v)))
	f := func(x float64) string {
		s := strconv.FormatFloat(x, 'f', d, 64)
		if strings.Trim(s, "-0.") == "" {
			return "0"
		}
		return s
	}
	if f(low) == f(high) {
		return f(v)
	}
	sep := "-"
	if low < 0 {
		sep = " to "
	}
	return fmt.Sprintf("%s (%s%s%s)", f(v), f(low), sep, f(high))
}

// digitsFor is how many digits after the point leave two that count.
func digitsFor(v float64) int {
	if v <= 0 {
		return 0
	}
	return min(max(1-int(math.Floor(math.Log10(v))), 0), 5)
}

// signed prints a change with its sign.
func signed(e *Estimate) string {
	d := digitsFor(max(math.Abs(e.Low), math.Abs(e.High)))
	f := func(x float64) string {
		s := strconv.FormatFloat(x, 'f', d, 64)
		switch {
		case strings.Trim(s, "-0.") == "":
			return "0"
		case x > 0:
			return "+" + s
		}
		return s
	}
	return fmt.Sprintf("%s (%s to %s)", f(e.Value), f(e.Low), f(e.High))
}
