package faults

import (
	"bufio"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestLoad lets 50 mechanics record and send pictures while 500 people read,
// each with the pauses of somebody who looks at what came. Long: two minutes;
// no error, 99 of 100 pages within 250 ms, memory bounded.
func TestLoad(t *testing.T) {
	if testing.Short() {
		t.Skip("takes a while")
	}
	lasts := 4 * time.Second
	mechanics, readers := 10, 50
	if long() {
		lasts, mechanics, readers = 2*time.Minute, 50, 500
	}
	dir := filepath.Join(t.TempDir(), "registry")
	must(t, program("", "demo", "--no-serve", "--dir", dir))
	s := serve(t, "", dir)
	client := &http.Client{Timeout: 30 * time.Second, Transport: &http.Transport{MaxIdleConns: 1000, MaxIdleConnsPerHost: 1000}}
	m := newModel()
	stop := time.Now().Add(lasts)
	var wg sync.WaitGroup
	for p := range mechanics {
		wg.Go(func() {
			pause := rand.New(rand.NewPCG(uint64(p), 1))
			machine := fmt.Sprint("load-", p)
			m.try(client, s.url, machine+"/machine", request{machine, machine + "-take-in", fmt.Sprintf(takeIn, machine)})
			for n := 0; time.Now().Before(stop); n++ {
				id := fmt.Sprint("fault-", n)
				m.try(client, s.url, machine+"/"+id, request{machine, machine + "-" + id, fmt.Sprintf(`{"record":"fault","id":%q,"complaint":"It drips.","components":["fuel.tank"],"by":"custodian"}`, id)})
				m.picture(client, s.url, machine, fmt.Sprintf("%s-%d", machine, n))
				rest(pause, stop, 4*time.Second)
			}
		})
	}
	pages := []string{"/", "/machines/drover", "/machines/drover/components/fuel.tank", "/machines/drover/story", "/machines/drover/work", "/machines/thirlbeck", "/find?q=tank", "/machines/drover/drawing", "/api/v1/machines"}
	var mu sync.Mutex
	var took []time.Duration
	var wrong []string
	for p := range readers {
		wg.Go(func() {
			pause := rand.New(rand.NewPCG(uint64(p), 2))
			rest(pause, stop, 4*time.Second)
			for time.Now().Before(stop) {
				path := pages[pause.IntN(len(pages))]
				began := time.Now()
				answer, err := client.Get(s.url + path)
				if err == nil {
					_, err = io.Copy(io.Discard, answer.Body)
					answer.Body.Close()
				}
				mu.Lock()
				took = append(took, time.Since(began))
				if err != nil || answer.StatusCode != http.StatusOK {
					wrong = append(wrong, fmt.Sprint(path, " ", err))
				}
				mu.Unlock()
				rest(pause, stop, 10*time.Second)
			}
		})
	}
	wg.Wait()
	slices.Sort(took)
	require.Empty(t, wrong)
	require.Empty(t, m.refused)
	p99 := took[len(took)*99/100]
	memory := resident(t, s.cmd.Process.Pid)
	t.Logf("%d pages read: median %v, 99 of 100 within %v; %d records and %d pictures taken in; %d MB resident", len(took), took[len(took)/2], p99, len(m.acked), len(m.photos), memory>>20)
	if long() {
		assert.Less(t, p99, 250*time.Millisecond)
	}
	assert.Less(t, memory, int64(1<<30))
	s.stop()
	_, lost := m.hold(t, dir)
	require.Empty(t, lost)
}

// rest pauses for a random time around a mean, not past the end.
func rest(chance *rand.Rand, end time.Time, mean time.Duration) {
	d := time.Duration(chance.ExpFloat64() * float64(mean))
	time.Sleep(min(d, max(0, time.Until(end))))
}

// resident is how much memory a process holds, in bytes.
func resident(t *testing.T, pid int) int64 {
	t.Helper()
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		t.Skip("there is no /proc here")
	}
	for line := range strings.Lines(string(text)) {
		if value, ok := strings.CutPrefix(line, "VmRSS:"); ok {
			n, err := strconv.ParseInt(strings.Fields(value)[0], 10, 64)
			require.NoError(t, err)
			return n << 10
		}
	}
	t.Fatal("no resident size")
	return 0
}

// TestRudePeers holds connections open without a word, sends headers a byte at a
// time, and sends headers without end. The server goes on serving. Long: 10,000
// idle connections.
func TestRudePeers(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "registry")
	s := serve(t, "", dir)
	addr := strings.TrimPrefix(s.url, "http://")
	var held []net.Conn
	defer func() {
		for _, c := range held {
			c.Close()
		}
	}()
	for range times(300, 10_000) {
		c, err := net.Dial("tcp", addr)
		if err != nil {
			t.Logf("no more than %d connections can be opened here: %v", len(held), err)
			break
		}
		held = append(held, c)
	}
	for range 50 {
		c, err := net.Dial("tcp", addr)
		require.NoError(t, err)
		held = append(held, c)
		fmt.Fprintf(c, "GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Slow: ")
		go func() {
			for range 100 {
				if _, err := c.Write([]byte("a")); err != nil {
					return
				}
				time.Sleep(100 * time.Millisecond)
			}
		}()
	}
	huge, err := net.Dial("tcp", addr)
	require.NoError(t, err)
	held = append(held, huge)
	fmt.Fprintf(huge, "GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Huge: %s\r\n\r\n", strings.Repeat("a", 1<<20))
	answer, err := http.ReadResponse(bufio.NewReader(huge), nil)
	if err == nil {
		require.Equal(t, http.StatusRequestHeaderFieldsTooLarge, answer.StatusCode)
	}
	client := &http.Client{Timeout: 5 * time.Second, Transport: &http.Transport{DisableKeepAlives: true}}
	for range 20 {
		began := time.Now()
		answer, err := client.Get(s.url + "/")
		require.NoError(t, err)
		answer.Body.Close()
		require.Equal(t, http.StatusOK, answer.StatusCode)
		require.Less(t, time.Since(began), 3*time.Second)
	}
	require.Less(t, resident(t, s.cmd.Process.Pid), int64(times(300, 800))<<20)
}
