package analysis

import (
	"fmt"
	"strings"

	"carryover/analysis/fit"
	"carryover/dataset"
	"carryover/dataset/unit"
)

// Crop is what a crop takes up: the nutrients in what is harvested, and in the
// vines or tops that stay or go.
type Crop struct {
	Name  string   `json:"name"`
	Words []string `json:"words"` // any of these in a crop's name means this one
	// Fruit is in kg per t of what is weighed, which is lb per 1,000 lb.
	Fruit  Content `json:"fruit_kg_per_t"`
	Source string  `json:"source"`
	// VinesDM is the dry matter of vines and leaves on fully covered ground, kg/ha;
	// nil: not known, and then no account is kept of them.
	VinesDM     *Range95 `json:"vines_dm_kg_ha,omitempty"`
	Vines       Content  `json:"vines_pct_of_dm,omitempty"`
	VinesSource string   `json:"vines_source,omitempty"`
}

// Composition of raw pumpkin flesh, water 91.6 %: kg per t. N is protein over
// 6.25; S by the S:N ratio 3.6/51 of whole squash fruit.
//
// Source: USDA FoodData Central, pumpkin, raw; Vidigal et al. 2007, Horticultura
// Brasileira (S:N).
func fleshOfPumpkin() map[string]float64 {
	return map[string]float64{"N": 1.6, "P": 0.44, "K": 3.4, "Ca": 0.21, "Mg": 0.12, "S": 1.6 * 3.6 / 51, "Zn": 0.0032}
}

// kgHaPerLb1000 turns lb per 1000 sq ft into kg/ha.
const kgHaPerLb1000 = unit.KgPerPound / (1000 * unit.M2PerSqFt) * 1e4

// Crops lists the crops we know.
//
// A giant fruit is wetter than the flesh of the food table: 4.5 to 8.5 % dry
// matter, not 8.4 %. No record fruit has been analysed in print, so its ranges
// hold the table value and what a wetter fruit would hold. Vines go by the ground
// they cover, never by the fruit: a lost fruit leaves full vines. What covered
// ground carries, 40 to 110 lb dry per 1000 sq ft, is from the partition of squash
// (fruit 69 % of dry matter, Vidigal et al. 2007) and from memory.
func Crops() []Crop {
	remembered := func(n, p, k, ca, mg, zn float64) Content {
		c := Content{}
		for id, v := range map[string]float64{"N": n / 6.25, "P": p / 100, "K": k / 100, "Ca": ca / 100, "Mg": mg / 100, "Zn": zn / 100} {
			c[id] = within(v, 0.35)
		}
		return c
	}
	const food = "USDA FoodData Central, raw, from memory; N is protein over 6.25"
	p, _ := unit.FormFactor("P2O5")
	k, _ := unit.FormFactor("K2O")
	// Eleven short tons of fruit, lb.
	const melons = 22.0 // in 1,000 lb
	return []Crop{
		{
			Name: "pumpkin", Words: []string{"pumpkin"},
			Fruit: Content{
				"N": {1.0, 1.6, 2.2}, "P": {0.20, 0.35, 0.50}, "K": {2.0, 2.9, 3.6}, "Ca": {0.10, 0.25, 0.40}, "Mg": {0.07, 0.13, 0.20},
				"S": {0.06, 0.11, 0.18}, "B": {0.0008, 0.0015, 0.003}, "Zn": {0.001, 0.003, 0.005},
			},
			Source:  "USDA FoodData Central, pumpkin, raw, widened for fruit of 4.5-8.5 % dry matter (from memory)",
			VinesDM: &Range95{40 * kgHaPerLb1000, 75 * kgHaPerLb1000, 110 * kgHaPerLb1000},
			Vines: Content{
				"N": between(2, 3.5), "P": between(0.25, 0.5), "K": between(2.5, 5), "Ca": between(3, 6), "Mg": between(0.5, 1), "S": between(0.2, 0.5),
				"B": between(0.003, 0.008), "Zn": between(0.0025, 0.01),
			},
			VinesSource: "cover of the ground by Vidigal et al. 2007 (partition), composition from memory",
		},
		{Name: "muskmelon", Words: []string{"muskmelon", "cantaloupe", "melon"}, Source: "New England Vegetable Management Guide, nutrient removal",
			Fruit: Content{"N": within(95/melons, 0.25), "P": within(17*p/melons, 0.25), "K": within(120*k/melons, 0.25)}},
		{Name: "winter squash", Words: []string{"winter squash", "butternut", "hubbard", "kabocha", "acorn squash", "squash"}, Source: food, Fruit: remembered(9.5, 23, 350, 28, 14, 0.21)},
		{Name: "summer squash", Words: []string{"summer squash", "zucchini", "courgette", "marrow"}, Source: food, Fruit: remembered(12.1, 38, 261, 16, 18, 0.32)},
		{Name: "watermelon", Words: []string{"watermelon"}, Source: food, Fruit: remembered(6.1, 11, 112, 7, 10, 0.10)},
		{Name: "cucumber", Words: []string{"cucumber"}, Source: food, Fruit: remembered(6.5, 24, 147, 16, 13, 0.20)},
		{Name: "tomato", Words: []string{"tomato"}, Source: food, Fruit: remembered(8.8, 24, 237, 10, 11, 0.17)},
		{Name: "potato", Words: []string{"potato"}, Source: food, Fruit: remembered(20.5, 57, 425, 12, 23, 0.30)},
		{Name: "bean", Words: []string{"bean"}, Source: food, Fruit: remembered(18.3, 38, 211, 37, 25, 0.24)},
		{Name: "cabbage", Words: []string{"cabbage", "kale"}, Source: food, Fruit: remembered(12.8, 26, 170, 40, 12, 0.18)},
	}
}

