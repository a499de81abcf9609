package unit

import (
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// AboutShare is how far the truth may lie from a figure that a grower gives as
// "about", as a share of the figure: about 40 lb stands for 30 to 50 lb.
// Source: from memory; a range in its place is always better.
const AboutShare = 0.25

// Amount is a figure as a grower writes it, with the ends it may lie between.
type Amount struct {
	Value, Low, High float64
	Qualifier        string // about, range; empty: exact, and Low = Value = High
	Unit             string // as written, may be empty
}

// ParseAmount reads an amount and the unit written beside it, which may be the
// grower's own: a figure with or without a fraction (6 1/2), a guess ("about
// 40", within AboutShare), a range ("40-50", "40±5"; Value is its middle), so
// many of a known weight ("2 x 50 lb", "3 bags of 50 lb"), pounds and ounces.
// Of n only the first counts; none is a decimal point.
//
// The error wraps ErrUnit: no number, a range whose ends are turned round or
// differ in unit, words that leave open how much is meant.
func ParseAmount(text string, n ...Numbers) (Amount, error) {
	w, err := read(text, n)
	if err != nil {
		return Amount{}, err
	}
	if len(w.parts) == 0 {
		return Amount{}, refuse("value", "%q: expected an amount such as 40 lb, about 40 lb or 40-50 lb: weigh or measure it, or write a range that is sure to hold it", text)
	}
	switch first, _, _ := strings.Cut(w.lead, " "); first {
	case "":
	case "up", "at", "less", "more", "over", "under", "max", "max.", "min", "min.", "maximum", "minimum", "nearly", "almost":
		return Amount{}, refuse("value", "%q: expected an amount, not a limit: write a range that is sure to hold it, such as 30-40 lb", text)
	default:
		return Amount{}, refuse("value", "%q: expected the figure first, such as 40 lb: leave out %q", text, w.lead)
	}
	p, err := w.total()
	if err != nil {
		return Amount{}, err
	}
	return w.amount(p, p.words)
}

// ParseArea reads an area: in a unit of area, as two sides ("30x40 ft", "12 m
// by 8 m", "30 ft x 12 yd") or as a circle ("circle 20 ft across", "circle of 10
// ft radius"). Value, Low and High are in m2, and Unit says so.
//
// The error wraps ErrUnit: no unit, no area above 0, a shape we cannot measure.
func ParseArea(text string, n ...Numbers) (Amount, error) {
	plain := text
	for _, a := range []string{"a ", "an "} { // no count
		if rest, ok := cutPrefixFold(plain, a); ok {
			plain = rest
		}
	}
	w, err := read(plain, n)
	if err != nil {
		return Amount{}, err
	}
	w.text = text
	p, err := w.area()
	if err != nil {
		return Amount{}, err
	}
	if !(p.low > 0) {
		return Amount{}, refuse("value", "%q: expected an area above 0", text)
	}
	return w.amount(p, "m2")
}

// ParseLength reads a length or depth: "6 in", `6"`, "1 ft 6 in", "15 cm".
// Value, Low and High are in cm, and Unit says so. The error wraps ErrUnit.
func ParseLength(text string, n ...Numbers) (Amount, error) {
	w, err := read(text, n)
	if err != nil {
		return Amount{}, err
	}
	if len(w.parts) == 0 || w.lead != "" {
		return Amount{}, refuse("value", "%q: expected a length such as 6 in or 15 cm", text)
	}
	p, err := w.total()
	if err != nil {
		return Amount{}, err
	}
	if p, err = p.in(Length); err != nil {
		return Amount{}, err
	}
	return w.amount(p, "cm")
}

// part is a figure and the words after it, up to the next figure.
type part struct {
	low, value, high float64
	ranged           bool
	words            string
}

func (p part) times(q part) part {
	return part{p.low * q.low, p.value * q.value, p.high * q.high, p.ranged || q.ranged, q.words}
}

// in turns a part in a plain unit into SI. Yards are a length where no volume
// can be meant.
func (p part) in(qs ...Quantity) (part, error) {
	if u := squash(p.words); slices.Equal(qs, []Quantity{Length}) && (u == "yd" || u == "yard" || u == "yards") {
		p.low, p.value, p.high, p.words = 3*p.low, 3*p.value, 3*p.high, "ft"
	}
	v, q, err := Convert(p.value, p.words, qs...)
	if err != nil {
		return p, err
	}
	s, _ := find(p.words, []Quantity{q})
	p.low, p.value, p.high, p.words = p.low*s.factor, v, p.high*s.factor, q.SI()
	return p, nil
}

// written is a text parted at its figures.
type written struct {
	text  string
	about bool
	lead  string // words before the first figure
	parts []part
}

func (w written) amount(p part, unitText string) (Amount, error) {
	a := Amount{Value: p.value, Low: p.low, High: p.high, Unit: unitText}
	switch {
	case math.IsInf(a.High, 0):
		return Amount{}, refuse("value", "%q: expected a smaller number", w.text)
	case w.about:
		a.Qualifier = "about"
		if !p.ranged {
			a.Low, a.High = a.Value*(1-AboutShare), a.Value*(1+AboutShare)
		}
	case p.ranged:
		a.Qualifier = "range"
	}
	return a, nil
}

var (
	figure   = regexp.MustCompile(`^(?:\d{1,3}(?:['\x{2019}\x{a0}\x{2009}\x{202f}]\d{3})+(?:[.,]\d+)?|\d[\d.,]*\d|\d|[.,]\d+)(?:[eE][+-]?\d+)?`)
	division = regexp.MustCompile(`^(\d+)[/\x{2044}](\d+)(/\d+)?`)
)

// maxWritten is the longest text that may be an amount, in bytes.
const maxWritten = 200

// read parts a text at its figures. A digit within a unit (ft2, 1000 sq ft after
// lb/) is no figure. Two figures of a range become one part.
func read(text string, n []Numbers) (written, error) {
	w := written{text: text}
	if len(text) > maxWritten {
		return w, refuse("value", "%q and more: expected an amount such as 40 lb, not a text of %d bytes", strings.ToValidUTF8(text[:40], ""), len(text))
	}
	num := Numbers{}
	if len(n) > 0 {
		num = n[0]
	}
	s := strings.TrimSpace(text)
	s, w.about = cutAbout(s)
	if rest, _, ok := cutWord(s, "or so"); ok {
		s, w.about = rest, true
	}
	if c, size := utf8.DecodeRuneInString(s); c == '<' || c == '>' || c == '\u2264' || c == '\u2265' {
		return w, refuse("value", "%q: expected an amount, not a limit: write a range such as 0-%s", text, strings.TrimLeft(s[size:], "= "))
	} else if c == '-' || c == '\u2212' {
		return w, refuse("value", "%q: expected 0 or more: check the sign", text)
	}
	s = strings.TrimPrefix(s, "+")
	if v, rest, ok := countWord(s); ok {
		w.parts, s = []part{{v, v, v, false, ""}}, rest
	}
	words := 0 // where the words since the last figure begin
	put := func(end int) {
		text := strings.Join(strings.Fields(s[words:end]), " ")
		if len(w.parts) == 0 {
			w.lead = strings.ToLower(text)
		} else {
			w.parts[len(w.parts)-1].words = text
		}
	}
	for i := 0; i < len(s); {
		size := figureAt(s, words, i)
		if size == 0 {
			_, size = utf8.DecodeRuneInString(s[i:])
			i += size
			continue
		}
		if before := strings.ToLower(strings.TrimSpace(s[words:i])); len(w.parts) > 0 && (strings.HasSuffix(before, "/") || before == "per" || strings.HasSuffix(before, " per")) {
			i += size // lb per 1000 sq ft
			continue
		}
		put(i)
		v, size, err := num.scan(s[i:])
		if err != nil {
			_, why, _ := strings.Cut(err.Error(), ": ")
			return w, refuse("value", "%q: %s", text, why)
		}
		w.parts = append(w.parts, part{v, v, v, false, ""})
		i += size
		words = i
	}
	put(len(s))
	return w, w.ranges()
}

// figureAt returns the length of the figure that starts at s[i], 0 if none does.
func figureAt(s string, words, i int) int {
	if _, ok := vulgar(s[i:]); ok {
		_, size := utf8.DecodeRuneInString(s[i:])
		return size
	}
	if i > words { // not m2, but 2x50
		if c, size := utf8.DecodeLastRuneInString(s[words:i]); unicode.IsLetter(c) {
			if c != 'x' && c != 'X' {
				return 0
			}
			if before, _ := utf8.DecodeLastRuneInString(s[words : i-size]); unicode.IsLetter(before) {
				return 0
			}
		}
	}
	return len(figure.FindString(s[i:]))
}

// vulgar returns the worth of a fraction that is one sign.
func vulgar(s string) (float64, bool) {
	c, _ := utf8.DecodeRuneInString(s)
	switch c {
	case '½':
		return 1. / 2, true
	case '⅓':
		return 1. / 3, true
	case '⅔':
		return 2. / 3, true
	case '¼':
		return 1. / 4, true
	case '¾':
		return 3. / 4, true
	case '⅛':
		return 1. / 8, true
	case '⅜':
		return 3. / 8, true
	case '⅝':
		return 5. / 8, true
	case '⅞':
		return 7. / 8, true
	}
	return 0, false
}

// scan reads the figure at the head of s, with a fraction (6 1/2, 6-1/2, 6½,
// 1/2) if there is one, and tells its length.
func (n Numbers) scan(s string) (v float64, size int, err error) {
	if v, ok := vulgar(s); ok {
		_, size = utf8.DecodeRuneInString(s)
		return v, size, nil
	}
	if v, size, err = divided(s); size > 0 {
		return v, size, err
	}
	digits := figure.FindString(s)
	v, _, err = n.Parse(digits)
	if err != nil || strings.Trim(digits, "0123456789") != "" {
		return v, len(digits), err
	}
	size = len(digits)
	rest := strings.TrimLeft(s[size:], " ")
	if f, ok := vulgar(rest); ok {
		_, w := utf8.DecodeRuneInString(rest)
		return v + f, len(s) - len(rest) + w, nil
	}
	if rest != s[size:] || strings.HasPrefix(rest, "-") {
		rest = strings.TrimPrefix(rest, "-")
		if f, w, err := divided(rest); w > 0 && err == nil {
			return v + f, len(s) - len(rest) + w, nil
		}
	}
	return v, size, nil
}

// divided reads a proper fraction as rulers and scales have it.
func divided(s string) (v float64, size int, err error) {
	m := division.FindStringSubmatch(s)
	if m == nil {
		return 0, 0, nil
	}
	a, _ := strconv.Atoi(m[1])
	b, _ := strconv.Atoi(m[2])
	if m[3] != "" || a < 1 || a >= b || !slices.Contains([]int{2, 3, 4, 5, 6, 8, 10, 12, 16, 32}, b) {
		return 0, len(m[0]), refuse("value", "%q: expected a fraction such as 1/2 or 3/4: write a decimal", m[0])
	}
	return float64(a) / float64(b), len(m[0]), nil
}

// countWord reads a number in words at the head of s.
func countWord(s string) (v float64, rest string, ok bool) {
	words := strings.Fields(s)
	take := func(n int, v float64) (float64, string, bool) { return v, strings.Join(words[n:], " "), true }
	if len(words) < 2 {
		return 0, s, false
	}
	switch w := strings.ToLower(words[0]); w {
	case "a", "an":
		if slices.Contains([]string{"few", "couple", "little", "bit", "lot", "good", "half", "dozen"}, strings.ToLower(words[1])) {
			return 0, s, false
		}
		return take(1, 1)
	case "half":
		if a := strings.ToLower(words[1]); (a == "a" || a == "an") && len(words) > 2 {
			return take(2, 0.5)
		}
	default:
		if i := slices.Index([]string{"one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten"}, w); i >= 0 {
			return take(1, float64(i+1))
		}
	}
	return 0, s, false
}

// cutWord takes a last word or sign off s, if it is one of those given.
func cutWord(s string, ends ...string) (rest, end string, ok bool) {
	for _, e := range ends {
		if len(s) < len(e) || !strings.EqualFold(s[len(s)-len(e):], e) {
			continue
		}
		rest = s[:len(s)-len(e)]
		if c, _ := utf8.DecodeLastRuneInString(rest); rest == "" || !unicode.IsLetter(c) || !unicode.IsLetter([]rune(e)[0]) {
			return strings.TrimSpace(rest), e, true
		}
	}
	return s, "", false
}

// ranges joins the two figures of each range.
func (w *written) ranges() error {
	to := []string{"to", "-", "\u2013", "\u2014", "or"}
	if lead, ok := cutPrefixFold(w.lead, "between"); ok && len(w.parts) > 1 {
		w.lead, to = strings.TrimSpace(lead), append(to, "and")
	}
	if lead, ok := cutPrefixFold(w.lead, "from"); ok && len(w.parts) > 1 {
		w.lead = strings.TrimSpace(lead)
	}
	for i := 0; i+1 < len(w.parts); i++ {
		p, q := w.parts[i], w.parts[i+1]
		u, _, spread := cutWord(p.words, "\u00b1", "+/-", "+-")
		if spread {
			d := q.value
			if rest, ok := strings.CutPrefix(q.words, "%"); ok {
				d, q.words = p.value*d/100, strings.TrimSpace(rest)
			}
			if q.words == "" {
				q.words = u
			} else if u != "" && !sameUnit(q.words, u) {
				return refuse("value", "%q: expected one unit: write it once, after the last figure", w.text)
			}
			q.low, q.value, q.high = max(0, p.value-d), p.value, p.value+d
		} else if u, _, spread = cutWord(p.words, to...); spread {
			if u != "" && !sameUnit(q.words, u) {
				return refuse("value", "%q: expected both ends in one unit: write it once, after the last figure", w.text)
			}
			q.low, q.value, q.high = p.value, (p.value+q.value)/2, q.value
			if q.low > q.high {
				return refuse("value", "%q: expected the smaller end first: write %v-%v", w.text, q.high, q.low)
			}
		}
		if spread {
			q.ranged = true
			w.parts = slices.Replace(w.parts, i, i+2, q)
		}
	}
	return nil
}

// sameUnit reports whether words begin with the unit u, in one or many or in
// another of its names.
func sameUnit(words, u string) bool {
	one := func(s string) string { return strings.TrimSuffix(squash(s), "s") }
	a, okA := find(u, []Quantity{Mass, Length, Liquid, Volume})
	fields := strings.Fields(words)
	for i := range fields {
		w := strings.Join(fields[:i+1], " ")
		b, okB := find(w, []Quantity{Mass, Length, Liquid, Volume})
		if one(w) == one(u) || okA && okB && a.q == b.q && a.factor == b.factor {
			return true
		}
	}
	return false
}

// packages are what is bought or filled by the piece; how much one holds must
// be said.
var packages = []string{"bag", "sack", "bale", "bucket", "pail", "jug", "bottle", "box", "boxe", "drum", "can", "tote", "tub", "pack", "packet"}

// isPackage reports whether s names packages, and whether more than one.
func isPackage(s string) (ok, many bool) {
	s = strings.ToLower(s)
	one, many := strings.CutSuffix(s, "s")
	return slices.Contains(packages, one), many
}

// total works out one amount from all parts.
func (w written) total() (part, error) {
	p, counted := w.parts[0], false
	for _, q := range w.parts[1:] {
		u, _, times := cutWord(p.words, "x", "\u00d7", "*", "@", "at", "of", "(")
		bag, _ := isPackage(u)
		more, _ := isPackage(q.words)
		a, okA := find(u, []Quantity{Mass, Length, Liquid})
		b, okB := find(q.words, []Quantity{Mass, Length, Liquid})
		switch {
		case (u == "" || bag) && (times || bag || w.packed()):
			p, counted = p.times(q), true
		case times && (q.words == "" || more):
			words := u
			p, counted = p.times(q), true
			p.words = words
		case !times && okA && okB && a.q == b.q && b.factor < a.factor: // 4 lb 8 oz
			share := b.factor / a.factor
			p.low, p.value, p.high, p.ranged = p.low+q.low*share, p.value+q.value*share, p.high+q.high*share, p.ranged || q.ranged
		default:
			return p, refuse("value", "%q: expected one amount, such as 40 lb, 40-50 lb or 2 x 50 lb", w.text)
		}
	}
	for {
		rest, _, ok := cutWord(p.words, ")", "each", "ea", "apiece", ",")
		if !ok || !counted {
			break
		}
		p.words = rest
	}
	if rest := strings.TrimSpace(strings.TrimLeft(p.words, "-\u2011")); rest != "" || p.words == "" { // 50-lb, not 40-
		p.words = rest
	} else {
		return p, refuse("value", "%q: expected a figure after %s", w.text, p.words)
	}
	if at := strings.LastIndexByte(p.words, ' '); at > 0 {
		if bag, many := isPackage(p.words[at+1:]); bag && known(p.words[:at]) {
			if many && !counted {
				return p, refuse("value", "%q: how many %s? write it as 2 x 50 lb", w.text, p.words[at+1:])
			}
			p.words = p.words[:at]
		}
	}
	return p, nil
}

// packed reports whether the last figure is what one package holds: 3 50-lb
// bags.
func (w written) packed() bool {
	words := strings.Fields(w.parts[len(w.parts)-1].words)
	if len(words) < 2 {
		return false
	}
	bag, _ := isPackage(words[len(words)-1])
	return bag
}

// area works out m2.
func (w written) area() (part, error) {
	none := part{}
	bad := func(why string) (part, error) { return none, refuse("value", "%q: %s", w.text, why) }
	const want = "expected an area such as 1200 sq ft, 30x40 ft or circle 20 ft across"
	if len(w.parts) == 0 {
		return bad(want)
	}
	across, radius, shape := false, false, false
	keep := func(s string) string {
		s = strings.NewReplacer(",", " ", "(", " ", ")", " ", ":", " ", "in diameter", "across", "in radius", "radius").Replace(s)
		return strings.Join(slices.DeleteFunc(strings.Fields(s), func(word string) bool {
			switch strings.ToLower(word) {
			case "circle", "circular", "round", "ring":
				shape = true
			case "across", "diameter", "dia", "dia.", "\u00f8", "\u2300":
				across = true
			case "radius":
				radius = true
			case "a", "of", "bed", "with", "rectangle", "rectangular":
			default:
				return false
			}
			return true
		}), " ")
	}
	parts := slices.Clone(w.parts)
	lead := keep(w.lead)
	for i := range parts {
		parts[i].words = keep(parts[i].words)
	}
	if lead != "" {
		return bad(want)
	}
	if shape || across || radius {
		v := written{text: w.text, parts: parts}
		p, err := v.total()
		if err != nil {
			return none, err
		}
		if p, err = p.in(Length); err != nil {
			return none, err
		}
		if across == radius {
			return bad("expected how wide the circle is: write circle 20 ft across, or circle 10 ft radius")
		}
		k := math.Pi / 4 / 1e4
		if radius {
			k = math.Pi / 1e4
		}
		p.low, p.value, p.high = k*p.low*p.low, k*p.value*p.value, k*p.high*p.high
		return p, nil
	}
	var sides []part
	for i := 0; i < len(parts); i++ {
		p := parts[i]
		words, _, times := cutWord(p.words, "x", "\u00d7", "*", "by")
		p.words = words
		if len(sides) == 0 && !times && len(parts) == 1 {
			if _, err := p.in(Length); err == nil && words != "" {
				return bad(want + ": a length alone is no area")
			}
			return p.in(Area)
		}
		if a, ok := find(words, []Quantity{Length}); ok && !times && i+1 < len(parts) { // 30 ft 6 in
			next, _, more := cutWord(parts[i+1].words, "x", "\u00d7", "*", "by")
			b, ok := find(next, []Quantity{Length})
			if !ok || b.factor >= a.factor {
				return bad(want)
			}
			share := b.factor / a.factor
			q := parts[i+1]
			p.low, p.value, p.high = p.low+q.low*share, p.value+q.value*share, p.high+q.high*share
			i, times = i+1, more
		}
		if times == (i+1 == len(parts)) {
			return bad(want)
		}
		sides = append(sides, p)
	}
	if len(sides) != 2 {
		return bad(want)
	}
	a, b := sides[0], sides[1]
	if a.words == "" {
		a.words = b.words
	} else if b.words == "" {
		b.words = a.words
	}
	if a.words == "" {
		return bad("expected the unit of its sides: write 30x40 ft or 9x12 m")
	}
	var err error
	if a, err = a.in(Length); err == nil {
		b, err = b.in(Length)
	}
	if err != nil {
		return none, err
	}
	p := a.times(b)
	p.low, p.value, p.high = p.low/1e4, p.value/1e4, p.high/1e4
	return p, nil
}
