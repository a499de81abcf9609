package analysis

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"carryover/dataset"
	"carryover/dataset/unit"
)

// Review holds all a reader may ask of the yearly review. Values are SI
// whatever units are shown; the field names are stable.
type Review struct {
	Format   string       `json:"format"` // carryover.review/1
	Book     string       `json:"book"`
	Grower   string       `json:"grower"`
	Invented bool         `json:"invented"` // a demo book: nothing in it is real
	AsOf     dataset.Date `json:"as_of"`
	Season   int          `json:"season"` // the season looked back on
	Beds     []BedReview  `json:"beds"`
	// Together are the mean changes of beds that share their reports.
	Together []Together `json:"together"`
	// Duplicates say which default test errors the grower's own samples replace.
	Duplicates []Duplicates `json:"duplicates"`
	Targets    []Target     `json:"targets"`
	Doubts     []Doubt      `json:"doubts"`
	Cautions   []string     `json:"cautions"`
}

// BedReview is one bed's part of the review.
type BedReview struct {
	Grower     string   `json:"grower"`
	Bed        string   `json:"bed"`
	Area       *float64 `json:"area_m2"`
	Was        []string `json:"was,omitempty"`
	State      string   `json:"state"` // do now, test again, wait for spring, leave
	Why        string   `json:"why"`
	Actions    []Action `json:"actions"`
	LabPending bool     `json:"lab_pending"`
	// Judged is the day of the newest test, which the state rests on.
	Judged *dataset.Date `json:"judged_by_test_of"`
	// Lead is set where a test found lead above its level: say it before all else.
	Lead      *LeadScreen    `json:"lead,omitempty"`
	Levels    []Level        `json:"levels"`
	Bands     []Standing     `json:"bands"` // the newest levels, against what is wanted
	Changes   []Change       `json:"changes"`
	Breaks    []Break        `json:"breaks,omitempty"`
	Carryover []Carryover    `json:"carryover"`
	CEC       []EstimatedCEC `json:"estimated_cec"`
	Nitrate   []Nitrate      `json:"nitrate"`
	Salts     []SaltTest     `json:"salts"`
	Inputs    []Input        `json:"inputs"`
	Harvests  []Harvest      `json:"harvests"`
	Lost      []Lost         `json:"lost,omitempty"`
	Took      string         `json:"took,omitempty"` // what the season's fruit took off the bed, in a sentence
	Leaf      []LeafTest     `json:"leaf_tests,omitempty"`
	Advice    []Advice       `json:"advice,omitempty"`
	Doubts    []int          `json:"doubts,omitempty"`
}

// Input is one spreading, or a run of equal ones.
type Input struct {
	Season    int           `json:"season"` // the season it serves
	Date      dataset.Date  `json:"date"`
	DateBasis string        `json:"date_basis"`
	When      string        `json:"when"` // the day as exactly as it is known
	Material  string        `json:"material"`
	Amount    *float64      `json:"amount"` // one time, in Unit
	Unit      string        `json:"unit"`
	Low       *float64      `json:"amount_low,omitempty"` // of an amount that is not exact
	High      *float64      `json:"amount_high,omitempty"`
	About     bool          `json:"about,omitempty"`
	Times     int           `json:"times"`
	Every     *int32        `json:"every_days,omitempty"`
	Until     *dataset.Date `json:"until,omitempty"`
	Placed    string        `json:"placed,omitempty"`
	Reported  Reported      `json:"reported"`
	// Feeds lists the analytes that the material's analysis says it acts on; nil:
	// the book holds no analysis of it.
	Feeds []string `json:"feeds,omitempty"`
}

// Harvest is one weighed fruit or crop.
type Harvest struct {
	Season  int          `json:"season"`
	Date    dataset.Date `json:"date"`
	When    string       `json:"when"`
	Crop    string       `json:"crop,omitempty"`
	Plant   string       `json:"plant,omitempty"`
	Weight  float64      `json:"weight_kg"`
	Weighed string       `json:"weighed"` // scale, taped, guessed
	Row     RowRef       `json:"row"`
}

// Lost is a fruit that did not make it to the scale.
type Lost struct {
	Season int          `json:"season"`
	Date   dataset.Date `json:"date"`
	How    string       `json:"how,omitempty"`
}

