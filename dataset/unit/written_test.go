package unit

import (
	"errors"
	"math"
	"strings"
	"testing"
)

func closeTo(got, want float64) bool {
	return got == want || math.Abs(got-want) <= 1e-9*math.Abs(want)
}

func TestNumbers(t *testing.T) {
	comma := Numbers{Comma: true}
	for _, x := range []struct {
		n               Numbers
		text, qualifier string
		want            float64
	}{
		{comma, "12,5", "", 12.5}, {comma, "1.234,5", "", 1234.5}, {comma, "1,234", "", 1.234}, {comma, "1.234", "", 1234}, {comma, "<0,2", "<", 0.2},
		{comma, "~1.200", "about", 1200}, {comma, "-0,5", "", -0.5}, {comma, "1,5e3", "", 1500}, {comma, ",5", "", 0.5}, {comma, "7", "", 7},
		{comma, "1.234.567", "", 1234567}, {comma, "1\u202f234,5", "", 1234.5}, {comma, "1'234,5", "", 1234.5},
		{Numbers{}, "\u22123", "", -3}, {Numbers{}, "1\u202f234.5", "", 1234.5}, {Numbers{}, "12\u00a0345", "", 12345}, {Numbers{}, "1\u2009234\u2009567", "", 1234567},
		{Numbers{}, "1'234.5", "", 1234.5}, {Numbers{}, "1\u2019234", "", 1234}, {Numbers{}, "\u22640.2", "<", 0.2}, {Numbers{}, "\u2265 200", ">", 200},
		{Numbers{}, "\u224840", "about", 40}, {Numbers{}, "ca. 40", "about", 40}, {Numbers{}, "approx. 40", "about", 40}, {Numbers{}, "1,234", "", 1234},
	} {
		if got, q, err := x.n.Parse(x.text); err != nil || got != x.want || q != x.qualifier {
			t.Errorf("%+v %q: %v %q %v, want %v %q", x.n, x.text, got, q, err, x.want, x.qualifier)
		}
	}
	for _, x := range []struct {
		n          Numbers
		text, want string
	}{
		{comma, "12.5", `"12.5": expected a number: points stand only before thousands in this sheet, write 1234,5`},
		{comma, "1,234.5", `"1,234.5": expected a number: points stand only before thousands in this sheet, write 1234,5`},
		{comma, "x", `"x": expected a number such as 12,5`},
		{Numbers{}, "12,5", `"12,5": expected a number: commas stand only before thousands, write 1234.5`},
		{Numbers{}, "1.234,5", `"1.234,5": expected a number: commas stand only before thousands, write 1234.5`},
		{Numbers{}, "1'23", `"1'23": expected a number such as 12.5`}, {Numbers{}, "1'234,567", `"1'234,567": expected a number such as 12.5`},
		{Numbers{}, "'123", `"'123": expected a number such as 12.5`}, {Numbers{}, "1 234", `"1 234": expected a number such as 12.5`},
		{Numbers{}, "6 1/2", `"6 1/2": expected a number such as 12.5`}, {Numbers{}, "\u00bd", `"½": expected a number such as 12.5`},
	} {
		if got, _, err := x.n.Parse(x.text); err == nil || err.Error() != x.want || !errors.Is(err, ErrUnit) || About(err) != "value" {
			t.Errorf("%+v %q: %v %v\nwant %s", x.n, x.text, got, err, x.want)
		}
	}
}

func TestPunctuation(t *testing.T) {
	for text, want := range map[string]string{
		"12,5": "comma", "1.234,5": "comma", "0,125": "comma", "1234,567": "comma", ",5": "comma", "<0,2": "comma", "1.234.567": "comma", "12,5 %": "comma", "12,5 kg": "comma", "-3,25": "comma",
		"12.5": "point", "1,234.5": "point", "0.125": "point", "1234.567": "point", ".5": "point", "1,234,567": "point", "~6.4": "point", "6.4 lb/acre": "point", "1'234.5": "point",
		"1,234": "either", "1.234": "either", "<1,234": "either", "12.345 lb": "either",
		"12": "", "": "", "x": "", "12.05.2026": "", "1,2,3": "", "A1,5": "", "1,5 apples": "", "2026-04-20": "", "12,345,6": "", "1 234": "",
	} {
		comma, point, either := Punctuation(text)
		got := map[bool]string{true: "comma"}[comma] + map[bool]string{true: "point"}[point] + map[bool]string{true: "either"}[either]
		if got != want {
			t.Errorf("%q: %q, want %q", text, got, want)
		}
	}
}

