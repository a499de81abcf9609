package dataset

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/parquet-go/parquet-go"

	"carryover/dataset/unit"
)

// groupRows is where a row group may end; it ends at the next bed.
const groupRows = 1 << 20

// table is what the book needs to know of one Parquet table; spec[T] answers
// for rows of type T. Row i is counted from 0.
type table interface {
	name() string
	schema() *parquet.Schema
	len(r *Records) int
	source(r *Records, i int) *Source
	place(r *Records, i int) (grower, bed string) // bed "": the row names none
	analyte(r *Records, i int) (string, bool)     // false: the table has none
	isEvent(r *Records, i int) bool               // a row like it would be another event

	nameGrower(r *Records, grower string) // of rows that name none
	sort(r *Records)
	add(dst, src *Records)
	keep(r *Records, keep func(i int) bool)
	check() func(r *Records, i int) error

	identity() func(r *Records, i int) rowKey // of all columns but the source
	alike() []func(r *Records, i int) rowKey  // of the columns of the order, then of its first four: bed, day and what
	things() []func(r *Records, i int) rowKey // of all columns but days; of the order but grower, bed and day; of the analyte, if any; of the bed
	fact() func(r *Records, i int) rowKey     // of all columns but those that keep how it was reported
	likeness() []likeness                     // from the surest
	day(r *Records, i int) Date
	subject() func(r *Records, i int) (rowKey, bool) // of the columns that say what was measured; nil: none; false: an event
	named(r *Records, i int) string                  // the columns of the order in words
	say(r *Records, i int) string                    // the row in words: bed, thing, day, lab, sample, depth
	differs(a *Records, i int, b *Records, j int) []Cell

	encode(w io.Writer, r *Records, group int) error
	decode(data []byte, rows, format int, r *Records) error
}

// rowKey stands for the content of a row; equal rows have equal keys.
type rowKey [16]byte

// spec describes the table of rows T.
type spec[T any] struct {
	table   string
	rows    func(*Records) *[]T
	src     func(*T) *Source
	order   []string // columns of the sort order, as declared in the file
	compare func(a, b *T) int
	event   func(*T) bool                 // nil: no row is one
	where   func(*T) (grower, bed string) // nil: not keyed by bed
	what    func(*T) string               // the analyte; nil: none
	unique  []string                      // columns of which one value allows one row
}

