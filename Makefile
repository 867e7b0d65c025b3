# Evenbed. `make help` lists what can be made.
#
# demo and test need Go, git and make. The others say what else they need, and
# on Debian, as root, install it.

SHELL       := /bin/bash
.SHELLFLAGS := -eu -o pipefail -c
.DEFAULT_GOAL := help

OUT     := evenbed-out
VENV    := .venv
PYTHON  := $(VENV)/bin/python
CLIENTS := kernel/clients
FUZZTIME ?= 10000x
SOAK     ?= 20m

# What users run has no C in it; only the race detector needs cgo.
export CGO_ENABLED = 0

# A test that needs a packed file fails without it; under go test alone it is skipped.
export EVENBED_TEST_PACKED = 1

GO_BUILD := go build -trimpath -ldflags='-s -w'

# Jupyter programs see this environment alone, not the user's own settings.
JUPYTER := VIRTUAL_ENV=$(CURDIR)/$(VENV) JUPYTER_PREFER_ENV_PATH=1 PATH="$(CURDIR)/$(VENV)/bin:$$PATH"
ALONE   := JUPYTER_CONFIG_DIR=$(CURDIR)/build/jupyter/config JUPYTER_DATA_DIR=$(CURDIR)/build/jupyter/data \
	JUPYTER_RUNTIME_DIR=$(CURDIR)/build/jupyter/runtime IPYTHONDIR=$(CURDIR)/build/jupyter/ipython \
	XDG_STATE_HOME=$(CURDIR)/build/jupyter/state

.PHONY: help
help: ## list what can be made
	@sed -n 's/^\([a-z-]*\):.*## \(.*\)/\1|\2/p' $(MAKEFILE_LIST) | column -t -s '|' 2>/dev/null || \
		sed -n 's/^\([a-z-]*\):.*## \(.*\)/\1: \2/p' $(MAKEFILE_LIST)

.PHONY: pack
pack: ## what is made from sources and built into the program: documentation, notices; quick if nothing changed
	@go generate ./kernel/internal/packed

.PHONY: build
build: pack ## the program, bin/evenbed
	$(GO_BUILD) -o bin/evenbed ./kernel/cmd/evenbed

# The systems that wheels are made for, and this one.
SYSTEMS := linux/amd64 linux/arm64 darwin/amd64 darwin/arm64 windows/amd64
HOST    := $(shell go env GOHOSTOS)/$(shell go env GOHOSTARCH)