// property: a number that two rules read as two values is never passed over, and
// proves no rule that refuses it.
func FuzzPunctuation(f *testing.F) {
	for _, s := range []string{"12,5", "1.234,5", "0.125", "1,234", "1'234.5", "<0,2", "12 lb", "1.2.3", "02.125"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		comma, point, either := Punctuation(text)
		if comma && point || comma && either || point && either {
			t.Fatalf("%q: %v %v %v", text, comma, point, either)
		}
		a, _, errA := Numbers{}.Parse(text)
		b, _, errB := Numbers{Comma: true}.Parse(text)
		if errA == nil && errB == nil && a != b && !comma && !point && !either {
			t.Fatalf("%q: %v or %v and no word of it", text, a, b)
		}
		if errA == nil && errB != nil && comma || errB == nil && errA != nil && point {
			t.Fatalf("%q: the wrong proof", text)
		}
	})
}

func TestParseAmount(t *testing.T) {
	for _, x := range []struct {
		text             string
		value, low, high float64
		qualifier, unit  string
	}{
		{"40 lb", 40, 40, 40, "", "lb"}, {"40lb", 40, 40, 40, "", "lb"}, {"40#", 40, 40, 40, "", "#"}, {"40", 40, 40, 40, "", ""}, {"1,200 lb", 1200, 1200, 1200, "", "lb"},
		{"+3 kg", 3, 3, 3, "", "kg"}, {"1'200 kg", 1200, 1200, 1200, "", "kg"}, {"1\u202f200 kg", 1200, 1200, 1200, "", "kg"}, {"1e3 kg", 1000, 1000, 1000, "", "kg"},
		{"about 40 lb", 40, 30, 50, "about", "lb"}, {"~40", 40, 30, 50, "about", ""}, {"ca. 8 kg", 8, 6, 10, "about", "kg"}, {"40 lb or so", 40, 30, 50, "about", "lb"},
		{"40-50 lb", 45, 40, 50, "range", "lb"}, {"40 to 50 lb", 45, 40, 50, "range", "lb"}, {"40\u201350", 45, 40, 50, "range", ""}, {"40 lb to 50 lb", 45, 40, 50, "range", "lb"},
		{"40 lb - 50 pounds", 45, 40, 50, "range", "pounds"}, {"1 bag to 3 bags", 2, 1, 3, "range", "bags"}, {"between 40 and 50 lb", 45, 40, 50, "range", "lb"}, {"from 4 to 5 kg", 4.5, 4, 5, "range", "kg"},
		{"2 or 3 barrows", 2.5, 2, 3, "range", "barrows"}, {"about 40-50 lb", 45, 40, 50, "about", "lb"}, {"40\u00b15 lb", 40, 35, 45, "range", "lb"}, {"40 lb +/- 5", 40, 35, 45, "range", "lb"},
		{"40 lb \u00b1 10 %", 40, 36, 44, "range", "lb"}, {"4 \u00b1 5 lb", 4, 0, 9, "range", "lb"}, {"40-50 lb/1000 sq ft", 45, 40, 50, "range", "lb/1000 sq ft"},
		{"2 x 50 lb", 100, 100, 100, "", "lb"}, {"2x50lb", 100, 100, 100, "", "lb"}, {"2 \u00d7 50 lb bags", 100, 100, 100, "", "lb"}, {"50 lb x 2", 100, 100, 100, "", "lb"}, {"50 lb x 2 bags", 100, 100, 100, "", "lb"},
		{"3 bags of 50 lb", 150, 150, 150, "", "lb"}, {"3 50-lb bags", 150, 150, 150, "", "lb"}, {"2 bags (50 lb each)", 100, 100, 100, "", "lb"}, {"3 bags @ 50 lb", 150, 150, 150, "", "lb"},
		{"3 buckets of 5 gal", 15, 15, 15, "", "gal"}, {"2-3 50 lb bags", 125, 100, 150, "range", "lb"}, {"2 bags of 40-50 lb", 90, 80, 100, "range", "lb"}, {"about 2 bags of 50 lb", 100, 75, 125, "about", "lb"},
		{"50 lb bag", 50, 50, 50, "", "lb"}, {"a 50 lb bag", 50, 50, 50, "", "lb"}, {"two bags of 50 lb", 100, 100, 100, "", "lb"}, {"half a barrow", 0.5, 0.5, 0.5, "", "barrow"}, {"half a bag of 50 lb", 25, 25, 25, "", "lb"},
		{"2 x 3 x 4 lb", 24, 24, 24, "", "lb"}, {"2 bags", 2, 2, 2, "", "bags"}, {"3 barrow loads", 3, 3, 3, "", "barrow loads"}, {"a bag", 1, 1, 1, "", "bag"},
		{"1/2 lb", 0.5, 0.5, 0.5, "", "lb"}, {"1 1/2 lb", 1.5, 1.5, 1.5, "", "lb"}, {"1-1/2 lb", 1.5, 1.5, 1.5, "", "lb"}, {"6\u00bd lb", 6.5, 6.5, 6.5, "", "lb"}, {"6 \u00bd", 6.5, 6.5, 6.5, "", ""},
		{"\u00be gal", 0.75, 0.75, 0.75, "", "gal"}, {"1/2-3/4 lb", 0.625, 0.5, 0.75, "range", "lb"}, {"1 1/2 to 2 lb", 1.75, 1.5, 2, "range", "lb"}, {"1\u20442 lb", 0.5, 0.5, 0.5, "", "lb"},
		{"4 lb 8 oz", 4.5, 4.5, 4.5, "", "lb"}, {"2 gal 2 qt", 2.5, 2.5, 2.5, "", "gal"}, {"40 lb per 1,000 sq ft", 40, 40, 40, "", "lb per 1,000 sq ft"}, {"4 yd3", 4, 4, 4, "", "yd3"}, {"40 lb of lime", 40, 40, 40, "", "lb of lime"},
		{"0 lb", 0, 0, 0, "", "lb"},
	} {
		a, err := ParseAmount(x.text)
		if err != nil || !closeTo(a.Value, x.value) || !closeTo(a.Low, x.low) || !closeTo(a.High, x.high) || a.Qualifier != x.qualifier || a.Unit != x.unit {
			t.Errorf("%q: %+v %v, want %+v", x.text, a, err, x)
		}
	}
	if a, err := ParseAmount("12,5-13,5 kg", Numbers{Comma: true}); err != nil || a != (Amount{13, 12.5, 13.5, "range", "kg"}) {
		t.Errorf("decimal comma: %+v %v", a, err)
	}
	for text, want := range map[string]string{
		"some":              `"some": expected an amount such as 40 lb, about 40 lb or 40-50 lb: weigh or measure it, or write a range that is sure to hold it`,
		"a few handfuls":    `"a few handfuls": expected an amount such as 40 lb, about 40 lb or 40-50 lb: weigh or measure it, or write a range that is sure to hold it`,
		"":                  `"": expected an amount such as 40 lb, about 40 lb or 40-50 lb: weigh or measure it, or write a range that is sure to hold it`,
		"50 lb bags":        `"50 lb bags": how many bags? write it as 2 x 50 lb`,
		"2-50 lb bags":      `"2-50 lb bags": how many bags? write it as 2 x 50 lb`,
		"2 50 lb":           `"2 50 lb": expected one amount, such as 40 lb, 40-50 lb or 2 x 50 lb`,
		"30 lb, 40 lb":      `"30 lb, 40 lb": expected one amount, such as 40 lb, 40-50 lb or 2 x 50 lb`,
		"12 oz to 1 lb":     `"12 oz to 1 lb": expected both ends in one unit: write it once, after the last figure`,
		"1 L to 2 lb":       `"1 L to 2 lb": expected both ends in one unit: write it once, after the last figure`,
		"40 lb \u00b1 5 oz": `"40 lb ± 5 oz": expected one unit: write it once, after the last figure`,
		"50-40 lb":          `"50-40 lb": expected the smaller end first: write 40-50`,
		"5/20":              `"5/20": expected a fraction such as 1/2 or 3/4: write a decimal`,
		"5/20/2026":         `"5/20/2026": expected a fraction such as 1/2 or 3/4: write a decimal`,
		"-5 lb":             `"-5 lb": expected 0 or more: check the sign`,
		"<40 lb":            `"<40 lb": expected an amount, not a limit: write a range such as 0-40 lb`,
		"up to 40 lb":       `"up to 40 lb": expected an amount, not a limit: write a range that is sure to hold it, such as 30-40 lb`,
		"lime 40 lb":        `"lime 40 lb": expected the figure first, such as 40 lb: leave out "lime"`,
		"12,5 kg":           `"12,5 kg": expected a number: commas stand only before thousands, write 1234.5`,
		"40-":               `"40-": expected a figure after -`,
		"1e308 x 1e308 lb":  `"1e308 x 1e308 lb": expected a smaller number`,
	} {
		if a, err := ParseAmount(text); err == nil || err.Error() != want || !errors.Is(err, ErrUnit) {
			t.Errorf("%q: %+v %v\nwant %s", text, a, err, want)
		}
	}
}

