package analysis

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"carryover/analysis/fit"
	"carryover/dataset"
	"carryover/dataset/unit"
)

// ElementMass returns the mass of the element in an amount of product whose label
// prints percent of a form (N, P2O5, K2O, MgO, SO3 ...): 50 kg of 10 % P2O5 hold
// 2.18 kg P. The units of both masses are the same.
//
// The error wraps unit.ErrUnit for a form we do not know.
func ElementMass(product, percent float64, form string) (float64, error) {
	m, err := unit.Component(form, percent, "%")
	return product * m.Value / 100, err
}

// ProductFor returns the product whose label prints percent of a form that holds
// a mass of the element; it undoes ElementMass. The error wraps unit.ErrUnit for
// a form we do not know and for a label of none.
func ProductFor(element, percent float64, form string) (float64, error) {
	one, err := ElementMass(1, percent, form)
	if err == nil && one == 0 {
		err = fmt.Errorf("%w: a product of 0 %% %s brings none: expected more than 0", unit.ErrUnit, form)
	}
	if err != nil {
		return 0, err
	}
	return element / one, nil
}

// How far a figure of an analysis may be off, 95 %; from memory.
const (
	labelOff   = 0.05
	labOff     = 0.15 // one report stands for a pile
	typicalOff = 0.30
	densityOff = 0.15
)

// What stands in where an analysis is silent.
var (
	// finishedCompost is the moisture of finished compost, %.
	// Source: Pennsylvania State University, compost analysis interpretation.
	finishedCompost = Range95{35, 45, 55}
	// rawManure is the same of manure; from memory.
	rawManure = Range95{50, 65, 80}
	// pile is the density of compost as it lies, 700-1,200 lb a cubic yard; from memory.
	pile = between(700*unit.KgPerPound/(27*unit.M3PerCuFt), 1200*unit.KgPerPound/(27*unit.M3PerCuFt))
	// feed is the density of a liquid fertilizer, kg/m3; from memory.
	feed = Range95{1000, 1150, 1350}
	// bulk is the density of a dry product, kg/m3; from memory.
	bulk = Range95{650, 950, 1300}
)

// facts are what is known of a material on a day.
type facts struct {
	name    string
	kind    string
	row     map[string]*dataset.Material // own analysis, by component
	typical *TypicalMaterial
	grade   Content
}

// organic tells compost and manure, of which only a part acts in the season.
func (f *facts) organic() bool { return f.kind == "compost" || f.kind == "manure" }

// resolve gathers what is known of a material on a day: of each component the
// newest figure up to that day. Where two stand for one day, as spread comes
// before dry.
func (a *accounting) resolve(grower, name string, on dataset.Date) *facts {
	f := &facts{name: name, typical: typicalOf(a.typical, name), row: map[string]*dataset.Material{}}
	better := func(x, y *dataset.Material) bool { // x than y
		rank := func(m *dataset.Material) (int, dataset.Date) {
			switch {
			case m.From == nil:
				return 1, 0
			case *m.From <= on:
				return 2, *m.From
			}
			return 0, -*m.From
		}
		rx, dx := rank(x)
		ry, dy := rank(y)
		dry := func(m *dataset.Material) int {
			if m.Basis == "dry" {
				return 1
			}
			return 0
		}
		return cmp.Or(cmp.Compare(rx, ry), cmp.Compare(dx, dy), cmp.Compare(dry(y), dry(x))) > 0
	}
	for _, m := range a.materials[materialKey{grower, strings.ToLower(name)}] {
		if y := f.row[m.Component]; y == nil || better(m, y) {
			f.row[m.Component] = m
		}
		f.kind = cmp.Or(f.kind, m.Kind)
	}
	n := strings.ToLower(name)
	switch {
	case f.kind != "":
	case strings.Contains(n, "compost") || strings.Contains(n, "leaf mould") || strings.Contains(n, "leaf mold"):
		f.kind = "compost"
	case strings.Contains(n, "manure"):
		f.kind = "manure"
	case f.typical != nil:
		f.kind = f.typical.Kind
	}
	if len(f.row) == 0 {
		f.grade = gradeOf(name)
	}
	return f
}

