package analysis

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"carryover/dataset"
	"carryover/dataset/unit"
)

// Nitrate is the nitrate nitrogen in one sampled layer.
type Nitrate struct {
	Season    int          `json:"season"`
	Timing    string       `json:"timing"`
	Date      dataset.Date `json:"date"`
	When      string       `json:"when"`
	Method    string       `json:"method"`
	DepthFrom float64      `json:"depth_from_cm"`
	DepthTo   float64      `json:"depth_to_cm"`
	Amount    Estimate     `json:"amount"` // kg/ha, by the bed's own bulk density
	Density   Density      `json:"bulk_density"`
	// ByRule is what the laboratories' rule makes of it, kg/ha; nil on a volume
	// basis, which needs no rule.
	ByRule *float64 `json:"by_rule_kg_ha"`
	Rule   string   `json:"rule,omitempty"`
	// Organic is the nitrogen that the layer's organic matter may release in a
	// year, kg/ha; spring tests only.
	Organic *Estimate `json:"from_organic_matter,omitempty"`
	Text    string    `json:"text"`
	Doubts  []int     `json:"doubts,omitempty"`
}

// nitrateRule is 0.3 lb N/acre for each ppm and inch: 2,000,000 lb of soil to 6
// 2/3 in. Another rule in use, 2 lb for each ppm in 6 in, gives a ninth more.
//
// Source: Merced County, University of California Cooperative Extension (the
// other rule); the first is the laboratory convention.
const nitrateRule = "0.3 lb N/acre for each ppm and inch"

// NitrateByRule returns kg/ha of nitrate nitrogen by nitrateRule, for mg/kg in a
// layer depth cm thick.
func NitrateByRule(mgKg, depth float64) float64 {
	return 0.3 * mgKg * depth / unit.CmPerInch * unit.KgHaPerLbAc
}

// OMNitrogen returns the nitrogen in a soil's organic matter, kg/ha, and what of
// it is released in a year at rate k (0.02; 0.01 to 0.03 in Kansas): organic
// matter in %, soil mass in kg/ha, 5 % of organic matter being N. The error wraps
// ErrTooFew above 6 % of organic matter, where the rule breaks.
//
// Source: Kansas State University, nitrogen from soil organic matter.
func OMNitrogen(om, soil, k float64) (total, released float64, err error) {
	if om > 6 {
		return 0, 0, fmt.Errorf("%w: organic matter %.1f %%: the rule for its nitrogen breaks above 6 %%", ErrTooFew, om)
	}
	total = om / 100 * soil * 0.05
	return total, total * k, nil
}

