package zones

import (
	_ "embed"
	"encoding/csv"
	"fmt"
	"strconv"
	"strings"
)

// A Case is a bed of the reference: faults, and even beds beside them.
type Case struct {
	Name string
	Bed  Bed
	Want map[string]float64 // by column of the table; its first lines say what they are
}

//go:embed testdata/zones_pulse.csv
var reference string

// Cases returns the beds of the reference in testdata/zones_pulse.csv, whose numbers
// were computed outside this project.
func Cases() ([]Case, error) {
	r := csv.NewReader(strings.NewReader(reference))
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		return nil, err
	}
	var all []Case
	for _, row := range rows[1:] {
		c := Case{Name: row[0], Want: map[string]float64{}}
		switch law := row[1]; law {
		case "gamma":
		case "inverse gaussian":
			c.Bed.Law = FirstPassage
		default:
			return nil, fmt.Errorf("%s: law %q", c.Name, law)
		}
		for _, text := range strings.Split(row[2], ";") {
			v, err := numbers(strings.Split(strings.TrimSpace(text), "/"))
			if err != nil || len(v) != 4 {
				return nil, fmt.Errorf("%s: zone %q: %v", c.Name, text, err)
			}
			c.Bed.Zones = append(c.Bed.Zones, Zone{Area: v[0], Velocity: v[1], Accessible: v[2], Plates: v[3]})
		}
		v, err := numbers(row[3:])
		if err != nil {
			return nil, fmt.Errorf("%s: %v", c.Name, err)
		}
		for i, name := range rows[0][3:] {
			c.Want[name] = v[i]
		}
		for _, name := range []string{"mix", "mix2", "tau"} {
			if m := c.Want[name]; m > 0 {
				c.Bed.Mixers = append(c.Bed.Mixers, m)
			}
		}
		c.Bed.Delay, c.Bed.Sample = c.Want["delay"], c.Want["plug"]
		all = append(all, c)
	}
	return all, nil
}

func numbers(texts []string) ([]float64, error) {
	v := make([]float64, len(texts))
	for i, s := range texts {
		var err error
		if v[i], err = strconv.ParseFloat(s, 64); err != nil {
			return nil, err
		}
	}
	return v, nil
}
