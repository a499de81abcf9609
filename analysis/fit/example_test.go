package fit

import "fmt"

// Weights of fruit on soil pH: an invented bed.
func ExampleLine() {
	ph := []float64{6.4, 6.6, 6.7, 6.8, 6.9, 7.0, 7.1, 7.3}
	pounds := []float64{1450, 1720, 1380, 1910, 1655, 1840, 1600, 2050}
	line, err := Line(ph, pounds, nil, 0.9)
	if err != nil {
		fmt.Println(err)
		return
	}
	b, at := line.Coef[1], line.At(6.9)
	fmt.Printf("slope %.0f (%.0f to %.0f) lb per pH, p %.2f\n", b.Value, b.Low, b.High, b.P)
	fmt.Printf("a new fruit at 6.9: %.0f (%.0f to %.0f) lb\n", at.Fit, at.PredictLow, at.PredictHigh)
	// Output:
	// slope 511 (31 to 991) lb per pH, p 0.08
	// a new fruit at 6.9: 1726 (1338 to 2115) lb
}

// A share of an uncertain amount, twice over one soil mass.
func ExampleQuantity() {
	mass := NewQuantity().LogNormal(0, 190, 0.1)        // kg per m2
	lost := NewQuantity().Triangular(1, 20, 29, 36)     // g per m2
	given := NewQuantity().Normal(2, 10, 1)             // g per m2
	change := NewQuantity().Sub(given, lost)            // g per m2
	if _, err := change.Div(change, mass); err != nil { // g per kg
		fmt.Println(err)
	}
	change.Scale(change, 1000) // mg per kg
	median, low, high := change.Range(0.9, nil)
	fmt.Printf("%.0f (%.0f to %.0f) mg/kg\n", median, low, high)
	// Output:
	// -96 (-132 to -64) mg/kg
}

func ExampleFitExpo() {
	years := []float64{0, 3.6, 11.6, 18.4, 27.7, 40.4, 48.9, 54.8}
	carbon := []float64{2.85, 2.23, 1.61, 1.44, 1.19, 1.06, 1.11, 1.05}
	e, err := FitExpo(Settle, years, carbon, nil, 0.9)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("rate %.3f (%.3f to %.3f) per year, toward %.2f %%\n", e.Rate.Value, e.Rate.ProfileLow, e.Rate.ProfileHigh, e.End.Value)
	// Output:
	// rate 0.098 (0.081 to 0.118) per year, toward 1.07 %
}
