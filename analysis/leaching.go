package analysis

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"carryover/analysis/fit"
	"carryover/dataset"
	"carryover/dataset/unit"
)

// BurnsShare is the share of nitrate on the surface that a drainage, cm, carries
// below a depth, cm, in soil that holds fieldCapacity vol %:
//
//	f = (P / (P + Vm/100))^h
//
// For freely draining soil without cracks. It answers to flow in tubes that do
// not mix, not in layers that do.
//
// Source: Burns 1975, Journal of Agricultural Science 85:443-454 (the variables
// and their use; the form is from memory and has the limit that Scotter, White and
// Dyson 1993 print).
func BurnsShare(drainage, fieldCapacity, depth float64) float64 {
	if drainage <= 0 {
		return 0
	}
	return math.Pow(drainage/(drainage+fieldCapacity/100), depth)
}

// BurnsMixed is BurnsShare of nitrate that is mixed through the depth: half of it
// has to go half as far. Source: Burns 1976, from memory.
func BurnsMixed(drainage, fieldCapacity, depth float64) float64 {
	return BurnsShare(drainage, fieldCapacity, depth/2)
}

// TubeShare is the limit of BurnsShare for much drainage; theta is the water
// content, share of volume.
//
// Source: Scotter, White and Dyson 1993, Journal of Soil Science 44:25-33.
func TubeShare(drainage, theta, depth float64) float64 {
	if drainage <= 0 {
		return 0
	}
	return math.Exp(-depth * theta / drainage)
}

// Retardation is how much slower than water a sorbed ion moves: bulk density in
// g/cm3, kd in L/kg, theta as a share of volume. Common practice, no source.
func Retardation(density, kd, theta float64) float64 { return 1 + density*kd/theta }

// Leached is what a drainage, mm, carries off at a concentration, mg/L: kg/ha.
func Leached(concentration, drainage float64) float64 { return concentration * drainage / 100 }

// burnsError is how far off the share may be at 0.5, 95 %: 0.15, from memory; it
// shrinks toward 0 and 1.
const burnsError = 0.15

// perCentimetre makes q the logarithm of BurnsShare over one cm, of which that over
// any depth is a multiple; drainage is in mm.
func perCentimetre(q, drainage, fieldCapacity fit.Quantity) fit.Quantity {
	for i := range q {
		q[i] = math.Log(BurnsShare(drainage[i]/10, fieldCapacity[i], 1))
	}
	return q
}

// burnsQuantity makes q the share of an ion that goes below a depth, from
// perCentimetre and how far it has to go, retardation included, cm.
func burnsQuantity(q, perCm, travel fit.Quantity) fit.Quantity {
	for i, z := range fit.NormalPoints(dimBurns) {
		f := math.Exp(perCm[i] * travel[i])
		q[i] = min(max(f+z*burnsError/1.96*4*f*(1-f), 0), 1)
	}
	return q
}

// leacher is how a nutrient moves.
type leacher struct {
	analyte string
	// Carried with the water, as a share of what is there; kd in L/kg, 95 % range.
	moves          bool
	kdLow, kdHigh  float64
	acidKd         float64 // upper end below pH 6.5
	kdSource       string
	low, mid, high float64 // else concentration in drainage, mg/L, 95 % range
	source         string
}

// leachers lists how nutrients move. The widths of concentrations are from memory,
// set so that the yearly losses of the sources lie inside at 250 mm of drainage. rich
// is a soil that compost has made, of more than 8 % organic matter.
func leachers(sandy, rich bool) []leacher {
	k := leacher{analyte: "K", low: 1, mid: 3.5, high: 12,
		source: "K: 4-24 kg/ha a year under bare soil, 6 to 13 under grass, sand more (Finnish lysimeters 1996; Alfaro et al. 2004)"}
	if sandy {
		k.low, k.mid, k.high = 4, 12, 38
		k.source = "K 8-11 mg/L in drainage of sand (Shepherd and Bennett 1998), 56-94 kg/ha a year from it (Finnish lysimeters 1996)"
	}
	p := leacher{analyte: "P", low: 0.008, mid: 0.09, high: 1, source: "P 0.02-0.26 kg/ha a year under bare soil (Finnish lysimeters 1996)"}
	if rich {
		p.low, p.mid, p.high = 0.02, 0.35, 5.5
		p.source = "P under raised beds, 0.06 g PO4/m2 without compost to 4.2 with manure compost (a trial beside Small et al. 2019)"
	}
	return []leacher{
		{analyte: "NO3-N", moves: true, source: "Burns 1975"},
		{analyte: "S", moves: true, kdHigh: 0.5, acidKd: 1.5, kdSource: "sorption 0-0.5 L/kg above pH 6.5, from memory", source: "Burns 1975, retarded"},
		{analyte: "B", moves: true, kdLow: 0.7, kdHigh: 6.6, kdSource: "sorption 2.19 L/kg, median of European soils (GEMAS), three times more or less from memory", source: "Burns 1975, retarded"},
		{analyte: "Ca", low: 20, mid: 66, high: 220, source: "Ca 71-78 mg/L in drainage of sand, 277 after poultry litter (Shepherd and Bennett 1998); 50-120 kg/ha a year (Finnish lysimeters 1996)"},
		{analyte: "Mg", low: 6, mid: 17, high: 48, source: "Mg 17 mg/L in drainage of sand (Shepherd and Bennett 1998); 30-70 kg/ha a year (Finnish lysimeters 1996)"},
		k,
		p,
	}
}

