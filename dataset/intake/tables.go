package intake

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"carryover/dataset"
	"carryover/dataset/unit"
)

// table is the sheet of one table: its columns, two invented example rows in
// either unit system (cells in the order of the template), and what makes a row
// of it.
type table struct {
	name   string // as in dataset; "corrections" for the sheet withdraw
	sheet  string // file name without .csv
	says   string
	fields []field
	eg     [2][]string // US, metric
	build  func(*row)
}

// field is one column.
type field struct {
	name    string
	need    bool
	past    bool // a date that cannot lie in the future
	more    bool // known, but not in the template
	choices []string
	qs      []unit.Quantity // measured, with a unit in the heading
	us, si  string          // that unit, in templates
	max     float64         // in SI of the first of qs; 0: no limit
	either  bool            // a cell may be of another of qs than its heading
	says    string
}

func (f *field) heading(units string) string {
	switch {
	case f.us == "":
		return f.name
	case units == "metric":
		return f.name + " (" + f.si + ")"
	}
	return f.name + " (" + f.us + ")"
}

func (t *table) index(name string) int {
	for i := range t.fields {
		if t.fields[i].name == name {
			return i
		}
	}
	panic("intake: no field " + name + " in " + t.name)
}

// find returns the field a heading names, or -1.
func (t *table) find(heading string) int {
	h := fold(heading)
	for i := range t.fields {
		if fold(t.fields[i].name) == h {
			return i
		}
	}
	return -1
}

func need(name, says string) field { return field{name: name, need: true, says: says} }
func col(name, says string) field  { return field{name: name, says: says} }
func more(name, says string) field { return field{name: name, more: true, says: says} }
func oneOf(name, says string, choices ...string) field {
	return field{name: name, says: says, choices: choices}
}
func size(q unit.Quantity, name, us, si string, max float64, says string) field {
	return field{name: name, qs: []unit.Quantity{q}, us: us, si: si, max: max, says: says}
}

func (f field) needed() field { f.need = true; return f }
func (f field) hidden() field { f.more = true; return f }
func done(name, says string) field {
	return field{name: name, need: true, past: true, says: says}
}

const (
	bedSays  = "the name of the bed, spelt the same way everywhere"
	dateSays = "2026-10-28; or 2026-10, or autumn 2026, if no more is known"
	maxDepth = 300 // cm
)

