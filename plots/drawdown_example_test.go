package plots_test

import (
	"bytes"
	"fmt"
	"math"
	"strings"

	"carryover/plots"
)

// invented is a small chart of made-up data: two beds, two nutrients, three
// seasons, with a winter, a break, a doubt, a result below its limit and a
// nutrient that was not tested in one bed.
func invented() plots.Drawdown {
	spring := func(year int, value float64) plots.Point {
		return plots.Point{X: float64(year) + 0.3, Value: value, Low: value * 0.92, High: value * 1.08, Timing: plots.Spring}
	}
	autumn := func(year int, value float64) plots.Point {
		return plots.Point{X: float64(year) + 0.8, Value: value, Low: value * 0.92, High: value * 1.08, Timing: plots.Autumn}
	}
	limit := autumn(2024, 10)
	limit.Low, limit.High, limit.Below = math.NaN(), math.NaN(), true
	doubt := spring(2023, 21)
	doubt.Doubt = true
	return plots.Drawdown{
		Title:    "Levels by season, 2022 to 2024",
		Subtitle: "Soil tests before planting and after harvest, 0 to 20 cm. One scale for each nutrient.",
		Caption:  "Invented data, for demonstration.",
		Beds:     []string{"Barn", "Long bed"},
		Nutrients: []plots.Nutrient{
			{Symbol: "K", Unit: "ppm", Method: "Mehlich-3"},
			{Symbol: "S", Unit: "ppm", Method: "Mehlich-3"},
		},
		Panels: []plots.Panel{
			{
				Bed: 0, Nutrient: 0,
				Points: []plots.Point{spring(2022, 240), autumn(2022, 185), spring(2023, 260), autumn(2023, 190), spring(2024, 310), autumn(2024, 235)},
				Links:  []plots.Link{{From: 0, To: 1}, {From: 1, To: 2, Kind: plots.WinterLink}, {From: 2, To: 3}, {From: 3, To: 4, Kind: plots.BreakLink}, {From: 4, To: 5}},
				Inputs: []plots.Input{{X: 2022.35, Label: "compost"}, {X: 2024.35, Label: "compost"}},
			},
			{
				Bed: 1, Nutrient: 0,
				Points: []plots.Point{autumn(2022, 205), autumn(2023, 198), autumn(2024, 214)},
				Links:  []plots.Link{{From: 0, To: 1, Kind: plots.YearLink}, {From: 1, To: 2, Kind: plots.YearLink}},
			},
			{
				Bed: 0, Nutrient: 1,
				Points: []plots.Point{spring(2022, 18), autumn(2022, 12), doubt, spring(2024, 19), limit, {X: 2023.6, Value: 15, Low: math.NaN(), High: math.NaN(), Timing: plots.MidSeason}},
				Links:  []plots.Link{{From: 0, To: 1}, {From: 1, To: 2, Kind: plots.WinterLink}, {From: 3, To: 4}},
			},
		},
	}
}

// A chart describes in words what it shows, for those who cannot see it.
func ExampleDrawdown() {
	figures, err := invented().Figures(plots.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	var svg bytes.Buffer
	if err := figures[0].WriteSVG(&svg); err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(len(figures), "page:", figures[0].Title)
	fmt.Println(figures[0].Description)
	fmt.Println("empty panels:", strings.Count(svg.String(), ">no test<"))
	// Output:
	// 1 page: Levels by season, 2022 to 2024
	// Small charts of 2 nutrients in 2 beds, 2022 to 2024.
	// K, Mehlich-3. Barn: 6 tests from 185 to 310 ppm, the last 235 in autumn 2024. Long bed: 3 tests from 198 to 214 ppm, the last 214 in autumn 2024.
	// S, Mehlich-3. Barn: 6 tests from 10 to 21 ppm, the last < 10 in autumn 2024. Long bed: no test.
	// empty panels: 1
}
