// Package analysis turns the record book into what a grower asks after the
// weigh-off. The road, step by step:
//
//  1. one bed at a time, its tests, inputs and harvests in date order (dataset)
//  2. each test is given its season and timing (season.go)
//  3. tests of one day become levels with a 90 % range, from default errors or
//     the grower's own duplicates (level.go, testerror.go)
//  4. levels that may be compared become changes: drawdown, winter change,
//     year's change (change.go), each with what two such tests can show
//     (detectable.go); those that may not become doubts
//  5. figures off by a unit's or form's factor (slip.go) and autumn samples of
//     another soil than spring's (mix.go) become doubts
//  6. what the season leaves to the next is worked out (carryover.go), nitrate and
//     salts (salts.go), lead (lead.go) and estimated CEC (cec.go) are read
//  7. levels against research bands and the grower's own give the bed its state
//     (state.go, standing.go, target.go, targetset.go)
//  8. all of it stands in one plain struct, the Review (review.go)
//
// Check goes the same road and lists every doubt met, worst first (check.go,
// checksums.go). Conversions between methods are for looking only (convert.go).
//
// Analyses take a bed and return structs. They never read the clock: what is
// "now" is the AsOf date. Doubts are data and travel with the results; an error
// means that no result could be made.
package analysis

import (
	"encoding/json"
	"math"
	"slices"

	"carryover/dataset"
)

// Estimate is a figure with the range it may lie in.
type Estimate struct {
	Value float64 `json:"value"`
	Low   float64 `json:"low"`
	High  float64 `json:"high"`  // +Inf where nothing bounds it; null in JSON
	Level float64 `json:"level"` // share of the truth the range is meant to hold: 0.9
	Unit  string  `json:"unit"`
	N     int     `json:"n"`     // samples behind it
	Basis string  `json:"basis"` // where the range comes from
}

// estimateJSON is an Estimate as JSON can hold it.
type estimateJSON struct {
	Value float64  `json:"value"`
	Low   float64  `json:"low"`
	High  *float64 `json:"high"`
	Level float64  `json:"level"`
	Unit  string   `json:"unit"`
	N     int      `json:"n"`
	Basis string   `json:"basis"`
}

// MarshalJSON writes an estimate without an upper bound with a null in its place.
func (e Estimate) MarshalJSON() ([]byte, error) {
	x := estimateJSON{e.Value, e.Low, &e.High, e.Level, e.Unit, e.N, e.Basis}
	if math.IsInf(e.High, 1) {
		x.High = nil
	}
	return json.Marshal(x)
}

// UnmarshalJSON reads what MarshalJSON writes.
func (e *Estimate) UnmarshalJSON(data []byte) error {
	var x estimateJSON
	if err := json.Unmarshal(data, &x); err != nil {
		return err
	}
	*e = Estimate{x.Value, x.Low, math.Inf(1), x.Level, x.Unit, x.N, x.Basis}
	if x.High != nil {
		e.High = *x.High
	}
	return nil
}

// RangeLevel is the level of every printed range.
const RangeLevel = 0.9

// Doubt says why a figure may mislead; results point at their doubts by ID.
type Doubt struct {
	ID   int      `json:"id"`
	Code string   `json:"code"`
	Text string   `json:"text"`
	Beds []string `json:"beds,omitempty"`

	rows   []RowRef
	mixing *Mixing
}

// doubts collects each doubt once and numbers it when it is first met.
type doubts struct {
	list []Doubt
	at   map[[2]string]int
}

// add returns the number of the doubt, which rests on the rows; bed may be empty.
func (d *doubts) add(bed, code, text string, rows ...RowRef) int {
	if d.at == nil {
		d.at = map[[2]string]int{}
	}
	key := [2]string{code, text}
	i, ok := d.at[key]
	if !ok {
		i = len(d.list)
		d.at[key] = i
		d.list = append(d.list, Doubt{ID: i + 1, Code: code, Text: text})
	}
	x := &d.list[i]
	if bed != "" && !slices.Contains(x.Beds, bed) {
		x.Beds = append(x.Beds, bed)
	}
	x.rows = append(x.rows, rows...)
	return i + 1
}

// addRef adds a doubt's number to a list once.
func addRef(list []int, id int) []int {
	for _, x := range list {
		if x == id {
			return list
		}
	}
	return append(list, id)
}

// RowRef is the address of a row in the book: batch, file and line.
type RowRef struct {
	Batch int32  `json:"batch"`
	File  string `json:"file"`
	Line  int32  `json:"line"`
}

func refOf(s dataset.Source) RowRef { return RowRef{s.Batch, s.File, s.Line} }