// coverCut is the published range by which a cover cuts the winter's nitrate loss.
type coverCut struct {
	low, high float64
	source    string
}

// cutBy tells the cut from the cover's species: grasses, grass mixes and other
// non-legumes, or legumes alone.
func cutBy(species string) coverCut {
	s := strings.ToLower(species)
	for _, grass := range []string{"rye", "oat", "barley", "wheat", "triticale", "grass", "mustard", "radish", "brassica", "rape", "turnip", "phacelia", "mix"} {
		if strings.Contains(s, grass) {
			return coverCut{0.40, 0.70, "non-legumes cut nitrate loss by 70 % (Tonitto et al. 2006), grasses and grass mixes by about 40 % (Christianson et al. 2021)"}
		}
	}
	for _, legume := range []string{"vetch", "clover", "pea", "bean", "lupin", "legume", "lucerne", "alfalfa"} {
		if strings.Contains(s, legume) {
			return coverCut{0, 0.40, "legumes cut nitrate loss hardly (Christianson et al. 2021) to by 40 % as part of a rotation (Tonitto et al. 2006)"}
		}
	}
	return coverCut{0, 0.70, "what the cover is the sources do not know: from nothing to 70 % (Tonitto et al. 2006)"}
}

// Sowing: in time is fourWeeks before days are shorter than 10 h (common practice,
// no source); each 17.5 days later cost 40 % of the nitrogen held.
//
// Source: Lawson et al. 2015 (Pacific Northwest, six years).
const (
	fourWeeks   = 28
	laterDays   = 17.5
	laterLoss   = 0.40
	smallCover  = 1300.0 // kg/ha dry: a late rye of 1,280 lowered nitrate by 15 kg/ha only (Pantoja et al. 2015)
	smallFactor = 0.4    // from memory
)

// sownInTime is the part of a cover's cut that its sowing day leaves.
func sownInTime(sown dataset.Date, latitude float64, south bool) float64 {
	year := sown.Year()
	if m := sown.Month(); !south && m < time.April { // sown in late winter: of the winter before
		year--
	}
	if south {
		latitude = -math.Abs(latitude)
	}
	first, _, ok := ShortDays(latitude, year, AlmanacHorizon)
	if !ok {
		return 1
	}
	late := float64(sown - (first - fourWeeks))
	return min(max(1-laterLoss*late/laterDays, 0.1), 1)
}

// SoilWater is what a bed holds of water.
type SoilWater struct {
	Texture       string   `json:"texture"` // as recorded; empty: not recorded
	OM            float64  `json:"organic_matter_pct"`
	FieldCapacity Estimate `json:"field_capacity"`  // vol % of the sampled layer
	Available     Estimate `json:"available_water"` // mm to the depth of roots
	Layer         float64  `json:"layer_cm"`        // sampled
	Source        string   `json:"source"`
	Doubts        []int    `json:"doubts,omitempty"`

	sandy      bool
	cracks     bool    // clay: water may pass by
	fieldLow   float64 // share of volume, range of the class shifted for organic matter
	fieldHigh  float64
	top, below float64 // mm available in the layer and in the roots below
}

