package analysis

import (
	"math"
	"slices"
	"strings"
	"testing"

	"carryover/dataset"
)

// twoSamples records a spring and an autumn sample of a bed.
func twoSamples(levels map[string][2]float64, native func(*dataset.Bed)) *book {
	var b book
	b.bed("1", "2020-01-01", native)
	for a, v := range levels {
		b.test("1", "2024-04-20", a, v[0], cores(20))
		b.test("1", "2024-10-20", a, v[1], cores(20))
	}
	return &b
}

// mixOf returns the mix of the only finding of another soil.
func mixOf(t *testing.T, b *book) (Finding, *Mixing) {
	t.Helper()
	found := b.check(t, Options{}).told("not the same soil")
	if len(found) != 1 {
		t.Fatalf("found %v", found)
	}
	return found[0], found[0].Mixing
}

func (m *Mixing) part(analyte string) *MixPart {
	if n := slices.IndexFunc(m.Parts, func(p MixPart) bool { return p.Analyte == analyte }); n >= 0 {
		return &m.Parts[n]
	}
	return nil
}

// An invented bed: organic matter, P, Mg and Zn agree that most of the later
// cores held unworked soil, and pH says otherwise. Own arithmetic.
func TestMixWherePHDisagrees(t *testing.T) {
	case1 := map[string][2]float64{"OM": {9.8, 5.2}, "P": {88, 52}, "Mg": {240, 170}, "Zn": {14, 8.5}, "pH": {6.4, 6.6}, "K": {190, 174}, "NO3-N": {20, 4}}
	for _, assumed := range []bool{false, true} {
		f, m := mixOf(t, twoSamples(case1, func(d *dataset.Bed) {
			d.NativePH = ptr(5.6)
			if !assumed {
				d.NativeOM = ptr(3.1)
			}
		}))
		if m == nil || math.Abs(m.Share.Value-31.343) > 0.1 || !(m.Share.Low < 31 && m.Share.High > 32) || m.NativeOM != 3.1 {
			t.Fatalf("share %+v, want 31.3 %%", m)
		}
		for a, want := range map[string]float64{"P": 35.57, "Mg": 138.04, "Zn": 5.99} {
			p := m.part(a)
			if p == nil || math.Abs(p.Background.Value-want) > 0.1 || p.Native != nil || !p.Fits || !(p.Background.Low < want && want < p.Background.High) {
				t.Errorf("%s: %+v, want a background of %v, solved", a, p, want)
			}
		}
		if m.PH == nil || math.Abs(m.PH.Background.Value-6.691) > 0.01 || m.PH.Native == nil || *m.PH.Native != 5.6 || m.PH.Fits {
			t.Errorf("pH: %+v, want 6.69 against 5.6", m.PH)
		}
		if m.part("NO3-N") != nil {
			t.Error("nitrate moves with water, mix or none")
		}
		contains(t, f.Text, "OM, P, Mg, Zn fell together")
		contains(t, f.Text, "organic matter kept 53 % of its spring level, less than decay can leave (65 %) unless it was raw (40 %)")
		contains(t, f.Text, "agree on it, though solved and not tested")
		contains(t, f.Text, "pH disagrees: it went from 6.4 to 6.6 and would need unworked soil of pH 6.7, but native is 5.6: lime worked deeper or wider")
		contains(t, f.Settle, "15 or more cores")
		contains(t, f.Settle, "below the worked layer")
		if assumed {
			contains(t, f.Text, "3.1 % organic matter (assumed, 2.5 to 3.7)")
		} else {
			contains(t, f.Text, "3.1 % organic matter (native value of the bed)")
		}
	}
}