// cropOf finds a crop by name, the longest word first; an empty name is the main
// crop. The grower's own rows stand before ours and take what they lack from
// them. own says that figures are the grower's.
func (a *accounting) cropOf(name string) (c *Crop, own Content) {
	find := func(list []Crop) *Crop {
		n := strings.ToLower(name)
		if n == "" {
			n = "pumpkin"
		}
		var best *Crop
		long := 0
		for i := range list {
			for _, w := range append([]string{list[i].Name}, list[i].Words...) {
				if w != "" && len(w) > long && strings.Contains(n, strings.ToLower(w)) {
					best, long = &list[i], len(w)
				}
			}
		}
		return best
	}
	ours, theirs := find(a.known), find(a.o.Crops)
	if theirs == nil {
		return ours, nil
	}
	if ours == nil {
		return theirs, theirs.Fruit
	}
	merged := *ours
	if theirs.VinesDM != nil {
		merged.VinesDM = theirs.VinesDM
	}
	if theirs.Vines != nil {
		merged.Vines = theirs.Vines
	}
	if theirs.VinesDM != nil || theirs.Vines != nil {
		merged.VinesSource = "your own figures"
	}
	return &merged, theirs.Fruit
}

// How far a weight that was not put on a scale may be off, 95 %; from memory.
const (
	tapedOff   = 0.10
	guessedOff = 0.35
)

// deepShare is how much of what a crop takes up comes from below a sampled depth
// of 15 cm, where roots reach a metre and more; from memory. It falls with the
// depth that is sampled.
var deepShare = Range95{0, 0.12, 0.30}

// picked is one crop of a season: what was weighed, and what stands on the bed.
type picked struct {
	crop   *Crop
	name   string
	own    Content      // the grower's own composition
	kg     fit.Quantity // weighed
	fruits int
	total  float64 // kg as weighed
	doubts []int

	lost     *dataset.Planting
	lostKg   fit.Quantity
	lostOut  float64 // share of the lost fruit taken off; below zero: not said
	growing  bool    // planted, or harvested
	hauled   float64 // share of the vines taken off; below zero: not said
	standing bool    // the vines, as far as is known yet
	cleared  *dataset.Date
	covering fit.Quantity // kg dry vines on the bed
}

