package analysis

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/BurntSushi/toml"

	"carryover/dataset/unit"
)

// Target is a band in which an analyte, measured by one method, is wanted. The
// band is half-open: Low is inside, High is outside. A zero High has no upper
// end.
type Target struct {
	Analyte string  `toml:"analyte" json:"analyte"`
	Method  string  `toml:"method" json:"method"` // pH: "water" serves every water ratio
	Low     float64 `toml:"low" json:"low"`
	High    float64 `toml:"high" json:"high,omitempty"`
	Unit    string  `toml:"unit" json:"unit"`
	Source  string  `toml:"source" json:"source"` // "own": the grower's, no research behind it
}

// targetFile is the shape of targets.toml.
type targetFile struct {
	Format int      `toml:"format"`
	Target []Target `toml:"target"`
}

// DefaultTargets is the targets.toml of a new book: only bands that were read
// in their source. The grower may change or add to them.
func DefaultTargets() string {
	return `# Where each level is wanted. A band counts only for the method it was made for.
# Change a band, or add your own with source = "own".
# low is inside the band, high is just outside it; leave high out for "no upper end".
# Calcium has none here: where pH is right it is rarely short (common practice, no
# source), and a band for it beside one for pH would only contradict.
format = 1

[[target]] # garden vegetables; cucurbits want at least 5.8 (Oregon State University, EM 9057)
analyte = "pH"
method = "water"
low = 6.0
high = 6.8
unit = "pH"
source = "University of Connecticut soil laboratory, garden vegetables"

# Mehlich-3: the optimum class of Rutgers, printed in lb/acre (2 lb/acre = 1 mg/kg).
` + block("P", "Mehlich-3", 36, 68.5, rutgers) + block("K", "Mehlich-3", 73, 138.5, rutgers) +
		block("Mg", "Mehlich-3", 72, 147.5, rutgers) + `
# Critical values: low below, and no upper end is known to be safe. Boron harms
# plants not far above what they need.
` + block("Zn", "Mehlich-3", 1, 0, rutgersMicro) + block("Cu", "Mehlich-3", 0.5, 0, rutgersMicro) + block("B", "Mehlich-3", 0.5, 0, rutgersMicro) + `
# Modified Morgan.
` + block("P", "modified Morgan", 4, 14, umass) + block("K", "modified Morgan", 100, 160, umass) +
		block("Mg", "modified Morgan", 50, 120, umass) + block("S", "modified Morgan", 10, 0, umass) + `
# Bray P1, and Morgan's critical level for P.
` + block("P", "Bray P1", 40, 80, "Midwest Vegetable Production Guide 2022 (responds below 35-40, none wanted above 80)") +
		block("P", "Morgan", 4.5, 0, "Ketterings, Kahabka and Reid 2005, Journal of Soil and Water Conservation 60, 10-20")
}

const (
	rutgers      = "Rutgers NJAES soil testing laboratory, optimum class"
	rutgersMicro = "Rutgers NJAES soil testing laboratory, critical value"
	umass        = "University of Massachusetts soil and plant nutrient testing laboratory"
)

func block(analyte, method string, low, high float64, source string) string {
	s := fmt.Sprintf("\n[[target]]\nanalyte = %q\nmethod = %q\nlow = %v\n", analyte, method, low)
	if high > 0 {
		s += fmt.Sprintf("high = %v\n", high)
	}
	u := "mg/kg"
	if a, ok := unit.ByID(analyte); ok {
		u = a.Unit()
	}
	return s + fmt.Sprintf("unit = %q\nsource = %q\n", u, source)
}

// ParseTargets reads targets.toml. The error names the key or the target that
// is at fault and how to mend it.
func ParseTargets(text string) ([]Target, error) {
	var f targetFile
	md, err := toml.Decode(text, &f)
	if err != nil {
		if pe, ok := err.(toml.ParseError); ok {
			return nil, fmt.Errorf("targets.toml:%d: %s", pe.Position.Line, pe.Message)
		}
		return nil, fmt.Errorf("targets.toml: %w", err)
	}
	if u := md.Undecoded(); len(u) > 0 {
		return nil, fmt.Errorf("targets.toml: key %q is not known: a target has analyte, method, low, high, unit, source", u[0])
	}
	if f.Format != 1 {
		return nil, fmt.Errorf("targets.toml: format %d: this program reads format 1", f.Format)
	}
	for i, t := range f.Target {
		fail := func(text string) error { return fmt.Errorf("targets.toml: target %d (%s): %s", i+1, t.Analyte, text) }
		a, ok := unit.ByID(t.Analyte)
		switch {
		case !ok:
			return nil, fail(fmt.Sprintf("analyte %q is not known: write pH, P, K, OM ...", t.Analyte))
		case t.Unit != a.Unit():
			return nil, fail(fmt.Sprintf("unit %q: write %q", t.Unit, a.Unit()))
		case !(t.Low >= 0), t.High != 0 && !(t.High > t.Low), math.IsInf(t.Low, 0), math.IsInf(t.High, 0):
			return nil, fail(fmt.Sprintf("band %v to %v: low must be below high", t.Low, t.High))
		case t.Low == 0 && t.High == 0:
			return nil, fail("no band: write low, high or both")
		case t.Method == "" && !a.Plain:
			return nil, fail("no method: a band counts only for the method it was made for, so name it")
		case t.Source == "":
			return nil, fail(`no source: name it, or write source = "own"`)
		}
		if t.Method, err = unit.ParseMethod(t.Method, a); err != nil {
			return nil, fail(err.Error())
		}
		f.Target[i] = t
	}
	return f.Target, nil
}

// serves reports whether the target may judge the level.
func (t Target) serves(l *Level) bool {
	if t.Analyte != l.Analyte || t.Unit != l.Estimate.Unit {
		return false
	}
	if t.Analyte == "pH" && t.Method == "water" {
		return strings.HasPrefix(l.Method, "water")
	}
	return t.Method == l.Method
}

// String prints the band as the trade rounds it.
func (t Target) String() string {
	if t.High == 0 {
		return strconv.FormatFloat(t.Low, 'f', -1, 64) + " or more"
	}
	return Round(t.Analyte, t.Low) + "-" + Round(t.Analyte, t.High)
}