// tables lists the sheets in the order a grower meets them.
func tables() []table {
	timing := oneOf("timing", "spring, autumn or mid-season; empty: by the date", "spring", "autumn", "mid-season", "fall=autumn", "midseason=mid-season")
	seasonal := oneOf("timing", "autumn or spring", "autumn", "spring", "fall=autumn").needed()
	unitSays := "as printed: ppm, lb/acre, %, meq/100 g ..."
	spreadable := []unit.Quantity{unit.Mass, unit.MassPerArea, unit.Liquid, unit.LiquidPerArea, unit.Volume, unit.Length}
	depth := size(unit.Length, "depth", "in", "cm", maxDepth, "sampled depth, as 0-6; 6 alone is from the surface down")
	list := []table{
		{name: "beds", sheet: "beds", says: "a bed as it is from a date on; add a row when it changes", build: (*row).bed, fields: []field{
			need("bed", bedSays), need("from", "since when: "+dateSays), col("was", "the bed or beds (A; B) it was before"),
			size(unit.Area, "area", "sq ft", "m2", 1e8, "ground that is fertilized and sampled as one; or 30x40 ft"),
			depth, size(unit.Length, "depth from", "in", "cm", maxDepth, "").hidden(), size(unit.Length, "depth to", "in", "cm", maxDepth, "").hidden(),
			size(unit.BulkDensity, "bulk density", "g/cm3", "g/cm3", 2.65, "dry weight of the soil for its volume, if known"),
			oneOf("density source", "measured, estimated or assumed", "measured", "estimated", "assumed"),
			col("native ph", "pH of the same soil where nobody limed or fertilized it"),
			size(unit.Share, "native om", "%", "%", 100, "organic matter of that soil"), col("texture", "sandy loam, clay ...")},
			eg: [2][]string{
				{"Long bed,2020-04-01,,1250,0-6,,,5.8,3.1,silt loam,invented example", "Hill bed,spring 2023,,800,0-8,1.1,measured,,,sandy loam,"},
				{"Long bed,2020-04-01,,116,0-15,,,5.8,3.1,silt loam,invented example", "Hill bed,spring 2023,,74,0-20,1.1,measured,,,sandy loam,"}}},
		{name: "soil_tests", sheet: "soil_tests", says: "one analyte of one sample's report in each row", build: (*row).soilTest, fields: []field{
			need("bed", bedSays), done("date", "day of sampling: "+dateSays), timing, col("lab", "who tested it"), col("report", "number of the report"),
			col("site", "the lab's own name for the place"), col("sample", "tells two samples of one day apart"),
			depth, size(unit.Length, "depth from", "in", "cm", maxDepth, "").hidden(), size(unit.Length, "depth to", "in", "cm", maxDepth, "").hidden(),
			col("cores", "how many cores were mixed"), need("analyte", "pH, OM, P, K, Ca, Mg, S, NO3-N, B, CEC ..."), need("value", "the figure as printed; < and > may stand before it"),
			col("unit", unitSays+"; empty only for pH"), col("form", "P or P2O5, S or SO4, if the analyte does not say it"), col("method", "Mehlich-3, Olsen, water 1:1, LOI ... as the lab names it")},
			eg: [2][]string{
				{"Long bed,2026-10-28,autumn,Lab A,1042,,,0-6,15,pH,6.4,,,water 1:1,invented example", "Long bed,2026-10-28,autumn,Lab A,1042,,,0-6,15,P,118,ppm,,Mehlich-3,"},
				{"Long bed,2026-10-28,autumn,Lab A,1042,,,0-15,15,pH,6.4,,,water 1:1,invented example", "Long bed,2026-10-28,autumn,Lab A,1042,,,0-15,15,P,118,mg/kg,,Mehlich-3,"}}},
		{name: "materials", sheet: "materials", says: "one line of a bag's label or of a material's report in each row", build: (*row).material, fields: []field{
			need("material", "the name it has in amendments"),
			oneOf("kind", "fertilizer, lime, sulfur, gypsum, compost, manure, ash, water or other", "fertilizer", "lime", "sulfur", "gypsum", "compost", "manure", "ash", "water", "other", "sulphur=sulfur", "fertiliser=fertilizer"),
			col("from", "since when this analysis holds; empty: always"), need("component", "N, P2O5, K2O, Ca, Mg, S, B, CCE (calcium carbonate equivalent), moisture, OM, C:N, density ..."),
			need("value", "the figure as printed"), col("unit", "%, ppm, lb/cu yd, kg/m3 ...; empty only for pH and C:N"),
			oneOf("basis", "label, as-is or dry; needed for compost and manure", "label", "as-is", "dry"), oneOf("origin", "label, lab or typical", "label", "lab", "typical")},
			eg: [2][]string{
				{"feather meal 12-0-0,fertilizer,,N,12,%,label,label,invented example", "yard compost,compost,2026-03-01,density,950,lb/cu yd,as-is,lab,"},
				{"feather meal 12-0-0,fertilizer,,N,12,%,label,label,invented example", "yard compost,compost,2026-03-01,density,560,kg/m3,as-is,lab,"}}},
		{name: "amendments", sheet: "amendments", says: "one spreading on one bed in each row, or a run of equal ones", build: (*row).amendment, fields: []field{
			need("bed", bedSays), done("date", dateSays), need("material", "its name in materials"),
			field{name: "amount", qs: spreadable, says: "how much: 40, about 40, 40-50, 2 x 50 lb; empty if not known"},
			col("unit", "lb, kg, lb/1000 sq ft, t/ha, gal, cu yd, in (a layer) ..."),
			oneOf("placed", "surface, worked in, watered in or foliar", "surface", "worked in", "watered in", "foliar"),
			size(unit.Length, "mixed depth", "in", "cm", maxDepth, "how deep it was worked in"), col("every days", "7 or weekly, for a feed given again and again; or write 2 lb weekly to 1 Sept under amount"), col("until", "the last day of such a run"),
			oneOf("same day", "where the bed was sampled on this day too: before test or after test", "before test", "after test", "before=before test", "after=after test")},
			eg: [2][]string{
				{"Long bed,2026-04-20,feather meal 12-0-0,about 40,lb,worked in,6,,,,invented example", "Long bed,2026-06-01,fish feed,2,gal,watered in,,7,2026-08-24,,"},
				{"Long bed,2026-04-20,feather meal 12-0-0,about 18,kg,worked in,15,,,,invented example", "Long bed,2026-06-01,fish feed,8,L,watered in,,7,2026-08-24,,"}}},
		{name: "plantings", sheet: "plantings", says: "one crop on one bed in one season in each row", build: (*row).planting, fields: []field{
			need("bed", bedSays), need("season", "harvest year"), col("crop", "empty: pumpkin"), col("plants", "how many"), col("set out", "day"), col("pollinated", "day of the fruit that was kept"),
			col("feeding ended", "day of the last feed"), oneOf("feeds complete", "yes if every feed of the season is written down", "yes", "no", "y=yes", "n=no", "true=yes", "false=no"),
			col("vines cleared", "day"), size(unit.Share, "vines hauled", "%", "%", 100, "share of the vines taken off the bed"), col("fruit lost", "day"), col("lost how", "split, rot ...")},
			eg: [2][]string{{"Long bed,2026,pumpkin,1,2026-05-20,2026-07-02,2026-09-10,yes,2026-10-12,100,,,invented example", "Hill bed,2026,,1,2026-05-22,2026-07-08,,no,,,2026-08-19,split,"},
				{"Long bed,2026,pumpkin,1,2026-05-20,2026-07-02,2026-09-10,yes,2026-10-12,100,,,invented example", "Hill bed,2026,,1,2026-05-22,2026-07-08,,no,,,2026-08-19,split,"}}},
		{name: "harvests", sheet: "harvests", says: "one weighed fruit, or a crop taken off the bed, in each row", build: (*row).harvest, fields: []field{
			need("bed", bedSays), done("date", dateSays), col("crop", "empty: pumpkin"), col("plant", "which plant, if there were several"),
			size(unit.Mass, "weight", "lb", "kg", 1e6, "of the fruit, or of all that was taken off").needed(), oneOf("weighed", "scale, taped or guessed", "scale", "taped", "guessed").needed()},
			eg: [2][]string{{"Long bed,2026-10-03,pumpkin,,1240.5,scale,invented example"}, {"Long bed,2026-10-03,pumpkin,,562.7,scale,invented example"}}},
		{name: "covers", sheet: "covers", says: "one cover crop on one bed in each row", build: (*row).cover, fields: []field{
			need("bed", bedSays), done("sown", dateSays), need("species", "winter rye, oats and peas ..."), col("ended", "day it was cut or turned in"),
			size(unit.Length, "height", "in", "cm", 1000, "when it was ended"), size(unit.MassPerArea, "biomass", "lb/acre", "kg/ha", 1e5, "dry")},
			eg: [2][]string{{"Long bed,2026-10-15,winter rye,2027-04-20,14,,invented example"}, {"Long bed,2026-10-15,winter rye,2027-04-20,35,,invented example"}}},
		{name: "weather", sheet: "weather", says: "one day, month or monthly normal at a site in each row; watering names the bed", build: (*row).weather, fields: []field{
			col("site", "name of the place; may be empty where a bed is named"), col("bed", "for watering"), need("date", "2026-07-14, or 2026-07 for a month; a normal stands at the last year of its period"),
			oneOf("period", "day, month or normal; empty: by the date", "day", "month", "normal"),
			size(unit.Rain, "rain", "in", "mm", 5000, ""), field{name: "irrigation", qs: []unit.Quantity{unit.Rain, unit.Liquid}, us: "in", si: "mm", max: 5000, either: true, says: "of the bed: a depth; or 200 gal, or 2 h x 5 gal/min"},
			size(unit.Temperature, "high", "F", "C", 60, "highest of the day, or the mean of the highs"), size(unit.Temperature, "low", "F", "C", 60, "lowest, or the mean of the lows"),
			size(unit.Share, "humidity", "%", "%", 100, "mean relative humidity"), size(unit.Speed, "wind", "mph", "m/s", 100, "mean"), size(unit.Duration, "sun", "h", "h", 744, "hours of sunshine")},
			eg: [2][]string{{"Home,,2026-07,month,3.9,,81,60,,,,invented example", ",Long bed,2026-07-14,day,,0.75,,,,,,"}, {"Home,,2026-07,month,99,,27,16,,,,invented example", ",Long bed,2026-07-14,day,,19,,,,,,"}}},
		{name: "water_tests", sheet: "water_tests", says: "one analyte of one irrigation-water report in each row", build: (*row).waterTest, fields: []field{
			need("water", "well, tap, pond ..."), done("date", dateSays), col("lab", ""), need("analyte", "alkalinity, hardness, NO3-N, Na, pH, EC ..."), need("value", "the figure as printed"),
			col("unit", "mg/L, ppm, dS/m ...; empty only for pH and SAR"), col("form", "NO3 or NO3-N, SO4 or S, if the analyte does not say it")},
			eg: [2][]string{{"well,2026-05-04,Lab A,alkalinity,210,ppm,,invented example", "well,2026-05-04,Lab A,NO3-N,6.2,mg/L,,"}, {"well,2026-05-04,Lab A,alkalinity,210,mg/L,,invented example", "well,2026-05-04,Lab A,NO3-N,6.2,mg/L,,"}}},
		{name: "tillage", sheet: "tillage", says: "one working of the soil in each row", build: (*row).tillage, fields: []field{
			need("bed", bedSays), done("date", dateSays), need("tool", "tiller, broadfork, subsoiler ..."), size(unit.Length, "depth", "in", "cm", maxDepth, "how deep it went")},
			eg: [2][]string{{"Long bed,2026-04-22,tiller,6,invented example"}, {"Long bed,2026-04-22,tiller,15,invented example"}}},
		{name: "leaf_tests", sheet: "leaf_tests", says: "one analyte of one leaf report in each row", build: (*row).leafTest, fields: []field{
			need("bed", bedSays), done("date", dateSays), col("lab", ""), col("part", "which leaf or stalk"), need("analyte", "N, P, K, Ca, B ..."), need("value", "the figure as printed"), col("unit", "% or ppm of dry matter").needed()},
			eg: [2][]string{{"Long bed,2026-07-20,Lab A,youngest full leaf,N,4.8,%,invented example", "Long bed,2026-07-20,Lab A,youngest full leaf,B,38,ppm,"}, {"Long bed,2026-07-20,Lab A,youngest full leaf,N,4.8,%,invented example", "Long bed,2026-07-20,Lab A,youngest full leaf,B,38,mg/kg,"}}},
		{name: "advice", sheet: "advice", says: "one line of the lab's own recommendation in each row, kept as printed", build: (*row).advice, fields: []field{
			need("bed", bedSays), need("date", dateSays), col("lab", ""), col("report", "number of the report"), need("item", "nutrient or material"),
			field{name: "amount", qs: spreadable}, col("unit", "lb/1000 sq ft, t/ha ..."), col("text", "the lab's own words")},
			eg: [2][]string{{"Long bed,2026-11-05,Lab A,1042,lime,30,lb/1000 sq ft,,invented example"}, {"Long bed,2026-11-05,Lab A,1042,lime,1.5,t/ha,,invented example"}}},
		{name: "lists", sheet: "lists", says: "what was listed to spread; the program fills this sheet", build: (*row).listed, fields: []field{
			need("bed", bedSays), need("listed on", "day"), need("season", "harvest year it is for"), seasonal, need("material", "its name in materials"),
			field{name: "amount", qs: spreadable, need: true}, need("unit", "")},
			eg: [2][]string{{"Long bed,2026-11-07,2027,autumn,calcitic lime,30,lb,invented example"}, {"Long bed,2026-11-07,2027,autumn,calcitic lime,14,kg,invented example"}}},
		{name: "forecasts", sheet: "forecasts", says: "what was forecast, to be scored when its test comes; the program fills this sheet", build: (*row).forecast, fields: []field{
			need("bed", bedSays), need("analyte", ""), need("made on", "day"), need("season", "season of the test it foretells"), seasonal, col("method", "of the test it foretells"),
			need("value", ""), need("low", "lower end of the range"), need("high", "upper end"), need("level", "0.9 for a 90 % range"), need("unit", "as stored: pH, %, mg/kg ..."), col("basis", "what it rests on")},
			eg: [2][]string{{"Long bed,pH,2026-11-07,2027,spring,water 1:1,6.3,6.1,6.6,0.9,pH,drift,invented example"}, {"Long bed,pH,2026-11-07,2027,spring,water 1:1,6.3,6.1,6.6,0.9,pH,drift,invented example"}}},
		{name: "corrections", sheet: "withdraw", says: "takes a row that should not be there out of the records", build: (*row).withdraw, fields: []field{
			need("table", "beds, soil_tests, amendments ..."), need("batch", "number of the import"), need("line", "line of its sheet"), col("file", "name of its sheet, if the import had several"),
			col("analyte", "if only this analyte of the line is meant"), col("reason", "")},
			eg: [2][]string{{"soil_tests,3,7,tests.csv,,invented example: wrong bed"}, {"soil_tests,3,7,tests.csv,,invented example: wrong bed"}}},
	}
	for i := range list {
		t := &list[i]
		if t.name == "corrections" {
			continue
		}
		t.fields = append(t.fields, col("note", "anything else worth knowing"), more("grower", "if not the grower of the book"),
			more("replaces", "batch and line of the row that this one corrects, as 3:7 or 3:tests.csv:7"),
			more("row", "which row of the book this is, as 3:tests.csv:7; exported sheets bear it"))
		t.fields = append(t.fields, field{name: "date basis", more: true, choices: []string{dataset.ByDay, dataset.ByMonth, dataset.BySeason, dataset.Assumed}, says: "how exactly the date is known"})
	}
	return list
}

