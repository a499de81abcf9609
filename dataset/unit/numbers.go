package unit

import (
	"math"
	"strconv"
	"strings"
)

// Numbers says how a sheet writes its numbers. The zero value has a decimal
// point and commas before thousands, 1,234.5; with Comma it is 1.234,5. A
// number of one kind is never read by the rule of the other.
type Numbers struct{ Comma bool }

// Thousands marks that serve under either rule: apostrophes and the spaces that
// do not break a line. A plain space parts two numbers.
const looseMarks = "'\u2019\u00a0\u2009\u202f"

// ParseNumber reads a number as growers and labs type it, with a decimal point:
// see Numbers.Parse.
func ParseNumber(text string) (v float64, qualifier string, err error) { return Numbers{}.Parse(text) }

// Parse reads a number as growers and labs type it: thousands marks, a leading
// < or >, a leading ~ or "about". It refuses anything else. qualifier is "<",
// ">", "about" or empty.
func (n Numbers) Parse(text string) (v float64, qualifier string, err error) {
	s := strings.TrimSpace(text)
	switch {
	case s != "" && s[0] >= '+' && s[0] <= '9': // most cells
	case strings.HasPrefix(s, "<"), strings.HasPrefix(s, ">"):
		qualifier, s = s[:1], strings.TrimSpace(strings.TrimPrefix(s[1:], "="))
	case strings.HasPrefix(s, "\u2264"):
		qualifier, s = "<", strings.TrimSpace(s[len("\u2264"):])
	case strings.HasPrefix(s, "\u2265"):
		qualifier, s = ">", strings.TrimSpace(s[len("\u2265"):])
	default:
		if rest, ok := cutAbout(s); ok {
			qualifier, s = "about", rest
		}
	}
	plain, ok := n.plain(s)
	if !ok {
		marks, example := ",", "12.5"
		if n.Comma {
			marks, example = ".", "12,5"
		}
		if digits := strings.Trim(s, "0123456789.,eE+-"); digits == "" && strings.Contains(s, marks) {
			if n.Comma {
				return 0, "", refuse("value", "%q: expected a number: points stand only before thousands in this sheet, write 1234,5", text)
			}
			return 0, "", refuse("value", "%q: expected a number: commas stand only before thousands, write 1234.5", text)
		}
		return 0, "", refuse("value", "%q: expected a number such as %s", text, example)
	}
	v, perr := strconv.ParseFloat(plain, 64)
	if perr != nil || math.IsInf(v, 0) || math.IsNaN(v) {
		return 0, "", refuse("value", "%q: expected a number such as 12.5", text)
	}
	return v, qualifier, nil
}

// cutAbout takes off the words that make a figure a guess.
func cutAbout(s string) (rest string, ok bool) {
	for _, p := range []string{"~", "\u2248", "about ", "approximately ", "approx. ", "approx ", "circa ", "ca. ", "ca ", "c. ", "around ", "roughly "} {
		if rest, ok = cutPrefixFold(s, p); ok {
			return strings.TrimSpace(rest), true
		}
	}
	return s, false
}

// plain turns a number in the sheet's writing into what strconv reads, with
// thousands marks only where they belong.
func (n Numbers) plain(s string) (string, bool) {
	if !n.Comma && s != "" && strings.Trim(s, "0123456789.") == "" {
		return s, true
	}
	mark, point := ",", "."
	if n.Comma {
		mark, point = point, mark
	}
	s = strings.Replace(s, "\u2212", "-", 1)
	sign := s[:len(s)-len(strings.TrimLeft(s, "+-"))]
	s, power := s[len(sign):], ""
	if i := strings.IndexAny(s, "eE"); i >= 0 {
		s, power = s[:i], s[i:]
	}
	whole, part, _ := strings.Cut(s, point)
	at := strings.IndexAny(whole, mark+looseMarks)
	if at >= 0 {
		groups := strings.FieldsFunc(whole, func(r rune) bool { return strings.ContainsRune(mark+looseMarks, r) })
		sep := ""
		for _, r := range whole[at:] {
			sep = string(r)
			break
		}
		if strings.Join(groups, sep) != whole {
			return "", false // two kinds of mark, or one at an end
		}
		for i, g := range groups {
			if i == 0 && len(g) > 3 || i > 0 && len(g) != 3 {
				return "", false
			}
		}
		whole = strings.Join(groups, "")
	}
	if len(sign) > 1 || whole+part == "" || strings.Trim(whole+part, "0123456789") != "" || strings.Trim(power, "0123456789eE+-") != "" {
		return "", false
	}
	return sign + whole + "." + part + power, true
}

// Punctuation tells what a number shows of its sheet's writing: that the comma
// is the decimal mark (12,5), that the point is (12.5 and 1,234.5), or that it
// could be either (1,234 and 1.234). All are false for what is no number and
// for one without marks. A unit may follow the number.
func Punctuation(text string) (comma, point, ambiguous bool) {
	s := strings.TrimSpace(text)
	if end := strings.LastIndexAny(s, "0123456789.,"); end >= 0 && end+1 < len(s) {
		if tail := strings.TrimSpace(s[end+1:]); tail == "%" || known(tail) {
			s = s[:end+1]
		}
	}
	if !strings.ContainsAny(s, ".,") {
		return false, false, false
	}
	a, _, errPoint := Numbers{}.Parse(s)
	b, _, errComma := Numbers{Comma: true}.Parse(s)
	switch {
	case errPoint != nil && errComma != nil:
		return false, false, false
	case errPoint != nil:
		return true, false, false
	case errComma != nil:
		return false, true, false
	}
	// 0.125 is no 125: nobody writes thousands that begin with a zero.
	digits := strings.TrimLeft(s, "<>=~+- ")
	if i := strings.IndexAny(digits, ".,"); a != b && i >= 0 && strings.HasPrefix(digits, "0") {
		return digits[i] == ',', digits[i] == '.', false
	}
	return false, false, a != b
}

// known reports whether text names a plain unit of any quantity.
func known(text string) bool { return len(scaleNames[squash(text)]) > 0 }