// tables returns the tables in the order of the format page.
func tables() []table {
	return []table{
		spec[Bed]{"beds", func(r *Records) *[]Bed { return &r.Beds }, func(t *Bed) *Source { return &t.Source },
			[]string{"grower", "bed", "from"},
			func(a, b *Bed) int {
				return cmp.Or(cmp.Compare(a.Grower, b.Grower), cmp.Compare(a.Bed, b.Bed), cmp.Compare(a.From, b.From))
			}, nil, func(t *Bed) (string, string) { return t.Grower, t.Bed }, nil,
			[]string{"grower", "bed", "from"}},
		spec[SoilTest]{"soil_tests", func(r *Records) *[]SoilTest { return &r.SoilTests }, func(t *SoilTest) *Source { return &t.Source },
			[]string{"grower", "bed", "analyte", "date", "depth_from_cm", "depth_to_cm", "method"},
			func(a, b *SoilTest) int {
				return cmp.Or(cmp.Compare(a.Grower, b.Grower), cmp.Compare(a.Bed, b.Bed), cmp.Compare(a.Analyte, b.Analyte),
					cmp.Compare(a.Date, b.Date), nullFirst(a.DepthFrom, b.DepthFrom), nullFirst(a.DepthTo, b.DepthTo), cmp.Compare(a.Method, b.Method))
			}, nil, func(t *SoilTest) (string, string) { return t.Grower, t.Bed }, func(t *SoilTest) string { return t.Analyte },
			[]string{"grower", "bed", "date", "date_basis", "depth_from_cm", "depth_to_cm", "analyte", "method", "basis", "lab", "report", "sample", "timing"}},
		spec[Material]{"materials", func(r *Records) *[]Material { return &r.Materials }, func(t *Material) *Source { return &t.Source },
			[]string{"grower", "material", "from", "component"},
			func(a, b *Material) int {
				return cmp.Or(cmp.Compare(a.Grower, b.Grower), cmp.Compare(a.Material, b.Material), nullFirst(a.From, b.From), cmp.Compare(a.Component, b.Component))
			}, nil, nil, func(t *Material) string { return t.Component },
			[]string{"grower", "material", "from", "component", "basis"}},
		spec[Amendment]{"amendments", func(r *Records) *[]Amendment { return &r.Amendments }, func(t *Amendment) *Source { return &t.Source },
			[]string{"grower", "bed", "date", "material"},
			func(a, b *Amendment) int {
				return cmp.Or(cmp.Compare(a.Grower, b.Grower), cmp.Compare(a.Bed, b.Bed), cmp.Compare(a.Date, b.Date), cmp.Compare(a.Material, b.Material))
			}, every[Amendment], func(t *Amendment) (string, string) { return t.Grower, t.Bed }, nil, nil},
		spec[Planting]{"plantings", func(r *Records) *[]Planting { return &r.Plantings }, func(t *Planting) *Source { return &t.Source },
			[]string{"grower", "bed", "season", "crop"},
			func(a, b *Planting) int {
				return cmp.Or(cmp.Compare(a.Grower, b.Grower), cmp.Compare(a.Bed, b.Bed), cmp.Compare(a.Season, b.Season), cmp.Compare(a.Crop, b.Crop))
			}, nil, func(t *Planting) (string, string) { return t.Grower, t.Bed }, nil,
			[]string{"grower", "bed", "season", "crop"}},
		spec[Harvest]{"harvests", func(r *Records) *[]Harvest { return &r.Harvests }, func(t *Harvest) *Source { return &t.Source },
			[]string{"grower", "bed", "date", "crop", "plant"},
			func(a, b *Harvest) int {
				return cmp.Or(cmp.Compare(a.Grower, b.Grower), cmp.Compare(a.Bed, b.Bed), cmp.Compare(a.Date, b.Date), cmp.Compare(a.Crop, b.Crop), cmp.Compare(a.Plant, b.Plant))
			}, every[Harvest], func(t *Harvest) (string, string) { return t.Grower, t.Bed }, nil, nil},
		spec[Cover]{"covers", func(r *Records) *[]Cover { return &r.Covers }, func(t *Cover) *Source { return &t.Source },
			[]string{"grower", "bed", "sown", "species"},
			func(a, b *Cover) int {
				return cmp.Or(cmp.Compare(a.Grower, b.Grower), cmp.Compare(a.Bed, b.Bed), cmp.Compare(a.Sown, b.Sown), cmp.Compare(a.Species, b.Species))
			}, every[Cover], func(t *Cover) (string, string) { return t.Grower, t.Bed }, nil, nil},
		spec[Weather]{"weather", func(r *Records) *[]Weather { return &r.Weather }, func(t *Weather) *Source { return &t.Source },
			[]string{"grower", "bed", "site", "date", "period"},
			func(a, b *Weather) int {
				return cmp.Or(cmp.Compare(a.Grower, b.Grower), cmp.Compare(a.Bed, b.Bed), cmp.Compare(a.Site, b.Site), cmp.Compare(a.Date, b.Date), cmp.Compare(a.Period, b.Period))
			}, func(t *Weather) bool { return t.Bed != "" }, func(t *Weather) (string, string) { return t.Grower, t.Bed }, nil,
			[]string{"grower", "bed", "site", "date", "period"}},
		spec[WaterTest]{"water_tests", func(r *Records) *[]WaterTest { return &r.WaterTests }, func(t *WaterTest) *Source { return &t.Source },
			[]string{"grower", "water", "analyte", "date"},
			func(a, b *WaterTest) int {
				return cmp.Or(cmp.Compare(a.Grower, b.Grower), cmp.Compare(a.Water, b.Water), cmp.Compare(a.Analyte, b.Analyte), cmp.Compare(a.Date, b.Date))
			}, nil, nil, func(t *WaterTest) string { return t.Analyte }, nil},
		spec[Tillage]{"tillage", func(r *Records) *[]Tillage { return &r.Tillage }, func(t *Tillage) *Source { return &t.Source },
			[]string{"grower", "bed", "date", "tool"},
			func(a, b *Tillage) int {
				return cmp.Or(cmp.Compare(a.Grower, b.Grower), cmp.Compare(a.Bed, b.Bed), cmp.Compare(a.Date, b.Date), cmp.Compare(a.Tool, b.Tool))
			}, every[Tillage], func(t *Tillage) (string, string) { return t.Grower, t.Bed }, nil, nil},
		spec[LeafTest]{"leaf_tests", func(r *Records) *[]LeafTest { return &r.LeafTests }, func(t *LeafTest) *Source { return &t.Source },
			[]string{"grower", "bed", "analyte", "date", "part"},
			func(a, b *LeafTest) int {
				return cmp.Or(cmp.Compare(a.Grower, b.Grower), cmp.Compare(a.Bed, b.Bed), cmp.Compare(a.Analyte, b.Analyte), cmp.Compare(a.Date, b.Date), cmp.Compare(a.Part, b.Part))
			}, nil, func(t *LeafTest) (string, string) { return t.Grower, t.Bed }, func(t *LeafTest) string { return t.Analyte }, nil},
		spec[Advice]{"advice", func(r *Records) *[]Advice { return &r.Advice }, func(t *Advice) *Source { return &t.Source },
			[]string{"grower", "bed", "date", "item"},
			func(a, b *Advice) int {
				return cmp.Or(cmp.Compare(a.Grower, b.Grower), cmp.Compare(a.Bed, b.Bed), cmp.Compare(a.Date, b.Date), cmp.Compare(a.Item, b.Item))
			}, nil, func(t *Advice) (string, string) { return t.Grower, t.Bed }, func(t *Advice) string { return t.Item }, nil},
		spec[Listed]{"lists", func(r *Records) *[]Listed { return &r.Lists }, func(t *Listed) *Source { return &t.Source },
			[]string{"grower", "bed", "listed_on", "season", "timing", "material"},
			func(a, b *Listed) int {
				return cmp.Or(cmp.Compare(a.Grower, b.Grower), cmp.Compare(a.Bed, b.Bed), cmp.Compare(a.ListedOn, b.ListedOn),
					cmp.Compare(a.Season, b.Season), cmp.Compare(a.Timing, b.Timing), cmp.Compare(a.Material, b.Material))
			}, every[Listed], func(t *Listed) (string, string) { return t.Grower, t.Bed }, nil, nil},
		spec[Forecast]{"forecasts", func(r *Records) *[]Forecast { return &r.Forecasts }, func(t *Forecast) *Source { return &t.Source },
			[]string{"grower", "bed", "analyte", "made_on", "season", "timing"},
			func(a, b *Forecast) int {
				return cmp.Or(cmp.Compare(a.Grower, b.Grower), cmp.Compare(a.Bed, b.Bed), cmp.Compare(a.Analyte, b.Analyte),
					cmp.Compare(a.MadeOn, b.MadeOn), cmp.Compare(a.Season, b.Season), cmp.Compare(a.Timing, b.Timing))
			}, nil, func(t *Forecast) (string, string) { return t.Grower, t.Bed }, func(t *Forecast) string { return t.Analyte }, nil},
		spec[Correction]{"corrections", func(r *Records) *[]Correction { return &r.Corrections }, func(t *Correction) *Source { return &t.Source },
			[]string{"of_batch", "table", "of_line"},
			func(a, b *Correction) int {
				return cmp.Or(cmp.Compare(a.OfBatch, b.OfBatch), cmp.Compare(a.Table, b.Table), cmp.Compare(a.OfLine, b.OfLine))
			}, nil, nil, nil, nil},
	}
}

