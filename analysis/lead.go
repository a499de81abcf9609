package analysis

import "fmt"

// Levels of lead at which the reader is stopped, whatever the bands say.
const (
	// leadTotal is the residential screening level for total lead, mg/kg; from
	// memory of the US EPA guidance of January 2024. In October 2025 the agency
	// raised its removal level to 600 mg/kg; we stop at the lower figure.
	leadTotal = 200
	// leadExtract is the top of the usual range by modified Morgan, mg/kg.
	// Source: University of Massachusetts soil and plant nutrient testing
	// laboratory, interpretation of results.
	leadExtract = 22
)

// LeadScreen is what the tests of a bed say of lead.
type LeadScreen struct {
	Stop   bool   `json:"stop"` // do not work the bed before you have asked
	Text   string `json:"text"`
	Row    RowRef `json:"row"`
	Doubts []int  `json:"doubts,omitempty"`
}

// screenLead looks for lead in tests of the worked layer of any age, timing,
// method and unit; nil where none is above its level. Only a digest measures all
// lead: whatever an extract gives is a screen. A figure by volume is held to the
// levels by weight: soil seldom weighs so little or so much that it would matter
// here.
func (b *bedWork) screenLead(levels []Level) *LeadScreen {
	var total, extract *Level
	for i := range levels {
		l := &levels[i]
		if l.Analyte != "Pb" || !l.Top() || l.Qualifier == "<" {
			continue
		}
		at := &extract
		if l.Method == "total digest" {
			at = &total
		}
		if *at == nil || l.Estimate.Value > (*at).Estimate.Value {
			*at = l
		}
	}
	volume := func(l *Level) string {
		if l.Estimate.Unit == "mg/kg" {
			return ""
		}
		return " (by volume: ask the lab for mg/kg)"
	}
	switch {
	case total != nil && total.Estimate.Value >= leadTotal:
		return &LeadScreen{true, fmt.Sprintf("LEAD: %s of %s in all, %d or more%s: stop, keep dust and children away, and ask your health department and extension before you work this bed", total.show(b.us), total.when(), leadTotal, volume(total)), total.Reported[0].Row, total.Doubts}
	case extract != nil && extract.Estimate.Value >= leadExtract:
		return &LeadScreen{false, fmt.Sprintf("LEAD: %s of %s, not known to be of all lead, is above the usual %d of an extract%s: ask the lab for total lead, and keep dust down until you know", extract.show(b.us), extract.when(), leadExtract, volume(extract)), extract.Reported[0].Row, extract.Doubts}
	}
	return nil
}
