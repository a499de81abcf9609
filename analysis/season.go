package analysis

import (
	"strings"
	"time"

	"carryover/dataset"
)

// Timings of a soil test within its season.
const (
	Spring    = "spring"
	MidSeason = "mid-season"
	Autumn    = "autumn"
)

// Calendar places dates in seasons. In the south everything is six months
// later, and a season bears the year of its harvest.
type Calendar struct{ South bool }

// Windows by date, where the bed's own set-out and harvest dates do not say
// more: spring to 15 June, autumn from 1 September, mid-season between (six
// months on in the south). A sample of December still belongs to the autumn, one
// of January to the coming spring. Common practice, no source.
var (
	springEnds   = monthDay{time.June, 15}
	autumnStarts = monthDay{time.September, 1}
)

type monthDay struct {
	m time.Month
	d int
}

// southShift is the number of days from 1 July to 1 January.
const southShift = 184

// north returns the day as the northern calendar would have it.
func (c Calendar) north(d dataset.Date) dataset.Date {
	if c.South {
		return d + southShift
	}
	return d
}

// day returns the day of season year that the northern calendar calls m-d.
func (c Calendar) day(year int, md monthDay) dataset.Date {
	d := dataset.DateOf(year, md.m, md.d)
	if c.South {
		d -= southShift
	}
	return d
}

// SeasonOf returns the season a day belongs to by the calendar year of its
// harvest.
func (c Calendar) SeasonOf(d dataset.Date) int { return c.north(d).Year() }

// bedSeason holds what a bed's own records say of one season.
type bedSeason struct {
	setOut  *dataset.Date // earliest set-out
	harvest *dataset.Date // last harvest of the main crop
}

// place returns the season and timing of a test. A timing on record wins over
// the date; without one, a test up to set-out is a spring test and one from the
// last harvest or 1 September on an autumn test. What lies between is
// mid-season and is taken for neither.
func (c Calendar) place(d dataset.Date, timing string, of func(season int) bedSeason) (int, string) {
	y := c.SeasonOf(d)
	early, late := c.day(y, springEnds), c.day(y, autumnStarts)
	switch timing {
	case Autumn:
		if d <= early { // a late sample of the season before
			y--
		}
		return y, timing
	case Spring:
		if d >= late { // taken the autumn before, for the coming crop
			y++
		}
		return y, timing
	case MidSeason:
		return y, timing
	}
	s := of(y)
	if s.setOut != nil && c.SeasonOf(*s.setOut) == y {
		early = *s.setOut
	}
	// A cover or an early crop taken off before planting ends no season.
	if s.harvest != nil && *s.harvest > early && *s.harvest < late {
		late = *s.harvest
	}
	switch {
	case d >= late:
		return y, Autumn
	case d <= early:
		return y, Spring
	}
	return y, MidSeason
}

// inputSeason returns the season that something spread on a day serves: from
// the end of one harvest on, the next.
func (c Calendar) inputSeason(d dataset.Date, of func(season int) bedSeason) int {
	y, timing := c.place(d, "", of)
	if s := of(y); s.harvest != nil && d < *s.harvest && *s.harvest > c.day(y, springEnds) {
		return y // a feed of September goes to the crop that still stands
	}
	if timing == Autumn {
		return y + 1
	}
	return y
}

// seasonsOf gathers set-out and harvest dates by season.
func (c Calendar) seasonsOf(h *dataset.BedHistory, asOf dataset.Date) func(int) bedSeason {
	// Where pumpkins grew they are the season's crop; a courgette or a culled
	// fruit ends nothing.
	pumpkin := map[int]bool{}
	for i := range h.Plantings {
		if isPumpkin(h.Plantings[i].Crop) {
			pumpkin[int(h.Plantings[i].Season)] = true
		}
	}
	for i := range h.Harvests {
		if isPumpkin(h.Harvests[i].Crop) {
			pumpkin[c.SeasonOf(h.Harvests[i].Date)] = true
		}
	}
	m := map[int]bedSeason{}
	for _, p := range h.Plantings {
		if pumpkin[int(p.Season)] && !isPumpkin(p.Crop) {
			continue
		}
		if s := m[int(p.Season)]; p.SetOut != nil && *p.SetOut <= asOf && (s.setOut == nil || *p.SetOut < *s.setOut) {
			s.setOut = p.SetOut
			m[int(p.Season)] = s
		}
	}
	for i := range h.Harvests {
		d := &h.Harvests[i].Date
		y := c.SeasonOf(*d)
		if pumpkin[y] && !isPumpkin(h.Harvests[i].Crop) {
			continue
		}
		if s := m[y]; *d <= asOf && (s.harvest == nil || *d > *s.harvest) {
			s.harvest = d
			m[y] = s
		}
	}
	return func(y int) bedSeason { return m[y] }
}

// isPumpkin tells the crop this tool is for; sheets leave it empty.
func isPumpkin(crop string) bool {
	return crop == "" || strings.Contains(strings.ToLower(crop), "pumpkin")
}

// timingOrder sorts timings within a season.
func timingOrder(t string) int {
	switch t {
	case Spring:
		return 0
	case MidSeason:
		return 1
	}
	return 2
}