func TestParseArea(t *testing.T) {
	const ft = 0.3048 // m, exact
	for text, want := range map[string]float64{
		"1200 sq ft": 1200 * ft * ft, "1,200 sq. ft.": 1200 * ft * ft, "0.5 acre": 21780 * ft * ft, "1/4 acre": 10890 * ft * ft, "110 m2": 110, "0.1 ha": 1000,
		"30x40 ft": 1200 * ft * ft, "30' x 40'": 1200 * ft * ft, "30ft by 40ft": 1200 * ft * ft, "30 by 40 feet": 1200 * ft * ft, "30*40ft": 1200 * ft * ft, "30 ft x 40": 1200 * ft * ft,
		"12 m by 8 m": 96, "9\u00d712 m": 108, "30 ft x 12 yd": 1080 * ft * ft, "10 yd x 10 yd": 900 * ft * ft, "30 ft 6 in x 40 ft": 1220 * ft * ft, `30'6" x 40'`: 1220 * ft * ft, "a 30x40 ft bed": 1200 * ft * ft,
		"30x40 ft rectangle": 1200 * ft * ft, "6 m x 20 ft": 120 * ft, "12 1/2 x 8 ft": 100 * ft * ft,
		"circle 20 ft across": math.Pi * 100 * ft * ft, "20 ft diameter circle": math.Pi * 100 * ft * ft, "round, 20 ft across": math.Pi * 100 * ft * ft, "diameter 20 ft": math.Pi * 100 * ft * ft,
		"a circle of 10 ft radius": math.Pi * 100 * ft * ft, "radius 10 ft": math.Pi * 100 * ft * ft, "20 ft in diameter": math.Pi * 100 * ft * ft, "\u00f8 6 m": math.Pi * 9,
	} {
		a, err := ParseArea(text)
		if err != nil || !closeTo(a.Value, want) || a.Low != a.Value || a.High != a.Value || a.Qualifier != "" || a.Unit != "m2" {
			t.Errorf("%q: %+v %v, want %v m2", text, a, err, want)
		}
	}
	if a, err := ParseArea("~30x40 ft"); err != nil || a.Qualifier != "about" || !closeTo(a.Low, 900*ft*ft) || !closeTo(a.High, 1500*ft*ft) {
		t.Errorf("about: %+v %v", a, err)
	}
	if a, err := ParseArea("30-32 x 40 ft"); err != nil || a.Qualifier != "range" || !closeTo(a.Low, 1200*ft*ft) || !closeTo(a.High, 1280*ft*ft) {
		t.Errorf("range: %+v %v", a, err)
	}
	const want = `: expected an area such as 1200 sq ft, 30x40 ft or circle 20 ft across`
	for text, say := range map[string]string{
		"30x40": `"30x40": expected the unit of its sides: write 30x40 ft or 9x12 m`, "30 ft": `"30 ft"` + want + `: a length alone is no area`, "2 yd": `"2 yd"` + want + `: a length alone is no area`,
		"10x20x2 ft": `"10x20x2 ft"` + want, "triangle 3x4 ft": `"triangle 3x4 ft"` + want, "big": `"big"` + want, "30 ft 40 ft": `"30 ft 40 ft"` + want, "30 x": `"30 x"` + want,
		"0x40 ft": `"0x40 ft": expected an area above 0`, "0 m2": `"0 m2": expected an area above 0`, "20 ft circle": `"20 ft circle": expected how wide the circle is: write circle 20 ft across, or circle 10 ft radius`,
		"circle 20 ft across, 10 ft radius": `"circle 20 ft across, 10 ft radius": expected one amount, such as 40 lb, 40-50 lb or 2 x 50 lb`,
		"1200":                              `no unit: expected one of sq ft, m2, acre, ha, sq yd`, "30x40 lb": `unit "lb": not known here: expected one of in, ft, cm, mm, m`, "1200 lb": `unit "lb": not known here: expected one of sq ft, m2, acre, ha, sq yd`,
	} {
		if a, err := ParseArea(text); err == nil || err.Error() != say || !errors.Is(err, ErrUnit) {
			t.Errorf("%q: %+v %v\nwant %s", text, a, err, say)
		}
	}
}