// every says that each row is an event.
func every[T any](*T) bool { return true }

// TableNames lists the tables of a book in the order of the format page.
func TableNames() []string {
	var names []string
	for _, t := range tables() {
		names = append(names, t.name())
	}
	return names
}

func tableNamed(name string) table {
	for _, t := range tables() {
		if t.name() == name {
			return t
		}
	}
	return nil
}

// Len returns the number of rows of one table; 0 for a name that is no table.
func (r *Records) Len(tableName string) int {
	if t := tableNamed(tableName); t != nil {
		return t.len(r)
	}
	return 0
}

// Total returns the number of rows of all tables.
func (r *Records) Total() int {
	n := 0
	for _, t := range tables() {
		n += t.len(r)
	}
	return n
}

// Sort puts every table into its order of the format page, the order in which
// Book.Records returns and Book.Beds expects them.
func (r *Records) Sort() {
	for _, t := range tables() {
		t.sort(r)
	}
}

// Sources yields where each row of a table came from, in row order.
func (r *Records) Sources(tableName string) []Source {
	t := tableNamed(tableName)
	if t == nil {
		return nil
	}
	s := make([]Source, t.len(r))
	for i := range s {
		s[i] = *t.source(r, i)
	}
	return s
}

// nullFirst orders optional values, a null before any value.
func nullFirst[V cmp.Ordered](a, b *V) int {
	switch {
	case a == nil && b == nil:
		return 0
	case a == nil:
		return -1
	case b == nil:
		return 1
	}
	return cmp.Compare(*a, *b)
}

