package kernel_test

import (
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/evenbed/evenbed/kernel"
	"github.com/evenbed/evenbed/kernel/internal/kerneltest"
	"github.com/evenbed/evenbed/kernel/internal/wire"
)

// Four clients of one session work for a while, each with variables of its own: they
// compute, print, show, fail, interrupt, ask for completions and come back. Every
// answer is held against a model of what the variables are. EVENBED_SOAK is how
// long, such as 20m; a few seconds without it.
func TestSoak(t *testing.T) {
	long := 2 * time.Second
	if s := os.Getenv("EVENBED_SOAK"); s != "" {
		var err error
		if long, err = time.ParseDuration(s); err != nil {
			t.Fatal(err)
		}
	}
	first := kerneltest.Start(t, kernel.Options{})
	first.Execute("import (\"fmt\"; \"strings\"; \"os\")")
	pid := 0
	for _, line := range first.Execute("os.Getpid()") {
		fmt.Sscanf(line, "result %d", &pid)
	}
	const clients = 4
	seen := make([]*soaker, clients)
	var all sync.WaitGroup
	end := time.Now().Add(long)
	warm := resident(pid)
	for i := range seen {
		s := &soaker{t: t, c: first.Another(), name: string(rune('a' + i)), rng: rand.New(rand.NewPCG(7, uint64(i)))}
		seen[i] = s
		all.Go(func() {
			for !s.do(fmt.Sprintf("%s, %sl := 0, []int{}", s.name, s.name), "") { // until no interrupt of another client aborts it
			}
			for n := 0; time.Now().Before(end) && !t.Failed(); n++ {
				s.step()
				if n == 100 {
					warm = max(warm, resident(pid)) // by one client or another: it is a rough figure
				}
			}
		})
	}
	all.Wait()
	cells := 0
	for _, s := range seen {
		cells += s.cells
		for try := 0; !s.do(fmt.Sprintf("fmt.Sprint(%s, len(%sl))", s.name, s.name), fmt.Sprintf("result %d %d", s.x, s.n)); try++ {
			if try == 10 {
				t.Fatalf("client %s: the last cells are aborted again and again", s.name)
			}
		}
	}
	if cells < 4*clients {
		t.Errorf("only %d cells ran in %v", cells, long)
	}
	t.Logf("%d cells of %d clients in %v; memory of the engine %d kB, %.2f kB more a cell", cells, clients, long, resident(pid), float64(resident(pid)-warm)/float64(cells))
}

// A soaker is one client and what it knows of its variables.
type soaker struct {
	t     *testing.T
	c     *kerneltest.Client
	name  string
	rng   *rand.Rand
	x, n  int // its number, and the length of its list
	cells int
}

// step runs one cell that is chosen by chance.
func (s *soaker) step() {
	v, k := s.name, s.rng.IntN(1000)
	switch s.rng.IntN(10) {
	case 0:
		if s.do(fmt.Sprintf("%s = %s*3 %% 1009 + %d\n%s", v, v, k, v), fmt.Sprintf("result %d", s.x*3%1009+k)) {
			s.x = s.x*3%1009 + k
		}
	case 1:
		if s.do(fmt.Sprintf("%sl = append(%sl, %s)\nfmt.Println(len(%sl))", v, v, v, v), fmt.Sprintf("stdout %d\n", s.n+1)) {
			s.n++
		}
	case 2:
		s.do(fmt.Sprintf("fmt.Println(strings.Repeat(%q, %d))", v, k), "stdout "+strings.Repeat(v, k)+"\n")
	case 3:
		s.do(fmt.Sprintf("Display(%s)", v), fmt.Sprintf("display %d", s.x))
	case 4:
		s.do(fmt.Sprintf("%sl[%d+len(%sl)]", v, k, v), "error panic")
	case 5:
		s.do(fmt.Sprintf("undeclared%s%d", v, k), "error compile error")
	case 6:
		s.do(fmt.Sprintf("func %sf(n int) int { return n + %d }\n%sf(%s)", v, k, v, v), fmt.Sprintf("result %d", s.x+k))
	case 7:
		s.c.Ask(s.c.Shell, wire.CompleteRequest, wire.Cursor{Code: "strings.ToUpperS"})
		if r := read[wire.Completion](s.t, s.c.Reply(s.c.Shell), wire.CompleteReply); !slices.Contains(r.Matches, "ToUpperSpecial") {
			s.t.Errorf("completion: %+v", r)
		}
	case 8:
		s.do(fmt.Sprintf("ch := make(chan int)\ngo func() { ch <- %d }()\n<-ch + %s", k, v), fmt.Sprintf("result %d", s.x+k))
	case 9:
		if s.rng.IntN(5) == 0 {
			s.interrupt()
		}
	}
}

// interrupt stops an endless cell of this client. What others have waiting is
// aborted, which they see in their replies.
func (s *soaker) interrupt() {
	s.cells++
	id := s.c.Ask(s.c.Shell, wire.ExecuteRequest, wire.Execute{Code: "for { }"})
	for began := false; !began; {
		m := s.c.Published()
		began = kerneltest.Parent(m) == id && strings.HasPrefix(kerneltest.Line(m), "input")
		if kerneltest.Parent(m) == id && kerneltest.Line(m) == "idle" { // aborted by another's interrupt
			s.c.Reply(s.c.Shell)
			return
		}
	}
	s.c.Ask(s.c.Control, wire.InterruptRequest, struct{}{})
	s.c.Reply(s.c.Control)
	s.c.Reply(s.c.Shell)
}

// do runs a cell and reports whether it ran; one that was aborted did not. It must
// show the line that is wanted.
func (s *soaker) do(code, want string) bool {
	s.cells++
	id := s.c.Ask(s.c.Shell, wire.ExecuteRequest, wire.Execute{Code: code})
	reply := read[wire.Reply](s.t, s.c.Reply(s.c.Shell), wire.ExecuteReply)
	shown := s.c.Transcript(id)
	if reply.Status == wire.Aborted || reply.Name == "interrupted" {
		return false
	}
	if want != "" && !slices.Contains(shown, want) {
		s.t.Errorf("client %s, cell %d: %s\nshows %q\nwant  %q", s.name, s.cells, code, shown, want)
	}
	return true
}

// resident returns how many kB of memory a process has; 0 where that is not known.
func resident(pid int) int {
	status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		return 0
	}
	_, rest, _ := strings.Cut(string(status), "VmRSS:")
	n, _ := strconv.Atoi(strings.TrimSuffix(strings.TrimSpace(strings.SplitN(rest, "\n", 2)[0]), " kB"))
	return n
}