type materialKey struct{ grower, material string }

// indexMaterials lists the analyses by material.
func indexMaterials(list []dataset.Material) map[materialKey][]*dataset.Material {
	m := map[materialKey][]*dataset.Material{}
	for i := range list {
		k := materialKey{list[i].Grower, strings.ToLower(list[i].Material)}
		m[k] = append(m[k], &list[i])
	}
	return m
}

// known reports whether anything is known of what the material holds.
func (f *facts) known() bool {
	for _, n := range nutrients {
		if f.row[n] != nil {
			return true
		}
	}
	return f.row["CCE"] != nil || len(f.row) == 0 && (f.typical != nil || f.grade != nil)
}

// off is how far a row's figure may be off.
func off(m *dataset.Material) float64 {
	switch m.Origin {
	case "lab":
		return labOff
	case "typical":
		return typicalOff
	}
	return labelOff
}

// content returns what a material holds of a component, % as the figure's own
// basis has it; dry and unclear say which basis that is.
func (f *facts) content(n string) (r Range95, dry, unclear bool, source string) {
	if m := f.row[n]; m != nil {
		source = cmp.Or(m.Origin, "label")
		switch source {
		case "label":
			source = "label of " + f.name
		case "lab":
			source = "lab report of " + f.name
		case "typical":
			source = "typical figures, as the book has them"
		}
		unclear = m.Basis == "" && f.organic() && m.Origin != "label"
		return within(m.Value, off(m)), m.Basis == "dry", unclear, source
	}
	if len(f.row) > 0 {
		return Range95{}, false, false, ""
	}
	if r, ok := f.grade[n]; ok {
		return within(r.Mid, labelOff), false, false, "grade in the name"
	}
	if f.typical != nil && (f.grade == nil || n != "N" && n != "P" && n != "K") {
		if r, ok := f.typical.Content[n]; ok {
			if r.Low == r.High {
				r = within(r.Mid, labelOff)
			}
			return r, false, false, "typical: " + f.typical.Source
		}
	}
	return Range95{}, false, false, ""
}

// Shares of a compost's or manure's nutrients that act in the first season, and
// in the next two, of what was brought. Bounds from memory but for those named.
//
// Sources: N of compost 5-10 % (Hartz, University of California Davis), little
// more over 3-4 years: 13-23 % (Horrocks et al. 2016, Agronomy 6:35); P of manure
// 40 % in the year, as much again later, N about half (Brown 2013, OMAFRA Factsheet
// 13-043). Of compost P there is no agreed figure.
func (f *facts) acts(n string) (share Range95, all bool, source string) {
	const memory = "share that acts in the first season from memory"
	switch {
	case n == "N" && f.kind == "manure":
		return Range95{0.10, 0.30, 0.50}, false, "manure N: Brown 2013, less for autumn spreading"
	case n == "N" && f.kind == "compost":
		return f.compostN()
	case n == "N" && f.typical != nil && f.typical.FreeN != nil:
		return *f.typical.FreeN, false, memory
	case n == "P" && f.kind == "manure":
		return Range95{0.30, 0.40, 0.50}, false, "manure P: Brown 2013"
	case n == "P" && f.kind == "compost":
		return Range95{0.20, 0.45, 0.80}, false, "compost P: no agreed figure, from memory"
	case n == "P" && f.typical != nil && f.typical.Name == "bone meal":
		return Range95{0.10, 0.40, 0.80}, false, memory
	case n == "K" && f.organic():
		return Range95{0.80, 0.90, 1}, false, "K of compost and manure from memory"
	case n == "S" && f.organic():
		return Range95{0.05, 0.15, 0.40}, false, memory
	case (n == "Ca" || n == "Mg") && f.organic():
		return Range95{0.5, 0.75, 1}, false, memory
	case n == "B" && f.organic():
		return Range95{0.3, 0.6, 0.9}, false, memory
	case n == "Zn" && f.organic():
		return Range95{0.05, 0.25, 0.5}, false, memory
	case n == "S" && f.kind == "sulfur":
		return Range95{0.3, 0.6, 0.9}, false, memory
	}
	return Range95{1, 1, 1}, true, ""
}

