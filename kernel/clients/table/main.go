// Table makes tables of numbers for the benchmarks and reads them.
//
//	table make ROWS FILE     writes four columns, 38 MB for a million rows
//	table twin ROWS FILE     the same numbers in UTF-16 with a decimal comma
//	table read TIMES FILE    reads a file so often, with nothing said about it,
//	                         and prints times and peak memory as JSON
package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"log"
	"math/rand/v2"
	"os"
	"regexp"
	"runtime/metrics"
	"strconv"
	"time"

	"github.com/evenbed/evenbed/packing/record"
)

func main() {
	log.SetFlags(0)
	if len(os.Args) != 4 {
		log.Fatal("usage: table make|twin|read NUMBER FILE")
	}
	number, err := strconv.Atoi(os.Args[2])
	if err != nil {
		log.Fatal(err)
	}
	switch path := os.Args[3]; os.Args[1] {
	case "make":
		err = save(path, number, ',', '.', 1)
	case "twin":
		err = save(path, number, ';', ',', 2)
	case "read":
		err = read(path, number)
	default:
		err = fmt.Errorf("no work is named %q", os.Args[1])
	}
	if err != nil {
		log.Fatal(err)
	}
}

// save writes a table of invented numbers, with one or two bytes a character.
func save(path string, rows int, separator, decimal byte, width int) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	defer f.Close()
	w := bufio.NewWriterSize(f, 1<<20)
	if width == 2 {
		w.WriteString("\xff\xfe")
	}
	line := []byte("Time (min),UV (mAU),Conductivity (mS/cm),Pressure (bar)\n")
	r := rand.New(rand.NewPCG(1, 2))
	for i := range rows + 1 {
		for _, c := range line {
			switch c {
			case ',':
				c = separator
			case '.':
				c = decimal
			}
			w.WriteByte(c)
			if width == 2 {
				w.WriteByte(0)
			}
		}
		line = strconv.AppendFloat(line[:0], float64(i)/600, 'f', 5, 64)
		for _, reach := range []float64{2000, 100, 3} {
			line = strconv.AppendFloat(append(line, ','), r.Float64()*reach, 'f', 6, 64)
		}
		line = append(line, '\n')
	}
	return w.Flush()
}

// told is what one process found.
type told struct {
	Seconds  []float64 `json:"seconds"` // of each reading
	Rows     int       `json:"rows"`
	Data     int       `json:"data"`     // bytes of the numbers themselves
	Heap     uint64    `json:"heap"`     // most bytes on the heap at a time, garbage included
	Resident uint64    `json:"resident"` // most bytes of memory in use beside mapped files; 0 if not known
	Mapped   uint64    `json:"mapped"`   // most bytes of mapped files in memory
}

// read reads a file some times and prints what that took.
func read(path string, times int) error {
	var t told
	stop, done := make(chan bool), make(chan bool)
	go func() {
		defer close(done)
		for {
			t.look()
			select {
			case <-stop:
				return
			case <-time.After(2 * time.Millisecond):
			}
		}
	}()
	for range times {
		start := time.Now()
		export, err := record.Read(path)
		if err != nil {
			return err
		}
		t.Seconds = append(t.Seconds, time.Since(start).Seconds())
		t.Data = 0
		for _, c := range export.Columns {
			t.Rows = len(c.Values)
			t.Data += 8 * len(c.Values)
		}
	}
	close(stop)
	<-done
	return json.NewEncoder(os.Stdout).Encode(t)
}

var resident = regexp.MustCompile(`(RssAnon|RssFile):\s+(\d+) kB`)

// look notes the memory in use.
func (t *told) look() {
	heap := []metrics.Sample{{Name: "/memory/classes/heap/objects:bytes"}}
	metrics.Read(heap)
	t.Heap = max(t.Heap, heap[0].Value.Uint64())
	f, err := os.Open("/proc/self/status")
	if err != nil {
		return
	}
	defer f.Close()
	status, _ := io.ReadAll(f)
	for _, m := range resident.FindAllSubmatch(status, -1) {
		n, _ := strconv.ParseUint(string(m[2]), 10, 64)
		if string(m[1]) == "RssAnon" {
			t.Resident = max(t.Resident, n<<10)
		} else {
			t.Mapped = max(t.Mapped, n<<10)
		}
	}
}
