package analysis

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"carryover/analysis/fit"
	"carryover/dataset"
)

// Dimensions of the uncertain quantities of water and leaching; the rest of an
// account takes others.
const (
	dimRain = 20 + iota
	dimNormals
	dimCrop
	dimGround
	dimSoil
	dimWatering
	dimTiming
	dimBurns
	dimSorption
	dimConcentration
	dimCover
)

// texture is a class of soil texture: sand and clay as shares of its mineral part,
// and the range of its field capacity, share of volume.
type texture struct {
	name        string
	sand, clay  float64
	capLow, cap float64
}

// textures have the field capacity of FAO-56, table 19; where it has none (sandy
// clay loam, clay loam, sandy clay), that of capacity +-0.05. Sand and clay are
// those of a soil in the middle of the class, from memory.
func textures() []texture {
	return []texture{
		{"silty clay loam", 0.10, 0.35, 0.30, 0.37},
		{"sandy clay loam", 0.60, 0.28, 0.22, 0.32},
		{"sandy clay", 0.50, 0.40, 0.30, 0.40},
		{"silty clay", 0.08, 0.45, 0.30, 0.42},
		{"sandy loam", 0.65, 0.10, 0.18, 0.28},
		{"loamy sand", 0.82, 0.06, 0.11, 0.19},
		{"silt loam", 0.20, 0.15, 0.22, 0.36},
		{"clay loam", 0.30, 0.35, 0.31, 0.41},
		{"sand", 0.88, 0.05, 0.07, 0.17},
		{"silt", 0.10, 0.05, 0.28, 0.36},
		{"clay", 0.25, 0.50, 0.32, 0.40},
		{"loam", 0.40, 0.20, 0.20, 0.30},
	}
}

// unknownTexture stands for a soil of which no texture is recorded: a loam, with
// the range from sandy loam to clay loam.
func unknownTexture() texture { return texture{"", 0.40, 0.20, 0.18, 0.36} }

// textureOf finds the class a grower's words name; ok is false for none.
func textureOf(words string) (texture, bool) {
	have := strings.Join(strings.FieldsFunc(strings.ToLower(words), func(r rune) bool { return r < 'a' || r > 'z' }), " ")
	for _, adjective := range [][2]string{{"silty loam", "silt loam"}, {"clayey", "clay"}, {"loamy clay", "clay loam"}} {
		have = strings.ReplaceAll(have, adjective[0], adjective[1])
	}
	for _, t := range textures() {
		if strings.Contains(" "+have+" ", " "+t.name+" ") {
			return t, true
		}
	}
	if strings.Contains(" "+have+" ", " sandy ") {
		return textureOf("sandy loam")
	}
	return unknownTexture(), false
}

// mostOMHeld is the most organic matter, %, that capacities were fitted to.
const mostOMHeld = 8

// Capacities returns the water a soil holds at the wilting point and at field
// capacity, shares of volume, from sand and clay (shares of the mineral part) and
// organic matter, %. The error wraps ErrTooFew above 8 % of organic matter, past
// what the equations were fitted to.
//
// Source: Saxton and Rawls 2006, Soil Science Society of America Journal
// 70:1569-1578, with 1.283 in the square term of field capacity, as most copies
// print it.
func Capacities(sand, clay, om float64) (wilting, field float64, err error) {
	if om > mostOMHeld {
		return 0, 0, fmt.Errorf("%w: organic matter %.1f %%: water capacities are known up to %d %%", ErrTooFew, om, mostOMHeld)
	}
	w := -0.024*sand + 0.487*clay + 0.006*om + 0.005*sand*om - 0.013*clay*om + 0.068*sand*clay + 0.031
	f := -0.251*sand + 0.195*clay + 0.011*om + 0.006*sand*om - 0.027*clay*om + 0.452*sand*clay + 0.299
	return w + 0.14*w - 0.02, f + 1.283*f*f - 0.374*f - 0.015, nil
}

