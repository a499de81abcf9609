package dataset

// Source says where a row came from: the batch, the file as the grower named
// it and the line (or row) in it, counted from 1. In batches the batch number
// is that of the batch itself.
type Source struct {
	Batch int32  `parquet:"batch,delta"`
	File  string `parquet:"file,dict"`
	Line  int32  `parquet:"line,delta"`
}

// Bed describes a bed from a date on. A later row for the same bed takes over
// from its date; Was names the bed or beds ("A; B") it was before, so that a
// renamed, split or joined bed keeps its history.
type Bed struct {
	Grower        string   `parquet:"grower,dict"`
	Bed           string   `parquet:"bed,dict"`
	From          Date     `parquet:"from,date,delta"`
	FromBasis     string   `parquet:"from_basis,dict"` // day, month, season, assumed
	Was           string   `parquet:"was,optional,dict"`
	Area          *float64 `parquet:"area_m2,optional,dict"`
	DepthFrom     *float64 `parquet:"depth_from_cm,optional,dict"` // usual sampled depth
	DepthTo       *float64 `parquet:"depth_to_cm,optional,dict"`
	BulkDensity   *float64 `parquet:"bulk_density_g_cm3,optional,dict"`
	DensitySource string   `parquet:"bulk_density_source,optional,dict"` // measured, estimated, assumed
	NativePH      *float64 `parquet:"native_ph,optional,dict"`
	NativeOM      *float64 `parquet:"native_om_pct,optional,dict"`
	Texture       string   `parquet:"texture,optional,dict"`
	Note          string   `parquet:"note,optional,dict"`
	Source
}

// SoilTest is one analyte of one composite sample's report. Value and Unit are
// SI; what the lab printed stays in the Reported fields. A value on a volume
// basis keeps mg/dm3 as its unit, since no weight is known.
type SoilTest struct {
	Grower         string   `parquet:"grower,dict"`
	Bed            string   `parquet:"bed,dict"`
	Analyte        string   `parquet:"analyte,dict"` // unit.Analyte ID: pH, P, K, OM ...
	Date           Date     `parquet:"date,date,delta"`
	DateBasis      string   `parquet:"date_basis,dict"`
	Timing         string   `parquet:"timing,optional,dict"` // spring, autumn, mid-season; empty: by date
	Lab            string   `parquet:"lab,optional,dict"`
	Report         string   `parquet:"report,optional,dict"`
	Site           string   `parquet:"site,optional,dict"`
	Sample         string   `parquet:"sample,optional,dict"` // tells two samples of one day apart
	DepthFrom      *float64 `parquet:"depth_from_cm,optional,dict"`
	DepthTo        *float64 `parquet:"depth_to_cm,optional,dict"`
	Cores          *int32   `parquet:"cores,optional,dict"`
	Value          float64  `parquet:"value,dict"`
	Unit           string   `parquet:"unit,dict"`
	Qualifier      string   `parquet:"qualifier,optional,dict"` // "<" or ">": the true value lies beyond Value
	Method         string   `parquet:"method,optional,dict"`    // unit method ID; empty: not stated
	Basis          string   `parquet:"basis,optional,dict"`     // mass, volume
	Conversion     string   `parquet:"conversion,optional,dict"`
	ReportedValue  float64  `parquet:"reported_value,dict"`
	ReportedUnit   string   `parquet:"reported_unit,dict"`
	ReportedForm   string   `parquet:"reported_form,optional,dict"`
	ReportedMethod string   `parquet:"reported_method,optional,dict"`
	Note           string   `parquet:"note,optional,dict"`
	Source
}