func (r *row) grower() string {
	if g := r.text("grower"); g != "" {
		return g
	}
	return r.opt.Grower
}

func (r *row) bed() {
	b := dataset.Bed{Grower: r.grower(), Bed: r.text("bed"), Was: r.text("was"), BulkDensity: r.quantity("bulk density"),
		DensitySource: r.choice("density source"), NativeOM: r.quantity("native om"), Texture: r.text("texture"), Note: r.text("note"), Source: r.source()}
	b.Area = r.area(&b.Note)
	b.From, b.FromBasis = r.date("from", nil)
	b.DepthFrom, b.DepthTo = r.depth()
	if v, ok := r.number("native ph", 3, 10.5); ok {
		b.NativePH = share(r.floats, v)
	}
	if b.Area != nil && *b.Area == 0 {
		r.fault(r.at("area"), "0", "an area above 0", "leave it empty if it is not known")
	}
	if b.BulkDensity != nil && *b.BulkDensity < 0.05 {
		r.fault(r.at("bulk density"), strconv.Quote(r.at("bulk density").text), "0.05 to 2.65 g/cm3", "check the decimal point and the unit")
	}
	r.replaces("", "")
	if !r.bad {
		r.rec.Beds = append(r.rec.Beds, b)
	}
}

func (r *row) soilTest() {
	t := dataset.SoilTest{Bed: r.text("bed"), Timing: r.choice("timing"), Lab: r.text("lab"), Report: r.text("report"), Site: r.text("site"),
		Sample: r.text("sample"), Cores: r.whole("cores", 1, 10000), Note: r.text("note"), Grower: r.grower(), Source: r.source()}
	t.Date, t.DateBasis = r.date("date", &t.Timing)
	t.DepthFrom, t.DepthTo = r.depth()
	a, ok := r.analyte(r.at("form").text)
	v, qualifier, own, numeric := r.reading("value")
	if !ok || !numeric {
		return
	}
	t.Method = r.method(a.Analyte)
	in := unit.SoilReading{Analyte: a.Analyte, Form: a.form, Method: t.Method, Value: v}
	var by string
	in.Pounds, by = r.poundsRule(t.Lab)
	if t.DepthTo != nil {
		in.DepthFrom, in.DepthTo = *t.DepthFrom, *t.DepthTo
	}
	in.Unit, ok = r.unitOf(own, func(text string) (float64, string, error) {
		one := in
		one.Unit = text
		x, err := unit.Soil(one)
		return x.Value, x.Unit, err
	})
	if !ok {
		return
	}
	out, err := unit.Soil(in)
	if err != nil {
		r.refused(err)
		return
	}
	t.Analyte, t.Value, t.Unit, t.Qualifier, t.Basis = a.ID, out.Value, out.Unit, qualifier, out.Basis
	t.ReportedValue, t.ReportedUnit, t.ReportedMethod = v, in.Unit, r.text("method")
	if t.ReportedUnit == "" {
		t.ReportedUnit = out.Unit
	}
	if a.form.Name != a.ID {
		t.ReportedForm = a.form.Name
	}
	if out.Conversion != "" {
		t.Conversion = r.word(out.Conversion)
	}
	r.replaces(t.Analyte, t.Analyte)
	if r.bad {
		return
	}
	rows := r.rec.SoilTests
	if i := r.reports.earlier(t.Bed, t.Date, t.Report, len(rows), func(i int) bool {
		x := &rows[i]
		return x.Analyte == t.Analyte && x.Method == t.Method && x.Basis == t.Basis && x.Bed == t.Bed && x.Date == t.Date && x.Report == t.Report && x.Lab == t.Lab &&
			x.Sample == t.Sample && x.Timing == t.Timing && x.DateBasis == t.DateBasis && x.DepthFrom == t.DepthFrom && x.DepthTo == t.DepthTo && x.Grower == t.Grower
	}); i >= 0 && (rows[i].Value != t.Value || rows[i].Qualifier != t.Qualifier) {
		r.twice(rows[i].Source, rows[i].Qualifier+trim(rows[i].ReportedValue), "take one out, or tell them apart by sample, report, depth or method")
		return
	}
	if a.Kind == unit.PH && (out.Value < 4 || out.Value > 9) {
		r.note("%s:%d: %s %s is outside 4.0 to 9.0: kept, but check it", r.file, r.line, a.ID, trim(out.Value))
	}
	if t.Method == "" && !a.Plain {
		r.tally("soil test values without a method, kept and shown but left out of what needs one")
	}
	if a.Kind == unit.Charge && strings.EqualFold(in.Unit, "meq") {
		r.tally("values in meq, read as meq/100 g")
	}
	if a.form.Factor != 1 {
		r.tally("values printed as " + a.form.Name + ", stored as " + a.ID + " (times " + strconv.FormatFloat(a.form.Factor, 'f', 4, 64) + ")")
	}
	if t.Basis == "extract" {
		r.tally("values in mg/L of an extract, a scale of its own: never turned into an amount of the soil")
	}
	if out.Pounds != "" {
		how, other := "by the plow-layer rule (2 lb/acre = 1 ppm whatever the exact depth)", unit.ByDepth
		if out.Pounds == unit.ByDepth {
			how, other = "for their sampled depth by the laboratory convention (2,000,000 lb of soil in an acre to 6 2/3 in)", unit.TwicePPM
		}
		switch {
		case out.Pounds == in.Pounds:
			r.tally("values in ", t.ReportedUnit, ", stored in mg/kg ", how, ", as the profile of ", by, " in ", bookFile, " says")
		case in.Pounds == "" && !(out.Pounds == unit.ByDepth && (a.ID == "NO3-N" || a.ID == "NH4-N")):
			r.tally("values in ", t.ReportedUnit, ", stored in mg/kg ", how, `; if the lab means it otherwise, its profile in `, bookFile, ` says pounds = "`, other, `"`)
		default: // whatever the profile says
			r.tally("values in ", t.ReportedUnit, ", stored in mg/kg ", how, ", as nitrate or ammonium of another layer is")
		}
	}
	r.rec.SoilTests = append(r.rec.SoilTests, t)
}

