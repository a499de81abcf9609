package unit

import (
	"math"
	"slices"
	"strings"
)

// Quantity is what a plain unit measures.
type Quantity int

const (
	Mass          Quantity = iota // kg
	Area                          // m2
	Length                        // cm
	Rain                          // mm
	Volume                        // m3, of solids
	Liquid                        // L
	MassPerArea                   // kg/ha
	LiquidPerArea                 // L/ha
	Temperature                   // deg C
	Share                         // %
	BulkDensity                   // g/cm3
	Speed                         // m/s
	Duration                      // h
)

// SI returns the unit that values of the quantity are stored in.
func (q Quantity) SI() string {
	return [...]string{"kg", "m2", "cm", "mm", "m3", "L", "kg/ha", "L/ha", "C", "%", "g/cm3", "m/s", "h"}[q]
}

func (q Quantity) String() string {
	return [...]string{"weight", "area", "length", "rain", "volume", "liquid", "weight per area", "liquid per area", "temperature", "share", "bulk density", "speed", "time"}[q]
}

type scale struct {
	q      Quantity
	factor float64
	names  []string // the first is the one we print
}

var scales = []scale{
	{Mass, KgPerPound, []string{"lb", "lbs", "pound", "pounds", "#"}},
	{Mass, KgPerPound / 16, []string{"oz", "ounce", "ounces"}},
	{Mass, 0.001, []string{"g", "gram", "grams"}},
	{Mass, 1, []string{"kg", "kgs", "kilogram", "kilograms", "kilo", "kilos"}},
	{Mass, 2000 * KgPerPound, []string{"ton", "tons", "short ton", "short tons"}},
	{Mass, 1000, []string{"t", "tonne", "tonnes", "metric ton"}},
	{Area, M2PerSqFt, []string{"sq ft", "ft2", "ft^2", "square feet", "square foot", "sq feet", "sq foot", "sf"}},
	{Area, 1, []string{"m2", "m^2", "sq m", "square metres", "square meters", "square metre", "square meter", "sq metres", "sq meters"}},
	{Area, M2PerAcre, []string{"acre", "acres", "ac"}},
	{Area, 1e4, []string{"ha", "hectare", "hectares"}},
	{Area, 9 * M2PerSqFt, []string{"sq yd", "yd2", "yd^2", "square yards", "square yard", "sq yards"}},
	{Length, CmPerInch, []string{"in", "inch", "inches", "\""}},
	{Length, 12 * CmPerInch, []string{"ft", "foot", "feet", "'"}},
	{Length, 1, []string{"cm", "centimetre", "centimeter", "centimetres", "centimeters"}},
	{Length, 0.1, []string{"mm", "millimetre", "millimeter", "millimetres", "millimeters"}},
	{Length, 100, []string{"m", "metre", "meter", "metres", "meters"}},
	{Rain, 1, []string{"mm", "millimetre", "millimeter", "millimetres", "millimeters"}},
	{Rain, 10 * CmPerInch, []string{"in", "inch", "inches", "\""}},
	{Volume, 27 * M3PerCuFt, []string{"cu yd", "yd3", "yards", "cubic yards", "cubic yard", "yd^3", "cy"}},
	{Volume, M3PerCuFt, []string{"cu ft", "ft3", "cubic feet", "cubic foot", "cu feet", "ft^3", "cf"}},
	{Volume, 1, []string{"m3", "m^3", "cu m", "cubic metres", "cubic meters", "cubic metre", "cubic meter"}},
	{Volume, 0.03523907016688, []string{"bushel", "bushels", "bu"}},
	{Liquid, LPerGallon, []string{"gal", "gallon", "gallons"}},
	{Liquid, LPerGallon / 4, []string{"qt", "quart", "quarts"}},
	{Liquid, LPerGallon / 8, []string{"pt", "pint", "pints"}},
	{Liquid, LPerGallon / 128, []string{"fl oz", "fluid ounce", "fluid ounces"}},
	{Liquid, 1, []string{"L", "litre", "liter", "litres", "liters"}},
	{Liquid, 0.001, []string{"mL", "mls", "millilitre", "milliliter", "millilitres", "milliliters"}},
	{MassPerArea, KgHaPerLbAc * 43.56, []string{"lb/1000 sq ft", "lbs/1000 sq ft", "lbs/1000 ft2", "lb/1000 ft2", "lb/1000 sf", "lbs/1000 sf", "pounds/1000 sq ft"}},
	{MassPerArea, KgHaPerLbAc * 435.6, []string{"lb/100 sq ft", "lbs/100 sq ft", "lb/100 ft2", "lbs/100 ft2", "lb/100 sf", "pounds/100 sq ft"}},
	{MassPerArea, KgHaPerLbAc * 43.56 / 16, []string{"oz/1000 sq ft", "oz/1000 ft2", "ounces/1000 sq ft"}},
	{MassPerArea, KgHaPerLbAc, []string{"lb/acre", "lbs/acre", "lb/ac", "lbs/ac", "lb/a", "lbs/a", "pounds/acre"}},
	{MassPerArea, 2000 * KgHaPerLbAc, []string{"ton/acre", "tons/acre", "t/ac", "ton/ac"}},
	{MassPerArea, KgPerPound / 16 / (9 * M2PerSqFt) * 1e4, []string{"oz/sq yd", "oz/yd2"}},
	{MassPerArea, 1, []string{"kg/ha"}},
	{MassPerArea, 1000, []string{"t/ha", "tonne/ha", "tonnes/ha"}},
	{MassPerArea, 10, []string{"g/m2", "g/sq m"}},
	{MassPerArea, 100, []string{"kg/100 m2", "kg/are"}},
	{MassPerArea, 10000, []string{"kg/m2"}},
	{LiquidPerArea, 1, []string{"L/ha"}},
	{LiquidPerArea, LPerGallon / M2PerAcre * 1e4, []string{"gal/acre", "gal/ac", "gallons/acre", "gal/a"}},
	{LiquidPerArea, LPerGallon / (1000 * M2PerSqFt) * 1e4, []string{"gal/1000 sq ft", "gal/1000 ft2", "gallons/1000 sq ft"}},
	{Temperature, 1, []string{"C", "deg C", "\u00b0C", "celsius"}},
	{Temperature, 5.0 / 9, []string{"F", "deg F", "\u00b0F", "fahrenheit"}},
	{Share, 1, []string{"%", "percent", "pct"}},
	{BulkDensity, 1, []string{"g/cm3", "g/cc", "Mg/m3", "t/m3"}},
	{BulkDensity, 1 / LbFt3PerGcc, []string{"lb/cu ft", "lb/ft3"}},
	{Speed, 1, []string{"m/s"}},
	{Speed, 1 / 3.6, []string{"km/h"}},
	{Speed, 0.44704, []string{"mph"}},
	{Duration, 1, []string{"h", "hours", "hour", "hr", "hrs"}},
	{Duration, 1. / 60, []string{"min", "mins", "minute", "minutes"}},
}

