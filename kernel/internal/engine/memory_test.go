package engine_test

import (
	"runtime"
	"strings"
	"testing"

	"github.com/evenbed/evenbed/kernel/internal/host"
)

// A cell that uses more memory than allowed is told so, and garbage is not
// counted.
func TestMemoryLimit(t *testing.T) {
	nb := open(t, host.MemoryEnv+"=300MB")
	nb.want("kept := make([]byte, 20<<20)\nlen(kept)", "value 20971520")
	nb.want("n := 0\nfor i := 0; i < 60; i++ { b := make([]byte, 10<<20); b[i] = 1; n += len(b) }\nn", "value 629145600") // one after the other
	for _, code := range []string{
		"var all [][]byte\nfor { all = append(all, make([]byte, 1<<20)) }",
		"big := make([]float64, 50<<20)\nfor i := range big { big[i] = 1 }", // at once
		"import \"strings\"\ns := strings.Repeat(\"x\", 200<<20)\ns += s",
	} {
		_, r := nb.run("import \"time\"\n" + code + "\ntime.Sleep(time.Second)")
		if !r.Died || !strings.Contains(r.Failure.Message, "memory limit 300 MB reached; all variables are gone and a new engine") {
			t.Errorf("%s\n%+v", code, r)
		}
		nb.want("1+1", "value 2")
	}
}

// What is asked for at once, and would be there before the watch looks, is refused by
// the system.
func TestMemoryLimitOfTheSystem(t *testing.T) {
	if runtime.GOOS != "linux" {
		t.Skip("only Linux can limit the data of one process")
	}
	nb := open(t, host.MemoryEnv+"=300MB")
	_, r := nb.run("make([]byte, 2<<30)")
	if !r.Died || !strings.Contains(r.Failure.Message, "memory limit 300 MB reached") {
		t.Errorf("%+v", r.Failure)
	}
	nb.want("1+1", "value 2")
}

func TestMemoryLimitThatMakesNoSense(t *testing.T) {
	nb := open(t, host.MemoryEnv+"=lots")
	if _, r := nb.run("1"); r.Failure == nil || !r.Died || !strings.Contains(r.Failure.Message, host.MemoryEnv) || !strings.Contains(r.Failure.Message, "such as 4GB") {
		t.Errorf("%+v", r.Failure)
	}
}