// Pumpkin's coefficients: of all its water and of the plant's own part of it, at
// first, in full leaf and at the end. Source: FAO-56, tables 12 and 17 (squash and
// pumpkin rows); the 2025 revision has 0.50, 0.95 and 0.70.
const (
	kcFirst, kcbFirst = 0.50, 0.15
	kcFull, kcbFull   = 1.00, 0.95
	kcEnd, kcbEnd     = 0.80, 0.70
)

// stages are the shares of a season that its first, growing, full and last stage
// take: FAO-56, table 11, of 100 days (20, 30, 30, 20) and of 120 (25, 35, 35,
// 25), whichever is nearer.
func stages(days int) (first, growing, full float64) {
	if days < 110 {
		return 0.2, 0.5, 0.8
	}
	return 25.0 / 120, 60.0 / 120, 95.0 / 120
}

// cropCoefficient returns what part of the reference evapotranspiration soil and
// plant take on a day of the season, counted from set-out. Between stages it is
// linear. Vines that are kept green stay at full to the end of days.
func cropCoefficient(day, days int, green bool) (soil, plant float64) {
	first, growing, full := stages(days)
	u := (float64(day) + 0.5) / float64(max(days, 1))
	at := func(w, kc0, kc1, kcb0, kcb1 float64) (float64, float64) {
		kc, kcb := kc0+w*(kc1-kc0), kcb0+w*(kcb1-kcb0)
		return kc - kcb, kcb
	}
	switch {
	case u < first:
		return at(0, kcFirst, 0, kcbFirst, 0)
	case u < growing:
		return at((u-first)/(growing-first), kcFirst, kcFull, kcbFirst, kcbFull)
	case u < full || green:
		return at(0, kcFull, 0, kcbFull, 0)
	}
	return at(min((u-full)/(1-full), 1), kcFull, kcEnd, kcbFull, kcbEnd)
}

// Coefficients of ground without a crop, from memory: FAO-56, chapter 11 and
// figure 29, gives 0.8 to 1 for bare soil that rain wets every few days in a weak
// sun, a half of it under an organic mulch, and 0.25 under snow or frozen (Wright
// 1993, at Kimberly, Idaho); a cover that closes is near the reference grass.
const (
	kBare    = 0.80
	kMulched = 0.40
	kFrozen  = 0.25
	kSnow    = 0.25
	// A cover takes kCoverPlant through its leaves and leaves kCoverSoil to the
	// soil; it comes to that in coverDays from sowing.
	kCoverPlant = 0.70
	kCoverSoil  = 0.20
	coverDays   = 40
)

// Snow: falls up to snowsBelow, deg C mean of the day, and melts by meltRate mm
// for each degree above freezing. From memory of degree-day methods (1.6 to 6 mm).
const (
	snowsBelow = 1.0
	meltRate   = 3.0
)

// Roots: their depth in cm (FAO-56, table 22), and p, the share of the available
// water they take before thirst slows them, with its rule (table 22, note 2).
const (
	rootsLow, rootsHigh = 100.0, 150.0
	roots               = (rootsLow + rootsHigh) / 2
)

func easyShare(etc float64) float64 { return min(max(0.35+0.04*(5-etc), 0.1), 0.8) }

// rootShare is the part of its water a crop takes from the top depth cm: 40, 30,
// 20 and 10 % from the quarters of its roots. Common practice, no source.
func rootShare(depth float64) float64 {
	share, left := 0.0, depth/(roots/4)
	for _, part := range []float64{0.4, 0.3, 0.2, 0.1} {
		share += part * min(max(left, 0), 1)
		left--
	}
	return share
}

// ground says what stands on a bed on a day.
type ground uint8

const (
	bare ground = iota
	mulched
	covered // by a cover crop
	cropped
)

