package analysis

import (
	"encoding/json"
	"math"
	"slices"
	"strings"
	"testing"

	"carryover/dataset"
	"carryover/dataset/unit"
)

// book gathers the rows of an invented patch.
type book struct {
	dataset.Records
	line int32
}

func ptr[T any](v T) *T { return &v }

func day(s string) dataset.Date {
	d, err := dataset.ParseISO(s)
	if err != nil {
		panic(err)
	}
	return d
}

func (b *book) source() dataset.Source {
	b.line++
	return dataset.Source{Batch: 1, File: "patch.csv", Line: b.line}
}

var usualMethod = map[string]string{
	"pH": "water 1:1", "buffer pH": "Sikora", "OM": "LOI", "CEC": "sum of cations", "NO3-N": "KCl extract",
}

type option func(*dataset.SoilTest)

func method(m string) option { return func(t *dataset.SoilTest) { t.Method = m } }
func lab(l string) option    { return func(t *dataset.SoilTest) { t.Lab = l } }
func below(t *dataset.SoilTest) {
	t.Qualifier = "<"
}
func above(t *dataset.SoilTest) {
	t.Qualifier = ">"
}
func cores(n int32) option        { return func(t *dataset.SoilTest) { t.Cores = &n } }
func noCores(t *dataset.SoilTest) { t.Cores = nil }
func timing(s string) option      { return func(t *dataset.SoilTest) { t.Timing = s } }
func basis(s string) option       { return func(t *dataset.SoilTest) { t.DateBasis = s } }
func sample(s string) option      { return func(t *dataset.SoilTest) { t.Sample = s } }
func grower(s string) option      { return func(t *dataset.SoilTest) { t.Grower = s } }
func layer(from, to float64) option {
	return func(t *dataset.SoilTest) { t.DepthFrom, t.DepthTo = &from, &to }
}
func noDepth(t *dataset.SoilTest) { t.DepthFrom, t.DepthTo = nil, nil }
func volume(t *dataset.SoilTest)  { t.Unit, t.Basis = "mg/dm3", "volume" }

// test records one result: Mehlich-3 or the usual method, 0-6 in, 10 cores.
func (b *book) test(bed, date, analyte string, value float64, options ...option) {
	a, ok := unit.ByID(analyte)
	if !ok {
		panic(analyte)
	}
	t := dataset.SoilTest{
		Grower: "Ada", Bed: bed, Analyte: analyte, Date: day(date), DateBasis: dataset.ByDay, Lab: "Lab 1",
		DepthFrom: ptr(0.0), DepthTo: ptr(15.24), Cores: ptr(int32(10)), Value: value, Unit: a.Unit(),
		ReportedValue: value, ReportedUnit: a.Unit(), Method: usualMethod[analyte], Source: b.source(),
	}
	if a.Kind == unit.Fraction {
		t.Basis = "mass"
		if t.Method == "" {
			t.Method = "Mehlich-3"
		}
	}
	if a.Plain {
		t.Method = ""
	}
	for _, o := range options {
		o(&t)
	}
	b.SoilTests = append(b.SoilTests, t)
}

func (b *book) bed(name, from string, change func(*dataset.Bed)) {
	d := dataset.Bed{Grower: "Ada", Bed: name, From: day(from), FromBasis: dataset.ByDay, Source: b.source()}
	if change != nil {
		change(&d)
	}
	b.Beds = append(b.Beds, d)
}

func (b *book) spread(bed, date, material string) {
	b.Amendments = append(b.Amendments, dataset.Amendment{Grower: "Ada", Bed: bed, Date: day(date), DateBasis: dataset.ByDay,
		Material: material, Amount: ptr(10.0), Unit: "kg", ReportedAmount: ptr(10.0), ReportedUnit: "kg", Source: b.source()})
}

func (b *book) planting(bed string, season int32, setOut string) {
	b.Plantings = append(b.Plantings, dataset.Planting{Grower: "Ada", Bed: bed, Season: season, Crop: "pumpkin", SetOut: ptr(day(setOut)), Source: b.source()})
}

func (b *book) harvest(bed, date string, kg float64) {
	b.Harvests = append(b.Harvests, dataset.Harvest{Grower: "Ada", Bed: bed, Date: day(date), DateBasis: dataset.ByDay, Weight: kg,
		Weighed: "scale", ReportedWeight: kg, ReportedUnit: "kg", Source: b.source()})
}

// review works the book out; as of the date, if one is given.
func (b *book) review(t testing.TB, o Options, asOf ...string) *Review {
	t.Helper()
	b.Sort()
	if len(asOf) > 0 {
		o.AsOf = ptr(day(asOf[0]))
	}
	r, err := NewReview(&dataset.Book{}, &b.Records, o)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func defaultTargets(t testing.TB) []Target {
	t.Helper()
	list, err := ParseTargets(DefaultTargets())
	if err != nil {
		t.Fatal(err)
	}
	return list
}

// find returns the only change of the kind and analyte.
func (b *BedReview) find(t testing.TB, kind, analyte string) *Change {
	t.Helper()
	var at *Change
	for i := range b.Changes {
		if c := &b.Changes[i]; c.Kind == kind && c.Analyte == analyte {
			if at != nil {
				t.Fatalf("two changes, %s of %s", kind, analyte)
			}
			at = c
		}
	}
	if at == nil {
		t.Fatalf("no %s of %s in %+v", kind, analyte, b.Changes)
	}
	return at
}

func (r *Review) codes(ids []int) (codes []string) {
	for _, id := range ids {
		codes = append(codes, r.Doubts[id-1].Code)
	}
	return codes
}

// told returns the texts of all doubts of a code.
func (r *Review) told(code string) (texts []string) {
	for _, d := range r.Doubts {
		if d.Code == code {
			texts = append(texts, d.Text)
		}
	}
	return texts
}

func has(list []string, code string) bool { return slices.Contains(list, code) }

func near(a, b, share float64) bool { return math.Abs(a-b) <= share*math.Max(math.Abs(a), math.Abs(b)) }

func asJSON(t testing.TB, v any) string {
	t.Helper()
	out, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return string(out)
}

func contains(t testing.TB, text, want string) {
	t.Helper()
	if !strings.Contains(text, want) {
		t.Errorf("%q does not say %q", text, want)
	}
}