func TestParseLength(t *testing.T) {
	for text, want := range map[string][3]float64{
		"6 in": {15.24, 15.24, 15.24}, `6"`: {15.24, 15.24, 15.24}, "1 ft 6 in": {45.72, 45.72, 45.72}, `1'6"`: {45.72, 45.72, 45.72}, "15 cm": {15, 15, 15}, "6 1/2 in": {16.51, 16.51, 16.51},
		"\u00bd in": {1.27, 1.27, 1.27}, "2 yd": {182.88, 182.88, 182.88}, "6-8 in": {17.78, 15.24, 20.32}, "about 20 cm": {20, 15, 25}, "1.2 m": {120, 120, 120},
	} {
		a, err := ParseLength(text)
		if err != nil || !closeTo(a.Value, want[0]) || !closeTo(a.Low, want[1]) || !closeTo(a.High, want[2]) || a.Unit != "cm" {
			t.Errorf("%q: %+v %v, want %v cm", text, a, err, want)
		}
	}
	for text, say := range map[string]string{
		"deep": `"deep": expected a length such as 6 in or 15 cm`, "6": "no unit: expected one of in, ft, cm, mm, m", "3 lb": `unit "lb": not known here: expected one of in, ft, cm, mm, m`,
		"-6 in": `"-6 in": expected 0 or more: check the sign`, "30 ft x 40 ft": `"30 ft x 40 ft": expected one amount, such as 40 lb, 40-50 lb or 2 x 50 lb`,
	} {
		if a, err := ParseLength(text); err == nil || err.Error() != say {
			t.Errorf("%q: %+v %v\nwant %s", text, a, err, say)
		}
	}
}