// bedDay is what a day brings to a bed, before what is uncertain of it: mm.
type bedDay struct {
	rain, even, heaped float64
	watering           float64
	et0                float64
	soil, plant        float64 // evapotranspiration asked of each
	share              float64 // the top's share of what the plant asks
	easy               float64 // water above which it is not slowed, share of what is available
	melt               float64
	snows, normal      bool
	crop, open         bool // open: weather missing, the bucket waits
}

// lane is one way in which all that is uncertain may be.
type lane struct {
	rain, normal, crop, ground, soil, watering float64
	pattern                                    int // of a month's rain: 0 as taken, -1 thinner, 1 more heaped
}

// flows are sums since the first day, mm; element k is what went before day k.
type flows struct {
	rain, watering, et, through, drainage []float64
	stored                                []float64 // in soil and snow
}

func (f *flows) reset(n int) {
	for _, x := range []*[]float64{&f.rain, &f.watering, &f.et, &f.through, &f.drainage, &f.stored} {
		*x = slices.Grow((*x)[:0], n+1)[:n+1]
		(*x)[0] = 0
	}
}

// pour runs the days through two stores, the sampled layer (top, mm of available
// water) and what roots reach below it. They are full at the start. Water above a
// store's capacity, once the day's evapotranspiration is taken, goes down: from the
// top to the roots below, from there it drains.
//
// Source: FAO-56, chapter 8 (root zone depletion, equations 84 to 88); that its
// root zone is cut in two is ours.
func pour(days []bedDay, top, below float64, l lane, out *flows) {
	out.reset(len(days))
	a1, a2 := top*l.soil, below*l.soil
	w1, w2, snow := a1, a2, 0.0
	var rainSum, waterSum, etSum, throughSum, drainSum float64
	out.stored[0] = w1 + w2
	waiting := 0
	for i := range days {
		d := &days[i]
		if d.open {
			waiting++
		} else {
			if waiting > 30 { // who knows: full is where most winters end
				w1, w2, snow = a1, a2, 0
			}
			waiting = 0
			rain := d.rain
			if l.pattern < 0 {
				rain = d.even
			} else if l.pattern > 0 {
				rain = d.heaped
			}
			if d.normal {
				rain *= l.normal
			} else {
				rain *= l.rain
			}
			rainSum += rain
			in := rain
			if d.snows {
				snow += rain
				in = 0
			} else if snow > 0 {
				m := min(snow, d.melt)
				snow -= m
				in += m
			}
			if d.watering > 0 {
				w := d.watering * l.watering
				waterSum += w
				in += w
			}
			w1 += in
			f := l.ground
			if d.crop {
				f = l.crop
			}
			if snow > 0 {
				e := min(snow, kSnow*d.et0*f)
				snow -= e
				etSum += e
			} else {
				plant := d.plant * f
				if easy := d.easy * (a1 + a2); plant > 0 && w1+w2 < easy {
					plant *= (w1 + w2) / easy
				}
				e := min(w1, d.soil*f)
				w1 -= e
				p1 := min(w1, plant*d.share)
				w1 -= p1
				p2 := min(w2, plant-p1)
				w2 -= p2
				etSum += e + p1 + p2
			}
			if over := w1 - a1; over > 0 {
				w1 = a1
				throughSum += over
				w2 += over
				if over := w2 - a2; over > 0 {
					w2 = a2
					drainSum += over
				}
			}
		}
		out.rain[i+1], out.watering[i+1], out.et[i+1] = rainSum, waterSum, etSum
		out.through[i+1], out.drainage[i+1], out.stored[i+1] = throughSum, drainSum, w1+w2+snow
	}
}

// factor is one uncertain thing: its dimension and the lanes at its 5 and 95 %.
type factor struct {
	dim       int
	low, high lane
}

var plainLane = lane{1, 1, 1, 1, 1, 1, 0}

// bedBucket is the water of one bed, worked out over all lanes. Its buffers are
// used again for the next bed.
type bedBucket struct {
	from    dataset.Date
	days    []bedDay
	ground  []ground
	factors []factor
	central flows
	low     []flows // a lane for each factor
	high    []flows
}