// Material is one line of a material's analysis: a bag label or a lab report.
type Material struct {
	Grower        string  `parquet:"grower,dict"`
	Material      string  `parquet:"material,dict"`
	Kind          string  `parquet:"kind,optional,dict"` // fertilizer, lime, sulfur, gypsum, compost, manure, ash, other
	From          *Date   `parquet:"from,optional,date,dict"`
	Component     string  `parquet:"component,dict"` // element or property: N, P, K, Ca, CCE, moisture, OM, density ...
	Value         float64 `parquet:"value,dict"`
	Unit          string  `parquet:"unit,dict"`
	Basis         string  `parquet:"basis,optional,dict"`  // label, as-is, dry
	Origin        string  `parquet:"origin,optional,dict"` // label, lab, typical
	ReportedValue float64 `parquet:"reported_value,dict"`
	ReportedUnit  string  `parquet:"reported_unit,dict"`
	ReportedForm  string  `parquet:"reported_form,optional,dict"`
	Note          string  `parquet:"note,optional,dict"`
	Source
}

// Amendment is one spreading on one bed, or a run of equal ones (Every days
// until Until). Amount is SI: kg, kg/ha, L, L/ha, m3 or cm (a layer); the unit
// says which, and nothing is turned into another before the area is known.
// AmountLow and AmountHigh, in the same unit, bound an amount that is not exact:
// the grower's range, or how far "about" may be off.
type Amendment struct {
	Grower         string   `parquet:"grower,dict"`
	Bed            string   `parquet:"bed,dict"`
	Date           Date     `parquet:"date,date,delta"`
	DateBasis      string   `parquet:"date_basis,dict"`
	Material       string   `parquet:"material,dict"`
	Amount         *float64 `parquet:"amount,optional,dict"`
	Unit           string   `parquet:"unit,optional,dict"`
	AmountLow      *float64 `parquet:"amount_low,optional,dict" since:"2"`
	AmountHigh     *float64 `parquet:"amount_high,optional,dict" since:"2"`
	Qualifier      string   `parquet:"qualifier,optional,dict"` // about
	ReportedAmount *float64 `parquet:"reported_amount,optional,dict"`
	ReportedUnit   string   `parquet:"reported_unit,optional,dict"`
	Placed         string   `parquet:"placed,optional,dict"` // surface, worked in, watered in, foliar
	MixedDepth     *float64 `parquet:"mixed_depth_cm,optional,dict"`
	Every          *int32   `parquet:"every_days,optional,dict"`
	Until          *Date    `parquet:"until,optional,date,dict"`
	SameDay        string   `parquet:"same_day,optional,dict" since:"2"` // before test, after test: on the day of a soil test of this bed
	Note           string   `parquet:"note,optional,dict"`
	Source
}

// Planting is one crop on one bed in one season (named by its harvest year).
type Planting struct {
	Grower        string   `parquet:"grower,dict"`
	Bed           string   `parquet:"bed,dict"`
	Season        int32    `parquet:"season,dict"`
	Crop          string   `parquet:"crop,dict"`
	Plants        *int32   `parquet:"plants,optional,dict"`
	SetOut        *Date    `parquet:"set_out,optional,date,dict"`
	Pollinated    *Date    `parquet:"pollinated,optional,date,dict"`
	FeedingEnded  *Date    `parquet:"feeding_ended,optional,date,dict"`
	FeedsComplete string   `parquet:"feeds_complete,optional,dict"` // yes, no
	VinesCleared  *Date    `parquet:"vines_cleared,optional,date,dict"`
	VinesHauled   *float64 `parquet:"vines_hauled_pct,optional,dict"`
	FruitLost     *Date    `parquet:"fruit_lost,optional,date,dict"`
	LostHow       string   `parquet:"lost_how,optional,dict"`
	Note          string   `parquet:"note,optional,dict"`
	Source
}

// Harvest is one weighed fruit, or a crop taken off the bed.
type Harvest struct {
	Grower         string  `parquet:"grower,dict"`
	Bed            string  `parquet:"bed,dict"`
	Date           Date    `parquet:"date,date,delta"`
	DateBasis      string  `parquet:"date_basis,dict"`
	Crop           string  `parquet:"crop,optional,dict"`
	Plant          string  `parquet:"plant,optional,dict"`
	Weight         float64 `parquet:"weight_kg,dict"`
	Weighed        string  `parquet:"weighed,dict"` // scale, taped, guessed
	ReportedWeight float64 `parquet:"reported_weight,dict"`
	ReportedUnit   string  `parquet:"reported_unit,dict"`
	Note           string  `parquet:"note,optional,dict"`
	Source
}

