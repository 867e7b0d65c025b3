// Readers reads exports and tells each number to its last bit, so that other
// libraries' numbers can be held against ours. It takes requests on its standard
// input and gives one answer for each, both as JSON:
//
//	[{"path": "run.csv", "options": {"Table": "Log"}, "copies": ["/tmp/copy.parquet"]}]
package main

import (
	"encoding/json"
	"log"
	"os"
	"strconv"
	"time"

	"github.com/evenbed/evenbed/packing/record"
)

// request is a file, how to read it, and where to write it again: all of it, or
// one signal alone.
type request struct {
	Signal  string
	Path    string
	Options record.Options
	Copies  []string
}

type answer struct {
	Error   string   `json:"error,omitempty"` // of reading
	Columns []column `json:"columns,omitempty"`
	Events  []event  `json:"events,omitempty"`
	// Written holds an error, or nothing, for each copy.
	Written []string `json:"written,omitempty"`
}

type column struct {
	Name   string   `json:"name"`
	Unit   string   `json:"unit,omitempty"`
	Axis   string   `json:"axis,omitempty"`
	Start  string   `json:"start,omitempty"`
	Values []string `json:"values,omitempty"` // in hexadecimal
	Texts  []string `json:"texts,omitempty"`
}

type event struct {
	Name string `json:"name"`
	Text string `json:"text"`
}

func main() {
	log.SetFlags(0)
	var requests []request
	if err := json.NewDecoder(os.Stdin).Decode(&requests); err != nil {
		log.Fatal(err)
	}
	answers := make([]answer, len(requests))
	for i, r := range requests {
		answers[i] = r.answer()
	}
	if err := json.NewEncoder(os.Stdout).Encode(answers); err != nil {
		log.Fatal(err)
	}
}

func (r request) answer() answer {
	export, err := record.Read(r.Path, r.Options)
	if err != nil {
		return answer{Error: err.Error()}
	}
	var a answer
	for _, c := range export.Columns {
		told := column{Name: c.Name, Unit: c.Unit, Axis: c.Axis, Texts: c.Texts}
		if !c.Start.IsZero() {
			told.Start = c.Start.Format(time.RFC3339Nano)
		}
		for _, v := range c.Values {
			told.Values = append(told.Values, strconv.FormatFloat(v, 'x', -1, 64))
		}
		a.Columns = append(a.Columns, told)
	}
	for _, e := range export.Events {
		a.Events = append(a.Events, event{e.Name, e.Text})
	}
	for _, path := range r.Copies {
		problem := ""
		write := export.Write
		if r.Signal != "" {
			write = func(path string) error { return export.WriteSignal(path, r.Signal) }
		}
		if err := write(path); err != nil {
			problem = err.Error()
		}
		a.Written = append(a.Written, problem)
	}
	return a
}