.PHONY: wheel
wheel: pack ## the program for pip, one file a system, build/wheels; SYSTEMS=linux/amd64 makes one
	@for system in $(SYSTEMS); do \
		folder=build/$${system/\//-}; \
		GOOS=$${system%/*} GOARCH=$${system#*/} $(GO_BUILD) -o $$folder/ ./kernel/cmd/evenbed; \
		go run ./kernel/internal/wheel -out build/wheels $$folder/evenbed*; \
	done

.PHONY: demo
demo: build ## run every notebook; fail when an output differs from the stored one
	bin/evenbed check --html --out $(OUT) notebooks/*.ipynb
	@echo "Open in a browser:"
	@printf '  file://%s\n' $(addprefix $(CURDIR)/$(OUT)/,$(patsubst notebooks/%.ipynb,%.html,$(wildcard notebooks/*.ipynb)))

.PHONY: test
test: pack ## all Go tests
	go test ./...

# The stock kernel, copied out of the module cache, with one file more.
STOCK := github.com/gopherdata/gophernotes

.PHONY: gophernotes
gophernotes: pack ## the stock kernel gophernotes with the packages that evenbed has, bin/gophernotes
	rm -rf build/gophernotes
	mkdir -p build
	go mod download $(STOCK)
	cp -R "$$(go list -m -f '{{.Dir}}' $(STOCK))" build/gophernotes
	chmod -R u+w build/gophernotes
	cp $(CLIENTS)/gophernotes/evenbed.go.txt build/gophernotes/evenbed.go
	cp go.mod build/gophernotes.mod
	cp go.sum build/gophernotes.sum
	go mod edit -replace=$(STOCK)=./build/gophernotes build/gophernotes.mod
	$(GO_BUILD) -modfile=build/gophernotes.mod -o bin/gophernotes $(STOCK)

# Python, an environment of pinned programs, and our kernel in it.

$(VENV)/ready: $(CLIENTS)/requirements.txt
	@$(CLIENTS)/need.sh python3=python3
	@python3 -c 'import ensurepip, venv' 2>/dev/null || $(CLIENTS)/need.sh no-venv=python3-venv
	python3 -m venv $(VENV)
	$(PYTHON) -m pip install -q --disable-pip-version-check -r $(CLIENTS)/requirements.txt
	@touch $@

.PHONY: installed
installed: build $(VENV)/ready
	$(JUPYTER) $(ALONE) bin/evenbed install --sys-prefix

.PHONY: test-clients
test-clients: installed gophernotes ## the public kernel test suite, foreign clients and libraries against ours; needs Python and Node.js
	@mkdir -p build/jupyter/ipython
	@$(MAKE) --no-print-directory wheel SYSTEMS=$(HOST)
	cd $(CLIENTS) && $(JUPYTER) $(ALONE) python -B -m pytest
	@$(CLIENTS)/need.sh node=nodejs npm=npm
	cd $(CLIENTS)/node && npm ci --silent --no-audit --no-fund --ignore-scripts
	cd $(CLIENTS)/node && node --test --test-reporter=spec

.PHONY: test-browser
test-browser: installed ## JupyterLab in a browser; needs Python, Node.js and Chromium
	@$(CLIENTS)/need.sh chromium=chromium node=nodejs npm=npm
	cd $(CLIENTS)/browser && npm ci --silent --no-audit --no-fund
	cd $(CLIENTS)/browser && $(JUPYTER) $(ALONE) node --test --test-reporter=spec

.PHONY: lab
lab: installed ## JupyterLab with the kernel and the notebooks; needs Python
	@$(JUPYTER) jupyter trust notebooks/*.ipynb >/dev/null # or JupyterLab hides the stored pictures
	$(JUPYTER) jupyter lab --notebook-dir=. $(if $(filter 0,$(shell id -u)),--allow-root) notebooks/01-first-pack.ipynb

.PHONY: bench
bench: build $(VENV)/ready ## times beside those of others, as ratios; needs Python; BENCH_LARGE=1 reads 1 GB, too
	$(ALONE) $(PYTHON) -B $(CLIENTS)/bench.py

# What `make check` looks at.

.PHONY: check
check: fmt vet lint fresh race fuzz ## format, vet, staticcheck, generated files, race detector, short fuzz; needs a C compiler

.PHONY: fmt
fmt:
	@echo "gofmt"; bad=$$(gofmt -l kernel packing); [ -z "$$bad" ] || { echo "not formatted:"; echo "$$bad"; exit 1; }

.PHONY: vet
vet:
	go vet ./...

.PHONY: lint
lint:
	go tool staticcheck ./...

.PHONY: fresh
fresh:
	go run ./kernel/symbols/internal/gen -check
	@sum() { sha256sum kernel/internal/spec/logo*; }; \
	before=$$(sum); go generate ./kernel/internal/spec; \
	[ "$$before" = "$$(sum)" ] || { echo "the logo was stale; it is fresh now"; exit 1; }

# A race build of the interpreter takes minutes, so this is what does not link it.
# Tests that bound time and memory, read large files or count thousands of traces
# are left out: the race detector takes tenfold.
.PHONY: race
race: export CGO_ENABLED = 1
race: pack
	@$(CLIENTS)/need.sh gcc=gcc
	@packages=$$(go list -test -f '{{.ImportPath}} {{join .Deps " "}}' ./... | \
		grep -v gomacro | sed -n 's/\.test .*//p'); \
	go test -race -skip '^(TestRefusals|TestBomb|TestStyledAndEmptyRows|TestInterruptOf.*|TestFileBecomesShorter|Test.*Coverage|TestAnyTrace|TestEvaluateAllocatesLittle|TestManyKeepsMemoryFlat)$$' $$packages

# A fuzz test is found by its name. The default is a number of inputs, since Go
# sometimes calls the end of a stretch of time a failure. Without a bound, Go
# spends up to a minute on making each new input smaller, and little else is done.
.PHONY: fuzz
fuzz:
	EVENBED_TEST_MESSAGES=1000000 go test -count=1 -run '^TestManyMessages$$' ./kernel
	@grep -rho --include='*_test.go' --with-filename '^func Fuzz[A-Za-z0-9_]*' kernel packing | sort | \
	while IFS=: read -r file name; do \
		echo "fuzz $${name#func } in $${file%/*}"; \
		go test -run '^$$' -fuzz "^$${name#func }\$$" -fuzztime $(FUZZTIME) -fuzzminimizetime 100x "./$${file%/*}" </dev/null; \
	done

# Other systems.

.PHONY: cross
cross: wheel ## build and vet for all systems
	@for system in $(filter-out $(HOST),$(SYSTEMS)); do \
		echo "vet for $$system"; \
		GOOS=$${system%/*} GOARCH=$${system#*/} go vet ./...; \
	done

# Files made by programs.

.PHONY: gen
gen: ## all that is generated: tables of linked packages, packed files, logo
	go generate ./...

.PHONY: golden
golden: pack ## golden files: rewrite, then read the diff
	UPDATE_GOLDEN=1 go test ./...

.PHONY: coverage
coverage: ## the full statistical runs: 2,000 traces a case, and their tables
	COVERAGE_TRACES=2000 go test -count=1 -run 'Coverage$$' ./packing/efficiency ./packing/bed

.PHONY: soak
soak: ## four clients work on one kernel for SOAK, usually 20m, and every answer is checked
	EVENBED_SOAK=$(SOAK) go test -count=1 -timeout 2h -v -run '^TestSoak$$' ./kernel

.PHONY: data
data: ## the invented data in testdata/
	go run ./packing/internal/made/cmd testdata

.PHONY: ci
ci: ## all that must pass before a change is taken; leaves the tree as it was
	@before=$$(git status --porcelain); \
	for part in check demo test test-clients test-browser cross; do \
		echo "== make $$part"; start=$$SECONDS; \
		$(MAKE) --no-print-directory $$part; \
		echo "== make $$part: $$((SECONDS - start)) s"; \
	done; \
	after=$$(git status --porcelain); \
	[ "$$before" = "$$after" ] || { echo "the tree has changed:"; echo "$$after"; exit 1; }
