package analysis

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"carryover/analysis/fit"
	"carryover/dataset"
	"carryover/dataset/unit"
)

// EstimatedCEC is the cation exchange capacity of one test by summation: bases
// and acidity. It is an estimate in name too, since an extract is not the
// exchange complex: in 48 Finnish soils the sum read 36 % (Mehlich-3) and 24 %
// (ammonium acetate) below measured capacity (Mattila and Rajala 2021, Soil
// Science Society of America Journal).
type EstimatedCEC struct {
	Season int          `json:"season"`
	Timing string       `json:"timing"`
	Date   dataset.Date `json:"date"`
	When   string       `json:"when"`
	Lab    string       `json:"lab"`
	Method string       `json:"method"` // of the cations, one for all
	Bases  Estimate     `json:"bases"`  // Ca + Mg + K (+ Na), cmolc/kg (cmolc/dm3 by volume)
	// CEC and Saturation are left out where Refused says why.
	CEC        *Estimate    `json:"estimated_cec,omitempty"`
	Acidity    *float64     `json:"acidity,omitempty"`
	AcidityBy  string       `json:"acidity_by,omitempty"`
	Saturation []Saturation `json:"saturation,omitempty"`
	Refused    string       `json:"refused,omitempty"`
	Text       string       `json:"text"`
	Doubts     []int        `json:"doubts,omitempty"`

	ph   *float64
	rows []RowRef
}

// Saturation is the estimated share of exchange sites that a cation, or all
// bases together, hold, in %.
type Saturation struct {
	Of       string   `json:"of"` // Ca, Mg, K, Na, bases
	Estimate Estimate `json:"estimate"`
}

// Charge returns the cmolc/kg in mg/kg of a cation (cmolc/dm3 in mg/dm3).
//
// Source: IUPAC 2021 standard atomic weights; Clemson University agricultural
// service laboratory prints the rounded divisors 200, 120, 390 and 230.
func Charge(cation string, mgKg float64) float64 {
	a, _ := unit.ByID(cation)
	return mgKg * a.Charge / (10 * a.Molar)
}

// Acidity returns the acidity that a soil's pH in a buffer stands for, in
// meq/100 g, or in meq/100 cm3 where perVolume is set. The formula belongs to the
// buffer: the same reading in another means something else. soilPH is the soil's
// own in water, 0 where it is not known.
//
// The error says why a reading gives no acidity: no formula of that buffer was
// read in its source, or the reading lies outside what it was made for.
func Acidity(buffer string, reading, soilPH float64) (meq float64, perVolume bool, source string, err error) {
	switch buffer {
	case "Adams-Evans":
		if reading < 7 {
			return 0, false, "", fmt.Errorf("Adams-Evans %.2f is below 7, which its formula was not made for", reading)
		}
		return max(0, 8*(8-reading)), false, "8 (8.00 - buffer pH), Clemson University", nil
	case "SMP", "Sikora":
		// Sikora was made to read as SMP does: Pagani and Mallarino 2012, Soil
		// Science Society of America Journal 76.
		if soilPH == 0 || soilPH > 6.4 {
			return 0, false, "", fmt.Errorf("the acidity of %s is published for soils up to pH 6.4 only", buffer)
		}
		return max(0, 12*(7-reading)), false, "12 (7.00 - buffer pH), as laboratories use SMP", nil
	case "Mehlich buffer", "modified Mehlich buffer":
		return max(0, 4*(6.6-reading)), true, "4 (6.6 - buffer pH), North Carolina Department of Agriculture", nil
	case "":
		return 0, false, "", errors.New("the buffer has no name")
	}
	return 0, false, "", fmt.Errorf("no formula for the acidity of %s was read in its source", buffer)
}

// leastCEC is the estimated capacity below which a sum of few cations tells
// nothing, cmolc/kg.
const leastCEC = 3.0

// mostAdamsEvans is the capacity up to which the Adams-Evans buffer holds,
// cmolc/kg. Source: Huluka 2006-07, a modification to the Adams-Evans buffer.
const mostAdamsEvans = 13.0

// limedCompost is the carbonate content, %, from which compost counts as limed:
// about twice that of an average one (2.3 % in 1,600 samples, CalRecycle 2013).
const limedCompost = 5.0

// sums reports whether an extractant's cations are summed.
func sums(method string) bool {
	return strings.HasPrefix(method, "Mehlich-3") || slices.Contains([]string{"Mehlich-1", "ammonium acetate", "Morgan", "modified Morgan"}, method)
}

// sampled are the levels of one report of the worked layer.
type sampled struct {
	levels    []*Level
	byAnalyte map[string][]*Level
}

