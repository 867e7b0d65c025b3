package text

import (
	"strings"
	"time"
)

// A moment is the form of the times of one column.
type moment struct {
	date   bool   // has a date
	order  string // "dmy", "mdy" or "ymd"
	bare   bool   // a date without a clock
	two    string // "mm:ss" or "hh:mm" for clocks of two parts
	layout string // of package time; "" if the parts above tell
}

// A stamp is what a cell with a clock or a date is cut into.
type stamp struct {
	date     [3]int
	digits   [3]int // of each part of the date
	mark     byte   // between the parts of the date
	word     bool   // the month is a word, in date[1]; date is day, month, year
	hasDate  bool
	clock    [3]int
	parts    int // of the clock: 0, 2 or 3
	fraction int // nanoseconds
	decimals int
	days     int // before the clock, as in "1.02:03:04"
	negative bool
	half     byte // 'a' or 'p'
	zone     int  // seconds east
	hasZone  bool
}

var months = [...]string{"jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"}

// cutStamp reads a date, a clock or both. It tells nothing about the order of
// day and month.
func cutStamp(c []byte) (s stamp, ok bool) {
	if len(c) < 3 || len(c) > 48 {
		return s, false
	}
	i := 0
	number := func() (n, digits int) {
		for i < len(c) && c[i]-'0' <= 9 && digits < 9 {
			n = n*10 + int(c[i]-'0')
			i++
			digits++
		}
		return n, digits
	}
	if c[0] == '-' {
		s.negative = true
		i++
	}
	n, d := number()
	if d == 0 || i >= len(c) {
		return s, false
	}
	if b := c[i]; b == '-' || b == '/' || b == '.' || b == ' ' && i+1 < len(c) && isLetter(c[i+1]) {
		if s.negative {
			return s, false
		}
		s.mark = b
		s.date[0], s.digits[0] = n, d
		i++
		if i < len(c) && isLetter(c[i]) {
			if i+3 > len(c) {
				return s, false
			}
			var low [3]byte
			for k := range low {
				low[k] = c[i+k] | 0x20
			}
			for k, m := range months {
				if m == string(low[:]) {
					s.date[1], s.digits[1], s.word = k+1, 2, true
				}
			}
			if !s.word {
				return s, false
			}
			for i < len(c) && isLetter(c[i]) {
				i++
			}
		} else if s.date[1], s.digits[1] = number(); s.digits[1] == 0 {
			return s, false
		}
		if i < len(c) && c[i] == ':' && b == '.' {
			// "1.02:03:04" is a day and a clock.
			s.days, n, s.date, s.digits = s.date[0], s.date[1], [3]int{}, [3]int{}
		} else {
			if i >= len(c) || c[i] != b && !(s.word && (c[i] == ' ' || c[i] == '-')) {
				return s, false
			}
			i++
			if s.date[2], s.digits[2] = number(); s.digits[2] == 0 {
				return s, false
			}
			s.hasDate = true
			if i < len(c) && c[i] == ',' && i+1 < len(c) && c[i+1] == ' ' {
				i++
			}
			if i == len(c) {
				return s, true
			}
			if c[i] != ' ' && c[i] != 'T' && c[i] != 't' && c[i] != '_' {
				return s, false
			}
			for i < len(c) && (c[i] == ' ' || c[i] == 'T' || c[i] == 't' || c[i] == '_') {
				i++
			}
			if n, d = number(); d == 0 {
				return s, false
			}
		}
	}
	if i >= len(c) || c[i] != ':' {
		return s, false
	}
	s.clock[0], s.parts = n, 1
	for s.parts < 3 && i < len(c) && c[i] == ':' {
		i++
		if n, d = number(); d == 0 || d > 2 || n > 59 && !(n == 60 && s.parts == 2) {
			return s, false
		}
		s.clock[s.parts] = n
		s.parts++
	}
	if i < len(c) && (c[i] == '.' || c[i] == ',' || c[i] == ':' && s.parts == 3) {
		i++
		scale := int(time.Second) / 10
		for i < len(c) && c[i]-'0' <= 9 {
			s.fraction += int(c[i]-'0') * scale
			scale /= 10
			s.decimals++
			i++
		}
		if s.decimals == 0 {
			return s, false
		}
	}
	for i < len(c) && c[i] == ' ' {
		i++
	}
	if i < len(c) {
		switch c[i] | 0x20 {
		case 'a', 'p':
			s.half = c[i] | 0x20
			rest := strings.ToLower(string(c[i+1:]))
			if rest != "m" && rest != ".m." || s.clock[0] < 1 || s.clock[0] > 12 {
				return s, false
			}
			i = len(c)
		case 'z':
			s.hasZone = true
			i++
		default:
			if !s.hasDate || c[i] != '+' && c[i] != '-' {
				return s, false
			}
			east := c[i] == '+'
			i++
			h, d := number()
			m := 0
			switch {
			case d == 4:
				h, m = h/100, h%100
			case d == 2 && i < len(c) && c[i] == ':':
				i++
				if m, d = number(); d != 2 {
					return s, false
				}
			case d != 2:
				return s, false
			}
			if h > 14 || m > 59 {
				return s, false
			}
			s.hasZone, s.zone = true, h*3600+m*60
			if !east {
				s.zone = -s.zone
			}
		}
	}
	return s, i == len(c)
}

