package dataset

import (
	"fmt"
	"time"
)

// Date is a calendar day as whole days since 1970-01-01. It has no time zone,
// so the same book reads the same everywhere.
type Date int32

// DateOf returns the day y-m-d; out-of-range months and days roll over as in
// time.Date, so callers that read text check with ParseDate instead.
func DateOf(y int, m time.Month, d int) Date {
	return Date(time.Date(y, m, d, 0, 0, 0, 0, time.UTC).Unix() / 86400)
}

// Time returns midnight UTC of the day.
func (d Date) Time() time.Time { return time.Unix(int64(d)*86400, 0).UTC() }

// Year returns the calendar year of the day.
func (d Date) Year() int { return d.Time().Year() }

// Month returns the month of the day.
func (d Date) Month() time.Month { return d.Time().Month() }

// String returns the ISO form, 2026-10-28.
func (d Date) String() string { return d.Time().Format("2006-01-02") }

// MarshalText gives the ISO form to JSON and TOML.
func (d Date) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// UnmarshalText reads the ISO form.
func (d *Date) UnmarshalText(b []byte) error {
	v, err := ParseISO(string(b))
	if err == nil {
		*d = v
	}
	return err
}

// ParseISO reads YYYY-MM-DD and refuses days that do not exist.
func ParseISO(s string) (Date, error) {
	t, err := time.Parse("2006-01-02", s)
	if err != nil {
		return 0, fmt.Errorf("%q is not a date like 2026-10-28", s)
	}
	return Date(t.Unix() / 86400), nil
}

// How exactly a date is known.
const (
	ByDay    = "day"     // the day is recorded
	ByMonth  = "month"   // only the month is known; the 15th stands for it
	BySeason = "season"  // only the season is known; mid window stands for it
	Assumed  = "assumed" // the day is a guess by whoever kept the record
)