// later is the share that acts a season or two later; nil: none worth a line.
func (f *facts) later(n string, lag int) *Range95 {
	if !f.organic() || lag < 1 || lag > 2 {
		return nil
	}
	switch {
	case n == "N":
		return []*Range95{{0.03, 0.05, 0.07}, {0.02, 0.03, 0.04}}[lag-1]
	case n == "P" && f.kind == "manure":
		return []*Range95{{0.10, 0.20, 0.30}, {0.05, 0.10, 0.20}}[lag-1]
	case n == "P":
		return []*Range95{{0, 0.15, 0.30}, {0, 0.08, 0.20}}[lag-1]
	case n == "K" && lag == 1:
		return &Range95{0, 0.05, 0.10}
	}
	return nil
}

// spreading is one material of a season, all its events together.
type spreading struct {
	facts   *facts
	kg      fit.Quantity // as spread, all events
	mid     float64      // the same, without its range
	seen    float64      // of mid: between the two tests
	below   float64      // of mid: worked in below the sampled depth
	times   int
	on      dataset.Date
	dry     fit.Quantity // dry share of the product; nil until asked for
	unclear fit.Quantity
	doubts  []int
	content map[string]fit.Quantity // kg in all
}

// spreadings gathers what was spread for a season. lag 0 is the season of the
// account; doubts are told for that only.
func (w *seasonWork) spreadings(season int) (out []*spreading) {
	telling := season == w.season
	tell := func(code, text string, rows ...RowRef) int {
		if !telling {
			return 0
		}
		return w.doubt(code, text, rows...)
	}
	for i := range w.history.Amendments {
		a := &w.history.Amendments[i]
		times, seen := 0, 0
		day := func(d dataset.Date) {
			if d > w.asOf || w.cal.inputSeason(d, w.seasonFacts) != season {
				return
			}
			times++
			if !w.paired || (d > w.from || d == w.from && a.SameDay == "after test") && (d < w.to || d == w.to && a.SameDay == "before test") {
				seen++
			}
		}
		day(a.Date)
		if a.Every != nil && *a.Every > 0 && a.Until != nil {
			for d := a.Date + dataset.Date(*a.Every); d <= min(*a.Until, w.asOf); d += dataset.Date(*a.Every) {
				day(d)
			}
		}
		if times == 0 {
			continue
		}
		f := w.resolve(a.Grower, a.Material, a.Date)
		rows := refOf(a.Source)
		when := whenText(a.Date, a.DateBasis, w.cal)
		if !f.known() {
			tell("material", fmt.Sprintf("what %q holds is not known: %s of it is not counted; a label or analysis would", a.Material, when), rows)
			continue
		}
		if sum := f.sum(); sum > 100 {
			tell("above 100", fmt.Sprintf("the analysis of %q adds up to %.0f %%: not counted until it is mended", a.Material, sum), rows)
			continue
		}
		if len(f.row) == 0 {
			taken := "typical figures are"
			if f.grade != nil {
				taken = "the grade in its name is"
			}
			tell("typical", fmt.Sprintf("the book has no label or analysis of %q: %s taken; the bag wins", a.Material, taken), rows)
		}
		s := w.spread(&out, f, a)
		q, mid, doubts, ok := w.amount(a, f, tell)
		if !ok {
			continue
		}
		for _, id := range doubts {
			if id != 0 {
				s.doubts = addRef(s.doubts, id)
			}
		}
		s.kg.Add(s.kg, q.Scale(q, float64(times)))
		s.mid += mid * float64(times)
		s.seen += mid * float64(seen)
		s.times += times
		if a.MixedDepth != nil && w.depth > 0 && *a.MixedDepth > w.depth*1.02 {
			s.below += mid * float64(times) * (1 - w.depth / *a.MixedDepth)
		}
	}
	return slices.DeleteFunc(out, func(s *spreading) bool { return s.mid == 0 })
}

