package analysis

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"carryover/dataset"
	"carryover/dataset/intake"
)

// monthOf is a row of a month or a normal.
func monthOf(period, date string, rain, high, low float64) dataset.Weather {
	return dataset.Weather{Grower: "Ada", Site: "home", Date: day(date), Period: period, Rain: &rain, TempMax: &high, TempMin: &low,
		Source: dataset.Source{Batch: 1, File: "weather.csv", Line: 1}}
}

func normalsOf(rain float64) (rows []dataset.Weather) {
	for m, t := range []float64{-5, -4, 1, 8, 14, 19, 22, 21, 16, 10, 4, -2} {
		rows = append(rows, monthOf("normal", fmt.Sprintf("2020-%02d-01", m+1), rain, t+6, t-6))
	}
	return rows
}

func (s *SiteWeather) told(code string) string {
	var all []string
	for _, d := range s.doubts {
		if d.Code == code {
			all = append(all, d.Text)
		}
	}
	return strings.Join(all, "\n")
}

func (s *SiteWeather) rainSum(from, to string) (plain, even, heaped float64) {
	for d := day(from); d <= day(to); d++ {
		x := s.days[d-s.From]
		plain, even, heaped = plain+x.rain, even+x.even, heaped+x.heaped
	}
	return plain, even, heaped
}

func TestMonthsBecomeDays(t *testing.T) {
	rows := append(normalsOf(60), monthOf("month", "2024-06-01", 93, 24, 12))
	// Three days of June are recorded, too.
	for _, x := range []string{"2024-06-03", "2024-06-04", "2024-06-20"} {
		r := monthOf("day", x, 11, 20, 10)
		rows = append(rows, r)
	}
	s := NewSiteWeather(rows, "Ada", day("2024-04-10"), day("2024-09-20"), ptr(43.0), nil)
	for _, x := range []struct {
		from, to string
		want     float64
	}{
		{"2024-06-01", "2024-06-30", 93}, // the month's sum holds
		{"2024-07-01", "2024-07-31", 60},
		{"2024-04-10", "2024-04-30", 60 * 21.0 / 30}, // part of a month
		{"2024-09-01", "2024-09-20", 60 * 20.0 / 30},
	} {
		plain, even, heaped := s.rainSum(x.from, x.to)
		if math.Abs(plain-x.want) > 1e-9 || math.Abs(even-x.want) > 1e-9 || math.Abs(heaped-x.want) > 1e-9 {
			t.Errorf("%s to %s: %v, thinner %v, heaped %v mm, want %v", x.from, x.to, plain, even, heaped, x.want)
		}
	}
	c, name, full, _ := s.resolution(day("2024-06-01"), day("2024-07-31"))
	if c != (DayCounts{3, 0, 27, 31}) || name != "daily and monthly and normals" || full {
		t.Errorf("%+v, %q, %v", c, name, full)
	}
	if s.missing(day("2024-04-10"), day("2024-09-20")) != nil {
		t.Error("weather is missing where normals stand")
	}
}

func TestNormalsNeedNoMore(t *testing.T) {
	old := normalsOf(30)
	for i := range old {
		old[i].Date -= 3653
	}
	s := NewSiteWeather(append(old, normalsOf(60)...), "Ada", day("2024-01-01"), day("2024-12-31"), ptr(43.0), nil)
	if sum, _, _ := s.rainSum("2024-01-01", "2024-12-31"); math.Abs(sum-720) > 1e-6 {
		t.Errorf("the year has %v mm, want 720 of the newer normals", sum)
	}
	et := 0.0
	for i := range s.days {
		et += s.days[i].et0
	}
	if et < 700 || et > 1100 {
		t.Errorf("a year at 43 N evaporates %v mm", et)
	}
}

func TestGapsAreToldAndFilled(t *testing.T) {
	rows := inventedDays("2024-04-01", "2024-09-30")
	cut := func(from, to string) {
		for i := range rows {
			if d := rows[i].Date; d >= day(from) && d <= day(to) {
				rows[i].Rain, rows[i].TempMax, rows[i].TempMin = nil, nil, nil
			}
		}
	}
	cut("2024-05-10", "2024-05-12") // short: filled
	cut("2024-07-01", "2024-07-20") // long: open
	s := NewSiteWeather(rows, "Ada", day("2024-04-01"), day("2024-09-30"), ptr(43.0), ptr(200.0))
	contains(t, s.told("weather gap"), "temperature: 1 gap of 3 days in all filled from the days about them")
	contains(t, s.told("weather gap"), "rain: 3 missing days were given the mean of their month")
	contains(t, s.told("weather gap"), "rain: 20 of 183 days are not recorded in any way")
	if n := s.missing(day("2024-04-01"), day("2024-06-30")); n != nil {
		t.Errorf("a short gap is not filled: %v", n)
	}
	n := s.missing(day("2024-04-01"), day("2024-09-30"))
	if n == nil {
		t.Fatal("a long gap is passed over")
	}
	contains(t, n.String(), "rain is missing on 20 days of 183 and temperature on 20, so no leaching number; to have one, add a station's daily rain")
	// Normals close it, marked.
	s = NewSiteWeather(append(rows, normalsOf(62)...), "Ada", day("2024-04-01"), day("2024-09-30"), ptr(43.0), ptr(200.0))
	if s.missing(day("2024-04-01"), day("2024-09-30")) != nil {
		t.Error("normals close no gap")
	}
	contains(t, s.told("weather gap"), "rain: of 183 days 160 are recorded, 0 come from their month's sum, 20 from normals")
	if sum, _, _ := s.rainSum("2024-07-01", "2024-07-20"); math.Abs(sum-40) > 1e-9 {
		t.Errorf("20 days of a normal July of 62 mm: %v mm", sum)
	}
}

