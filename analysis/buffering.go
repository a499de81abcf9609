package analysis

import (
	"fmt"
	"math"
	"slices"

	"carryover/analysis/fit"
)

// Buffering says how much of a change of mass in the sampled layer a soil test
// shows. The rest is taken up and given back by the soil.
type Buffering struct {
	Nutrient string `json:"nutrient"`
	// Share is how much of a mass added or taken off shows in the test.
	Share Estimate `json:"share"`
	// PerKgHa is the test's change, mg/kg, of 1 kg/ha of the element.
	PerKgHa Estimate `json:"mg_kg_per_kg_ha"`
	// Own says that the bed's own seasons sharpened the published range.
	Own       bool     `json:"own"`
	Seasons   int      `json:"seasons"` // with two tests and an account between them, this one apart
	Published Estimate `json:"published_share"`
	Source    string   `json:"source"`
	Text      string   `json:"text"`

	share   fit.Quantity
	against bool // the bed's seasons do not fit the published range
}

// shareOf turns the published lb/acre of an oxide per mg/kg into the share that
// shows: a furrow slice of 2,000,000 lb holds 2 lb/acre of the element per mg/kg.
func shareOf(lbOxidePerPPM float64, oxide string) float64 {
	return 2 * factorTo(oxide) / lbOxidePerPPM
}

// PBuildUp is the P2O5, lb/acre, that moves soil-test P by 1 mg/kg, and KBuildUp
// the K2O that moves soil-test K by as much at a cation exchange capacity: the
// build-up dose of four years, 4 (1 + 0.05 CEC).
//
// Source: Vitosh, Johnson and Mengel 1995, Tri-State Fertilizer Recommendations;
// its printed range for K, 6-10 lb, is that of CEC 10-30.
const PBuildUp = lbP2O5PerPPM

// KBuildUp is described with PBuildUp.
func KBuildUp(cec float64) float64 { return 4 * (1 + 0.05*cec) }

// publishedShare is the range of the share that shows, before the bed's own
// seasons are asked. Those of beds rich in compost reach higher than the farm
// soils of the source; how far is from memory.
func publishedShare(n string, cec float64) (r Range95, source string, ok bool) {
	switch n {
	case "P":
		return Range95{0.15, shareOf(PBuildUp, "P2O5"), 0.40}, "Vitosh, Johnson and Mengel 1995 (20 lb P2O5/acre per ppm); range from memory", true
	case "K":
		if cec <= 0 {
			return Range95{0.24, shareOf(KBuildUp(12), "K2O"), 0.70}, "Vitosh, Johnson and Mengel 1995 (6-10 lb K2O/acre per ppm, no CEC known); range from memory", true
		}
		mid := shareOf(KBuildUp(cec), "K2O")
		return Range95{mid * 0.65, mid, min(mid*1.75, 0.95)}, fmt.Sprintf("Vitosh, Johnson and Mengel 1995 (K2O by CEC, here %.0f); range from memory", cec), true
	}
	return Range95{}, "", false
}

// ownSeasons is how many seasons a bed must have before they may narrow the
// published range, and ownGain how much narrower they must make it to be used.
const (
	ownSeasons = 3
	ownGain    = 0.85
)

// restless is how far a bed's level moves in a season for reasons the account
// does not hold (release by the soil, washing down, spots), as a share; from
// memory.
const restless = 0.10

// evidence is one season's pair of tests and the mass between them.
type evidence struct {
	season     int
	change     float64 // of the test, mg/kg
	sd         float64 // of the change, the offset apart
	offset     float64 // standard deviation of what autumn reads apart from spring
	mass, wide float64 // net mass between the tests as mg/kg, and its standard deviation
}

// nitrate and organic forms have no such share; only P and K are asked.
var buffered = []string{"P", "K"}

// evidences gathers, by nutrient, the seasons of a bed in which the account and two
// tests speak of the same time.
func (a *accounting) evidences() map[string][]evidence {
	out := map[string][]evidence{}
	for _, y := range a.seasons() {
		var w *seasonWork
		for _, n := range buffered {
			i := slices.IndexFunc(a.observed, func(c Change) bool { // one method is enough
				return c.Season == y && c.Analyte == n && bounds(&c) && !c.Suspect && c.From.Qualifier+c.To.Qualifier == "" && c.Estimate.Unit == "mg/kg" && c.Ground == ""
			})
			if i < 0 || a.slipped[y] || !a.shows(n) {
				continue
			}
			if w == nil {
				a.reset()
				w = a.season(y, true)
			}
			w.line(n)
			net, ok := w.expectedMass(n)
			if !ok {
				break
			}
			c := &a.observed[i]
			median, low, high := fit.Range(a.order(net), RangeLevel)
			both := math.Hypot(c.From.Value, c.To.Value)
			e := evidence{season: y, change: c.To.Value - c.From.Value, mass: median, wide: (high - low) / (2 * z90)}
			// The season's error is in part new with each report, in part autumn's own.
			e.sd = math.Hypot(math.Hypot(c.own/math.Sqrt2*both, restless*c.From.Value), c.report*both)
			if c.Kind == Drawdown {
				e.offset = c.season * math.Sqrt(2*(1-reportShare*reportShare)) * c.To.Value
			}
			out[n] = append(out[n], e)
		}
	}
	return out
}