// LeafTest is one analyte of a leaf report, of dry matter. Nothing is worked out
// from it.
type LeafTest struct {
	Season    int          `json:"season"`
	Date      dataset.Date `json:"date"`
	When      string       `json:"when"`
	Lab       string       `json:"lab,omitempty"`
	Part      string       `json:"part,omitempty"`
	Analyte   string       `json:"analyte"`
	Value     float64      `json:"value"`
	Unit      string       `json:"unit"`
	Qualifier string       `json:"qualifier,omitempty"`
	Reported  Reported     `json:"reported"`
	Row       RowRef       `json:"row"`
}

// Advice is one line of the lab's own recommendation, as printed.
type Advice struct {
	Date   dataset.Date `json:"date"`
	Lab    string       `json:"lab,omitempty"`
	Item   string       `json:"item"`
	Amount *float64     `json:"amount"` // in Unit, the lab's own
	Unit   string       `json:"unit,omitempty"`
	Text   string       `json:"text,omitempty"`
	Row    RowRef       `json:"row"`
}

// Options of a review.
type Options struct {
	Book     string // name to print
	Invented bool
	South    bool
	AsOf     *dataset.Date // nil: the last record's date
	Targets  []Target
	Select   dataset.Selection
	US       bool // wording of texts: inches, ppm; figures in fields are SI either way
}

// bedWork is one bed on its way through the review.
type bedWork struct {
	history     *dataset.BedHistory
	cal         Calendar
	asOf        dataset.Date
	seasonFacts func(int) bedSeason
	doubts      *doubts
	targets     []Target
	sets        []TargetSet
	duplicates  duplicates
	us          bool
	feeds       func(grower, material string) []string
	carbonate   func(grower, material string) float64 // % of CaCO3 in compost, 0 if not known
	materials   []string                              // names the book has analyses of
	refs        []int                                 // doubts of this bed
	checking    bool                                  // keep notes and rows too
	draw        *[2][]float64                         // reused from estimate to estimate
}

// depth names a level's layer in the reader's units.
func (b *bedWork) depth(l *Level) string {
	if l.DepthTo == nil {
		return "no depth"
	}
	from, u, scale := 0.0, "cm", 1.0
	if l.DepthFrom != nil {
		from = *l.DepthFrom
	}
	if b.us {
		u, scale = "in", unit.CmPerInch
	}
	return fmt.Sprintf("%.3g-%.3g %s", from/scale, *l.DepthTo/scale, u)
}

func (b *bedWork) doubt(code, text string, rows ...RowRef) int {
	if !b.checking {
		rows = nil
	}
	id := b.doubts.add(b.history.Name, code, text, rows...)
	b.refs = addRef(b.refs, id)
	return id
}

// note keeps what only a check of the book tells.
func (b *bedWork) note(code, text string, rows ...RowRef) {
	if b.checking {
		b.doubts.add(b.history.Name, code, text, rows...)
	}
}

// lastRecord returns the last day on which something was tested, advised, spread
// or harvested; a run of spreadings reaches to its end.
func lastRecord(rec *dataset.Records) (last dataset.Date, ok bool) {
	see := func(d dataset.Date) {
		if !ok || d > last {
			last, ok = d, true
		}
	}
	for i := range rec.SoilTests {
		see(rec.SoilTests[i].Date)
	}
	for i := range rec.Amendments {
		a := &rec.Amendments[i]
		see(a.Date)
		if a.Every != nil && a.Until != nil {
			see(*a.Until)
		}
	}
	for i := range rec.Advice {
		see(rec.Advice[i].Date)
	}
	for i := range rec.LeafTests {
		see(rec.LeafTests[i].Date)
	}
	for i := range rec.Harvests {
		see(rec.Harvests[i].Date)
	}
	for i := range rec.Tillage {
		see(rec.Tillage[i].Date)
	}
	for i := range rec.Covers {
		see(rec.Covers[i].Sown)
	}
	return last, ok
}

