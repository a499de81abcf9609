package intake

import (
	"strings"
	"testing"

	"carryover/dataset"
)

// A cell that carries its unit is not given that of the heading too.
func TestExplainUnits(t *testing.T) {
	for _, c := range []struct{ name, sheet, want string }{
		{"tillage.csv", "bed,date,tool,depth (in)\nHill,2026-10-30,tiller,%\n", "bed Hill, date 2026-10-30, tool tiller, depth %"},
		{"beds.csv", "bed,from,depth (in)\nHill,2020-04-01,%\n", "bed Hill, from 2020-04-01, depth %"},
		{"soil_tests.csv", "bed,date,analyte,value,unit,method,depth (in)\nHill,2026-10-30,P,100,ppm,Mehlich-3,%\n", "Hill 2026-10-30 P 100 ppm Mehlich-3, % -> 100 mg/kg"},
	} {
		for cell, want := range map[string]string{"6": "6 in", "6 in": "6 in", "0-6": "0-6 in", "0-6in": "0-6in", "0-15 cm": "0-15 cm"} {
			if c.name == "tillage.csv" && strings.Contains(cell, "-") {
				continue
			}
			res, err := Read([]Source{{Name: c.name, Data: []byte(strings.ReplaceAll(c.sheet, "%", cell))}}, Options{Units: "us", Explain: true, Today: dataset.DateOf(2026, 11, 25), Beds: []string{"Hill"}})
			if err != nil {
				t.Fatal(err)
			}
			if got, want := res.Understood[0].Text, strings.ReplaceAll(c.want, "%", want); got != want {
				t.Errorf("got %s\nwant %s", got, want)
			}
		}
	}
}