func TestBadWeatherIsNamed(t *testing.T) {
	rows := inventedDays("2024-04-01", "2024-04-30")
	rows[3].Rain = ptr(-1.0)
	rows[4].TempMax, rows[4].TempMin = ptr(10.0), ptr(14.0)
	rows[5].TempMax = ptr(71.0)
	rows[6].Rain = ptr(312.0)
	rows[7].TempMin = ptr(-95.0)
	rows[8].Humidity = ptr(120.0)
	rows[10].Wind = ptr(-3.0)
	other := monthOf("day", "2024-04-10", 44, 30, 20)
	other.Site = "airfield"
	other.Note = "station at 612 m, 55 km away"
	s := NewSiteWeather(append(rows, other), "Ada", day("2024-04-01"), day("2024-04-30"), ptr(43.0), ptr(200.0))
	for _, x := range [][2]string{
		{"impossible weather", "rain -1 mm of 2024-04-04: not used"},
		{"impossible weather", "low 14 C above the high 10 C of 2024-04-05: not used"},
		{"impossible weather", "high 71 C of 2024-04-06: not used"},
		{"impossible weather", "low -95 C of 2024-04-08: not used"},
		{"impossible weather", "humidity 120 % of 2024-04-09: not used"},
		{"impossible weather", "wind -3 m/s of 2024-04-11: not used"},
		{"heavy rain", "312 mm of rain on 2024-04-07: used; was it in tenths of a mm"},
		{"weather sites", "weather of 2 sites (home, airfield): home comes first"},
		{"two sources", "1 day has two sources that differ: the site with most days holds"},
		{"station", "airfield is 55 km away: showers there are not showers here"},
		{"station", "airfield stands at 612 m, the beds at 200 m: it is about 2.7 C colder there, nothing was corrected for it"},
	} {
		contains(t, s.told(x[0]), x[1])
	}
	if s.days[9].rain == 44 {
		t.Error("the lesser site's day took the place of the first's")
	}
	for _, d := range s.doubts {
		if d.Code == "impossible weather" && len(d.rows) != 1 {
			t.Errorf("%q rests on %d rows", d.Text, len(d.rows))
		}
	}
}

func TestDaysAgainstTheirMonth(t *testing.T) {
	rows := inventedDays("2024-06-01", "2024-06-30")
	s := NewSiteWeather(append(rows, monthOf("month", "2024-06-01", 3, 24, 12)), "Ada", day("2024-06-01"), day("2024-06-30"), ptr(43.0), nil)
	contains(t, s.told("two sources"), "2024-06: the days recorded have ")
	contains(t, s.told("two sources"), "mm of rain, the month's own row 3: the days hold")
}

func TestPenmanMonteithWhereGiven(t *testing.T) {
	rows := inventedDays("2024-06-01", "2024-06-30")
	for i := range rows[:20] {
		rows[i].Humidity, rows[i].Wind, rows[i].Sun = ptr(65.0), ptr(2.5), ptr(8.0)
	}
	rows[0].Sun = nil
	s := NewSiteWeather(rows, "Ada", day("2024-06-01"), day("2024-06-30"), ptr(43.0), nil)
	for i, x := range s.days {
		if want := i > 0 && i < 20; x.full != want {
			t.Errorf("day %d: Penman-Monteith %v, want %v", i+1, x.full, want)
		}
		if !(x.et0 > 0.5 && x.et0 < 9) {
			t.Errorf("day %d: %v mm", i+1, x.et0)
		}
	}
	contains(t, s.told("no height"), "taken as 0 m")
}