// NewReview looks back on the records. Beds come in (grower, bed) order.
//
// The error wraps ErrTooFew where there is nothing to look back on: no bed, no
// record, or no bed that the selection names.
func NewReview(book *dataset.Book, rec *dataset.Records, o Options) (*Review, error) {
	last, ok := lastRecord(rec)
	if o.AsOf != nil {
		last = *o.AsOf
	} else if !ok {
		return nil, fmt.Errorf("%w: the book holds no soil test, amendment or harvest yet: fill in a sheet and run: carryover import", ErrTooFew)
	}
	cal := Calendar{South: o.South}
	r := &Review{
		Format: "carryover.review/1", Book: o.Book, Invented: o.Invented, AsOf: last, Season: cal.SeasonOf(last), Targets: o.Targets,
		Beds: []BedReview{}, Together: []Together{}, Doubts: []Doubt{},
		Cautions: []string{
			"Estimates come from published general methods. Confirm rates with your lab and your local extension service.",
			"Lime and sulfur are dusts: still air, gloves, goggles, mask. Raw manure carries pathogens; local rules may limit phosphorus.",
		},
	}
	d := &doubts{}
	growers := map[string]bool{}
	work, twice := worker(rec, o, last)
	r.Duplicates = twice.list()
	for h := range book.Beds(rec, o.Select) {
		x := work(h, d).review(r.Season)
		if slices.ContainsFunc(x.Harvests, func(f Harvest) bool { return f.Season == r.Season }) {
			at, fruit := o, *h
			at.AsOf, fruit.Tests = &last, nil // what fruit takes needs no test
			took := Account(&fruit, r.Season, AccountOptions{Options: at, Materials: rec.Materials, Water: rec.WaterTests, Nutrients: []string{"N", "P", "K"}})
			x.Took = took.Took(o.US)
		}
		r.Beds = append(r.Beds, x)
		growers[h.Grower] = true
		r.Grower = h.Grower
	}
	if len(r.Beds) == 0 {
		return nil, fmt.Errorf("%w: no such bed in the book", ErrTooFew)
	}
	if len(growers) > 1 {
		r.Grower = fmt.Sprintf("%d growers", len(growers))
	}
	slices.SortStableFunc(r.Beds, func(x, y BedReview) int {
		return cmp.Or(natural(x.Grower, y.Grower), natural(x.Bed, y.Bed))
	})
	r.Together = append(r.Together, together(r.Beds)...)
	r.Doubts = append(r.Doubts, d.list...)
	for i := range r.Doubts {
		slices.SortStableFunc(r.Doubts[i].Beds, natural)
	}
	return r, nil
}

// worker gathers what all beds of a book share, and returns what sets one bed out
// to be worked on.
func worker(rec *dataset.Records, o Options, asOf dataset.Date) (work func(*dataset.BedHistory, *doubts) *bedWork, twice duplicates) {
	shared := bedWork{cal: Calendar{South: o.South}, asOf: asOf, targets: o.Targets, sets: TargetSets(), us: o.US, draw: &[2][]float64{},
		feeds: feedsOf(rec), carbonate: carbonateOf(rec), duplicates: duplicatesOf(rec.SoilTests, asOf)}
	for i := range rec.Materials {
		if m := rec.Materials[i].Material; !slices.Contains(shared.materials, m) {
			shared.materials = append(shared.materials, m)
		}
	}
	return func(h *dataset.BedHistory, d *doubts) *bedWork {
		b := shared
		b.history, b.doubts, b.seasonFacts = h, d, b.cal.seasonsOf(h, asOf)
		return &b
	}, shared.duplicates
}

// natural compares names as people order them: plot 2 before plot 10.
func natural(x, y string) int {
	for x != "" && y != "" {
		dx, dy := digits(x), digits(y)
		if dx > 0 && dy > 0 {
			nx, ny := strings.TrimLeft(x[:dx], "0"), strings.TrimLeft(y[:dy], "0")
			if c := cmp.Or(cmp.Compare(len(nx), len(ny)), strings.Compare(nx, ny)); c != 0 {
				return c
			}
			x, y = x[dx:], y[dy:]
			continue
		}
		if x[0] != y[0] {
			return cmp.Compare(x[0], y[0])
		}
		x, y = x[1:], y[1:]
	}
	return cmp.Compare(len(x), len(y))
}

// digits counts the digits s begins with.
func digits(s string) int {
	n := 0
	for n < len(s) && s[n] >= '0' && s[n] <= '9' {
		n++
	}
	return n
}

