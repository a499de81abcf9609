package analysis

import (
	"math"
	"strings"
	"testing"
)

func TestDefaultTargets(t *testing.T) {
	list := defaultTargets(t)
	if len(list) < 12 {
		t.Fatalf("%d bands", len(list))
	}
	for _, x := range list {
		if x.Source == "" || x.Source == "own" || x.Method == "" {
			t.Errorf("%+v: no source or method", x)
		}
		if x.High != 0 && x.High <= x.Low {
			t.Errorf("%+v: no band", x)
		}
	}
	if s := (Target{Analyte: "pH", Low: 6, High: 6.8}).String(); s != "6.0-6.8" {
		t.Errorf("printed %q", s)
	}
	if s := (Target{Analyte: "S", Low: 10}).String(); s != "10 or more" {
		t.Errorf("printed %q", s)
	}
}

func TestParseTargetsRefuses(t *testing.T) {
	band := func(lines string) string {
		return "format = 1\n[[target]]\nanalyte = \"P\"\nmethod = \"Mehlich-3\"\nunit = \"mg/kg\"\nsource = \"own\"\n" + lines
	}
	if _, err := ParseTargets(band("low = 36\nhigh = 68.5")); err != nil {
		t.Fatalf("a good band: %v", err)
	}
	for _, c := range []struct{ name, text, want string }{
		{"unknown key", band("low = 36\nhihg = 60"), `key "target.hihg" is not known`},
		{"upside down", band("low = 60\nhigh = 36"), "low must be below high"},
		{"no width", band("low = 60\nhigh = 60"), "low must be below high"},
		{"below zero", band("low = -1\nhigh = 36"), "low must be below high"},
		{"not a number", band("low = nan\nhigh = 36"), "low must be below high"},
		{"low not a number", band("low = nan"), "low must be below high"},
		{"high not a number", band("low = 3\nhigh = nan"), "low must be below high"},
		{"no end", band("low = 3\nhigh = inf"), "low must be below high"},
		{"no band", band(""), "no band"},
		{"syntax", band("low = = 3"), "targets.toml:7:"},
		{"analyte", strings.Replace(band("low = 3"), `"P"`, `"Px"`, 1), `analyte "Px" is not known`},
		{"unit", strings.Replace(band("low = 3"), "mg/kg", "lb/acre", 1), `write "mg/kg"`},
		{"source", strings.Replace(band("low = 3"), `"own"`, `""`, 1), "no source"},
		{"method", strings.Replace(band("low = 3"), "Mehlich-3", "LOI", 1), "does not measure P"},
		{"no method", strings.Replace(band("low = 3"), "Mehlich-3", "", 1), "no method"},
		{"format", strings.Replace(band("low = 3"), "format = 1", "format = 2", 1), "format 2"},
	} {
		_, err := ParseTargets(c.text)
		if err == nil {
			t.Errorf("%s: accepted", c.name)
			continue
		}
		contains(t, err.Error(), c.want)
		contains(t, err.Error(), "targets.toml")
	}
	// An alias becomes the method's own name.
	list, err := ParseTargets(strings.Replace(band("low = 3"), "Mehlich-3", "M3", 1))
	if err != nil || list[0].Method != "Mehlich-3" {
		t.Errorf("%+v, %v", list, err)
	}
}