// spread returns the entry of a material, made when first met. Two reports of one
// material are two entries.
func (w *seasonWork) spread(list *[]*spreading, f *facts, a *dataset.Amendment) *spreading {
	for _, s := range *list {
		if strings.EqualFold(s.facts.name, f.name) && sameRows(s.facts, f) {
			return s
		}
	}
	s := &spreading{facts: f, kg: w.quantity().Constant(0), on: a.Date, content: map[string]fit.Quantity{}}
	*list = append(*list, s)
	return s
}

func sameRows(x, y *facts) bool {
	if len(x.row) != len(y.row) {
		return false
	}
	for k, v := range x.row {
		if y.row[k] != v {
			return false
		}
	}
	return true
}

// sum adds a material's figures as a label prints them.
func (f *facts) sum() (sum float64) {
	for _, n := range []string{"N", "P", "K", "Ca", "Mg", "S", "B", "Zn", "Mn", "Fe", "Cu", "Na", "Cl"} {
		r, _, _, _ := f.content(n)
		v := r.Mid
		switch n {
		case "P":
			v *= factorTo("P2O5")
		case "K":
			v *= factorTo("K2O")
		}
		sum += v
	}
	return sum
}

// factorTo turns an element into a form of it.
func factorTo(form string) float64 {
	f, ok := unit.FormFactor(form)
	if !ok {
		return 1
	}
	return 1 / f
}

// amount returns what was spread one time, kg of the product as it is.
func (w *seasonWork) amount(a *dataset.Amendment, f *facts, tell func(string, string, ...RowRef) int) (q fit.Quantity, mid float64, doubts []int, ok bool) {
	rows := refOf(a.Source)
	when := whenText(a.Date, a.DateBasis, w.cal)
	if a.Amount == nil {
		tell("amount", fmt.Sprintf("how much %s was spread on %s is not known: not counted, so what was given is at least what is shown", a.Material, when), rows)
		return nil, 0, nil, false
	}
	r := Range95{*a.Amount, *a.Amount, *a.Amount}
	switch {
	case a.AmountLow != nil && a.AmountHigh != nil && *a.AmountLow <= *a.Amount && *a.Amount <= *a.AmountHigh:
		r.Low, r.High = *a.AmountLow, *a.AmountHigh
	case a.Qualifier != "":
		r = within(*a.Amount, unit.AboutShare)
	}
	q, by, volume := w.quantity(), 1.0, false
	switch a.Unit {
	case "kg":
	case "kg/ha":
		by = w.area / 1e4
	case "L":
		by, volume = 1e-3, true
	case "L/ha":
		by, volume = 1e-3*w.area/1e4, true
	case "m3":
		volume = true
	case "cm":
		by, volume = w.area/100, true
	}
	if by == 0 {
		doubts = append(doubts, tell("area", fmt.Sprintf("%s of %s is given by area, and the bed has none: not counted", a.Material, when), rows))
		return nil, 0, doubts, false
	}
	q = r.scale(by).draw(q, drawAmount)
	mid = r.Mid * by
	if volume {
		d := bulk
		switch m := f.row["density"]; {
		case m != nil && m.Value > 0:
			d = within(m.Value, densityOff)
		default:
			switch {
			case f.organic():
				d = pile
			case strings.HasPrefix(a.Unit, "L"):
				d = feed
			}
			doubts = append(doubts, tell("density", fmt.Sprintf("%s is given by volume and its density is not known: %.0f-%.0f kg/m3 is taken; weigh a bucket of known volume", a.Material, d.Low, d.High), rows))
		}
		q.Mul(q, d.draw(w.scratch, drawDensity))
		mid *= d.Mid
	}
	return q, mid, doubts, true
}