// feedsOf tells, from the materials' analyses, which analytes each acts on:
// carbonate and elemental sulfur act on pH, organic matter on OM, nitrogen on
// nitrate, other nutrients on themselves.
func feedsOf(rec *dataset.Records) func(grower, material string) []string {
	type key struct{ grower, material string }
	m := map[key][]string{}
	for i := range rec.Materials {
		x := &rec.Materials[i]
		k := key{x.Grower, strings.ToLower(x.Material)}
		if m[k] == nil {
			m[k] = []string{}
		}
		a := x.Component
		switch {
		case x.Value == 0:
			continue
		case a == "CCE" || a == "ENV":
			a = "pH"
		case a == "N":
			a = "NO3-N"
		}
		if a == "S" && x.Kind == "sulfur" && !slices.Contains(m[k], "pH") {
			m[k] = append(m[k], "pH")
		}
		if !slices.Contains(m[k], a) {
			m[k] = append(m[k], a)
		}
	}
	return func(grower, material string) []string { return m[key{grower, strings.ToLower(material)}] }
}

// carbonateOf tells the lime in composts by their analyses.
func carbonateOf(rec *dataset.Records) func(grower, material string) float64 {
	type key struct{ grower, material string }
	m := map[key]float64{}
	for i := range rec.Materials {
		if x := &rec.Materials[i]; x.Component == "CCE" && x.Kind == "compost" {
			k := key{x.Grower, strings.ToLower(x.Material)}
			m[k] = max(m[k], x.Value)
		}
	}
	return func(grower, material string) float64 { return m[key{grower, strings.ToLower(material)}] }
}

// review works one bed out.
func (b *bedWork) review(season int) BedReview {
	h := b.history
	out := BedReview{Grower: h.Grower, Bed: h.Name, Changes: []Change{}, Carryover: []Carryover{}, Inputs: []Input{}, Harvests: []Harvest{}, Actions: []Action{},
		Bands: []Standing{}, CEC: []EstimatedCEC{}, Nitrate: []Nitrate{}, Salts: []SaltTest{}}
	if d := b.descriptionAt(b.asOf); d != nil {
		out.Area = d.Area
	}
	for i := range h.Descriptions {
		if was := h.Descriptions[i].Was; was != "" && h.Descriptions[i].From <= b.asOf {
			out.Was = append(out.Was, was)
		}
	}
	out.Inputs = append(out.Inputs, b.inputs()...)
	b.harvests(&out)
	for i := range h.LeafTests {
		if l := &h.LeafTests[i]; l.Date <= b.asOf {
			out.Leaf = append(out.Leaf, LeafTest{b.cal.SeasonOf(l.Date), l.Date, whenText(l.Date, l.DateBasis, b.cal), l.Lab, l.Part, l.Analyte, l.Value, l.Unit, l.Qualifier,
				Reported{Value: l.ReportedValue, Unit: l.ReportedUnit}, refOf(l.Source)})
		}
	}
	slices.SortStableFunc(out.Leaf, func(x, y LeafTest) int { // as a leaf report lists them
		at := func(l LeafTest) int { return strings.Index("N,P,K,Ca,Mg,S,B,Zn,Mn,Fe,Cu,", l.Analyte+",") }
		return cmp.Or(cmp.Compare(x.Date, y.Date), strings.Compare(x.Lab, y.Lab), strings.Compare(x.Part, y.Part), cmp.Compare(at(x), at(y)))
	})
	for i := range h.Advice {
		if a := &h.Advice[i]; a.Date <= b.asOf {
			out.Advice = append(out.Advice, Advice{a.Date, a.Lab, a.Item, a.Amount, a.Unit, a.Text, refOf(a.Source)})
		}
	}
	out.Levels = append([]Level{}, b.levels()...)
	b.sameDay(out.Levels)
	changes, breaks := b.changes(out.Levels)
	out.Changes, out.Breaks = append(out.Changes, changes...), breaks
	b.unlikeSamples(&out) // before slips: a mixed sample is none
	b.slips(out.Levels)
	out.Carryover = append(out.Carryover, b.carryover(out.Levels)...)
	out.CEC = append(out.CEC, b.estimatedCECs(out.Levels)...)
	out.Nitrate = append(out.Nitrate, b.nitrates(out.Levels)...)
	out.Salts = append(out.Salts, b.saltTests(out.Levels)...)
	out.Lead = b.screenLead(out.Levels)
	b.skipped(out.Levels, season)
	b.state(&out, season)
	slices.Sort(b.refs)
	out.Doubts = b.refs
	return out
}

// descriptionAt returns what is known of the bed on a day: the last description
// from before it, else the first.
func (b *bedWork) descriptionAt(on dataset.Date) *dataset.Bed {
	var at *dataset.Bed
	for i := range b.history.Descriptions {
		if d := &b.history.Descriptions[i]; at == nil || d.From <= on {
			at = d
		}
	}
	return at
}