// 90 % ranges of what is uncertain, as factors; from memory but where a source is
// named. A gauge is not the bed; a normal is not its year (a season's or winter's
// rain varies by a fifth or so about it). Hargreaves: mean error 0.68 mm a day,
// bias 8.5 %, in Mississippi. Crop coefficients: a tenth, and up to 0.15 more under
// a giant canopy that is sprinkled. Available water: +-20 % within a class, times
// roots of 100 to 150 cm.
func uncertainties(penman, anyMonthly, anyNormal, anyWatering bool) []factor {
	with := func(dim int, set func(l *lane, v float64), low, high float64) factor {
		f := factor{dim, plainLane, plainLane}
		set(&f.low, low)
		set(&f.high, high)
		return f
	}
	crop := func(l *lane, v float64) { l.crop = v }
	list := []factor{
		with(dimRain, func(l *lane, v float64) { l.rain = v }, 0.90, 1.10),
		with(dimGround, func(l *lane, v float64) { l.ground = v }, 0.60, 1.35),
		with(dimSoil, func(l *lane, v float64) { l.soil = v }, 0.70, 1.35),
	}
	if penman {
		list = append(list, with(dimCrop, crop, 0.87, 1.18))
	} else {
		list = append(list, with(dimCrop, crop, 0.80, 1.25))
	}
	if anyWatering {
		list = append(list, with(dimWatering, func(l *lane, v float64) { l.watering = v }, 0.85, 1.15))
	}
	if anyNormal {
		list = append(list, with(dimNormals, func(l *lane, v float64) { l.normal = v }, 0.70, 1.35))
	}
	if anyMonthly || anyNormal {
		f := factor{dimTiming, plainLane, plainLane}
		f.low.pattern, f.high.pattern = -1, 1
		list = append(list, f)
	}
	return list
}

// run works out every lane.
func (b *bedBucket) run(top, below float64) {
	pour(b.days, top, below, plainLane, &b.central)
	for len(b.low) < len(b.factors) {
		b.low, b.high = append(b.low, flows{}), append(b.high, flows{})
	}
	for i, f := range b.factors {
		pour(b.days, top, below, f.low, &b.low[i])
		pour(b.days, top, below, f.high, &b.high[i])
	}
}

// column names one of the flows.
type column func(*flows) []float64

func ofRain(f *flows) []float64     { return f.rain }
func ofWatering(f *flows) []float64 { return f.watering }
func ofET(f *flows) []float64       { return f.et }
func ofThrough(f *flows) []float64  { return f.through }
func ofDrainage(f *flows) []float64 { return f.drainage }
func ofStored(f *flows) []float64   { return f.stored }

// between makes q what flowed from the start of one day to that of another, mm:
// the central figure, moved by each factor's lanes along its dimension. Only a
// change of what is stored can be below 0.
func (b *bedBucket) between(of column, from, to dataset.Date, q fit.Quantity) fit.Quantity {
	i, j := int(from-b.from), int(to-b.from)
	diff := func(f *flows) float64 { x := of(f); return x[j] - x[i] }
	middle := diff(&b.central)
	q.Constant(middle)
	for k, f := range b.factors {
		low, high := (diff(&b.low[k])-middle)/z90, (diff(&b.high[k])-middle)/z90
		if low == 0 && high == 0 {
			continue
		}
		for n, z := range fit.NormalPoints(f.dim) {
			if z < 0 {
				q[n] -= z * low
			} else {
				q[n] += z * high
			}
		}
	}
	if x := of(&b.central); &x[0] != &b.central.stored[0] {
		for n := range q {
			q[n] = max(q[n], 0)
		}
	}
	return q
}

// shareBetween is the part of all that went through from one day to another that
// did so while the ground was as asked.
func (b *bedBucket) shareBetween(of column, from, to dataset.Date, is ground) float64 {
	x := of(&b.central)
	all, part := 0.0, 0.0
	for d := from; d < to; d++ {
		k := int(d - b.from)
		v := x[k+1] - x[k]
		all += v
		if b.ground[k] == is {
			part += v
		}
	}
	if all == 0 {
		return 0
	}
	return part / all
}

