package analysis

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"carryover/analysis/fit"
	"carryover/dataset"
	"carryover/dataset/unit"
)

// omDecayBound is the share of spring's organic matter that mature compost leaves
// at the least after one season, rawDecayBound the same of raw material. Own
// calculation from decay rates of 0.1-0.6 and up to 2 a year.
const (
	omDecayBound  = 0.65
	rawDecayBound = 0.40
)

// fellTogether is the share of spring below which three and more nutrients that
// compost carries, and neither crop nor water takes in such amounts, tell of
// another soil. Own figure.
const fellTogether = 0.75

// Mixing asks of an autumn sample that is unlike its spring one whether it may be
// a mix: a part of the soil sampled in spring, and for the rest soil that was
// never worked. One share must then serve organic matter, every nutrient and pH.
type Mixing struct {
	Season int          `json:"season"`
	From   dataset.Date `json:"from"`
	To     dataset.Date `json:"to"`
	// Share is how much of the earlier soil is in the later sample, %.
	Share    Estimate  `json:"share"`
	NativeOM float64   `json:"native_om_pct"`
	OMBasis  string    `json:"native_om_basis"` // measured ..., assumed
	Parts    []MixPart `json:"parts"`
	PH       *MixPart  `json:"ph,omitempty"`
	Text     string    `json:"text"`
}

// MixPart is what the mix asks of the unworked soil in one analyte. With a
// measured Native it is tested; without, only solved.
type MixPart struct {
	Analyte    string   `json:"analyte"`
	Method     string   `json:"method"`
	From       float64  `json:"from"`
	To         float64  `json:"to"`
	Background Estimate `json:"background"` // the unworked soil would have to read
	Native     *float64 `json:"native"`     // as measured; null: not
	Fits       bool     `json:"fits"`       // within the error; solved only: not below zero
}

// lbP2O5PerPPM is the phosphate, lb/acre, that moves soil-test P by 1 mg/kg.
//
// Source: Tri-State fertilizer recommendations (Vitosh, Johnson and Mengel 1995),
// build-up equations, as restated in agprofessional 2012.
const lbP2O5PerPPM = 20

// PTestChange returns what taking off (or, below zero, adding) kg/ha of P2O5 does
// to soil-test P on farm soils, mg/kg.
func PTestChange(p2o5 float64) float64 { return -p2o5 / unit.KgHaPerLbAc / lbP2O5PerPPM }

// pairOf is one spring test and its autumn test.
type pairOf struct {
	season   int
	from, to dataset.Date
	ground   string
}

// unlikeSamples marks an autumn test that cannot be of the same soil as its
// spring test: organic matter fell further than decay can take it, or three and
// more nutrients that compost carries fell together beyond their test error.
func (b *bedWork) unlikeSamples(out *BedReview) {
	fell := map[pairOf][]string{}
	om := map[pairOf]float64{}
	all := map[pairOf][]*Change{}
	var order []pairOf
	for i := range out.Changes {
		c := &out.Changes[i]
		if c.Kind != Drawdown || c.From.Value <= 0 || c.From.Qualifier != "" {
			continue
		}
		k := pairOf{c.Season, c.From.Date, c.To.Date, c.Ground}
		if all[k] == nil {
			order = append(order, k)
		}
		all[k] = append(all[k], c)
		share := c.To.Value / c.From.Value
		organic := slices.Contains([]string{"OM", "OC", "total C"}, c.Analyte)
		if organic && c.Seen && share < omDecayBound && om[k] == 0 {
			om[k] = share
		}
		if c.Seen && share < fellTogether && (organic || slices.Contains([]string{"total N", "P", "Ca", "Mg", "Zn", "Cu"}, c.Analyte)) {
			fell[k] = append(fell[k], c.Analyte)
		}
	}
	for _, k := range order {
		if om[k] == 0 && len(fell[k]) < 3 {
			continue
		}
		text := fmt.Sprintf("%s fell together between %s and %s", strings.Join(fell[k], ", "), k.from, k.to)
		if len(fell[k]) == 1 {
			text = fmt.Sprintf("%s fell between %s and %s", fell[k][0], k.from, k.to)
		}
		if om[k] > 0 {
			text += fmt.Sprintf("; organic matter kept %.0f %% of its spring level, less than decay can leave (%.0f %%)", 100*om[k], 100*omDecayBound)
			if om[k] > rawDecayBound {
				text += fmt.Sprintf(" unless it was raw (%.0f %%)", 100*rawDecayBound)
			}
		}
		var rows []RowRef
		for i := range out.Levels {
			if l := &out.Levels[i]; (l.Date == k.to || l.Date == k.from) && l.Top() {
				rows = append(rows, l.rows()...)
			}
		}
		id := b.doubt("not the same soil", text+": perhaps not the same soil was sampled (another spot, deeper cores, compost scraped aside)", rows...)
		b.doubts.list[id-1].mixing = b.mixing(k, all[k], out.Levels)
		for i := range out.Changes {
			c := &out.Changes[i]
			if c.From.Date == k.from && c.To.Date == k.to || c.From.Date == k.to {
				c.Doubts, c.Suspect = addRef(c.Doubts, id), true
			}
		}
		for i := range out.Levels {
			if l := &out.Levels[i]; l.Date == k.to && l.Top() {
				l.Doubts, l.Suspect = addRef(l.Doubts, id), true
			}
		}
		for i := range out.Carryover {
			if c := &out.Carryover[i]; c.Date == k.to {
				c.Doubts = addRef(c.Doubts, id)
			}
		}
	}
}

