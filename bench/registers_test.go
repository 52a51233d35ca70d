package bench

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/asfound/workshop"
)

// registers gives the registers of every size, the smallest first.
func registers(t testing.TB) []*register {
	var out []*register
	for _, n := range sizes() {
		out = append(out, registerOf(t, n))
	}
	return out
}

// median runs something several times, and gives the time in the middle, in
// milliseconds.
func median(times int, do func() time.Duration) float64 {
	var took []time.Duration
	for range times {
		took = append(took, do())
	}
	return ms(quantile(took, 0.5))
}

func ms(d time.Duration) float64 { return float64(d) / float64(time.Millisecond) }

func machines(n int) string { return figureWords(float64(n)) + " machines" }

// measureRegisters measures what a register costs as it grows.
func measureRegisters(t *testing.T, x *results) {
	all := registers(t)
	for _, r := range all {
		x.add(row{section: "Registers", what: machines(r.size) + ", " + figureWords(float64(r.Events)) + " events: made by the path that every record takes, when it was made", unit: "s", measured: r.Took.Seconds()})
		x.add(row{section: "Registers", what: machines(r.size) + ": on disk, with what is derived", unit: "MB", measured: float64(r.Bytes) / 1e6})
		x.add(row{section: "Registers", what: machines(r.size) + ": views derived anew, when it was made", unit: "s", measured: r.Rebuilt.Seconds()})
	}
	last := all[len(all)-1]
	x.figure("machine_bytes", float64(last.Bytes)/float64(last.size))
	x.figure("event_bytes", float64(last.Bytes)/float64(last.Events))
	x.figure("rebuild_ms", ms(last.RebuiltCPU)/float64(last.size))
	measureOpening(t, x, all)
	measureShow(t, x, all)
	measureServing(t, x, all)
	measureDemo(t, x)
}

// theProgram builds asfound as it is handed out. For a mere check it is "": this
// test binary does.
func theProgram(t *testing.T) string {
	if !whole() {
		return ""
	}
	binary := filepath.Join(t.TempDir(), "asfound")
	build := exec.Command("go", "build", "-trimpath", "-buildvcs=false", "-ldflags", "-s -w", "-o", binary, "example.org/asfound")
	build.Env = append(os.Environ(), "CGO_ENABLED=0")
	must(t, build)
	return binary
}

// measureOpening opens the folders.
func measureOpening(t *testing.T, x *results, all []*register) {
	for i, r := range all {
		took := median(sized(1, 7), func() time.Duration {
			begin := time.Now()
			s := open(t, r.dir)
			took := time.Since(begin)
			require.NoError(t, s.Close())
			return took
		})
		limit := limit{}
		switch {
		case i == 0:
			limit = atMost(25)
		case r.Events >= 1_000_000:
			limit = atMost(60)
		}
		x.add(row{section: "Opening and memory", what: machines(r.size) + ", " + figureWords(float64(r.Events)) + " events: opening the folder", unit: "ms", measured: took, limit: limit})
	}
}

// measureShow runs the command from the start of its process to its end.
func measureShow(t *testing.T, x *results, all []*register) {
	show := func(r *register, machine string) func() time.Duration {
		return func() time.Duration {
			_, took := must(t, program(x.binary, "show", machine, "--dir", r.dir))
			return took
		}
	}
	took := make([]float64, len(all))
	for i, r := range all {
		took[i] = median(sized(1, 25), show(r, probe(0)))
	}
	last := len(all) - 1
	for i, r := range all {
		x.add(row{section: "One machine, cold", what: "“show” of a surveyed machine among " + figureWords(float64(r.size)) + ", a new process each time", unit: "ms", measured: took[i]})
		if i == last {
			x.rows[len(x.rows)-1].baseline, x.rows[len(x.rows)-1].against, x.rows[len(x.rows)-1].limit = took[0], "among "+figureWords(float64(all[0].size)), ratioAtMost(1.2)
			x.rows[len(x.rows)-1].why = "more tables are opened"
		}
	}
	x.add(row{section: "One machine, cold", what: fmt.Sprintf("“show” of a machine with %s events among %s, a new process each time", figureWords(longEvents), figureWords(float64(all[last].size))),
		unit: "ms", measured: median(sized(1, 15), show(all[last], longRecord)), limit: atMost(150),
		why: "reading the JSON of its events takes a third of it, and weighing its 1 600 items of evidence most of the rest"})
	x.add(row{section: "One machine, cold", what: fmt.Sprintf("reading and replaying %s events alone", figureWords(longEvents)), unit: "ms", measured: median(sized(1, 7), func() time.Duration {
		s := open(t, all[0].dir)
		defer s.Close()
		w := app(t, s)
		begin := time.Now()
		_, err := w.Load(context.Background(), longRecord, workshop.At{})
		require.NoError(t, err)
		return time.Since(begin)
	})})
}