// nitrates lists the nitrate in every sampled layer, by date and depth.
func (b *bedWork) nitrates(levels []Level) (out []Nitrate) {
	for i := range levels {
		l := &levels[i]
		if l.Analyte != "NO3-N" || l.Qualifier == ">" || l.DepthTo == nil || l.Method == "" || l.basis != "mass" && l.basis != "volume" {
			continue
		}
		om := b.omNear(levels, l.Date)
		amount, density, doubt := b.mass(l, om)
		n := Nitrate{Season: l.Season, Timing: l.Timing, Date: l.Date, When: l.When, Method: l.Method, DepthTo: *l.DepthTo, Amount: amount, Density: density, Doubts: slices.Clone(l.Doubts)}
		if doubt != 0 {
			n.Doubts = addRef(n.Doubts, doubt)
		}
		if l.DepthFrom != nil {
			n.DepthFrom = *l.DepthFrom
		}
		depth := n.DepthTo - n.DepthFrom
		per, u := 1.0, "kg/ha"
		if b.us {
			per, u = unit.KgHaPerLbAc, "lb/acre"
		}
		n.Text = fmt.Sprintf("nitrate %s in %s: %.0f %s of N (%.0f to %.0f) at %.2f g/cm3 (%s)", l.show(b.us), b.depth(l), amount.Value/per, u, amount.Low/per, amount.High/per, density.Value, density.Source)
		if l.basis == "mass" {
			v := NitrateByRule(l.Estimate.Value, depth)
			n.ByRule, n.Rule = &v, nitrateRule
			n.Text += fmt.Sprintf("; by the rule of %s, %.0f", nitrateRule, v/per)
		} else {
			n.Text = fmt.Sprintf("nitrate %s in %s: %.0f %s of N (%.0f to %.0f), by volume", l.show(b.us), b.depth(l), amount.Value/per, u, amount.Low/per, amount.High/per)
		}
		switch {
		case l.Timing == Autumn:
			n.Text += "; in autumn it mostly leaves with the winter's water: do not count on it"
		case l.Top() && depth > 25 && depth < 36:
			n.Text += "; before a side-dressing 25 ppm to 12 in is enough (University of Connecticut, made for corn and used for pumpkins), and more N lowers their yield"
		case l.Top() && depth > 12 && depth < 19:
			n.Text += "; butternut squash answered to N up to 41 ppm in 6 in and lost yield by it from 68 (Howell 1998, HortScience 33)"
		}
		if l.Timing == Spring && l.Top() && om > 0 && density.Value > 0 {
			soil := func(d float64) float64 { return d * depth * 1e5 }
			if _, mid, err := OMNitrogen(om, soil(density.Value), 0.02); err == nil {
				_, low, _ := OMNitrogen(om, soil(density.Low), 0.01)
				_, high, _ := OMNitrogen(om, soil(density.High), 0.03)
				n.Organic = &Estimate{mid, low, high, RangeLevel, "kg/ha", 1, "1 to 3 % of the N in organic matter a year (Kansas State University)"}
				n.Text += fmt.Sprintf("; organic matter may add %.0f (%.0f to %.0f) in a year", mid/per, low/per, high/per)
			}
		}
		out = append(out, n)
	}
	slices.SortStableFunc(out, func(x, y Nitrate) int {
		return cmp.Or(cmp.Compare(x.Date, y.Date), cmp.Compare(x.DepthFrom, y.DepthFrom))
	})
	return out
}

// SaltTest is what one day's test says of salts and sodium in the worked layer.
type SaltTest struct {
	Season       int          `json:"season"`
	Timing       string       `json:"timing"`
	Date         dataset.Date `json:"date"`
	When         string       `json:"when"`
	EC           *Estimate    `json:"ec,omitempty"` // dS/m
	Method       string       `json:"method,omitempty"`
	Sodium       *Estimate    `json:"sodium,omitempty"`
	SodiumMethod string       `json:"sodium_method,omitempty"`
	SodiumShare  *Estimate    `json:"sodium_saturation,omitempty"` // % of exchange sites, as reported
	// Yield is what is left of a full crop of the stand-in, %; only by EC of a
	// saturated paste.
	Yield  *Estimate `json:"stand_in_yield,omitempty"`
	Text   string    `json:"text"`
	Doubts []int     `json:"doubts,omitempty"`
}

// Limits of electrical conductivity, dS/m.
const (
	// saltPaste is what vegetables should stay below in a saturated paste, and
	// salinePaste where a soil is called saline. Source: Colorado State University
	// soil testing laboratory.
	saltPaste   = 2.0
	salinePaste = 4.0
	// saltHalf is the top of the usual range at 1:2. Source: University of
	// Massachusetts soil and plant nutrient testing laboratory.
	saltHalf = 0.6
)

// saltLimit is the conductivity by a method from which the reader is warned; 0:
// none is known for it.
func saltLimit(method string) float64 {
	switch method {
	case "EC paste":
		return saltPaste
	case "EC 1:2":
		return saltHalf
	}
	return 0
}

// standIn is the crop whose answer to salt stands in for that of a giant
// pumpkin, for which none is published: the more tender of two squashes.
const standIn = "scallop squash"

