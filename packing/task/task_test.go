package task_test

import (
	"context"
	"fmt"
	"testing"

	"github.com/evenbed/evenbed/packing/task"
)

// book is a monitor that writes down what it hears.
type book struct {
	ctx   context.Context
	heard []string
}

func (b *book) Context() context.Context { return b.ctx }
func (b *book) Progress(label string, done, total int) {
	b.heard = append(b.heard, fmt.Sprintf("%s %d/%d", label, done, total))
}

// count is a long work of ten steps.
func count() (int, error) {
	m := task.Default()
	for i := range 10 {
		if err := m.Context().Err(); err != nil {
			return i, err
		}
		m.Progress("counting", i, 10)
	}
	return 10, nil
}

func TestDefault(t *testing.T) {
	if n, err := count(); n != 10 || err != nil {
		t.Errorf("without a monitor: %d, %v", n, err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	b := &book{ctx: ctx}
	task.SetDefault(b)
	defer task.SetDefault(nil)
	if n, err := count(); n != 10 || err != nil || len(b.heard) != 10 || b.heard[9] != "counting 9/10" {
		t.Errorf("with a monitor: %d, %v, heard %q", n, err, b.heard)
	}
	cancel()
	if n, err := count(); n != 0 || err != context.Canceled {
		t.Errorf("after the stop: %d, %v", n, err)
	}
	task.SetDefault(nil)
	if n, err := count(); n != 10 || err != nil {
		t.Errorf("with the monitor taken away: %d, %v", n, err)
	}
}