// crop returns the season's entry for a crop, made when first met.
func (w *seasonWork) crop(name string) *picked {
	for i := range w.crops {
		if w.crops[i].name == name {
			return &w.crops[i]
		}
	}
	p := picked{name: name, hauled: -1}
	if p.crop, p.own = w.cropOf(name); p.crop != nil {
		for i := range w.crops {
			if w.crops[i].crop != nil && w.crops[i].crop.Name == p.crop.Name {
				return &w.crops[i]
			}
		}
		p.name = p.crop.Name
	}
	w.crops = append(w.crops, p)
	return &w.crops[len(w.crops)-1]
}

// gather collects the season's crops: what was weighed, lost and left standing.
func (w *seasonWork) gather() {
	h := w.history
	setOut := map[string]dataset.Date{}
	plants := map[string]int{}
	for i := range h.Plantings {
		p := &h.Plantings[i]
		if int(p.Season) != w.season || p.SetOut != nil && *p.SetOut > w.asOf {
			continue
		}
		c := w.crop(p.Crop)
		c.growing = true
		if p.SetOut != nil {
			if d, ok := setOut[c.name]; !ok || *p.SetOut < d {
				setOut[c.name] = *p.SetOut
			}
		}
		if p.Plants != nil {
			plants[c.name] += int(*p.Plants)
		} else {
			plants[c.name]++
		}
		if p.VinesCleared != nil && *p.VinesCleared <= w.asOf {
			c.cleared = p.VinesCleared
		}
		switch {
		case p.VinesCleared != nil && c.cleared == nil, c.cleared == nil && w.asOf < w.cal.day(w.season, autumnStarts):
			c.standing, c.hauled = true, 0
		case p.VinesHauled != nil:
			c.hauled = min(max(*p.VinesHauled/100, 0), 1)
		}
		if p.FruitLost != nil && *p.FruitLost <= w.asOf {
			c.lost = p
		}
		if p.FeedsComplete == "no" {
			w.feeds = w.doubt("feeds", fmt.Sprintf("not every feed of %d was written down: what was given is at least this", w.season), refOf(p.Source))
		}
	}
	for i := range h.Harvests {
		x := &h.Harvests[i]
		if x.Date > w.asOf || w.cal.SeasonOf(x.Date) != w.season {
			continue
		}
		c := w.crop(x.Crop)
		if d, ok := setOut[c.name]; ok && x.Date < d {
			w.doubt("harvest before planting", fmt.Sprintf("a harvest of %s stands before its set-out of %s: left out, so what the crop took is too low by it", whenText(x.Date, x.DateBasis, w.cal), d), refOf(x.Source))
			continue
		}
		if !(x.Weight > 0) {
			w.doubt("weight", fmt.Sprintf("a harvest of %s has no weight: left out, so the crop took more than is shown", whenText(x.Date, x.DateBasis, w.cal)), refOf(x.Source))
			continue
		}
		c.growing = true
		if c.kg == nil {
			c.kg = w.quantity().Constant(0)
		}
		off := 0.0
		switch x.Weighed {
		case "taped":
			off = tapedOff
		case "guessed":
			off = guessedOff
		}
		if off > 0 {
			c.doubts = addRef(c.doubts, w.doubt("weight", fmt.Sprintf("the weight of %s was %s: within %.0f %%", whenText(x.Date, x.DateBasis, w.cal), x.Weighed, 100*off), refOf(x.Source)))
			c.kg.Add(c.kg, within(x.Weight, off).draw(w.scratch, drawWeight))
		} else {
			c.kg.Shift(c.kg, x.Weight)
		}
		c.fruits, c.total = c.fruits+1, c.total+x.Weight
	}
	for i := range w.crops {
		c := &w.crops[i]
		if c.lost != nil && c.fruits >= plants[c.name] {
			c.lost = nil // it was weighed all the same
		}
		if c.lost != nil {
			w.loseFruit(c)
		}
		if c.crop == nil {
			if c.total > 0 {
				c.doubts = addRef(c.doubts, w.doubt("crop", fmt.Sprintf("what %q takes up is not known: left out; give its composition to count its %s", c.name, w.weight(c.total))))
			}
			continue
		}
		w.standVines(c)
	}
}

// Growth of a fruit from ten to ninety days after pollination, kg a day; from
// memory, below the 15 kg a day that fruit gain at their peak (Savage et al. 2015,
// Plant, Cell and Environment, from memory).
var dailyGain = Range95{2, 5, 10}