// SaltYield returns the yield of a crop as % of a full one at ece, the electrical
// conductivity of a saturated paste in dS/m (never of a 1:1, 1:2 or 1:5 extract):
// 100 - b (ECe - a), where a is the conductivity up to which nothing is lost and b
// the loss in % for each dS/m beyond. Soils with gypsum bear about 2 dS/m more.
//
// The error names the crops there are.
//
// Source: Maas 1990, US Salinity Laboratory (a, b); Maas and Hoffman 1977 (form).
func SaltYield(crop string, ece float64) (float64, error) {
	curves := map[string][2]float64{standIn: {3.2, 16}, "zucchini": {4.7, 9.4}, "cucumber": {2.5, 13}}
	c, ok := curves[crop]
	if !ok || ece < 0 || math.IsNaN(ece) {
		return 0, fmt.Errorf("salt and the yield of %q at %v dS/m: expected %s, zucchini or cucumber, and 0 or more", crop, ece, standIn)
	}
	return min(100, max(0, 100-c[1]*(ece-c[0]))), nil
}

// saltTests gathers EC and sodium of the worked layer, test by test.
func (b *bedWork) saltTests(levels []Level) (out []SaltTest) {
	labs := []string{}
	at := func(l *Level) *SaltTest {
		for i := range out {
			x := &out[i]
			taken := l.Analyte == "EC" && x.EC != nil || l.Analyte == "Na" && x.Sodium != nil || l.Analyte == "Na sat" && x.SodiumShare != nil
			if x.Date == l.Date && x.Timing == l.Timing && labs[i] == l.Lab && !taken {
				return x
			}
		}
		out, labs = append(out, SaltTest{Season: l.Season, Timing: l.Timing, Date: l.Date, When: l.When}), append(labs, l.Lab)
		return &out[len(out)-1]
	}
	for i := range levels {
		l := &levels[i]
		if !l.Top() || l.Analyte != "EC" && l.Analyte != "Na" && l.Analyte != "Na sat" {
			continue
		}
		x, e, part := at(l), l.Estimate, ""
		switch l.Analyte {
		case "EC":
			x.EC, x.Method, part = &e, l.Method, b.saltText(l, x)
		case "Na":
			x.Sodium, x.SodiumMethod, part = &e, l.Method, "sodium "+l.show(b.us)
		default:
			x.SodiumShare, part = &e, fmt.Sprintf("sodium holds %s %% of the exchange sites", l.Text())
			if l.Estimate.Value >= sodic && l.Qualifier != "<" {
				part += fmt.Sprintf(", %v or more: ask your lab before you irrigate with this water or spread gypsum", sodic)
			}
		}
		if x.Text != "" {
			x.Text += "; "
		}
		x.Text += part
		for _, id := range l.Doubts {
			x.Doubts = addRef(x.Doubts, id)
		}
	}
	slices.SortStableFunc(out, func(x, y SaltTest) int { return cmp.Compare(x.Date, y.Date) })
	return out
}

// sodic is the share of exchange sites, %, from which sodium is asked about;
// from memory.
const sodic = 5.0

// saltText says an EC, and works the stand-in's yield out where it may.
func (b *bedWork) saltText(l *Level, x *SaltTest) string {
	t := "EC " + l.show(b.us)
	limit := saltLimit(l.Method)
	switch {
	case l.Method == "":
		return t + ", no method on the report: nothing can be said of it"
	case limit == 0:
		return t + " by " + l.Method + ": no limit is known for this method, and it is not turned into one of a paste"
	case l.Qualifier != "<" && l.Estimate.Value >= limit:
		t += fmt.Sprintf(", usual below %v by this method", limit)
	case l.Qualifier == ">", l.Qualifier == "<" && l.Estimate.Value > limit:
		t += fmt.Sprintf(", which cannot be told from %v, the usual limit by this method", limit)
	default:
		t += fmt.Sprintf(", below %v as it should be", limit)
	}
	if l.Method != "EC paste" || l.Qualifier != "" {
		return t
	}
	v, _ := SaltYield(standIn, l.Estimate.Value)
	low, _ := SaltYield(standIn, l.Estimate.High)
	high, _ := SaltYield(standIn, l.Estimate.Low)
	x.Yield = &Estimate{v, low, high, RangeLevel, "%", l.Estimate.N, "by " + standIn + ", a stand-in: no curve is published for pumpkin (Maas 1990 rates it moderately sensitive by estimate only)"}
	return t + fmt.Sprintf("; %s, standing in for pumpkin, would give %.0f %% of a full crop (%.0f to %.0f)", standIn, v, low, high)
}