func (s spec[T]) name() string                     { return s.table }
func (s spec[T]) schema() *parquet.Schema          { return parquet.SchemaOf(new(T)) }
func (s spec[T]) len(r *Records) int               { return len(*s.rows(r)) }
func (s spec[T]) source(r *Records, i int) *Source { return s.src(&(*s.rows(r))[i]) }

func (s spec[T]) place(r *Records, i int) (grower, bed string) {
	if s.where == nil {
		return "", ""
	}
	return s.where(&(*s.rows(r))[i])
}

func (s spec[T]) isEvent(r *Records, i int) bool {
	return s.event != nil && s.event(&(*s.rows(r))[i])
}

func (s spec[T]) analyte(r *Records, i int) (string, bool) {
	if s.what == nil {
		return "", false
	}
	return s.what(&(*s.rows(r))[i]), true
}

// nameGrower does nothing to corrections, which have no such column.
func (s spec[T]) nameGrower(r *Records, grower string) {
	if reflect.TypeFor[T]().Field(0).Name != "Grower" {
		return
	}
	rows := *s.rows(r)
	for i := range rows {
		if f := reflect.ValueOf(&rows[i]).Elem().Field(0); f.Len() == 0 {
			f.SetString(grower)
		}
	}
}

// sort is stable and ends with the source, so the order of equal keys never
// depends on the way the rows came together.
func (s spec[T]) sort(r *Records) {
	full := func(a, b *T) int {
		x, y := s.src(a), s.src(b)
		return cmp.Or(s.compare(a, b), cmp.Compare(x.Batch, y.Batch), cmp.Compare(x.Line, y.Line), cmp.Compare(x.File, y.File))
	}
	rows := *s.rows(r)
	if isSorted(rows, full) {
		return
	}
	// Rows are large, so their numbers are sorted and each row moves once.
	order := make([]int32, len(rows))
	for i := range order {
		order[i] = int32(i)
	}
	slices.SortFunc(order, func(i, j int32) int { return cmp.Or(full(&rows[i], &rows[j]), cmp.Compare(i, j)) })
	sorted := make([]T, len(rows))
	for to, from := range order {
		sorted[to] = rows[from]
	}
	*s.rows(r) = sorted
}

func (s spec[T]) add(dst, src *Records) { p := s.rows(dst); *p = append(*p, *s.rows(src)...) }

// keep leaves the rows for which keep(i) holds; if any go, in a new slice.
func (s spec[T]) keep(r *Records, keep func(i int) bool) {
	p := s.rows(r)
	list := which(len(*p), keep)
	if len(list) == len(*p) {
		return
	}
	var kept []T
	if len(list) > 0 {
		kept = make([]T, len(list))
	}
	for n, i := range list {
		kept[n] = (*p)[i]
	}
	*p = kept
}

func isSorted[T any](rows []T, compare func(a, b *T) int) bool {
	for i := 1; i < len(rows); i++ {
		if compare(&rows[i-1], &rows[i]) > 0 {
			return false
		}
	}
	return true
}