func TestParseWatering(t *testing.T) {
	const gal = 3.785411784 // L, exact
	for text, want := range map[string]Amount{
		"1 in": {25.4, 25.4, 25.4, "", "mm"}, `1"`: {25.4, 25.4, 25.4, "", "mm"}, "1/2 in": {12.7, 12.7, 12.7, "", "mm"}, "25 mm": {25, 25, 25, "", "mm"}, "1-2 in": {38.1, 25.4, 50.8, "range", "mm"},
		"1 in x 3": {76.2, 76.2, 76.2, "", "mm"}, "3 h at 0.2 in/h": {15.24, 15.24, 15.24, "", "mm"}, "2 hours x 5 mm/h": {10, 10, 10, "", "mm"},
		"200 gal": {200 * gal, 200 * gal, 200 * gal, "", "L"}, "about 200 gal": {200 * gal, 150 * gal, 250 * gal, "about", "L"}, "800 L": {800, 800, 800, "", "L"}, "1.2 m3": {1200, 1200, 1200, "", "L"},
		"2 x 200 gal": {400 * gal, 400 * gal, 400 * gal, "", "L"}, "5 gal per plant x 4 plants": {20 * gal, 20 * gal, 20 * gal, "", "L"}, "4 plants, 5 gal each": {20 * gal, 20 * gal, 20 * gal, "", "L"},
		"2 h x 5 gal/min": {600 * gal, 600 * gal, 600 * gal, "", "L"}, "90 min at 18 L/min": {1620, 1620, 1620, "", "L"}, "2 h at 0.5 gph x 40 emitters": {40 * gal, 40 * gal, 40 * gal, "", "L"},
		"40 x 0.5 gph emitters for 2 h": {40 * gal, 40 * gal, 40 * gal, "", "L"}, "40 drippers 2 L/h 3 h": {240, 240, 240, "", "L"}, "2 h 30 min at 5 gpm": {750 * gal, 750 * gal, 750 * gal, "", "L"},
		"2 h at 0.5 gph per emitter, 40 emitters": {40 * gal, 40 * gal, 40 * gal, "", "L"}, "1.5 hours @ 5 gallons per minute": {450 * gal, 450 * gal, 450 * gal, "", "L"}, "2-3 h at 10 L/h": {25, 20, 30, "range", "L"},
		"2 h at 1.5 m3/h": {3000, 3000, 3000, "", "L"}, "2h x 5lpm": {600, 600, 600, "", "L"}, "10 lph for 30 minutes": {5, 5, 5, "", "L"},
	} {
		a, err := ParseWatering(text)
		if err != nil || !closeTo(a.Value, want.Value) || !closeTo(a.Low, want.Low) || !closeTo(a.High, want.High) || a.Qualifier != want.Qualifier || a.Unit != want.Unit {
			t.Errorf("%q: %+v %v, want %+v", text, a, err, want)
		}
	}
	const want = `expected a depth (1 in), a volume (200 gal), or a time and a flow (2 h x 5 gal/min)`
	for text, say := range map[string]string{
		"2 h": `"2 h": says how long and not how much: add the flow, as 2 h x 5 gal/min`, "5 gpm": `"5 gpm": is a flow: add how long, as 2 h x 5 gal/min`,
		"200 gal in 2 h": `"200 gal in 2 h": unit "gal in": ` + want, "200 gal for 2 h": `"200 gal for 2 h": gives an amount and a time: leave out the time, or write the flow, as 2 h x 5 gal/min`,
		"20": `"20": has no unit: ` + want, "well": `"well": ` + want, "2 lb": `"2 lb": unit "lb": ` + want, "5 gal per plant": `"5 gal per plant": expected how many of them beside the figure for one: write it as 2 h at 0.5 gph x 40 emitters`,
		"2 h at 5": `"2 h at 5": says how long and not how much: add the flow, as 2 h x 5 gal/min`, "1 in and 200 gal": `"1 in and 200 gal": ` + want, "1 in, 2 in": `"1 in, 2 in": expected one depth: write one watering a row`,
		"2 h x 3 h x 5 gpm": `"2 h x 3 h x 5 gpm": expected one time: write one watering a row`, "-1 in": `"-1 in": expected 0 or more: check the sign`, "40 emitters": `"40 emitters": ` + want,
	} {
		if a, err := ParseWatering(text); err == nil || err.Error() != say || !errors.Is(err, ErrUnit) {
			t.Errorf("%q: %+v %v\nwant %s", text, a, err, say)
		}
	}
}

