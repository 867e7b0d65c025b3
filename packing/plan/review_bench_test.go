package plan_test

import (
	"testing"

	"github.com/evenbed/evenbed/packing/internal/made"
	"github.com/evenbed/evenbed/packing/plan"
	. "github.com/evenbed/evenbed/packing/units"
)

// BenchmarkReview reads a recorded run of 100,000 rows back.
func BenchmarkReview(b *testing.B) {
	p := made.OwnPack()
	p.Step = 0.036
	run := runOf(b, p)
	if n := run.Flow.Len(); n < 100000 {
		b.Fatalf("%d rows", n)
	}
	review := plan.Review{Plan: madePlan(b), SlurryPoured: 27.5 * Litre}
	for b.Loop() {
		f, err := review.Of(run)
		if err != nil || f.Advice != plan.ProceedToTest {
			b.Fatal(f.Advice, err)
		}
	}
}
