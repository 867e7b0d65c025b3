package netcdf

import (
	"strings"
	"time"
)

// momentOf reads the moment in "seconds since 2024-03-01 08:30:00", as the CF
// conventions and UDUNITS write it: the clock and the time zone may be missing,
// and then are midnight and UTC. It is false for other calendars, and for years
// before 1583, when calendars differ.
func momentOf(s, calendar string) (time.Time, bool) {
	switch strings.ToLower(calendar) {
	case "", "standard", "gregorian", "proleptic_gregorian":
	default:
		return time.Time{}, false
	}
	for _, utc := range []string{"UTC", "GMT", "Z"} {
		s = strings.TrimSpace(strings.TrimSuffix(s, utc))
	}
	if date, clock, ok := strings.Cut(s, "T"); ok {
		s = date + " " + clock
	}
	for _, layout := range []string{"2006-1-2", "2006-1-2 15:4", "2006-1-2 15:4:5"} {
		for _, zone := range []string{"", "-07:00", " -07:00", " -0700", " -07"} {
			if t, err := time.Parse(layout+zone, s); err == nil && t.Year() >= 1583 {
				return t.UTC(), true
			}
		}
	}
	return time.Time{}, false
}

// since writes the unit of time that is counted from a moment.
func since(symbol string, start time.Time) string {
	return symbol + " since " + start.UTC().Format("2006-01-02 15:04:05.999999999")
}
