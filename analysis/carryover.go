package analysis

import (
	"fmt"
	"slices"

	"carryover/analysis/fit"
	"carryover/dataset"
	"carryover/dataset/unit"
)

// Carryover is what one season leaves to the next of one nutrient: the autumn
// soil-test amount in the sampled layer, kg/ha, and how much of the spring
// level that is.
type Carryover struct {
	IntoSeason int          `json:"into_season"`
	Analyte    string       `json:"analyte"`
	Method     string       `json:"method"`
	Date       dataset.Date `json:"date"` // of the autumn test
	DepthFrom  float64      `json:"depth_from_cm"`
	DepthTo    float64      `json:"depth_to_cm"`
	Density    Density      `json:"bulk_density"`
	Amount     Estimate     `json:"amount"`                    // kg/ha
	OfSpring   *Estimate    `json:"share_of_spring,omitempty"` // %
	Doubts     []int        `json:"doubts,omitempty"`
}

// Density is a bulk density with its range and where it comes from.
type Density struct {
	Value  float64 `json:"value_g_cm3"`
	Low    float64 `json:"low"`
	High   float64 `json:"high"`
	Source string  `json:"source"` // measured, estimated, from organic matter, assumed
}

// Half-widths of the 90 % range of a bulk density, as a share; from memory.
const (
	measuredDensity  = 0.05
	estimatedDensity = 0.15
	assumedDensity   = 1.3 // g/cm3
	assumedWidth     = 0.20
)

// densityFromOM is the mixing of organic and mineral matter at their own
// densities, 0.244 g/cm3 and a mineral density between 1.40 and 1.64. The
// constants are from memory and unsettled, so both ends are used as the range.
//
// Source: Adams 1973 (form); Federer, Turcotte and Smith 1993 (same form).
func densityFromOM(om float64) (low, high float64) {
	at := func(mineral float64) float64 { return 100 / (om/0.244 + (100-om)/mineral) }
	return at(1.40), at(1.64)
}

// density returns the bulk density to use for a bed on a day, given the organic
// matter tested nearest before it (0: none).
func (b *bedWork) density(on dataset.Date, om float64) Density {
	d := b.descriptionAt(on)
	if d != nil && d.BulkDensity != nil && d.DensitySource != "assumed" {
		v := *d.BulkDensity
		if d.DensitySource == "measured" {
			return Density{v, v * (1 - measuredDensity), v * (1 + measuredDensity), "measured"}
		}
		return Density{v, v * (1 - estimatedDensity), v * (1 + estimatedDensity), "estimated by the grower"}
	}
	if om > 0 {
		lo, hi := densityFromOM(om)
		mid := (lo + hi) / 2
		return Density{mid, lo * (1 - estimatedDensity/2), hi * (1 + estimatedDensity/2), fmt.Sprintf("from organic matter %.1f %%, from memory", om)}
	}
	v := assumedDensity
	if d != nil && d.BulkDensity != nil {
		v = *d.BulkDensity
	}
	return Density{v, v * (1 - assumedWidth), v * (1 + assumedWidth), "assumed"}
}

// carriers are the nutrients whose soil-test amount is worth carrying over.
var carriers = map[string]bool{"P": true, "K": true, "Ca": true, "Mg": true, "S": true, "NO3-N": true, "B": true, "Zn": true}

// carryover turns the last comparable autumn levels of each season into mass.
func (b *bedWork) carryover(levels []Level) (out []Carryover) {
	om := 0.0
	for start := 0; start < len(levels); {
		end := start
		for end < len(levels) && levels[end].Analyte == levels[start].Analyte {
			end++
		}
		for _, s := range seriesSeasons(levels[start:end]) {
			if len(s.autumn) == 0 {
				continue
			}
			l := s.autumn[len(s.autumn)-1]
			if !carriers[l.Analyte] || l.Qualifier == ">" || l.basis != "mass" && l.basis != "volume" {
				continue // a water or paste extract is no amount of the soil
			}
			if a, ok := unit.ByID(l.Analyte); !ok || l.Method == "" && !a.Plain {
				continue
			}
			if l.DepthTo == nil {
				b.doubt("no depth", fmt.Sprintf("the test of %s gives no depth: no amount can be worked out from it", l.when()), l.rows()...)
				continue
			}
			om = b.omNear(levels, l.Date)
			out = append(out, b.carry(l, s, om))
		}
		start = end
	}
	return out
}

