package unit

import (
	"fmt"
	"slices"
	"strings"
)

// Kind says which units can measure an analyte.
type Kind int

const (
	Fraction     Kind = iota // mg/kg of soil
	Percent                  // % of soil by mass, or of exchange sites
	PH                       // no unit
	Charge                   // cmolc/kg
	Conductivity             // dS/m
	Density                  // g/cm3
	LimeBuffer               // mg CaCO3/kg for one pH unit
	Release                  // kg/ha a season
)

// Analyte is something a soil, leaf or water test measures.
type Analyte struct {
	ID       string // as stored and printed: pH, P, NO3-N, OM
	Name     string
	Kind     Kind
	Charge   float64 // mol of charge per mol; 0 where meq makes no sense
	Molar    float64 // g/mol of the stored form
	Decimals int     // digits after the point that the trade prints
	NeedForm bool    // a bare name is not enough: P or P2O5? S or SO4?
	Plain    bool    // needs no method: density, texture, sums
}

// Standard atomic masses, g/mol, abridged.
// Source: Prohaska et al. 2022, Standard atomic weights of the elements 2021
// (IUPAC Technical Report), Pure and Applied Chemistry 94(5), 573-600.
const (
	mH  = 1.008
	mC  = 12.011
	mN  = 14.007
	mO  = 15.999
	mNa = 22.990
	mMg = 24.305
	mAl = 26.982
	mP  = 30.974
	mS  = 32.06
	mK  = 39.098
	mCa = 40.078
)

// Analytes lists every analyte, in the order tables show them.
func Analytes() []Analyte {
	return []Analyte{
		{ID: "pH", Name: "soil pH", Kind: PH, Decimals: 1},
		{ID: "buffer pH", Name: "buffer pH", Kind: PH, Decimals: 2},
		{ID: "OM", Name: "organic matter", Kind: Percent, Decimals: 1},
		{ID: "OC", Name: "organic carbon", Kind: Percent, Decimals: 2},
		{ID: "CEC", Name: "cation exchange capacity", Kind: Charge, Decimals: 1},
		{ID: "P", Name: "phosphorus", Kind: Fraction, Molar: mP, NeedForm: true},
		{ID: "K", Name: "potassium", Kind: Fraction, Molar: mK, Charge: 1},
		{ID: "Ca", Name: "calcium", Kind: Fraction, Molar: mCa, Charge: 2},
		{ID: "Mg", Name: "magnesium", Kind: Fraction, Molar: mMg, Charge: 2},
		{ID: "S", Name: "sulfur", Kind: Fraction, Molar: mS, NeedForm: true},
		{ID: "Na", Name: "sodium", Kind: Fraction, Molar: mNa, Charge: 1},
		{ID: "NO3-N", Name: "nitrate nitrogen", Kind: Fraction, Molar: mN, NeedForm: true},
		{ID: "NH4-N", Name: "ammonium nitrogen", Kind: Fraction, Molar: mN, NeedForm: true},
		{ID: "B", Name: "boron", Kind: Fraction, Decimals: 2},
		{ID: "Zn", Name: "zinc", Kind: Fraction, Decimals: 1},
		{ID: "Mn", Name: "manganese", Kind: Fraction, Decimals: 1},
		{ID: "Fe", Name: "iron", Kind: Fraction},
		{ID: "Cu", Name: "copper", Kind: Fraction, Decimals: 1},
		{ID: "Al", Name: "aluminium", Kind: Fraction, Molar: mAl, Charge: 3},
		{ID: "Mo", Name: "molybdenum", Kind: Fraction, Decimals: 2},
		{ID: "Cl", Name: "chloride", Kind: Fraction},
		{ID: "Pb", Name: "lead", Kind: Fraction},
		{ID: "EC", Name: "soluble salts (electrical conductivity)", Kind: Conductivity, Decimals: 2},
		{ID: "acidity", Name: "exchangeable acidity", Kind: Charge, Decimals: 1},
		{ID: "total N", Name: "total nitrogen", Kind: Percent, Decimals: 2},
		{ID: "total C", Name: "total carbon", Kind: Percent, Decimals: 2},
		{ID: "Ca sat", Name: "calcium saturation", Kind: Percent, Plain: true},
		{ID: "Mg sat", Name: "magnesium saturation", Kind: Percent, Plain: true},
		{ID: "K sat", Name: "potassium saturation", Kind: Percent, Decimals: 1, Plain: true},
		{ID: "Na sat", Name: "sodium saturation", Kind: Percent, Decimals: 1, Plain: true},
		{ID: "H sat", Name: "hydrogen (acid) saturation", Kind: Percent, Plain: true},
		{ID: "base sat", Name: "base saturation", Kind: Percent, Plain: true},
		{ID: "LBC", Name: "lime buffer capacity", Kind: LimeBuffer},
		{ID: "bulk density", Name: "bulk density", Kind: Density, Decimals: 2, Plain: true},
		{ID: "sand", Name: "sand", Kind: Percent, Plain: true},
		{ID: "silt", Name: "silt", Kind: Percent, Plain: true},
		{ID: "clay", Name: "clay", Kind: Percent, Plain: true},
		// What a lab reckons from organic matter by a rule of its own: kept as
		// printed, and no part of any sum of nitrogen.
		{ID: "ENR", Name: "estimated nitrogen release", Kind: Release, Plain: true},
	}
}