func (b *bedWork) inputs() (out []Input) {
	for i := range b.history.Amendments {
		a := &b.history.Amendments[i]
		if a.Date > b.asOf {
			continue
		}
		in := Input{
			Season: b.cal.inputSeason(a.Date, b.seasonFacts), Date: a.Date, DateBasis: a.DateBasis, When: whenText(a.Date, a.DateBasis, b.cal), Material: a.Material,
			Amount: a.Amount, Unit: a.Unit, Low: a.AmountLow, High: a.AmountHigh, About: a.Qualifier != "", Times: 1, Every: a.Every, Until: a.Until, Placed: a.Placed,
			Reported: Reported{Unit: a.ReportedUnit, Row: refOf(a.Source)}, Feeds: b.feeds(a.Grower, a.Material),
		}
		if a.ReportedAmount != nil {
			in.Reported.Value = *a.ReportedAmount
		}
		b.doubtInput(a, in.When)
		if a.Every != nil && *a.Every > 0 && a.Until != nil {
			in.Times = int((min(*a.Until, b.asOf)-a.Date)/dataset.Date(*a.Every)) + 1
		}
		out = append(out, in)
	}
	slices.SortStableFunc(out, func(x, y Input) int {
		return cmp.Or(cmp.Compare(x.Season, y.Season), cmp.Compare(x.Date, y.Date))
	})
	return out
}

// Figures past which a slip is likelier than a fact.
const (
	// mostLime is above any rate in the sources we know, kg/ha of carbonate;
	// long-term trials went to 15,000 at once.
	mostLime = 25000
	// heaviest is above any fruit weighed so far, kg; from memory.
	heaviest = 1400
)

// doubtInput asks after a spreading that cannot be as written, or whose
// material is not known.
func (b *bedWork) doubtInput(a *dataset.Amendment, when string) {
	if b.feeds(a.Grower, a.Material) == nil {
		text := fmt.Sprintf("the book holds no analysis of %q: shown, but what it brings is not known", a.Material)
		if near := unit.Near(a.Material, b.materials); len(near) > 0 {
			text += ": did you mean " + strings.Join(near, " or ") + "?"
		}
		b.doubt("material", text, refOf(a.Source))
	}
	if a.Amount == nil || !limes(a.Material) {
		return
	}
	rate := 0.0
	switch d := b.descriptionAt(a.Date); {
	case a.Unit == "kg/ha":
		rate = *a.Amount
	case a.Unit == "kg" && d != nil && d.Area != nil && *d.Area > 0:
		rate = *a.Amount / *d.Area * 1e4
	}
	if rate > mostLime {
		b.doubt("slip", fmt.Sprintf("%s of %s is beyond any usual rate: a slip in the amount or unit?", a.Material, when), refOf(a.Source))
	}
}

func (b *bedWork) harvests(out *BedReview) {
	type fruit struct {
		on    dataset.Date
		plant string
	}
	seen := map[fruit]bool{}
	for i := range b.history.Harvests {
		h := &b.history.Harvests[i]
		if h.Date > b.asOf {
			continue
		}
		when := whenText(h.Date, h.DateBasis, b.cal)
		if h.Weight > heaviest && isPumpkin(h.Crop) {
			b.doubt("slip", fmt.Sprintf("the weight of %s is beyond any fruit weighed so far: a slip?", when), refOf(h.Source))
		}
		if f := (fruit{h.Date, h.Plant}); seen[f] {
			b.doubt("weight", fmt.Sprintf("two weights of %s name no plant, or the same: two fruit, or one weighed twice?", when), refOf(h.Source))
		} else {
			seen[f] = true
		}
		out.Harvests = append(out.Harvests, Harvest{b.cal.SeasonOf(h.Date), h.Date, whenText(h.Date, h.DateBasis, b.cal), h.Crop, h.Plant, h.Weight, h.Weighed, refOf(h.Source)})
		if h.Weighed != "scale" {
			b.doubt("weight", fmt.Sprintf("the weight of %s was %s, not put on a scale", whenText(h.Date, h.DateBasis, b.cal), h.Weighed), refOf(h.Source))
		}
	}
	for i := range b.history.Plantings {
		if p := &b.history.Plantings[i]; p.FruitLost != nil && *p.FruitLost <= b.asOf {
			out.Lost = append(out.Lost, Lost{int(p.Season), *p.FruitLost, p.LostHow})
		}
	}
}

