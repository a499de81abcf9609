package analysis

import (
	"fmt"
	"strings"

	"carryover/dataset"
	"carryover/dataset/unit"
)

// OrganicN returns the N in the organic matter of a soil of that mass, in the
// unit of the mass, and what of it is set free in a year at a rate (0.02 for 2 %).
// A share nOM of organic matter is N: 0.05 by its source.
//
// Source: Kansas State University, restated by No-Till Farmer: 3 % organic matter
// in 2,000,000 lb of soil hold 3,000 lb N, of which 2 % or 60 lb are set free.
func OrganicN(soil, om, nOM, rate float64) (held, free float64) {
	held = soil * om / 100 * nOM
	return held, held * rate
}

// Figures of N from organic matter.
var (
	nOfOM  = Range95{0.05, 0.055, 0.06} // from memory; 0.05 in the source of OrganicN
	omRate = Range95{0.01, 0.02, 0.04}  // a year; 1-3 % in its source, more in warm watered ground
)

// mostOM is the organic matter, %, up to which published rules of N by organic
// matter reach.
const mostOM = 6

// CoverN returns the share of a cover crop's dry matter that becomes available N
// in some six weeks, kg/kg, from its N in %. It is below zero for a cover poor in
// N, which binds some; above 4 % N it stays at the most the source prints.
//
// Source: Sullivan and Andrews 2012, PNW 636: per ton 0 lb at 1.5 % N, 35 lb at
// 3.5 %, about 40 lb at 4 %.
func CoverN(percent float64) float64 { return min(17.5*(percent-1.5), 40) / 2000 }

// mostBound is what a cereal cover binds at most, kg N/ha. Source: PNW 636, 50
// lb/acre.
const mostBound = 50 * unit.KgHaPerLbAc

// compostN is the share of a compost's N that is free in the first season.
//
// Sources: 5-10 % of most composts, above 10 % where N is above 3 % (Hartz,
// University of California Davis); none where C:N is above 20-30 (Clemson
// University compost interpretation). The bounds about them are from memory.
func (f *facts) compostN() (Range95, bool, string) {
	cn, n := 0.0, 0.0
	if m := f.row["C:N"]; m != nil {
		cn = m.Value
	} else if c, x := f.row["total C"], f.row["N"]; c != nil && x != nil && x.Value > 0 {
		cn = c.Value / x.Value
	}
	if m := f.row["N"]; m != nil {
		n = m.Value
	}
	switch {
	case cn > 25:
		return Range95{-0.05, 0, 0.03}, false, "compost above C:N 25: Clemson University"
	case cn > 20:
		return Range95{-0.03, 0.02, 0.07}, false, "compost above C:N 20: Clemson University"
	case n > 3:
		return Range95{0.08, 0.13, 0.22}, false, "compost above 3 % N: Hartz, University of California Davis"
	}
	return Range95{0.01, 0.075, 0.15}, false, "compost N 5-10 %: Hartz, University of California Davis"
}

// released adds the N that the soil's own organic matter sets free in a year,
// from the organic matter tested nearest before the season. Compost spread for
// this season is taken out of it: it has a line of its own, and is no humus yet.
func (w *seasonWork) released() {
	om := w.omNear(w.levels, w.springDay)
	if om == 0 || w.soil == nil || !(w.area > 0) {
		if om == 0 && !w.quiet {
			w.doubt("no organic matter", "no test of organic matter: the N it sets free is not counted, and it may be the largest source")
		}
		return
	}
	l := within(om, 0.25)
	var doubts []int
	if om > mostOM {
		doubts = append(doubts, w.doubt("much organic matter", fmt.Sprintf("organic matter above %d %% is beyond the rules of the N it sets free: what it gives is counted from there up", mostOM)))
		l = Range95{mostOM, (mostOM + om) / 2, om * 1.1}
	}
	q := l.scale(0.01).draw(w.quantity(), drawOM)
	for i := range q { // kg on the bed
		q[i] *= w.soil[i] * w.area / 1e4
	}
	for _, s := range w.spread0 {
		if m := s.facts.row["OM"]; m == nil || !s.facts.organic() || s.on > w.springDay {
			continue
		}
		fresh, _ := w.holds(s, "OM")
		for i := range q {
			q[i] = max(q[i]-fresh[i], q[i]/2)
		}
	}
	q.Mul(q, nOfOM.draw(w.scratch, drawOMN))
	q.Mul(q, omRate.draw(w.scratch, drawOMRate))
	w.add("N", Source, fmt.Sprintf("set free from organic matter (%.1f %%), a year's worth", om), q, 1, 0, "Kansas State University (1-3 % a year), widened from memory", doubts...)
}

