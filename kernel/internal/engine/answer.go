package engine

import "github.com/evenbed/evenbed/kernel/internal/pipe"

func (e *engine) complete(m *pipe.Message) {}
func (e *engine) inspect(m *pipe.Message)  {}