// column is one field of a row struct and its name in the file.
type column struct {
	name  string
	field int
}

// columns lists the columns of a row struct without those of its Source.
func columns(t reflect.Type) []column {
	var list []column
	for i := range t.NumField() {
		if f := t.Field(i); !f.Anonymous {
			name, _, _ := strings.Cut(f.Tag.Get("parquet"), ",")
			list = append(list, column{name, i})
		}
	}
	return list
}

// check refuses what the file could not give back as it was, or what no
// reader could place.
func (s spec[T]) check() func(r *Records, i int) error {
	cols := columns(reflect.TypeFor[T]())
	return func(r *Records, i int) error { return s.checkRow(&(*s.rows(r))[i], cols) }
}

func (s spec[T]) checkRow(row *T, cols []column) error {
	v := reflect.ValueOf(row).Elem()
	for _, c := range cols {
		f := v.Field(c.field)
		if f.Kind() == reflect.Pointer {
			if f.IsNil() {
				continue
			}
			f = f.Elem()
		}
		switch f.Kind() {
		case reflect.Float64:
			if x := f.Float(); math.IsNaN(x) || math.IsInf(x, 0) {
				return fmt.Errorf("%v: %w: column %s is %v, not a number", *s.src(row), ErrRow, c.name, x)
			}
		case reflect.String:
			if !utf8.ValidString(f.String()) {
				return fmt.Errorf("%v: %w: column %s is not valid UTF-8 text: %q", *s.src(row), ErrRow, c.name, f.String())
			}
		}
	}
	if !utf8.ValidString(s.src(row).File) {
		return fmt.Errorf("%w: file name %q is not valid UTF-8 text", ErrRow, s.src(row).File)
	}
	if s.where != nil && s.table != "weather" { // site weather names no bed
		if _, bed := s.where(row); bed == "" {
			return fmt.Errorf("%v: %w: %s without a bed", *s.src(row), ErrRow, s.table)
		}
	}
	return nil
}

// keyOf hashes the given columns; a null differs from a zero, but an empty
// text is a null and -0 is 0.
func (s spec[T]) keyOf(cols []column) func(r *Records, i int) rowKey {
	var buf []byte
	return func(r *Records, i int) rowKey {
		buf = buf[:0]
		v := reflect.ValueOf(&(*s.rows(r))[i]).Elem()
		for _, c := range cols {
			f := v.Field(c.field)
			if f.Kind() == reflect.Pointer {
				if f.IsNil() {
					buf = append(buf, 0)
					continue
				}
				buf = append(buf, 1)
				f = f.Elem()
			}
			switch f.Kind() {
			case reflect.String:
				buf = binary.AppendUvarint(buf, uint64(f.Len()))
				buf = append(buf, f.String()...)
			case reflect.Float64:
				buf = binary.LittleEndian.AppendUint64(buf, math.Float64bits(f.Float()+0))
			default:
				buf = binary.AppendVarint(buf, f.Int())
			}
		}
		sum := sha256.Sum256(buf)
		return rowKey(sum[:16])
	}
}

func (s spec[T]) identity() func(r *Records, i int) rowKey {
	return s.keyOf(columns(reflect.TypeFor[T]()))
}

func (s spec[T]) alike() []func(r *Records, i int) rowKey {
	list := []func(r *Records, i int) rowKey{s.keyOf(s.columnsNamed(s.order))}
	if len(s.order) > 4 {
		list = append(list, s.keyOf(s.columnsNamed(s.order[:4])))
	}
	return list
}

func (s spec[T]) things() []func(r *Records, i int) rowKey {
	noDay := func(c column) bool { return reflect.TypeFor[T]().Field(c.field).Type == reflect.TypeFor[Date]() }
	all := slices.DeleteFunc(columns(reflect.TypeFor[T]()), noDay)
	what := slices.DeleteFunc(slices.Clone(all), func(c column) bool { return c.name == "grower" || c.name == "bed" || !slices.Contains(s.order, c.name) })
	list := []func(r *Records, i int) rowKey{s.keyOf(all), s.keyOf(what)}
	if s.what != nil {
		list = append(list, func(r *Records, i int) rowKey {
			sum := sha256.Sum256([]byte(s.what(&(*s.rows(r))[i])))
			return rowKey(sum[:16])
		})
	}
	return append(list, s.keyOf(s.columnsNamed(s.order[1:2])))
}

