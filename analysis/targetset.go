package analysis

import (
	"fmt"
	"slices"
	"strings"

	"carryover/dataset/unit"
)

// TargetSet is what one source prints for one method: the bands a level is held
// against, its usual ranges, and the names of its classes.
type TargetSet struct {
	ID     string
	Method string // pH: "water" serves every water ratio
	Source string
	Note   string   // what to know before using it
	Labs   []string // labs it is made for
	States []string // where it is made for; none: anywhere
	// General sets stand in where a place has none of its own.
	General bool
	Targets []Target
	Typical []Target // what soils there usually hold: no target, never judged
	Classes []Class  // by analyte, in rising order
}

// Class is one of a source's classes. It is half-open: From belongs to it, the
// From of the next class does not. Where a source prints whole numbers and
// leaves a gap (0-24, 25-45) a value in the gap belongs to the lower class; where
// it gives one number to two classes (0-15, 15-24) to the upper.
type Class struct {
	Analyte string
	Name    string
	From    float64 // in the set's unit
}

// Class returns the class that holds a value of the analyte, "" where the
// source has none.
func (s *TargetSet) Class(analyte string, v float64) (name string) {
	for _, c := range s.Classes {
		if c.Analyte == analyte && v >= c.From {
			name = c.Name
		}
	}
	return name
}

// classes lists an analyte's classes: a name, then the start of the next one.
func classes(analyte string, scale float64, list ...any) (out []Class) {
	from := 0.0
	for i, x := range list {
		if i%2 == 1 {
			from = float64(x.(int)) * scale
			continue
		}
		out = append(out, Class{analyte, x.(string), from})
	}
	return out
}

// perLbAc turns lb/acre of a furrow slice into mg/kg.
const perLbAc = 0.5