// soilWater works out the stores from texture and organic matter.
func (b *bedWork) soilWater(levels []Level) SoilWater {
	w := SoilWater{Layer: b.sampledLayer(levels)}
	d := b.descriptionAt(b.asOf)
	if d != nil {
		w.Texture = d.Texture
	}
	t, known := textureOf(w.Texture)
	w.Source = "field capacity: FAO-56, table 19; available water: Saxton and Rawls 2006"
	if !known {
		text := "the bed's texture is not recorded: for water a loam is taken, with a wide range; sheet beds, texture"
		if w.Texture != "" {
			text = fmt.Sprintf("texture %q is none of the classes (sandy loam, silt loam, clay ...): for water a loam is taken, with a wide range", w.Texture)
		}
		w.Doubts = addRef(w.Doubts, b.doubt("texture", text))
	}
	w.OM = b.omNear(levels, b.asOf)
	om := w.OM
	switch {
	case om == 0:
		om = 2.5
		w.Doubts = addRef(w.Doubts, b.doubt("organic matter", "no organic matter was tested: for water 2.5 % is taken"))
	case om > mostOMHeld:
		w.Doubts = addRef(w.Doubts, b.doubt("organic matter", fmt.Sprintf("water capacities are known up to %d %% organic matter: that of %d %% is taken for %.1f %%", mostOMHeld, mostOMHeld, om)))
		om = mostOMHeld
	}
	available := func(om float64) (field, water float64) {
		wp, fc, err := Capacities(t.sand, t.clay, om)
		if err != nil {
			panic(err) // om is bounded above
		}
		return fc, fc - wp
	}
	base, _ := available(2.5)
	field, water := available(om)
	_, under := available(1.5) // below the worked layer
	shift := field - base
	w.fieldLow, w.fieldHigh = t.capLow+shift, t.cap+shift
	w.sandy, w.cracks = t.sand > 0.8, t.clay >= 0.35
	w.top, w.below = water*w.Layer*10, under*max(roots-w.Layer, 0)*10
	q := b.fieldCapacity(&w, fit.NewQuantity())
	w.FieldCapacity = estimateOf(q, "vol %", 0, "90 % of the range of the class")
	all := w.top + w.below
	soil := uncertainties(false, false, false, false)[2]
	w.Available = Estimate{all, all * soil.low.soil, all * soil.high.soil, RangeLevel, "mm", 0, fmt.Sprintf("roots to %.0f-%.0f cm (FAO-56, table 22); from memory", rootsLow, rootsHigh)}
	return w
}

// fieldCapacity of the sampled layer, vol %.
func (b *bedWork) fieldCapacity(w *SoilWater, q fit.Quantity) fit.Quantity {
	return q.Uniform(dimSoil, 100*w.fieldLow, 100*w.fieldHigh)
}

// usualLayer is where the sampled depth is not known, cm; common practice.
const usualLayer = 15

func (b *bedWork) sampledLayer(levels []Level) float64 {
	depth := 0.0
	var on dataset.Date
	for i := range levels {
		if l := &levels[i]; l.Top() && l.DepthTo != nil && *l.DepthTo > 0 && (depth == 0 || l.Date >= on) {
			depth, on = *l.DepthTo, l.Date
		}
	}
	if depth == 0 {
		if d := b.descriptionAt(b.asOf); d != nil && d.DepthTo != nil && *d.DepthTo > 0 {
			return *d.DepthTo
		}
		b.doubt("no depth", fmt.Sprintf("no sampled depth is recorded: for water %d cm is taken", usualLayer))
		return usualLayer
	}
	return min(depth, roots)
}

// estimateOf is a quantity with its range.
func estimateOf(q fit.Quantity, u string, n int, basis string) Estimate {
	m, low, high := q.Range(RangeLevel, nil)
	return Estimate{m, low, high, RangeLevel, u, n, basis}
}

// Water is what weather and watering did to the beds of a book.
type Water struct {
	Format   string       `json:"format"` // carryover.water/1
	AsOf     dataset.Date `json:"as_of"`
	Beds     []BedWater   `json:"beds"`
	Doubts   []Doubt      `json:"doubts"`
	Cautions []string     `json:"cautions"`
}

// BedWater is one bed's water, season by season and winter by winter.
type BedWater struct {
	Grower  string        `json:"grower"`
	Bed     string        `json:"bed"`
	Soil    SoilWater     `json:"soil"`
	Periods []WaterPeriod `json:"periods"`
	Doubts  []int         `json:"doubts,omitempty"`
}

// Period returns the bed's season or winter, nil if there is none.
func (w *BedWater) Period(kind string, season int) *WaterPeriod {
	for i := range w.Periods {
		if p := &w.Periods[i]; p.Kind == kind && p.Season == season {
			return p
		}
	}
	return nil
}

// Kinds of a WaterPeriod.
const (
	SeasonPeriod = "season"
	WinterPeriod = "winter"
)

