package analysis

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"carryover/dataset"
	"carryover/dataset/unit"
)

// property: whatever a book holds, no difference, amount, sum, band, class or mix
// is made of two methods, units or labs.
func TestMethodsNeverMix(t *testing.T) {
	own := Target{Analyte: "P", Method: "Olsen", Low: 20, High: 40, Unit: "mg/kg", Source: ownSource}
	changes, standings, summed := 0, 0, 0
	for seed := range uint64(randomBooks) {
		b := randomBook(seed)
		// Cations by two extractants in the same report tempt a sum.
		for i := range b.SoilTests {
			if x := b.SoilTests[i]; x.Analyte == "K" && i%3 == 0 {
				x.Method, x.Sample, x.Source = "ammonium acetate", "aa", b.source()
				b.SoilTests = append(b.SoilTests, x)
			}
		}
		r := b.review(t, Options{Targets: append(defaultTargets(t), own)})
		for i := range r.Beds {
			x := &r.Beds[i]
			type end struct {
				analyte, method, unit, lab string
				date                       dataset.Date
				timing                     string
			}
			levels := map[end]bool{}
			for j := range x.Levels {
				l := &x.Levels[j]
				levels[end{l.Analyte, l.Method, l.Estimate.Unit, l.Lab, l.Date, l.Timing}] = true
				for _, q := range l.Reported {
					n := slices.IndexFunc(b.SoilTests, func(s dataset.SoilTest) bool { return refOf(s.Source) == q.Row })
					if s := b.SoilTests[n]; s.Method != l.Method || s.Unit != l.Estimate.Unit || s.Lab != l.Lab {
						t.Errorf("book %d: a level of %s holds a row by %s", seed, l.Method, s.Method)
					}
				}
			}
			for _, c := range x.Changes {
				changes++
				a, _ := unit.ByID(c.Analyte)
				if c.Method == "" && !a.Plain {
					t.Errorf("book %d: %s of %s without a method", seed, c.Kind, c.Analyte)
				}
				for _, e := range []Endpoint{c.From, c.To} {
					if !levels[end{c.Analyte, c.Method, c.Estimate.Unit, c.lab, e.Date, e.Timing}] {
						t.Errorf("book %d: %s of %s by %s has an end that is none of it: %+v", seed, c.Kind, c.Analyte, c.Method, e)
					}
				}
			}
			for _, s := range x.Bands {
				standings++
				for _, band := range []*Target{s.Research, s.Own, s.Typical} {
					if band != nil && band.Method != s.Method && !(band.Method == "water" && strings.HasPrefix(s.Method, "water")) || band != nil && s.Method == "" {
						t.Errorf("book %d: %s by %q is held against a band by %s", seed, s.Analyte, s.Method, band.Method)
					}
				}
			}
			for _, c := range x.CEC {
				summed++
				for _, row := range c.rows {
					n := slices.IndexFunc(b.SoilTests, func(s dataset.SoilTest) bool { return refOf(s.Source) == row })
					if s := b.SoilTests[n]; s.Method != c.Method && s.Analyte != "buffer pH" || s.Lab != c.Lab || s.Date != c.Date {
						t.Errorf("book %d: a sum by %s holds %s by %s", seed, c.Method, s.Analyte, s.Method)
					}
				}
			}
			for _, c := range x.Carryover {
				if c.Method == "" {
					t.Errorf("book %d: an amount of %s without a method", seed, c.Analyte)
				}
			}
		}
	}
	if changes < 2000 || standings < 500 || summed < 100 {
		t.Errorf("too little to tell: %d changes, %d standings, %d sums", changes, standings, summed)
	}
}

// One sample read by four extractants makes no line.
//
// Source: Cornell University, CSS 412, module 3: 6, 7 and 70 lb P/acre, and 57 by
// a fourth that the page's order says is Bray.
func TestSplitSample(t *testing.T) {
	t.Run("CornellCSS412/four-extractants", func(t *testing.T) {
		var b book
		for i, m := range []string{"Morgan", "modified Morgan", "Mehlich-3", "Bray P1"} {
			b.test("1", fmt.Sprintf("202%d-04-20", i), "P", []float64{6, 7, 70, 57}[i]/2, method(m))
		}
		r := b.review(t, Options{Targets: defaultTargets(t)})
		x := r.Beds[0]
		if len(x.Changes) != 0 || len(x.Breaks) != 3 {
			t.Fatalf("changes %+v, breaks %+v, want none and three", x.Changes, x.Breaks)
		}
		for _, k := range x.Breaks {
			contains(t, k.Reason, "method changed from ")
		}
		// Nor is one shown as another where no line was read for it.
		for _, to := range []string{"Morgan", "Bray P1", "Olsen"} {
			if _, refused := Shown(&x.Levels[2], to, Place{Region: "New York"}); refused == "" {
				t.Errorf("Mehlich-3 was shown as %s", to)
			}
		}
	})
}