// reports gathers the worked layer's levels by day, lab and depth.
func (b *bedWork) reports(levels []Level) (out []sampled) {
	type key struct {
		date                dataset.Date
		timing, lab, ground string
		from, to            int
	}
	at := map[key]int{}
	for i := range levels {
		l := &levels[i]
		if !l.Top() {
			continue
		}
		k := key{l.Date, l.Timing, l.Lab, l.Ground, depthKey(l.DepthFrom), depthKey(l.DepthTo)}
		n, ok := at[k]
		if !ok {
			n = len(out)
			at[k] = n
			out = append(out, sampled{byAnalyte: map[string][]*Level{}})
		}
		out[n].levels = append(out[n].levels, l)
		out[n].byAnalyte[l.Analyte] = append(out[n].byAnalyte[l.Analyte], l)
	}
	slices.SortStableFunc(out, func(x, y sampled) int {
		p, q := x.levels[0], y.levels[0]
		return cmp.Or(cmp.Compare(p.Date, q.Date), cmp.Compare(p.Lab, q.Lab), cmp.Compare(depthKey(p.DepthTo), depthKey(q.DepthTo)), cmp.Compare(p.Ground, q.Ground))
	})
	return out
}

// one returns the report's only level of an analyte that fits, nil if none or
// several do.
func (s *sampled) one(analyte string, fits func(*Level) bool) (at *Level) {
	for _, l := range s.byAnalyte[analyte] {
		if fits(l) {
			if at != nil {
				return nil
			}
			at = l
		}
	}
	return at
}

func inWater(l *Level) bool { return strings.HasPrefix(l.Method, "water") && l.Qualifier == "" }

// cations returns the levels of Ca, Mg, K and, if there, Na by one method and
// unit; nil where there is no such set.
func (s *sampled) cations() []*Level {
next:
	for _, ca := range s.byAnalyte["Ca"] {
		if !sums(ca.Method) || ca.basis != "mass" && ca.basis != "volume" {
			continue
		}
		set := []*Level{ca}
		for _, a := range []string{"Mg", "K", "Na"} {
			l := s.one(a, func(l *Level) bool { return l.Method == ca.Method && l.Estimate.Unit == ca.Estimate.Unit })
			switch {
			case l == nil && a != "Na":
				continue next
			case l != nil:
				set = append(set, l)
			}
		}
		return set
	}
	return nil
}

// estimatedCECs sums the cations of every report that holds them.
func (b *bedWork) estimatedCECs(levels []Level) (out []EstimatedCEC) {
	for _, s := range b.reports(levels) {
		if set := s.cations(); set != nil {
			out = append(out, b.estimateCEC(&s, set))
		}
	}
	return out
}

