package source

import "testing"

// Only a fault in the data is turned into an error.
func TestGuardedPassesPanics(t *testing.T) {
	var none *int
	data := []byte("data")
	for name, work := range map[string]func(){
		"own":     func() { panic("own") },
		"nil":     func() { *none = 1 },
		"outside": func() { data[len(data)] = 'x' },
	} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("%s: no panic", name)
				}
			}()
			err := Guarded(data, work)
			t.Errorf("%s: %v", name, err)
		}()
	}
	if err := Guarded(nil, func() {}); err != nil {
		t.Error(err)
	}
}
