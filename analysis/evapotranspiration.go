package analysis

import (
	"math"
	"time"

	"carryover/dataset"
)

// The sun and the thirst of the air, by FAO-56: Allen, Pereira, Raes and Smith
// 1998, Crop evapotranspiration, FAO Irrigation and Drainage Paper 56, with the
// numbers of its equations. Latitude is in degrees north, south below 0; a day
// of the year counts from 1; temperatures are deg C; radiation is MJ/m2/day.

const (
	solarConstant   = 0.0820   // MJ/m2/min
	stefanBoltzmann = 4.903e-9 // MJ/K4/m2/day
	latent          = 0.408    // mm of water that 1 MJ/m2 evaporates
)

// sun returns the inverse relative distance to the sun, its declination and the
// sunset hour angle, radians. Equations 23 to 25.
func sun(latitude float64, dayOfYear int) (dr, declination, sunset float64) {
	turn := 2 * math.Pi / 365 * float64(dayOfYear)
	dr = 1 + 0.033*math.Cos(turn)
	declination = 0.409 * math.Sin(turn-1.39)
	// Where the sun never sets or never rises the cosine leaves its domain.
	return dr, declination, math.Acos(min(max(-math.Tan(radians(latitude))*math.Tan(declination), -1), 1))
}

func radians(degrees float64) float64 { return degrees * math.Pi / 180 }

// ExtraterrestrialRadiation is what reaches the top of the air in a day,
// MJ/m2/day. Source: FAO-56, equation 21.
func ExtraterrestrialRadiation(latitude float64, dayOfYear int) float64 {
	dr, d, ws := sun(latitude, dayOfYear)
	phi := radians(latitude)
	return 24 * 60 / math.Pi * solarConstant * dr * (ws*math.Sin(phi)*math.Sin(d) + math.Cos(phi)*math.Cos(d)*math.Sin(ws))
}

// DaylightHours is the greatest possible length of sunshine, h: the sun's centre
// above a level horizon. Source: FAO-56, equation 34.
func DaylightHours(latitude float64, dayOfYear int) float64 {
	_, _, ws := sun(latitude, dayOfYear)
	return 24 / math.Pi * ws
}

// vapourPressure is that of saturated air, kPa. Source: FAO-56, equation 11.
func vapourPressure(t float64) float64 { return 0.6108 * math.Exp(17.27*t/(t+237.3)) }

// airPressure at a height in m, kPa. Source: FAO-56, equation 7.
func airPressure(height float64) float64 {
	return 101.3 * math.Pow((293-0.0065*height)/293, 5.26)
}

// psychrometric is the psychrometric constant, kPa/deg C, at an air pressure in
// kPa. Source: FAO-56, equation 8.
func psychrometric(pressure float64) float64 { return 0.665e-3 * pressure }

// windAtTwoMetres turns wind at another height in m, above open grass, into that
// at 2 m, m/s. Source: FAO-56, equation 47.
func windAtTwoMetres(wind, height float64) float64 {
	return wind * 4.87 / math.Log(67.8*height-5.42)
}

// solarFromSun is solar radiation from hours of sunshine. Source: FAO-56,
// equation 35, with its values of a and b.
func solarFromSun(hours, daylight, ra float64) float64 {
	if daylight <= 0 {
		return 0
	}
	return (0.25 + 0.50*min(hours/daylight, 1)) * ra
}

// solarFromRange is solar radiation from the day's range of temperature away
// from coasts. Source: FAO-56, equation 50, k 0.16.
func solarFromRange(high, low, ra float64) float64 { return 0.16 * math.Sqrt(high-low) * ra }

// radiation holds what makes up the energy of a day.
type radiation struct {
	long, net float64 // MJ/m2/day; net is that in less that out
}

// netRadiation over a grass reference. ea is the vapour pressure, kPa, height that
// above the sea, m. Source: FAO-56, equations 37 to 40.
func netRadiation(high, low, ea, solar, ra, height float64) radiation {
	const kelvin = 273.16
	clear := (0.75 + 2e-5*height) * ra
	cloud := 1.0
	if clear > 0 {
		cloud = min(solar/clear, 1)
	}
	fourth := func(t float64) float64 { return (t * t) * (t * t) }
	t4 := (fourth(high+kelvin) + fourth(low+kelvin)) / 2
	long := stefanBoltzmann * t4 * (0.34 - 0.14*math.Sqrt(ea)) * (1.35*cloud - 0.35)
	return radiation{long, 0.77*solar - long}
}