func (r *row) material() {
	m := dataset.Material{Grower: r.grower(), Material: r.text("material"), Kind: r.choice("kind"), Basis: r.choice("basis"), Origin: r.choice("origin"), Note: r.text("note"), Source: r.source()}
	m.From = r.day("from", &m.Note)
	c := r.at("component")
	if err := unit.Grade(c.text); err != nil {
		r.fault(c, err.Error(), "", "")
		return
	}
	v, qualifier, own, ok := r.reading("value")
	if !ok || c.text == "" {
		return
	}
	r.bare("value", qualifier)
	text, ok := r.unitOf(own, func(text string) (float64, string, error) {
		x, err := unit.Component(c.text, v, text)
		return x.Value, x.Unit, err
	})
	if !ok {
		return
	}
	out, err := unit.Component(c.text, v, text)
	if err != nil {
		r.refused(err)
		return
	}
	m.Component, m.Value, m.Unit, m.ReportedValue, m.ReportedUnit = r.word(out.ID), out.Value, out.Unit, v, text
	if out.Form != out.ID {
		m.ReportedForm = out.Form
	}
	if out.Unit == "%" && out.ID != "moisture" && m.Basis == "" && (m.Kind == "compost" || m.Kind == "manure") {
		r.fault(r.at("basis"), "empty", "as-is or dry", "the lab's report says on which weight its figures stand")
	}
	r.replaces("", m.Component)
	if !r.bad {
		r.rec.Materials = append(r.rec.Materials, m)
	}
}

