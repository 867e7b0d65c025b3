package record

import "testing"

func TestTry(t *testing.T) {
	r, err := Read("../../testdata/column04-pulse.csv")
	if err != nil {
		t.Fatal(err)
	}
	t.Log("\n" + r.String())
	tr, err := r.Signal("uv")
	t.Log(tr, err)
	_, err = r.Signal("VU")
	t.Log(err)
	_, err = r.Signal("")
	t.Log(err)
	_, err = Read("../../testdata/column04-puls.csv")
	t.Log(err)
	f := r.Frame()
	t.Log(f)
}