// assumedNativeOM is the organic matter of soil that was never worked, %, where
// the book does not say, and half its 90 % range. Own figure.
const (
	assumedNativeOM = 3.1
	nativeOMWidth   = 0.6
)

// native returns what is measured of the soil below the worked layer, or known of
// the bed, by the method of a change.
func (b *bedWork) native(c *Change, levels []Level) (v float64, basis string) {
	var at *Level
	for i := range levels {
		l := &levels[i]
		if l.Analyte == c.Analyte && !l.Top() && l.Method == c.Method && l.Estimate.Unit == c.Estimate.Unit && l.Qualifier == "" && (at == nil || l.Date > at.Date) {
			at = l
		}
	}
	if at != nil {
		return at.Estimate.Value, fmt.Sprintf("measured in %s on %s", b.depth(at), at.when())
	}
	d := b.descriptionAt(b.asOf)
	switch {
	case d != nil && c.Analyte == "pH" && d.NativePH != nil:
		return *d.NativePH, "native value of the bed"
	case d != nil && c.Analyte == "OM" && d.NativeOM != nil:
		return *d.NativeOM, "native value of the bed"
	}
	return 0, ""
}

// errorEach is the standard deviation of each of a change's two tests.
func (c *Change) errorEach() float64 { return math.Sqrt(c.own*c.own/2 + c.season*c.season) }

// mixing works the mix out for one pair of tests; nil where nothing says what the
// unworked soil holds.
func (b *bedWork) mixing(k pairOf, changes []*Change, levels []Level) *Mixing {
	m := &Mixing{Season: k.season, From: k.from, To: k.to}
	// Each source of the share with its standard deviation.
	var shares, sds []float64
	for _, c := range changes {
		n, basis := b.native(c, levels)
		width := 0.0
		switch {
		case c.Analyte == "OM" && basis == "":
			n, basis, width = assumedNativeOM, fmt.Sprintf("assumed, %.1f to %.1f", assumedNativeOM-nativeOMWidth, assumedNativeOM+nativeOMWidth), nativeOMWidth/z90
		case basis == "" || additive(c.Analyte) || c.To.Qualifier != "":
			continue
		default:
			width = n * c.errorEach()
		}
		if c.Analyte == "OM" {
			m.NativeOM, m.OMBasis = n, basis
		}
		x, y, s := c.From.Value, c.To.Value, c.errorEach()
		if x-n <= z90*math.Hypot(s*x, width) {
			continue // the earlier soil was no different: it tells nothing of a mix
		}
		f, low, high := b.share(x, y, n, s, width)
		shares, sds = append(shares, f), append(sds, max((high-low)/(2*z90), 1e-3))
	}
	if shares == nil {
		return nil
	}
	var f, weight float64
	for i := range shares {
		w := 1 / (sds[i] * sds[i])
		f, weight = f+w*shares[i], weight+w
	}
	f, sd := f/weight, math.Sqrt(1/weight)
	if f >= 0.98 || f <= 0.02 {
		return nil
	}
	basis := "by organic matter"
	if len(shares) > 1 {
		basis = fmt.Sprintf("by %d analytes with a known native value", len(shares))
	}
	m.Share = Estimate{100 * f, 100 * max(0, f-z90*sd), 100 * min(1, f+z90*sd), RangeLevel, "%", len(shares), basis}
	var agree, tested, against []string
	for _, c := range changes {
		if c.Analyte == "OM" && len(shares) == 1 && m.OMBasis != "" {
			agree = append(agree, c.Analyte) // by construction
			continue
		}
		a, ok := unit.ByID(c.Analyte)
		moves := slices.Contains([]string{"NO3-N", "NH4-N", "S", "Cl", "EC", "Na"}, c.Analyte) // with water, mix or none
		if !ok || moves || c.To.Qualifier != "" || a.Plain {
			continue
		}
		p := b.mixPart(c, f, sd, levels)
		if c.Analyte == "pH" {
			m.PH = &p
			continue
		}
		m.Parts = append(m.Parts, p)
		switch {
		case !p.Fits:
			against = append(against, c.Analyte)
		case p.Native != nil:
			tested = append(tested, c.Analyte)
			fallthrough
		default:
			agree = append(agree, c.Analyte)
		}
	}
	m.Text = m.say(agree, tested, against)
	return m
}