// betweenDoubts are the doubts that what happened between two tests casts on
// their difference.
func (b *bedWork) betweenDoubts(x, y *Level) (refs []int) {
	add := func(code, text string, rows ...RowRef) { refs = addRef(refs, b.doubt(code, text, rows...)) }
	areas := map[string]float64{} // of the bed and of those it was before
	for i := range b.history.Descriptions {
		d := &b.history.Descriptions[i]
		before := areas[d.Bed]
		if before == 0 { // a new name; joined beds are new ground anyway
			before = areas[strings.TrimSpace(d.Was)]
		}
		if before > 0 && d.Area != nil && *d.Area > before*1.02 && d.From > x.Date && d.From <= y.Date {
			add("bed widened", fmt.Sprintf("the bed grew by %.0f %% on %s: new ground is mixed into later tests", 100*(*d.Area/before-1), d.From), refOf(d.Source))
		}
		areas[d.Bed] = before
		if d.Area != nil {
			areas[d.Bed] = *d.Area
		}
	}
	if y.Analyte != "Ca" && y.Analyte != "Mg" && y.Analyte != "pH" {
		return refs
	}
	var spread []string
	var rows []RowRef
	between := false
	for i := range b.history.Amendments {
		a := &b.history.Amendments[i]
		if !limes(a.Material) && !acidifies(a.Material) || y.Analyte == "pH" && gypsum(a.Material) || a.Date > b.asOf {
			continue
		}
		spread, rows = append(spread, fmt.Sprintf("%s %s", a.Date, a.Material)), append(rows, refOf(a.Source))
		between = between || before(a, y) && !before(a, x)
	}
	if between {
		add("spread between", "changes of pH, Ca and Mg across these are not the soil's own: "+strings.Join(spread, ", "), rows...)
	}
	if y.Analyte == "pH" || !b.freshLime(x) && !b.freshLime(y) {
		return refs
	}
	// Undissolved lime and gypsum read as calcium in an acid extract.
	var fresh []string
	rows = nil
	for i := range b.history.Tests {
		t := &b.history.Tests[i]
		l := Level{Date: t.Date, When: whenText(t.Date, t.DateBasis, b.cal)}
		if t.Analyte == "Ca" && t.Date <= b.asOf && b.freshLime(&l) && !slices.Contains(fresh, l.When) {
			fresh = append(fresh, l.When)
			rows = append(rows, refOf(t.Source))
		}
	}
	add("fresh lime", "lime or gypsum within a year before the tests of "+listDays(fresh)+": undissolved, it reads as high Ca (and Mg)", rows...)
	return refs
}

// freshLime reports whether lime or gypsum was spread in the year before a test.
func (b *bedWork) freshLime(l *Level) bool {
	return slices.ContainsFunc(b.history.Amendments, func(a dataset.Amendment) bool {
		return limes(a.Material) && before(&a, l) && l.Date-a.Date < 365
	})
}

// sameDay doubts tests on a day on which something that acts on them was spread,
// once or as one of a run, where the book does not say which came first. What has
// no analysis may bring anything.
func (b *bedWork) sameDay(levels []Level) {
	for i := range b.history.Amendments {
		a := &b.history.Amendments[i]
		if a.SameDay != "" || a.DateBasis != dataset.ByDay || a.Date > b.asOf {
			continue
		}
		feeds := b.feeds(a.Grower, a.Material)
		acts := func(l *Level) bool {
			u, ok := unit.ByID(l.Analyte)
			switch {
			case feeds == nil && limes(a.Material):
				return slices.Contains([]string{"pH", "Ca", "Mg"}, l.Analyte)
			case feeds == nil:
				return ok && (u.Kind == unit.Fraction && l.Analyte != "Pb" && l.Analyte != "Al" || slices.Contains([]string{"pH", "OM", "EC"}, l.Analyte))
			case limes(a.Material) && !gypsum(a.Material) && l.Analyte == "Ca":
				return true // an analysis of lime often gives its carbonate alone
			}
			return slices.Contains(feeds, l.Analyte) || l.Analyte == "NH4-N" && slices.Contains(feeds, "NO3-N") ||
				(l.Analyte == "OC" || l.Analyte == "total C") && slices.Contains(feeds, "OM")
		}
		var days []dataset.Date
		at := map[dataset.Date][]*Level{}
		for j := range levels {
			l := &levels[j]
			if !spreadOn(a, l.Date) || l.DateBasis != dataset.ByDay || !l.Top() || !acts(l) {
				continue
			}
			if at[l.Date] == nil {
				days = append(days, l.Date)
			}
			at[l.Date] = append(at[l.Date], l)
		}
		slices.Sort(days)
		for _, d := range days {
			rows := []RowRef{refOf(a.Source)}
			for _, l := range at[d] {
				rows = append(rows, l.rows()...)
			}
			id := b.doubt("same day", fmt.Sprintf("%s was spread on %s, the day of a test, before or after it is not said: if before, the test holds it", a.Material, d), rows...)
			for _, l := range at[d] {
				l.Doubts = addRef(l.Doubts, id)
			}
		}
	}
}