func TestConversions(t *testing.T) {
	level := func(analyte, m string, v float64, o ...option) *Level {
		var b book
		b.test("1", "2024-04-20", analyte, v, append(o, method(m))...)
		return &b.review(t, Options{}).Beds[0].Levels[0]
	}
	ph := func(v float64) *float64 { return &v }
	for _, c := range []struct {
		source            string
		analyte, from, to string
		v                 float64
		at                Place
		want, tol         float64
	}{
		{"OhioState/Mehlich-3-ICP-to-Bray", "P", "Mehlich-3 ICP", "Bray P1", 22, Place{Region: "Ohio"}, 10, 0.3},
		{"Culman2019/Mehlich-3-K-to-ammonium-acetate", "K", "Mehlich-3", "ammonium acetate", 150, Place{Region: "ohio"}, 131.6, 0.5},
		{"Culman2019/35-percent-higher", "P", "Bray P1", "Mehlich-3", 20, Place{Region: "Indiana"}, 27, 0.01},
		{"RutterRuizDiaz2019/about-one-to-one", "K", "Mehlich-3", "ammonium acetate", 150, Place{Region: "Kansas"}, 150, 5},
		{"Hamel/total-lead-from-Mehlich-3", "Pb", "Mehlich-3", "total digest", 278, Place{Region: "New Jersey"}, 400.4, 3},
		{"Hamel/total-lead-from-Mehlich-1", "Pb", "Mehlich-1", "total digest", 100, Place{Region: "Delaware"}, 626, 0.5},
		{"Hamel/total-lead-from-modified-Morgan", "Pb", "modified Morgan", "total digest", 50, Place{Region: "Delaware"}, 299, 0.5},
		{"ConyersDavey1988/water-to-CaCl2", "pH", "water 1:1", "CaCl2", 6.9, Place{Region: "Ohio"}, 6.345, 0.001},
		{"ConyersDavey1988/water-to-CaCl2-acid", "pH", "water", "CaCl2", 6.0, Place{Region: "Ohio"}, 5.40, 0.001},
		{"ConyersDavey1988/tied-to-no-place", "pH", "water", "CaCl2", 6.0, Place{}, 5.40, 0.001},
	} {
		t.Run(c.source, func(t *testing.T) {
			l := level(c.analyte, c.from, c.v)
			got, refused := Shown(l, c.to, c.at)
			if refused != "" || math.Abs(got.Estimate.Value-c.want) > c.tol {
				t.Fatalf("%v by %s shown as %v (%s), want %v", c.v, c.from, got.Estimate.Value, refused, c.want)
			}
			// Shown less surely than measured, with the measured one beside it.
			wide, was := got.Estimate.High-got.Estimate.Low, (l.Estimate.High-l.Estimate.Low)*got.Conversion.slope
			if wide <= was || got.Measured != l.Estimate || got.Estimate.Low > got.Estimate.Value || got.Conversion.Source == "" {
				t.Errorf("range %v, want wider than %v; %+v", wide, was, got)
			}
			contains(t, got.Text, "estimated")
			contains(t, got.Text, "it enters no series, band or rate")
		})
	}
	for _, c := range []struct {
		name, analyte, from, to string
		v                       float64
		at                      Place
		o                       []option
		say                     string
	}{
		{"OhioState/below-zero", "P", "Mehlich-3 ICP", "Bray P1", 9, Place{Region: "Ohio"}, nil, "not defined so low"},
		{"instrument", "P", "Mehlich-3", "Bray P1", 22, Place{Region: "Ohio"}, nil, "ICP or by colour"},
		{"no region", "K", "Mehlich-3", "ammonium acetate", 150, Place{}, nil, "region is not declared"},
		{"another region", "K", "Mehlich-3", "ammonium acetate", 150, Place{Region: "Georgia"}, nil, "made in Ohio, Indiana, Kansas"},
		{"calcium above 7.3", "Ca", "Mehlich-3", "ammonium acetate", 2000, Place{"Alaska", ph(7.6)}, nil, "free lime"},
		{"calcium, pH not known", "Ca", "Mehlich-3", "ammonium acetate", 2000, Place{Region: "Alaska"}, nil, "free lime"},
		{"no line", "P", "Olsen", "Mehlich-3", 20, Place{Region: "Ohio"}, nil, "no line from Olsen to Mehlich-3"},
		{"beyond its domain", "Pb", "Mehlich-3", "total digest", 600, Place{Region: "Delaware"}, nil, "below 720"},
		{"a limit", "K", "Mehlich-3", "ammonium acetate", 15, Place{Region: "Ohio"}, []option{below}, "beyond the lab's limit"},
		{"volume", "K", "Mehlich-3", "ammonium acetate", 150, Place{Region: "Ohio"}, []option{volume}, "no line was made for mg/dm3"},
		{"no method", "K", "", "ammonium acetate", 150, Place{Region: "Ohio"}, nil, "no method"},
		{"itself", "K", "Mehlich-3", "Mehlich-3", 150, Place{Region: "Ohio"}, nil, "measured by this method"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, refused := Shown(level(c.analyte, c.from, c.v, c.o...), c.to, c.at)
			if refused == "" {
				t.Fatalf("shown as %+v", got)
			}
			contains(t, refused, c.say)
		})
	}
	if got, refused := Shown(level("Ca", "Mehlich-3", 2000), "ammonium acetate", Place{"Alaska", ph(6.5)}); refused != "" || got.Estimate.Value >= 2000 {
		t.Errorf("Ca at pH 6.5: %v, %s", got.Estimate.Value, refused)
	}
	for _, c := range Conversions() {
		if c.Source == "" || c.Domain == "" || c.Formula == "" || !(c.Spread > 0) || c.SpreadBasis == "" || strings.Contains(c.Source, "memory") {
			t.Errorf("%+v: no source, domain or spread", c)
		}
		a, ok := unit.ByID(c.Analyte)
		for _, m := range []string{c.From, c.To} {
			if got, err := unit.ParseMethod(m, a); !ok || err != nil || got != m {
				t.Errorf("%s %s: %v", c.Analyte, m, err)
			}
		}
	}
}
