package unit

import (
	"errors"
	"strings"
	"testing"
)

// TestParseHeading holds invented headings in the trade's words: what each is
// understood as, what stays open, what is left over, and what misleads.
func TestParseHeading(t *testing.T) {
	for _, x := range []struct{ text, as, open, rest, trap string }{
		// A heading may say all.
		{"P (ppm) Mehlich-3", "P ppm Mehlich-3", "", "", ""},
		{"Mehlich 3 P ppm by ICP", "P ppm Mehlich-3 ICP", "", "", ""},
		{"P M3 colorimetric ppm", "P ppm Mehlich-3 colorimetric", "", "", ""},
		{"P_ppm_M3", "P ppm Mehlich-3", "", "", ""},
		{"PPM K M3", "K ppm Mehlich-3", "", "", ""},
		{"k_mg_kg_m3", "K mg/kg Mehlich-3", "", "", ""},
		{"Mg kg/ha M3", "Mg kg/ha Mehlich-3", "", "", ""},
		{"Mg-kg/ha M3", "Mg kg/ha Mehlich-3", "", "", ""},
		{"Mehlich P-III ppm P", "P ppm Mehlich-3", "", "", ""},
		{"mg P/kg (Olsen)", "P mg/kg Olsen", "", "", ""},
		{"P kg ha-1 Olsen 0-20 cm", "P kg/ha Olsen 0-20 cm", "", "", ""},
		{"Available P lb/A (Bray I)", "P lb/acre Bray P1", "", "", ""},
		{"Phosphorus (P) Weak Bray ppm", "P ppm Bray P1", "", "", ""},
		{"Mod. Morgan P lb/A", "P lb/acre modified Morgan", "", "", ""},
		{"K2O (lb/A) M3", "K2O lb/acre Mehlich-3", "", "", "K2O in lb/acre may be what the lab recommends to spread, not what it found"},
		{"P M3 ppm P2O5", "P2O5 ppm Mehlich-3", "", "", ""},
		{"P₂O₅ mg/kg Olsen", "P2O5 mg/kg Olsen", "", "", ""},
		{"Mg (lb/A) AA", "Mg lb/acre ammonium acetate", "", "", ""},
		{"1N NH4OAc K ppm", "K ppm ammonium acetate", "", "", ""},
		{"K_lbac_M3", "K lb/acre Mehlich-3", "", "", ""},
		{"K lbs. per acre, M3", "K lb/acre Mehlich-3", "", "", ""},
		{"Potassium, lbs per 1000 sq ft, Mehlich 3", "K lb/1000 sq ft Mehlich-3", "", "", ""},
		{"K me/100 g soil, ammonium acetate", "K meq/100 g ammonium acetate", "", "", ""},
		{"Ca2+ cmol(+)/kg NH4OAc", "Ca cmolc/kg ammonium acetate", "", "", ""},
		{"Ca as CaCO3 ppm Morgan", "Ca as CaCO3 ppm Morgan", "", "", ""},
		{"Mg M3 mg/dm3", "Mg mg/dm3 Mehlich-3", "", "", ""},
		{"ppm (mg/kg) Mn DTPA", "Mn ppm DTPA", "", "", ""},
		{"Zinc DTPA-extractable mg/kg", "Zn mg/kg DTPA", "", "", ""},
		{"Boron, hot water, ppm", "B ppm hot water", "", "", ""},
		{"Sulfur (SO4-S) ppm M3", "SO4-S ppm Mehlich-3", "", "", ""},
		{"S-SO4 mg/kg Ca(H2PO4)2", "SO4-S mg/kg calcium phosphate", "", "", ""},
		{"Na mg/L SME", "Na mg/L saturated paste", "", "", ""},
		{"Ca meq/L saturated paste", "Ca meq/L saturated paste", "", "", ""},
		{"NO3-N KCl 0-60 cm kg/ha", "NO3-N kg/ha KCl extract 0-60 cm", "", "", ""},
		{"NH4 (as N) mg/kg KCl", "NH4-N mg/kg KCl extract", "", "", ""},
		{"Lead (total) mg/kg EPA 3050", "Pb mg/kg total digest", "", "", ""},
		{"pH 1:1 H2O", "pH water 1:1", "", "", ""},
		{"1:1 Soil pH", "pH water 1:1", "", "", ""},
		{"pHw", "pH water", "", "", ""},
		{"pH in CaCl2 0.01 M", "pH CaCl2", "", "", ""},
		{"Salt pH", "pH CaCl2", "", "", ""},
		{"Buffer pH (SMP)", "buffer pH SMP", "", "", ""},
		{"SMP Index", "buffer pH SMP", "", "", ""},
		{"WRDF Buffer pH", "buffer pH Woodruff", "", "", ""},
		{"Sikora pH", "buffer pH Sikora", "", "", ""},
		{"Adams-Evans buffer", "buffer pH Adams-Evans", "", "", ""},
		{"Mehlich buffer pH", "buffer pH Mehlich buffer", "", "", ""},
		{"OM LOI %", "OM % LOI", "", "", ""},
		{"O.M. by loss on ignition, %", "OM % LOI", "", "", ""},
		{"OC % Walkley-Black", "OC % Walkley-Black", "", "", ""},
		{"Total N % Dumas", "total N % combustion", "", "", ""},
		{"CEC/Sum of Cations me/100g", "CEC meq/100 g sum of cations", "", "", ""},
		{"CEC ammonium acetate pH 7 cmolc/kg", "CEC cmolc/kg ammonium acetate pH 7", "", "", ""},
		{"ECEC meq/100 g", "CEC meq/100 g effective CEC", "", "", ""},
		{"EC dS/m (mmho/cm) 1:1", "EC dS/m EC 1:1", "", "", ""},
		{"1:1 S Salts mmho/cm", "EC mmho/cm EC 1:1", "", "", ""},
		{"Sol salts, mmho/cm (1:2)", "EC mmho/cm EC 1:2", "", "", ""},
		{"ECe mS/cm", "EC mS/cm EC paste", "", "", ""},
		{"EC 1:5 (uS/cm)", "EC uS/cm EC 1:5", "", "", ""},
		{"%K", "K sat %", "", "", ""},
		{"% Base Saturation K", "K sat %", "", "", ""},
		{"Ca % sat", "Ca sat %", "", "", ""},
		{"Ca % of CEC", "Ca sat %", "", "", ""},
		{"Mg Base Sat. (%)", "Mg sat %", "", "", ""},
		{"ESP", "Na sat %", "", "", ""},
		{"Base Saturation %", "base sat %", "", "", ""},
		{"Bulk density g/cm3", "bulk density g/cm3", "", "", ""},
		{"silt %", "silt %", "", "", ""},
		{"ENR lb/A", "ENR lb/acre", "", "", ""},
		{"Est. N Release (lbs N/acre)", "ENR lb/acre", "", "", ""},
		{"LBC titration mg CaCO3/kg/pH", "LBC mg CaCO3/kg/pH titration", "", "", ""},
		{`top 6" K ppm M3`, "K ppm Mehlich-3 0-15.24 cm", "", "", ""},

		// What is open is asked, and nothing is guessed.
		{"Phosphorus, M3 (lb/A)", "phosphorus lb/acre Mehlich-3", "P or P2O5?", "", ""},
		{"Phosphate ppm", "phosphorus ppm ?", "P or P2O5?; which method?", "", ""},
		{"Phosphate ppm P", "P ppm ?", "which method?", "", ""},
		{"P2O5 ppm P", "phosphorus ppm ?", "P2O5 or P?; which method?", "", ""},
		{"NO3 ppm", "nitrate ppm ?", "NO3-N or NO3?; which method?", "", ""},
		{"NO3 (ppm NO3)", "nitrate as NO3 ppm ?", "which method?", "", ""},
		{"Nitrate as NO3 mg/kg", "nitrate as NO3 mg/kg ?", "which method?", "", ""},
		{"Nitrate-N ppm N", "NO3-N ppm ?", "which method?", "", ""},
		{"NO3-N lb NO3/A", "nitrate lb/acre ?", "NO3-N or NO3?; which method?", "", ""},
		{"NO3N", "NO3-N ? ?", "unit: ppm, mg/kg, lb/acre?; which method?", "", ""},
		{"0-8 in NO3-N lb/A", "NO3-N lb/acre ? 0-20.32 cm", "which method?", "", ""},
		{"nitrate nitrogen, lbs/acre, 0-2 ft", "NO3-N lb/acre ? 0-60.96 cm", "which method?", "", ""},
		{"Nitrate 0-24 in. (lbs N/A)", "NO3-N lb/acre ? 0-60.96 cm", "which method?", "", `"lbs N/A" reads as pounds of N per acre, not as "not available"`},
		{"SO4 (ppm)", "sulfur ppm ?", "S or SO4?; which method?", "", ""},
		{"S (SO4) ppm", "sulfur ppm ?", "S or SO4?; which method?", "", ""},
		{"PO4-P ppm", "P ppm ?", "which method?", "", ""},
		{"SO4 ppm S", "S ppm ?", "which method?", "", ""},
		{"Sulfate-S ppm", "SO4-S ppm ?", "which method?", "", ""},
		{"Sulfur", "sulfur ? ?", "S or SO4?; unit: ppm, mg/kg, lb/acre?; which method?", "", ""},
		{"NH4 ppm", "ammonium ppm ?", "NH4-N or NH4?; which method?", "", ""},
		{"Potash lb/acre", "potash lb/acre ?", "K or K2O?; which method?", "", ""},
		{"Potassium ppm K", "K ppm ?", "which method?", "", ""},
		{"K lbs", "K ? ?", "lbs: per acre or per 1000 sq ft?; which method?", "", ""},
		{"K (ppm or lb/A)", "K ? ?", "unit: ppm or lb/A?; which method?", "", ""},
		{"K ppm (mg/dm3)", "K ? ?", "unit: ppm or mg/dm3?; which method?", "", ""},
		{"K 6-12", "K ? ?", "6-12: inches or centimetres?; unit: ppm, mg/kg, lb/acre?; which method?", "", ""},
		{"K (6-12 in.) 0-6 in", "K ? ?", "which depth?; unit: ppm, mg/kg, lb/acre?; which method?", "", ""},
		{"K meq/100g % sat", "K sat ?", "unit: meq/100g or %?", "", ""},
		{"P-M3", "P ? Mehlich-3", "unit: ppm, mg/kg, lb/acre?", "", ""},
		{"M3-P", "P ? Mehlich-3", "unit: ppm, mg/kg, lb/acre?", "", ""},
		{"Olsen P", "P ? Olsen", "unit: ppm, mg/kg, lb/acre?", "", ""},
		{"P1", "P ? Bray P1", "unit: ppm, mg/kg, lb/acre?", "", `"P1" is a Bray test of phosphorus, not a sample's number`},
		{"Mehlich P ppm", "P ppm ?", "Mehlich-1 or Mehlich-3?", "", ""},
		{"Exch. Na", "Na ? ?", `unit: ppm, mg/kg, lb/acre?; which method? "Exch" often means ammonium acetate`, "", ""},
		{"Soil pH", "pH ?", "which method?", "", ""},
		{"Buffer Index", "buffer pH ?", "which method?", "", ""},
		{"Lime index (AE)", "buffer pH Adams-Evans", "", "", "a lime index may be the buffer pH times ten"},
		{"CEC (me/100g)", "CEC meq/100 g ?", "which method?", "", ""},
		{"Sol. Salts", "EC ? ?", "unit: dS/m, mmho/cm?; which method?", "", ""},
		{"WDRF OM", "OM ? ?", "unit: %, g/kg?; WDRF does not measure OM: which method?", "", ""},
		{"Base Sat Mg", "Mg sat ?", "unit: %?", "", ""},
		{"Zn lb/A DTPA %", "Zn ? DTPA", "unit: lb/A or %?", "", ""},
		{"Ca (meq/L)", "Ca meq/L ?", "which method?", "", ""},
		{"Na, meq/L sat. paste extract", "Na meq/L saturated paste", "", "", ""},
		{"Ca meq/L water soluble", "Ca meq/L water extract", "", "", ""},
		{"Zn meq/L", "Zn ? ?", "meq/L cannot measure Zn: which unit?; which method?", "", ""},
		{"Ca meq/L M3", "Ca ? Mehlich-3", "meq/L cannot measure Ca: which unit?", "", ""},
		{"OM ppb LOI", "OM ? LOI", "ppb cannot measure OM: which unit?", "", ""},
		{"Al saturation %", "? %", "Al on the exchange sites is not kept: leave it out?", "", ""},
		{"CaCO3 %", "? %", "CaCO3: carbonate in the soil, or Ca printed as it?", "", ""},
		{"N %", "? %", "N: nitrate-N, ammonium-N or total N?", "", ""},
		{"lbs N/A", "? lb/acre", "N: nitrate-N, ammonium-N or total N?", "", `"lbs N/A" reads as pounds of N per acre, not as "not available"`},
		{"lbs N/A 0-6in", "? lb/acre 0-15.24 cm", "N: nitrate-N, ammonium-N or total N?", "", `"lbs N/A" reads as pounds of N per acre, not as "not available"`},
		{"#N/A", "? lb/acre", "N: nitrate-N, ammonium-N or total N?", "", `"#N/A" reads as pounds of N per acre, not as "not available"`},
		{"K2O lbs/A", "K2O lb/acre ?", "which method?", "", "K2O in lb/acre may be what the lab recommends to spread, not what it found"},
		{"K %", "K sat %", "", "", `"K %" reads as K's share of the exchange sites, not as % of the soil`},
		{"NO3-N + NH4-N ppm", "? ppm", "which of them: NO3-N, NH4-N?", "", ""},
		{"Ca/Mg", "?", "which of them: Ca, Mg?", "", ""},
		{"ppm", "? ppm", "what was measured?", "", ""},
		{"", "?", "what was measured?", "", ""},
		{"LOI %", "? %", "what was measured?", "", ""},
		{"Melich 3 K ppm", "K ppm ?", `"Melich": is it Mehlich or Mehlich-3 or Mehlich-1?; which method?`, "Melich 3", ""},

		// Words left over are kept.
		{"Bray-1 P (1:10) ppm", "P ppm Bray P1", "", "1 10", ""},
		{"P adjusted ppm M3", "P ppm Mehlich-3", "", "adjusted", ""},
		{"Estimated P ppm M3", "P ppm Mehlich-3", "", "Estimated", ""},
		{"P Bray P1 (ICP) ppm", "P ppm Bray P1", "", "ICP", ""},
		{"K sat % M3", "K sat %", "", "M3", ""},
		{"P 2024 ppm M3", "P ppm Mehlich-3", "", "2024", ""},
		{"Sample ID", "?", "what was measured?", "Sample ID", ""},
		{"W/V g/cm3", "? g/cm3", "what was measured?", "W V", ""},
		{"Total Carbonates %", "? %", "what was measured?", "Carbonates", ""},
	} {
		h := ParseHeading(x.text)
		open, rest := strings.Join(h.Open, "; "), strings.Join(h.Rest, " ")
		if h.String() != x.as || open != x.open || rest != x.rest || h.Trap != x.trap || h.Aside != "" || h.Text != x.text {
			t.Errorf("%q:\ngot  %q open %q rest %q trap %q aside %q\nwant %q open %q rest %q trap %q", x.text, h, open, rest, h.Trap, h.Aside, x.as, x.open, x.rest, x.trap)
		}
		if h.Clear() != (open == "" && rest == "") {
			t.Errorf("%q: clear is %v", x.text, h.Clear())
		}
	}
}

