package unit

import "strings"

// Method is a laboratory procedure. It is part of a value's identity: values by
// two methods are never put in one series, difference, sum or target.
type Method struct {
	ID    string   // as stored and printed: Mehlich-3, water 1:1, LOI
	For   []string // analyte IDs; nil: nutrients by extraction
	Alias []string
}

// Methods lists the procedures we know by name.
func Methods() []Method {
	ph, buf, om, ec := []string{"pH"}, []string{"buffer pH"}, []string{"OM", "OC", "total C"}, []string{"EC"}
	return []Method{
		{ID: "Mehlich-3", Alias: []string{"M3", "Mehlich III", "Mehlich3 extract"}},
		{ID: "Mehlich-3 ICP", Alias: []string{"M3-ICP", "Mehlich 3 by ICP"}},
		{ID: "Mehlich-3 colorimetric", Alias: []string{"M3-COL", "Mehlich 3 col"}},
		{ID: "Mehlich-1", Alias: []string{"M1", "Mehlich I", "double acid"}},
		{ID: "Bray P1", Alias: []string{"Bray", "Bray-1", "Bray I", "P1", "weak Bray"}},
		{ID: "Bray P2", Alias: []string{"Bray-2", "Bray II", "P2", "strong Bray"}},
		{ID: "Olsen", Alias: []string{"Olsen P", "bicarbonate", "sodium bicarbonate", "NaHCO3"}},
		{ID: "Morgan", Alias: []string{"sodium acetate"}},
		{ID: "modified Morgan", Alias: []string{"MM", "mod Morgan", "modified-Morgan"}},
		{ID: "ammonium acetate", Alias: []string{"NH4OAc", "AA", "ammonium acetate pH 7", "exchangeable", "neutral ammonium acetate"}},
		{ID: "Lancaster", Alias: []string{"Mississippi"}},
		{ID: "CAL", Alias: []string{"calcium acetate lactate"}},
		{ID: "DTPA", For: []string{"Zn", "Mn", "Fe", "Cu", "Pb"}},
		{ID: "hot water", Alias: []string{"hot-water", "hot water extract"}, For: []string{"B"}},
		{ID: "calcium phosphate", Alias: []string{"Ca(H2PO4)2", "MCP", "monocalcium phosphate"}, For: []string{"S"}},
		{ID: "KCl extract", Alias: []string{"KCl", "1 M KCl", "2 M KCl"}, For: []string{"NO3-N", "NH4-N", "Al", "acidity"}},
		{ID: "CaSO4 extract", Alias: []string{"CaSO4"}, For: []string{"NO3-N"}},
		{ID: "saturated paste", Alias: []string{"sat paste", "saturation extract", "paste extract"}},
		{ID: "water extract", Alias: []string{"water soluble", "1:5 water extract"}},
		{ID: "total digest", Alias: []string{"total", "EPA 3050", "EPA 3051", "aqua regia"}},

		{ID: "water", For: ph, Alias: []string{"H2O", "pH water", "in water"}},
		{ID: "water 1:1", For: ph, Alias: []string{"1:1", "1:1 water", "H2O 1:1", "pH 1:1"}},
		{ID: "water 1:2", For: ph, Alias: []string{"1:2", "1:2 water", "H2O 1:2"}},
		{ID: "water 1:2.5", For: ph, Alias: []string{"1:2.5", "1:2.5 water", "H2O 1:2.5"}},
		{ID: "water 1:5", For: ph, Alias: []string{"1:5", "1:5 water", "H2O 1:5"}},
		{ID: "paste pH", For: ph, Alias: []string{"saturated paste pH"}},
		{ID: "CaCl2", For: ph, Alias: []string{"0.01 M CaCl2", "CaCl2 0.01 M", "calcium chloride", "salt pH"}},
		{ID: "KCl", For: ph, Alias: []string{"1 M KCl pH", "KCl pH"}},

		{ID: "Sikora", For: buf}, {ID: "Sikora-2", For: buf, Alias: []string{"Sikora 2", "Kentucky Sikora-2"}},
		{ID: "SMP", For: buf, Alias: []string{"Shoemaker McLean Pratt"}},
		{ID: "Adams-Evans", For: buf, Alias: []string{"AE"}},
		{ID: "Moore-Sikora", For: buf}, {ID: "Woodruff", For: buf, Alias: []string{"WRDF", "WDRF"}},
		{ID: "Mehlich buffer", For: []string{"buffer pH", "acidity"}, Alias: []string{"Mehlich"}},
		{ID: "modified Mehlich buffer", For: []string{"buffer pH", "acidity"}, Alias: []string{"modified Mehlich", "MMB"}},

		{ID: "LOI", For: om, Alias: []string{"loss on ignition", "LOI-360", "ignition"}},
		{ID: "Walkley-Black", For: om, Alias: []string{"WB", "wet oxidation", "dichromate"}},
		{ID: "combustion", For: append([]string{"total N"}, om...), Alias: []string{"dry combustion", "Dumas", "elemental analyser"}},
		{ID: "Kjeldahl", For: []string{"total N"}, Alias: []string{"TKN"}},

		{ID: "sum of cations", For: []string{"CEC"}, Alias: []string{"summation", "estimated", "calculated"}},
		{ID: "effective CEC", For: []string{"CEC"}, Alias: []string{"ECEC", "effective"}},
		{ID: "ammonium acetate pH 7", For: []string{"CEC"}, Alias: []string{"NH4OAc", "ammonium acetate", "measured"}},
		{ID: "titration", For: []string{"LBC", "acidity"}, Alias: []string{"Ca(OH)2 titration", "single addition"}},

		{ID: "EC 1:1", For: ec, Alias: []string{"1:1"}}, {ID: "EC 1:2", For: ec, Alias: []string{"1:2"}},
		{ID: "EC 1:5", For: ec, Alias: []string{"1:5"}}, {ID: "EC paste", For: ec, Alias: []string{"saturated paste", "ECe", "paste"}},
	}
}