func (b *bedWork) estimateCEC(s *sampled, set []*Level) EstimatedCEC {
	ca := set[0]
	c := EstimatedCEC{Season: ca.Season, Timing: ca.Timing, Date: ca.Date, When: ca.When, Lab: ca.Lab, Method: ca.Method}
	bases, limits := 0.0, false
	for _, l := range set {
		bases += Charge(l.Analyte, l.Estimate.Value)
		limits = limits || l.Qualifier != ""
		c.rows = append(c.rows, l.rows()...)
		for _, id := range l.Doubts {
			c.Doubts = addRef(c.Doubts, id)
		}
	}
	u := "cmolc/kg"
	if ca.basis == "volume" {
		u = "cmolc/dm3"
	}
	basis := fmt.Sprintf("estimated: sum of %s cations; range from test error alone", ca.Method)
	// The cations come out of one cup: they share their error.
	c.Bases = Estimate{bases, bases * math.Exp(-z90*ca.sd), bases * math.Exp(z90*ca.sd), RangeLevel, u, ca.Estimate.N, basis}
	ph := s.one("pH", inWater)
	if ph != nil {
		c.ph = &ph.Estimate.Value
	}
	meq, buffer := b.acidityOf(s, &c, ca)
	var refused []string
	if limits {
		refused = append(refused, "a cation lies beyond the lab's limit")
	}
	if ph == nil {
		refused = append(refused, "no pH in water beside the cations")
	} else if *c.ph >= carbonatePH && ca.Method != "ammonium acetate" {
		refused = append(refused, fmt.Sprintf("at pH %.1f %s dissolves free lime, so its Ca is not exchangeable", *c.ph, ca.Method))
	}
	if m := b.limedWithin(ca); m != "" {
		refused = append(refused, m+" within 12 months before the test reads as bases")
	}
	if c.Acidity == nil && c.AcidityBy != "" {
		refused = append(refused, c.AcidityBy)
		c.AcidityBy = ""
	}
	if c.Acidity != nil && len(refused) == 0 {
		switch cec := bases + *c.Acidity; {
		case cec < leastCEC:
			refused = append(refused, fmt.Sprintf("below %v nothing can be told by summation", leastCEC))
		case buffer != nil && buffer.Method == "Adams-Evans" && cec >= mostAdamsEvans:
			refused = append(refused, fmt.Sprintf("Adams-Evans is made for soils below a CEC of %v", mostAdamsEvans))
		}
	}
	if c.Refused = strings.Join(refused, "; "); c.Refused != "" {
		c.Acidity, c.AcidityBy = nil, ""
		c.Text = fmt.Sprintf("no estimated CEC of %s: %s", c.When, c.Refused)
		return c
	}
	b.draw[0], b.draw[1] = append(b.draw[0][:0], fit.NormalPoints(0)...), append(b.draw[1][:0], fit.NormalPoints(1)...)
	// Of a buffer's reading only the lab's error counts: cores and season move the
	// soil's own pH, of which the buffer shows a fraction.
	e, _ := errorOf("buffer pH")
	acid := func(z float64) float64 {
		if buffer == nil {
			return meq
		}
		if v, _, _, err := Acidity(buffer.Method, buffer.Estimate.Value+e.lab*z, *c.ph); err == nil {
			return v
		}
		return meq
	}
	sum, share := b.draw[0], b.draw[1]
	for i := range sum {
		part := bases * math.Exp(ca.sd*sum[i])
		sum[i] = part + acid(share[i])
		share[i] = part / sum[i]
	}
	cec := bases + meq
	_, low, high := fit.Range(sum, RangeLevel)
	c.CEC = &Estimate{cec, min(low, cec), max(high, cec), RangeLevel, u, ca.Estimate.N, basis}
	_, low, high = fit.Range(share, RangeLevel) // of all bases; each cation's is a part of it
	held := func(of string, value float64) {
		v, part := 100*value/cec, 100*value/bases
		c.Saturation = append(c.Saturation, Saturation{of, Estimate{v, min(part*low, v), max(part*high, v), RangeLevel, "%", ca.Estimate.N, "of estimated CEC"}})
	}
	for _, l := range set {
		held(l.Analyte, Charge(l.Analyte, l.Estimate.Value))
	}
	held("bases", bases)
	c.Text = fmt.Sprintf("estimated CEC %.1f %s (90 %% range %.1f to %.1f) of %s: %s bases %.1f, acidity %.1f (%s); estimated base saturation %.0f %%",
		cec, chargeUnit(u, b.us), c.CEC.Low, c.CEC.High, c.When, ca.Method, bases, meq, c.AcidityBy, 100*bases/cec)
	if *c.ph >= carbonatePH {
		c.Text += "; at this pH free lime reads as Ca, so rather less"
	}
	return c
}

func chargeUnit(u string, us bool) string {
	if us && u == "cmolc/kg" {
		return "meq/100 g"
	}
	return u
}

// acidityOf finds the acidity that goes with a set of cations and writes it into
// c, or the reason why there is none into c.AcidityBy. The level is that of the
// buffer it was worked out from, nil if the lab reported it or there is none.
func (b *bedWork) acidityOf(s *sampled, c *EstimatedCEC, ca *Level) (meq float64, buffer *Level) {
	volume := ca.basis == "volume"
	if l := s.one("acidity", func(l *Level) bool { return strings.Contains(l.Method, "Mehlich buffer") && l.Qualifier == "" }); l != nil && (l.basis == "volume") == volume {
		c.Acidity, c.AcidityBy = &l.Estimate.Value, "as reported, "+l.Method
		c.rows = append(c.rows, l.rows()...)
		return l.Estimate.Value, nil
	}
	if c.ph != nil && *c.ph >= 7 {
		meq = 0
		c.Acidity, c.AcidityBy = &meq, "none at pH 7 or above; common practice, no source"
		return meq, nil
	}
	found := s.byAnalyte["buffer pH"]
	if len(found) != 1 {
		c.AcidityBy = "no buffer pH in the report, so the acidity is not known"
		return 0, nil
	}
	soil := 0.0
	if c.ph != nil {
		soil = *c.ph
	}
	l := found[0]
	v, perVolume, source, err := Acidity(l.Method, l.Estimate.Value, soil)
	switch {
	case err != nil:
		c.AcidityBy = err.Error()
	case perVolume != volume:
		c.AcidityBy = fmt.Sprintf("the acidity by %s counts by volume and the cations do not, or the other way round", l.Method)
	default:
		c.Acidity, c.AcidityBy = &v, source
		c.rows = append(c.rows, l.rows()...)
		return v, l
	}
	return 0, nil
}

// limedWithin names what was spread in the year before a test that reads as
// bases: lime, gypsum, ash, or compost that was limed.
func (b *bedWork) limedWithin(l *Level) string {
	for i := range b.history.Amendments {
		a := &b.history.Amendments[i]
		if (limes(a.Material) || b.carbonate(a.Grower, a.Material) >= limedCompost) && before(a, l) && l.Date-a.Date < 365 {
			return fmt.Sprintf("%s of %s", a.Material, whenText(a.Date, a.DateBasis, b.cal))
		}
	}
	return ""
}

