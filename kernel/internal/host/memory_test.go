package host

import "testing"

func TestMemory(t *testing.T) {
	for s, want := range map[string]int64{
		"": 0, "0": 0, "4GB": 4e9, "4 gb": 4e9, "1.5GB": 15e8, "500MB": 5e8, "2GiB": 2 << 30, "512 MiB": 512 << 20,
		"4": -1, "GB": -1, "-4GB": -1, "4kB": -1, "50MB": -1, "4GB ": -1, "4,5GB": -1, "9999999999GB": -1, "1e3GB": -1,
	} {
		got, err := Memory(s)
		if (err != nil) != (want == -1) || err == nil && got != want {
			t.Errorf("%q: %d, %v, want %d", s, got, err, want)
		}
	}
	for bytes, want := range map[int64]string{4e9: "4 GB", 5e8: "500 MB", 2 << 30: "2.147 GB", 1500e6: "1.5 GB"} {
		if got := MemoryText(bytes); got != want {
			t.Errorf("%d: %s, want %s", bytes, got, want)
		}
	}
}