// Columns that hold no measured values say so.
func TestHeadingAsides(t *testing.T) {
	for text, aside := range map[string]string{
		"P rating": "a rating", "K-I index": "a rating", "Excess Lime": "a rating", "Free lime": "a rating", "P sufficiency": "a rating", "Texture": "a class of texture", "Soil texture class": "a class of texture",
		"K2O rec lb/A": "advice", "N Recommended": "advice", "Lime requirement lb/1000 sq ft": "advice", "Lime tons/acre": "advice", "Target pH": "advice", "K Removal lb/A": "crop removal", "Ca:Mg ratio": "a ratio",
	} {
		if h := ParseHeading(text); h.Aside != aside || h.Clear() || len(h.Open) != 1 || !strings.HasSuffix(h.Open[0], "this is "+aside+", not a measured value: leave it out?") {
			t.Errorf("%q: %q, open %q", text, h.Aside, h.Open)
		}
	}
	for _, text := range []string{"SMP Buffer Index", "Lime index"} {
		if h := ParseHeading(text); h.Aside != "" || h.Analyte.Text != "buffer pH" {
			t.Errorf("%q: %+v", text, h)
		}
	}
}

// Each part names the words that say it.
func TestHeadingFrom(t *testing.T) {
	h := ParseHeading("Nitrate 0-24 in. (lbs N/A), 2 M KCl")
	want := Heading{Text: "Nitrate 0-24 in. (lbs N/A), 2 M KCl", Analyte: Part{"NO3-N", "Nitrate"}, Form: Part{"NO3-N", "lbs N/A"}, Unit: Part{"lb/acre", "lbs N/A"}, Method: Part{"KCl extract", "2 M KCl"},
		DepthTo: 24 * CmPerInch, Trap: `"lbs N/A" reads as pounds of N per acre, not as "not available"`}
	if h.Analyte != want.Analyte || h.Form != want.Form || h.Unit != want.Unit || h.Method != want.Method || h.DepthTo != want.DepthTo || h.Trap != want.Trap || !h.Clear() {
		t.Errorf("got  %+v\nwant %+v", h, want)
	}
	if h = ParseHeading("Phosphorus lb/ac"); h.Form != (Part{"", "Phosphorus"}) || h.Unit != (Part{"lb/acre", "lb/ac"}) || h.Method != (Part{}) {
		t.Errorf("%+v", h)
	}
}

