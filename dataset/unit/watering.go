package unit

import (
	"slices"
	"strconv"
	"strings"
)

// ParseWatering reads what was watered: as a depth ("1 in", "25 mm"), a volume
// ("200 gal", "1.2 m3"), or a time and a flow ("2 h x 5 gal/min", "90 min at 18
// L/min", "2 h at 0.5 gph x 40 emitters", "3 h at 0.2 in/h"). Unit says which
// came out: mm or L.
//
// The error wraps ErrUnit: a flow without a time or the reverse, a unit that
// measures no water.
func ParseWatering(text string, n ...Numbers) (Amount, error) {
	w, err := read(text, n)
	if err != nil {
		return Amount{}, err
	}
	return w.watering()
}

// what a part of a watering says.
type watered int

const (
	someCount watered = iota
	someTime
	someFlow  // L/h
	someRate  // mm/h
	someDepth // mm
	someWater // L
)

// joints are words that only join a watering's parts.
var joints = []string{"x", "\u00d7", "*", "@", "at", "for", "with", "from", "of", "using", "through", "on", "and", "each", "ea", ",", ";", "(", ")"}

// outlets are what a count counts.
var outlets = []string{"emitter", "dripper", "drip", "hose", "line", "sprinkler", "head", "nozzle", "time", "plant", "tape", "outlet", "run"}

func (w written) watering() (Amount, error) {
	const want = "expected a depth (1 in), a volume (200 gal), or a time and a flow (2 h x 5 gal/min)"
	bad := func(why string) (Amount, error) { return Amount{}, refuse("value", "%q: %s", w.text, why) }
	if len(w.parts) == 0 || w.lead != "" {
		return bad(want)
	}
	var got [6]*part
	counts, perOutlet, joined := part{1, 1, 1, false, ""}, false, true
	for _, p := range w.parts {
		words, count, per, end := strip(p.words)
		kind, factor, ok := waterUnit(words)
		if !ok {
			return bad("unit " + strconv.Quote(words) + ": " + want)
		}
		p.low, p.value, p.high = p.low*factor, p.value*factor, p.high*factor
		perOutlet = perOutlet || per
		switch {
		case kind == someCount:
			if words == "" && !count && !end && len(w.parts) == 1 {
				return bad("has no unit: " + want)
			}
			counts = counts.times(p)
			got[someCount] = &counts
		case got[kind] == nil:
			got[kind] = &p
		case kind == someTime && !joined: // 2 h 30 min
			t := *got[kind]
			t.low, t.value, t.high, t.ranged = t.low+p.low, t.value+p.value, t.high+p.high, t.ranged || p.ranged
			got[kind] = &t
		default:
			return bad("expected one " + [...]string{"count", "time", "flow", "flow", "depth", "volume"}[kind] + ": write one watering a row")
		}
		joined = end
	}
	if perOutlet && got[someCount] == nil {
		return bad("expected how many of them beside the figure for one: write it as 2 h at 0.5 gph x 40 emitters")
	}
	found, what := 0, someCount
	for _, k := range []watered{someFlow, someRate, someDepth, someWater} {
		if got[k] != nil {
			found, what = found+1, k
		}
	}
	time := got[someTime]
	switch {
	case found == 0 && time != nil:
		return bad("says how long and not how much: add the flow, as 2 h x 5 gal/min")
	case found != 1:
		return bad(want)
	case (what == someFlow || what == someRate) && time == nil:
		return bad("is a flow: add how long, as 2 h x 5 gal/min")
	case (what == someDepth || what == someWater) && time != nil:
		return bad("gives an amount and a time: leave out the time, or write the flow, as 2 h x 5 gal/min")
	}
	p := counts.times(*got[what])
	if time != nil {
		p = p.times(*time)
	}
	if what == someFlow || what == someWater {
		return w.amount(p, Liquid.SI())
	}
	return w.amount(p, Rain.SI())
}

// strip takes joints and outlets off a unit. count: an outlet stood there; per:
// "per emitter" did; end: a joint ended the words.
func strip(words string) (rest string, count, per, end bool) {
	rest = words
	for first := true; ; first = false {
		cut, _, ok := cutWord(rest, joints...)
		if ok {
			end = end || first
			rest = cut
			continue
		}
		at := strings.LastIndexAny(rest, " /")
		last := strings.TrimSuffix(strings.ToLower(rest[at+1:]), "s")
		if !slices.Contains(outlets, last) {
			break
		}
		slash := at >= 0 && rest[at] == '/'
		rest, count = strings.TrimSpace(rest[:max(at, 0)]), true
		if cut, _, ok := cutWord(rest, "per", "a", "an"); ok || slash {
			rest, per, count = cut, true, false
		}
	}
	return strings.TrimSpace(strings.TrimLeft(rest, "-,;")), count, per, end
}

// waterUnit tells what a unit measures, and the worth of one in h, L/h, mm/h, mm
// or L.
func waterUnit(text string) (kind watered, factor float64, ok bool) {
	if text == "" {
		return someCount, 1, true
	}
	switch squash(text) {
	case "gpm":
		text = "gal/min"
	case "gph":
		text = "gal/h"
	case "lpm":
		text = "L/min"
	case "lph":
		text = "L/h"
	}
	if s, ok := find(text, []Quantity{Duration, Rain, Liquid, Volume}); ok {
		switch s.q {
		case Duration:
			return someTime, s.factor, true
		case Rain:
			return someDepth, s.factor, true
		case Volume:
			return someWater, s.factor * 1000, true
		}
		return someWater, s.factor, true
	}
	per, in, ok := strings.Cut(strings.Replace(strings.ToLower(text), " per ", "/", 1), "/")
	time, okTime := find(in, []Quantity{Duration})
	if s, found := find(per, []Quantity{Liquid, Rain, Volume}); ok && okTime && found {
		switch s.q {
		case Rain:
			return someRate, s.factor / time.factor, true
		case Volume:
			return someFlow, 1000 * s.factor / time.factor, true
		}
		return someFlow, s.factor / time.factor, true
	}
	return 0, 0, false
}
