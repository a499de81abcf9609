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
		case t.Unit != a.Unit() && !(a.Kind == unit.Fraction && t.Unit == "mg/dm3"):
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