// cropSpan is the time a crop stands on a bed.
type cropSpan struct {
	from, harvest, to dataset.Date
	crop              string
}

// Where a season's own days are not recorded; common practice, no source.
var (
	usualSetOut = monthDay{time.May, 20}
	usualEnd    = monthDay{time.October, 5}
)

// crops lists the times crops stood on the bed, by the records.
func (b *bedWork) crops() (list []cropSpan) {
	seasons := map[int]bool{}
	for i := range b.history.Plantings {
		seasons[int(b.history.Plantings[i].Season)] = true
	}
	for i := range b.history.Harvests {
		seasons[b.cal.SeasonOf(b.history.Harvests[i].Date)] = true
	}
	for _, y := range sortedKeys(seasons) {
		facts := b.seasonFacts(y)
		s := cropSpan{from: b.cal.day(y, usualSetOut), to: b.cal.day(y, usualEnd)}
		var assumed []string
		if facts.setOut != nil {
			s.from = *facts.setOut
		} else {
			assumed = append(assumed, "set-out as "+s.from.String())
		}
		var cleared *dataset.Date
		for i := range b.history.Plantings {
			p := &b.history.Plantings[i]
			if int(p.Season) != y {
				continue
			}
			if s.crop == "" || isPumpkin(p.Crop) {
				s.crop = p.Crop
			}
			if p.VinesCleared != nil && (cleared == nil || *p.VinesCleared > *cleared) {
				cleared = p.VinesCleared
			}
		}
		switch {
		case facts.harvest != nil && cleared != nil:
			s.harvest, s.to = *facts.harvest, max(*cleared, *facts.harvest)
		case facts.harvest != nil:
			s.harvest, s.to = *facts.harvest, *facts.harvest
		case cleared != nil:
			s.harvest, s.to = *cleared, *cleared
		default:
			s.harvest = s.to
			assumed = append(assumed, "its end as "+s.to.String())
		}
		if s.from > b.asOf || s.from >= s.to {
			continue
		}
		if len(assumed) > 0 {
			b.doubt("crop days", fmt.Sprintf("season %d: for water use take %s, which is not recorded", y, strings.Join(assumed, " and ")))
		}
		if !isPumpkin(s.crop) {
			b.doubt("crop water", fmt.Sprintf("season %d: %s is taken to use water as pumpkin does", y, s.crop))
		}
		list = append(list, s)
	}
	return list
}

