package unit

import (
	"fmt"
	"math"
	"strings"
)

// Exact definitions, and the one convention of the US trade.
const (
	CmPerInch   = 2.54
	M2PerSqFt   = 0.09290304
	M2PerAcre   = 43560 * M2PerSqFt
	KgPerPound  = 0.45359237
	LPerGallon  = 3.785411784
	M3PerCuFt   = 0.028316846592
	KgHaPerLbAc = KgPerPound / M2PerAcre * 1e4
	LbFt3PerGcc = 1000 * M3PerCuFt / KgPerPound // lb/cu ft for 1 g/cm3

	// FurrowSlice is the soil of an acre to 6 2/3 in that US labs count with,
	// lb. Source: Penn State Agronomy Guide, section 2.
	FurrowSlice   = 2e6
	furrowDepthIn = 20.0 / 3
)

// Rules by which a figure per area of ground stands for a share of its soil.
const (
	TwicePPM = "2 x ppm"  // 2 lb/acre = 1 ppm, however deep the sample went
	ByDepth  = "by depth" // 2,000,000 lb of soil in an acre to 6 2/3 in, scaled to the sampled depth
)

// CheckPounds refuses what is none of the rules; an empty text leaves it to Soil.
// The error wraps ErrUnit.
func CheckPounds(rule string) error {
	if rule != "" && rule != TwicePPM && rule != ByDepth {
		return refuse("pounds", "%q: expected %q or %q", rule, TwicePPM, ByDepth)
	}
	return nil
}

// plowFrom and plowTo bound, cm, the depth of a sample of the plow layer, which
// starts at the surface: 5 to 9 in. Common practice, no source.
const plowFrom, plowTo = 12.5, 23

// SliceDensity is the bulk density behind the 2,000,000 lb convention, g/cm3.
const SliceDensity = FurrowSlice / (43560 * furrowDepthIn / 12) / LbFt3PerGcc

// SoilMass returns the dry mass of soil in kg under area m2 to depth cm at
// density g/cm3.
func SoilMass(areaM2, depthCm, density float64) float64 { return areaM2 * depthCm * density * 10 }

// SoilReading is a value as a lab printed it.
type SoilReading struct {
	Analyte   Analyte
	Form      Form
	Method    string // method ID, may be empty
	Value     float64
	Unit      string
	DepthFrom float64 // cm; DepthTo <= DepthFrom: depth not known
	DepthTo   float64
	Pounds    string // rule for lb/acre and the like: TwicePPM, ByDepth; empty: by the depth
}

// SoilValue is the same value in SI.
type SoilValue struct {
	Value      float64
	Unit       string
	Basis      string // mass, volume, extract; empty where it makes no difference
	Conversion string // how, where the road is not a plain change of scale
	Pounds     string // the rule that was used, TwicePPM or ByDepth; empty: none was
}

// Soil turns a printed soil-test value into SI.
//
// A unit may name the form (ppm K, lb P2O5/acre) if it is the reading's own.
//
// lb/acre, lb/1000 sq ft, kg/ha and g/m2 become mg/kg by the laboratory convention
// of 2,000,000 lb of soil in an acre to 6 2/3 in. Labs print the plow layer so
// whatever its exact depth: a sample from the surface to 5 to 9 in counts 2
// lb/acre (2.2417 kg/ha) for 1 mg/kg. Any other is scaled to its sampled depth.
// Pounds says otherwise of a lab; nitrate and ammonium of another layer than the
// plow layer are scaled to their depth all the same. Conversion names the rule: it
// undoes what the lab did and says nothing of the bed's true soil mass. mg/dm3 stays a volume basis, since no scoop weight is known. A
// figure of a saturated paste is one of its extract, in mg/L, and is never
// turned into an amount of the soil.
//
// The error wraps ErrUnit for an unknown unit, one that cannot measure the
// analyte, a depth or method that is needed and missing, and for impossible values.
//
// Source: Penn State Agronomy Guide, section 2 (convention, and lb/acre as 2 x
// ppm); Ohio State University, agricultural best management practices FAQ (60
// lb/acre = 30 ppm).
func Soil(r SoilReading) (SoilValue, error) {
	v, err := soilIn(r, squash(r.Unit))
	if About(err) == "unit" && r.Unit != "" {
		plain, err := plainUnit(r)
		if err != nil {
			return SoilValue{}, err
		}
		if plain != "" {
			return soilIn(r, squash(plain))
		}
	}
	return v, err
}

