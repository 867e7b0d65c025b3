package source

import "github.com/evenbed/evenbed/packing/task"

// A Meter shows how far the reading of a file is and tells when to stop. The nil
// Meter never stops and shows nothing.
type Meter struct {
	monitor      task.Monitor
	total, shown int // MiB
}

// NewMeter returns a meter for a file of a size in bytes.
func NewMeter(m task.Monitor, size int) *Meter {
	return &Meter{monitor: m, total: size >> 20, shown: -1}
}

// At tells that the bytes before an offset are read, and returns the error of
// work that shall stop.
func (m *Meter) At(offset int) error {
	if m == nil {
		return nil
	}
	if now := min(offset>>20, m.total); now != m.shown {
		m.monitor.Progress("reading", now, m.total)
		m.shown = now
	}
	return m.Stop()
}

// Stop returns the error of work that shall stop.
func (m *Meter) Stop() error {
	if m == nil {
		return nil
	}
	return m.monitor.Context().Err()
}