func (r *row) amendment() {
	a := dataset.Amendment{Grower: r.grower(), Bed: r.text("bed"), Material: r.text("material"), Placed: r.choice("placed"), MixedDepth: r.quantity("mixed depth"),
		Note: r.text("note"), Source: r.source()}
	a.Date, a.DateBasis = r.date("date", nil)
	a.Until, a.SameDay = r.day("until", &a.Note), r.choice("same day")
	sound := r.run(&a)
	if x, ok := r.take("amount", r.at("unit")); ok {
		switch x.qualifier {
		case "<", ">":
			r.fault(r.at("amount"), strconv.Quote(r.at("amount").text), "a number", `write "about" before a guess`)
		case "about":
			a.Qualifier = "about"
			r.tally("amounts given as about: where no range stands, taken as right within " + trim(100*unit.AboutShare) + " %")
		case "range":
			r.tally("amounts given as a range: its middle and both ends")
		}
		if x.words != "" {
			r.keep(&a.Note, "amount", x.words, trim(x.value)+" "+x.unit)
		}
		a.Amount, a.Unit, a.ReportedAmount, a.ReportedUnit = share(r.floats, x.si), x.q.SI(), share(r.floats, x.value), x.unit
		if x.low != x.high {
			a.AmountLow, a.AmountHigh = share(r.floats, x.low), share(r.floats, x.high)
		}
	}
	switch {
	case !sound:
	case a.Until != nil && a.Every == nil && r.at("every days").text == "":
		r.fault(r.at("every days"), "empty", "how many days lie between the feeds", "7 for weekly, or clear the column until")
	case a.Every != nil && a.Until == nil && r.at("until").text == "":
		r.fault(r.at("until"), "empty", "the last day of the run", "fill it in, or write 2 lb weekly to 1 Sept")
	case a.Until != nil && !r.bad && *a.Until < a.Date:
		r.fault(r.at("until"), strconv.Quote(r.at("until").text), "a day after "+a.Date.String(), "")
	}
	r.replaces("", "")
	if !r.bad {
		r.rec.Amendments = append(r.rec.Amendments, a)
	}
}