// TargetSets lists the published sets that were read in their source, general
// ones first. Ranges known only from memory are not among them.
func TargetSets() []TargetSet {
	sets := []TargetSet{
		{ID: "uconn-ph", Method: "water", General: true, Labs: []string{"University of Connecticut", "UConn"}, States: []string{"CT"},
			Source:  "University of Connecticut soil laboratory, garden vegetables",
			Note:    "Garden vegetables; cucurbits want at least 5.8 (Oregon State University, EM 9057).",
			Targets: []Target{band("pH", 6.0, 6.8)}},
		{ID: "rutgers-m3", Method: "Mehlich-3", General: true, Labs: []string{"Rutgers"}, States: []string{"NJ"},
			Source:  "Rutgers NJAES soil testing laboratory, optimum class",
			Note:    "The optimum class, printed in whole lb/acre (2 lb/acre = 1 mg/kg): high is where the next class begins.",
			Targets: []Target{band("P", 72*perLbAc, 138*perLbAc), band("K", 146*perLbAc, 278*perLbAc), band("Mg", 144*perLbAc, 296*perLbAc)},
			Classes: slices.Concat(classes("P", perLbAc, "very low", 25, "low", 46, "medium", 72, "high (optimum)", 138, "very high"),
				classes("K", perLbAc, "below optimum", 146, "high (optimum)", 278, "very high"),
				classes("Mg", perLbAc, "below optimum", 144, "high (optimum)", 296, "very high"),
				classes("Ca", perLbAc, "below optimum", 1401, "high (optimum)", 1791, "very high"))},
		{ID: "rutgers-m3-micro", Method: "Mehlich-3", General: true, Labs: []string{"Rutgers"}, States: []string{"NJ"},
			Source:  "Rutgers NJAES soil testing laboratory, critical value",
			Note:    "Critical values: low below. From the high value on, more may harm; boron is narrow.",
			Targets: []Target{band("Zn", 1, 0), band("Cu", 0.5, 0), band("B", 0.5, 0)},
			Classes: slices.Concat(micro("Zn", 1, 50), micro("Cu", 0.5, 20), micro("B", 0.5, 20), micro("Fe", 50, 100))},
		{ID: "umass-mm", Method: "modified Morgan", General: true, Labs: []string{"University of Massachusetts", "UMass"}, States: []string{"MA", "CT", "ME", "NH", "RI"},
			Source:  "University of Massachusetts soil and plant nutrient testing laboratory",
			Note:    "The usual ranges of trace elements are what New England soils hold; no optimum was ever set for them.",
			Targets: []Target{band("P", 4, 14), band("K", 100, 160), band("Mg", 50, 120), band("S", 10, 0)},
			Typical: []Target{band("Zn", 1.0, 7.6), band("Cu", 0.3, 0.6), band("B", 0.1, 0.5), band("Fe", 2.7, 9.4), band("Mn", 1.1, 6.3)},
			Classes: slices.Concat(classes("P", 1, "low", 4, "optimum", 14, "above optimum"), classes("K", 1, "low", 100, "optimum", 160, "above optimum"),
				classes("Mg", 1, "low", 50, "optimum", 120, "above optimum"), classes("Ca", 1, "low", 1000, "optimum", 1500, "above optimum"))},
		{ID: "midwest-bray", Method: "Bray P1", General: true, States: []string{"IL", "IN", "IA", "KS", "MN", "MO", "OH"}, // members from memory
			Source:  "Midwest Vegetable Production Guide 2022 (responds below 35-40, none wanted above 80)",
			Note:    "Low is the upper of the two figures below which crops respond.",
			Targets: []Target{band("P", 40, 80)}},
		{ID: "morgan-critical", Method: "Morgan", General: true, Labs: []string{"Cornell"}, States: []string{"NY"},
			Source:  "Ketterings, Kahabka and Reid 2005, Journal of Soil and Water Conservation 60, 10-20",
			Note:    "The critical level, 9 lb/acre.",
			Targets: []Target{band("P", 9*perLbAc, 0)}},
		{ID: "dtpa", Method: "DTPA", General: true,
			Source:  "Havlin and others 1999, as cited in Journal of Ecology and Environment 2019, table 12",
			Note:    "Adequate above; marginal down to 0.6 (Zn), 0.4 (Cu), 2.6 (Fe).",
			Targets: []Target{band("Zn", 1, 0), band("Cu", 0.6, 0), band("Fe", 4.5, 0), band("Mn", 1, 0)}},
		{ID: "delaware-m3", Method: "Mehlich-3", Labs: []string{"University of Delaware"}, States: []string{"DE"},
			Source:  "Sims and others 2002 and University of Delaware 2025, fertility index value",
			Note:    "Above 150 mg/kg Delaware calls a soil high in phosphorus by law and limits more of it.",
			Targets: []Target{band("P", 51, 101)},
			Classes: classes("P", 1, "below optimum", 51, "optimum", 101, "excessive", 151, "excessive, high by Delaware's law")},
		{ID: "clemson-ph", Method: "water", Labs: []string{"Clemson"}, States: []string{"SC"},
			Source: "Clemson Cooperative Extension, HGIC 1650, garden vegetables", Targets: []Target{band("pH", 5.8, 6.5)}},
		{ID: "umass-ph", Method: "water", Labs: []string{"University of Massachusetts", "UMass"}, States: []string{"MA"},
			Source: "University of Massachusetts soil and plant nutrient testing laboratory, garden report", Targets: []Target{band("pH", 6.0, 7.0)}},
		{ID: "sare-bray", Method: "Bray P1",
			Source:  "Sustainable Agriculture Research and Education, Building Soils for Better Crops, table 21.2",
			Note:    "Field crops of all regions: lower than what vegetables are given.",
			Classes: classes("P", 1, "low", 15, "optimum", 24, "high", 31, "excessive")},
		{ID: "northern-ireland-olsen", Method: "Olsen", States: []string{"Northern Ireland"},
			Source:  "Northern Ireland, Statutory Rule 2019 No. 81, schedule 5 (index by mg/L of soil)",
			Note:    "An index for rates, not a band for pumpkins.",
			Classes: classes("P", 1, "index 0", 10, "index 1", 16, "index 2-", 21, "index 2+", 26, "index 3", 46, "index 4", 71, "above index 4")},
	}
	for i := range sets {
		s := &sets[i]
		for _, list := range [][]Target{s.Targets, s.Typical} {
			for j := range list {
				list[j].Method, list[j].Source = s.Method, s.Source
			}
		}
	}
	return sets
}

func micro(analyte string, critical, high float64) []Class {
	return []Class{{analyte, "low", 0}, {analyte, "adequate", critical}, {analyte, "high", high}}
}

// band is a target in the analyte's own unit.
func band(analyte string, low, high float64) Target {
	a, _ := unit.ByID(analyte)
	return Target{Analyte: analyte, Low: low, High: high, Unit: a.Unit()}
}

// unread are places whose ranges are published but were not read in their
// source, so that none are offered.
func unread() map[string]string {
	return map[string]string{
		"PA": "Penn State's ranges", "OR": "Oregon State's ranges", "VT": "Vermont's bands", "MI": "Michigan's ranges", "MN": "Minnesota's ranges for vegetables",
		"NC": "North Carolina's index (50-70 is its optimum; an index is no concentration, so no band can be made of it)",
	}
}

// states names the places that the sets speak of.
func states() map[string]string {
	return map[string]string{
		"connecticut": "CT", "new jersey": "NJ", "massachusetts": "MA", "maine": "ME", "new hampshire": "NH", "rhode island": "RI", "illinois": "IL", "indiana": "IN",
		"iowa": "IA", "kansas": "KS", "minnesota": "MN", "missouri": "MO", "ohio": "OH", "new york": "NY", "delaware": "DE", "south carolina": "SC",
		"pennsylvania": "PA", "oregon": "OR", "vermont": "VT", "michigan": "MI", "north carolina": "NC", "northern ireland": "Northern Ireland",
	}
}