// buffering works out the share that shows for a season, from the published range
// and from the bed's other seasons.
func (w *seasonWork) buffering(n string) *Buffering {
	published, source, ok := publishedShare(n, w.cec)
	if !ok || w.soil == nil {
		return nil
	}
	b := &Buffering{Nutrient: n, Source: source, share: published.draw(w.quantity(), drawBuffer)}
	b.share.Clamp(b.share, 0.02, 1)
	b.Published = w.estimate(b.share, "", 0, source)
	b.Share = b.Published
	var seen []evidence
	for _, e := range w.seen[n] {
		if e.season != w.season {
			seen = append(seen, e)
		}
	}
	b.Seasons = len(seen)
	if len(seen) >= ownSeasons {
		w.sharpen(b, seen)
	}
	per := w.quantity()
	for i := range per { // 1 kg/ha in soil kg/ha, as mg/kg
		per[i] = b.share[i] * 1e6 / w.soil[i]
	}
	b.PerKgHa = w.estimate(per, "mg/kg per kg/ha", b.Seasons, b.Source)
	b.Text = fmt.Sprintf("Of a change in %s, %.0f-%.0f %% shows in the soil test: ", n, 100*b.Share.Low, 100*b.Share.High)
	switch {
	case b.Own:
		b.Text += fmt.Sprintf("the published range (%.0f-%.0f %%), narrowed by %d other seasons of this bed; what washed down or was set free is in that too.", 100*b.Published.Low, 100*b.Published.High, b.Seasons)
	case b.against:
		b.Text += fmt.Sprintf("the published range, which %d other seasons of this bed do not fit: something else moved the test.", b.Seasons)
	case b.Seasons >= ownSeasons:
		b.Text += fmt.Sprintf("the published range; %d other seasons of this bed say no more than that.", b.Seasons)
	default:
		b.Text += fmt.Sprintf("the published range; this bed has %d other seasons with two tests, %d are needed to narrow it.", b.Seasons, ownSeasons)
	}
	return b
}

// sharpen weights the published range by how well each share explains the bed's
// seasons, given test error, the account's own range and an offset of autumn from
// spring that all seasons share.
func (w *seasonWork) sharpen(b *Buffering, seen []evidence) {
	logs := make([]float64, fit.N)
	for i, share := range b.share {
		// Normal with variances v on the diagonal plus an outer product of offsets.
		var chi, ro, oo float64
		det := 1.0
		for _, e := range seen {
			v := e.sd*e.sd + share*share*e.wide*e.wide
			r := e.change - share*e.mass
			chi += r * r / v
			ro += r * e.offset / v
			oo += e.offset * e.offset / v
			det *= v / (e.sd * e.sd)
		}
		logs[i] = -0.5 * (chi - ro*ro/(1+oo) + math.Log(det*(1+oo)))
	}
	weighted, err := fit.Weigh(logs)
	if err != nil || len(weighted.Doubts) > 0 {
		b.against = true
		return
	}
	sd := func(share func(int) float64) float64 {
		mean, square := 0.0, 0.0
		for i, v := range b.share {
			mean += share(i) * v
			square += share(i) * v * v
		}
		return math.Sqrt(square - mean*mean)
	}
	if sd(func(i int) float64 { return weighted.Share[i] }) > ownGain*sd(func(int) float64 { return 1.0 / fit.N }) {
		return
	}
	again := make([]float64, 0, fit.N)
	for _, i := range weighted.Resample(fit.N) {
		again = append(again, b.share[i])
	}
	slices.Sort(again)
	m, low, high := weighted.Range(b.share, RangeLevel)
	for i, u := range fit.Points(drawBuffer) {
		b.share[i] = again[int(u*fit.N)]
	}
	b.Own = true
	b.Source += fmt.Sprintf("; %d seasons of this bed", len(seen))
	b.Share = Estimate{m, low, high, RangeLevel, "", len(seen), b.Source}
}