// loseFruit weighs a fruit that never reached the scale by its age.
func (w *seasonWork) loseFruit(c *picked) {
	p, days := c.lost, 0
	rows := refOf(p.Source)
	when := p.FruitLost.String()
	switch {
	case p.Pollinated != nil && *p.Pollinated < *p.FruitLost:
		days = int(*p.FruitLost-*p.Pollinated) - 10
	case p.SetOut != nil && *p.SetOut < *p.FruitLost:
		days = int(*p.FruitLost-*p.SetOut) - 60
	default:
		c.doubts = addRef(c.doubts, w.doubt("lost fruit", fmt.Sprintf("the fruit lost on %s has no weight, and neither pollination nor set-out to guess it by: left out, so the crop took more than is shown", when), rows))
		return
	}
	days = min(max(days, 0), 80)
	c.lostKg = dailyGain.scale(float64(days)).draw(w.quantity(), drawLost)
	how := strings.ToLower(p.LostHow)
	says := func(words ...string) bool {
		for _, x := range words {
			if strings.Contains(how, x) {
				return true
			}
		}
		return false
	}
	fate := "whether it was hauled off or rotted in the bed is not said: anything from none to all of it"
	switch c.lostOut = -1; {
	case says("hauled", "taken off", "carried off", "removed", "stolen", "eaten", "off the bed"):
		c.lostOut, fate = 1, "taken off the bed"
	case says("in the bed", "left", "tilled", "dug in", "in place", "on the bed"):
		c.lostOut, fate = 0, "it went back to the bed"
	}
	c.doubts = addRef(c.doubts, w.doubt("lost fruit", fmt.Sprintf("the fruit lost on %s was not weighed: %s by its age; %s", when, w.weightRange(dailyGain.scale(float64(days))), fate), rows))
}

// standVines puts the vines on the bed by the ground they cover.
func (w *seasonWork) standVines(c *picked) {
	if !c.growing || c.crop.VinesDM == nil {
		return
	}
	if !(w.area > 0) {
		return // doubted with the area
	}
	dm := *c.crop.VinesDM
	c.covering = dm.scale(w.area/1e4).draw(w.quantity(), drawVines)
	if c.hauled < 0 {
		c.doubts = addRef(c.doubts, w.doubt("vines", fmt.Sprintf("whether the vines of %d were hauled off is not recorded: anything from none to all of them", w.season)))
	}
}

// uptake adds the lines of one nutrient: fruit, vines, and what roots fetched
// from below the sampled layer.
func (w *seasonWork) uptake(n string) {
	total := w.quantity().Constant(0)
	var taken int
	for i := range w.crops {
		c := &w.crops[i]
		if c.crop == nil {
			continue
		}
		taken += c.fruits
		content, source := c.crop.Fruit[n], c.crop.Source
		if r, ok := c.own[n]; ok {
			content, source = r, "your own composition"
		}
		known := content.High > 0
		if !known && (c.kg != nil || c.lostKg != nil) {
			w.left = append(w.left, fmt.Sprintf("%s in %s", n, c.name))
		}
		if known {
			perTonne := content.scale(1e-3).draw(w.quantity(), drawFruit)
			if c.kg != nil {
				q := w.quantity().Mul(c.kg, perTonne)
				total.Add(total, q)
				w.add(n, Use, w.fruitTerm(c), q, c.fruits, -1, source, c.doubts...)
				w.fruit(n, c, content, q, source)
			}
			if c.lostKg != nil {
				q := w.quantity().Mul(c.lostKg, perTonne)
				total.Add(total, q)
				w.part(n, "lost fruit taken off", "lost fruit left on the bed", q, c.lostOut, drawLostOut, 1, source, c.doubts)
			}
		}
		if c.covering == nil {
			continue
		}
		share, ok := c.crop.Vines[n]
		if !ok {
			continue
		}
		q := share.scale(0.01).draw(w.quantity(), drawVineContent)
		q.Mul(q, c.covering)
		total.Add(total, q)
		w.vines(n, c, q)
	}
	w.takeUp(n, total, taken)
	if w.depth > 0 && total[0] > 0 {
		r, source := deepShare.scale(min(1, 15.24/w.depth)), "from memory"
		if w.o.DeepShare != nil {
			r, source = *w.o.DeepShare, "your own figure"
		}
		deep := w.quantity()
		deep.Clamp(r.draw(deep, drawDeep), 0, 1)
		w.add(n, Source, "fetched by roots from below the sampled depth", deep.Mul(deep, total), 0, 1, source)
	}
}

