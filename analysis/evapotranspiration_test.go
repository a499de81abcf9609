package analysis

import (
	"math"
	"testing"
	"time"

	"carryover/dataset"
)

// Each subtest is named by its source: FAO-56 is Allen, Pereira, Raes and Smith
// 1998, FAO Irrigation and Drainage Paper 56. The tolerance is half a unit in the
// last digit it prints.
func TestEvapotranspirationSources(t *testing.T) {
	const bangkok, lyon = 13 + 44.0/60, 45 + 43.0/60
	raBangkok := ExtraterrestrialRadiation(bangkok, 105)
	nBangkok := DaylightHours(bangkok, 105)
	rsBangkok := solarFromSun(8.5, nBangkok, raBangkok)
	rBangkok := netRadiation(34.8, 25.6, 2.85, rsBangkok, raBangkok, 2)
	raLyon := ExtraterrestrialRadiation(lyon, 196)
	rsLyon := solarFromRange(26.6, 14.8, raLyon)
	eaLyon := vapourPressure(14.8) // the dew point is taken as the low
	rLyon := netRadiation(26.6, 14.8, eaLyon, rsLyon, raLyon, 200)
	pm := func(wind float64) float64 { return PenmanMonteith(26.6, 14.8, eaLyon, wind, rLyon.net, 0, 200) }
	dr, d, ws := sun(-20, 246)
	for _, x := range []struct {
		source         string
		got, want, tol float64
	}{
		{"FAO-56/Example 2/pressure at 1800 m", airPressure(1800), 81.8, 0.05},
		{"FAO-56/Example 2/psychrometric constant", psychrometric(airPressure(1800)), 0.054, 0.0005},
		{"FAO-56/Example 3/24.5 C", vapourPressure(24.5), 3.075, 0.0005},
		{"FAO-56/Example 3/15.0 C", vapourPressure(15), 1.705, 0.0005},
		{"FAO-56/Example 8/dr", dr, 0.985, 0.0005},
		{"FAO-56/Example 8/declination", d, 0.120, 0.0005},
		{"FAO-56/Example 8/sunset hour angle", ws, 1.527, 0.0005},
		{"FAO-56/Example 8/Ra", ExtraterrestrialRadiation(-20, 246), 32.2, 0.05},
		{"FAO-56/Example 9/daylight", DaylightHours(-20, 246), 11.7, 0.05},
		{"FAO-56/Example 17/Ra", raBangkok, 38.06, 0.005},
		{"FAO-56/Example 17/Rs", rsBangkok, 22.65, 0.005},
		{"FAO-56/Example 17/Rnl", rBangkok.long, 3.11, 0.005},
		{"FAO-56/Example 17/Rn", rBangkok.net, 14.33, 0.005},
		{"FAO-56/Example 17/ET0", PenmanMonteith(34.8, 25.6, 2.85, 2, rBangkok.net, 0.14, 2), 5.72, 0.005},
		{"FAO-56/Example 20/Ra", raLyon, 40.55, 0.01}, // 40.555, which it prints as 40.55
		{"FAO-56/Example 20/Rs", rsLyon, 22.29, 0.005},
		{"FAO-56/Example 20/es", (vapourPressure(26.6) + vapourPressure(14.8)) / 2, 2.58, 0.005},
		{"FAO-56/Example 20/ea", eaLyon, 1.68, 0.005},
		{"FAO-56/Example 20/ET0", pm(2), 4.56, 0.005},
		{"FAO-56/Example 20/ET0 in wind of 1 m per s, %", 100 * (pm(1)/pm(2) - 1), -7, 0.5},
		{"FAO-56/Example 20/ET0 in wind of 3 m per s, %", 100 * (pm(3)/pm(2) - 1), 6, 0.5},
		{"FAO-56/Example 20/Hargreaves", Hargreaves(26.6, 14.8, raLyon), 5.0, 0.05},
		// The table of the US Naval Observatory for Milton, Delaware, prints 10:00.
		{"US Naval Observatory 2018/Milton, Delaware, 24 Jan", DayLength(38.78, dataset.DateOf(2018, time.January, 24), AlmanacHorizon), 10, 0.5 / 60},
	} {
		t.Run(x.source, func(t *testing.T) {
			if math.Abs(x.got-x.want) > x.tol {
				t.Errorf("got %.5f, the source prints %v (tolerance %v)", x.got, x.want, x.tol)
			}
		})
	}
}