// WaterPeriod is the water of one season, or of the winter after it, from the test
// before to the test after (where there is none, from the day that stands for it).
// rain + irrigation = evapotranspiration + drainage + change of what is stored.
type WaterPeriod struct {
	Kind       string       `json:"kind"`
	Season     int          `json:"season"` // a winter's is the one it follows
	From       dataset.Date `json:"from"`
	To         dataset.Date `json:"to"`
	Resolution string       `json:"resolution"` // daily, monthly, normals, or some of them
	Days       DayCounts    `json:"days"`
	Method     string       `json:"method"` // of the reference evapotranspiration
	// What follows is in mm; nil where NoWeather says why.
	Rain       *Estimate `json:"rain,omitempty"`
	Irrigation *Estimate `json:"irrigation,omitempty"`
	ET         *Estimate `json:"evapotranspiration,omitempty"`
	Through    *Estimate `json:"through_sampled_layer,omitempty"`
	Drainage   *Estimate `json:"drainage_below_roots,omitempty"`
	Stored     *Estimate `json:"change_of_stored,omitempty"`

	Leaching  []Leaching `json:"leaching"`
	NoWeather *NoWeather `json:"no_weather,omitempty"`
	Doubts    []int      `json:"doubts,omitempty"`
}

// Leaching is what the period's drainage moved of one nutrient, by a model: never
// a measurement, and never the unexplained of an account.
type Leaching struct {
	Nutrient string `json:"nutrient"`
	// Moved is the share of what lay in the sampled layer at the start that went
	// below it, Lost that which went below the roots (0 to 1); nil where the loss
	// comes from a concentration.
	Moved *Estimate `json:"moved_below_layer,omitempty"`
	Lost  *Estimate `json:"lost_below_roots,omitempty"`
	// Amount, kg/ha of the element, is Moved of what the test at the start found,
	// nil where there was no such test; or concentration times drainage below the
	// roots. What deeper roots bring up again is in neither.
	Amount *Estimate `json:"amount,omitempty"`
	// CoverCut is what a cover kept back of the winter's nitrate loss, in Moved,
	// Lost and Amount already.
	CoverCut *Estimate `json:"cover_cut,omitempty"`
	Source   string    `json:"source"`
	Doubts   []int     `json:"doubts,omitempty"`

	// The points behind Moved and Amount, nil where these are, for an account that
	// adds other terms; NewWater drops them.
	moved, amount fit.Quantity
}

// waterWork is what beds share on their way.
type waterWork struct {
	site    *SiteWeather
	bucket  bedBucket
	scratch [9]fit.Quantity
}

// NewWater works out drainage and leaching of the beds selected, in (grower, bed)
// order. Where weather, latitude or days are missing the period says so and has no
// figure.
//
// The error wraps ErrTooFew where there is no record, or no bed that the selection
// names.
func NewWater(book *dataset.Book, rec *dataset.Records, o Options) (*Water, error) {
	last, ok := lastRecord(rec)
	if o.AsOf != nil {
		last = *o.AsOf
	} else if !ok {
		return nil, fmt.Errorf("%w: the book holds no soil test, amendment or harvest yet: fill in a sheet and run: carryover import", ErrTooFew)
	}
	o.South = o.South || book.Config.Latitude != nil && *book.Config.Latitude < 0
	w := &Water{Format: "carryover.water/1", AsOf: last, Beds: []BedWater{}, Doubts: []Doubt{}, Cautions: []string{
		"Leaching is worked out from weather and published methods, not measured. Nitrate in a well is a matter of health: have the water tested, and keep to local rules.",
	}}
	d := &doubts{}
	work, _ := worker(rec, o, last)
	var shared waterWork
	for h := range book.Beds(rec, o.Select) {
		b := work(h, d)
		if shared.site == nil || shared.site.Grower != h.Grower {
			shared.site = NewSiteWeather(rec.Weather, h.Grower, siteStart(rec, h.Grower, b.cal, last), last, book.Config.Latitude, book.Config.Elevation)
			for _, x := range shared.site.doubts {
				d.add("", x.Code, x.Text, x.rows...)
			}
		}
		bed := b.water(&shared)
		for i := range bed.Periods {
			for j := range bed.Periods[i].Leaching {
				l := &bed.Periods[i].Leaching[j]
				l.moved, l.amount = nil, nil
			}
		}
		w.Beds = append(w.Beds, bed)
	}
	if len(w.Beds) == 0 {
		return nil, fmt.Errorf("%w: no such bed in the book", ErrTooFew)
	}
	slices.SortStableFunc(w.Beds, func(x, y BedWater) int {
		return cmp.Or(natural(x.Grower, y.Grower), natural(x.Bed, y.Bed))
	})
	w.Doubts = append(w.Doubts, d.list...)
	return w, nil
}