// part splits a quantity into what left the bed and what stayed; out below zero:
// not said, anything between.
func (w *seasonWork) part(n, gone, stayed string, q fit.Quantity, out float64, dim, rows int, source string, doubts []int) {
	left := w.quantity().Constant(out)
	if out < 0 {
		left.Uniform(dim, 0, 1)
	}
	if out != 0 {
		w.add(n, Use, gone, w.quantity().Mul(q, left), rows, -1, source, doubts...)
	}
	if out != 1 {
		stay := w.quantity()
		w.add(n, Within, stayed, stay.Mul(q, left.Shift(left.Scale(left, -1), 1)), rows, 0, source, doubts...)
	}
}

// vines adds what the vines held: hauled off, gone back, or not back yet at the
// autumn test.
func (w *seasonWork) vines(n string, c *picked, q fit.Quantity) {
	gone, stayed := "vines hauled off", "vines gone back to the bed"
	if c.hauled > 0 && c.hauled < 1 {
		gone = fmt.Sprintf("vines hauled off (%.0f %%)", 100*c.hauled)
	}
	if c.standing {
		stayed = "vines standing on the bed"
	}
	w.part(n, gone, stayed, q, c.hauled, drawHauled, 1, c.crop.VinesSource, c.doubts)
	if !w.paired || w.yearly || c.hauled == 1 { // last year's vines come in as this year's stay out
		return
	}
	// What is still in the vines when autumn is sampled, the test does not see.
	back := between(0, 0) // share given back
	if c.cleared != nil && *c.cleared < w.to {
		weeks := float64(w.to-*c.cleared) / 7
		// K is soluble and comes out with the first rain; the rest rots in 4-10 weeks.
		// From memory.
		back = Range95{min(weeks/10, 1), min(weeks/7, 1), min(weeks/4, 1)}
		if n == "K" {
			back = Range95{min(weeks/3, 0.8), min(weeks/1.5, 0.9), 1}
		}
	}
	rest := w.quantity()
	rest.Clamp(back.draw(rest, drawBack), 0, 1)
	rest.Shift(rest.Scale(rest, -1), 1)
	rest.Mul(rest, q)
	if c.hauled >= 0 {
		rest.Scale(rest, 1-c.hauled)
	} else {
		u := w.quantity().Uniform(drawHauled, 0, 1)
		rest.Mul(rest, u.Shift(u.Scale(u, -1), 1))
	}
	if rest[0] > 0 || rest[1] > 0 {
		w.add(n, Within, fmt.Sprintf("of these, still in the vines at the autumn test of %s", w.to), rest, 0, -1, "rotting in 4-10 weeks, from memory")
	}
}

// fruitTerm names the weighed crop of a season.
func (w *seasonWork) fruitTerm(c *picked) string {
	if isPumpkin(c.name) {
		if c.fruits == 1 {
			return "fruit of " + w.weight(c.total)
		}
		return fmt.Sprintf("%d fruit of %s together", c.fruits, w.weight(c.total))
	}
	return fmt.Sprintf("%s of %s", c.name, w.weight(c.total))
}

func (w *seasonWork) weight(kg float64) string {
	if w.us {
		return grouped(kg/unit.KgPerPound) + " lb"
	}
	return grouped(kg) + " kg"
}

func (w *seasonWork) weightRange(kg Range95) string {
	u, by := "kg", 1.0
	if w.us {
		u, by = "lb", 1/unit.KgPerPound
	}
	return fmt.Sprintf("%s-%s %s", grouped(kg.Low*by), grouped(kg.High*by), u)
}

// grouped prints a whole number with commas before thousands.
func grouped(v float64) string {
	s := fmt.Sprintf("%.0f", v)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}