// Another invented bed: other nutrients, with the soil below measured, and a pH
// that fell with the mix.
func TestMixWherePHAgrees(t *testing.T) {
	const f = 0.4
	mix := func(x, n float64) [2]float64 { return [2]float64{x, f*x + (1-f)*n} }
	levels := map[string][2]float64{"OM": mix(11.4, 2.8), "Ca": mix(3100, 900), "Cu": mix(7, 1.2), "K": mix(420, 95), "pH": mix(6.9, 5.4)}
	b := twoSamples(levels, func(d *dataset.Bed) { d.NativePH, d.NativeOM, d.DepthTo = ptr(5.4), ptr(2.8), ptr(15.24) })
	b.test("1", "2024-10-20", "Ca", 900, layer(15.24, 30.48))
	b.test("1", "2024-10-20", "Cu", 1.2, layer(15.24, 30.48))
	found, m := mixOf(t, b)
	if math.Abs(m.Share.Value-40) > 2 || m.Share.N != 3 || m.Share.High-m.Share.Low > 50 {
		t.Errorf("share %+v, want 40 %% by organic matter, Ca and Cu", m.Share)
	}
	for _, a := range []string{"Ca", "Cu"} {
		if p := m.part(a); p == nil || p.Native == nil || !p.Fits {
			t.Errorf("%s: %+v, want tested and agreeing", a, p)
		}
	}
	if k := m.part("K"); k == nil || k.Native != nil || math.Abs(k.Background.Value-95) > 10 {
		t.Errorf("K: %+v, want about 95, solved", k)
	}
	if m.PH == nil || !m.PH.Fits || math.Abs(m.PH.Background.Value-5.4) > 0.1 {
		t.Errorf("pH: %+v, want 5.4, agreeing", m.PH)
	}
	contains(t, found.Text, "OM, Ca, Cu fell together")
	contains(t, found.Text, "pH agrees: it went from 6.9 to 6.0")
	contains(t, found.Text, "(measured 900)")
	if strings.Contains(found.Text, "though solved and not tested") {
		t.Errorf("%q calls a measured background solved", found.Text)
	}
	// The native value of the wrong kind: measured, it does not agree.
	b.SoilTests[slices.IndexFunc(b.SoilTests, func(x dataset.SoilTest) bool { return x.Analyte == "Ca" && *x.DepthFrom > 1 })].Value = 2600
	if _, m := mixOf(t, b); m.part("Ca").Fits {
		t.Errorf("Ca of 2,600 below: %+v", m.part("Ca"))
	}
}

func TestMixOtherwise(t *testing.T) {
	known := func(d *dataset.Bed) { d.NativePH, d.NativeOM = ptr(6.4), ptr(3.1) }
	// pH fell below what native soil could bring.
	f, m := mixOf(t, twoSamples(map[string][2]float64{"OM": {9.8, 5.2}, "P": {88, 52}, "pH": {6.8, 5.2}}, known))
	if m.PH.Fits {
		t.Errorf("%+v", m.PH)
	}
	contains(t, f.Text, "sulfur or acid feed would pull it down")
	// Without a native pH it is solved, and said so.
	f, _ = mixOf(t, twoSamples(map[string][2]float64{"OM": {9.8, 5.2}, "pH": {6.4, 6.6}}, nil))
	contains(t, f.Text, "which no native value confirms")
	// A nutrient that fell further than any mix can take it.
	f, m = mixOf(t, twoSamples(map[string][2]float64{"OM": {9.8, 7.0}, "P": {88, 60}, "Zn": {14, 1}, "Mg": {240, 170}}, known))
	if m.part("Zn").Fits || !m.part("P").Fits {
		t.Errorf("Zn %+v, P %+v", m.part("Zn"), m.part("P"))
	}
	contains(t, f.Text, "Zn cannot be explained so")
	// Nothing is known of organic matter or of the soil below: no mix.
	if _, m := mixOf(t, twoSamples(map[string][2]float64{"P": {120, 60}, "Ca": {2400, 1300}, "Cu": {9, 4}}, nil)); m != nil {
		t.Errorf("%+v", m)
	}
	// Below the native value there is nothing to mix.
	if _, m := mixOf(t, twoSamples(map[string][2]float64{"OM": {6, 2}, "P": {120, 60}}, func(d *dataset.Bed) { d.NativeOM = ptr(5.5) })); m != nil {
		t.Errorf("%+v", m)
	}
}