// plainUnit takes the form out of a unit such as ppm K or lb N/acre, and other
// ways to write it; empty if it makes no unit.
func plainUnit(r SoilReading) (string, error) {
	h := Heading{Text: r.Unit}
	ms := h.mentions(atoms(r.Unit))
	plain := ""
	for _, m := range ms {
		switch {
		case m.sense == ofUnit && plain == "":
			plain = m.text
		case m.sense == ofWhat && (m.text == r.Analyte.ID || m.text == "N" && (strings.HasSuffix(r.Analyte.ID, "-N") || r.Analyte.Kind == Release)):
			name := m.form
			if m.text == "N" {
				name = r.Analyte.ID
			}
			if f, ok := FormFactor(name); ok && f != r.Form.Factor {
				return "", refuse("unit", "unit %q: speaks of %s where the value is of %s: mend one of them", r.Unit, name, r.Form.Name)
			}
		case m.sense != noise && m.sense != asForm:
			return "", nil
		}
	}
	if len(h.Rest) > 0 {
		return "", nil
	}
	return plain, nil
}

// soilIn is Soil for a squashed unit.
func soilIn(r SoilReading, u string) (SoilValue, error) {
	if math.IsNaN(r.Value) || math.IsInf(r.Value, 0) {
		return SoilValue{}, refuse("value", "%v: expected a number", r.Value)
	}
	if r.Value < 0 {
		return SoilValue{}, refuse("value", "%s %v: expected 0 or more: check the sign", r.Analyte.ID, r.Value)
	}
	v := SoilValue{Unit: r.Analyte.Unit()}
	if u == "" && r.Analyte.Kind != PH {
		return v, refuse("unit", "%s has no unit: expected %s: copy the unit from the lab's sheet%s", r.Analyte.ID, strings.Join(soilUnits(r.Analyte), ", "), twofold(r.Analyte))
	}
	bad := func() (SoilValue, error) {
		return SoilValue{}, refuse("unit", "unit %q: cannot measure %s%s", r.Unit, r.Analyte.ID, nearOr(r.Unit, soilUnits(r.Analyte), strings.Join(soilUnits(r.Analyte), ", ")))
	}
	x := r.Value * r.Form.Factor
	perLitre := u == "meq/l" || u == "me/l" || u == "mmolc/l"
	if r.Analyte.Kind == Fraction && (r.Method == paste || r.Method == waterExtract && perLitre) {
		return extract(r, u, x)
	}
	if perLitre && r.Method == "" && r.Analyte.Charge > 0 {
		return v, refuse("method", "%s in %s: meq/L is of a saturated paste or water extract: write the method", r.Analyte.ID, r.Unit)
	}
	switch r.Analyte.Kind {
	case PH:
		if u != "" && u != "ph" && u != "phunits" && u != "unit" && u != "units" && u != "su" {
			return bad()
		}
		if x < 3.0 || x > 10.5 {
			return v, refuse("value", "%s %v: expected 3.0 to 10.5: check the decimal point", r.Analyte.ID, r.Value)
		}
		if r.Analyte.ID == "buffer pH" && x < 5.0 {
			return v, refuse("value", "buffer pH %v: expected 5.0 or more: is it the soil's own pH?", r.Value)
		}
		v.Value = x
	case Percent:
		switch u {
		case "%", "pct", "percent", "g/100g", "wt%", "%byweight":
		case "g/kg", "permille", "\u2030":
			x /= 10
		case "mg/kg", "ppm":
			x /= 1e4
		default:
			return bad()
		}
		if x > 100 {
			return v, refuse("value", "%s %v %s: expected 0 to 100 %%: check the decimal point and the unit", r.Analyte.ID, r.Value, r.Unit)
		}
		v.Value = x
	case Charge:
		switch u {
		case "cmolc/kg", "cmol/kg", "cmol(+)/kg", "cmolckg1", "meq/100g", "me/100g", "meq/100gsoil":
		case "meq": // of 100 g: common practice, no source
		case "mmolc/kg", "mmol/kg", "meq/kg":
			x /= 10
		case "meq/100cm3", "meq/100cc", "cmolc/dm3", "cmolc/l":
			v.Unit, v.Basis = "cmolc/dm3", "volume"
		default:
			return bad()
		}
		if x > 300 {
			return v, refuse("value", "%s %v %s: expected 0 to 300 cmolc/kg: check the decimal point and the unit", r.Analyte.ID, r.Value, r.Unit)
		}
		v.Value = x
	case Conductivity:
		scale, ok := conductivity(u)
		if !ok {
			return bad()
		}
		v.Value = x * scale
	case Density:
		switch u {
		case "g/cm3", "g/cc", "g/ml", "mg/m3", "t/m3", "kg/l":
		case "kg/m3":
			x /= 1000
		case "lb/ft3", "lb/cuft":
			x /= LbFt3PerGcc
		default:
			return bad()
		}
		if x < 0.05 || x > 2.65 {
			return v, refuse("value", "%s %v %s: expected 0.05 to 2.65 g/cm3: check the decimal point and the unit", r.Analyte.ID, r.Value, r.Unit)
		}
		v.Value = x
	case LimeBuffer:
		switch u {
		case "mgcaco3/kg/ph", "ppmcaco3/ph", "mg/kg/ph", "ppm/ph":
		default:
			return bad()
		}
		v.Value = x
	case Release:
		s, ok := find(u, []Quantity{MassPerArea})
		if !ok {
			return bad()
		}
		v.Value = x * s.factor
	default:
		return fraction(r, u, x, bad)
	}
	return v, nil
}