// asked are the addresses that are timed. Those of one machine are to cost the
// same in every register, and are kept once they are made; of the others each
// asking has an address of its own, so that each is made.
var asked = []struct {
	what, path string
	machine    bool
}{
	{"page of a machine", "/machines/%s", true},
	{"page of a component", "/machines/%s/components/fuel.tank", true},
	{"a machine through the interface for programs", "/api/v1/machines/%s", true},
	{"list of machines, its first page, made anew", "/?asked=%d", false},
	{"search for a word that a third of the machines have, made anew", "/find?q=skerrow&asked=%d", false},
	{"search for a rare word, made anew", "/find?q=" + probe(1) + "&asked=%d", false},
	{"page of the import form", "/import?asked=%d", false},
}

// measureServing asks servers of every size in turn, one request at a time.
func measureServing(t *testing.T, x *results, all []*register) {
	client := &http.Client{Transport: &http.Transport{DisableCompression: true}}
	get := func(s *served, path string) (time.Duration, int) {
		begin := time.Now()
		answer, err := client.Get(s.url + path)
		require.NoError(t, err)
		n, err := io.Copy(io.Discard, answer.Body)
		require.NoError(t, err)
		answer.Body.Close()
		require.Equal(t, http.StatusOK, answer.StatusCode, path)
		return time.Since(begin), int(n)
	}
	var servers []*served
	for _, r := range all {
		first := median(sized(1, 3), func() time.Duration {
			s := serve(t, x.binary, r.dir)
			get(s, "/")
			took := time.Since(s.begun)
			s.stop()
			return took
		})
		x.add(row{section: "Opening and memory", what: machines(r.size) + ": from the start of the server to its first page", unit: "ms", measured: first, limit: atMost(200)})
		s := serve(t, x.binary, r.dir)
		get(s, "/")
		servers = append(servers, s)
		now := resident(t, s.cmd.Process.Pid)
		x.add(row{section: "Opening and memory", what: machines(r.size) + ": resident after the first page", unit: "MB", measured: float64(now) / 1e6})
	}
	for _, a := range asked {
		took := make([][]time.Duration, len(all))
		var first []time.Duration
		size := make([]int, len(all))
		for round := range sized(2, 120) {
			for i, s := range servers {
				path := fmt.Sprintf(a.path, round)
				if a.machine {
					path = fmt.Sprintf(a.path, probe(round%probes))
				}
				d, n := get(s, path)
				if round < probes {
					first = append(first, d)
				}
				if round >= probes || !whole() { // the first of each is not warm
					took[i] = append(took[i], d)
				}
				size[i] = max(size[i], n)
			}
		}
		for i, r := range all {
			p50 := ms(quantile(took[i], 0.5))
			of := row{section: "Pages and interface, warm", what: fmt.Sprintf("%s, %s: half of all within", a.what, machines(r.size)), unit: "ms", measured: p50}
			if a.machine {
				of.limit = atMost(5)
			}
			x.add(of)
			x.add(row{section: "Pages and interface, warm", what: fmt.Sprintf("%s, %s: 99 of 100 within", a.what, machines(r.size)), unit: "ms", measured: ms(quantile(took[i], 0.99)), limit: atMost(50)})
		}
		last := len(all) - 1
		switch a.path {
		case "/machines/%s":
			x.figure("page_ms", ms(quantile(took[last], 0.5)))
			x.figure("page_first_ms", ms(quantile(first, 0.5)))
			x.add(row{section: "Pages and interface, warm", what: a.what + ", to its first reader after a start", unit: "ms", measured: ms(quantile(first, 0.5)), limit: atMost(50)})
		case "/find?q=skerrow&asked=%d":
			grew := ms(quantile(took[last], 0.5)) - ms(quantile(took[0], 0.5))
			x.figure("search_ms", ms(quantile(took[0], 0.5)))
			x.figure("search_us_machine", max(1000*grew/float64(all[last].size-all[0].size), 1e-3))
		}
		of := row{section: "Pages and interface, warm", what: fmt.Sprintf("%s, from %s to %s", a.what, figureWords(float64(all[0].size)), machines(all[last].size)), unit: "ms",
			measured: ms(quantile(took[last], 0.5)), baseline: ms(quantile(took[0], 0.5)), against: "the smallest register"}
		if a.machine {
			of.limit = ratioAtMost(1.2)
		}
		x.add(of)
		x.add(row{section: "Pages and interface, warm", what: a.what + ", its size in the largest register", unit: "KB", measured: float64(slices.Max(size)) / 1e3})
	}
	for i, s := range servers {
		now := resident(t, s.cmd.Process.Pid)
		x.add(row{section: "Opening and memory", what: machines(all[i].size) + ": resident after all that was asked above", unit: "MB", measured: float64(now) / 1e6})
		s.stop()
	}
}