// spreadOn reports whether a spreading, or one of its run, fell on a day.
func spreadOn(a *dataset.Amendment, on dataset.Date) bool {
	if on == a.Date {
		return true
	}
	return a.Every != nil && *a.Every > 0 && a.Until != nil && on > a.Date && on <= *a.Until && int32(on-a.Date)%*a.Every == 0
}

// limes tells lime and gypsum by name; the material's own kind is not needed to
// raise a doubt.
func limes(material string) bool {
	m := " " + strings.ToLower(material) + " " // "ash" is a word of its own: potash is no ash
	for _, w := range []string{"lime", "chalk", "dolomit", "gypsum", "marl", " ash ", "calcite"} {
		if strings.Contains(m, w) {
			return true
		}
	}
	return false
}

// gypsum moves no pH; it does bring Ca.
func gypsum(material string) bool { return strings.Contains(strings.ToLower(material), "gypsum") }

// acidifies tells elemental sulfur by name, the sulfates apart.
func acidifies(material string) bool {
	m := strings.ToLower(material)
	return (strings.Contains(m, "sulfur") || strings.Contains(m, "sulphur")) && !strings.Contains(m, "sulfate") && !strings.Contains(m, "sulphate")
}

// skipped names seasons without a spring or an autumn test, and windows that
// hold several.
func (b *bedWork) skipped(levels []Level, season int) {
	type window struct {
		year   int
		timing string
	}
	days := map[window][]dataset.Date{}
	rows := map[window][]RowRef{}
	first, last := math.MaxInt, math.MinInt
	for i := range levels {
		l := &levels[i]
		if !l.Top() || l.Timing == MidSeason {
			continue
		}
		w := window{l.Season, l.Timing}
		rows[w] = append(rows[w], l.rows()...)
		if !slices.Contains(days[w], l.Date) {
			days[w] = append(days[w], l.Date)
		}
		first, last = min(first, l.Season), max(last, l.Season)
	}
	springs, autumns := 0, 0
	for w := range days {
		if w.timing == Spring {
			springs++
		} else {
			autumns++
		}
	}
	if few := min(springs, autumns); few > 0 && few*5 <= max(springs, autumns) {
		rare, often := Spring, Autumn
		if autumns < springs {
			rare, often = Autumn, Spring
		}
		b.doubt("once a year", fmt.Sprintf("tested mostly in %s (%d times in %s, %d in %s): the year's change is shown where a season has no pair", often, max(springs, autumns), often, few, rare))
		return
	}
	if springs == 0 && autumns > 1 {
		b.doubt("once a year", "tested in autumn only: the year's change is shown; what the season took and what the winter did cannot be told apart")
	}
	if autumns == 0 && springs > 1 {
		b.doubt("once a year", "tested in spring only: the year's change is shown; what the season took and what the winter did cannot be told apart")
	}
	var none []string
	for y := first; y <= last; y++ {
		for _, t := range []string{Spring, Autumn} {
			d := days[window{y, t}]
			switch {
			case len(d) > 1:
				slices.Sort(d)
				use := "drawdown uses the last, the winter change the first"
				if t == Autumn {
					use = "drawdown uses the first, the winter change the last"
				}
				b.doubt("several tests", fmt.Sprintf("%s %d holds %d tests (%s to %s): of what several measure, %s", t, y, len(d), d[0], d[len(d)-1], use), rows[window{y, t}]...)
			case len(d) == 0 && springs > 0 && autumns > 0 && (y > first || t == Autumn) && (y < last || t == Spring):
				none = append(none, fmt.Sprintf("%s %d", t, y))
			}
		}
	}
	if len(none) > 0 {
		b.doubt("no test", "no test in "+strings.Join(none, ", "))
	}
}
