package analysis

import (
	"slices"
	"strings"
	"testing"
)

func TestClasses(t *testing.T) {
	set := func(id string) *TargetSet {
		sets := TargetSets()
		n := slices.IndexFunc(sets, func(s TargetSet) bool { return s.ID == id })
		return &sets[n]
	}
	for _, c := range []struct {
		source, id, analyte string
		v                   float64
		want                string
	}{
		{"Rutgers/100-lb-per-acre", "rutgers-m3", "P", 100 * perLbAc, "high (optimum)"},
		{"Rutgers/first-of-its-class", "rutgers-m3", "P", 72 * perLbAc, "high (optimum)"},
		{"Rutgers/last-of-its-class", "rutgers-m3", "P", 137 * perLbAc, "high (optimum)"},
		{"Rutgers/above", "rutgers-m3", "P", 138 * perLbAc, "very high"},
		{"Rutgers/gap-between-24-and-25", "rutgers-m3", "P", 24.5 * perLbAc, "very low"},
		{"Rutgers/25", "rutgers-m3", "P", 25 * perLbAc, "low"},
		{"Rutgers/K-277", "rutgers-m3", "K", 277 * perLbAc, "high (optimum)"},
		{"Rutgers/B-critical", "rutgers-m3-micro", "B", 0.5, "adequate"},
		{"Delaware2025/120-ppm", "delaware-m3", "P", 120, "excessive"},
		{"Delaware2025/100-ppm", "delaware-m3", "P", 100, "optimum"},
		{"Delaware2025/50-ppm", "delaware-m3", "P", 50, "below optimum"},
		{"Delaware2025/above-150", "delaware-m3", "P", 151, "excessive, high by Delaware's law"},
		{"UMass/41-ppm", "umass-mm", "P", 41, "above optimum"},
		{"UMass/4", "umass-mm", "P", 4, "optimum"},
		{"SARE/15-stands-in-two-classes", "sare-bray", "P", 15, "optimum"},
		{"SARE/24-stands-in-two-classes", "sare-bray", "P", 24, "high"},
		{"NorthernIreland2019/20", "northern-ireland-olsen", "P", 20, "index 2-"},
		{"NorthernIreland2019/21", "northern-ireland-olsen", "P", 21, "index 2+"},
		{"none/of-another-analyte", "sare-bray", "K", 100, ""},
	} {
		t.Run(c.source, func(t *testing.T) {
			if got := set(c.id).Class(c.analyte, c.v); got != c.want {
				t.Errorf("%v is %q, want %q", c.v, got, c.want)
			}
		})
	}
	t.Run("Rutgers/manganese-index", func(t *testing.T) {
		if v := MnIndex(20, 6.5); !near(v, 77.9, 0.1/77.9) {
			t.Errorf("%.2f, want 77.9", v)
		}
	})
	// property: classes rise, and a band is where the classes say it is.
	for _, s := range TargetSets() {
		at := map[string]float64{}
		for _, c := range s.Classes {
			if v, ok := at[c.Analyte]; ok && c.From <= v {
				t.Errorf("%s: class %q of %s does not rise", s.ID, c.Name, c.Analyte)
			}
			at[c.Analyte] = c.From
		}
		for _, x := range s.Targets {
			if len(s.Classes) > 0 && s.Class(x.Analyte, x.Low) != "" && (s.Class(x.Analyte, x.Low-1e-9) == s.Class(x.Analyte, x.Low) || x.High > 0 && s.Class(x.Analyte, x.High) == s.Class(x.Analyte, x.High-1e-9)) {
				t.Errorf("%s: the band of %s is no class", s.ID, x.Analyte)
			}
			if x.Source != s.Source || x.Method != s.Method || strings.Contains(s.Source, "memory") || s.Source == "" {
				t.Errorf("%s: %+v", s.ID, x)
			}
		}
	}
}

func TestChooseTargets(t *testing.T) {
	bandOf := func(sets []TargetSet, analyte, method string) (found []Target) {
		for _, s := range sets {
			for _, x := range s.Targets {
				if x.Analyte == analyte && x.Method == method {
					found = append(found, x)
				}
			}
		}
		return found
	}
	for _, c := range []struct {
		lab, state, analyte, method string
		low                         float64
		say                         string
	}{
		{"", "", "P", "Mehlich-3", 36, "neither a lab nor a state was named"},
		{"", "NJ", "P", "Mehlich-3", 36, "made for NJ: P, K, Mg by Mehlich-3 (Rutgers"},
		{"", "delaware", "P", "Mehlich-3", 51, "made for DE: P by Mehlich-3 (Sims"},
		{"", "Delaware", "K", "Mehlich-3", 73, "the other bands are general"},
		{"Clemson Agricultural Service Laboratory", "", "pH", "water", 5.8, "Clemson"},
		{"UMass", "", "pH", "water", 6.0, "garden report"},
		{"", "NY", "P", "Morgan", 4.5, "Ketterings"},
		{"", "Pennsylvania", "P", "Mehlich-3", 36, "Penn State's ranges were not read in their source"},
		{"", "NC", "P", "Mehlich-3", 36, "an index is no concentration"},
		{"Lab Heron", "Texas", "P", "Bray P1", 40, "no published set that we could read is made for Texas, Lab Heron"},
	} {
		sets, note := ChooseTargets(c.lab, c.state)
		x := bandOf(sets, c.analyte, c.method)
		if len(x) != 1 || x[0].Low != c.low {
			t.Errorf("%q, %q: %s by %s is %+v, want one from %v", c.lab, c.state, c.analyte, c.method, x, c.low)
		}
		contains(t, note, c.say)
		contains(t, note, "only for the method it was made for")
		// What is written is what is read.
		got, err := ParseTargets(TargetsTOML(sets, note))
		if err != nil {
			t.Fatal(err)
		}
		var want []Target
		for _, s := range sets {
			want = append(want, s.Targets...)
		}
		if !slices.Equal(got, want) {
			t.Errorf("%q, %q: written and read back: %+v, want %+v", c.lab, c.state, got, want)
		}
	}
}