// spinUp is when a bucket starts, full: at winter's end before the first record.
var spinUp = monthDay{time.March, 1}

// siteStart is the day from which a grower's weather is needed: winter's end
// before the first record of any bed.
func siteStart(rec *dataset.Records, grower string, cal Calendar, last dataset.Date) dataset.Date {
	first := last
	see := func(g string, d dataset.Date) {
		if g == grower {
			first = min(first, d)
		}
	}
	for i := range rec.SoilTests {
		see(rec.SoilTests[i].Grower, rec.SoilTests[i].Date)
	}
	for i := range rec.Harvests {
		see(rec.Harvests[i].Grower, rec.Harvests[i].Date)
	}
	for i := range rec.Plantings {
		see(rec.Plantings[i].Grower, cal.day(int(rec.Plantings[i].Season), usualSpring))
	}
	return cal.winterEnd(first)
}

// winterEnd is the last winter's end on or before a day.
func (c Calendar) winterEnd(d dataset.Date) dataset.Date {
	y := c.SeasonOf(d)
	if e := c.day(y, spinUp); e <= d {
		return e
	}
	return c.day(y-1, spinUp)
}

// Where no test marks the end of a season or winter; common practice, no source.
var (
	usualSpring = monthDay{time.April, 25}
	usualAutumn = monthDay{time.October, 15}
)

// edge is a day between winter and season.
type edge struct{ before, after dataset.Date }

// edges returns, for a season, the last spring and first autumn test day, and for
// the winter after it the last autumn test day and the first of next spring.
func (b *bedWork) edges(levels []Level, season int) (spring, autumn edge) {
	spring = edge{b.cal.day(season, usualSpring), b.cal.day(season, usualSpring)}
	autumn = edge{b.cal.day(season, usualAutumn), b.cal.day(season, usualAutumn)}
	if s := b.seasonFacts(season); s.setOut != nil && *s.setOut < spring.after {
		spring = edge{*s.setOut, *s.setOut}
	}
	var hasSpring, hasAutumn bool
	for i := range levels {
		l := &levels[i]
		if !l.Top() || l.Season != season || l.Date > b.asOf {
			continue
		}
		at, has := &spring, &hasSpring
		switch l.Timing {
		case Spring:
		case Autumn:
			at, has = &autumn, &hasAutumn
		default:
			continue
		}
		if !*has {
			*at, *has = edge{l.Date, l.Date}, true
		}
		at.before, at.after = min(at.before, l.Date), max(at.after, l.Date)
	}
	return spring, autumn
}

// water works one bed out.
func (b *bedWork) water(w *waterWork) BedWater {
	h := b.history
	out := BedWater{Grower: h.Grower, Bed: h.Name, Periods: []WaterPeriod{}}
	levels := b.levels()
	out.Soil = b.soilWater(levels)
	seasons := map[int]bool{}
	for i := range levels {
		if levels[i].Top() && levels[i].Date <= b.asOf {
			seasons[levels[i].Season] = true
		}
	}
	for i := range h.Plantings {
		seasons[int(h.Plantings[i].Season)] = true
	}
	for i := range h.Harvests {
		seasons[b.cal.SeasonOf(h.Harvests[i].Date)] = true
	}
	years := sortedKeys(seasons)
	if len(years) == 0 {
		out.Doubts = b.refs
		return out
	}
	site := w.site
	if site.rows > 0 && site.Latitude != nil {
		spring, _ := b.edges(levels, years[0])
		start := min(max(b.cal.winterEnd(spring.before), site.From), site.To)
		watering := b.lay(site, &w.bucket, start, out.Soil.Layer)
		c, _, full, _ := site.resolution(start, site.To)
		w.bucket.factors = uncertainties(full, c.Monthly > 0, c.Normal > 0, watering)
		w.bucket.run(out.Soil.top, out.Soil.below)
	}
	for y := years[0]; y <= years[len(years)-1]; y++ {
		spring, autumn := b.edges(levels, y)
		next, _ := b.edges(levels, y+1)
		for _, p := range []WaterPeriod{
			{Kind: SeasonPeriod, Season: y, From: spring.after, To: autumn.before},
			{Kind: WinterPeriod, Season: y, From: autumn.after, To: next.before},
		} {
			p.To = min(p.To, b.asOf)
			if p.From < p.To {
				out.Periods = append(out.Periods, b.period(p, &out.Soil, levels, w))
			}
		}
	}
	slices.Sort(b.refs)
	out.Doubts = b.refs
	return out
}

