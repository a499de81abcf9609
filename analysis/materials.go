package analysis

import (
	"regexp"
	"strconv"
	"strings"

	"carryover/analysis/fit"
	"carryover/dataset/unit"
)

// Range95 is a published or remembered figure with the range that holds the truth
// in 95 of 100 cases.
type Range95 struct {
	Low  float64 `json:"low"`
	Mid  float64 `json:"mid"`
	High float64 `json:"high"`
}

// z95 bounds the middle 95 % of a normal distribution.
const z95 = 1.959964

// draw makes q a quantity with the median Mid whose middle 95 % is the range:
// a normal distribution with a width of its own on either side. A range that
// does not reach below zero is cut off there.
func (r Range95) draw(q fit.Quantity, dim int) fit.Quantity {
	if r.Low == r.High {
		return q.Constant(r.Mid)
	}
	below, above := (r.Mid-r.Low)/z95, (r.High-r.Mid)/z95
	for i, z := range fit.NormalPoints(dim) {
		if z < 0 {
			q[i] = r.Mid + z*below
		} else {
			q[i] = r.Mid + z*above
		}
		if r.Low >= 0 {
			q[i] = max(q[i], 0)
		}
	}
	return q
}

// scale multiplies all three figures.
func (r Range95) scale(by float64) Range95 { return Range95{r.Low * by, r.Mid * by, r.High * by} }

// within is a figure that may be off by a share of itself.
func within(v, share float64) Range95 { return Range95{v * (1 - share), v, v * (1 + share)} }

// between is a range with its middle as the likeliest figure.
func between(low, high float64) Range95 { return Range95{low, (low + high) / 2, high} }

// Content is how much of each nutrient something holds, by the element.
type Content map[string]Range95

// TypicalMaterial is what a material commonly holds where the book has no label
// or analysis of it. The bag wins.
type TypicalMaterial struct {
	Name  string   `json:"name"`
	Words []string `json:"words"` // any of these in a name means this material
	Kind  string   `json:"kind"`
	// Content is in % of the product as it is spread, by the element.
	Content Content `json:"content_pct"`
	// Lime is what 100 kg do to pH, as kg of CaCO3; below zero: they acidify.
	Lime *Range95 `json:"lime_kg_caco3_per_100_kg,omitempty"`
	// FreeN is the share of its N that is free in the first season; nil: all of it.
	FreeN  *Range95 `json:"free_n,omitempty"`
	Source string   `json:"source"`
}

// Sources of typical analyses and of the lime that fertilizers cost.
const (
	acidSource = "Alabama A&M and Auburn Extension ANR-174"
	ukSource   = "AHDB Nutrient Management Guide RB209"
)

// FreeN of organic meals and of fish; from memory.
var mealN = Range95{0.4, 0.65, 0.9}

