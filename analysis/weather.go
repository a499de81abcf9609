package analysis

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"carryover/dataset"
)

// Origins of a day's weather, best first.
const (
	noWeather = uint8(iota)
	ofDay     // recorded that day
	filled    // a short gap, filled from the days about it
	ofMonth   // its month's figure
	ofNormal  // its month's mean over the years
)

// Gaps that are filled from the days about them.
const (
	shortGap = 7 // days of temperature, between two recorded days
	fewDays  = 5 // days of rain in a month of which all others are recorded
)

// What cannot have fallen or been measured: past world records, which are 1825
// mm in a day, -90 and 57 deg C; from memory.
const (
	mostRain  = 1900.0 // mm in a day
	coldest   = -90.0
	hottest   = 58.0
	heavyRain = 250.0 // mm in a day: possible, and oftener a slip of unit
)

// A station so far off or at so other a height that its weather is another;
// common practice, no source.
const (
	farAway   = 30.0  // km
	farHigher = 100.0 // m
)

// siteDay is the weather of one day. Rain stands in three patterns: as taken, and,
// where only a month is known, spread thinner and more heaped.
type siteDay struct {
	rain, even, heaped float64 // mm
	mean               float64 // deg C
	et0                float64 // mm
	rainOf, heatOf     uint8
	full               bool // et0 by Penman-Monteith
}

// SiteWeather is the weather of a grower's site, day by day.
type SiteWeather struct {
	Grower   string
	Site     string // that gave most days; empty: unnamed
	From, To dataset.Date
	Latitude *float64 // degrees north; nil: not known

	days   []siteDay
	rows   int // weather rows of the site
	doubts []Doubt
}

// monthly is what a month's row or normal says.
type monthly struct {
	rain, high, low, humidity, wind, sun *float64
}

// wind and sun may stand in rows of their own; the first row that says a thing
// holds.
func (m *monthly) take(w *dataset.Weather, days int) {
	for _, x := range []struct{ at, from **float64 }{{&m.rain, &w.Rain}, {&m.humidity, &w.Humidity}, {&m.wind, &w.Wind}, {&m.sun, &w.Sun}} {
		if *x.at == nil {
			*x.at = *x.from
		}
	}
	if m.high == nil && m.low == nil && w.TempMax != nil && w.TempMin != nil {
		m.high, m.low = w.TempMax, w.TempMin
	}
	if m.sun != nil && *m.sun > 24 { // hours of the whole month
		s := *m.sun / float64(days)
		m.sun = &s
	}
}

// reading is one day's row before gaps are filled; NaN: not recorded.
type reading struct {
	rain, high, low, humidity, wind, sun float64
	heatOf                               uint8
}

// NewSiteWeather resolves the weather rows of a grower to days from one day to
// another. Each figure of a day is its own row's, else, of a short gap, that of
// the days about it, else its month's, else its monthly normal's; a month's rain
// falls on every third day. What nobody recorded stays open. Waterings are left
// to their beds.
//
// latitude and height (above the sea, m) are the site's; without a latitude there
// is no evapotranspiration, without a height it is taken as 0 m.
func NewSiteWeather(rows []dataset.Weather, grower string, from, to dataset.Date, latitude, height *float64) *SiteWeather {
	s := &SiteWeather{Grower: grower, From: from, To: to, Latitude: latitude}
	if to < from {
		return s
	}
	d := &doubts{}
	byDay, months, normals := s.gather(rows, d, height)
	s.days = make([]siteDay, to-from+1)
	s.fill(byDay, months, normals, d)
	s.evaporate(byDay, months, normals, height, d)
	s.doubts = d.list
	return s
}

// yearMonth names a month.
func yearMonth(d dataset.Date) int { return d.Year()*12 + int(d.Month()) - 1 }

func firstOf(ym int) dataset.Date { return dataset.DateOf(ym/12, time.Month(ym%12+1), 1) }

