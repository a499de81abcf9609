package unit

import (
	"maps"
	"math"
	"slices"
	"strings"
	"unicode"
)

// OwnMeasure is what one of a grower's own measures holds: 6 cu ft.
type OwnMeasure struct {
	Amount float64
	Unit   string // a plain unit
}

// Measures are the grower's own, by name: barrow = 6 cu ft. A name stands for
// its plural too.
type Measures map[string]OwnMeasure

// Check refuses a measure that could be misread: without a name in letters,
// named as a plain unit or as another measure is, not above 0, or in a unit that
// is not plain. The error wraps ErrUnit and names the measure.
func (m Measures) Check() error {
	seen := map[string]string{}
	for _, name := range slices.Sorted(maps.Keys(m)) {
		own := m[name]
		if !strings.ContainsFunc(name, unicode.IsLetter) || strings.ContainsAny(name, "0123456789/") {
			return refuse("measure", "measure %q: expected a name in letters, such as barrow", name)
		}
		for _, n := range plurals(squash(name)) {
			if at := scaleNames[n]; len(at) > 0 {
				s := scales[at[0]]
				return refuse("measure", "measure %q: is the name of a unit already (%s, %s): choose another name", name, s.names[0], s.q)
			}
			if other := seen[n]; other != "" {
				return refuse("measure", "measure %q: is too like measure %q: keep one", name, other)
			}
		}
		for _, n := range plurals(squash(name)) {
			seen[n] = name
		}
		if !(own.Amount > 0) || math.IsInf(own.Amount, 0) {
			return refuse("measure", "measure %q: holds %v: expected more than 0", name, own.Amount)
		}
		if _, ok := m.find(own.Unit); ok {
			return refuse("measure", "measure %q: is given in %q, which is a measure of your own: give it in a plain unit such as cu ft", name, own.Unit)
		}
		if _, ok := find(own.Unit, []Quantity{Mass, Volume, Liquid, Area, Length}); !ok {
			return refuse("measure", "measure %q: unit %q: not known here%s", name, own.Unit, nearOr(own.Unit, Names(Mass, Volume, Liquid), Offer(Mass, Volume, Liquid)))
		}
	}
	return nil
}

// Convert is the plain Convert for a unit that may be one of the grower's own.
func (m Measures) Convert(value float64, text string, qs ...Quantity) (si float64, q Quantity, err error) {
	if _, plain := find(text, qs); !plain {
		if name, ok := m.find(text); ok {
			own := m[name]
			if _, ok := find(own.Unit, qs); !ok {
				return 0, 0, refuse("unit", "unit %q: is %v %s by your own measure: expected one of %s", text, own.Amount, own.Unit, Offer(qs...))
			}
			return Convert(value*own.Amount, own.Unit, qs...)
		}
	}
	si, q, err = Convert(value, text, qs...)
	if About(err) == "unit" {
		if near := didYouMean(text, slices.Sorted(maps.Keys(m))); near != "" {
			return 0, 0, refuse("unit", "unit %q: not known here%s", text, near)
		}
	}
	return si, q, err
}

// find returns the name of the measure that text means.
func (m Measures) find(text string) (name string, ok bool) {
	q := squash(text)
	for _, name = range slices.Sorted(maps.Keys(m)) {
		if slices.Contains(plurals(squash(name)), q) {
			return name, true
		}
	}
	return "", false
}

// plurals lists the ways a squashed name may stand for one or many.
func plurals(name string) []string {
	out := []string{name, name + "s", name + "es"}
	if one, ok := strings.CutSuffix(name, "s"); ok && one != "" {
		out = append(out, one)
	}
	return out
}