// measureDemo serves the demonstration, and measures the program itself.
func measureDemo(t *testing.T, x *results) {
	if info, err := os.Stat(x.binary); err == nil {
		x.add(row{section: "Opening and memory", what: "the program on disk, without its symbols", unit: "MB", measured: float64(info.Size()) / 1e6, limit: atMost(60)})
	}
	dir := filepath.Join(t.TempDir(), "demo")
	must(t, program(x.binary, "demo", "--no-serve", "--dir", dir))
	s := serve(t, x.binary, dir)
	answer, err := http.Get(s.url + "/")
	require.NoError(t, err)
	answer.Body.Close()
	x.add(row{section: "Opening and memory", what: "the demonstration: from the start of the server to its first page", unit: "ms", measured: ms(time.Since(s.begun)), limit: atMost(200)})
	now := resident(t, s.cmd.Process.Pid)
	x.add(row{section: "Opening and memory", what: "the demonstration: resident, idle", unit: "MB", measured: float64(now) / 1e6, limit: atMost(60)})
	s.stop()
}

// measureRescore looks at many machines with every component surveyed from
// another standpoint, beside reading what is kept of them.
func measureRescore(t *testing.T, x *results) {
	ctx := context.Background()
	n := sized(200, 100_000)
	probed := registerOf(t, 10)
	s := open(t, probed.dir)
	w := app(t, s)
	at, _, err := w.Views.Checkpoint(ctx)
	require.NoError(t, err)
	// As if they were made with another catalog: all are folded anew.
	require.NoError(t, w.Views.Update(ctx, at, func(tx workshop.ViewTx) error { tx.Put("folded-with", []byte("another")); return nil }))
	cpu, folded := cpuTime(), 0
	_, err = w.Rescore(ctx, "", "", func(done int) { folded = done })
	require.NoError(t, err)
	require.Equal(t, probed.size, folded)
	x.figure("fold_ms", ms(cpuTime()-cpu)/float64(folded))
	kept := map[string][]byte{}
	require.NoError(t, w.Views.Scan(ctx, "folded", "", 0, func(key string, value []byte) error { kept[key] = value; return nil }))
	require.NoError(t, s.Close())

	s = open(t, t.TempDir())
	defer func() { require.NoError(t, s.Close()) }()
	w = app(t, s)
	require.NoError(t, w.Views.Reset(ctx, workshop.ViewVersion))
	for i := 0; i < n; i += 500 {
		require.NoError(t, w.Views.Update(ctx, 0, func(tx workshop.ViewTx) error {
			for j := i; j < min(i+500, n); j++ {
				tx.Put("folded/"+plain(j), kept["folded/"+probe(j%probes)])
			}
			tx.Put("folded-with", kept["folded-with"])
			return nil
		}))
	}
	turns := sized(1, 5)
	var sum byte
	read := median(turns, func() time.Duration {
		begin := time.Now()
		count := 0
		require.NoError(t, w.Views.Scan(ctx, "folded/", "", 0, func(_ string, value []byte) error {
			count++
			for _, b := range value {
				sum += b
			}
			return nil
		}))
		require.Equal(t, n, count)
		return time.Since(begin)
	})
	standpoints := w.Catalog.Standpoints()
	turn := 0
	took := median(turns, func() time.Duration {
		turn++
		begin := time.Now()
		r, err := w.Rescore(ctx, standpoints[turn%len(standpoints)].ID, "surface", nil)
		require.NoError(t, err)
		require.Equal(t, n, r.Machines)
		require.Equal(t, n, r.Indices[0].Count, "a surveyed machine has a figure")
		return time.Since(begin)
	})
	_ = sum
	x.add(row{section: "The whole register from another standpoint", what: fmt.Sprintf("%s of 160 components: three indices each under other credits, and the machines in order", machines(n)), unit: "ms",
		measured: took, baseline: read, against: "reading what is kept of them", limit: ratioAtMost(3)})
	x.add(row{section: "The whole register from another standpoint", what: "what is kept of one machine", unit: "bytes", measured: float64(len(kept["folded/"+probe(0)]))})
	x.add(row{section: "The whole register from another standpoint", what: "making it, once and after each change of the machine, processor time", unit: "ms", measured: x.figures["fold_ms"]})
	x.figure("rescore_us", took*1000/float64(n))
}