// gather sorts the rows into days, months and normals.
func (s *SiteWeather) gather(rows []dataset.Weather, d *doubts, height *float64) (byDay []reading, months map[int]*monthly, normals [12]monthly) {
	var of []*dataset.Weather
	days := map[string]int{}
	for i := range rows {
		w := &rows[i]
		if w.Grower != s.Grower || w.Rain == nil && w.TempMax == nil && w.TempMin == nil && w.Humidity == nil && w.Wind == nil && w.Sun == nil {
			continue
		}
		of = append(of, w)
		if w.Period == "day" && w.Date >= s.From && w.Date <= s.To {
			days[w.Site]++
		} else {
			days[w.Site] += 0
		}
	}
	s.rows = len(of)
	sites := slices.SortedFunc(maps.Keys(days), func(x, y string) int { return cmp.Or(days[y]-days[x], cmp.Compare(x, y)) })
	rank := map[string]int{}
	for i, name := range sites {
		rank[name] = i
	}
	if len(sites) > 0 {
		s.Site = sites[0]
	}
	if len(sites) > 1 {
		d.add("", "weather sites", fmt.Sprintf("weather of %d sites (%s): %s comes first, the others fill its gaps", len(sites), strings.Join(named(sites), ", "), named(sites[:1])[0]))
	}
	// Normals last, the newest of them first.
	era := func(w *dataset.Weather) int {
		if w.Period == "normal" {
			return -w.Date.Year()
		}
		return math.MinInt
	}
	slices.SortStableFunc(of, func(x, y *dataset.Weather) int {
		return cmp.Or(cmp.Compare(era(x), era(y)), rank[x.Site]-rank[y.Site], cmp.Compare(x.Date, y.Date))
	})
	byDay = make([]reading, s.To-s.From+1)
	nan := math.NaN()
	for i := range byDay {
		byDay[i] = reading{nan, nan, nan, nan, nan, nan, noWeather}
	}
	months = map[int]*monthly{}
	seen := map[string]bool{}
	twice, first := 0, []RowRef(nil)
	for _, w := range of {
		if !seen[w.Site] {
			seen[w.Site] = s.station(w, height, d)
		}
		if why := impossible(w); why != "" {
			d.add("", "impossible weather", fmt.Sprintf("%s of %s: not used", why, w.Date), refOf(w.Source))
			continue
		}
		switch w.Period {
		case "normal":
			normals[w.Date.Month()-1].take(w, 30)
		case "month":
			ym := yearMonth(w.Date)
			if months[ym] == nil {
				months[ym] = &monthly{}
			}
			months[ym].take(w, int(firstOf(ym+1)-firstOf(ym)))
		default:
			if w.Date < s.From || w.Date > s.To {
				continue
			}
			r := &byDay[w.Date-s.From]
			again := w.Rain != nil && !math.IsNaN(r.rain) && r.rain != *w.Rain
			for _, x := range []struct {
				at   *float64
				from *float64
			}{{&r.rain, w.Rain}, {&r.humidity, w.Humidity}, {&r.wind, w.Wind}, {&r.sun, w.Sun}} {
				if x.from != nil && math.IsNaN(*x.at) {
					*x.at = *x.from
				}
			}
			if w.TempMax != nil && w.TempMin != nil {
				if math.IsNaN(r.high) {
					r.high, r.low, r.heatOf = *w.TempMax, *w.TempMin, ofDay
				} else if r.high != *w.TempMax || r.low != *w.TempMin {
					again = true
				}
			}
			if again {
				twice++
				first = append(first, refOf(w.Source))
			}
			if w.Rain != nil && *w.Rain > heavyRain {
				d.add("", "heavy rain", fmt.Sprintf("%.0f mm of rain on %s: used; was it in tenths of a mm, or a month's?", *w.Rain, w.Date), refOf(w.Source))
			}
		}
	}
	if twice > 0 {
		d.add("", "two sources", fmt.Sprintf("%d %s two sources that differ: the site with most days holds", twice, plural(twice, "day has", "days have")), first...)
	}
	return byDay, months, normals
}

func plural(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return many
}

func named(sites []string) (out []string) {
	for _, s := range sites {
		if s == "" {
			s = "the unnamed site"
		}
		out = append(out, s)
	}
	return out
}