// paste is the method whose figures are of an extract and of no amount of soil;
// those by a water extract are if they are of a litre of it.
const paste, waterExtract = "saturated paste", "water extract"

// extract handles figures of a saturated paste, mg in a litre of its extract.
// Labs that print them in ppm mean the same (common practice, no source).
func extract(r SoilReading, u string, x float64) (SoilValue, error) {
	v := SoilValue{Unit: "mg/L", Basis: "extract"}
	switch u {
	case "mg/l", "ppm", "g/m3", "ug/ml":
	case "ug/l", "ppb":
		x /= 1000
	case "meq/l", "me/l", "mmolc/l":
		if r.Analyte.Charge == 0 {
			return v, refuse("unit", "unit %q: cannot measure %s: expected mg/L or ppm", r.Unit, r.Analyte.ID)
		}
		if r.Form.Factor != 1 {
			return v, refuse("form", "%s in %s: expected the element, since charge has no oxide form: write %s", r.Form.Name, r.Unit, r.Analyte.ID)
		}
		x *= r.Analyte.Molar / r.Analyte.Charge
	default:
		return v, refuse("unit", "unit %q: %s of a saturated paste is a figure of its extract, not of the soil: expected mg/L, ppm or meq/L", r.Unit, r.Analyte.ID)
	}
	if x > 1e6 {
		return v, refuse("value", "%s %v %s: more than the extract weighs: check the decimal point and the unit", r.Analyte.ID, r.Value, r.Unit)
	}
	v.Value = x
	return v, nil
}

// fraction handles what is measured as mass of nutrient in mass of soil.
func fraction(r SoilReading, u string, x float64, bad func() (SoilValue, error)) (SoilValue, error) {
	v := SoilValue{Unit: "mg/kg", Basis: "mass"}
	area := 0.0 // kg/ha in one printed unit, where the unit is per area
	switch u {
	case "mg/kg", "ppm", "ug/g", "g/t", "mgkg1":
	case "ppb", "ug/kg":
		x /= 1000
	case "mg/100g":
		x *= 10
	case "%", "pct":
		x *= 1e4
	case "g/kg":
		x *= 1000
	case "meq/100g", "me/100g", "cmolc/kg", "cmol/kg", "cmol(+)/kg", "mmolc/kg", "meq/kg":
		if r.Analyte.Charge == 0 {
			return bad()
		}
		if r.Form.Factor != 1 {
			return v, refuse("form", "%s in %s: expected the element, since charge has no oxide form: write %s", r.Form.Name, r.Unit, r.Analyte.ID)
		}
		x *= 10 * r.Analyte.Molar / r.Analyte.Charge
		if u == "mmolc/kg" || u == "meq/kg" {
			x /= 10
		}
	case "mg/dm3", "mg/l", "g/m3", "ug/ml":
		v.Unit, v.Basis = "mg/dm3", "volume"
		if r.Method == waterExtract {
			v.Unit, v.Basis = "mg/L", "extract"
		}
	case "lb/acre", "lbs/acre", "lb/ac", "lbs/ac", "lb/a", "lbs/a", "pounds/acre", "pp2m", "#/acre", "lbperacre", "lbsperacre", "poundsperacre":
		area = KgHaPerLbAc
	case "lb/1000sqft", "lbs/1000sqft", "lb/1000ft2", "lbs/1000ft2", "lb/msf":
		area = KgHaPerLbAc * 43.56
	case "kg/ha", "kgha1":
		area = 1
	case "g/m2":
		area = 10
	default:
		return bad()
	}
	if area > 0 {
		depth := r.DepthTo - r.DepthFrom
		if v.Pounds = r.poundsRule(); v.Pounds == TwicePPM {
			x = x * area / (2 * KgHaPerLbAc)
			v.Conversion = fmt.Sprintf("from %s by the plow-layer rule of US labs, 2 lb/acre = 1 ppm whatever the exact depth", r.Unit)
		} else if depth > 0 {
			x = x * area * 10 / (depth * SliceDensity)
			v.Conversion = fmt.Sprintf("from %s by the laboratory convention of 2,000,000 lb soil per acre to 6 2/3 in, scaled to the sampled depth", r.Unit)
		} else {
			return v, refuse("depth", "%s in %s: expected the sampled depth beside it: fill in the column depth", r.Analyte.ID, r.Unit)
		}
	}
	if x > 1e6 {
		return v, refuse("value", "%s %v %s: more than the soil weighs: check the decimal point and the unit", r.Analyte.ID, r.Value, r.Unit)
	}
	v.Value = x
	return v, nil
}