func sortedKeys(m map[int]bool) (keys []int) {
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

// mulches tells a mulch by name.
func mulches(material string) bool {
	m := strings.ToLower(material)
	for _, w := range []string{"straw", "mulch", "wood chip", "woodchip", "leaves", "hay"} {
		if strings.Contains(m, w) {
			return true
		}
	}
	return false
}

// lay sets the days of the bed from one day on: weather, waterings, ground.
func (b *bedWork) lay(s *SiteWeather, k *bedBucket, from dataset.Date, top float64) (watering bool) {
	n := int(s.To-from) + 1
	k.from = from
	k.days = slices.Grow(k.days[:0], n)[:n]
	k.ground = slices.Grow(k.ground[:0], n)[:n]
	clear(k.days)
	clear(k.ground)
	mark := func(a, z dataset.Date, g ground, each func(i int)) {
		for d := max(a, from); d < z && d <= s.To; d++ {
			k.ground[d-from] = g
			if each != nil {
				each(int(d - from))
			}
		}
	}
	h := b.history
	for i := range h.Amendments {
		a := &h.Amendments[i]
		if a.Date > b.asOf || !mulches(a.Material) || a.Placed != "" && a.Placed != "surface" {
			continue
		}
		end := a.Date + 240
		for j := range h.Tillage {
			if t := h.Tillage[j].Date; t > a.Date {
				end = min(end, t)
			}
		}
		mark(a.Date, end, mulched, nil)
	}
	sown := map[int]dataset.Date{}
	for i := range h.Covers {
		c := &h.Covers[i]
		if c.Sown > b.asOf {
			continue
		}
		end := c.Sown + 240
		if c.Ended != nil {
			end = *c.Ended
		}
		mark(c.Sown, end, covered, func(j int) { sown[j] = c.Sown })
	}
	share := rootShare(top)
	coef := func(i int, soil, plant float64) { k.days[i].soil, k.days[i].plant = soil, plant }
	for _, c := range b.crops() {
		green := int(c.harvest - c.from)
		mark(c.from, c.to, cropped, func(i int) {
			since := int(from) + i - int(c.from)
			if since < green {
				soil, plant := cropCoefficient(since, green, true)
				coef(i, soil, plant)
				return
			}
			// After the last harvest the vines die down till they are cleared.
			u := min(float64(since-green+1)/float64(max(int(c.to-c.harvest), 1)), 1)
			coef(i, kcFull-kcbFull+u*(kcEnd-kcbEnd-kcFull+kcbFull), kcbFull+u*(kcbEnd-kcbFull))
		})
	}
	watering = b.waterings(k, from, s.To)
	for i := range k.days {
		d, x := &k.days[i], &s.days[int(from-s.From)+i]
		d.rain, d.even, d.heaped, d.et0 = x.rain, x.even, x.heaped, x.et0
		d.normal = x.rainOf == ofNormal
		d.open = x.rainOf == noWeather || x.heatOf == noWeather
		d.snows = x.mean <= snowsBelow
		d.melt = meltRate * max(x.mean, 0)
		d.share = share
		switch k.ground[i] {
		case cropped:
			d.crop = true
		case covered:
			u := min(float64(int(from)+i-int(sown[i]))/coverDays, 1)
			coef(i, kBare+u*(kCoverSoil-kBare), u*kCoverPlant)
			d.share = max(share, 0.6) // its roots are shallower; from memory
		case mulched:
			coef(i, kMulched, 0)
		default:
			coef(i, kBare, 0)
		}
		if !d.crop && x.mean < 0 {
			coef(i, min(d.soil, kFrozen), 0)
		}
		d.soil *= x.et0
		d.plant *= x.et0
		d.easy = 1 - easyShare(d.soil+d.plant)
	}
	return watering
}

// waterings adds what the bed was given; a month's on every third day.
func (b *bedWork) waterings(k *bedBucket, from, to dataset.Date) (any bool) {
	for i := range b.history.Irrigation {
		w := &b.history.Irrigation[i]
		mm := 0.0
		if w.Irrigation != nil {
			mm = *w.Irrigation
		} else if w.IrrigationL != nil {
			area := 0.0
			if d := b.descriptionAt(w.Date); d != nil && d.Area != nil {
				area = *d.Area
			}
			if area <= 0 {
				b.doubt("watering", "water is recorded in litres and the bed has no area: not counted", refOf(w.Source))
				continue
			}
			mm = *w.IrrigationL / area
		}
		if mm < 0 || mm > mostRain {
			b.doubt("watering", fmt.Sprintf("watering of %.4g mm on %s: not used", mm, w.Date), refOf(w.Source))
			continue
		}
		if mm == 0 || w.Date > b.asOf || w.Period == "normal" {
			continue
		}
		first, last := w.Date, w.Date
		if w.Period == "month" {
			last = firstOf(yearMonth(w.Date)+1) - 1
		}
		n, days := int(last-first)+1, 0
		for j := range n {
			if onDay(j, 3, n) {
				days++
			}
		}
		for j := range n {
			if d := first + dataset.Date(j); d >= from && d <= to && onDay(j, 3, n) {
				k.days[d-from].watering += mm / float64(days)
				any = true
			}
		}
	}
	return any
}