// coverKind is what is known of a sort of cover: N of its dry matter while green,
// %, and dry matter where it was not weighed, kg/ha. From memory; a rye of
// September bears 5.1 t/ha by late April, a mix 4.1, vetch 2.3, and 2.5 weeks later
// half of that (Lawson et al. 2015, six years in the Pacific Northwest).
type coverKind struct {
	words []string
	n, dm Range95
}

func coverKinds() []coverKind {
	return []coverKind{
		{[]string{"pea", "vetch", "clover", "bean", "lupin", "alfalfa"}, Range95{2.5, 3.3, 4.2}, Range95{800, 2300, 4500}},
		{[]string{"rye", "oat", "wheat", "barley", "triticale", "grass", "sorghum", "sudan", "millet"}, Range95{1.2, 2.2, 3.2}, Range95{1200, 4000, 7000}},
		{[]string{"mustard", "radish", "turnip", "rape", "brassica"}, Range95{1.8, 2.8, 3.8}, Range95{1000, 3000, 6000}},
		{[]string{"buckwheat", "phacelia"}, Range95{1.5, 2.2, 3}, Range95{1000, 2500, 5000}},
	}
}

// lateSown is the day from which an autumn cover bears half.
var lateSown = monthDay{10, 5}

// covers adds the N of covers that ended for this season.
func (w *seasonWork) covers() {
	kinds := coverKinds()
	for i := range w.history.Covers {
		c := &w.history.Covers[i]
		if c.Ended == nil || *c.Ended > w.asOf || w.cal.inputSeason(*c.Ended, w.seasonFacts) != w.season || !(w.area > 0) {
			continue
		}
		var kind coverKind
		met := 0
		name := strings.ToLower(c.Species)
		for _, k := range kinds {
			for _, word := range k.words {
				if strings.Contains(name, word) {
					if met == 0 {
						kind = k
					} else { // a mix lies between its parts
						kind.n = Range95{min(kind.n.Low, k.n.Low), (kind.n.Mid + k.n.Mid) / 2, max(kind.n.High, k.n.High)}
						kind.dm = Range95{min(kind.dm.Low, k.dm.Low), (kind.dm.Mid + k.dm.Mid) / 2, max(kind.dm.High, k.dm.High)}
					}
					met++
					break
				}
			}
		}
		var doubts []int
		if met == 0 {
			w.doubt("cover", fmt.Sprintf("the N of a cover of %q is not known: not counted", c.Species), refOf(c.Source))
			continue
		}
		dm := kind.dm
		if c.Biomass != nil {
			dm = within(*c.Biomass, 0.2)
		} else {
			if c.Sown >= w.cal.day(w.cal.SeasonOf(c.Sown), lateSown) || c.Sown <= w.cal.day(w.cal.SeasonOf(c.Sown), monthDay{3, 1}) {
				dm = Range95{dm.Low / 4, dm.Mid / 2.5, dm.High * 0.7}
			}
			doubts = append(doubts, w.doubt("cover", fmt.Sprintf("the %s sown on %s was not weighed: %s dry is taken; cut, dry and weigh a square of it", c.Species, c.Sown, w.coverRange(dm)), refOf(c.Source)))
		}
		n, mass := kind.n.draw(w.quantity(), drawCoverN), dm.draw(w.quantity(), drawCoverDM)
		q := w.quantity()
		for j := range q {
			q[j] = max(CoverN(n[j])*mass[j], -mostBound) * w.area / 1e4
		}
		w.add("N", Source, fmt.Sprintf("cover of %s, ended %s", c.Species, whenText(*c.Ended, dataset.ByDay, w.cal)), q, 1, 0, "PNW 636; N and weight of covers from memory", doubts...)
	}
}

// coverRange writes kg/ha of a cover as the reader weighs it.
func (w *seasonWork) coverRange(r Range95) string {
	if w.us {
		return fmt.Sprintf("%s-%s lb/acre", grouped(r.Low/unit.KgHaPerLbAc), grouped(r.High/unit.KgHaPerLbAc))
	}
	return fmt.Sprintf("%.1f-%.1f t/ha", r.Low/1000, r.High/1000)
}

// sidesOfN says how to read an account of nitrogen.
const sidesOfN = "Sources and uses of nitrogen stand side by side and are not set off: rain, gas, washing down, roots and what the soil binds cannot be told apart, so no end is expected of them."
