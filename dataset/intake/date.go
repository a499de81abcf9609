package intake

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"

	"carryover/dataset"
)

// firstYear is the earliest year a record may bear: the oldest field trials
// began in 1843.
const firstYear = 1800

// dates reads days as growers write them.
type dates struct {
	layout string // MDY or DMY: how 10/11/2026 is meant; else such a date is refused
	south  bool
	last   int // latest year
}

// when is a date as read: its day, the first day it may mean, how exactly it is
// known, and the season it names, if it does.
type when struct {
	day    dataset.Date
	first  dataset.Date
	basis  string
	season string // spring, mid-season, autumn: only for basis season
	year   bool   // a bare year: day and basis wait for a timing
}

// read turns text into a day. The error says what was expected and how to mend.
//
//	2026-10-28, 20261028, 28 Oct 2026, Oct 28, 2026   that day
//	2026-10, Oct 2026                       basis month, the 15th stands for it
//	spring 2026, fall 2026                  basis season, its middle stands for it
//	2026                                    a bare year
//	~ before any of them                    basis assumed
func (d dates) read(text string) (when, error) {
	t, guess := strings.CutPrefix(text, "~")
	w, err := d.exact(strings.TrimSpace(t), text)
	if err == nil && guess && !w.year {
		w.basis = dataset.Assumed
	}
	return w, err
}

func (d dates) exact(t, text string) (when, error) {
	bad := func(expected, mend string) (when, error) {
		return when{}, fmt.Errorf("%s", say(strconv.Quote(text), expected, mend))
	}
	if n := serial(t); n > 0 && firstYear <= n.Year() && n.Year() <= d.last {
		return bad("", fmt.Sprintf("a spreadsheet's day number, %s: write that, or format the column as a date", n))
	}
	parts := strings.FieldsFunc(t, func(r rune) bool { return strings.ContainsRune(" -/.,", r) })
	number := func(i int) int { // -1 for anything but plain digits
		n, err := strconv.Atoi(parts[i])
		if err != nil || n < 0 || parts[i][0] == '+' {
			return -1
		}
		return n
	}
	year, month, day := -1, -1, 0
	switch len(parts) {
	case 1:
		year = number(0)
		if len(t) == 4 && year >= 0 {
			if err := d.inRange(year); err != nil {
				return bad(err.Error(), "check the year")
			}
			return when{day: dataset.DateOf(year, time.July, 1), first: dataset.DateOf(year, time.January, 1), basis: dataset.BySeason, year: true}, nil
		}
		if n := year; len(t) == 8 && n >= 0 { // the basic form of ISO 8601
			year, month, day = n/10000, n/100%100, n%100
		}
	case 2:
		name, y := parts[0], number(1)
		if (monthOf(name) > 0 || seasonOf(name) != "") && len(parts[1]) == 2 && y >= 0 {
			write := fmt.Sprintf("%s %d", name, d.century(y))
			if m := monthOf(name); m > 0 {
				write = fmt.Sprintf("%d-%02d", d.century(y), m)
			}
			return bad("", "two-digit year: write "+write)
		}
		if m := monthOf(name); m > 0 {
			year, month = y, m
		} else if s := seasonOf(name); s != "" {
			if err := d.inRange(y); err != nil {
				return bad(err.Error(), "check the year")
			}
			return d.season(s, y), nil
		} else if len(parts[0]) == 4 {
			year, month = number(0), number(1)
		}
	case 3:
		if write := d.shortYear(parts); write != "" {
			return bad("", "two-digit year: write "+write)
		}
		switch m0, m1 := monthOf(parts[0]), monthOf(parts[1]); {
		case m1 > 0 && len(parts[0]) == 4:
			year, month, day = number(0), m1, number(2)
		case m1 > 0:
			year, month, day = number(2), m1, number(0)
		case m0 > 0:
			year, month, day = number(2), m0, number(1)
		case strings.EqualFold(parts[0], "mid") && strings.EqualFold(parts[1], "season"):
			if err := d.inRange(number(2)); err != nil {
				return bad(err.Error(), "check the year")
			}
			return d.season("mid-season", number(2)), nil
		case len(parts[0]) == 4:
			year, month, day = number(0), number(1), number(2)
		case len(parts[2]) == 4 && number(0) >= 0 && number(1) >= 0 && number(2) >= 0:
			year = number(2)
			switch d.layout {
			case "MDY":
				month, day = number(0), number(1)
			case "DMY":
				month, day = number(1), number(0)
			default:
				return bad("a day such as 2026-10-28, since it is not said whether month or day comes first", "rewrite it, or say --dates MDY or --dates DMY")
			}
		}
	}
	if year < 0 || month < 0 || day < 0 {
		return bad("a date such as 2026-10-28, 2026-10, Oct 2026 or autumn 2026", "rewrite it; a leading ~ marks a guess")
	}
	if err := d.inRange(year); err != nil {
		return bad(err.Error(), "check the year")
	}
	if month < 1 || month > 12 {
		return bad("a month from 1 to 12", "write year, month, day, as 2026-10-28")
	}
	if len(parts) == 2 {
		return when{day: dataset.DateOf(year, time.Month(month), 15), first: dataset.DateOf(year, time.Month(month), 1), basis: dataset.ByMonth}, nil
	}
	w := when{day: dataset.DateOf(year, time.Month(month), day), basis: dataset.ByDay}
	w.first = w.day
	if w.day.Month() != time.Month(month) || w.day.Year() != year {
		last := dataset.DateOf(year, time.Month(month)+1, 0).Time().Day()
		return bad(fmt.Sprintf("a day from 1 to %d, as %s %d has", last, time.Month(month), year), "check the day")
	}
	return w, nil
}

