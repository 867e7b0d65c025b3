package efficiency

import (
	"context"
	"math/rand/v2"
	"runtime"
	"runtime/metrics"
	"sync"
	"testing"
	"time"

	"github.com/evenbed/evenbed/packing/internal/made"
	"github.com/evenbed/evenbed/packing/trace"
)

// benchSource makes traces of 5,000 points as a file reader would: each one
// anew, from 16 that differ in noise.
type benchSource struct {
	n    int
	x    []float64
	y    [16][]float64
	kept []trace.Trace // those that were made before, if any
}

func newBenchSource(n int) *benchSource {
	const points = 5000
	s := &benchSource{n: n, x: make([]float64, points)}
	for i := range s.x {
		s.x[i] = 1500 * float64(i) / (points - 1)
	}
	for k := range s.y {
		r := rand.New(rand.NewPCG(7, uint64(k)))
		s.y[k] = make([]float64, points)
		for i, x := range s.x {
			s.y[k][i] = 1000*made.EMG(x, 600, 18, 9) + 0.002*r.NormFloat64() + 0.05 + 1e-5*x
		}
	}
	return s
}

func (s *benchSource) Len() int         { return s.n }
func (s *benchSource) Concurrent() bool { return true }
func (s *benchSource) Open(i int) (trace.Trace, error) {
	if s.kept != nil {
		return s.kept[i%16], nil
	}
	return trace.Make("UV", "mAU", trace.Time, s.x, s.y[i%16])
}

// peakHeap calls do and returns the most bytes in objects on the heap meanwhile,
// garbage included.
func peakHeap(do func()) uint64 {
	ctx, cancel := context.WithCancel(context.Background())
	var most uint64
	var looking sync.WaitGroup
	looking.Go(func() {
		heap := []metrics.Sample{{Name: "/memory/classes/heap/objects:bytes"}}
		for ctx.Err() == nil {
			metrics.Read(heap)
			most = max(most, heap[0].Value.Uint64())
			time.Sleep(2 * time.Millisecond)
		}
	})
	do()
	cancel()
	looking.Wait()
	return most
}

// BenchmarkManyTraces evaluates 1,000 and 10,000 traces of 5,000 points. Run it
// with -cpu 1,2 to see what a second processor gives. All of 10,000 traces
// would be 800 MB; the peak of the heap tells that they are not held.
func BenchmarkManyTraces(b *testing.B) {
	p, _ := bench10k(b)
	p.Baseline.Before, p.Baseline.After = trace.Times(0, 120), trace.Times(1380, 1500)
	for _, c := range []struct {
		name string
		n    int
		made bool // before
	}{{"1000", 1000, false}, {"10000", 10_000, false}, {"10000 made before", 10_000, true}} {
		b.Run(c.name, func(b *testing.B) {
			source := newBenchSource(c.n)
			for k := 0; c.made && k < 16; k++ {
				tr, err := trace.Make("UV", "mAU", trace.Time, source.x, source.y[k])
				if err != nil {
					b.Fatal(err)
				}
				source.kept = append(source.kept, tr)
			}
			var most uint64
			for b.Loop() {
				b.StopTimer()
				runtime.GC()
				b.StartTimer()
				most = max(most, peakHeap(func() {
					s, err := p.EvaluateFrom(source)
					if err != nil || len(s.Rows) != c.n || len(s.Failed()) > 0 {
						b.Fatal(err, s.Errors())
					}
				}))
			}
			b.ReportMetric(float64(most)/1e6, "peak-MB")
		})
	}
}

// BenchmarkArithmetic shares a fixed sum out over the processors. What a second
// one gains here is what the machine has to give at that moment.
func BenchmarkArithmetic(b *testing.B) {
	const terms = 400_000_000
	n := runtime.GOMAXPROCS(0)
	sums := make([]float64, n)
	for b.Loop() {
		var workers sync.WaitGroup
		for k := range n {
			workers.Go(func() {
				sum := 0.0
				for i := k; i < terms; i += n {
					sum += float64(i)
				}
				sums[k] = sum
			})
		}
		workers.Wait()
	}
	total := 0.0
	for _, s := range sums {
		total += s
	}
	if want := terms / 2 * (terms - 1.0); total < 0.999*want || total > 1.001*want {
		b.Fatalf("the sum is %v, want %v", total, want)
	}
}