func isLetter(b byte) bool { b |= 0x20; return b >= 'a' && b <= 'z' }

// orders returns which orders of the parts of the date are possible.
func (s *stamp) orders() (dmy, mdy, ymd bool) {
	a, b, c := s.date[0], s.date[1], s.date[2]
	switch {
	case s.word:
		return a >= 1 && a <= daysIn(c, b), false, false
	case s.digits[0] > 2:
		return false, false, s.digits[0] == 4 && b >= 1 && b <= 12 && c >= 1 && c <= daysIn(a, b)
	case s.digits[2] > 2 && s.digits[2] != 4 || s.digits[1] > 2:
		return false, false, false
	}
	dmy = b >= 1 && b <= 12 && a >= 1 && a <= daysIn(c, b)
	mdy = a >= 1 && a <= 12 && b >= 1 && b <= daysIn(c, a)
	ymd = s.digits[2] <= 2 && s.digits[0] == 2 && b >= 1 && b <= 12 && c >= 1 && c <= daysIn(a, b)
	return dmy, mdy, ymd
}

// daysIn returns the days of a month; a year of two digits is one of 2000.
func daysIn(year, month int) int {
	switch {
	case month < 1 || month > 12:
		return 0
	case month == 2 && year%4 == 0 && (year%100 != 0 || year%400 == 0):
		return 29
	case month == 2:
		return 28
	case month == 4 || month == 6 || month == 9 || month == 11:
		return 30
	}
	return 31
}

// fullYear completes a year of two digits: 70 to 99 are of the last century.
func fullYear(y, digits int) int {
	switch {
	case digits > 2:
		return y
	case y >= 70:
		return 1900 + y
	}
	return 2000 + y
}

// time returns the moment a cell with a date names.
func (m *moment) time(c []byte) (time.Time, bool) {
	if m.layout != "" {
		t, err := time.Parse(m.layout, string(c))
		return t, err == nil
	}
	s, ok := cutStamp(c)
	if !ok || !s.hasDate {
		return time.Time{}, false
	}
	dmy, mdy, ymd := s.orders()
	var y, mo, d, digits int
	switch {
	case m.order == "dmy" && dmy:
		d, mo, y, digits = s.date[0], s.date[1], s.date[2], s.digits[2]
	case m.order == "mdy" && mdy:
		mo, d, y, digits = s.date[0], s.date[1], s.date[2], s.digits[2]
	case m.order == "ymd" && ymd:
		y, mo, d, digits = s.date[0], s.date[1], s.date[2], s.digits[0]
	default:
		return time.Time{}, false
	}
	h, ok := s.hour()
	if !ok || h > 24 {
		return time.Time{}, false
	}
	where := time.UTC
	if s.zone != 0 {
		where = time.FixedZone("", s.zone)
	}
	return time.Date(fullYear(y, digits), time.Month(mo), d, h, s.clock[1], s.clock[2], s.fraction, where), true
}

// hour returns the hour of 24.
func (s *stamp) hour() (int, bool) {
	h := s.clock[0]
	switch s.half {
	case 'a':
		return h % 12, true
	case 'p':
		return h%12 + 12, true
	}
	return h, true
}

// seconds returns the seconds that a clock without a date shows.
func (m *moment) seconds(c []byte) (float64, bool) {
	s, ok := cutStamp(c)
	if !ok || s.hasDate || s.parts == 0 {
		return 0, false
	}
	h, mi, sec := s.clock[0], s.clock[1], s.clock[2]
	if s.parts == 2 {
		if m.two == "mm:ss" {
			h, mi, sec = 0, h, mi
		} else if s.decimals > 0 {
			return 0, false
		}
	} else if s.half != 0 {
		h, _ = s.hour()
	}
	if s.parts == 2 && s.half != 0 {
		h, _ = s.hour()
	}
	whole := ((s.days*24+h)*60+mi)*60 + sec
	v := float64(whole)
	if s.fraction != 0 {
		// One division of whole numbers rounds correctly.
		v = float64(int64(whole)*int64(time.Second)+int64(s.fraction)) / float64(time.Second)
	}
	if s.negative {
		v = -v
	}
	return v, true
}
