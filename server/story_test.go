package server

import (
	"bytes"
	"context"
	"fmt"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/asfound/scoring"
	"example.org/asfound/workshop"
)

// The drawing of the two clocks and the list beside it say the same, mark by
// mark, and every record that has both times is in them.
func TestTheTwoClocksAreDrawnAsTheyAreListed(t *testing.T) {
	b := worked(t)
	rec := b.get("/machines/drover-1957/story")
	require.Equal(t, http.StatusOK, rec.Code)
	page := readPage(t, rec.Body.String())
	page.landmarks()
	drawn, listed := page.all("g", "class", "clockmark"), page.all("li")
	said := map[string]string{}
	for _, li := range listed {
		if n := attr(li, "data-mark"); n != "" {
			said[n] = textOf(li)
		}
	}
	require.NotEmpty(t, drawn)
	require.Len(t, said, len(drawn))
	form := regexp.MustCompile(`^(\d+): was so (.+), learned on (.+?): (.+)$`)
	records := 0
	for _, g := range drawn {
		n := attr(g, "data-mark")
		title := ""
		for d := range g.Descendants() {
			if d.Data == "title" {
				title = textOf(d)
			}
		}
		m := form.FindStringSubmatch(title)
		require.NotNil(t, m, title)
		require.Equal(t, n, m[1])
		require.True(t, strings.HasPrefix(said[n], fmt.Sprintf("Was so %s; learned on %s. %s", m[2], m[3], m[4])), "%s\n%s", title, said[n])
		if many := regexp.MustCompile(`^(\d+) records `).FindStringSubmatch(m[4]); many != nil {
			count, err := strconv.Atoi(many[1])
			require.NoError(t, err)
			records += count
		} else {
			records++
		}
	}
	report, err := b.w.Report(context.Background(), "drover-1957", workshop.ReportOptions{Public: true})
	require.NoError(t, err)
	items, _ := clockItems(report)
	require.Equal(t, len(items), records)
	text := page.text()
	require.NotContains(t, text, "D350-2217")
	require.NotContains(t, text, "Imogen")
}

// What was long ago lies left of the day on which the machine came, and what was
// learned later lies lower.
func TestTheTwoClocksRunTheirOwnWays(t *testing.T) {
	b := worked(t)
	report, err := b.w.Report(context.Background(), "drover-1957", workshop.ReportOptions{Public: true})
	require.NoError(t, err)
	d := drawClocks(report)
	number := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		require.NoError(t, err)
		return v
	}
	before, last := 0, 0.0
	for _, m := range d.Marks {
		require.Greater(t, number(m.Y), last)
		last = number(m.Y)
		if m.Was == "May 1961" { // the garage bill
			before++
			require.Less(t, number(m.X), number(d.Came)-50)
			require.Equal(t, "paper", m.Shape)
		}
		require.LessOrEqual(t, number(m.X), clockRight)
		require.GreaterOrEqual(t, number(m.X), clockLeft)
	}
	require.Equal(t, 1, before)
	require.Greater(t, number(d.Bottom), last)
	require.Nil(t, drawClocks(&workshop.Report{}), "nothing to draw")
}

// Every method has its page, in the words of the documentation.
func TestEveryMethodIsExplained(t *testing.T) {
	b := newBench(t)
	for _, m := range scoring.Methods() {
		base, _, _ := strings.Cut(m.Name, "/")
		rec := b.get("/methods/" + base)
		require.Equal(t, http.StatusOK, rec.Code, m.Name)
		page := readPage(t, rec.Body.String())
		page.landmarks()
		require.Contains(t, page.text(), m.Question)
		require.NotContains(t, page.text(), "**", m.Name)
		require.NotContains(t, page.text(), "| ---", m.Name)
	}
	require.Equal(t, http.StatusNotFound, b.get("/methods/nonsense").Code)
}

func TestASumThatIsNotThere(t *testing.T) {
	b := worked(t)
	for path, status := range map[string]int{"origin:nowhere": 404, "index:beauty": 404, "index:substance:forwards": 404, "effect:rewind:nothing": 404, "kept:nobody:cost": 404,
		"wait:rewind:7": 404, "nonsense": 404, "kept:..%2f..%2fx": 404, "origin:ignition.condenser": 422, "origin:ignition.armature": 200, "value": 422} {
		rec := b.get("/machines/drover-1957/sum/" + path)
		require.Equal(t, status, rec.Code, "%s: %s", path, rec.Body)
	}
}

// The index is the sum that its page shows: weights times what each component
// counts, over the weights. The mean comes from the exact distribution, which is
// another way to the same number.
func TestTheSumOfAnIndexIsItsMean(t *testing.T) {
	b := worked(t)
	report, err := b.w.Report(context.Background(), "drover-1957", workshop.ReportOptions{})
	require.NoError(t, err)
	f, err := b.w.Figure(context.Background(), report, "index:substance")
	require.NoError(t, err)
	s := newSum(report, f, "")
	foot := s.Inputs[0].Foot
	mean, err := strconv.ParseFloat(foot[2], 64)
	require.NoError(t, err)
	require.InDelta(t, report.Indices.Substance.Now.Mean, mean, 0.0006, "printed with three digits")
	adds := 0.0
	for _, row := range s.Inputs[0].Rows {
		v, err := strconv.ParseFloat(row[3], 64)
		require.NoError(t, err)
		adds += v
	}
	total, err := strconv.ParseFloat(foot[3], 64)
	require.NoError(t, err)
	require.InDelta(t, total, adds, 0.05*float64(len(s.Inputs[0].Rows)), "each row is rounded to a tenth")
	weight := 0.0
	for _, c := range b.w.Catalog.ComponentsInWalk() {
		weight += c.Indices.Of("substance")
	}
	require.Equal(t, fmt.Sprintf("%.1f", weight), foot[1], "every component with a weight stands in it, and once")
}

func TestTheVerifyPageRefusesWhatIsTooLarge(t *testing.T) {
	b := newBench(t)
	b.s.MaxBundle = 1000
	asked := 0
	b.s.CheckBundle = func(context.Context, BundleQuestion) (*BundleAnswer, error) {
		asked++
		return &BundleAnswer{Good: true, Read: true}, nil
	}
	send := func(size int) *httptest.ResponseRecorder {
		var body bytes.Buffer
		w := multipart.NewWriter(&body)
		require.NoError(t, w.WriteField("expected", "typed before"))
		part, err := w.CreateFormFile("bundle", "large.zip")
		require.NoError(t, err)
		_, err = part.Write(make([]byte, size))
		require.NoError(t, err)
		require.NoError(t, w.Close())
		r := httptest.NewRequest(http.MethodPost, "/verify", &body)
		r.Header.Set("Content-Type", w.FormDataContentType())
		return b.ask(r)
	}
	rec := send(1001)
	require.Equal(t, http.StatusRequestEntityTooLarge, rec.Code)
	page := readPage(t, rec.Body.String())
	require.Contains(t, page.text(), "The file is larger than")
	require.True(t, strings.HasPrefix(page.title(), "Error: "))
	require.Equal(t, "typed before", attr(page.one("input", "name", "expected"), "value"))
	require.Zero(t, asked)
	require.Equal(t, http.StatusOK, send(1000).Code)
	require.Equal(t, 1, asked)
	b.s.CheckBundle = nil
	require.Equal(t, http.StatusNotImplemented, send(10).Code)
}