// Cover is one cover crop on one bed.
type Cover struct {
	Grower    string   `parquet:"grower,dict"`
	Bed       string   `parquet:"bed,dict"`
	Sown      Date     `parquet:"sown,date,delta"`
	SownBasis string   `parquet:"sown_basis,dict"`
	Species   string   `parquet:"species,dict"`
	Ended     *Date    `parquet:"ended,optional,date,dict"`
	Height    *float64 `parquet:"height_cm,optional,dict"`
	Biomass   *float64 `parquet:"biomass_kg_ha,optional,dict"` // dry
	Note      string   `parquet:"note,optional,dict"`
	Source
}

// Weather is one day, one month or one monthly normal at a site, of which there
// is one; or one watering of a bed, of which a day may have several. A watering
// names the bed instead of, or beside, the site.
type Weather struct {
	Grower      string   `parquet:"grower,dict"`
	Bed         string   `parquet:"bed,optional,dict"`
	Site        string   `parquet:"site,optional,dict"`
	Date        Date     `parquet:"date,date,delta"` // first day of the period
	Period      string   `parquet:"period,dict"`     // day, month, normal
	Rain        *float64 `parquet:"rain_mm,optional,dict"`
	Irrigation  *float64 `parquet:"irrigation_mm,optional,dict"`
	IrrigationL *float64 `parquet:"irrigation_l,optional,dict" since:"2"` // litres on the whole bed, where no depth is known
	TempMax     *float64 `parquet:"temp_max_c,optional,dict"`
	TempMin     *float64 `parquet:"temp_min_c,optional,dict"`
	Humidity    *float64 `parquet:"humidity_pct,optional,dict"`
	Wind        *float64 `parquet:"wind_m_s,optional,dict"`
	Sun         *float64 `parquet:"sun_hours,optional,dict"`
	Note        string   `parquet:"note,optional,dict"`
	Source
}

// WaterTest is one analyte of one irrigation-water report.
type WaterTest struct {
	Grower        string  `parquet:"grower,dict"`
	Water         string  `parquet:"water,dict"` // well, tap, pond ...
	Date          Date    `parquet:"date,date,delta"`
	DateBasis     string  `parquet:"date_basis,dict"`
	Lab           string  `parquet:"lab,optional,dict"`
	Analyte       string  `parquet:"analyte,dict"`
	Value         float64 `parquet:"value,dict"`
	Unit          string  `parquet:"unit,dict"`
	Qualifier     string  `parquet:"qualifier,optional,dict"`
	ReportedValue float64 `parquet:"reported_value,dict"`
	ReportedUnit  string  `parquet:"reported_unit,dict"`
	ReportedForm  string  `parquet:"reported_form,optional,dict"`
	Note          string  `parquet:"note,optional,dict"`
	Source
}

// Tillage is one working of the soil.
type Tillage struct {
	Grower    string   `parquet:"grower,dict"`
	Bed       string   `parquet:"bed,dict"`
	Date      Date     `parquet:"date,date,delta"`
	DateBasis string   `parquet:"date_basis,dict"`
	Tool      string   `parquet:"tool,dict"`
	Depth     *float64 `parquet:"depth_cm,optional,dict"`
	Note      string   `parquet:"note,optional,dict"`
	Source
}

// LeafTest is one analyte of one plant-tissue report.
type LeafTest struct {
	Grower        string  `parquet:"grower,dict"`
	Bed           string  `parquet:"bed,dict"`
	Analyte       string  `parquet:"analyte,dict"`
	Date          Date    `parquet:"date,date,delta"`
	DateBasis     string  `parquet:"date_basis,dict"`
	Lab           string  `parquet:"lab,optional,dict"`
	Part          string  `parquet:"part,optional,dict"` // which leaf or petiole
	Value         float64 `parquet:"value,dict"`
	Unit          string  `parquet:"unit,dict"` // g/kg or mg/kg of dry matter
	Qualifier     string  `parquet:"qualifier,optional,dict"`
	ReportedValue float64 `parquet:"reported_value,dict"`
	ReportedUnit  string  `parquet:"reported_unit,dict"`
	Note          string  `parquet:"note,optional,dict"`
	Source
}

