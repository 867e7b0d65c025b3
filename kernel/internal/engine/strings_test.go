package engine_test

import (
	"context"
	"slices"
	"testing"
	"time"
	"unicode/utf8"
)

// What stands in strings is proposed from values, but not while a cell runs
// that may be writing them; names are proposed all the time.
func TestCompletionInStrings(t *testing.T) {
	nb := open(t)
	nb.want("import (\"github.com/go-gota/gota/dataframe\"; \"github.com/go-gota/gota/series\")\nkeys := map[string]int{\"bar\": 1, \"kPa\": 2}\ndf := dataframe.New(series.New([]float64{1}, series.Float, \"UV 😀\"))\nbegun := make(chan int, 1)\ntype bed struct{ Height, Void float64 }\nb := bed{}")
	complete := func(code string) (texts []string) {
		t.Helper()
		c, ok := nb.s.Complete(code, utf8.RuneCountInString(code))
		if !ok {
			t.Fatal("no answer")
		}
		for _, m := range c.Matches {
			texts = append(texts, m.Text)
		}
		return texts
	}
	check := func(code string, want ...string) {
		t.Helper()
		if got := complete(code); !slices.Equal(got, want) {
			t.Errorf("%s: %q, want %q", code, got, want)
		}
	}
	check("keys[\"", "bar", "kPa")
	check("df.Col(\"", "UV 😀")
	check("b.", "Height", "Void")

	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan struct{})
	go func() {
		nb.s.Execute(ctx, "for i := 0; ; i++ { keys[\"bar\"]++; delete(keys, \"kPa\"); keys[\"kPa\"] = i }", 99)
		close(ended)
	}()
	time.Sleep(50 * time.Millisecond)
	for range 50 {
		check("b.", "Height", "Void")
		check("keys[\"")
	}
	if b, ok := nb.s.Inspect("df", 2, 0); !ok || len(b.Data) == 0 {
		t.Error("no description while a cell runs")
	}
	cancel()
	<-ended
	check("keys[\"", "bar", "kPa")
}
