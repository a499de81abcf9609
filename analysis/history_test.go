package analysis

import (
	"errors"
	"slices"
	"testing"

	"carryover/dataset"
)

func area(v float64, was string) func(*dataset.Bed) {
	return func(d *dataset.Bed) { d.Area, d.Was = &v, was }
}

func (r *Review) names() (names []string) {
	for i := range r.Beds {
		names = append(names, r.Beds[i].Bed)
	}
	return names
}

func TestRenamedBed(t *testing.T) {
	var b book
	b.bed("Old", "2020-01-01", area(40, ""))
	b.bed("New", "2024-07-01", area(40, "Old"))
	b.test("Old", "2024-04-20", "P", 60)
	b.test("New", "2024-10-20", "P", 40)
	r := b.review(t, Options{})
	if n := r.names(); !slices.Equal(n, []string{"New"}) || !slices.Equal(r.Beds[0].Was, []string{"Old"}) {
		t.Fatalf("beds %q, was %q", n, r.Beds[0].Was)
	}
	c := r.Beds[0].find(t, Drawdown, "P")
	if c.Estimate.Value != 20 || has(r.codes(c.Doubts), "bed widened") {
		t.Errorf("%v %v, want 20 across the new name", c.Estimate.Value, r.codes(c.Doubts))
	}
	b.Beds[1].Area = ptr(30.0) // "Old": renamed and widened at once
	r = b.review(t, Options{})
	if c := r.Beds[0].find(t, Drawdown, "P"); !has(r.codes(c.Doubts), "bed widened") {
		t.Errorf("30 m2 became 40 under a new name: %v", r.codes(c.Doubts))
	}
}

func TestSplitBed(t *testing.T) {
	var b book
	b.bed("Whole", "2020-01-01", area(80, ""))
	b.bed("East", "2024-07-01", area(40, "Whole"))
	b.bed("West", "2024-07-01", area(40, "Whole"))
	b.test("Whole", "2024-04-20", "P", 60)
	b.test("East", "2024-10-20", "P", 40)
	b.test("West", "2024-10-20", "P", 50)
	r := b.review(t, Options{})
	if n := r.names(); !slices.Equal(n, []string{"East", "West"}) {
		t.Fatalf("beds %q", n)
	}
	for i, want := range []float64{20, 10} {
		c := r.Beds[i].find(t, Drawdown, "P")
		if c.Estimate.Value != want || has(r.codes(c.Doubts), "bed widened") {
			t.Errorf("%s: %v %v, want %v and no widening", r.Beds[i].Bed, c.Estimate.Value, r.codes(c.Doubts), want)
		}
	}
}

// Two beds that are joined later were different ground before: nothing is
// averaged or differenced across them.
func TestJoinedBeds(t *testing.T) {
	var b book
	b.bed("A", "2020-01-01", area(30, ""))
	b.bed("B", "2024-03-01", area(50, ""))
	b.bed("Big", "2024-12-01", area(80, "A; B"))
	b.test("A", "2024-04-20", "P", 60)
	b.test("B", "2024-04-20", "P", 100)
	b.test("A", "2024-10-20", "P", 50)
	b.test("B", "2024-10-25", "P", 80)
	b.test("Big", "2025-04-20", "P", 70)
	b.test("Big", "2025-10-20", "P", 60)
	r := b.review(t, Options{})
	x := r.Beds[0]
	if n := r.names(); !slices.Equal(n, []string{"Big"}) || len(x.Levels) != 6 {
		t.Fatalf("beds %q, %d levels, want Big with 6", n, len(x.Levels))
	}
	ground := map[float64]bool{10: true, 20: true} // A and B by themselves, and Big
	for _, c := range x.Changes {
		if c.Kind != Drawdown || !ground[c.Estimate.Value] {
			t.Errorf("%s %s to %s: %v", c.Kind, c.From.Date, c.To.Date, c.Estimate.Value)
		}
		if has(r.codes(c.Doubts), "bed widened") {
			t.Error("joining is no widening")
		}
	}
	if len(x.Breaks) != 1 || x.Breaks[0].Kind != Winter {
		t.Fatalf("breaks %+v, want the winter of joining", x.Breaks)
	}
	contains(t, x.Breaks[0].Reason, "to the joined bed")
	rec, err := r.Table("levels", plainScale())
	if err != nil {
		t.Fatal(err)
	}
	defer rec.Release()
	if rec.NumRows() != 6 {
		t.Errorf("%d rows of levels, want 6: A and B on one day stand apart", rec.NumRows())
	}
}

func TestGroundThroughRenames(t *testing.T) {
	var b book
	b.bed("A0", "2018-01-01", nil)
	b.bed("A", "2020-01-01", area(30, "A0"))
	b.bed("Big", "2022-01-01", area(80, "A; B"))
	b.bed("Best", "2024-01-01", area(80, "Big"))
	w := &bedWork{history: &dataset.BedHistory{Name: "Best", Descriptions: b.Beds}}
	ground := w.grounds()
	for name, want := range map[string]string{"A0": "A", "A": "A", "B": "B", "Big": "", "Best": "", "": ""} {
		if got := ground(name); got != want {
			t.Errorf("%q stands for %q, want %q", name, got, want)
		}
	}
}