// impossible says what no sky has done, empty if nothing.
func impossible(w *dataset.Weather) string {
	most := mostRain
	if w.Period != "day" {
		most *= 5
	}
	switch {
	case w.Rain != nil && (*w.Rain < 0 || *w.Rain > most || math.IsNaN(*w.Rain)):
		return fmt.Sprintf("rain %.4g mm", *w.Rain)
	case w.TempMax != nil && !(*w.TempMax > coldest && *w.TempMax < hottest):
		return fmt.Sprintf("high %.4g C", *w.TempMax)
	case w.TempMin != nil && !(*w.TempMin > coldest && *w.TempMin < hottest):
		return fmt.Sprintf("low %.4g C", *w.TempMin)
	case w.TempMax != nil && w.TempMin != nil && *w.TempMin > *w.TempMax:
		return fmt.Sprintf("low %.4g C above the high %.4g C", *w.TempMin, *w.TempMax)
	case w.Humidity != nil && !(*w.Humidity >= 0 && *w.Humidity <= 100):
		return fmt.Sprintf("humidity %.4g %%", *w.Humidity)
	case w.Wind != nil && !(*w.Wind >= 0):
		return fmt.Sprintf("wind %.4g m/s", *w.Wind)
	}
	return ""
}

// station reads where a station stands from the note of its rows, such as
// "station at 412 m, 35 km away", and doubts one that is far or at another height.
// It reports whether the note says either.
func (s *SiteWeather) station(w *dataset.Weather, height *float64, d *doubts) bool {
	note := strings.ToLower(w.Note)
	if !strings.Contains(note, "station") {
		return false
	}
	var at, away float64
	var hasHeight, hasAway bool
	words := strings.FieldsFunc(note, func(r rune) bool { return strings.ContainsRune(" ,;()", r) })
	for i := range len(words) - 1 {
		v, err := strconv.ParseFloat(words[i], 64)
		if err != nil {
			continue
		}
		switch words[i+1] {
		case "m":
			at, hasHeight = v, true
		case "ft":
			at, hasHeight = v*0.3048, true
		case "km":
			away, hasAway = v, true
		case "mi", "mile", "miles":
			away, hasAway = v*1.609344, true
		}
	}
	name := named([]string{w.Site})[0]
	if hasAway && away > farAway {
		d.add("", "station", fmt.Sprintf("%s is %.0f km away: showers there are not showers here, a gauge of your own would tell", name, away), refOf(w.Source))
	}
	if hasHeight && height != nil && math.Abs(at-*height) > farHigher {
		d.add("", "station", fmt.Sprintf("%s stands at %.0f m, the beds at %.0f m: it is about %.1f C %s there, nothing was corrected for it", name, at, *height,
			math.Abs(at-*height)*0.0065, map[bool]string{true: "colder", false: "warmer"}[at > *height]), refOf(w.Source))
	}
	return hasAway || hasHeight
}

