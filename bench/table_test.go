package bench

import (
	"fmt"
	"maps"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// row is one figure of docs/performance.md: what was measured, beside its
// baseline of the same run, and the limit it is held to.
type row struct {
	section, what, unit string
	measured            float64
	baseline            float64 // of the same run, 0 for none
	against             string  // what the baseline is
	limit               limit
	why                 string // where the limit is not met
}

// limit is what a figure, or its ratio to the baseline, is held to.
type limit struct {
	of    string // "figure" or "ratio"; "" for no limit
	least bool   // at least; otherwise at most
	value float64
}

func atMost(v float64) limit       { return limit{"figure", false, v} }
func ratioAtMost(v float64) limit  { return limit{"ratio", false, v} }
func ratioAtLeast(v float64) limit { return limit{"ratio", true, v} }

func (r row) ratio() float64 { return r.measured / r.baseline }

// met says whether the limit is kept.
func (r row) met() bool {
	v := r.measured
	if r.limit.of == "ratio" {
		v = r.ratio()
	}
	if r.limit.least {
		return v >= r.limit.value
	}
	return v <= r.limit.value
}

// results collects the rows of a run and the figures that docs/scale.md needs.
type results struct {
	binary  string // the program as it is handed out; "" for this one
	rows    []row
	figures map[string]float64 // by name, with the unit in the name
	texts   map[string]string
}

func (x *results) add(r row) { x.rows = append(x.rows, r) }

func (x *results) figure(name string, v float64) { x.figures[name] = v }

// figureWords writes a number with three figures.
func figureWords(v float64) string {
	switch a := math.Abs(v); {
	case a < 1000 && v == math.Trunc(v):
		return fmt.Sprint(v)
	case a >= 1000:
		text := fmt.Sprintf("%.0f", v)
		for i := len(text) - 3; i > 0 && text[i-1] != '-'; i -= 3 {
			text = text[:i] + " " + text[i:] // a narrow space that does not break
		}
		return text
	case a >= 100:
		return fmt.Sprintf("%.0f", v)
	case a >= 10:
		return fmt.Sprintf("%.1f", v)
	case a >= 0.1:
		return fmt.Sprintf("%.2f", v)
	}
	return fmt.Sprintf("%.2g", v)
}

// markdown is the rows as tables, one a section.
func (x *results) markdown() string {
	var b strings.Builder
	section := ""
	rows := slices.Clone(x.rows)
	order := func(name string) int { return slices.IndexFunc(x.rows, func(r row) bool { return r.section == name }) }
	slices.SortStableFunc(rows, func(a, b row) int { return order(a.section) - order(b.section) })
	for _, r := range rows {
		if r.section != section {
			section = r.section
			fmt.Fprintf(&b, "\n### %s\n\n| what | measured | limit | baseline of the same run | ratio | verdict |\n| --- | --- | --- | --- | --- | --- |\n", section)
		}
		limit, baseline, ratio, verdict := "–", "–", "–", "–"
		if r.limit.of != "" {
			how := "at most "
			if r.limit.least {
				how = "at least "
			}
			limit = how + figureWords(r.limit.value)
			if r.limit.of == "ratio" {
				limit += " × the baseline"
			} else {
				limit += " " + r.unit
			}
			if verdict = "met"; !r.met() {
				verdict = "**not met**"
				if r.why != "" {
					verdict += ": " + r.why
				}
			}
		}
		if r.baseline != 0 {
			baseline, ratio = figureWords(r.baseline)+" "+r.unit+": "+r.against, figureWords(r.ratio())
		}
		fmt.Fprintf(&b, "| %s | %s %s | %s | %s | %s | %s |\n", r.what, figureWords(r.measured), r.unit, limit, baseline, ratio, verdict)
	}
	return b.String()
}

// machineWords names the machine by its processors alone.
func machineWords() string {
	model := "a processor of unknown make"
	if raw, err := os.ReadFile("/proc/cpuinfo"); err == nil {
		if m := regexp.MustCompile(`(?m)^model name\s*:\s*(.+)$`).FindSubmatch(raw); m != nil {
			model = string(m[1])
		}
	}
	return fmt.Sprintf("%d cores of %s", runtime.NumCPU(), model)
}

// write puts the tables and figures into the documents.
func (x *results) write(t testing.TB, took time.Duration) {
	missed := 0
	for _, r := range x.rows {
		if r.limit.of != "" && !r.met() {
			missed++
		}
	}
	date := os.Getenv("ASFOUND_PERFORMANCE_DATE")
	if date == "" {
		date = "a day that was not given"
	}
	head := fmt.Sprintf("Measured on %s, on %s, in %.0f s. Limits not met: %d.\n", date, machineWords(), took.Seconds(), missed)
	fill(t, "performance.md", map[string]string{"measured": head + x.markdown()})
	words := maps.Clone(x.texts)
	words["date"] = date
	for name, v := range x.figures {
		words[name] = figureWords(v)
	}
	fill(t, "scale.md", words)
}

// fill puts texts into the places of a document that have their names.
func fill(t testing.TB, document string, texts map[string]string) {
	file := filepath.Join("..", "docs", document)
	raw, err := os.ReadFile(file)
	require.NoError(t, err)
	out := string(raw)
	for name, text := range texts {
		out, _ = replaceBetween(out, name, text)
	}
	require.NoError(t, os.WriteFile(file, []byte(out), 0o644))
}

func replaceBetween(doc, name, text string) (string, int) {
	open, end := "<!-- "+name+" -->", "<!-- end -->"
	var b strings.Builder
	n := 0
	for {
		before, rest, ok := strings.Cut(doc, open)
		b.WriteString(before)
		if !ok {
			return b.String(), n
		}
		_, after, ok := strings.Cut(rest, end)
		if !ok {
			b.WriteString(open + rest)
			return b.String(), n
		}
		b.WriteString(open + text + end)
		doc = after
		n++
	}
}

func TestVerdicts(t *testing.T) {
	require.True(t, row{measured: 8, baseline: 1, limit: ratioAtLeast(8)}.met())
	require.False(t, row{measured: 7.9, baseline: 1, limit: ratioAtLeast(8)}.met())
	require.True(t, row{measured: 50, limit: atMost(50)}.met())
	require.False(t, row{measured: 51, limit: atMost(50)}.met())
	require.False(t, row{measured: 3.1, baseline: 1, limit: ratioAtMost(3)}.met())
	x := results{rows: []row{{section: "S", what: "w", unit: "ms", measured: 1234, baseline: 617, against: "b", limit: ratioAtMost(1), why: "reason"}}}
	require.Contains(t, x.markdown(), "| w | 1 234 ms | at most 1 × the baseline | 617 ms: b | 2 | **not met**: reason |")
}

func TestFiguresFindTheirPlaces(t *testing.T) {
	out, n := replaceBetween("a <!-- x --><!-- end --> b <!-- x -->old<!-- end --> c <!-- y -->1<!-- end -->", "x", "7")
	require.Equal(t, 2, n)
	require.Equal(t, "a <!-- x -->7<!-- end --> b <!-- x -->7<!-- end --> c <!-- y -->1<!-- end -->", out)
}
