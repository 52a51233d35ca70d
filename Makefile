# What a contributor runs. Everything but "tools" needs Go and nothing else.

.PHONY: test race lint bench performance fuzz faults sbom reproducible tools

test:
	go test ./...

# The race detector on what is concurrent; needs a C compiler.
race:
	.ci/race

lint:
	test -z "$$(gofmt -l .)" || { gofmt -l .; exit 1; }
	go vet ./...
	staticcheck ./...

bench:
	go test -run '^$$' -bench . -benchtime 1s ./scoring ./schema ./catalog ./importers/... ./workshop ./server

# Everything against its limit, into docs/performance.md and docs/scale.md:
# less than a quarter of an hour on two quiet cores.
DATE ?= $(shell date -I)
performance:
	go test -run '^$$' -bench 'Index160|PlanRoad|PlanWhole|Regression' -benchtime 5x ./scoring > "$${TMPDIR:-/tmp}/asfound-computed.txt"
	ASFOUND_PERFORMANCE=whole ASFOUND_PERFORMANCE_DATE=$(DATE) ASFOUND_PERFORMANCE_COMPUTED="$${TMPDIR:-/tmp}/asfound-computed.txt" \
		go test -count=1 -timeout 40m -v -run Performance ./bench

# Every fuzz target, two at once: half an hour with a minute each. "make fuzz
# SECONDS=600" is for a quiet night.
SECONDS = 60
fuzz:
	.ci/fuzz $(SECONDS)

# The whole program killed 200 times, its power cut 20 times, its system calls
# and files failed in turn. Root, strace and loop devices make it complete.
faults:
	ASFOUND_FAULTS=long go test -count 1 -timeout 60m -v ./faults

# A software bill of materials of the program, in CycloneDX. In a clone: the tool
# cannot read the version in a linked work tree.
sbom:
	go run github.com/CycloneDX/cyclonedx-gomod/cmd/cyclonedx-gomod@v1.10.0 app -json -licenses -output sbom.json .

# The same source gives the same program, wherever it is built.
reproducible:
	@a=$$(mktemp -d) && b=$$(mktemp -d) && trap 'rm -rf "$$a" "$$b"' EXIT && 	CGO_ENABLED=0 go build -trimpath -buildvcs=false -o $$a/asfound . && cp -r . $$b/source && 	(cd $$b/source && CGO_ENABLED=0 GOCACHE=$$b/cache go build -trimpath -buildvcs=false -o $$b/asfound .) && 	cmp $$a/asfound $$b/asfound && sha256sum $$a/asfound | cut -d' ' -f1

tools:
	go install honnef.co/go/tools/cmd/staticcheck@v0.8.2
	go install golang.org/x/vuln/cmd/govulncheck@v1.9.0
