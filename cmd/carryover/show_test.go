package main

import (
	"math"
	"strings"
	"testing"

	"carryover/analysis"
	"carryover/dataset/unit"
)

func ptr[T any](v T) *T { return &v }

func TestAmountsAsWritten(t *testing.T) {
	lb := 1 / 2.20462262185
	for _, c := range []struct {
		mid, low, high float64
		about          bool
		want           string
	}{
		{4, 3, 5, false, "3-5 lb"}, {4, 3, 5, true, "about 4 lb"}, {40, 30, 50, true, "about 40 lb"}, {4, 3.5, 4.5, true, "about 3.5-4.5 lb"}, {4, 0, 0, false, "4 lb"},
	} {
		in := analysis.Input{Amount: ptr(c.mid * lb), Unit: "kg", About: c.about}
		if c.high > 0 {
			in.Low, in.High = ptr(c.low*lb), ptr(c.high*lb)
		}
		if got := (shown{us: true}).amount(in); got != c.want {
			t.Errorf("%+v: %q, want %q", c, got, c.want)
		}
	}
}

// Cells as wide as a column leave a space between them.
func TestCellsStayApart(t *testing.T) {
	var out strings.Builder
	p := &page{w: &out, width: 80}
	cols := []column{{"Ca", "Mehlich-3", "mg/kg"}, {"Na", "Mehlich-3", "mg/kg"}, {"Zn", "Mehlich-3", "mg/kg"}}
	blocks(p, "Levels", cols, shown{us: true}, []tableRow{{"2024", []string{"1,120", "51000.00", "6.1"}}, {"2025", []string{"123456789", "51000.00", ""}}})
	for _, l := range strings.Split(out.String(), "\n") {
		switch f := strings.Fields(l); {
		case strings.HasPrefix(l, "2024") && strings.Join(f, "|") != "2024|1,120|51000.00|6.1", strings.HasPrefix(l, "2025") && strings.Join(f, "|") != "2025|123456789|51000.00":
			t.Errorf("%q", l)
		}
	}
	out.Reset()
	var many []column
	cells := make([]string, 30)
	for i := range cells {
		many, cells[i] = append(many, cols[0]), "123456.78"
	}
	blocks(p, "Levels", many, shown{}, []tableRow{{"2024", cells}})
	for _, l := range strings.Split(out.String(), "\n") {
		if len(l) > 80 {
			t.Errorf("%d wide: %q", len(l), l)
		}
	}
	if n := strings.Count(out.String(), "123456.78"); n != 30 {
		t.Errorf("%d cells of 30", n)
	}
}

func TestReleaseAsLabsPrintIt(t *testing.T) {
	kg := 110 * unit.KgHaPerLbAc
	b := &analysis.BedReview{Levels: []analysis.Level{{Season: 2024, Timing: analysis.Spring, When: "2024-04-20", Analyte: "ENR", Estimate: analysis.Estimate{Value: kg, Unit: "kg/ha"}}}}
	for us, want := range map[bool][2]string{true: {"110", "lb/ac"}, false: {"123", "kg/ha"}} {
		var out strings.Builder
		showLevels(&page{w: &out, width: 80}, b, shown{us: us})
		if !strings.Contains(out.String(), " "+want[0]) || !strings.Contains(out.String(), want[1]) {
			t.Errorf("us %v: %s", us, out.String())
		}
	}
	if v, _ := (shown{us: true}).soil(50, "mg/kg"); math.Abs(v-50) > 0 {
		t.Errorf("ppm is mg/kg: %v", v)
	}
}

// Where one analyte stands by two methods, the rows say which is which.
func TestCarriedByMethod(t *testing.T) {
	carried := func(analyte, method string, v float64) analysis.Carryover {
		return analysis.Carryover{IntoSeason: 2025, Analyte: analyte, Method: method, Amount: analysis.Estimate{Value: v, Low: v / 2, High: 2 * v}}
	}
	var out strings.Builder
	showSeason(&page{w: &out, width: 80}, &analysis.BedReview{Carryover: []analysis.Carryover{carried("P", "Mehlich-3", 90), carried("P", "Olsen", 40), carried("K", "Mehlich-3", 200)}}, shown{})
	for _, want := range []string{"\nP (M3)", "\nP (Olsen)", "\nK  "} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("%q is not in:\n%s", want, out.String())
		}
	}
}