var analytes = Analytes()

// ByID returns the analyte with that ID.
func ByID(id string) (Analyte, bool) {
	for _, a := range analytes {
		if a.ID == id {
			return a, true
		}
	}
	return Analyte{}, false
}

// Rank orders analytes as tables show them; unknown ones come last.
func Rank(id string) int {
	for i, a := range analytes {
		if a.ID == id {
			return i
		}
	}
	return len(analytes)
}

// Unit returns the SI unit in which values of the analyte are stored.
func (a Analyte) Unit() string {
	switch a.Kind {
	case Percent:
		return "%"
	case PH:
		return "pH"
	case Charge:
		return "cmolc/kg"
	case Conductivity:
		return "dS/m"
	case Density:
		return "g/cm3"
	case LimeBuffer:
		return "mg CaCO3/kg/pH"
	case Release:
		return "kg/ha"
	}
	return "mg/kg"
}

// Form is a way a lab may print an analyte: multiply by Factor for the stored
// form.
type Form struct {
	Name    string
	Analyte string
	Factor  float64
	loose   bool // as a name of its own it may mean another form
}

// Forms lists the forms in print, with factors from the atomic masses.
func Forms() []Form {
	return []Form{
		{Name: "P", Analyte: "P", Factor: 1},
		{Name: "P2O5", Analyte: "P", Factor: 2 * mP / (2*mP + 5*mO)},
		{Name: "PO4", Analyte: "P", Factor: mP / (mP + 4*mO), loose: true},
		{Name: "K", Analyte: "K", Factor: 1},
		{Name: "K2O", Analyte: "K", Factor: 2 * mK / (2*mK + mO)},
		{Name: "Ca", Analyte: "Ca", Factor: 1},
		{Name: "CaO", Analyte: "Ca", Factor: mCa / (mCa + mO)},
		{Name: "CaCO3", Analyte: "Ca", Factor: mCa / (mCa + mC + 3*mO), loose: true},
		{Name: "Mg", Analyte: "Mg", Factor: 1},
		{Name: "MgO", Analyte: "Mg", Factor: mMg / (mMg + mO)},
		{Name: "MgCO3", Analyte: "Mg", Factor: mMg / (mMg + mC + 3*mO), loose: true},
		{Name: "S", Analyte: "S", Factor: 1},
		{Name: "SO4-S", Analyte: "S", Factor: 1},
		{Name: "SO4", Analyte: "S", Factor: mS / (mS + 4*mO), loose: true},
		{Name: "SO3", Analyte: "S", Factor: mS / (mS + 3*mO)},
		{Name: "NO3-N", Analyte: "NO3-N", Factor: 1},
		{Name: "NO3", Analyte: "NO3-N", Factor: mN / (mN + 3*mO), loose: true},
		{Name: "NH4-N", Analyte: "NH4-N", Factor: 1},
		{Name: "NH4", Analyte: "NH4-N", Factor: mN / (mN + 4*mH), loose: true},
	}
}