// property: every analyte in each form, unit and method, written out, reads back
// as the same and leaves nothing open; without its method or unit, just that.
func TestHeadingRoundTrip(t *testing.T) {
	n := 0
	for _, a := range Analytes() {
		var by []string
		for _, m := range methods {
			if m.serves(a) {
				by = append(by, m.ID)
			}
		}
		if a.Plain {
			by = []string{""}
		}
		units := soilUnits(a)
		if a.Kind == PH {
			units = []string{""}
		}
		for _, f := range formsOf(a.ID) {
			for _, u := range units {
				if strings.Contains(u, "meq") && formOf(f).loose {
					continue
				}
				for _, m := range by {
					if m == paste && u != "ppm" && a.Kind == Fraction {
						continue
					}
					h := Heading{Analyte: Part{Text: a.ID}, Unit: Part{Text: u}, Method: Part{Text: m}, DepthFrom: 5, DepthTo: 15.24}
					if len(formsOf(a.ID)) > 1 {
						h.Form.Text = f
					}
					got := ParseHeading(h.String())
					if !got.Clear() || got.Analyte.Text != a.ID || got.Form.Text != h.Form.Text || got.Unit.Text != u || got.Method.Text != m || got.DepthFrom != 5 || got.DepthTo != 15.24 || got.String() != h.String() {
						t.Errorf("%q reads back as %q: %+v", h, got, got)
					}
					h.Unit.Text, h.Method.Text = "", ""
					if got = ParseHeading(h.String()); got.Analyte.Text != a.ID || got.Unit.Text+got.Method.Text != "" || got.Clear() != (a.Plain && a.Kind == PH) || len(got.Rest) > 0 {
						t.Errorf("%q reads back as %q: %+v", h, got, got)
					}
					n++
				}
			}
		}
		if len(formsOf(a.ID)) > 1 && openName(a.ID) != "?" {
			h := Heading{Analyte: Part{Text: a.ID}}
			if got := ParseHeading(h.String()); got.Analyte.Text != a.ID || got.Form.Text != "" || got.String() != h.String() {
				t.Errorf("%q reads back as %q: %+v", h, got, got)
			}
		}
	}
	if n < 1000 {
		t.Errorf("only %d headings tried", n)
	}
}