// holds returns what a spreading brought of a component, kg, and where the figure
// comes from; nil: none, or not known.
func (w *seasonWork) holds(s *spreading, n string) (fit.Quantity, string) {
	r, dry, unclear, source := s.facts.content(n)
	if r.High <= 0 {
		return nil, ""
	}
	if q := s.content[n]; q != nil {
		return q, source
	}
	q := r.scale(0.01).draw(w.quantity(), drawContent)
	q.Mul(q, s.kg)
	switch {
	case dry:
		q.Mul(q, w.dryShare(s, n))
	case unclear:
		if s.unclear == nil {
			s.doubts = addRef(s.doubts, w.doubt("basis", fmt.Sprintf("whether the analysis of %q is of the dry or the moist product is not said: both readings are within its range", s.facts.name)))
			// Between the two readings.
			u, d := w.quantity().Uniform(drawBasis, 0, 1), w.dryShare(s, n)
			s.unclear = w.quantity()
			for i := range u {
				s.unclear[i] = d[i] + u[i]*(1-d[i])
			}
		}
		q.Mul(q, s.unclear)
	}
	s.content[n] = q
	return q, source
}

// dryShare is the dry share of a product as it was spread.
func (w *seasonWork) dryShare(s *spreading, n string) fit.Quantity {
	if s.dry != nil {
		return s.dry
	}
	r := finishedCompost
	switch m := s.facts.row["moisture"]; {
	case m != nil && m.Value < 100:
		r = Range95{max(0, m.Value-6), m.Value, min(100, m.Value+6)}
		if !s.facts.organic() { // a dry product is weighed dry
			r = Range95{m.Value, m.Value, m.Value}
		}
	default:
		if s.facts.kind == "manure" {
			r = rawManure
		}
		if !s.facts.organic() {
			r = Range95{0, 2, 6}
		}
		s.doubts = addRef(s.doubts, w.doubt("moisture", fmt.Sprintf("the analysis of %q is dry and its moisture is not known: %.0f-%.0f %% is taken, which widens all it brought", s.facts.name, r.Low, r.High)))
	}
	s.dry = r.scale(0.01).draw(w.quantity(), drawMoisture)
	s.dry.Shift(s.dry.Scale(s.dry, -1), 1)
	return s.dry.Clamp(s.dry, 0, 1)
}

// given adds what was spread of one nutrient: what acts in the season, what is
// held for later, what lies below the sampled depth, and what earlier compost and
// manure still give.
func (w *seasonWork) given(n string) {
	var belowSum fit.Quantity
	for _, s := range w.spread0 {
		q, source := w.holds(s, n)
		if q == nil {
			continue
		}
		term := s.facts.name
		if s.times > 1 {
			term += fmt.Sprintf(" (%d times)", s.times)
		}
		doubts := slices.Clone(s.doubts)
		if w.feeds != 0 {
			doubts = addRef(doubts, w.feeds)
		}
		share, all, how := s.facts.acts(n)
		acting := q
		if !all {
			source += "; " + how
			dim := drawFree
			if !s.facts.organic() {
				dim = drawMeal
			}
			free := share.draw(w.quantity(), dim)
			if share.Low >= 0 {
				free.Clamp(free, 0, 1)
			}
			acting = w.quantity().Mul(q, free)
			term += ": acts in the first season"
			rest := w.quantity()
			w.add(n, Within, s.facts.name+": held for later", rest.Sub(q, acting), s.times, 0, source, doubts...)
		}
		w.add(n, Source, term, acting, s.times, s.seen/s.mid, source, doubts...)
		if s.below > 0 {
			if belowSum == nil {
				belowSum = w.quantity().Constant(0)
			}
			belowSum.Add(belowSum, w.scratch.Scale(acting, s.below/s.mid))
		}
	}
	if belowSum != nil {
		w.add(n, Use, "worked in below the sampled depth", belowSum, 0, -1, "mixed depth against sampled depth")
	}
	for lag, list := range w.spreadBefore {
		var sum fit.Quantity
		for _, s := range list {
			r := s.facts.later(n, lag+1)
			if r == nil {
				continue
			}
			q, _ := w.holds(s, n)
			if q == nil {
				continue
			}
			if sum == nil {
				sum = w.quantity().Constant(0)
			}
			sum.Add(sum, w.scratch.Mul(q, r.draw(w.scratch, drawLater)))
		}
		if sum == nil {
			continue
		}
		kind, term, effect := Source, fmt.Sprintf("compost and manure of %d: acts now", w.season-lag-1), w.summer()
		if n == "N" { // organic matter's release, by test, holds it already
			kind, term, effect = Within, fmt.Sprintf("of the release from organic matter: compost and manure of %d", w.season-lag-1), 0
		}
		w.add(n, kind, term, sum, len(list), effect, "shares of later seasons from memory; manure P: Brown 2013")
	}
}