func FuzzWritten(f *testing.F) {
	for _, s := range []string{"40-50 lb", "2 x 50 lb bags", "30' x 40'", "circle 20 ft across", "2 h at 0.5 gph x 40 emitters", "1 1/2 in", "40\u00b15 %", "between 1 and 2 m", "half a barrow", "\u00bd\u00bd", "1e308 x 9e9 lb", "//", "1/ 2 3", "\xff5"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		for _, comma := range []bool{false, true} {
			for i, parse := range []func(string, ...Numbers) (Amount, error){ParseAmount, ParseArea, ParseLength, ParseWatering} {
				a, err := parse(text, Numbers{Comma: comma})
				if err != nil {
					if !errors.Is(err, ErrUnit) || a != (Amount{}) {
						t.Fatalf("%d %q: %+v beside %v", i, text, a, err)
					}
					continue
				}
				if !(0 <= a.Low && a.Low <= a.Value && a.Value <= a.High) || math.IsInf(a.High, 0) || (a.Low != a.High) && a.Qualifier == "" {
					t.Fatalf("%d %q: %+v", i, text, a)
				}
			}
		}
	})
}

// A text that goes on and on is refused at once.
func TestLongTextIsNoAmount(t *testing.T) {
	_, err := ParseAmount(strings.Repeat("40 lb per ", 10000))
	if About(err) != "value" || len(err.Error()) > 200 {
		t.Errorf("%.300v", err)
	}
}