// property: no heading is read as what its words do not say, and none that is
// clear is refused where its parts are used.
func FuzzParseHeading(f *testing.F) {
	for _, s := range []string{"P (ppm) Mehlich-3", "lbs N/A 0-6in", "% Base Saturation K", "CEC/Sum of Cations me/100g", "NO3 (as N) 0-2 ft", "1:1 S Salts", "K2O rec", "\xff", "cmol(+)/kg", "Ca(H2PO4)2", "lb/1,000 sq ft K"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		h := ParseHeading(text)
		if again := ParseHeading(text); again.String() != h.String() || strings.Join(again.Open, "\n") != strings.Join(h.Open, "\n") {
			t.Fatalf("%q: two readings", text)
		}
		for _, p := range []Part{h.Analyte, h.Form, h.Unit, h.Method} {
			if !strings.Contains(text, p.From) && !strings.Contains(p.From, ", ") || p.Text != "" && p.From == "" {
				t.Fatalf("%q: %+v", text, p)
			}
		}
		if h.DepthTo < h.DepthFrom || h.DepthFrom < 0 {
			t.Fatalf("%q: depth %v-%v", text, h.DepthFrom, h.DepthTo)
		}
		if !h.Clear() {
			return
		}
		a, ok := ByID(h.Analyte.Text)
		if !ok {
			t.Fatalf("%q: clear, and no analyte %q", text, h.Analyte.Text)
		}
		if _, err := ParseMethod(h.Method.Text, a); err != nil {
			t.Fatalf("%q: %v", text, err)
		}
		_, fm, err := ParseAnalyte(a.ID, h.Form.Text)
		if err != nil {
			t.Fatalf("%q: %v", text, err)
		}
		if _, err := Soil(SoilReading{Analyte: a, Form: fm, Method: h.Method.Text, Value: 1.5, Unit: h.Unit.Text, DepthTo: 15}); err != nil && (About(err) != "value" && About(err) != "form" || !errors.Is(err, ErrUnit)) {
			t.Fatalf("%q: %v", text, err)
		}
	})
}
