package analysis

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"

	"carryover/dataset"
)

// randomBook is an invented patch with what real ones have: gaps, limits,
// changes of lab, depth and method, vague dates, samples of one day.
func randomBook(seed uint64) *book {
	rng := rand.New(rand.NewPCG(seed, 7))
	pick := func(list ...string) string { return list[rng.IntN(len(list))] }
	chance := func(p float64) bool { return rng.Float64() < p }
	var b book
	for n := range 1 + rng.IntN(4) {
		bed := fmt.Sprint(n + 1)
		b.bed(bed, "2010-01-01", func(d *dataset.Bed) {
			d.Area = ptr(20 + 60*rng.Float64())
			if chance(0.5) {
				d.BulkDensity, d.DensitySource = ptr(0.7+0.7*rng.Float64()), pick("measured", "estimated", "assumed", "")
			}
		})
		first := 2015 + rng.IntN(4)
		for y := first; y < first+1+rng.IntN(7); y++ {
			for _, when := range []string{"-01-12", "-04-15", "-05-02", "-07-20", "-09-28", "-11-03"} {
				if chance(0.45) {
					continue
				}
				var common []option
				if chance(0.15) {
					common = append(common, lab(pick("", "Lab 2")))
				}
				switch {
				case chance(0.1):
					common = append(common, layer(0, 20.32))
				case chance(0.1):
					common = append(common, noDepth)
				case chance(0.1):
					common = append(common, layer(15.24, 30.48))
				}
				if when == "-01-12" && chance(0.7) {
					common = append(common, timing(Autumn))
				}
				if chance(0.1) {
					common = append(common, basis(pick(dataset.ByMonth, dataset.BySeason, dataset.Assumed)))
				}
				for _, x := range []struct {
					analyte string
					about   float64
				}{{"pH", 6.3}, {"OM", 7}, {"CEC", 14}, {"P", 60}, {"K", 150}, {"Ca", 1800}, {"Mg", 180}, {"S", 14}, {"NO3-N", 20}, {"B", 0.7}, {"Zn", 6}, {"K sat", 4}} {
					if chance(0.25) {
						continue
					}
					value := func() float64 {
						if x.analyte == "pH" {
							return x.about + 0.4*rng.NormFloat64()
						}
						return x.about * math.Exp(0.5*rng.NormFloat64())
					}
					o := slices.Clone(common)
					switch {
					case x.analyte == "K sat":
					case chance(0.05):
						o = append(o, method(""))
					case chance(0.05) && x.analyte == "P":
						o = append(o, method("Olsen"))
					case chance(0.05) && x.analyte == "K":
						o = append(o, volume)
					}
					if chance(0.3) {
						o = append(o, noCores)
					}
					soil := x.analyte != "pH" && x.analyte != "OM"
					switch {
					case chance(0.08): // two samples, perhaps one below the limit
						second := append(slices.Clone(o), sample("b"))
						if soil && chance(0.3) {
							second = append(second, below)
						}
						b.test(bed, fmt.Sprint(y)+when, x.analyte, value(), append(o, sample("a"))...)
						b.test(bed, fmt.Sprint(y)+when, x.analyte, value(), second...)
					case soil && chance(0.05):
						b.test(bed, fmt.Sprint(y)+when, x.analyte, value(), append(o, []option{below, above}[rng.IntN(2)])...)
					default:
						b.test(bed, fmt.Sprint(y)+when, x.analyte, value(), o...)
					}
				}
			}
			if chance(0.7) {
				b.spread(bed, fmt.Sprintf("%d-%02d-10", y, 1+rng.IntN(12)), pick("compost", "lime", "gypsum", "10-10-10"))
			}
			if chance(0.6) {
				b.planting(bed, int32(y), fmt.Sprintf("%d-05-%02d", y, 10+rng.IntN(15)))
			}
			if chance(0.6) {
				b.harvest(bed, fmt.Sprintf("%d-%02d-05", y, 8+rng.IntN(3)), 200+600*rng.Float64())
			}
		}
	}
	if len(b.SoilTests) == 0 {
		b.test("1", "2016-04-15", "P", 50)
	}
	b.Sort()
	return &b
}

const randomBooks = 60

// walk calls f with every struct in v and the path to it.
func walk(v reflect.Value, path string, f func(path string, v reflect.Value)) {
	switch v.Kind() {
	case reflect.Pointer:
		if !v.IsNil() {
			walk(v.Elem(), path, f)
		}
	case reflect.Slice:
		for i := range v.Len() {
			walk(v.Index(i), fmt.Sprintf("%s[%d]", path, i), f)
		}
	case reflect.Struct:
		f(path, v)
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				walk(v.Field(i), path+"."+v.Type().Field(i).Name, f)
			}
		}
	}
}