// The grower's own band judges, marked as theirs, with research beside it.
func TestOwnBandBesideResearch(t *testing.T) {
	own := func(analyte string, low, high float64) []Target {
		return append(defaultTargets(t), Target{Analyte: analyte, Method: "Mehlich-3", Low: low, High: high, Unit: "mg/kg", Source: ownSource})
	}
	for _, c := range []struct {
		name     string
		v        float64
		targets  []Target
		state    string
		say, not string
	}{
		{"inside both", 100, own("K", 90, 250), Leave, "K 90-250: inside your own band (no research behind it)", "K above"},
		{"inside one's own, above research", 220, own("K", 150, 300), Leave, "K above (no evidence that more helps)", ""},
		{"below one's own, inside research", 100, own("K", 200, 300), DoNow, "wanted 200-300 (your own band, no research behind it; this level is inside the research band, 73-139)", "no evidence"},
		{"below both", 30, own("K", 200, 300), DoNow, "this level is below the research band, 73-139", ""},
		{"above both", 600, own("K", 200, 300), Leave, "K above (no evidence that more helps)", "your own band"},
		{"research alone", 220, defaultTargets(t), Leave, "K above (no evidence that more helps)", "your own"},
	} {
		t.Run(c.name, func(t *testing.T) {
			x := sufficient("2024-10-20", "K", c.v).review(t, Options{Targets: c.targets}).Beds[0]
			if x.State != c.state {
				t.Errorf("%s: %s", x.State, x.Why)
			}
			contains(t, x.Why, c.say)
			if c.not != "" && strings.Contains(x.Why, c.not) {
				t.Errorf("%q says %q", x.Why, c.not)
			}
			if strings.Count(x.Why, "no evidence that more helps") > 1 {
				t.Errorf("%q says it twice", x.Why)
			}
			n := slices.IndexFunc(x.Bands, func(s Standing) bool { return s.Analyte == "K" })
			s := x.Bands[n]
			if s.Research == nil || s.Research.Low != 73 || (s.Own != nil) != (len(c.targets) > len(defaultTargets(t))) {
				t.Errorf("%+v", s)
			}
			contains(t, s.Text, "the band 73-139 (Rutgers")
			if s.Own != nil {
				contains(t, s.Text, "(yours, no research behind it)")
			}
		})
	}
	// A band of one's own counts for what is not judged without one.
	x := sufficient("2024-10-20", "Ca", 400).review(t, Options{Targets: own("Ca", 1000, 2000)}).Beds[0]
	if x.State != DoNow || !strings.Contains(x.Why, "Ca 400") {
		t.Errorf("%s: %s", x.State, x.Why)
	}
	// Own band on a volume basis.
	list, err := ParseTargets("format = 1\n[[target]]\nanalyte = \"P\"\nmethod = \"Olsen\"\nlow = 20\nhigh = 40\nunit = \"mg/dm3\"\nsource = \"own\"\n")
	if err != nil || !list[0].serves(&Level{Analyte: "P", Method: "Olsen", Estimate: Estimate{Unit: "mg/dm3"}}) || list[0].serves(&Level{Analyte: "P", Method: "Olsen", Estimate: Estimate{Unit: "mg/kg"}}) {
		t.Errorf("%+v, %v", list, err)
	}
}

// What has no band says so once for each method; a usual range is no target.
func TestNoBandSaysSoOnce(t *testing.T) {
	b := sufficient("2024-10-20", "", 0)
	b.test("1", "2024-10-20", "OM", 5)
	b.test("1", "2024-10-20", "S", 12)
	b.test("1", "2024-10-20", "Fe", 120)
	b.test("1", "2024-10-20", "Mo", 0.2, method("modified Morgan"))
	x := b.review(t, Options{Targets: defaultTargets(t)}).Beds[0]
	contains(t, x.Why, "not judged, no band by LOI (OM), Mehlich-3 (S, Fe), modified Morgan (Mo)")

	b = sufficient("2024-10-20", "", 0)
	b.test("1", "2024-10-20", "Mn", 3, method("modified Morgan"))
	x = b.review(t, Options{Targets: defaultTargets(t)}).Beds[0]
	n := slices.IndexFunc(x.Bands, func(s Standing) bool { return s.Analyte == "Mn" })
	if s := x.Bands[n]; s.Typical == nil || s.Research != nil {
		t.Errorf("%+v", s)
	} else {
		contains(t, s.Text, "inside what such soils usually hold, 1.1-6.3")
		contains(t, s.Text, "no band by modified Morgan")
	}
}

func TestManganese(t *testing.T) {
	for _, c := range []struct {
		mn, ph  float64
		targets []Target
		state   string
		say     string
	}{
		{20, 6.5, defaultTargets(t), Leave, "Mn (by index)"},
		{4, 6.7, defaultTargets(t), TestAgain, "availability index of 15, low below 25 (Rutgers): ask for a leaf test"},
		{4, 6.7, nil, Leave, "Mehlich-3 (Mn)"},
	} {
		var b book
		b.test("1", "2024-10-20", "pH", c.ph)
		b.test("1", "2024-10-20", "Mn", c.mn)
		x := b.review(t, Options{Targets: c.targets}).Beds[0]
		if x.State != c.state {
			t.Errorf("Mn %v at pH %v: %s: %s", c.mn, c.ph, x.State, x.Why)
		}
		contains(t, x.Why, c.say)
	}
}