func (s spec[T]) fact() func(r *Records, i int) rowKey {
	return s.keyOf(slices.DeleteFunc(columns(reflect.TypeFor[T]()), func(c column) bool {
		return c.name == "conversion" || strings.HasPrefix(c.name, "reported_")
	}))
}

// likeness says that two rows of one sheet may be one before and after an edit:
// their keys are equal and their days not further apart than within.
type likeness struct {
	key    func(r *Records, i int) rowKey
	within Date
	events bool // for events, else for facts
}

// A date that was mended is most often a month off. Of events, which recur, no
// more can be told; a fact is also known by its value.
func (s spec[T]) likeness() []likeness {
	const month = 31
	noDays := s.things()[0]
	list := []likeness{{noDays, month, true}}
	if s.table != "weather" { // two days may be alike in all
		list = append(list, likeness{noDays, forever, false})
	}
	if s.what != nil {
		of := []string{"grower", "bed", "water", "material", "analyte", "component", "item", "part", "lab", "depth_from_cm", "depth_to_cm"}
		list = append(list, likeness{s.keyOf(s.columnsNamed(append(slices.Clip(of), "value", "amount", "unit"))), forever, false},
			likeness{s.keyOf(s.columnsNamed(append(slices.Clip(of), "method", "sample"))), month, false})
	}
	return list
}

// day is the first date of the row; 0 if it has none.
func (s spec[T]) day(r *Records, i int) Date {
	v := reflect.ValueOf(&(*s.rows(r))[i]).Elem()
	for n := range v.NumField() {
		switch d := v.Field(n).Interface().(type) {
		case Date:
			return d
		case *Date:
			if d != nil {
				return *d
			}
		}
	}
	return 0
}

func (s spec[T]) columnsNamed(names []string) []column {
	return slices.DeleteFunc(columns(reflect.TypeFor[T]()), func(c column) bool { return !slices.Contains(names, c.name) })
}

func (s spec[T]) subject() func(r *Records, i int) (rowKey, bool) {
	if s.unique == nil {
		return nil
	}
	key := s.keyOf(s.columnsNamed(s.unique))
	return func(r *Records, i int) (rowKey, bool) {
		if s.isEvent(r, i) {
			return rowKey{}, false
		}
		return key(r, i), true
	}
}

func (s spec[T]) named(r *Records, i int) string { return s.words(r, i, s.order) }

func (s spec[T]) say(r *Records, i int) string {
	names := s.order
	if s.unique != nil {
		names = append(slices.Clip(s.order), "lab", "sample")
	}
	names = slices.DeleteFunc(slices.Clone(names), func(n string) bool { return n == "method" || strings.HasPrefix(n, "depth_") })
	words := s.words(r, i, names)
	if t, ok := any(&(*s.rows(r))[i]).(*SoilTest); ok && t.DepthTo != nil {
		from := "to "
		if t.DepthFrom != nil {
			from = fmt.Sprintf("%.0f-", *t.DepthFrom)
		}
		words += fmt.Sprintf(", %s%.0f cm", from, *t.DepthTo)
	}
	return words
}

// words prints the columns named, without those that say little.
func (s spec[T]) words(r *Records, i int, names []string) string {
	v := reflect.ValueOf(&(*s.rows(r))[i]).Elem()
	var words []string
	for _, c := range s.columnsNamed(names) {
		if w := text(v.Field(c.field)); w != "" && c.name != "grower" {
			if strings.HasPrefix(c.name, "depth_") {
				w = strings.NewReplacer("depth_from_cm", "from ", "depth_to_cm", "to ").Replace(c.name) + w + " cm"
			}
			words = append(words, w)
		}
	}
	return strings.Join(words, ", ")
}