func TestEveryReviewHolds(t *testing.T) {
	estimates, references, changes, limits := 0, 0, 0, 0
	for seed := range uint64(randomBooks) {
		for _, south := range []bool{false, true} {
			r := randomBook(seed).review(t, Options{Targets: defaultTargets(t), South: south})
			asJSON(t, r) // fails on NaN and infinities
			walk(reflect.ValueOf(r), "", func(path string, v reflect.Value) {
				switch x := v.Interface().(type) {
				case Estimate:
					estimates++
					if !(x.Low <= x.Value && x.Value <= x.High) || x.Level != 0.9 || x.N < 1 || x.Unit == "" || x.Basis == "" {
						t.Errorf("book %d %s: %+v", seed, path, x)
					}
				case Density:
					if !(x.Low <= x.Value && x.Value <= x.High) || x.Low < 0 {
						t.Errorf("book %d %s: %+v", seed, path, x)
					}
				case Change:
					changes++
					if e := x.Estimate; x.Seen != (e.Low > 0 || e.High < 0) || x.From.Date >= x.To.Date || x.Season != x.To.Season {
						t.Errorf("book %d %s: %+v", seed, path, x)
					}
					if x.From.Qualifier == ">" || x.To.Qualifier == ">" {
						t.Errorf("book %d %s: differenced from above the limit", seed, path)
					}
					if x.From.Qualifier+x.To.Qualifier != "" {
						limits++
					}
				case Action:
					if x.POutside < 0 || x.POutside > 1 || urgency(x.State) < 0 || x.Analyte != "" && x.Source == "" {
						t.Errorf("book %d %s: %+v", seed, path, x)
					}
				case BedReview:
					if !slices.IsSortedFunc(x.Actions, func(a, b Action) int { return urgency(a.State) - urgency(b.State) }) || x.State != x.Actions[0].State {
						t.Errorf("book %d %s: states out of order", seed, path)
					}
				case Doubt:
					if r.Doubts[x.ID-1].Text != x.Text || x.Text == "" || len(x.Beds) == 0 {
						t.Errorf("book %d %s: %+v", seed, path, x)
					}
				}
				var ids []int
				if f := v.FieldByName("Doubt"); f.IsValid() && f.Kind() == reflect.Int {
					ids = append(ids, int(f.Int()))
				}
				if f := v.FieldByName("Doubts"); f.IsValid() {
					if list, ok := f.Interface().([]int); ok {
						ids = append(ids, list...)
					}
				}
				for _, id := range ids {
					references++
					if id < 1 || id > len(r.Doubts) {
						t.Errorf("book %d %s: doubt %d of %d", seed, path, id, len(r.Doubts))
					}
				}
			})
			// A bed lists every doubt that its own lines refer to.
			for i := range r.Beds {
				x := &r.Beds[i]
				for _, l := range x.Levels {
					for _, id := range l.Doubts {
						if !slices.Contains(x.Doubts, id) || !slices.Contains(r.Doubts[id-1].Beds, x.Bed) {
							t.Errorf("book %d, bed %s: doubt %d of %s is not the bed's", seed, x.Bed, id, l.Analyte)
						}
					}
				}
			}
		}
	}
	if estimates < 10_000 || references < 10_000 || changes < 3_000 || limits < 50 {
		t.Errorf("the books hold too little to tell: %d estimates, %d references, %d changes, %d from limits", estimates, references, changes, limits)
	}
}

func TestReviewIsDeterministic(t *testing.T) {
	for seed := range uint64(20) {
		o := Options{Targets: defaultTargets(t)}
		if x, y := asJSON(t, randomBook(seed).review(t, o)), asJSON(t, randomBook(seed).review(t, o)); x != y {
			t.Fatalf("book %d reads differently the second time", seed)
		}
	}
}

// unordered takes the addresses of rows out of a review, since they change with
// the order of the sheet, and rounds off what sums in another order leave.
func unordered(t *testing.T, r *Review) string {
	var v any
	if err := json.Unmarshal([]byte(asJSON(t, r)), &v); err != nil {
		t.Fatal(err)
	}
	var clean func(v any) any
	clean = func(v any) any {
		switch x := v.(type) {
		case map[string]any:
			delete(x, "row")
			delete(x, "reported")
			for k := range x {
				x[k] = clean(x[k])
			}
		case []any:
			for i := range x {
				x[i] = clean(x[i])
			}
		case float64:
			return fmt.Sprintf("%.9g", x)
		}
		return v
	}
	return asJSON(t, clean(v))
}

