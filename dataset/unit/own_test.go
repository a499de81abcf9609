package unit

import (
	"errors"
	"testing"
)

func TestMeasures(t *testing.T) {
	m := Measures{"barrow": {6, "cu ft"}, "loader bucket": {0.5, "cu yd"}, "feed scoop": {3, "lb"}, "watering can": {2, "gal"}, "box": {2, "cu ft"}, "pace": {30, "in"}}
	if err := m.Check(); err != nil {
		t.Fatal(err)
	}
	for _, x := range []struct {
		value float64
		text  string
		want  float64
		q     Quantity
	}{
		{3, "barrow", 18 * M3PerCuFt, Volume}, {3, "barrows", 18 * M3PerCuFt, Volume}, {2, "Loader-Buckets", 27 * M3PerCuFt, Volume}, {4, "feed scoops", 12 * KgPerPound, Mass},
		{5, "boxes", 10 * M3PerCuFt, Volume}, {2, "cu yd", 54 * M3PerCuFt, Volume}, {2, "lb", 2 * KgPerPound, Mass},
	} {
		got, q, err := m.Convert(x.value, x.text, Mass, Volume)
		if err != nil || q != x.q || !closeTo(got, x.want) {
			t.Errorf("%v %s: %v %s %v, want %v", x.value, x.text, got, q, err, x.want)
		}
	}
	if a, err := ParseAmount("2-3 barrows"); err != nil {
		t.Error(err)
	} else if low, _, err := m.Convert(a.Low, a.Unit, Volume); err != nil || !closeTo(low, 12*M3PerCuFt) {
		t.Errorf("%+v: %v %v", a, low, err)
	}
	for text, want := range map[string]string{
		"watering cans": `unit "watering cans": is 2 gal by your own measure: expected one of lb, kg, cu yd, m3 ...`,
		"barows":        `unit "barows": not known here: did you mean barrow?`,
		"wheelbarrow":   `unit "wheelbarrow": write cu ft or cu yd, with ~ for a guess`,
	} {
		if v, _, err := m.Convert(2, text, Mass, Volume); err == nil || err.Error() != want || About(err) != "unit" {
			t.Errorf("%s: %v %v\nwant %s", text, v, err, want)
		}
	}
	if v, _, err := Measures(nil).Convert(2, "lb", Mass); err != nil || !closeTo(v, 2*KgPerPound) {
		t.Errorf("without own measures: %v %v", v, err)
	}
	if _, _, err := m.Convert(-1, "barrow", Volume); About(err) != "value" {
		t.Errorf("negative: %v", err)
	}
}

func TestMeasuresCheck(t *testing.T) {
	for _, x := range []struct {
		m    Measures
		want string
	}{
		{Measures{"ton": {2000, "lb"}}, `measure "ton": is the name of a unit already (ton, weight): choose another name`},
		{Measures{"Yards": {1, "cu yd"}}, `measure "Yards": is the name of a unit already (cu yd, volume): choose another name`},
		{Measures{"bushe l": {1, "cu ft"}}, `measure "bushe l": is the name of a unit already (bushel, volume): choose another name`},
		{Measures{"barrow": {6, "cu ft"}, "load": {8, "barrows"}}, `measure "load": is given in "barrows", which is a measure of your own: give it in a plain unit such as cu ft`},
		{Measures{"barrow": {6, "barrow"}}, `measure "barrow": is given in "barrow", which is a measure of your own: give it in a plain unit such as cu ft`},
		{Measures{"barrow": {6, "cu ft"}, "barrows": {5, "cu ft"}}, `measure "barrows": is too like measure "barrow": keep one`},
		{Measures{"barrow": {0, "cu ft"}}, `measure "barrow": holds 0: expected more than 0`},
		{Measures{"barrow": {6, "cuft3"}}, `measure "barrow": unit "cuft3": not known here: did you mean cu ft?`},
		{Measures{"barrow": {6, ""}}, `measure "barrow": unit "": not known here: expected one of lb, kg, cu yd, m3, gal, L ...`},
		{Measures{"barrow": {6, "hours"}}, `measure "barrow": unit "hours": not known here: expected one of lb, kg, cu yd, m3, gal, L ...`},
		{Measures{"": {6, "lb"}}, `measure "": expected a name in letters, such as barrow`},
		{Measures{"2 bags": {6, "lb"}}, `measure "2 bags": expected a name in letters, such as barrow`},
		{Measures{"lb/bed": {6, "lb"}}, `measure "lb/bed": expected a name in letters, such as barrow`},
	} {
		if err := x.m.Check(); err == nil || err.Error() != x.want || !errors.Is(err, ErrUnit) || About(err) != "measure" {
			t.Errorf("%v: %v\nwant %s", x.m, err, x.want)
		}
	}
}