var dayNumber = regexp.MustCompile(`^\d{5}(?:\.\d+)?$`)

// serial reads a day as spreadsheets count them, from the end of 1899; 0 for any
// other text.
func serial(t string) dataset.Date {
	if !dayNumber.MatchString(t) {
		return 0
	}
	n, _ := strconv.Atoi(t[:5])
	return dataset.DateOf(1899, time.December, 30) + dataset.Date(n)
}

func (d dates) inRange(year int) error {
	if year < firstYear || year > d.last {
		return fmt.Errorf("a year from %d to %d", firstYear, d.last)
	}
	return nil
}

// century takes a year of two digits for the latest that can be meant.
func (d dates) century(yy int) int {
	year := d.last - d.last%100 + yy
	if year > d.last {
		year -= 100
	}
	return year
}

// shortYear says how to write a day with a year of two digits, such as
// 28-Oct-26 or 10/20/26; empty for any other.
func (d dates) shortYear(parts []string) string {
	n := [3]int{}
	for i, p := range parts {
		v, err := strconv.Atoi(p)
		if err != nil || v < 0 || len(p) > 2 {
			v = -1
		}
		n[i] = v
	}
	month, day := n[0], n[1]
	switch m0, m1 := monthOf(parts[0]), monthOf(parts[1]); {
	case n[2] < 0 || len(parts[2]) != 2 || len(parts[0]) == 4 && m0 == 0:
		return ""
	case m1 > 0:
		month, day = m1, n[0]
	case m0 > 0:
		month = m0
	case n[0] < 0 || n[1] < 0:
		return ""
	case d.layout == "DMY" || n[0] > 12 && n[1] <= 12 && d.century(n[0]) < 2000: // else it may be the year
		month, day = n[1], n[0]
	case n[1] <= 12 && d.layout != "MDY": // either may be the month
		month = 0
	}
	if month < 1 || month > 12 || day < 1 || day > 31 {
		return "the year in full and first, as 2026-10-28"
	}
	return fmt.Sprintf("%d-%02d-%02d", d.century(n[2]), month, day)
}

// season returns the middle of a season's window in the calendar year: 15 April
// for spring and 15 October for autumn in the north, the reverse in the south.
func (d dates) season(name string, year int) when {
	month, day := time.April, 15
	switch name {
	case "mid-season":
		month, day = time.July, 24
	case "autumn":
		month = time.October
	}
	if d.south {
		month = (month+5)%12 + 1
	}
	w := when{day: dataset.DateOf(year, month, day), basis: dataset.BySeason, season: name}
	w.first = w.day - 45 // half of three months
	return w
}

func seasonOf(name string) string {
	switch strings.ToLower(name) {
	case "spring":
		return "spring"
	case "autumn", "fall":
		return "autumn"
	case "midseason":
		return "mid-season"
	}
	return ""
}

// monthOf reads an English month's name or its first three letters or more.
func monthOf(name string) int {
	if len(name) < 3 {
		return 0
	}
	for m := time.January; m <= time.December; m++ {
		if full := m.String(); len(name) <= len(full) && strings.EqualFold(name, full[:len(name)]) {
			return int(m)
		}
	}
	return 0
}

// Repeat is a run of equal spreadings, as a grower writes it.
type Repeat struct {
	Rest        string        // what stands before it: the amount, and what else was written
	Every       int32         // days from one to the next; 0: the text tells of no run
	From, Until *dataset.Date // first and last day; nil: not said
}