// fill closes the gaps of rain and temperature.
func (s *SiteWeather) fill(byDay []reading, months map[int]*monthly, normals [12]monthly, d *doubts) {
	// Temperature: short gaps on the line between their ends.
	gapDays, gaps := 0, 0
	for i := 0; i < len(byDay); i++ {
		if byDay[i].heatOf != noWeather || i == 0 || byDay[i-1].heatOf == noWeather {
			continue
		}
		end := i
		for end < len(byDay) && byDay[end].heatOf == noWeather {
			end++
		}
		if end == len(byDay) || end-i > shortGap {
			i = end
			continue
		}
		a, b := byDay[i-1], byDay[end]
		for j := i; j < end; j++ {
			u := float64(j-i+1) / float64(end-i+1)
			byDay[j].high, byDay[j].low, byDay[j].heatOf = a.high+u*(b.high-a.high), a.low+u*(b.low-a.low), filled
		}
		gapDays, gaps = gapDays+end-i, gaps+1
		i = end
	}
	if gaps > 0 {
		d.add("", "weather gap", fmt.Sprintf("temperature: %d %s of %d days in all filled from the days about them", gaps, plural(gaps, "gap", "gaps"), gapDays))
	}
	var rainFilled, fromMonth, fromNormal, open int
	for i := 0; i < len(byDay); {
		ym := yearMonth(s.From + dataset.Date(i))
		first, last := firstOf(ym), firstOf(ym+1)-1
		lo, hi := i, min(int(last-s.From), len(byDay)-1)
		month, normal := months[ym], &normals[ym%12]
		known, sum := 0, 0.0
		for j := lo; j <= hi; j++ {
			if !math.IsNaN(byDay[j].rain) {
				known++
				sum += byDay[j].rain
			}
		}
		if month != nil && month.rain != nil && sum > *month.rain*1.05+2 {
			d.add("", "two sources", fmt.Sprintf("%s: the days recorded have %.0f mm of rain, the month's own row %.0f: the days hold", first.String()[:7], sum, *month.rain))
		}
		length := int(last-first) + 1
		whole := lo == int(first-s.From) && hi == int(last-s.From)
		missing := hi - lo + 1 - known
		var rate float64 // mm a day on the days that are missing
		of := noWeather
		switch {
		case missing == 0:
		case month != nil && month.rain != nil && (whole || known == 0):
			if whole {
				rate, of = max(0, *month.rain-sum)/float64(missing), ofMonth
			} else {
				rate, of = *month.rain/float64(length), ofMonth
			}
			fromMonth += missing
		case month != nil && month.rain != nil:
			rate, of = *month.rain/float64(length), ofMonth
			fromMonth += missing
		case missing <= fewDays && known > 3*missing:
			rate, of = sum/float64(known), filled
			rainFilled += missing
		case normal.rain != nil:
			rate, of = *normal.rain/float64(length), ofNormal
			fromNormal += missing
		default:
			open += missing
		}
		k := 0
		count := [3]int{}
		for j := lo; j <= hi; j++ {
			x := &s.days[j]
			if !math.IsNaN(byDay[j].rain) {
				x.rain, x.even, x.heaped, x.rainOf = byDay[j].rain, byDay[j].rain, byDay[j].rain, ofDay
				continue
			}
			x.rainOf = of
			if rate > 0 {
				x.even = rate
				if onDay(k, 3, missing) {
					x.rain = 1
					count[1]++
				}
				if onDay(k, 8, missing) {
					x.heaped = 1
					count[2]++
				}
			}
			k++
		}
		if rate > 0 { // the same sum in each pattern
			for j := lo; j <= hi; j++ {
				if x := &s.days[j]; x.rainOf != ofDay {
					x.rain *= rate * float64(missing) / float64(count[1])
					x.heaped *= rate * float64(missing) / float64(count[2])
				}
			}
		}
		for j := lo; j <= hi; j++ {
			x, r := &s.days[j], &byDay[j]
			switch {
			case r.heatOf != noWeather:
			case month != nil && month.high != nil:
				r.high, r.low, r.heatOf = *month.high, *month.low, ofMonth
			case normal.high != nil:
				r.high, r.low, r.heatOf = *normal.high, *normal.low, ofNormal
			}
			x.heatOf = r.heatOf
			x.mean = (r.high + r.low) / 2
		}
		i = hi + 1
	}
	if rainFilled > 0 {
		d.add("", "weather gap", fmt.Sprintf("rain: %d missing %s given the mean of their month", rainFilled, plural(rainFilled, "day was", "days were")))
	}
	if dayRows := s.dayRows(); dayRows > 0 && fromMonth+fromNormal > 0 {
		d.add("", "weather gap", fmt.Sprintf("rain: of %d days %d are recorded, %d come from their month's sum, %d from normals", len(s.days), dayRows, fromMonth, fromNormal))
	}
	if open > 0 && s.rows > 0 {
		d.add("", "weather gap", fmt.Sprintf("rain: %d of %d days are not recorded in any way", open, len(s.days)))
	}
}

func (s *SiteWeather) dayRows() (n int) {
	for i := range s.days {
		if s.days[i].rainOf == ofDay {
			n++
		}
	}
	return n
}

// onDay tells whether day k of n is a day of rain, one in every.
func onDay(k, every, n int) bool {
	if n < every {
		return k == n/2
	}
	return k%every == every/2
}