func TestTargetServes(t *testing.T) {
	level := func(analyte, method, unit string) *Level {
		return &Level{Analyte: analyte, Method: method, Estimate: Estimate{Unit: unit}}
	}
	ph, p := Target{Analyte: "pH", Method: "water", Unit: "pH"}, Target{Analyte: "P", Method: "Mehlich-3", Unit: "mg/kg"}
	for _, c := range []struct {
		target Target
		level  *Level
		want   bool
	}{
		{ph, level("pH", "water", "pH"), true}, {ph, level("pH", "water 1:2.5", "pH"), true},
		{ph, level("pH", "CaCl2", "pH"), false}, {ph, level("pH", "", "pH"), false}, {ph, level("buffer pH", "water", "pH"), false},
		{Target{Analyte: "pH", Method: "water 1:1", Unit: "pH"}, level("pH", "water 1:2", "pH"), false},
		{p, level("P", "Mehlich-3", "mg/kg"), true}, {p, level("P", "Mehlich-3 ICP", "mg/kg"), false},
		{p, level("P", "Olsen", "mg/kg"), false}, {p, level("P", "Mehlich-3", "mg/dm3"), false}, {p, level("K", "Mehlich-3", "mg/kg"), false},
	} {
		if got := c.target.serves(c.level); got != c.want {
			t.Errorf("%s %s for %s %s %s: %v", c.target.Analyte, c.target.Method, c.level.Analyte, c.level.Method, c.level.Estimate.Unit, got)
		}
	}
}

func TestOwnBandWins(t *testing.T) {
	research, own := Target{Analyte: "P", Method: "Mehlich-3", Low: 36, High: 68.5, Unit: "mg/kg", Source: "a laboratory"}, Target{Analyte: "P", Method: "Mehlich-3", Low: 100, High: 200, Unit: "mg/kg", Source: "own"}
	for _, list := range [][]Target{{research, own}, {own, research}} {
		b := &bedWork{targets: list}
		if at := b.targetFor(&Level{Analyte: "P", Method: "Mehlich-3", Estimate: Estimate{Unit: "mg/kg"}}); at == nil || at.Source != "own" {
			t.Errorf("%+v", at)
		}
	}
	if at := (&bedWork{targets: []Target{research}}).targetFor(&Level{Analyte: "P", Method: "Olsen", Estimate: Estimate{Unit: "mg/kg"}}); at != nil {
		t.Errorf("Olsen judged by %+v", at)
	}
}

func TestProbabilitiesAtTheEdges(t *testing.T) {
	level := func(analyte, qualifier string, v, sd float64) *Level {
		return &Level{Analyte: analyte, Qualifier: qualifier, sd: sd, Estimate: Estimate{Value: v}}
	}
	band := Target{Low: 36, High: 68.5}
	for _, c := range []struct {
		name      string
		l         *Level
		t         Target
		low, high float64
	}{
		{"on the low edge", level("P", "", 36, 0.2), band, 0.5, 0},
		{"on the high edge", level("P", "", 68.5, 0.2), band, 0, 0.5},
		{"one SD below", level("P", "", 36*math.Exp(-0.2), 0.2), band, 0.8413, 0},
		{"one SD above", level("P", "", 68.5*math.Exp(0.2), 0.2), band, 0, 0.8413},
		{"pH on the edge", level("pH", "", 6.0, 0.2), Target{Low: 6, High: 6.8}, 0.5, 0},
		{"pH 0.2 below", level("pH", "", 5.8, 0.2), Target{Low: 6, High: 6.8}, 0.8413, 0},
		{"no upper end", level("S", "", 1000, 0.2), Target{Low: 10}, 0, 0},
		{"no lower end", level("S", "", 1, 0.2), Target{High: 10}, 0, 0},
		{"zero", level("P", "", 0, 0.2), band, 1, 0},
		{"limit inside the band", level("P", "<", 48, 0.2), band, 0.75, 0},
		{"limit on the low edge", level("P", "<", 36, 0.2), band, 1, 0},
		{"limit above the band", level("P", "<", 137, 0.2), band, 36.0 / 137, 0.5},
		{"beyond the band", level("P", ">", 68.5, 0.2), band, 0, 1},
		{"beyond a limit inside", level("P", ">", 40, 0.2), band, 0, 0},
	} {
		low, high := c.l.outside(c.t)
		if math.Abs(low-c.low) > 0.002 || math.Abs(high-c.high) > 0.002 {
			t.Errorf("%s: %.4f below, %.4f above, want %.4f, %.4f", c.name, low, high, c.low, c.high)
		}
	}
}
