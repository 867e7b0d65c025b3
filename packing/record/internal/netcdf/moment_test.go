package netcdf

import (
	"testing"
	"time"
)

// The forms are those of the CF conventions, section 4.4, and of UDUNITS.
func TestMomentOf(t *testing.T) {
	at := time.Date(2024, 3, 1, 8, 30, 0, 0, time.UTC)
	for _, tc := range []struct {
		text, calendar string
		want           time.Time
	}{
		{"2024-03-01 08:30:00", "", at}, {"2024-03-01T08:30:00Z", "standard", at}, {"2024-3-1 8:30", "gregorian", at}, {"2024-03-01 08:30:00 UTC", "proleptic_gregorian", at},
		{"2024-03-01 09:30:00 +01:00", "", at}, {"2024-03-01 09:30:00+0100", "", time.Time{}}, {"2024-03-01 09:30 +0100", "", at}, {"2024-03-01 09:30:00 +01", "", at},
		{"2024-03-01 08:30:00.25", "", at.Add(250 * time.Millisecond)}, {"2024-03-01", "", time.Date(2024, 3, 1, 0, 0, 0, 0, time.UTC)},
		{"2024-03-01", "noleap", time.Time{}}, {"0001-01-01", "", time.Time{}}, {"the start", "", time.Time{}}, {"", "", time.Time{}}, {"2024-13-01", "", time.Time{}},
	} {
		got, ok := momentOf(tc.text, tc.calendar)
		if ok == tc.want.IsZero() || !got.Equal(tc.want) {
			t.Errorf("%q in the calendar %q: %v, %v, want %v", tc.text, tc.calendar, got, ok, tc.want)
		}
	}
	if got, ok := momentOf(since("", at.Add(3))[len(" since "):], ""); !ok || !got.Equal(at.Add(3)) {
		t.Errorf("%v does not come back: %v", at.Add(3), got)
	}
}