// points returns a scratch quantity.
func (w *waterWork) points(i int) fit.Quantity {
	if w.scratch[i] == nil {
		w.scratch[i] = fit.NewQuantity()
	}
	return w.scratch[i]
}

// period fills in one season or winter.
func (b *bedWork) period(p WaterPeriod, soil *SoilWater, levels []Level, w *waterWork) WaterPeriod {
	p.Leaching = []Leaching{}
	site := w.site
	var full, some bool
	p.Days, p.Resolution, full, some = site.resolution(p.From, p.To-1)
	if p.NoWeather = site.missing(p.From, p.To-1); p.NoWeather != nil {
		p.Resolution = ""
		return p
	}
	switch {
	case full:
		p.Method = "Penman-Monteith (FAO-56)"
	case some:
		p.Method = "Penman-Monteith where humidity, wind and sun are given, else Hargreaves (FAO-56)"
	default:
		p.Method = "Hargreaves (FAO-56)"
	}
	if p.Days.Normal > 0 {
		p.Doubts = addRef(p.Doubts, b.doubt("normals", "where weather is of normals, its rain is an average year's, not that year's own: the range is wider"))
	}
	k := &w.bucket
	open := 0
	for i := max(int(p.From-k.from)-120, 0); i < int(p.From-k.from); i++ {
		if k.days[i].open {
			open++
		}
	}
	if open > 30 {
		p.Doubts = addRef(p.Doubts, b.doubt("soil at start", fmt.Sprintf("%s: of the 120 days before it %d have no weather: the soil is taken as full at its start, so less may have drained", p.Name(), open)))
	}
	if p.Kind == SeasonPeriod && k.central.watering[p.To-k.from] == k.central.watering[p.From-k.from] {
		p.Doubts = addRef(p.Doubts, b.doubt("no watering", "seasons without a watering on record: if there was any, more drained than is said"))
	}
	if p.Kind == SeasonPeriod && !slices.Contains(k.ground[p.From-k.from:p.To-k.from], cropped) {
		p.Doubts = addRef(p.Doubts, b.doubt("no crop", "seasons without a planting or harvest on record: taken as bare ground, from which more drains than under a crop"))
	}
	q := w.points(0)
	figure := func(of column) *Estimate {
		return new(estimateOf(k.between(of, p.From, p.To, q), "mm", int(p.To-p.From), "weather: "+p.Resolution+"; "+p.Method))
	}
	p.Rain, p.Irrigation, p.ET, p.Stored = figure(ofRain), figure(ofWatering), figure(ofET), figure(ofStored)
	p.Drainage, p.Through = figure(ofDrainage), figure(ofThrough)
	drained := k.between(ofDrainage, p.From, p.To, w.points(1))
	through := k.between(ofThrough, p.From, p.To, w.points(2))
	for i := range drained { // what drains has gone through, but for what roots held
		through[i] = max(through[i], drained[i])
	}
	p.Leaching = append(p.Leaching, b.leaching(&p, soil, levels, w, through, drained)...)
	return p
}