// run reads how often and until when a spreading was repeated: from the columns
// every days and until, or from words after the amount. These are cut off its
// cell, which then holds the amount alone.
func (r *row) run(a *dataset.Amendment) (sound bool) {
	every, amount, c := r.at("every days"), r.at("amount"), r.at("every days")
	words := oftenWords.MatchString(amount.text)
	if n, ok := r.integer(every); ok && !words && n >= 1 && n <= 366 {
		a.Every = share(r.ints, int32(n))
		return true
	}
	if every.text == "" && !words {
		return true
	}
	if words {
		c = amount
	}
	text := strconv.Quote(c.text)
	p, err := r.dates.repeat(c.text, a.Date.Year(), &a.Date)
	if words {
		amount.text = p.Rest
	}
	switch {
	case words && every.text != "":
		r.fault(c, text+" beside every days "+every.text, "one or the other", "clear one of them")
	case err != nil:
		r.fault(c, err.Error(), "", "")
	case p.Every == 0, !words && p.Rest != "":
		r.fault(c, text, "a whole number from 1 to 366, or weekly, every 10 days ...", "")
	case p.From != nil && *p.From != a.Date && !r.bad:
		r.fault(c, text+" begins on "+p.From.String(), "the date of the row, "+a.Date.String(), "mend one of the two")
	case p.Until != nil && a.Until != nil && *p.Until != *a.Until:
		r.fault(c, text+" ends on "+p.Until.String(), "the day in the column until, "+a.Until.String(), "mend one of the two")
	default:
		if a.Every = share(r.ints, p.Every); p.Until != nil {
			a.Until = share(r.dayPtrs, *p.Until)
		}
		return true
	}
	return false
}

func (r *row) planting() {
	p := dataset.Planting{Grower: r.grower(), Bed: r.text("bed"), Season: r.season("season"), Crop: r.text("crop"), Plants: r.whole("plants", 0, 1000000),
		FeedsComplete: r.choice("feeds complete"), VinesHauled: r.quantity("vines hauled"), LostHow: r.text("lost how"), Note: r.text("note"), Source: r.source()}
	if p.Crop == "" {
		p.Crop = "pumpkin"
	}
	p.SetOut, p.Pollinated, p.FeedingEnded = r.day("set out", &p.Note), r.day("pollinated", &p.Note), r.day("feeding ended", &p.Note)
	p.VinesCleared, p.FruitLost = r.day("vines cleared", &p.Note), r.day("fruit lost", &p.Note)
	r.replaces("", "")
	if !r.bad {
		r.rec.Plantings = append(r.rec.Plantings, p)
	}
}

func (r *row) harvest() {
	h := dataset.Harvest{Grower: r.grower(), Bed: r.text("bed"), Crop: r.text("crop"), Plant: r.text("plant"), Weighed: r.choice("weighed"), Note: r.text("note"), Source: r.source()}
	if h.Crop == "" {
		h.Crop = "pumpkin"
	}
	h.Date, h.DateBasis = r.date("date", nil)
	x, ok := r.take("weight", nil)
	if ok && x.si == 0 {
		r.fault(r.at("weight"), strconv.Quote(r.at("weight").text), "a weight above 0", "a lost fruit goes into plantings.csv, column fruit lost")
	} else if ok && x.qualifier != "" {
		r.fault(r.at("weight"), strconv.Quote(r.at("weight").text), "a weight above 0", `write it bare; the column weighed says "guessed"`)
	}
	h.Weight, h.ReportedWeight, h.ReportedUnit = x.si, x.value, x.unit
	r.replaces("", "")
	if !r.bad {
		r.rec.Harvests = append(r.rec.Harvests, h)
	}
}

func (r *row) cover() {
	c := dataset.Cover{Grower: r.grower(), Bed: r.text("bed"), Species: r.text("species"), Height: r.quantity("height"), Biomass: r.quantity("biomass"), Note: r.text("note"), Source: r.source()}
	c.Sown, c.SownBasis = r.date("sown", nil)
	c.Ended = r.day("ended", &c.Note)
	if c.Ended != nil && !r.bad && *c.Ended < c.Sown {
		r.fault(r.at("ended"), strconv.Quote(r.at("ended").text), "a day after "+c.Sown.String(), "")
	}
	r.replaces("", "")
	if !r.bad {
		r.rec.Covers = append(r.rec.Covers, c)
	}
}