func TestOrderOfRowsDoesNotMatter(t *testing.T) {
	for seed := range uint64(randomBooks) {
		b := randomBook(seed)
		o := Options{Targets: defaultTargets(t)}
		want := unordered(t, b.review(t, o))
		// Another sheet with the same rows: each has another line.
		rng := rand.New(rand.NewPCG(seed, 99))
		lines := rng.Perm(int(b.line))
		for i := range b.SoilTests {
			b.SoilTests[i].Line = int32(lines[b.SoilTests[i].Line-1] + 1)
		}
		rng.Shuffle(len(b.SoilTests), func(i, j int) { b.SoilTests[i], b.SoilTests[j] = b.SoilTests[j], b.SoilTests[i] })
		rng.Shuffle(len(b.Harvests), func(i, j int) { b.Harvests[i], b.Harvests[j] = b.Harvests[j], b.Harvests[i] })
		rng.Shuffle(len(b.Amendments), func(i, j int) { b.Amendments[i], b.Amendments[j] = b.Amendments[j], b.Amendments[i] })
		rng.Shuffle(len(b.Beds), func(i, j int) { b.Beds[i], b.Beds[j] = b.Beds[j], b.Beds[i] })
		if got := unordered(t, b.review(t, o)); got != want {
			t.Errorf("book %d reads differently from rows in another order:\n%s", seed, firstDifference(got, want))
		}
	}
}

// What is seen as of a day is what a book without the later rows shows.
func TestAsOfIsTheBookOfThatDay(t *testing.T) {
	for seed := range uint64(randomBooks) {
		rng := rand.New(rand.NewPCG(seed, 1))
		asOf := day("2015-06-01") + dataset.Date(rng.IntN(7*365))
		o := Options{Targets: defaultTargets(t), AsOf: &asOf}
		got := asJSON(t, randomBook(seed).review(t, o))
		b := randomBook(seed)
		before := len(b.SoilTests)
		b.SoilTests = slices.DeleteFunc(b.SoilTests, func(x dataset.SoilTest) bool { return x.Date > asOf })
		b.Amendments = slices.DeleteFunc(b.Amendments, func(x dataset.Amendment) bool { return x.Date > asOf })
		b.Harvests = slices.DeleteFunc(b.Harvests, func(x dataset.Harvest) bool { return x.Date > asOf })
		b.Plantings = slices.DeleteFunc(b.Plantings, func(x dataset.Planting) bool { return *x.SetOut > asOf })
		if seed == 0 && len(b.SoilTests) == before {
			t.Fatal("nothing is later: nothing is checked")
		}
		if want := asJSON(t, b.review(t, o)); got != want {
			t.Errorf("book %d as of %s:\n%s", seed, asOf, firstDifference(got, want))
		}
	}
}

// firstDifference shows where two texts part.
func firstDifference(x, y string) string {
	i := 0
	for i < len(x) && i < len(y) && x[i] == y[i] {
		i++
	}
	cut := func(s string) string { return s[max(0, i-150):min(len(s), i+150)] }
	return cut(x) + "\n---\n" + cut(y)
}

// fourBeds is a book of 4 beds, 10 seasons, 2 tests a season, 12 analytes.
func fourBeds() *book {
	rng := rand.New(rand.NewPCG(4, 10))
	var b book
	for bed := range 4 {
		name := fmt.Sprint(bed + 1)
		b.bed(name, "2015-01-01", area(60, ""))
		for y := 2015; y < 2025; y++ {
			for _, when := range []string{"-04-20", "-10-20"} {
				for _, a := range strings.Fields("pH OM CEC P K Ca Mg S B Zn Mn Cu") {
					v := 20 * math.Exp(0.2*rng.NormFloat64())
					if a == "pH" {
						v = 6.4 + 0.2*rng.NormFloat64()
					}
					b.test(name, fmt.Sprint(y)+when, a, v)
				}
			}
			b.spread(name, fmt.Sprint(y)+"-05-01", "compost")
			b.harvest(name, fmt.Sprint(y)+"-10-05", 500)
		}
	}
	b.Sort()
	return &b
}

func BenchmarkReviewFourBeds(b *testing.B) {
	book, o := fourBeds(), Options{Targets: defaultTargets(b)}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := NewReview(&dataset.Book{}, &book.Records, o); err != nil {
			b.Fatal(err)
		}
	}
}
