// Package unit knows the units, forms and methods of soil testing: what an
// analyte is called, which form a lab may print it in (P or P2O5), which
// procedure measured it, and how to turn a printed value into SI and back. It
// reads what people write: numbers with either decimal mark, amounts with their
// doubt (about 40 lb, 2 x 50 lb bags), areas by their sides, waterings by hours
// and flow, and the column headings of a lab's sheet.
//
// Values are converted once, on the way in, and scaled once, on the way out.
// Between the two stand mg/kg, cmolc/kg, %, dS/m, cm, m2, kg, kg/ha, L, m3 and
// g/cm3, and mg/L for the extract of a saturated paste. A value that cannot be converted without a fact that is missing (the
// depth behind lb/acre, the weight behind mg/dm3) is refused or keeps its own
// basis; nothing is assumed in silence.
//
// Package unit imports nothing of ours.
package unit

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// ErrUnit is wrapped by every refusal to read a unit, form, method or value.
var ErrUnit = errors.New("unit")

// refusal is an error of this package: what was found, what was expected, how
// to mend it; about is the column of a sheet that it speaks of.
type refusal struct{ about, text string }

func (r refusal) Error() string   { return r.text }
func (r refusal) Is(t error) bool { return t == ErrUnit }

func refuse(about, format string, args ...any) refusal {
	for i, a := range args {
		if v, ok := a.(float64); ok {
			args[i] = trim(v)
		}
	}
	return refusal{about, fmt.Sprintf(format, args...)}
}

// About tells which part of a reading a refusal speaks of: analyte, form,
// method, value, unit or depth; empty for any other error.
func About(err error) string {
	if err == nil {
		return ""
	}
	var r refusal
	errors.As(err, &r)
	return r.about
}

// squash lowers text and drops what people write differently: spaces, dots,
// hyphens and the like.
func squash(s string) string {
	return strings.Map(func(r rune) rune {
		switch r {
		case ' ', '\t', '\u00a0', '\u2009', '.', '-', '\u2013', '_', '\u2011':
			return -1
		case '\u00b2', '\u2082':
			return '2'
		case '\u00b3', '\u2083':
			return '3'
		case '\u2084':
			return '4'
		case '\u2085':
			return '5'
		case '\u00b5', '\u03bc':
			return 'u'
		}
		return r
	}, strings.ToLower(s))
}

// Near returns those of names that look like s, best first, at most three: the
// same but for case, spaces and hyphens, or within a third of its letters.
func Near(s string, names []string) []string {
	type hit struct {
		name string
		d    int
	}
	var hits []hit
	q := squash(s)
	if q == "" {
		return nil
	}
	limit := max(1, len(q)/3)
	for _, n := range names {
		if slices.ContainsFunc(hits, func(h hit) bool { return h.name == n }) {
			continue
		}
		if d := distance(q, squash(n)); d <= limit {
			at := len(hits)
			for at > 0 && hits[at-1].d > d {
				at--
			}
			hits = append(hits[:at], append([]hit{{n, d}}, hits[at:]...)...)
		}
	}
	var out []string
	for _, h := range hits[:min(3, len(hits))] {
		out = append(out, h.name)
	}
	return out
}

// distance is the number of letters to insert, drop, change or swap with their
// neighbour to turn a into b.
func distance(a, b string) int {
	x, y := []rune(a), []rune(b)
	before, prev, cur := make([]int, len(y)+1), make([]int, len(y)+1), make([]int, len(y)+1)
	for j := range prev {
		prev[j] = j
	}
	for i := 1; i <= len(x); i++ {
		cur[0] = i
		for j := 1; j <= len(y); j++ {
			cost := 1
			if x[i-1] == y[j-1] {
				cost = 0
			}
			cur[j] = min(prev[j]+1, cur[j-1]+1, prev[j-1]+cost)
			if i > 1 && j > 1 && x[i-1] == y[j-2] && x[i-2] == y[j-1] {
				cur[j] = min(cur[j], before[j-2]+1)
			}
		}
		before, prev, cur = prev, cur, before
	}
	return prev[len(y)]
}

// trim prints a number without an exponent or needless zeros.
func trim(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