// poundsRule decides the rule for a figure per area of ground.
func (r SoilReading) poundsRule() string {
	known := r.DepthTo > r.DepthFrom
	plow := known && r.DepthFrom <= 0 && r.DepthTo >= plowFrom && r.DepthTo <= plowTo
	mineralN := r.Analyte.ID == "NO3-N" || r.Analyte.ID == "NH4-N"
	switch {
	case r.Pounds == ByDepth, !plow && r.Pounds == "", known && !plow && mineralN:
		return ByDepth
	}
	return TwicePPM
}

// conductivity returns the worth of a squashed unit in dS/m.
func conductivity(u string) (float64, bool) {
	switch u {
	case "ds/m", "ms/cm", "mmho/cm", "mmhos/cm":
		return 1, true
	case "us/cm", "umho/cm", "umhos/cm":
		return 0.001, true
	case "ms/m":
		return 0.01, true
	}
	return 0, false
}

// twofold says why a missing unit is not guessed.
func twofold(a Analyte) string {
	if a.Kind == Fraction {
		return " (ppm and lb/acre differ by a factor of 2)"
	}
	return ""
}

// soilUnits lists the units to offer for an analyte.
func soilUnits(a Analyte) []string {
	switch a.Kind {
	case PH:
		return []string{"pH"}
	case Percent:
		return []string{"%", "g/kg"}
	case Charge:
		return []string{"meq/100 g", "cmolc/kg"}
	case Conductivity:
		return []string{"dS/m", "mmho/cm"}
	case Density:
		return []string{"g/cm3"}
	case LimeBuffer:
		return []string{"mg CaCO3/kg/pH"}
	case Release:
		return []string{"lb/acre", "kg/ha"}
	}
	out := []string{"ppm", "mg/kg", "lb/acre", "kg/ha", "mg/dm3", "%"}
	if a.Charge > 0 {
		out = append(out, "meq/100 g")
	}
	return out
}

// Conventional factors from organic carbon to organic matter: 1.724 undoes a
// lab that used it; 2.0 is the better estimate for new work.
// Source: Pribyl 2010, A critical review of the conventional SOC to SOM
// conversion factor, Geoderma 156, 75-83; USDA NRCS 2011, Soil Survey
// Laboratory Information Manual, SSIR 45 v2.0 (1.724).
const (
	OMPerOCConventional = 1.724
	OMPerOC             = 2.0
)

// OrganicMatter returns the organic matter, %, that a factor makes of organic
// carbon, %; OrganicCarbon turns it back. Which factor a lab used must be known:
// the published ones span 1.4 to 2.5.
//
// The error wraps ErrUnit for a factor outside that span.
//
// Source: Pribyl 2010, Geoderma 156, 75-83.
func OrganicMatter(oc, factor float64) (om float64, err error) {
	if !(factor >= 1.4 && factor <= 2.5) {
		return 0, refuse("form", "factor %v from organic carbon to organic matter: expected 1.4 to 2.5, such as 1.724", factor)
	}
	return oc * factor, nil
}

// OrganicCarbon undoes OrganicMatter.
func OrganicCarbon(om, factor float64) (oc float64, err error) {
	one, err := OrganicMatter(1, factor)
	if err != nil {
		return 0, err
	}
	return om / one, nil
}

// MgPerKgFromLbAc undoes the laboratory convention for a furrow slice.
// depthCm is the sampled depth.
func MgPerKgFromLbAc(lbAc, depthCm float64) float64 {
	return lbAc * KgHaPerLbAc * 10 / (depthCm * SliceDensity)
}

// LbAcFromMgPerDm3 turns a volume-basis value into lb/acre; geometry alone, no
// density enters.
func LbAcFromMgPerDm3(mgDm3, depthCm float64) float64 { return mgDm3 * depthCm / 10 / KgHaPerLbAc }