// Hargreaves is reference evapotranspiration, mm/day, where only temperature is
// known; ra is extraterrestrial radiation. It is too high where the air is humid
// and too low in wind above 3 m/s. Source: FAO-56, equation 52.
func Hargreaves(high, low, ra float64) float64 {
	return max(0, 0.0023*((high+low)/2+17.8)*math.Sqrt(max(high-low, 0))*latent*ra)
}

// PenmanMonteith is reference evapotranspiration, mm/day. ea is the vapour
// pressure of the air, kPa; wind is at 2 m, m/s; net is net radiation and ground
// the heat that goes into the ground, MJ/m2/day; height is above the sea, m.
//
// Source: FAO-56, equation 6, with 11 to 13 for what stands in it.
func PenmanMonteith(high, low, ea, wind, net, ground, height float64) float64 {
	mean := (high + low) / 2
	slope := 4098 * vapourPressure(mean) / ((mean + 237.3) * (mean + 237.3))
	gamma := psychrometric(airPressure(height))
	es := (vapourPressure(high) + vapourPressure(low)) / 2
	return max(0, (latent*slope*(net-ground)+gamma*900/(mean+273)*wind*(es-ea))/(slope+gamma*(1+0.34*wind)))
}

// referenceFrom is PenmanMonteith from what a station's sheet holds: mean
// relative humidity, %, wind at 10 m, m/s, and hours of sunshine. FAO-56,
// equation 19 gives the vapour pressure. That stations measure wind at 10 m is
// common practice, no source.
func referenceFrom(high, low, humidity, wind, sunshine, ra, daylight, height float64) float64 {
	ea := humidity / 100 * (vapourPressure(high) + vapourPressure(low)) / 2
	r := netRadiation(high, low, ea, solarFromSun(sunshine, daylight, ra), ra, height)
	return PenmanMonteith(high, low, ea, windAtTwoMetres(wind, 10), r.net, 0, height)
}

// Horizons of DayLength, degrees: where the sun's centre stands at sunrise.
const (
	// AlmanacHorizon is that of almanacs: the upper limb, lifted by refraction.
	AlmanacHorizon = -0.833
	// CentreHorizon has the centre on the horizon, no refraction.
	CentreHorizon = 0
)

// DayLength is the time from sunrise to sunset, h. The declination of the sun is
// that at noon UT, from its mean longitude and anomaly.
//
// Source: Meeus 1998, Astronomical algorithms, 2nd edition, chapter 25, low
// accuracy; from memory.
func DayLength(latitude float64, day dataset.Date, horizon float64) float64 {
	n := float64(day-dataset.DateOf(2000, time.January, 1)) / 36525 // noon to noon
	mean := 280.46646 + n*(36000.76983+0.0003032*n)
	anomaly := radians(357.52911 + n*(35999.05029-0.0001537*n))
	centre := (1.914602-n*(0.004817+0.000014*n))*math.Sin(anomaly) + (0.019993-0.000101*n)*math.Sin(2*anomaly) + 0.000289*math.Sin(3*anomaly)
	node := radians(125.04 - 1934.136*n)
	longitude := radians(mean + centre - 0.00569 - 0.00478*math.Sin(node))
	tilt := radians(23.439291 - 0.0130042*n + 0.00256*math.Cos(node))
	sinD := math.Sin(tilt) * math.Sin(longitude)
	cosD := math.Sqrt(1 - sinD*sinD)
	phi := radians(latitude)
	return 2.0 / 15 * 180 / math.Pi * math.Acos(min(max((math.Sin(radians(horizon))-math.Sin(phi)*sinD)/(math.Cos(phi)*cosD), -1), 1))
}

// ShortDays returns the first and the last day with less than 10 h between
// sunrise and sunset, in the winter that begins in the year (south: the winter of
// the year); ok is false where no day is that short.
func ShortDays(latitude float64, year int, horizon float64) (first, last dataset.Date, ok bool) {
	from := dataset.DateOf(year, time.July, 1)
	if latitude < 0 {
		from = dataset.DateOf(year, time.January, 1)
	}
	for d := from; d < from+365; d++ {
		if DayLength(latitude, d, horizon) < 10 {
			if !ok {
				first, ok = d, true
			}
			last = d
		}
	}
	return first, last, ok
}