// differs lists the columns in which two rows differ. A quantity that its sheet
// reported is told as reported, in place of what was made of it.
func (s spec[T]) differs(a *Records, i int, b *Records, j int) (list []Cell) {
	x, y := reflect.ValueOf(&(*s.rows(a))[i]).Elem(), reflect.ValueOf(&(*s.rows(b))[j]).Elem()
	cols := columns(x.Type())
	cell := func(names ...string) (c Cell) {
		var p, q []string
		for _, n := range names {
			for _, col := range cols {
				if col.name == n {
					p, q = append(p, text(x.Field(col.field))), append(q, text(y.Field(col.field)))
				}
			}
		}
		words := func(list []string) string {
			return strings.Join(slices.DeleteFunc(list, func(w string) bool { return w == "" }), " ")
		}
		return Cell{names[0], words(p), words(q)}
	}
	told := map[string]bool{}
	p, pRange := spreadAs(x)
	q, qRange := spreadAs(y)
	if p != q || pRange != qRange {
		c := Cell{"amount", p, q}
		if p == q { // a row of before ranges were kept
			c = Cell{"amount range", pRange, qRange}
		}
		list = append(list, c)
		for _, n := range []string{"amount", "unit", "amount_low", "amount_high", "qualifier", "reported_amount", "reported_unit"} {
			told[n] = true
		}
	}
	for _, name := range []string{"value", "amount", "weight", "method"} {
		if told[name] || len(s.columnsNamed([]string{"reported_" + name})) == 0 {
			continue
		}
		made := []string{name, name + "_kg"}
		parts := []string{"reported_" + name}
		if name != "method" {
			made, parts = append(made, "unit", "conversion"), append(parts, "reported_unit", "reported_form")
		}
		if c := cell(parts...); c.Old != c.New {
			for _, n := range append(made, parts...) {
				told[n] = true
			}
			c.Column = name
			if form := cell("reported_form"); form.Old != form.New && name != "method" {
				if as := cell(parts[:2]...); as.Old == as.New { // nothing else
					c = Cell{"form", form.Old, form.New}
				}
			}
			list = append(list, c)
		}
	}
	for _, col := range cols {
		c := cell(col.name)
		if col.name == "value" || col.name == "amount" {
			c = cell(col.name, "unit")
			told["unit"] = told["unit"] || c.Old != c.New
		}
		if c.Old != c.New && !told[col.name] {
			list = append(list, c)
		}
	}
	return list
}

// spreadAs prints the amount of an amendment in the unit of its sheet, "about 2
// cu yd" or "2-3 cu yd", and its range, "1.5-2.5 cu yd"; "" for a row of another
// table, or with none.
func spreadAs(row reflect.Value) (amount, within string) {
	a, ok := row.Addr().Interface().(*Amendment)
	if !ok || a.Amount == nil {
		return "", ""
	}
	of, scale, middle := a.Unit, 1.0, *a.Amount
	if a.ReportedAmount != nil {
		of, middle = a.ReportedUnit, *a.ReportedAmount
		if *a.Amount != 0 {
			scale = middle / *a.Amount
		}
	}
	// Rounded, as a conversion there and back leaves noise.
	words := fmt.Sprintf("%.10g %s", middle, of)
	if a.AmountLow != nil && a.AmountHigh != nil {
		within = fmt.Sprintf("%.10g-%.10g %s", *a.AmountLow*scale, *a.AmountHigh*scale, of)
		if about := *a.Amount * (1 + unit.AboutShare); a.Qualifier != "about" || math.Abs(*a.AmountHigh-about) > 1e-9*math.Abs(about) {
			words = within
		}
	}
	return strings.TrimSpace(a.Qualifier + " " + words), within
}

// text prints one field, "" for a null.
func text(f reflect.Value) string {
	if f.Kind() == reflect.Pointer {
		if f.IsNil() {
			return ""
		}
		f = f.Elem()
	}
	if f.Kind() == reflect.Float64 {
		return strconv.FormatFloat(f.Float(), 'g', -1, 64)
	}
	return fmt.Sprint(f.Interface())
}