var forms = Forms()

// CaCO3PerMgCO3 is the lime value of magnesium carbonate: kg CaCO3 that do the
// work of one kg MgCO3.
const CaCO3PerMgCO3 = (mCa + mC + 3*mO) / (mMg + mC + 3*mO)

// GypsumCa and GypsumS are the mass shares of Ca and S in CaSO4.2H2O.
const (
	gypsum   = mCa + mS + 6*mO + 4*mH
	GypsumCa = mCa / gypsum
	GypsumS  = mS / gypsum
)

// FormFactor returns what one unit of mass of the form weighs as its analyte's
// stored form: 0.4364 for P2O5.
func FormFactor(form string) (float64, bool) {
	for _, f := range forms {
		if f.Name == form {
			return f.Factor, true
		}
	}
	return 0, false
}

// analyteNames maps squashed names to an analyte ID; forms that are plain by
// themselves are found in the forms.
var analyteNames = func() map[string]string {
	m := map[string]string{
		"soilph": "pH", "phwater": "pH", "bufferph": "buffer pH", "bph": "buffer pH", "limeindex": "buffer pH", "ph(buffer)": "buffer pH",
		"organicmatter": "OM", "som": "OM", "organicmatter%": "OM", "om%": "OM",
		"organiccarbon": "OC", "soc": "OC", "toc": "OC", "totalorganiccarbon": "OC",
		"cationexchangecapacity": "CEC", "ecec": "CEC",
		"phosphate": "P", "po4": "P", "potash": "K", "sulphur": "S", "sulphate": "S", "sulfate": "S", "so4": "S",
		"nitrate": "NO3-N", "no3": "NO3-N", "ammonium": "NH4-N", "nh4": "NH4-N",
		"salts": "EC", "solublesalts": "EC", "conductivity": "EC", "electricalconductivity": "EC",
		"exchangeableacidity": "acidity", "totalnitrogen": "total N", "tn": "total N", "totalcarbon": "total C", "tc": "total C",
		"basesaturation": "base sat", "limebuffercapacity": "LBC", "aluminum": "Al", "bd": "bulk density",
		"%ca": "Ca sat", "%mg": "Mg sat", "%k": "K sat", "%na": "Na sat", "%h": "H sat",
		"esp": "Na sat", "exchangeablesodiumpercentage": "Na sat",
	}
	for _, a := range Analytes() {
		m[squash(a.ID)] = a.ID
		m[squash(a.Name)] = a.ID
	}
	return m
}()