// leaching works out what went with the water.
func (b *bedWork) leaching(p *WaterPeriod, soil *SoilWater, levels []Level, w *waterWork, through, drained fit.Quantity) (out []Leaching) {
	field := b.fieldCapacity(soil, w.points(3))
	travel, deep := w.points(4), w.points(5)
	layer, below := perCentimetre(w.points(6), through, field), perCentimetre(w.points(7), drained, field)
	rho := b.density(p.From, b.omNear(levels, p.From)).Value
	for _, n := range leachers(soil.sandy, soil.OM > mostOMHeld) {
		l := Leaching{Nutrient: n.analyte, Source: n.source}
		if !n.moves {
			sd := math.Log(n.high/n.low) / (2 * 1.96)
			amount := fit.NewQuantity().LogNormal(dimConcentration, n.mid, sd)
			for i := range amount {
				amount[i] = Leached(amount[i], drained[i])
			}
			l.amount = amount
			l.Amount = new(estimateOf(amount, "kg/ha", 0, n.source))
			if id := b.gypsumDoubt(p, n.analyte); id != 0 {
				l.Doubts = addRef(l.Doubts, id)
			}
			out = append(out, l)
			continue
		}
		kdHigh := n.kdHigh
		if n.acidKd > 0 && b.phNear(levels, p.From) < 6.5 {
			kdHigh = n.acidKd
		}
		// The middle of what is mixed through the layer has half of it to go.
		mid := soil.Layer / 2
		for i, u := range fit.Points(dimSorption) {
			r := 1.0
			switch {
			case n.kdLow > 0: // log-uniform would end too sharply: the range is 95 %
				z := fit.NormalPoints(dimSorption)[i]
				kd := math.Exp((math.Log(n.kdLow)+math.Log(kdHigh))/2 + z*math.Log(kdHigh/n.kdLow)/(2*1.96))
				r = Retardation(rho, kd, field[i]/100)
			case kdHigh > 0:
				r = Retardation(rho, u*kdHigh, field[i]/100)
			}
			travel[i] = mid * r
			deep[i] = max(roots-mid, mid) * r
		}
		if n.kdSource != "" {
			l.Source += "; " + n.kdSource
		}
		l.moved = burnsQuantity(fit.NewQuantity(), layer, travel)
		lost := burnsQuantity(w.points(8), below, deep)
		if n.analyte == "NO3-N" && p.Kind == WinterPeriod {
			b.coverKeeps(p, &l, lost, w)
		}
		l.Moved = new(estimateOf(l.moved, "share", 0, l.Source))
		l.Lost = new(estimateOf(lost, "share", 0, l.Source))
		if pool := b.poolAt(p, n.analyte, levels); pool != nil {
			l.amount = splitNormal(fit.NewQuantity(), *pool, 0)
			l.amount.Mul(l.amount, l.moved)
			l.Amount = new(estimateOf(l.amount, "kg/ha", pool.N, "the test's amount times the share"))
		}
		if soil.cracks {
			l.Doubts = addRef(l.Doubts, b.doubt("cracks", "clay cracks: water that runs down them passes by what lies in the crumbs, or takes what was just spread; no method here sees it"))
		}
		switch {
		case n.analyte != "NO3-N":
		case p.Kind == SeasonPeriod:
			l.Doubts = addRef(l.Doubts, b.doubt("season nitrate", "nitrate in season: the share is of what no root took first, and feeds given later are not in it"))
		default:
			l.Doubts = addRef(l.Doubts, b.doubt("winter nitrate", "nitrate in winter: what vines and organic matter give after the autumn test comes on top"))
		}
		out = append(out, l)
	}
	return out
}

// splitNormal makes q log-normal about an estimate, each side with its own width.
func splitNormal(q fit.Quantity, e Estimate, dim int) fit.Quantity {
	for i, z := range fit.NormalPoints(dim) {
		switch {
		case !(e.Value > 0 && e.Low > 0):
			q[i] = min(max(e.Value+z/z90*(e.High-e.Low)/2, 0), e.High)
		case z < 0:
			q[i] = e.Value * math.Exp(z/z90*math.Log(e.Value/e.Low))
		default:
			q[i] = e.Value * math.Exp(z/z90*math.Log(e.High/e.Value))
		}
	}
	return q
}

// coverKeeps cuts the nitrate loss of a winter by what a cover on the ground held,
// for the water that went while it stood.
func (b *bedWork) coverKeeps(p *WaterPeriod, l *Leaching, lost fit.Quantity, w *waterWork) {
	var c *dataset.Cover
	for i := range b.history.Covers {
		x := &b.history.Covers[i]
		end := x.Sown + 240
		if x.Ended != nil {
			end = *x.Ended
		}
		if x.Sown <= b.asOf && x.Sown < p.To && end > p.From && (c == nil || x.Sown > c.Sown) {
			c = x
		}
	}
	if c == nil {
		return
	}
	cut := cutBy(c.Species)
	scale := w.bucket.shareBetween(ofThrough, p.From, p.To, covered)
	inTime := sownInTime(c.Sown, *w.site.Latitude, b.cal.South)
	text := fmt.Sprintf("%s of %s: %s", c.Species, c.Sown, cut.source)
	if inTime < 1 {
		text += fmt.Sprintf("; sown late, it counts for %.0f %% (Lawson et al. 2015)", 100*inTime)
	}
	if c.Biomass != nil && *c.Biomass < smallCover {
		inTime = min(inTime, smallFactor)
		text += fmt.Sprintf("; at %.0f kg/ha it was small (Pantoja et al. 2015)", *c.Biomass)
	}
	kept := fit.NewQuantity().Uniform(dimCover, cut.low, cut.high)
	kept.Scale(kept, scale*inTime)
	for i := range kept {
		l.moved[i] *= 1 - kept[i]
		lost[i] *= 1 - kept[i]
	}
	l.CoverCut = new(estimateOf(kept, "share", 0, text))
}