// encode writes the rows, which must be sorted, as a Parquet file. A row group
// ends at the first new bed after group rows, so that no bed is split.
func (s spec[T]) encode(w io.Writer, r *Records, group int) error {
	optional := map[string]bool{}
	for _, f := range s.schema().Fields() {
		optional[f.Name()] = f.Optional()
	}
	var order []parquet.SortingColumn
	for _, name := range append(slices.Clip(s.order), "batch", "line", "file") {
		c := parquet.Ascending(name)
		if optional[name] {
			c = parquet.NullsFirst(c)
		}
		order = append(order, c)
	}
	pw := parquet.NewGenericWriter[T](w,
		parquet.CreatedBy("carryover", strconv.Itoa(Format), ""),
		parquet.Compression(&parquet.Zstd),
		parquet.DataPageVersion(2),
		parquet.SortingWriterConfig(parquet.SortingColumns(order...)),
	)
	for rows := *s.rows(r); len(rows) > 0; {
		n := s.cut(rows, group)
		// One at a time: parquet-go 0.32 takes a null text for an empty one in
		// some runs of nulls when it is given many rows at once.
		for i := range n {
			if _, err := pw.Write(rows[i : i+1]); err != nil {
				return err
			}
		}
		if rows = rows[n:]; len(rows) > 0 {
			if err := pw.Flush(); err != nil {
				return err
			}
		}
	}
	return pw.Close()
}

func (s spec[T]) cut(rows []T, group int) int {
	n := min(group, len(rows))
	if s.where == nil {
		return n
	}
	for n < len(rows) {
		g1, b1 := s.where(&rows[n-1])
		if g2, b2 := s.where(&rows[n]); g1 != g2 || b1 != b2 {
			break
		}
		n++
	}
	return n
}

// hasColumns tells whether a file of the given format has the columns of T. It
// may lack those that came with a later format: such a field is nullable and
// has a tag since, as since:"2".
func (s spec[T]) hasColumns(file *parquet.Schema, format int) bool {
	later := map[string]bool{}
	for _, f := range reflect.VisibleFields(reflect.TypeFor[T]()) {
		if since, err := strconv.Atoi(f.Tag.Get("since")); err == nil && since > format {
			name, _, _ := strings.Cut(f.Tag.Get("parquet"), ",")
			later[name] = true
		}
	}
	if len(later) == 0 {
		return parquet.SameNodes(file, s.schema())
	}
	got := file.Fields()
	for _, f := range s.schema().Fields() {
		switch {
		case len(got) > 0 && got[0].Name() == f.Name() && parquet.SameNodes(got[0], f):
			got = got[1:]
		case !later[f.Name()] || !f.Optional():
			return false
		}
	}
	return len(got) == 0
}

// decode appends the rows of a Parquet file that must hold the given number of
// them, written by a program of the given format of the book. The bytes must have passed their checksum: the guard and the recover
// are a second belt.
func (s spec[T]) decode(data []byte, rows, format int, r *Records) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("not a readable table: %v", p)
		}
	}()
	if err := guard(data, rows); err != nil || rows == 0 {
		return err
	}
	f, err := parquet.OpenFile(bytes.NewReader(data), int64(len(data)),
		parquet.SkipPageIndex(true), parquet.SkipBloomFilters(true), parquet.ReadBufferSize(4096))
	if err != nil {
		return err
	}
	if n := f.NumRows(); n != int64(rows) {
		return fmt.Errorf("%d rows, want %d", n, rows)
	}
	if !s.hasColumns(f.Schema(), format) {
		return fmt.Errorf("columns of another kind than those of %s", s.table)
	}
	pr := parquet.NewGenericReader[T](f)
	defer pr.Close()
	p := s.rows(r)
	at := len(*p)
	*p = slices.Grow(*p, rows)[:at+rows]
	n := at
	for n < at+rows {
		k, err := pr.Read((*p)[n : at+rows])
		n += k
		if err == io.EOF && n == at+rows {
			break
		}
		if err != nil || k == 0 {
			*p = (*p)[:at]
			return fmt.Errorf("row %d of %d: %w", n-at+1, rows, cmp.Or(err, io.ErrUnexpectedEOF))
		}
	}
	return nil
}