// ChooseTargets picks sets for a new book by the lab that does its tests and the
// state (name or two letters) it lies in; both may be empty. A set made for them
// takes the place of general bands of the same analyte and method. Only
// published, sourced sets are offered; the note says what was chosen and what
// could not be.
func ChooseTargets(lab, state string) (sets []TargetSet, note string) {
	place := strings.TrimSpace(state)
	if code, ok := states()[strings.ToLower(place)]; ok {
		place = code
	} else if len(place) == 2 {
		place = strings.ToUpper(place)
	}
	lab = strings.TrimSpace(lab)
	meant := func(s *TargetSet) bool {
		return slices.Contains(s.States, place) || slices.ContainsFunc(s.Labs, func(l string) bool { return strings.Contains(strings.ToLower(lab), strings.ToLower(l)) })
	}
	type series struct{ analyte, method string }
	taken := map[series]string{}
	var own []string
	all := TargetSets()
	// What is made for the place comes first, and of that what is not general.
	rank := func(s *TargetSet) int {
		switch {
		case meant(s) && !s.General:
			return 0
		case meant(s):
			return 1
		}
		return 2
	}
	slices.SortStableFunc(all, func(x, y TargetSet) int { return rank(&x) - rank(&y) })
	for _, s := range all {
		if rank(&s) == 2 && !s.General {
			continue
		}
		s.Targets = slices.DeleteFunc(slices.Clone(s.Targets), func(t Target) bool {
			k := series{t.Analyte, t.Method}
			if taken[k] != "" {
				return true
			}
			taken[k] = s.ID
			return false
		})
		if len(s.Targets) == 0 {
			continue
		}
		if rank(&s) < 2 {
			own = append(own, fmt.Sprintf("%s by %s (%s)", analytesOf(s.Targets), s.Method, s.Source))
		}
		sets = append(sets, s)
	}
	order := map[string]int{}
	for i, s := range TargetSets() {
		order[s.ID] = i
	}
	slices.SortStableFunc(sets, func(x, y TargetSet) int { return order[x.ID] - order[y.ID] })
	where := strings.TrimSpace(strings.Join(slices.DeleteFunc([]string{place, lab}, func(s string) bool { return s == "" }), ", "))
	switch {
	case where == "":
		note = "general bands, since neither a lab nor a state was named"
	case len(own) > 0:
		note = fmt.Sprintf("made for %s: %s; the other bands are general", where, strings.Join(own, "; "))
	default:
		note = fmt.Sprintf("no published set that we could read is made for %s: the bands are general", where)
	}
	if u := unread()[place]; u != "" {
		note += fmt.Sprintf("; %s were not read in their source and are not offered: copy the bands of your own report, with their source", u)
	}
	return sets, note + ". A band counts only for the method it was made for."
}

func analytesOf(list []Target) string {
	var names []string
	for _, t := range list {
		names = append(names, t.Analyte)
	}
	return strings.Join(names, ", ")
}

// TargetsTOML writes sets as a book's targets.toml; note says how they were
// chosen, and may be empty.
func TargetsTOML(sets []TargetSet, note string) string {
	var b strings.Builder
	b.WriteString(`# Where each level is wanted. A band counts only for the method it was made for.
# Change a band, or add your own with source = "own": it is then judged by yours,
# and the research band is told beside it.
# low is inside the band, high is just outside it; leave high out for "no upper end".
# Calcium has none here: where pH is right it is rarely short (common practice, no
# source), and a band for it beside one for pH would only contradict.
`)
	if note != "" {
		for _, l := range wrapped(note, 78) {
			b.WriteString("# " + l + "\n")
		}
	}
	b.WriteString("format = 1\n")
	for _, s := range sets {
		b.WriteString("\n")
		for _, l := range wrapped(strings.TrimSpace(fmt.Sprintf("%s by %s: %s. %s", analytesOf(s.Targets), s.Method, s.Source, s.Note)), 78) {
			b.WriteString("# " + l + "\n")
		}
		for i, t := range s.Targets {
			if i > 0 {
				b.WriteString("\n")
			}
			fmt.Fprintf(&b, "[[target]]\nanalyte = %q\nmethod = %q\nlow = %v\n", t.Analyte, t.Method, t.Low)
			if t.High > 0 {
				fmt.Fprintf(&b, "high = %v\n", t.High)
			}
			fmt.Fprintf(&b, "unit = %q\nsource = %q\n", t.Unit, t.Source)
		}
	}
	return b.String()
}

// wrapped breaks text at spaces.
func wrapped(text string, width int) (lines []string) {
	line := ""
	for _, w := range strings.Fields(text) {
		if line != "" && len(line)+1+len(w) > width {
			lines, line = append(lines, line), ""
		}
		line = strings.TrimSpace(line + " " + w)
	}
	return append(lines, line)
}

// DefaultTargets is the targets.toml of a book of which neither lab nor state is
// known.
func DefaultTargets() string {
	sets, _ := ChooseTargets("", "")
	return TargetsTOML(sets, "")
}