var (
	oftenWords = regexp.MustCompile(`(?i)(?:^|[\s,;])(twice (?:a |per )?(?:week|day|month)(?:ly)?|\w+ times (?:a|per) \w+|bi-?(?:weekly|monthly)|semi-?weekly|(?:once )?(?:a|per|each|every) (?:day|week|fortnight|month)|daily|weekly|fortnightly|monthly|` +
		`every (?:other|second|2nd) (?:day|week|month)|every (\w+) (day|week|month)s?)(?:[\s,;]|$)`)
	untilWord = regexp.MustCompile(`(?i)(?:^|\s)(?:to|until|till|thru|through|[-\x{2013}\x{2014}])(?:\s|$)`)
	fourDigit = regexp.MustCompile(`\d{4}`)
)

// ParseRepeat reads the run that text ends in: how often, and from and until
// when, such as "weekly", "every 10 days until 1 Sept" or "2 lb weekly 20 June
// to 1 Sept". A day without its year is of the given year; the last may lie in
// the next one. Every is 0 where the text tells of no run.
//
// The error says what was expected where it can be meant in two ways (biweekly)
// or is no whole number of days (monthly, twice a week).
func ParseRepeat(text string, year int) (Repeat, error) {
	return dates{last: year + 1}.repeat(text, year, nil)
}

// repeat is ParseRepeat for a run that begins on a day, where the text does not
// say on which.
func (d dates) repeat(text string, year int, begin *dataset.Date) (Repeat, error) {
	at := oftenWords.FindStringSubmatchIndex(text)
	if at == nil {
		return Repeat{Rest: text}, nil
	}
	phrase := text[at[2]:at[3]]
	often := strings.ToLower(phrase)
	out := Repeat{Rest: strings.TrimRight(text[:at[2]], " \t,;")}
	bad := func(expected, mend string) (Repeat, error) {
		return Repeat{Rest: out.Rest}, fmt.Errorf("%s", say(strconv.Quote(phrase), expected, mend))
	}
	word := func(s string) bool { return strings.Contains(often, s) }
	n := 1
	switch {
	case strings.HasPrefix(often, "bi"):
		return bad("every 2 weeks, or every 3 or 4 days", "it is read both ways")
	case strings.HasPrefix(often, "twice"), strings.HasPrefix(often, "semi"), word(" times "):
		return bad("whole days from one to the next, such as every 3 days", "or a row for each day of the week, every 7 days")
	case word("month"):
		return bad("days or weeks, such as every 30 days or every 4 weeks", "months are not alike")
	case word("other"), word("second"), word("2nd"), word("fortnight"):
		n = 2
	case at[4] >= 0:
		if n = wordNumber(text[at[4]:at[5]]); n < 1 || n > 366 {
			return bad("a whole number of days or weeks, such as every 10 days", "")
		}
	}
	if word("week") || word("fortnight") {
		n *= 7
	}
	if n > 366 {
		return bad("1 to 366 days", "")
	}
	out.Every = int32(n)
	rest := strings.Trim(text[at[3]:], " \t,;")
	rest = strings.TrimPrefix(strings.TrimPrefix(rest, "from "), "since ")
	if rest == "" {
		return out, nil
	}
	first, last := rest, ""
	if cut := untilWord.FindStringIndex(rest); cut != nil {
		first, last = strings.TrimSpace(rest[:cut[0]]), strings.TrimSpace(rest[cut[1]:])
	}
	day := func(t string, from dataset.Date) (*dataset.Date, error) {
		full, implied := t, !fourDigit.MatchString(t)
		if implied {
			full += " " + strconv.Itoa(from.Year())
		}
		w, err := d.exact(full, t)
		if err != nil || w.basis != dataset.ByDay {
			return nil, fmt.Errorf("%s", say(strconv.Quote(t), "a day such as 20 June, as in weekly 20 June to 1 Sept", ""))
		}
		if implied && w.day < from {
			w.day = dataset.Date(w.day.Time().AddDate(1, 0, 0).Unix() / 86400)
		}
		return &w.day, nil
	}
	var err error
	if first != "" {
		if out.From, err = day(first, dataset.DateOf(year, time.January, 1)); err != nil {
			return Repeat{Rest: out.Rest}, err
		}
		begin = out.From
	}
	if last != "" {
		if begin == nil {
			jan1 := dataset.DateOf(year, time.January, 1)
			begin = &jan1
		}
		if out.Until, err = day(last, *begin); err != nil {
			return Repeat{Rest: out.Rest}, err
		}
	}
	return out, nil
}

// wordNumber reads 10 or ten; 0 for anything else.
func wordNumber(s string) int {
	if n, err := strconv.Atoi(s); err == nil {
		return n
	}
	for i, w := range [...]string{"one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten"} {
		if strings.EqualFold(s, w) {
			return i + 1
		}
	}
	return 0
}