func find(text string, qs []Quantity) (scale, bool) {
	q := squash(text)
	at := scaleNames[q]
	if at == nil && strings.Contains(q, "1,000") {
		q = strings.ReplaceAll(q, "1,000", "1000")
		at = scaleNames[q]
	}
	if at == nil && strings.Contains(q, "per") {
		at = scaleNames[strings.Replace(q, "per", "/", 1)]
	}
	for _, i := range at {
		if slices.Contains(qs, scales[i].q) {
			return scales[i], true
		}
	}
	return spread(q, qs)
}

// spread reads what is spread on an area, made of two plain units: lb/1000
// square feet. A volume on an area is the depth of a layer, where both may stand.
func spread(q string, qs []Quantity) (scale, bool) {
	top, under, ok := strings.Cut(q, "/")
	if !ok {
		if top, under, ok = strings.Cut(q, "per"); !ok {
			return scale{}, false
		}
	}
	under = strings.ReplaceAll(under, "1,000", "1000")
	if under == "msf" {
		under = "1000sqft"
	}
	area := strings.TrimLeft(under, "0123456789")
	count := 1.0
	switch under[:len(under)-len(area)] {
	case "", "1":
	case "100":
		count = 100
	case "1000":
		count = 1000
	default:
		return scale{}, false
	}
	on, ok := find(area, []Quantity{Area})
	if !ok || strings.Contains(area, "/") {
		return scale{}, false
	}
	if metric := area == "ha" || strings.HasPrefix(area, "hect") || strings.Contains(area, "m"); top == "t" && !metric {
		top = "ton"
	}
	for _, x := range [...]struct {
		of, makes Quantity
		times     float64 // from SI on m2
	}{{Mass, MassPerArea, 1e4}, {Liquid, LiquidPerArea, 1e4}, {Volume, Length, 100}} {
		if !slices.Contains(qs, x.makes) || x.makes == Length && !slices.Contains(qs, Volume) {
			continue
		}
		if s, ok := find(top, []Quantity{x.of}); ok {
			return scale{x.makes, s.factor / (count * on.factor) * x.times, []string{s.names[0] + "/" + strings.TrimPrefix(trim(count)+" ", "1 ") + on.names[0]}}, true
		}
	}
	return scale{}, false
}