// TypicalMaterials lists the materials we know by name, with the analyses that
// their sources print. P and K are printed there as P2O5 and K2O; they stand
// here as the element. More telling words come first: "potassium magnesium
// sulfate" is asked before "potassium sulfate".
func TypicalMaterials() []TypicalMaterial {
	p, _ := unit.FormFactor("P2O5")
	k, _ := unit.FormFactor("K2O")
	// label makes a content of % N, P2O5, K2O as a bag prints them.
	label := func(n, p2o5, k2o Range95) Content {
		c := Content{}
		for id, r := range map[string]Range95{"N": n, "P": p2o5.scale(p), "K": k2o.scale(k)} {
			if r.High > 0 {
				c[id] = r
			}
		}
		return c
	}
	with := func(c Content, id string, r Range95) Content { c[id] = r; return c }
	exact := func(v float64) Range95 { return Range95{v, v, v} }
	none := Range95{}
	lime := func(r Range95) *Range95 { return &r }
	meal := func() *Range95 { r := mealN; return &r }
	return []TypicalMaterial{
		{"urea", []string{"urea"}, "fertilizer", label(between(45, 46), none, none), lime(exact(-81)), nil, acidSource + "; " + ukSource},
		{"ammonium sulfate", []string{"ammonium sulfate", "ammonium sulphate", "sulfate of ammonia", "sulphate of ammonia"}, "fertilizer", with(label(exact(21), none, none), "S", exact(24)), lime(exact(-110)), nil, acidSource + "; " + ukSource},
		{"ammonium nitrate", []string{"ammonium nitrate"}, "fertilizer", label(exact(34), none, none), lime(exact(-61)), nil, acidSource},
		{"calcium nitrate", []string{"calcium nitrate"}, "fertilizer", with(label(between(15, 15.5), none, none), "Ca", between(13.6, 21)), lime(exact(20)), nil, acidSource + "; " + ukSource + " (two grades)"},
		{"potassium nitrate", []string{"potassium nitrate", "nitrate of potash"}, "fertilizer", label(exact(13), none, between(44, 45)), lime(exact(26)), nil, acidSource},
		{"monoammonium phosphate", []string{"monoammonium phosphate", "mono-ammonium phosphate", " map "}, "fertilizer", label(between(11, 12), between(48, 52), none), lime(between(-65, -53)), nil, ukSource + "; acidity from memory"},
		{"diammonium phosphate", []string{"diammonium phosphate", "di-ammonium phosphate", " dap "}, "fertilizer", label(exact(18), exact(46), none), lime(between(-70, -60)), nil, ukSource + "; acidity from memory"},
		{"triple superphosphate", []string{"triple superphosphate", "triple super phosphate"}, "fertilizer", with(label(none, between(45, 46), none), "Ca", between(12, 16)), lime(none), nil, ukSource + "; Ca from memory"},
		{"muriate of potash", []string{"muriate of potash", "potassium chloride", "0-0-60"}, "fertilizer", label(none, none, exact(60)), lime(none), nil, acidSource},
		{"potassium magnesium sulfate", []string{"potassium magnesium sulfate", "potassium magnesium sulphate", "langbeinite", "0-0-22", "k-mag"}, "fertilizer", with(with(label(none, none, exact(22)), "Mg", between(10.5, 11.7)), "S", between(21, 23.2)), lime(none), nil, "trade label 0-0-22; Mg and S from memory"},
		{"potassium sulfate", []string{"potassium sulfate", "potassium sulphate", "sulfate of potash", "sulphate of potash", "0-0-50"}, "fertilizer", with(label(none, none, exact(50)), "S", between(17, 18.4)), lime(none), nil, ukSource},
		{"Epsom salt", []string{"epsom", "magnesium sulfate", "magnesium sulphate"}, "fertilizer", Content{"Mg": between(9.6, 10), "S": exact(13)}, lime(none), nil, ukSource},
		{"kieserite", []string{"kieserite"}, "fertilizer", Content{"Mg": exact(15), "S": exact(20)}, lime(none), nil, ukSource},
		{"gypsum", []string{"gypsum"}, "gypsum", Content{"Ca": between(20, 23.3), "S": between(15, 18.6)}, lime(none), nil, ukSource + "; pure by the atomic masses"},
		{"elemental sulfur", []string{"elemental sulfur", "elemental sulphur", "sulfur prills", "sulphur prills", "sulfur", "sulphur"}, "sulfur", Content{"S": between(80, 99)}, lime(between(-309, -250)), nil, ukSource + "; acidity by the atomic masses"},
		{"blood meal", []string{"blood meal"}, "fertilizer", label(between(10, 13), between(0, 1.5), none), lime(exact(-22)), meal(), "Texas A&M horticulture, PLANTanswers; N set free from memory"},
		{"bone meal", []string{"bone meal"}, "fertilizer", with(label(exact(2), between(10, 27), none), "Ca", between(18, 28)), lime(exact(20)), meal(), "Texas A&M horticulture, PLANTanswers; Ca from memory"},
		{"feather meal", []string{"feather meal"}, "fertilizer", label(between(7, 12), none, none), nil, meal(), "trade labels; N set free from memory"},
		{"cottonseed meal", []string{"cottonseed", "cotton seed"}, "fertilizer", label(between(5, 6), between(2, 2.5), between(1, 2)), lime(exact(-9)), meal(), "Texas A&M horticulture, PLANTanswers; N set free from memory"},
		{"alfalfa meal", []string{"alfalfa meal", "alfalfa pellets", "lucerne"}, "fertilizer", label(between(2, 3), exact(1), exact(2)), nil, meal(), "trade labels; N set free from memory"},
		{"kelp meal", []string{"kelp", "seaweed"}, "fertilizer", label(exact(1), between(0, 0.5), between(2, 9)), nil, meal(), "trade labels; N set free from memory"},
		{"wood ash", []string{"wood ash", " ash "}, "ash", with(label(none, between(1, 5), between(3, 8)), "Ca", between(25, 50)), lime(between(45, 60)), nil, "extension notes that contradict each other"},
		{"dolomitic lime", []string{"dolomit", "magnesian lime"}, "lime", Content{"Ca": within(21.7, 0.1), "Mg": within(13.1, 0.15)}, lime(between(95, 109)), nil, "pure mineral and trade grades"},
		{"calcitic lime", []string{"calcitic lime", "limestone", "garden lime", "ground chalk", "calcite", "lime"}, "lime", Content{"Ca": between(32, 40), "Mg": between(0, 1)}, lime(between(85, 100)), nil, "pure mineral and trade grades"},
	}
}

// typicalOf finds a material by words of its name; nil: not known.
func typicalOf(list []TypicalMaterial, name string) *TypicalMaterial {
	n := " " + strings.ToLower(name) + " "
	for i := range list {
		for _, w := range list[i].Words {
			if strings.Contains(n, w) {
				return &list[i]
			}
		}
	}
	return nil
}

// gradeIn is a grade in a material's name: N-P2O5-K2O in %.
var gradeIn = regexp.MustCompile(`(?:^|[^0-9.-])(\d{1,2}(?:\.\d+)?)-(\d{1,2}(?:\.\d+)?)-(\d{1,2}(?:\.\d+)?)(?:[^0-9-]|$)`)

// gradeOf reads the grade that a name states, by the element; nil: none.
func gradeOf(name string) Content {
	m := gradeIn.FindStringSubmatch(name)
	if m == nil {
		return nil
	}
	c, sum := Content{}, 0.0
	for i, form := range []string{"N", "P2O5", "K2O"} {
		v, err := strconv.ParseFloat(m[i+1], 64)
		if err != nil {
			return nil
		}
		sum += v
		if v == 0 {
			continue
		}
		f, ok := unit.FormFactor(form)
		if !ok { // N is itself
			f = 1
		}
		c[strings.TrimSuffix(strings.TrimSuffix(form, "2O5"), "2O")] = Range95{v * f, v * f, v * f}
	}
	if sum > 100 || len(c) == 0 {
		return nil
	}
	return c
}