var methods = Methods()

// serves reports whether the method can measure the analyte.
func (m Method) serves(a Analyte) bool {
	if m.For == nil {
		// Mehlich-3 is made with ammonium nitrate, so it cannot measure either.
		// Source: Mehlich 1984, Communications in Soil Science and Plant Analysis
		// 15(12), 1409-1416.
		return a.Kind == Fraction && !(strings.HasPrefix(m.ID, "Mehlich-3") && (a.ID == "NO3-N" || a.ID == "NH4-N"))
	}
	for _, id := range m.For {
		if id == a.ID {
			return true
		}
	}
	return false
}

// ParseMethod returns the ID of the method that text names for the analyte. A
// procedure we do not know is kept as its own method when it is written
// "other: NAME", so that a slip of the pen does not start a new series.
func ParseMethod(text string, a Analyte) (string, error) {
	if text = strings.TrimSpace(text); text == "" {
		return "", nil
	}
	if rest, ok := cutPrefixFold(text, "other:"); ok && strings.TrimSpace(rest) != "" {
		return "other: " + strings.TrimSpace(rest), nil
	}
	q := squash(text)
	var names, fit []string
	elsewhere := ""
	for _, m := range methods {
		ok := m.serves(a)
		if ok {
			fit = append(fit, m.ID)
		}
		for _, n := range append([]string{m.ID}, m.Alias...) {
			if squash(n) == q {
				if ok {
					return m.ID, nil
				}
				elsewhere = m.ID
			}
			if ok {
				names = append(names, n)
			}
		}
	}
	if elsewhere != "" {
		return "", refuse("method", "method %s: does not measure %s: methods for it are %s", elsewhere, a.ID, strings.Join(fit, ", "))
	}
	hint := didYouMean(text, fit)
	if hint == "" {
		hint = didYouMean(text, names)
	}
	if hint == "" {
		hint = ": write one of " + strings.Join(fit, ", ")
	}
	return "", refuse("method", "method %q: not known for %s%s; a lab's own procedure is written \"other: NAME\"", text, a.ID, hint)
}

func cutPrefixFold(s, prefix string) (string, bool) {
	if len(s) < len(prefix) || !strings.EqualFold(s[:len(prefix)], prefix) {
		return "", false
	}
	return s[len(prefix):], true
}