// scaleNames finds scales by squashed name; a name may be of several
// quantities.
var scaleNames = func() map[string][]int {
	m := map[string][]int{}
	for i, s := range scales {
		for _, n := range s.names {
			m[squash(n)] = append(m[squash(n)], i)
		}
	}
	return m
}()

// Convert turns a value in the named unit into the SI unit of whichever of the
// quantities has a unit of that name.
//
// The error wraps ErrUnit: an unknown unit (with those that would do), or a
// value that is not a number or, but for temperature, negative.
func Convert(value float64, text string, qs ...Quantity) (si float64, q Quantity, err error) {
	s, ok := find(text, qs)
	if !ok {
		if strings.TrimSpace(text) == "" {
			return 0, 0, refuse("unit", "no unit: expected one of %s", Offer(qs...))
		}
		if mend := loose(value, text, qs); mend != "" {
			return 0, 0, refuse("unit", "unit %q: %s", text, mend)
		}
		return 0, 0, refuse("unit", "unit %q: not known here%s", text, nearOr(text, Names(qs...), Offer(qs...)))
	}
	if math.IsNaN(value) || math.IsInf(value, 0) {
		return 0, 0, refuse("value", "%v: expected a number", value)
	}
	if s.q == Temperature {
		if s.factor != 1 {
			value -= 32
		}
	} else if value < 0 {
		return 0, 0, refuse("value", "%v %s: expected 0 or more", value, text)
	}
	return value * s.factor, s.q, nil
}

// loose says what to write for an amount in bags or in what no two growers fill
// alike; empty for any other unit.
func loose(value float64, text string, qs []Quantity) string {
	words := strings.Fields(strings.ToLower(text))
	if len(words) == 0 {
		return ""
	}
	switch last := strings.TrimSuffix(words[len(words)-1], "s"); last {
	case "bag", "sack":
		inner := strings.TrimSpace(strings.TrimRight(strings.Join(words[:len(words)-1], " "), "-"))
		split := strings.IndexFunc(inner, func(r rune) bool { return !strings.ContainsRune("0123456789.,", r) })
		each, err := 1.0, error(nil)
		if split > 0 {
			each, _, err = ParseNumber(inner[:split])
			inner = strings.TrimLeft(inner[split:], " -")
		}
		if s, ok := find(inner, qs); ok && err == nil {
			return "write " + trim(value*each) + " and the unit " + s.names[0]
		}
		return "write what all the " + last + "s weigh, and the unit lb or kg"
	case "wheelbarrow", "barrow", "bucket", "pail", "load", "truckload", "shovel", "shovelful", "scoop", "cart", "cartload", "barrowload", "trailer", "handful", "cup", "can":
		if slices.Contains(qs, Volume) {
			return "write cu ft or cu yd, with ~ for a guess"
		}
	}
	return ""
}

// Factor returns the SI worth of one of the named unit.
func Factor(text string, qs ...Quantity) (float64, bool) {
	s, ok := find(text, qs)
	return s.factor, ok
}

// Names lists the units of the quantities, as we print them.
func Names(qs ...Quantity) (out []string) {
	for _, q := range qs {
		for _, s := range scales {
			if s.q == q {
				out = append(out, s.names[0])
			}
		}
	}
	return out
}

// Offer lists units of the quantities in words for a message: all of a single
// quantity, the commonest of several.
func Offer(qs ...Quantity) string {
	if len(qs) == 1 {
		return strings.Join(Names(qs...), ", ")
	}
	var out []string
	for _, q := range qs {
		names := Names(q)
		out = append(out, names[0])
		if si := q.SI(); si != names[0] {
			out = append(out, si)
		}
	}
	return strings.Join(out, ", ") + " ..."
}