// summer is the share of what the soil releases in a year that falls between the
// two tests: about half of it from spring to autumn, from memory.
func (w *seasonWork) summer() float64 {
	if w.paired && !w.yearly {
		return 0.5
	}
	return 1
}

// limed adds what inputs do to pH, as kg of CaCO3; what the crop takes away is not
// among them.
func (w *seasonWork) limed() {
	for _, s := range w.spread0 {
		f := s.facts
		if f.row["CCE"] != nil {
			if q, source := w.holds(s, "CCE"); q != nil {
				w.add(LimeValue, Source, f.name, q, s.times, 0, source, s.doubts...)
			}
			continue
		}
		t := f.typical
		if t == nil || t.Lime == nil || f.organic() || t.Lime.Low == 0 && t.Lime.High == 0 {
			continue
		}
		lime := *t.Lime
		q := w.quantity()
		if n := t.Content["N"]; n.Mid > 0 && f.row["N"] != nil { // by its own N
			h, _ := w.holds(s, "N")
			if h == nil {
				continue
			}
			q.Scale(h, (lime.Low+lime.High)/2/n.Mid)
		} else {
			lime = lime.scale(0.01)
			q.Mul(s.kg, lime.draw(q, drawContent))
		}
		kind := Source
		if lime.High <= 0 {
			kind = Use
			q.Scale(q, -1)
		}
		w.add(LimeValue, kind, f.name, q, s.times, 0, t.Source, s.doubts...)
	}
	w.watered(LimeValue)
}

// watered adds what irrigation brought, by the report that was newest when it
// flowed. Reports of several waters give a range over all of them, for the book
// does not say which was used.
func (w *seasonWork) watered(n string) {
	if len(w.o.Water) == 0 {
		return
	}
	names := []string{n} // as water reports have it
	switch n {
	case "N":
		names = []string{"NO3-N", "NH4-N"}
	case LimeValue:
		names = []string{"alkalinity"}
	}
	var q fit.Quantity
	days, seen, all := 0, 0.0, 0.0
	var doubts []int
	for i := range w.history.Irrigation {
		x := &w.history.Irrigation[i]
		if x.Date > w.asOf || w.cal.SeasonOf(x.Date) != w.season {
			continue
		}
		litres := 0.0
		switch {
		case x.IrrigationL != nil:
			litres = *x.IrrigationL
		case x.Irrigation != nil && w.area > 0:
			litres = *x.Irrigation * w.area
		}
		if litres <= 0 {
			continue
		}
		all += litres
		r, several, ok := w.waterOn(x.Date, names)
		if !ok {
			continue
		}
		if several {
			doubts = addRef(doubts, w.doubt("water", "the book has reports of several waters and does not say which was used: the range covers them"))
		}
		if q == nil {
			q = w.quantity().Constant(0)
		}
		q.Add(q, r.scale(litres*1e-6).draw(w.scratch, drawWater))
		days++
		if !w.paired || x.Date > w.from && x.Date < w.to {
			seen += litres
		}
	}
	if q == nil {
		if all == 0 && (n == "Ca" || n == LimeValue) {
			w.doubt("irrigation", fmt.Sprintf("no watering of %d is recorded: what the water brought is not counted", w.season))
		}
		return
	}
	amount := within(1, 0.15).draw(w.quantity(), drawWaterAmount) // meters and gauges; from memory
	q.Mul(q, amount)
	w.add(n, Source, "irrigation water", q, days, seen/all, "water report; amount within 15 % (from memory)", doubts...)
}