func TestWidenedBed(t *testing.T) {
	for _, c := range []struct {
		from string
		area float64
		want bool
	}{
		{"2024-07-01", 60, true}, {"2024-07-01", 40.5, false}, {"2024-07-01", 30, false}, // 1 % is no widening, a loss none either
		{"2024-04-20", 60, false}, {"2024-04-21", 60, true}, {"2024-10-20", 60, true}, {"2024-10-21", 60, false},
	} {
		var b book
		b.bed("1", "2020-01-01", area(40, ""))
		b.bed("1", c.from, area(c.area, ""))
		b.test("1", "2024-04-20", "P", 60)
		b.test("1", "2024-10-20", "P", 40)
		r := b.review(t, Options{})
		if got := has(r.codes(r.Beds[0].find(t, Drawdown, "P").Doubts), "bed widened"); got != c.want {
			t.Errorf("to %v m2 on %s: widened %v, want %v", c.area, c.from, got, c.want)
		}
		if c.want {
			contains(t, r.told("bed widened")[0], "grew by 50 %")
		}
	}
}

func TestNaturalOrderOfBeds(t *testing.T) {
	var b book
	for _, n := range []string{"plot 10", "plot 2", "plot 2b", "plot 1", "bed", "plot 002a", "plot"} {
		b.test(n, "2024-04-20", "P", 60)
	}
	if n := b.review(t, Options{}).names(); !slices.Equal(n, []string{"bed", "plot", "plot 1", "plot 2", "plot 002a", "plot 2b", "plot 10"}) {
		t.Errorf("%q", n)
	}
	for _, x := range []string{"", "1", "01", "a1b2", "a01b10", "a", "b"} {
		for _, y := range []string{"", "1", "01", "a1b2", "a01b10", "a", "b"} {
			if natural(x, y) != -natural(y, x) || natural(x, x) != 0 {
				t.Errorf("order of %q and %q is no order", x, y)
			}
		}
	}
}

// Two growers may use the same names: neither sees the other's doubts.
func TestTwoGrowers(t *testing.T) {
	var b book
	b.test("1", "2024-04-20", "P", 60, method(""))
	b.test("2", "2024-04-20", "P", 60, method(""))
	b.test("1", "2024-04-20", "P", 60, grower("Bo"))
	r := b.review(t, Options{})
	if r.Grower != "2 growers" || len(r.Beds) != 3 || r.Beds[2].Grower != "Bo" {
		t.Fatalf("%s: %q", r.Grower, r.names())
	}
	if len(r.Beds[0].Doubts) != 1 || len(r.Beds[1].Doubts) != 1 || len(r.Beds[2].Doubts) != 0 {
		t.Errorf("doubts %v, %v, %v, want one, one, none", r.Beds[0].Doubts, r.Beds[1].Doubts, r.Beds[2].Doubts)
	}
	b.test("1", "2024-04-20", "P", 60, method(""), grower("Bo"))
	b.test("2", "2024-04-20", "P", 60, method(""), grower("Bo"))
	if d := b.review(t, Options{}).Doubts; len(d) != 1 || !slices.Equal(d[0].Beds, []string{"1", "2"}) {
		t.Errorf("%+v, want one doubt that names 1 and 2 once", d)
	}
	one := b.review(t, Options{Select: dataset.Selection{Growers: []string{"bo"}}})
	if one.Grower != "Bo" || len(one.Beds) != 2 {
		t.Errorf("%s: %q", one.Grower, one.names())
	}
}

func TestNothingToLookBackOn(t *testing.T) {
	if _, err := NewReview(&dataset.Book{}, &dataset.Records{}, Options{}); !errors.Is(err, ErrTooFew) {
		t.Errorf("empty book: %v", err)
	}
	var b book
	b.test("1", "2024-04-20", "P", 60)
	b.Sort()
	if _, err := NewReview(&dataset.Book{}, &b.Records, Options{Select: dataset.Selection{Beds: []string{"9"}}}); !errors.Is(err, ErrTooFew) {
		t.Errorf("no such bed: %v", err)
	}
}

func TestWeightsAndLosses(t *testing.T) {
	var b book
	b.harvest("1", "2024-10-05", 700)
	b.harvest("1", "2024-10-12", 650)
	b.Harvests[1].Weighed = "taped"
	b.planting("1", 2024, "2024-05-20")
	b.Plantings[0].FruitLost, b.Plantings[0].LostHow = ptr(day("2024-08-30")), "split"
	r := b.review(t, Options{})
	x := r.Beds[0]
	if len(x.Harvests) != 2 || len(x.Lost) != 1 || x.Lost[0].How != "split" || x.Harvests[0].Season != 2024 {
		t.Errorf("%+v %+v", x.Harvests, x.Lost)
	}
	if texts := r.told("weight"); len(texts) != 1 || texts[0] != "the weight of 2024-10-12 was taped, not put on a scale" {
		t.Errorf("told %q", texts)
	}
	if x := b.review(t, Options{}, "2024-08-29").Beds[0]; len(x.Lost) != 0 {
		t.Errorf("lost before the day: %+v", x.Lost)
	}
}

func TestFeeds(t *testing.T) {
	var b book
	for _, m := range []dataset.Material{
		{Material: "Lime", Component: "CCE", Value: 90}, {Material: "Lime", Component: "Ca", Value: 30},
		{Material: "flowers", Kind: "sulfur", Component: "S", Value: 90}, {Material: "10-0-0", Component: "N", Value: 10}, {Material: "10-0-0", Component: "P", Value: 0},
	} {
		m.Grower = "Ada"
		b.Materials = append(b.Materials, m)
	}
	for _, m := range []string{"lime", "flowers", "10-0-0", "straw"} {
		b.spread("1", "2024-05-01", m)
	}
	for _, in := range b.review(t, Options{}).Beds[0].Inputs {
		want := map[string][]string{"lime": {"pH", "Ca"}, "flowers": {"pH", "S"}, "10-0-0": {"NO3-N"}, "straw": nil}[in.Material]
		slices.Sort(in.Feeds)
		slices.Sort(want)
		if !slices.Equal(in.Feeds, want) {
			t.Errorf("%s feeds %q, want %q", in.Material, in.Feeds, want)
		}
	}
}
