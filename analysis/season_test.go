package analysis

import (
	"testing"

	"carryover/dataset"
)

func TestPlaceAtEveryWindowEdge(t *testing.T) {
	for _, c := range []struct {
		name                         string
		south                        bool
		date, timing, setOut, picked string
		season                       int
		want                         string
	}{
		{name: "new year", date: "2025-01-01", season: 2025, want: Spring},
		{name: "last spring day", date: "2025-06-15", season: 2025, want: Spring},
		{name: "first day between", date: "2025-06-16", season: 2025, want: MidSeason},
		{name: "last day between", date: "2025-08-31", season: 2025, want: MidSeason},
		{name: "first autumn day", date: "2025-09-01", season: 2025, want: Autumn},
		{name: "December is autumn still", date: "2025-12-31", season: 2025, want: Autumn},
		{name: "a year of 366 days", date: "2024-06-16", season: 2024, want: MidSeason},

		{name: "on set-out day", date: "2025-05-20", setOut: "2025-05-20", season: 2025, want: Spring},
		{name: "day after set-out", date: "2025-05-21", setOut: "2025-05-20", season: 2025, want: MidSeason},
		{name: "late set-out holds spring open", date: "2025-06-25", setOut: "2025-06-25", season: 2025, want: Spring},
		{name: "day before the first harvest", date: "2025-08-19", picked: "2025-08-20", season: 2025, want: MidSeason},
		{name: "on the day of harvest", date: "2025-08-20", picked: "2025-08-20", season: 2025, want: Autumn},
		{name: "late harvest does not move autumn", date: "2025-09-01", picked: "2025-10-05", season: 2025, want: Autumn},
		{name: "a cover cut in May ends no season", date: "2025-05-12", picked: "2025-05-10", season: 2025, want: Spring},
		{name: "a crop cut on set-out day ends no season", date: "2025-06-01", setOut: "2025-05-20", picked: "2025-05-20", season: 2025, want: MidSeason},
		{name: "garlic set out in the autumn before", date: "2025-04-20", setOut: "2024-10-10", season: 2025, want: Spring},

		{name: "late autumn sample in January", date: "2026-01-10", timing: Autumn, season: 2025, want: Autumn},
		{name: "autumn on the last spring day", date: "2026-06-15", timing: Autumn, season: 2025, want: Autumn},
		{name: "autumn a day later", date: "2026-06-16", timing: Autumn, season: 2026, want: Autumn},
		{name: "spring sample taken in December", date: "2025-12-10", timing: Spring, season: 2026, want: Spring},
		{name: "spring on the first autumn day", date: "2025-09-01", timing: Spring, season: 2026, want: Spring},
		{name: "spring a day earlier", date: "2025-08-31", timing: Spring, season: 2025, want: Spring},
		{name: "mid-season as told", date: "2025-12-10", timing: MidSeason, season: 2025, want: MidSeason},
		{name: "told timing beats harvest", date: "2025-08-25", timing: MidSeason, picked: "2025-08-20", season: 2025, want: MidSeason},

		{name: "south, first day", south: true, date: "2024-07-01", season: 2025, want: Spring},
		{name: "south, last day", south: true, date: "2025-06-30", season: 2025, want: Autumn},
		{name: "south, last spring day", south: true, date: "2024-12-13", season: 2025, want: Spring},
		{name: "south, first day between", south: true, date: "2024-12-14", season: 2025, want: MidSeason},
		{name: "south, January", south: true, date: "2025-01-15", season: 2025, want: MidSeason},
		{name: "south, last day between", south: true, date: "2025-02-28", season: 2025, want: MidSeason},
		{name: "south, first autumn day", south: true, date: "2025-03-01", season: 2025, want: Autumn},
		{name: "south, 29 February", south: true, date: "2024-02-29", season: 2024, want: MidSeason},
		{name: "south, after 29 February", south: true, date: "2024-03-01", season: 2024, want: Autumn},
		{name: "south, set-out in November", south: true, date: "2024-11-11", setOut: "2024-11-10", season: 2025, want: MidSeason},
		{name: "south, harvest in February", south: true, date: "2025-02-20", picked: "2025-02-20", season: 2025, want: Autumn},
		{name: "south, autumn sample in July", south: true, date: "2025-07-10", timing: Autumn, season: 2025, want: Autumn},
		{name: "south, spring sample in March", south: true, date: "2025-03-01", timing: Spring, season: 2026, want: Spring},
	} {
		t.Run(c.name, func(t *testing.T) {
			var b book
			b.test("1", c.date, "P", 50, timing(c.timing))
			if c.setOut != "" {
				b.planting("1", int32(c.season), c.setOut)
			}
			if c.picked != "" {
				b.harvest("1", c.picked, 300)
			}
			l := b.review(t, Options{South: c.south}, "2030-01-01").Beds[0].Levels[0]
			if l.Season != c.season || l.Timing != c.want {
				t.Errorf("%s %q: %s %d, want %s %d", c.date, c.timing, l.Timing, l.Season, c.want, c.season)
			}
		})
	}
}