func (r *row) weather() {
	w := dataset.Weather{Grower: r.grower(), Bed: r.text("bed"), Site: r.text("site"), Period: r.choice("period"), Rain: r.quantity("rain"),
		TempMax: r.quantity("high"), TempMin: r.quantity("low"), Humidity: r.quantity("humidity"), Wind: r.quantity("wind"), Sun: r.quantity("sun"), Note: r.text("note"), Source: r.source()}
	var basis string
	w.Date, basis = r.date("date", nil)
	w.Irrigation, w.IrrigationL = r.watering(&w.Note)
	if w.Bed == "" && w.Site == "" {
		r.fault(r.at("site"), "empty", "the name of the site, or a bed", "")
	} else if w.Bed == "" && w.IrrigationL != nil {
		r.fault(r.at("bed"), "empty", "the bed that was watered", "without it write a depth, such as 0.5 in")
	}
	if !r.bad {
		switch {
		case basis == dataset.BySeason, basis == dataset.ByMonth && w.Period == "day":
			r.fault(r.at("date"), strconv.Quote(r.at("date").text), "a day, or a month with period month", "")
		case w.Period == "" && basis == dataset.ByMonth:
			w.Period = "month"
		case w.Period == "":
			w.Period = "day"
		}
		if w.Period != "day" { // a month stands at its first day
			w.Date = dataset.DateOf(w.Date.Year(), w.Date.Month(), 1)
		}
		if w.Period == "day" && w.Sun != nil && *w.Sun > 24 {
			r.fault(r.at("sun"), strconv.Quote(r.at("sun").text), "0 to 24 h in a day", "")
		}
		if w.TempMax != nil && w.TempMin != nil && *w.TempMin > *w.TempMax {
			r.fault(r.at("low"), strconv.Quote(r.at("low").text), "no more than the high, "+r.at("high").text, "are the two exchanged?")
		}
	}
	r.replaces("", "")
	if !r.bad {
		r.rec.Weather = append(r.rec.Weather, w)
	}
}

func (r *row) waterTest() {
	w := dataset.WaterTest{Grower: r.grower(), Water: r.text("water"), Lab: r.text("lab"), Note: r.text("note"), Source: r.source()}
	w.Date, w.DateBasis = r.date("date", nil)
	v, qualifier, own, ok := r.reading("value")
	if c := r.at("analyte"); ok && c.text != "" {
		text, ok := r.unitOf(own, func(text string) (float64, string, error) {
			x, err := unit.Water(c.text, r.at("form").text, v, text)
			return x.Value, x.Unit, err
		})
		if !ok {
			return
		}
		m, err := unit.Water(c.text, r.at("form").text, v, text)
		if err != nil {
			r.refused(err)
			return
		}
		w.Analyte, w.Value, w.Unit, w.Qualifier, w.ReportedValue, w.ReportedUnit = r.word(m.ID), m.Value, m.Unit, qualifier, v, text
		if m.Form != m.ID {
			w.ReportedForm = m.Form
		}
	}
	r.replaces(w.Analyte, w.Analyte)
	if rows := r.rec.WaterTests; !r.bad {
		i := r.waters.earlier(w.Water, w.Date, "", len(rows), func(i int) bool {
			x := &rows[i]
			return x.Analyte == w.Analyte && x.Water == w.Water && x.Date == w.Date && x.DateBasis == w.DateBasis && x.Lab == w.Lab && x.Grower == w.Grower
		})
		if i >= 0 && (rows[i].Value != w.Value || rows[i].Qualifier != w.Qualifier) {
			r.twice(rows[i].Source, rows[i].Qualifier+trim(rows[i].ReportedValue), "take one out, or give each water its name")
		}
	}
	if !r.bad {
		r.rec.WaterTests = append(r.rec.WaterTests, w)
	}
}

func (r *row) tillage() {
	t := dataset.Tillage{Grower: r.grower(), Bed: r.text("bed"), Tool: r.text("tool"), Depth: r.quantity("depth"), Note: r.text("note"), Source: r.source()}
	t.Date, t.DateBasis = r.date("date", nil)
	r.replaces("", "")
	if !r.bad {
		r.rec.Tillage = append(r.rec.Tillage, t)
	}
}

func (r *row) leafTest() {
	l := dataset.LeafTest{Grower: r.grower(), Bed: r.text("bed"), Lab: r.text("lab"), Part: r.text("part"), Note: r.text("note"), Source: r.source()}
	l.Date, l.DateBasis = r.date("date", nil)
	v, qualifier, own, ok := r.reading("value")
	if c := r.at("analyte"); ok && c.text != "" {
		text, ok := r.unitOf(own, func(text string) (float64, string, error) {
			x, err := unit.Leaf(c.text, v, text)
			return x.Value, x.Unit, err
		})
		if !ok {
			return
		}
		m, err := unit.Leaf(c.text, v, text)
		if err != nil {
			r.refused(err)
			return
		}
		l.Analyte, l.Value, l.Unit, l.Qualifier, l.ReportedValue, l.ReportedUnit = r.word(m.ID), m.Value, m.Unit, qualifier, v, text
	}
	r.replaces(l.Analyte, l.Analyte)
	if rows := r.rec.LeafTests; !r.bad {
		i := r.leaves.earlier(l.Bed, l.Date, "", len(rows), func(i int) bool {
			x := &rows[i]
			return x.Analyte == l.Analyte && x.Part == l.Part && x.Bed == l.Bed && x.Date == l.Date && x.DateBasis == l.DateBasis && x.Lab == l.Lab && x.Grower == l.Grower
		})
		if i >= 0 && (rows[i].Value != l.Value || rows[i].Qualifier != l.Qualifier) {
			r.twice(rows[i].Source, rows[i].Qualifier+trim(rows[i].ReportedValue), "take one out, or tell them apart by part")
		}
	}
	if !r.bad {
		r.rec.LeafTests = append(r.rec.LeafTests, l)
	}
}