// Advice is one line of the lab's own recommendation, kept as printed.
type Advice struct {
	Grower    string   `parquet:"grower,dict"`
	Bed       string   `parquet:"bed,dict"`
	Date      Date     `parquet:"date,date,delta"`
	DateBasis string   `parquet:"date_basis,dict"`
	Lab       string   `parquet:"lab,optional,dict"`
	Report    string   `parquet:"report,optional,dict"`
	Item      string   `parquet:"item,dict"` // nutrient or material
	Amount    *float64 `parquet:"amount,optional,dict"`
	Unit      string   `parquet:"unit,optional,dict"`
	Text      string   `parquet:"text,optional,dict"`
	Note      string   `parquet:"note,optional,dict"`
	Source
}

// Listed is one line of what we listed to spread. Amount is SI as in Amendment.
type Listed struct {
	Grower         string  `parquet:"grower,dict"`
	Bed            string  `parquet:"bed,dict"`
	ListedOn       Date    `parquet:"listed_on,date,delta"`
	Season         int32   `parquet:"season,dict"`
	Timing         string  `parquet:"timing,dict"` // autumn, spring
	Material       string  `parquet:"material,dict"`
	Amount         float64 `parquet:"amount,dict"`
	Unit           string  `parquet:"unit,dict"`
	ReportedAmount float64 `parquet:"reported_amount,dict"`
	ReportedUnit   string  `parquet:"reported_unit,dict"`
	Note           string  `parquet:"note,optional,dict"`
	Source
}

// Forecast is one forecast, kept to be scored when its test comes.
type Forecast struct {
	Grower  string  `parquet:"grower,dict"`
	Bed     string  `parquet:"bed,dict"`
	Analyte string  `parquet:"analyte,dict"`
	MadeOn  Date    `parquet:"made_on,date,delta"`
	Season  int32   `parquet:"season,dict"` // the season of the test it foretells
	Timing  string  `parquet:"timing,dict"` // spring, autumn
	Method  string  `parquet:"method,optional,dict"`
	Value   float64 `parquet:"value,dict"`
	Low     float64 `parquet:"low,dict"`
	High    float64 `parquet:"high,dict"`
	Level   float64 `parquet:"level,dict"` // 0.9 for a 90 % range
	Unit    string  `parquet:"unit,dict"`
	Basis   string  `parquet:"basis,optional,dict"`
	Note    string  `parquet:"note,optional,dict"`
	Source
}

// Correction takes rows of an earlier batch out of the resolved records: those
// of Table that came from line OfLine of file OfFile in batch OfBatch (and, if
// Analyte is set, of that analyte only). A replacing row stands in the same
// batch as its correction; with action withdraw nothing replaces what is taken
// out. OfRow says which of several rows of the line goes: its columns of the
// table's order, without grower.
type Correction struct {
	Table   string `parquet:"table,dict"`
	OfBatch int32  `parquet:"of_batch,delta"`
	OfFile  string `parquet:"of_file,optional,dict"` // empty: any file of that batch
	OfLine  int32  `parquet:"of_line,delta"`
	Analyte string `parquet:"analyte,optional,dict"`
	OfRow   string `parquet:"of_row,optional,dict" since:"2"` // empty: every row of the line
	Action  string `parquet:"action,dict"`                    // replace, withdraw
	Reason  string `parquet:"reason,optional,dict"`
	Source
}

// Records holds rows of every table, in memory: one batch on its way in, or
// the resolved set of a patch.
type Records struct {
	Beds        []Bed
	SoilTests   []SoilTest
	Materials   []Material
	Amendments  []Amendment
	Plantings   []Planting
	Harvests    []Harvest
	Covers      []Cover
	Weather     []Weather
	WaterTests  []WaterTest
	Tillage     []Tillage
	LeafTests   []LeafTest
	Advice      []Advice
	Lists       []Listed
	Forecasts   []Forecast
	Corrections []Correction
}