// share returns the part of the earlier soil and its 90 % range.
func (b *bedWork) share(x, y, native, s, width float64) (f, low, high float64) {
	zx, zy, zn := fit.NormalPoints(0), fit.NormalPoints(1), fit.NormalPoints(2)
	points := b.draw[0][:0]
	for i := range zx {
		n := native + width*zn[i]
		v := (y*math.Exp(s*zy[i]) - n) / max(x*math.Exp(s*zx[i])-n, 0.05*x)
		points = append(points, min(max(v, 0), 1))
	}
	b.draw[0] = points
	_, low, high = fit.Range(points, RangeLevel)
	return (y - native) / (x - native), low, high
}

// mixPart solves the background of one analyte; its range is to first order.
func (b *bedWork) mixPart(c *Change, f, sdF float64, levels []Level) MixPart {
	x, y, s := c.From.Value, c.To.Value, c.errorEach()
	ex, ey := s*x, s*y
	if additive(c.Analyte) {
		ex, ey = s, s
	}
	v := (y - f*x) / (1 - f)
	sd := math.Sqrt(ey*ey+f*f*ex*ex+math.Pow((y-x)/(1-f)*sdF, 2)) / (1 - f)
	p := MixPart{Analyte: c.Analyte, Method: c.Method, From: x, To: y,
		Background: Estimate{v, v - z90*sd, v + z90*sd, RangeLevel, c.Estimate.Unit, c.Estimate.N, "solved from the share"}}
	p.Fits = p.Background.High > 0 && v > -0.1*y
	if n, basis := b.native(c, levels); basis != "" {
		p.Native = &n
		en := s * n
		if additive(c.Analyte) {
			en = s
		}
		p.Fits = math.Abs(v-n) <= z90*math.Hypot(sd, en)
	}
	return p
}

// say puts a mix into words.
func (m *Mixing) say(agree, tested, against []string) string {
	t := fmt.Sprintf("if %.0f %% (%.0f to %.0f) of the later sample is the earlier soil and the rest unworked soil", m.Share.Value, m.Share.Low, m.Share.High)
	if m.OMBasis != "" {
		t += fmt.Sprintf(" of %.1f %% organic matter (%s)", m.NativeOM, m.OMBasis)
	}
	var need []string
	for _, p := range m.Parts {
		w := fmt.Sprintf("%s %s", p.Analyte, Round(p.Analyte, p.Background.Value))
		if p.Native != nil {
			w += fmt.Sprintf(" (measured %s)", Round(p.Analyte, *p.Native))
		}
		need = append(need, w)
	}
	if need != nil {
		t += ", that soil holds " + strings.Join(need, ", ")
	}
	switch {
	case len(against) > 0:
		t += fmt.Sprintf(": %s cannot be explained so", strings.Join(against, ", "))
		if len(agree) > 0 {
			t += fmt.Sprintf(", %s can", strings.Join(agree, ", "))
		}
	case len(agree) > 1:
		t += fmt.Sprintf(": %s agree on it", strings.Join(agree, ", "))
		if tested == nil {
			t += ", though solved and not tested"
		}
	}
	for _, p := range m.Parts {
		if p.Analyte == "P" && p.To < p.From {
			t += fmt.Sprintf(" (a crop would have had to take %.0f lb P2O5/acre to lower P so far, by Tri-State's figures)", (p.From-p.To)*lbP2O5PerPPM)
		}
	}
	if p := m.PH; p != nil {
		moved := fmt.Sprintf("pH went from %s to %s and would need unworked soil of pH %s", Round("pH", p.From), Round("pH", p.To), Round("pH", p.Background.Value))
		switch {
		case p.Native == nil:
			t += "; " + moved + ", which no native value confirms"
		case p.Fits:
			t += fmt.Sprintf("; pH agrees: it %s, and %s was found", strings.TrimPrefix(moved, "pH "), Round("pH", *p.Native))
		case p.Background.Value > *p.Native:
			t += fmt.Sprintf("; pH disagrees: it %s, but native is %s: lime worked deeper or wider than the compost, or hard water, would hold it up", strings.TrimPrefix(moved, "pH "), Round("pH", *p.Native))
		default:
			t += fmt.Sprintf("; pH disagrees: it %s, but native is %s: sulfur or acid feed would pull it down", strings.TrimPrefix(moved, "pH "), Round("pH", *p.Native))
		}
	}
	return t
}