func (r *row) advice() {
	a := dataset.Advice{Grower: r.grower(), Bed: r.text("bed"), Lab: r.text("lab"), Report: r.text("report"), Item: r.text("item"), Text: r.text("text"), Note: r.text("note"), Source: r.source()}
	a.Date, a.DateBasis = r.date("date", nil)
	if x, ok := r.take("amount", r.at("unit")); ok {
		if x.qualifier == "" && x.words == "" {
			a.Amount, a.Unit = share(r.floats, x.value), x.unit
		} else { // the table has one figure: a range is kept in the lab's words
			words := r.at("amount").text
			if !strings.HasSuffix(words, x.unit) {
				words += " " + x.unit
			}
			a.Text = strings.TrimSuffix(words+"; "+a.Text, "; ")
			r.tally("recommendations that are no single figure, kept as text")
		}
	}
	r.replaces("", a.Item)
	if !r.bad {
		r.rec.Advice = append(r.rec.Advice, a)
	}
}

func (r *row) listed() {
	l := dataset.Listed{Grower: r.grower(), Bed: r.text("bed"), Season: r.season("season"), Timing: r.choice("timing"), Material: r.text("material"), Note: r.text("note"), Source: r.source()}
	if d := r.day("listed on", &l.Note); d != nil {
		l.ListedOn = *d
	}
	if x, ok := r.take("amount", r.at("unit")); ok {
		r.bare("amount", x.qualifier)
		l.Amount, l.Unit, l.ReportedAmount, l.ReportedUnit = x.si, x.q.SI(), x.value, x.unit
	}
	r.replaces("", "")
	if !r.bad {
		r.rec.Lists = append(r.rec.Lists, l)
	}
}

func (r *row) forecast() {
	f := dataset.Forecast{Grower: r.grower(), Bed: r.text("bed"), Season: r.season("season"), Timing: r.choice("timing"), Unit: r.text("unit"), Basis: r.text("basis"), Note: r.text("note"), Source: r.source()}
	if d := r.day("made on", &f.Note); d != nil {
		f.MadeOn = *d
	}
	f.Value, _ = r.number("value", -math.MaxFloat64, math.MaxFloat64)
	f.Low, _ = r.number("low", -math.MaxFloat64, math.MaxFloat64)
	f.High, _ = r.number("high", -math.MaxFloat64, math.MaxFloat64)
	f.Level, _ = r.number("level", 0.01, 0.999)
	a, ok := unit.ByID(r.at("analyte").text)
	if !ok && r.at("analyte").text != "" {
		if x, known := r.analyte(""); known {
			a = x.Analyte
		}
	}
	f.Analyte = a.ID
	if a.ID != "" {
		f.Method = r.method(a)
		if f.Unit != "" && f.Unit != a.Unit() && !(a.Kind == unit.Fraction && f.Unit == "mg/dm3") {
			r.fault(r.at("unit"), strconv.Quote(f.Unit), a.Unit()+", in which "+a.ID+" is stored", "")
		}
	}
	if !r.bad && (f.Low > f.Value || f.Value > f.High) {
		r.fault(r.at("value"), strconv.Quote(r.at("value").text), fmt.Sprintf("a value from low to high, %s to %s", trim(f.Low), trim(f.High)), "")
	}
	r.replaces(f.Analyte, f.Analyte)
	if !r.bad {
		r.rec.Forecasts = append(r.rec.Forecasts, f)
	}
}

func (r *row) withdraw() {
	c := dataset.Correction{Table: r.text("table"), OfFile: r.text("file"), Action: "withdraw", Reason: r.text("reason"), Source: r.source()}
	if b := r.whole("batch", 1, math.MaxInt32); b != nil {
		c.OfBatch = *b
	}
	if l := r.whole("line", 1, math.MaxInt32); l != nil {
		c.OfLine = *l
	}
	var names []string
	for _, t := range r.tables {
		if t.name != "corrections" {
			names = append(names, t.name)
		}
	}
	found := false
	for _, n := range names {
		if fold(n) == fold(c.Table) {
			c.Table, found = n, true
		}
	}
	if !found && c.Table != "" {
		r.fault(r.at("table"), strconv.Quote(c.Table), "one of "+strings.Join(names, ", "), didYouMean(c.Table, names))
	}
	if t := r.at("analyte").text; t != "" {
		switch a, _, err := unit.ParseAnalyte(t, ""); {
		case err == nil:
			c.Analyte = a.ID
		case unit.About(err) == "form": // the analyte alone matters here
			c.Analyte = a.ID
		default:
			c.Analyte = r.text("analyte") // of a water or leaf test
		}
	}
	if !r.bad {
		r.rec.Corrections = append(r.rec.Corrections, c)
	}
}