// ParseAnalyte reads an analyte as a lab prints it, and the form it is printed
// in. form may be empty where name says it: a symbol is the element ("P"), an
// oxide is itself ("P2O5"). A form beside the analyte's own symbol wins ("P" in
// form "P2O5"). The factor turns a printed value into the stored form.
//
// The error says what to write where a name is unknown or leaves the form open:
// "nitrate" and "NO3" may be NO3 or NO3-N, a factor of 4.43.
func ParseAnalyte(name, form string) (a Analyte, f Form, err error) {
	direct := squash(name)
	id := analyteNames[direct]
	for _, x := range forms {
		if squash(x.Name) == direct && !x.loose {
			id, f = x.Analyte, x
		}
	}
	if id == "" {
		id = saturation(name)
	}
	a, ok := ByID(id)
	open := a.NeedForm || direct == "potash"
	if !ok {
		h := ParseHeading(name) // Sol. Salts, Available P
		a, ok = ByID(h.Analyte.Text)
		switch near := didYouMean(name, analyteWords()); {
		case !ok || near != "" && h.Form.Text == "" || len(h.Rest) > 0 || h.Aside != "" || h.DepthTo > 0 || strings.HasSuffix(a.ID, " sat") || strings.Contains(strings.ToLower(name), " as "):
			return Analyte{}, f, refuse("analyte", "analyte %q: not known%s", name, near)
		case h.Method.From+h.Unit.From != "":
			return Analyte{}, f, refuse("analyte", "analyte %q: expected the analyte alone: write %s, and method and unit in columns of their own", name, a.ID)
		case h.Form.Text != "":
			f = Form{Name: h.Form.Text, Analyte: a.ID, Factor: formOf(h.Form.Text).Factor}
		}
		open = h.Form.From != ""
	}
	if direct == squash(a.Name) && strings.HasSuffix(direct, "nitrogen") && a.NeedForm {
		f = Form{Name: a.ID, Analyte: a.ID, Factor: 1} // "nitrate nitrogen" says it
	}
	if form != "" {
		for _, x := range forms {
			if x.Analyte == a.ID && squash(x.Name) == squash(form) {
				if f.Name != "" && f.Name != a.ID && f.Factor != x.Factor {
					return a, f, refuse("form", "form %q: contradicts analyte %q: leave the form empty", form, name)
				}
				return a, x, nil
			}
		}
		if squash(form) != squash(a.ID) {
			return a, f, refuse("form", "form %q: does not belong to %s: write %s", form, a.ID, strings.Join(formsOf(a.ID), ", "))
		}
	}
	if f.Name == "" {
		if form == "" && open {
			return a, f, refuse("form", "%q leaves the form open: expected %s: write it under form (%s)", name, strings.Join(formsOf(a.ID), ", "), ratios(a.ID))
		}
		f = Form{Name: a.ID, Analyte: a.ID, Factor: 1}
	}
	return a, f, nil
}

// saturation reads the many names of one cation's share of the exchange sites,
// such as "Base Sat Ca", "% Ca saturation", "Ca Base Sat.", as Ca sat.
func saturation(name string) (id string) {
	said := false
	for _, w := range strings.FieldsFunc(strings.ToLower(name), func(r rune) bool { return strings.ContainsRune(" \t\u00a0.,-_()%:", r) }) {
		switch w {
		case "sat", "satn", "saturation", "saturated":
			said = true
		case "base", "cation", "pct", "percent", "of", "exchangeable", "exch":
		default:
			for _, a := range [][2]string{{"ca", "calcium"}, {"mg", "magnesium"}, {"k", "potassium"}, {"na", "sodium"}, {"h", "hydrogen"}} {
				if w == a[0] || w == a[1] {
					if id != "" {
						return ""
					}
					id = strings.ToUpper(a[0][:1]) + a[0][1:] + " sat"
					w = ""
				}
			}
			if w != "" {
				return ""
			}
		}
	}
	if !said {
		return ""
	}
	return id
}

func formsOf(id string) (names []string) {
	for _, f := range forms {
		if f.Analyte == id {
			names = append(names, f.Name)
		}
	}
	if names == nil {
		names = []string{id}
	}
	return names
}

func ratios(id string) string {
	var parts []string
	for _, f := range forms {
		if f.Analyte == id && f.Factor != 1 {
			parts = append(parts, fmt.Sprintf("%s reads %.2f times %s", f.Name, 1/f.Factor, id))
		}
	}
	return strings.Join(parts, "; ")
}

func analyteWords() (out []string) {
	for _, a := range analytes {
		out = append(out, a.ID, a.Name)
	}
	for _, f := range forms {
		if f.Name != "CaCO3" && !slices.Contains(out, f.Name) {
			out = append(out, f.Name)
		}
	}
	return out
}

// nearOr offers near names, or else the list of what would do.
func nearOr(s string, names []string, list string) string {
	if near := didYouMean(s, names); near != "" {
		return near
	}
	if !strings.Contains(list, ",") {
		return ": expected " + list
	}
	return ": expected one of " + list
}

func didYouMean(s string, names []string) string {
	near := Near(s, names)
	if len(near) == 0 {
		return ""
	}
	return ": did you mean " + strings.Join(near, " or ") + "?"
}