// evaporate works out the reference evapotranspiration of each day.
func (s *SiteWeather) evaporate(byDay []reading, months map[int]*monthly, normals [12]monthly, height *float64, d *doubts) {
	if s.Latitude == nil {
		return
	}
	z := 0.0
	if height != nil {
		z = *height
	}
	var ra, daylight [367]float64
	for j := 1; j <= 366; j++ {
		ra[j], daylight[j] = ExtraterrestrialRadiation(*s.Latitude, j), DaylightHours(*s.Latitude, j)
	}
	year, ofYear := 0, 0
	var month *monthly
	full := 0
	for i := range s.days {
		t := (s.From + dataset.Date(i)).Time()
		if ofYear++; i == 0 || t.Year() != year {
			year, ofYear = t.Year(), t.YearDay()
		}
		if i == 0 || t.Day() == 1 {
			month = months[yearMonth(s.From+dataset.Date(i))]
		}
		x, r := &s.days[i], &byDay[i]
		if x.heatOf == noWeather {
			continue
		}
		h, w, n := r.humidity, r.wind, r.sun
		from := month
		if x.heatOf == ofNormal {
			from = &normals[t.Month()-1]
		}
		if x.heatOf >= ofMonth && from != nil {
			h, w, n = or(h, from.humidity), or(w, from.wind), or(n, from.sun)
		}
		if math.IsNaN(h) || math.IsNaN(w) || math.IsNaN(n) {
			x.et0 = Hargreaves(r.high, r.low, ra[ofYear])
			continue
		}
		x.et0, x.full = referenceFrom(r.high, r.low, h, w, n, ra[ofYear], daylight[ofYear], z), true
		full++
	}
	if full > 0 && height == nil {
		d.add("", "no height", "the book gives no height above the sea (elevation_m in book.toml): taken as 0 m")
	}
}

func or(v float64, other *float64) float64 {
	if math.IsNaN(v) && other != nil {
		return *other
	}
	return v
}

// NoWeather says why there is no figure of water or leaching, and what to add.
type NoWeather struct {
	Why string   `json:"why"`
	Add []string `json:"add"`
}

// String is the answer in one sentence.
func (n *NoWeather) String() string {
	return n.Why + "; to have one, add " + strings.Join(n.Add, ", or ")
}

// missing returns nil if every day from one to another has rain and
// evapotranspiration, else what stands against it.
func (s *SiteWeather) missing(from, to dataset.Date) *NoWeather {
	weather := []string{
		"a station's daily rain, high and low",
		"your own rain, high and low month by month (sheet weather, period month)",
		"twelve monthly normals once (period normal)",
	}
	if s.rows == 0 {
		return &NoWeather{"no weather, so no leaching number", weather}
	}
	if s.Latitude == nil {
		return &NoWeather{"no latitude, so no evapotranspiration and no leaching number", []string{"latitude to book.toml"}}
	}
	rain, heat, n := 0, 0, 0
	for d := from; d <= to; d++ {
		n++
		if d < s.From || d > s.To {
			rain, heat = rain+1, heat+1
			continue
		}
		x := &s.days[d-s.From]
		if x.rainOf == noWeather {
			rain++
		}
		if x.heatOf == noWeather {
			heat++
		}
	}
	switch {
	case rain == n && heat == n:
		return &NoWeather{fmt.Sprintf("no weather from %s to %s, so no leaching number", from, to), weather}
	case rain > 0 && heat > 0:
		return &NoWeather{fmt.Sprintf("from %s to %s rain is missing on %d days of %d and temperature on %d, so no leaching number", from, to, rain, n, heat), weather}
	case rain > 0:
		return &NoWeather{fmt.Sprintf("from %s to %s rain is missing on %d days of %d, so no leaching number", from, to, rain, n), weather}
	case heat > 0:
		return &NoWeather{fmt.Sprintf("from %s to %s temperature is missing on %d days of %d, so no leaching number", from, to, heat, n), weather}
	}
	return nil
}

// DayCounts says where the rain of a period's days comes from.
type DayCounts struct {
	Daily   int `json:"daily"`
	Filled  int `json:"filled"`
	Monthly int `json:"monthly"`
	Normal  int `json:"normal"`
}

// resolution counts the days of a period and names what most of them rest on;
// full reports whether Penman-Monteith gave all of their evapotranspiration, some
// whether it gave any.
func (s *SiteWeather) resolution(from, to dataset.Date) (c DayCounts, name string, full, some bool) {
	full = true
	for d := max(from, s.From); d <= min(to, s.To); d++ {
		x := &s.days[d-s.From]
		switch x.rainOf {
		case ofDay:
			c.Daily++
		case filled:
			c.Filled++
		case ofMonth:
			c.Monthly++
		case ofNormal:
			c.Normal++
		}
		full, some = full && x.full, some || x.full
	}
	var parts []string
	for _, p := range []struct {
		n    int
		name string
	}{{c.Daily + c.Filled, "daily"}, {c.Monthly, "monthly"}, {c.Normal, "normals"}} {
		if p.n > 0 {
			parts = append(parts, p.name)
		}
	}
	return c, strings.Join(parts, " and "), full, some
}
