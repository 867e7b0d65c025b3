package engine_test

import (
	"context"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/evenbed/evenbed/kernel/internal/host"
)

const loops = `import ("time"; "github.com/evenbed/evenbed/packing/task")
func inner(label string, n int, pause time.Duration) error {
	m := task.Default()
	for i := 0; i < n; i++ {
		if m.Context().Err() != nil { return m.Context().Err() }
		m.Progress(label, i, n)
		time.Sleep(pause)
	}
	m.Progress(label, n, n)
	return nil
}`

// progressOf returns what the displays of progress show in the end, and how
// many messages there were of each.
func progressOf(seen []string) (last map[string]string, count map[string]int) {
	line := regexp.MustCompile(`(?s)^progress (true|false) evenbed-progress-(\d+) (.*)$`)
	last, count = map[string]string{}, map[string]int{}
	for _, s := range seen {
		if m := line.FindStringSubmatch(s); m != nil {
			last[m[2]] = m[3]
			count[m[2]]++
		}
	}
	return last, count
}

func TestProgress(t *testing.T) {
	nb := open(t)
	nb.want(loops)
	nb.want("inner(\"short\", 3, time.Millisecond)") // work that is soon over shows nothing

	got, r := nb.run("inner(\"fitting\", 50, 16*time.Millisecond)")
	last, count := progressOf(got)
	if r.Failure != nil || len(last) != 1 || last["2"] != "fitting: 50 of 50 (100 %)" {
		t.Errorf("%v %q", r.Failure, last)
	}
	if count["2"] < 2 || count["2"] > 20 { // of some 0.8 s; more on a slow machine
		t.Errorf("%d messages", count["2"])
	}

	// One line per loop, and a loop inside that runs again keeps its line.
	got, r = nb.run("m := task.Default()\nfor i := 0; i < 4; i++ {\n\tm.Progress(\"columns\", i, 4)\n\tinner(\"peaks\", 10, 12*time.Millisecond)\n\tinner(\"tails\", 2, time.Millisecond)\n}\nm.Progress(\"columns\", 4, 4)")
	last, _ = progressOf(got)
	if r.Failure != nil || len(last) != 1 || last["3"] != "columns: 4 of 4 (100 %)\ntails: 2 of 2 (100 %)" {
		t.Errorf("%v %q", r.Failure, last)
	}

	// What a loop that ended early has reached stays, without a bar that goes on.
	bar := ""
	nb.hear = func(o host.Output) {
		if p, ok := o.(host.Progress); ok && p.Ended {
			bar = string(p.Data["text/html"])
		}
	}
	got, _ = nb.run("for i := 0; i < 60; i++ { m.Progress(\"early\", i, 100); time.Sleep(10 * time.Millisecond) }")
	last, _ = progressOf(got)
	if len(last) != 1 || last["4"] != "early: 59 of 100 (59 %), ended" || bar != "<div>early: 59 of 100 (59 %), ended</div>" {
		t.Errorf("%q %q", last, bar)
	}
	// What a goroutine tells when its cell has ended is shown nowhere.
	got, _ = nb.run("go func() { time.Sleep(100 * time.Millisecond); inner(\"late\", 50, 10*time.Millisecond) }()\ntime.Sleep(time.Millisecond)")
	time.Sleep(700 * time.Millisecond)
	if last, _ = progressOf(nb.seen); len(last) != 0 {
		t.Errorf("%q %q", got, last)
	}

	// An interrupt leaves what is true.
	ctx, cancel := context.WithCancel(context.Background())
	nb.hear = func(o host.Output) {
		if p, ok := o.(host.Progress); ok && strings.HasPrefix(string(p.Data["text/plain"]), "long: ") {
			cancel()
		}
	}
	got, r = nb.runContext(ctx, "inner(\"long\", 1000, 10*time.Millisecond)")
	last, _ = progressOf(got)
	if r.Failure == nil || r.Failure.Name != "interrupted" || len(last) != 1 || !regexp.MustCompile(`^long: \d+ of 1000 \(\d+ %\), stopped$`).MatchString(last["5"]) {
		t.Errorf("%v %q", r.Failure, last)
	}
}

// However fast a display is shown anew, few messages leave the engine, and the
// last one has the last state.
func TestManyUpdates(t *testing.T) {
	nb := open(t)
	began := time.Now()
	got, r := nb.run("import \"fmt\"\nDisplay(display.Named(\"gauge\", display.HTML(\"start\")))\nDisplay(display.Named(\"other\", display.HTML(\"start\")))\nfor i := 0; i < 10000; i++ {\n\tDisplay(display.Update(\"gauge\", display.HTML(fmt.Sprint(i))))\n}\nDisplay(display.Update(\"other\", display.HTML(\"end\")))\nfmt.Print(\"text\")")
	took := time.Since(began)
	if r.Failure != nil {
		t.Fatal(r.Failure)
	}
	gauge, last := 0, ""
	for _, s := range got {
		if text, ok := strings.CutPrefix(s, "update "); ok && text != "end" {
			gauge, last = gauge+1, text
		}
	}
	if most := int(took/(100*time.Millisecond)) + 3; gauge == 0 || gauge > most {
		t.Errorf("%d updates in %v, want at most %d", gauge, took, most)
	}
	if last != "9999" || !strings.Contains(strings.Join(got, "|"), "update end") {
		t.Errorf("the last state is lost: %q", got)
	}
	// One from a goroutine that outlives its cell arrives, too.
	nb.run("import \"time\"\ngo func() { time.Sleep(200 * time.Millisecond); for i := 0; i < 5; i++ { Display(display.Update(\"gauge\", display.HTML(fmt.Sprint(\"late \", i)))) } }()\ntime.Sleep(time.Millisecond)")
	got, _ = nb.run("time.Sleep(600 * time.Millisecond)")
	if !strings.Contains(strings.Join(got, "|"), "update late 4") {
		t.Errorf("%q", got)
	}
}