// measureFigures takes what "go test -bench" said of the computations, when it
// was run before.
func measureFigures(t *testing.T, x *results) {
	file := os.Getenv("ASFOUND_PERFORMANCE_COMPUTED")
	if file == "" {
		return
	}
	raw, err := os.ReadFile(file)
	require.NoError(t, err)
	took := map[string]float64{} // name → ms
	for line := range strings.Lines(string(raw)) {
		fields := strings.Fields(line)
		if len(fields) < 4 || !strings.HasPrefix(fields[0], "Benchmark") || fields[3] != "ns/op" {
			continue
		}
		var ns float64
		_, err := fmt.Sscan(fields[2], &ns)
		require.NoError(t, err)
		name := fields[0]
		// What follows the last dash is how many processors there were.
		if i := strings.LastIndexByte(name, '-'); i > 0 && strings.Trim(name[i+1:], "0123456789") == "" {
			name = name[:i]
		}
		took[name] = ns / 1e6
	}
	const section = "Computations"
	for _, c := range []struct {
		name, what string
		limit      limit
		why        string
	}{
		{"BenchmarkIndex160/switched=0", "distribution of an index of 160 components, parts independent", atMost(2), ""},
		{"BenchmarkIndex160/switched=12", "the same with twelve of seventeen assemblies switched", limit{}, ""},
		{"BenchmarkPlanRoad", "front of the demonstration's plans", atMost(20), ""},
		{"BenchmarkPlanWhole/{60_2000_0.3_0}", "front of 60 faults × 6 options with 12 shared openings, limits of money and works", atMost(1000), ""},
		{"BenchmarkPlanWhole/{60_1200_0.3_0}", "the same under a tighter limit", atMost(1000), ""},
	} {
		require.Contains(t, took, c.name)
		x.add(row{section: section, what: c.what, unit: "ms", measured: took[c.name], limit: c.limit, why: c.why})
	}
	x.add(row{section: section, what: "regression, 100 000 rows × 12 columns, with errors and conditions", unit: "ms", measured: took["BenchmarkRegression/regression"],
		baseline: took["BenchmarkRegression/bare-qr-of-a-library"], against: "a bare QR of the same matrix by gonum", limit: ratioAtMost(2)})
}

// sizes are the sizes of the registers, in machines.
func sizes() []int {
	if whole() {
		return []int{10, sized(0, 100_000) / 10, sized(0, 100_000)}
	}
	return []int{10, 300}
}
