module github.com/evenbed/evenbed

go 1.26.0

tool (
	github.com/gopherdata/gophernotes
	honnef.co/go/tools/cmd/staticcheck
)

require (
	github.com/cosmos72/gomacro v0.0.0-20220530072503-c719ab5c40fc
	github.com/go-gota/gota v0.12.0
	github.com/go-zeromq/zmq4 v0.17.0
	github.com/yuin/goldmark v1.8.7
	golang.org/x/text v0.44.0
	golang.org/x/tools v0.52.0
	gonum.org/v1/gonum v0.17.0
	gonum.org/v1/plot v0.17.0
)

require (
	codeberg.org/go-fonts/liberation v0.5.0 // indirect
	codeberg.org/go-latex/latex v0.2.0 // indirect
	codeberg.org/go-pdf/fpdf v0.11.1 // indirect
	git.sr.ht/~sbinet/gg v0.7.0 // indirect
	github.com/BurntSushi/toml v1.4.1-0.20240526193622-a339e1f7089c // indirect
	github.com/ajstarks/svgo v0.0.0-20211024235047-1546f124cd8b // indirect
	github.com/go-zeromq/goczmq/v4 v4.2.2 // indirect
	github.com/gofrs/uuid v4.2.0+incompatible // indirect
	github.com/golang/freetype v0.0.0-20170609003504-e2365dfdc4a0 // indirect
	github.com/gopherdata/gophernotes v0.7.5 // indirect
	github.com/mattn/go-runewidth v0.0.13 // indirect
	github.com/peterh/liner v1.2.1 // indirect
	github.com/rivo/uniseg v0.2.0 // indirect
	golang.org/x/exp/typeparams v0.0.0-20231108232855-2478ac86f678 // indirect
	golang.org/x/image v0.30.0 // indirect
	golang.org/x/mod v0.42.0 // indirect
	golang.org/x/net v0.61.0 // indirect
	golang.org/x/sync v0.25.0 // indirect
	honnef.co/go/tools v0.8.2 // indirect
)