// Dates between which days have less than 10 h, worked out before with a longer
// series for the sun; within a day.
func TestShortDays(t *testing.T) {
	for _, x := range []struct {
		latitude, horizon float64
		first, last       string // empty: never
	}{
		{30, CentreHorizon, "", ""}, {30, AlmanacHorizon, "", ""}, {32, AlmanacHorizon, "", ""},
		{33, AlmanacHorizon, "2026-12-13", "2026-12-29"}, {35, AlmanacHorizon, "2026-11-30", "2027-01-11"},
		{40, AlmanacHorizon, "2026-11-15", "2027-01-27"}, {40, CentreHorizon, "2026-11-10", "2027-01-31"},
		{45, AlmanacHorizon, "2026-11-05", "2027-02-05"}, {50, AlmanacHorizon, "2026-10-29", "2027-02-13"},
	} {
		first, last, ok := ShortDays(x.latitude, 2026, x.horizon)
		if ok != (x.first != "") {
			t.Errorf("%v N, horizon %v: short days %v, want %v", x.latitude, x.horizon, ok, !ok)
			continue
		}
		if ok && (abs(int(first-day(x.first))) > 1 || abs(int(last-day(x.last))) > 1) {
			t.Errorf("%v N, horizon %v: %s to %s, want %s to %s", x.latitude, x.horizon, first, last, x.first, x.last)
		}
	}
	// The south has them half a year later.
	if first, last, ok := ShortDays(-40, 2026, AlmanacHorizon); !ok || first.Month() != time.May || last.Month() != time.July {
		t.Errorf("40 S: %s to %s", first, last)
	}
}

func abs(n int) int { return max(n, -n) }

func TestSunProperties(t *testing.T) {
	for j := 1; j <= 366; j++ {
		for _, latitude := range []float64{-90, -70, -33, 0, 12, 51, 66.6, 89.9} {
			ra, n := ExtraterrestrialRadiation(latitude, j), DaylightHours(latitude, j)
			if !(ra >= -1e-9 && ra < 50) || !(n >= 0 && n <= 24) {
				t.Fatalf("%v N, day %d: Ra %v, daylight %v", latitude, j, ra, n)
			}
			if other := DaylightHours(-latitude, j); math.Abs(n+other-24) > 1e-9 {
				t.Fatalf("%v N, day %d: %v h there and %v h in the opposite south are no 24", latitude, j, n, other)
			}
		}
	}
	if Hargreaves(-20, -30, 5) != 0 || Hargreaves(10, 10, 5) != 0 {
		t.Error("frost, or a day without a range, evaporates")
	}
	if x := PenmanMonteith(-5, -12, 0.2, 1, -3, 0, 100); x != 0 {
		t.Errorf("dew is counted as evapotranspiration: %v", x)
	}
}

// A year of invented weather at 43 N, 215 m: the sums of its months, mm, as the
// Python package pyet 1.5.0 (Vremec, Collenteur and Birk 2024) makes them; its
// Hargreaves with FAO-56's 0.408 in place of a heat of evaporation that follows the
// temperature.
func TestAgainstPyet(t *testing.T) {
	const latitude = 43.0
	want := map[string][12]float64{
		"Penman-Monteith": {19.312693819, 27.219272751, 48.449636702, 75.359794003, 107.843149141, 122.254916484, 129.996259684, 114.640049262, 81.385545334, 51.238607914, 27.814217465, 18.830207210},
		"Hargreaves":      {16.222116594, 23.225877285, 45.269925092, 72.793739538, 108.473780044, 126.868181730, 133.499601496, 113.162480748, 77.301713532, 46.473461929, 24.072838644, 15.964460622},
	}
	var full, hot [12]float64
	for n := 1; n <= 365; n++ {
		j := float64(n)
		mean, span := 10-13*math.Cos(2*math.Pi*(j-15)/365), 8+4*math.Sin(j)
		high, low := mean+span/2, mean-span/2
		ra := ExtraterrestrialRadiation(latitude, n)
		m := dataset.DateOf(2023, time.January, n).Month() - 1
		full[m] += referenceFrom(high, low, 65+20*math.Sin(1.7*j), 2.5+1.5*math.Cos(2.3*j), 6+2*math.Sin(0.9*j), ra, DaylightHours(latitude, n), 215)
		hot[m] += Hargreaves(high, low, ra)
	}
	for name, got := range map[string][12]float64{"Penman-Monteith": full, "Hargreaves": hot} {
		t.Run("pyet 1.5.0/"+name, func(t *testing.T) {
			for m := range got {
				if math.Abs(got[m]-want[name][m]) > 2e-9*want[name][m] {
					t.Errorf("month %d: %.9f, want %.9f", m+1, got[m], want[name][m])
				}
			}
		})
	}
}
