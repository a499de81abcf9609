package analysis

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// ownSource marks a band as the grower's own.
const ownSource = "own"

// Standing is where the newest level of an analyte stands: against the research
// band for its method, and against the grower's own beside it.
type Standing struct {
	Analyte string `json:"analyte"`
	Method  string `json:"method"`
	When    string `json:"when"`
	Level   string `json:"level"` // as printed, without its unit
	Where   string `json:"where"` // below, inside, above its band, or cannot be told from it; yours first; empty: no band
	// Research and Own are the bands for this method; where there is neither,
	// Typical may say what such soils usually hold, which is no target.
	Research *Target `json:"research,omitempty"`
	Own      *Target `json:"own,omitempty"`
	Typical  *Target `json:"typical,omitempty"`
	Class    string  `json:"class,omitempty"` // the source's own word for the level
	Text     string  `json:"text"`
}

// standingOf adds where a level stands; where no band is, text says it.
func (b *bedWork) standingOf(out *BedReview, l *Level, where, text string) {
	s := b.standing(l)
	if text != "" && s.Own == nil && s.Research == nil {
		s.Where, s.Text = where, text
	}
	out.Bands = append(out.Bands, s)
}

func (b *bedWork) standing(l *Level) Standing {
	s := Standing{Analyte: l.Analyte, Method: l.Method, When: l.When, Level: l.Text()}
	s.Own, s.Research = b.bandsFor(l)
	if s.Research != nil {
		n := slices.IndexFunc(b.sets, func(x TargetSet) bool { return x.Source == s.Research.Source && x.Method == s.Research.Method })
		if n >= 0 && l.Qualifier == "" {
			s.Class = b.sets[n].Class(l.Analyte, l.Estimate.Value)
		}
	}
	if s.Own == nil && s.Research == nil && l.Method != "" {
		for _, set := range b.sets {
			if n := slices.IndexFunc(set.Typical, func(t Target) bool { return t.serves(l) }); n >= 0 {
				s.Typical = &set.Typical[n]
			}
		}
	}
	where := l.where
	if t := cmp.Or(s.Own, s.Research); t != nil {
		s.Where = where(t)
	}
	name := fmt.Sprintf("%s %s", l.Analyte, l.show(b.us))
	var parts []string
	if t := s.Research; t != nil {
		p := fmt.Sprintf("%s the band %s (%s)", where(t), t, t.Source)
		if s.Class != "" {
			p += fmt.Sprintf(", there called %s", s.Class)
		}
		if where(t) == "above" && l.Analyte != "pH" {
			p += "; no evidence that more helps"
		}
		parts = append(parts, p)
	}
	if t := s.Own; t != nil {
		parts = append(parts, fmt.Sprintf("%s your own band %s (yours, no research behind it)", where(t), t))
	}
	switch {
	case len(parts) > 0:
		s.Text = name + ": " + strings.Join(parts, "; ")
	case s.Typical != nil:
		s.Text = fmt.Sprintf("%s: %s what such soils usually hold, %s (%s); no band by %s", name, where(s.Typical), s.Typical, s.Typical.Source, l.Method)
	case !l.named():
		s.Text = name + ": no method on the report, so no band"
	default:
		s.Text = fmt.Sprintf("%s: no band by %s", name, l.Method)
	}
	return s
}

// untold is where a level stands whose limit lies within or beyond the band.
const untold = "cannot be told from"

// where says on which side of a band the level more likely lies.
func (l *Level) where(t *Target) string {
	switch low, high := l.outside(*t); {
	case l.hidden(t):
		return untold
	case low >= doubtful:
		return "below"
	case high >= doubtful:
		return "above"
	}
	return "inside"
}

// hidden reports whether a lab's limit keeps a level from being held against a
// band: below a limit that the band reaches under, or above one within it.
func (l *Level) hidden(t *Target) bool {
	switch l.Qualifier {
	case "<":
		return l.Estimate.Value > t.Low
	case ">":
		return l.Estimate.Value < max(t.Low, t.High)
	}
	return false
}

// MnIndex is the availability of manganese by Mehlich-3, mg/kg, at a pH: 25 is
// enough, 100 is high.
//
// Source: Rutgers NJAES soil testing laboratory.
func MnIndex(mn, ph float64) float64 { return 101.7 + 3.75*mn - 15.2*ph }

const enoughMn = 25

// manganese judges Mn by Mehlich-3 with the pH of the same test, where the book
// uses bands of that source; it reports whether it could.
func (b *bedWork) manganese(l *Level, out *BedReview, j *judgement, act func(Action)) bool {
	if l.Method != "Mehlich-3" || l.Estimate.Unit != "mg/kg" || l.Qualifier != "" ||
		!slices.ContainsFunc(b.targets, func(t Target) bool { return strings.HasPrefix(t.Source, "Rutgers") }) {
		return false
	}
	n := slices.IndexFunc(out.Levels, func(p Level) bool { return p.Analyte == "pH" && p.Date == l.Date && p.Top() && inWater(&p) })
	if n < 0 {
		return false
	}
	ph := &out.Levels[n]
	v := MnIndex(l.Estimate.Value, ph.Estimate.Value)
	out.Bands[len(out.Bands)-1].Text = fmt.Sprintf("Mn %s at pH %s: availability index %.0f, %d is enough (Rutgers NJAES soil testing laboratory)", l.show(b.us), ph.Text(), v, enoughMn)
	out.Bands[len(out.Bands)-1].Where = map[bool]string{true: "inside", false: "below"}[v >= enoughMn]
	if v >= enoughMn {
		j.fine = append(j.fine, "Mn (by index)")
		return true
	}
	act(Action{State: TestAgain, Analyte: "Mn", Doubts: l.Doubts, Source: "Rutgers NJAES soil testing laboratory",
		Why: fmt.Sprintf("Mn %s at pH %s has an availability index of %.0f, low below %d (Rutgers): ask for a leaf test, and keep lime off", l.show(b.us), ph.Text(), v, enoughMn)})
	return true
}