// seriesSeasons lists the seasons of each series of one analyte.
func seriesSeasons(levels []Level) (out []seasonTests) {
	for _, series := range split(levels) {
		out = append(out, bySeason(series)...)
	}
	return out
}

// mass turns a level into kg/ha in its layer; doubt is the number of the one
// that an assumed density casts on it, 0 if there is none. The level has a depth
// and a mass or volume basis.
func (b *bedWork) mass(l *Level, om float64) (amount Estimate, density Density, doubt int) {
	depth := *l.DepthTo
	if l.DepthFrom != nil {
		depth -= *l.DepthFrom
	}
	b.draw[0] = l.draws(0, b.draw[0])
	kg := b.draw[0]
	switch l.basis {
	case "mass": // mg/kg x g/cm3 x cm / 10 = kg/ha
		density = b.density(l.Date, om)
		if density.Source == "assumed" {
			doubt = b.doubt("density", fmt.Sprintf("bulk density is assumed at %.1f g/cm3: a dried core of known volume would settle it", density.Value), l.rows()...)
		}
		// A normal density with these bounds as its 5 and 95 % points.
		z := fit.NormalPoints(2)
		for i := range kg {
			rho := density.Value
			if z[i] < 0 {
				rho += z[i] / z90 * (density.Value - density.Low)
			} else {
				rho += z[i] / z90 * (density.High - density.Value)
			}
			kg[i] *= max(rho, 0.05) * depth / 10
		}
	case "volume": // mg/dm3 x cm / 10 = kg/ha, no density enters
		for i := range kg {
			kg[i] *= depth / 10
		}
	}
	median, low, high := fit.Range(kg, RangeLevel)
	if l.Qualifier == "<" { // anything down to nothing
		low, high = 0, l.Estimate.Value*depth/10
		if l.basis == "mass" {
			high *= density.High
		}
	}
	amount = Estimate{median, low, high, RangeLevel, "kg/ha", l.Estimate.N, l.Estimate.Basis + "; density " + density.Source}
	if l.basis == "volume" {
		amount.Basis = l.Estimate.Basis + "; volume basis"
	}
	return amount, density, doubt
}

func (b *bedWork) carry(l *Level, s seasonTests, om float64) Carryover {
	c := Carryover{IntoSeason: l.Season + 1, Analyte: l.Analyte, Method: l.Method, Date: l.Date, DepthTo: *l.DepthTo, Doubts: slices.Clone(l.Doubts)}
	if l.DepthFrom != nil {
		c.DepthFrom = *l.DepthFrom
	}
	var doubt int
	if c.Amount, c.Density, doubt = b.mass(l, om); doubt != 0 {
		c.Doubts = addRef(c.Doubts, doubt)
	}
	for _, x := range reversed(s.spring) {
		if comparable(x, l, b.depth) != "" || x.Qualifier != "" || l.Qualifier != "" || x.Estimate.Value == 0 {
			continue
		}
		b.draw[0], b.draw[1] = x.draws(0, b.draw[0]), l.draws(1, b.draw[1])
		base, share := b.draw[0], b.draw[1]
		for i := range share {
			share[i] *= 100 / base[i]
		}
		m, lo, hi := fit.Range(share, RangeLevel)
		c.OfSpring = &Estimate{m, lo, hi, RangeLevel, "%", l.Estimate.N + x.Estimate.N, l.Estimate.Basis}
		break
	}
	return c
}

// omNear returns the organic matter of the worked layer tested last on or
// before a day, or else first after it; 0 if never.
func (b *bedWork) omNear(levels []Level, on dataset.Date) float64 {
	var at *Level
	for i := range levels {
		l := &levels[i]
		if l.Analyte != "OM" || !l.Top() || l.Qualifier != "" {
			continue
		}
		switch {
		case at == nil, l.Date <= on && l.Date > at.Date, at.Date > on && l.Date < at.Date:
			at = l
		}
	}
	if at == nil {
		return 0
	}
	return at.Estimate.Value
}
