package made

import (
	"bytes"
	"math"
	"os"
	"path/filepath"
	"testing"
)

func TestFilesAreFresh(t *testing.T) {
	for _, f := range Files() {
		stored, err := os.ReadFile(filepath.Join("../../../testdata", f.Name))
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(stored, f.Data) {
			t.Errorf("testdata/%s differs from a fresh run; `make data` rewrites it", f.Name)
		}
	}
}

func TestMarram(t *testing.T) {
	for _, tc := range []struct {
		u, settled, height, bar float64
		source                  string
	}{
		{332.124, 0.2016, 0.2016 / 1.12, 0.52691, "integrated twice by independent programs, rtol 1e-10"},
		{395.544, 0.23, 0.23 / 1.15, 0.93450, "integrated twice by independent programs, rtol 1e-10"},
	} {
		height, drop := Marram.At(tc.u/360000, tc.settled)
		if math.Abs(height/tc.height-1) > 1e-5 || math.Abs(drop/1e5/tc.bar-1) > 1e-5 {
			t.Errorf("at %v cm/h: height %v m, %v bar; want %v, %v (%s)", tc.u, height, drop/1e5, tc.height, tc.bar, tc.source)
		}
	}
}

// TestWalledBed: without friction it is the other bed, with friction it is the
// solution of an independent program.
func TestWalledBed(t *testing.T) {
	height, drop := WalledBed{Marram, 0, 0.3}.At(400./360000, 0.2016)
	wantHeight, wantDrop := Marram.At(400./360000, 0.2016)
	if math.Abs(height/wantHeight-1) > 1e-9 || math.Abs(drop/wantDrop-1) > 1e-9 {
		t.Errorf("without friction: %v m, %v Pa; want %v, %v", height, drop, wantHeight, wantDrop)
	}
	m := Marram
	m.Yield = 2e4
	height, drop = WalledBed{m, 0.1, 0.05}.At(600./360000, 0.2)
	if math.Abs(height/0.191034942-1) > 1e-8 || math.Abs(drop/54905.4803-1) > 1e-8 {
		t.Errorf("with friction: %v m, %v Pa (SciPy solve_ivp, rtol 1e-10: 0.191034942, 54905.4803)", height, drop)
	}
}

func TestEMG(t *testing.T) {
	for _, tc := range []struct {
		tau, t, want float64
		source       string
	}{
		{0, 10, 0.797884560803, "1/(σ√2π)"},
		{0.5, 10.3486846, 0.625656848, "maximum, mpmath at 40 digits"},
		{1.5, 10.6076919, 0.381223183, "maximum, mpmath at 40 digits"},
		{0.5, 0, 5.246203256e-89, "far in front, mpmath at 40 digits, a hundredth of an area of 100"},
	} {
		if got := EMG(tc.t, 10, 0.5, tc.tau); math.Abs(got/tc.want-1) > 1e-8 {
			t.Errorf("EMG(%v) with τ %v = %v, want %v (%s)", tc.t, tc.tau, got, tc.want, tc.source)
		}
	}
}

// The front is the integral of the peak, by Simpson's rule.
func TestEMGFront(t *testing.T) {
	for _, tau := range []float64{0, 0.05, 0.5, 1.5} {
		sum, h := 0.0, 0.005
		for x := 5.0; x < 12; x += 2 * h {
			sum += h / 3 * (EMG(x, 10, 0.5, tau) + 4*EMG(x+h, 10, 0.5, tau) + EMG(x+2*h, 10, 0.5, tau))
			if got := EMGFront(x+2*h, 10, 0.5, tau); math.Abs(got-sum) > 1e-9 {
				t.Fatalf("τ %v: front at %v = %v, integral of the peak %v", tau, x+2*h, got, sum)
			}
		}
	}
}