func TestInputSeason(t *testing.T) {
	for _, c := range []struct {
		name         string
		south        bool
		date, picked string
		want         int
	}{
		{"summer feed", false, "2025-08-31", "", 2025},
		{"first autumn day", false, "2025-09-01", "", 2026},
		{"December", false, "2025-12-15", "", 2026},
		{"January", false, "2026-01-15", "", 2026},
		{"on the day of an early harvest", false, "2025-08-20", "2025-08-20", 2026},
		{"the day before", false, "2025-08-19", "2025-08-20", 2025},
		{"after a cover was cut in May", false, "2025-06-01", "2025-05-10", 2025},
		{"south, February", true, "2025-02-28", "", 2025},
		{"south, March", true, "2025-03-01", "", 2026},
		{"south, July", true, "2025-07-01", "", 2026},
	} {
		t.Run(c.name, func(t *testing.T) {
			var b book
			b.spread("1", c.date, "compost")
			if c.picked != "" {
				b.harvest("1", c.picked, 300)
			}
			if got := b.review(t, Options{South: c.south}, "2030-01-01").Beds[0].Inputs[0].Season; got != c.want {
				t.Errorf("spread on %s serves %d, want %d", c.date, got, c.want)
			}
		})
	}
}

// What is not yet known on the as-of day moves no window.
func TestLaterFactsDoNotMoveWindows(t *testing.T) {
	var b book
	b.test("1", "2025-08-10", "P", 50)
	b.planting("1", 2025, "2025-05-20")
	b.harvest("1", "2025-08-05", 300)
	if got := b.review(t, Options{}, "2025-08-10").Beds[0].Levels[0].Timing; got != Autumn {
		t.Fatalf("after the harvest: %s, want autumn", got)
	}
	h := &dataset.BedHistory{Harvests: b.Harvests, Plantings: b.Plantings}
	s := Calendar{}.seasonsOf(h, day("2025-05-19"))(2025)
	if s.setOut != nil || s.harvest != nil {
		t.Errorf("known on 19 May: set-out %v, harvest %v, want neither", s.setOut, s.harvest)
	}
}

func TestRepeatedInputCountsToTheDay(t *testing.T) {
	var b book
	b.spread("1", "2025-06-01", "fish feed")
	b.Amendments[0].Every, b.Amendments[0].Until = ptr(int32(7)), ptr(day("2025-06-29"))
	for asOf, want := range map[string]int{"2025-06-01": 1, "2025-06-07": 1, "2025-06-08": 2, "2025-06-29": 5, "2025-12-01": 5} {
		if got := b.review(t, Options{}, asOf).Beds[0].Inputs[0].Times; got != want {
			t.Errorf("as of %s: %d times, want %d", asOf, got, want)
		}
	}
}