// before reports whether something was, or may have been, spread before a test.
func before(a *dataset.Amendment, l *Level) bool {
	return a.Date < l.Date || a.Date == l.Date && a.SameDay != "after test"
}

// CationRatios is a page of its own, made only when it is asked for: the shares
// and ratios of the cations of the newest test that allows them, with the
// evidence against steering by them. Nothing is worked out from it.
type CationRatios struct {
	Bed        string       `json:"bed"`
	When       string       `json:"when,omitempty"`
	Method     string       `json:"method,omitempty"`
	Saturation []Saturation `json:"saturation,omitempty"`
	// Ratios on charge, as their authors meant them, and Ca:Mg by weight, which is
	// another number.
	CaMg       float64    `json:"ca_mg,omitempty"`
	CaK        float64    `json:"ca_k,omitempty"`
	MgK        float64    `json:"mg_k,omitempty"`
	CaMgWeight float64    `json:"ca_mg_by_weight,omitempty"`
	Proposed   []Proposed `json:"proposed"`
	Standings  []Standing `json:"bands"` // what counts: is there enough of each
	Evidence   []string   `json:"evidence"`
	Refused    string     `json:"refused,omitempty"`
	Text       string     `json:"text"`
}

// Proposed are the shares of exchange sites, %, that an author held to be ideal.
type Proposed struct {
	Author string     `json:"author"`
	Ca     [2]float64 `json:"ca"`
	Mg     [2]float64 `json:"mg"`
	K      [2]float64 `json:"k"`
}

// BearCaMgWeight is the Ca:Mg of Bear's 65 % and 10 % by weight: 10.7, not 6.5.
func BearCaMgWeight() float64 {
	return 65 / Charge("Ca", 1) / (10 / Charge("Mg", 1))
}

// CationRatios works the page out for a bed.
func (x *BedReview) CationRatios() CationRatios {
	c := CationRatios{
		Bed: x.Bed,
		Proposed: []Proposed{
			{"Bear and others 1945", [2]float64{65, 65}, [2]float64{10, 10}, [2]float64{5, 5}},
			{"Albrecht 1975", [2]float64{60, 75}, [2]float64{10, 20}, [2]float64{2, 5}},
		},
		Evidence: []string{
			"Kopittke and Menzies 2007, Soil Science Society of America Journal 71, 259-265: within common ranges Ca:Mg:K does not control the soil's chemical, physical or biological fertility, and steering by it wastes resources; several of the early experiments were flawed.",
			"Chaganti and Culman 2017, Crop, Forage and Turfgrass Management: yields were alike over wide ranges of the ratios; weeds, structure and crop quality remain little studied.",
			"McLean 1983: give enough, and not too much, of each cation.",
			"Raising pH raises the share of Ca by itself, so a ratio that goes with yield may only stand for pH.",
		},
	}
	for i := range x.Bands {
		if s := &x.Bands[i]; slices.Contains([]string{"K", "Mg", "Ca"}, s.Analyte) {
			c.Standings = append(c.Standings, *s)
		}
	}
	if len(x.CEC) == 0 {
		c.Refused = "no test holds Ca, Mg and K by one method that is summed"
		c.Text = "no cation ratios: " + c.Refused
		return c
	}
	e := &x.CEC[len(x.CEC)-1]
	c.When, c.Method = e.When, e.Method
	switch {
	case e.Refused != "":
		c.Refused = e.Refused
	case e.ph != nil && *e.ph >= carbonatePH:
		c.Refused = fmt.Sprintf("at pH %.1f free lime reads as Ca", *e.ph)
	}
	if c.Refused != "" {
		c.Text = fmt.Sprintf("no cation ratios of %s: %s", c.When, c.Refused)
		return c
	}
	c.Saturation = e.Saturation
	of := map[string]float64{}
	var shares []string
	for _, s := range e.Saturation {
		of[s.Of] = s.Estimate.Value
		shares = append(shares, fmt.Sprintf("%s %.0f %%", s.Of, s.Estimate.Value))
	}
	c.CaMg, c.CaK, c.MgK = of["Ca"]/of["Mg"], of["Ca"]/of["K"], of["Mg"]/of["K"]
	c.CaMgWeight = c.CaMg * Charge("Mg", 1) / Charge("Ca", 1)
	c.Text = fmt.Sprintf("estimated shares of %s by %s: %s; on charge Ca:Mg %.1f, Ca:K %.1f, Mg:K %.1f (Ca:Mg by weight %.1f). Published trials do not support steering by these: look at the bands first",
		c.When, c.Method, strings.Join(shares, ", "), c.CaMg, c.CaK, c.MgK, c.CaMgWeight)
	return c
}