// waterOn is the content of the irrigation water on a day, mg/L.
func (w *seasonWork) waterOn(on dataset.Date, names []string) (r Range95, several, ok bool) {
	var waters []string
	for i := range w.o.Water {
		if t := &w.o.Water[i]; t.Grower == w.history.Grower && !slices.Contains(waters, t.Water) {
			waters = append(waters, t.Water)
		}
	}
	for k, water := range waters {
		var sum Range95
		found := false
		for _, name := range names {
			var at *dataset.WaterTest
			for i := range w.o.Water {
				t := &w.o.Water[i]
				if t.Grower != w.history.Grower || t.Water != water || t.Analyte != name || t.Date > w.asOf {
					continue
				}
				switch {
				case at == nil, t.Date <= on && t.Date > at.Date, at.Date > on && t.Date < at.Date:
					at = t
				}
			}
			if at == nil {
				continue
			}
			found = true
			x := within(at.Value, 0.2) // from test to test; from memory
			if at.Qualifier == "<" {
				x = between(0, at.Value)
			}
			sum = Range95{sum.Low + x.Low, sum.Mid + x.Mid, sum.High + x.High}
		}
		if !found {
			continue
		}
		if !ok {
			r, ok = sum, true
			continue
		}
		several = several || k > 0
		r = Range95{min(r.Low, sum.Low), (r.Mid + sum.Mid) / 2, max(r.High, sum.High)}
	}
	return r, several, ok
}

// checkCompost doubts reports that contradict themselves.
func (w *seasonWork) checkCompost() {
	for _, s := range w.spread0 {
		f := s.facts
		if !f.organic() {
			continue
		}
		v := func(c string) float64 {
			if m := f.row[c]; m != nil {
				return m.Value
			}
			return 0
		}
		if cn, c, n := v("C:N"), v("total C"), v("N"); cn > 0 && c > 0 && n > 0 && (c/n > cn*1.15 || c/n < cn/1.15) {
			s.doubts = addRef(s.doubts, w.doubt("compost", fmt.Sprintf("the report of %q gives C:N %.3g and figures that make %.3g: one is of another sample", f.name, cn, c/n)))
		}
		if cn := v("C:N"); cn > 25 {
			s.doubts = addRef(s.doubts, w.doubt("compost", fmt.Sprintf("%q has C:N %.3g: above 25 it gives no N in the first season and may bind some", f.name, cn)))
		}
		if ec := v("EC"); ec > 10 {
			s.doubts = addRef(s.doubts, w.doubt("compost", fmt.Sprintf("%q has salts of %.3g dS/m, above the 10 of usual compost: test the bed's salts before planting", f.name, ec)))
		}
		if na := v("Na"); na > 0.5 {
			s.doubts = addRef(s.doubts, w.doubt("compost", fmt.Sprintf("%q holds %.2g %% sodium, above 0.5", f.name, na)))
		}
		if om := v("OM"); om > 100 {
			s.doubts = addRef(s.doubts, w.doubt("above 100", fmt.Sprintf("the organic matter of %q is %.0f %%", f.name, om)))
		}
	}
}