// gypsumDoubt doubts the concentrations where gypsum was spread within a year; 0
// where none was.
func (b *bedWork) gypsumDoubt(p *WaterPeriod, analyte string) int {
	if analyte != "Ca" && analyte != "Mg" && analyte != "K" {
		return 0
	}
	for i := range b.history.Amendments {
		a := &b.history.Amendments[i]
		if a.Date <= b.asOf && a.Date < p.To && p.From-a.Date < 365 && gypsum(a.Material) {
			return b.doubt("gypsum", fmt.Sprintf("%s of %s: for a year the water holds more calcium than the sources had, and drives magnesium and potassium out before it", a.Material, a.Date), refOf(a.Source))
		}
	}
	return 0
}

// phNear is the pH of the worked layer tested last before a day; 7 if none was.
func (b *bedWork) phNear(levels []Level, on dataset.Date) float64 {
	v, at := 7.0, dataset.Date(math.MinInt32)
	for i := range levels {
		if l := &levels[i]; l.Analyte == "pH" && l.Top() && l.Date <= on && l.Date > at {
			v, at = l.Estimate.Value, l.Date
		}
	}
	return v
}

// poolAt is what the test at the start of a period says there was, kg/ha in the
// sampled layer; nil without such a test.
func (b *bedWork) poolAt(p *WaterPeriod, analyte string, levels []Level) *Estimate {
	for i := range levels {
		l := &levels[i]
		if l.Analyte == analyte && l.Top() && l.Date == p.From && l.Qualifier != ">" && l.DepthTo != nil && (l.basis == "mass" || l.basis == "volume") {
			amount, _, _ := b.mass(l, b.omNear(levels, l.Date))
			return &amount
		}
	}
	return nil
}

// Name is how a period is called: season 2024, winter 2024-25.
func (p *WaterPeriod) Name() string {
	if p.Kind == WinterPeriod {
		return fmt.Sprintf("winter %d-%02d", p.Season, (p.Season+1)%100)
	}
	return fmt.Sprintf("season %d", p.Season)
}

// Text says what the water did, in the reader's units; one sentence to a line.
func (p *WaterPeriod) Text(us bool) []string {
	if p.NoWeather != nil {
		return []string{p.Name() + ": " + p.NoWeather.String()}
	}
	length, scale, mass, per := "mm", 1.0, "kg/ha", 1.0
	decimals := 0
	if us {
		length, scale, mass, per, decimals = "in", 1/(10*unit.CmPerInch), "lb/1000 sq ft", lbPer1000, 1
	}
	mm := func(e *Estimate) string { return rangeText(e, scale, length, decimals) }
	kg := func(e *Estimate) string {
		if e.Value*per < 0.005 && e.High*per < 0.05 {
			return fmt.Sprintf("too little to see, under %.2f %s,", max(e.High*per, 0.01), mass)
		}
		return rangeText(e, per, mass, sensible(e.Value*per))
	}
	watering := "no watering on record"
	if p.Irrigation.Value > 0 {
		watering = "watering " + mm(p.Irrigation)
	}
	lines := []string{fmt.Sprintf("%s: rain %s; %s; used or evaporated %s; drained past the roots %s; weather: %s",
		p.Name(), mm(p.Rain), watering, mm(p.ET), mm(p.Drainage), p.Resolution)}
	for i := range p.Leaching {
		l := &p.Leaching[i]
		var s string
		if l.Moved != nil {
			s = fmt.Sprintf("%s: %s moved below the sampled layer", l.Nutrient, rangeText(l.Moved, 100, "%", 0))
			if l.Amount != nil {
				s += ", that is " + strings.TrimSuffix(kg(l.Amount), ",")
			}
			s += "; " + rangeText(l.Lost, 100, "%", 0) + " below the roots"
		} else {
			s = fmt.Sprintf("%s: %s drained below the roots", l.Nutrient, kg(l.Amount))
		}
		if l.CoverCut != nil {
			s += fmt.Sprintf("; the cover kept back %s", rangeText(l.CoverCut, 100, "%", 0))
		}
		lines = append(lines, s)
	}
	return lines
}

// lbPer1000 turns kg/ha into lb/1000 sq ft.
const lbPer1000 = 1 / (unit.KgHaPerLbAc * 43.56)

// sensible is how many decimals a figure of that size bears.
func sensible(v float64) int {
	switch v = math.Abs(v); {
	case v >= 10:
		return 0
	case v >= 1:
		return 1
	}
	return 2
}

func rangeText(e *Estimate, scale float64, u string, decimals int) string {
	if e.Low == e.High {
		return fmt.Sprintf("%.*f %s", decimals, e.Value*scale, u)
	}
	return fmt.Sprintf("%.*f %s (%.*f to %.*f)", decimals, e.Value*scale, u, decimals, e.Low*scale, decimals, e.High*scale)
}
