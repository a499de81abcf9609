// Package analysis turns the record book into what a grower asks after the
// weigh-off. The road, step by step:
//
//  1. one bed at a time, its tests, inputs and harvests in date order (dataset)
//  2. each test is given its season and timing (season.go)
//  3. tests of one day become levels with a 90 % range (level.go, testerror.go)
//  4. levels that may be compared become changes: drawdown, winter change,
//     year's change (change.go); those that may not become doubts
//  5. what the season leaves to the next is worked out (carryover.go)
//  6. levels against targets give the bed its state (state.go, target.go)
//  7. all of it stands in one plain struct, the Review (review.go)
//
// Analyses take a bed and return structs. They never read the clock: what is
// "now" is the AsOf date. Doubts are data and travel with the results; an error
// means that no result could be made.
package analysis

import (
	"slices"

	"carryover/dataset"
)

// Estimate is a figure with the range it may lie in.
type Estimate struct {
	Value float64 `json:"value"`
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
	Level float64 `json:"level"` // share of the truth the range is meant to hold: 0.9
	Unit  string  `json:"unit"`
	N     int     `json:"n"`     // samples behind it
	Basis string  `json:"basis"` // where the range comes from
}

// RangeLevel is the level of every printed range.
const RangeLevel = 0.9

// Doubt says why a figure may mislead; results point at their doubts by ID.
type Doubt struct {
	ID   int      `json:"id"`
	Code string   `json:"code"`
	Text string   `json:"text"`
	Beds []string `json:"beds,omitempty"`
}

// doubts collects each doubt once and numbers it when it is first met.
type doubts struct {
	list []Doubt
	at   map[[2]string]int
}

// add returns the number of the doubt; bed may be empty.
func (d *doubts) add(bed, code, text string) int {
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
	if l := d.list[i].Beds; bed != "" && !slices.Contains(l, bed) {
		d.list[i].Beds = append(l, bed)
	}
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