// A month's hours of sun may be its sum; a station's note may be in feet and miles.
func TestUnitsOfASheet(t *testing.T) {
	r := monthOf("month", "2024-06-01", 90, 25, 13)
	r.Humidity, r.Wind, r.Sun = ptr(65.0), ptr(2.0), ptr(240.0)
	s := NewSiteWeather([]dataset.Weather{r}, "Ada", day("2024-06-01"), day("2024-06-30"), ptr(43.0), ptr(0.0))
	r.Sun = ptr(8.0)
	x := NewSiteWeather([]dataset.Weather{r}, "Ada", day("2024-06-01"), day("2024-06-30"), ptr(43.0), ptr(0.0))
	if !s.days[9].full || math.Abs(s.days[9].et0-x.days[9].et0) > 1e-9 {
		t.Errorf("240 h in June give %v, 8 h a day %v mm", s.days[9].et0, x.days[9].et0)
	}
	r.Note = "Station at 2000 ft, 40 miles away"
	s = NewSiteWeather([]dataset.Weather{r}, "Ada", day("2024-06-01"), day("2024-06-30"), ptr(43.0), ptr(0.0))
	contains(t, s.told("station"), "home is 64 km away")
	contains(t, s.told("station"), "home stands at 610 m, the beds at 0 m")
	r.Note = "gauge moved 300 m on the 3rd"
	if s = NewSiteWeather([]dataset.Weather{r}, "Ada", day("2024-06-01"), day("2024-06-30"), ptr(43.0), ptr(0.0)); s.told("station") != "" {
		t.Error("a note on the gauge is read as the station's height")
	}
}

func TestNothingToGoOn(t *testing.T) {
	from, to := day("2024-04-01"), day("2024-09-30")
	none := NewSiteWeather(nil, "Ada", from, to, ptr(43.0), nil).missing(from, to)
	if none == nil {
		t.Fatal("no weather is enough")
	}
	contains(t, none.String(), "no weather, so no leaching number; to have one, add a station's daily rain, high and low, or your own rain")
	contains(t, none.String(), "twelve monthly normals once")
	nowhere := NewSiteWeather(normalsOf(60), "Ada", from, to, nil, nil).missing(from, to)
	if nowhere == nil {
		t.Fatal("no latitude is enough")
	}
	contains(t, nowhere.String(), "add latitude to book.toml")
	// Another grower's weather is not ours.
	if NewSiteWeather(normalsOf(60), "Bea", from, to, ptr(43.0), nil).missing(from, to) == nil {
		t.Error("another grower's weather is used")
	}
}

// The map that ships, on an invented station.
func TestStationMap(t *testing.T) {
	name := filepath.Join("..", "fixtures", "maps", "station-daily.toml")
	text, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	m, err := intake.ParseMap("station-daily.toml", text)
	if err != nil {
		t.Fatal(err)
	}
	sheet := "id,date,max,min,rain,snow_depth\nX1,2024-05-01,18.4,7.1,0,0\nX1,2024-05-02,12.0,6.6,14.2,0\nX1,2024-05-03,M,5.0,-9999,0\n"
	res, err := intake.Read([]intake.Source{{Name: "days.csv", Data: []byte(sheet)}}, intake.Options{Map: m, Today: day("2024-06-01")})
	if err != nil {
		t.Fatal(err)
	}
	rows := res.Records.Weather
	if len(rows) != 3 || rows[0].Site != "station" || rows[0].Period != "day" || *rows[1].Rain != 14.2 || *rows[1].TempMax != 12 || *rows[0].TempMin != 7.1 {
		t.Fatalf("read as %+v", rows)
	}
	if rows[2].Rain != nil || rows[2].TempMax != nil || *rows[2].TempMin != 5 {
		t.Errorf("what was not measured is read as %+v", rows[2])
	}
	// With the line on where the station stands, as the map tells.
	noted := strings.Replace(string(text), "# note =", "note =", 1)
	if noted == string(text) {
		t.Fatal("the map no longer tells how to say where the station stands")
	}
	if m, err = intake.ParseMap("station-daily.toml", []byte(noted)); err != nil {
		t.Fatal(err)
	}
	if res, err = intake.Read([]intake.Source{{Name: "days.csv", Data: []byte(sheet)}}, intake.Options{Map: m, Today: day("2024-06-01")}); err != nil {
		t.Fatal(err)
	}
	s := NewSiteWeather(res.Records.Weather, "", day("2024-05-01"), day("2024-05-03"), ptr(43.0), ptr(150.0))
	contains(t, s.told("station"), "station is 35 km away")
	contains(t, s.told("station"), "station stands at 412 m")
}

// Ten years of daily weather for one site: rows to days with evapotranspiration.
func BenchmarkSiteWeather(b *testing.B) {
	rows := inventedDays("2015-03-01", "2025-03-01")
	for i := range rows {
		rows[i].Humidity, rows[i].Wind, rows[i].Sun = ptr(65.0), ptr(2.5), ptr(8.0)
	}
	for b.Loop() {
		NewSiteWeather(rows, "Ada", day("2015-03-01"), day("2025-03-01"), ptr(43.0), ptr(200.0))
	}
}
