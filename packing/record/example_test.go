package record_test

import (
	"fmt"

	"github.com/evenbed/evenbed/packing/record"
)

func ExampleRead() {
	export, err := record.Read("../../testdata/column04-pulse.csv")
	if err != nil {
		fmt.Println(err)
		return
	}
	flow, _ := export.Lookup("flow")
	uv, _ := export.Signal("UV")
	fmt.Println(flow)
	fmt.Println(uv)
	// Output:
	// 21.2 L/h (30 cm/h)
	// UV 280 nm: 3001 points, 0 s to 60 min, 2.256 to 80.053 mAU
}

func ExampleError() {
	_, err := record.Read("testdata/bad_text.csv")
	fmt.Println(err)
	// Output: testdata/bad_text.csv:6:5: "high" in column "UV" is not a number; correct the cell, say that it means nothing was measured: record.Options{Missing: []string{"high"}}, or leave such rows out: record.Options{DropBadRows: true}
}
