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

// readPages are the pages that are read under load.
var readPages = []string{"/", "/machines/drover", "/machines/drover/components/fuel.tank", "/machines/drover/story", "/machines/drover/work", "/machines/thirlbeck", "/find?q=tank", "/machines/drover/drawing", "/api/v1/machines"}

// The rates of the load: what a workshop of fifty with five hundred people at its
// pages does. Somebody at a machine records something and takes a picture of it
// every four seconds, which is faster than anybody does; somebody who reads turns
// a page every ten seconds.
const (
	recordsEvery = 4 * time.Second
	readsEvery   = 10 * time.Second
)

// TestLoad lets 50 mechanics record and send pictures while 500 people read.
// The readers come by their own clocks, however long an answer takes (an open
// loop), and what they waited counts from the moment at which they wanted the
// page: a server that falls behind cannot hide it. Long: two minutes; no error,
// 99 of 100 pages within 250 ms, memory bounded.
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
	busy := processorTime(t, s.cmd.Process.Pid)
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
				rest(pause, stop, recordsEvery)
			}
		})
	}
	read := &reads{client: client, url: s.url}
	for p := range readers {
		wg.Go(func() {
			chance := rand.New(rand.NewPCG(uint64(p), 2))
			for due := time.Now(); ; {
				due = due.Add(time.Duration(chance.ExpFloat64() * float64(readsEvery)))
				if due.After(stop) {
					return
				}
				time.Sleep(time.Until(due))
				read.one(readPages[chance.IntN(len(readPages))], due)
			}
		})
	}
	wg.Wait()
	require.Empty(t, read.wrong)
	require.Empty(t, m.refused)
	median, p99 := read.waited()
	memory := resident(t, s.cmd.Process.Pid)
	busy = processorTime(t, s.cmd.Process.Pid) - busy
	t.Logf("%d pages read: median %v, 99 of 100 within %v; %d records and %d pictures taken in; %v of processors in %v; %d MB resident", len(read.took), median, p99, len(m.acked), len(m.photos), busy, lasts, memory>>20)
	if long() {
		assert.Less(t, p99, 250*time.Millisecond)
	}
	assert.Less(t, memory, int64(512<<20))
	read.crowd(t, time.Duration(times(2, 20))*time.Second)
	s.stop()
	_, lost := m.hold(t, dir)
	require.Empty(t, lost)
}

// reads are pages that were read.
type reads struct {
	client *http.Client
	url    string

	mu      sync.Mutex
	took    []time.Duration
	wrong   []string
	refused int
}

// one reads a page that was wanted at a moment.
func (r *reads) one(path string, due time.Time) {
	answer, err := r.client.Get(r.url + path)
	if err == nil {
		_, err = io.Copy(io.Discard, answer.Body)
		answer.Body.Close()
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	switch {
	case err == nil && answer.StatusCode == http.StatusServiceUnavailable && answer.Header.Get("Retry-After") != "":
		r.refused++
		fallthrough
	case err == nil && answer.StatusCode != http.StatusOK:
		r.wrong = append(r.wrong, fmt.Sprint(path, ": ", answer.Status))
	case err != nil:
		r.wrong = append(r.wrong, fmt.Sprint(path, ": ", err))
	default:
		r.took = append(r.took, time.Since(due))
	}
}

// waited is for how long readers waited: half of them at most, and 99 of 100.
func (r *reads) waited() (median, p99 time.Duration) {
	slices.Sort(r.took)
	return r.took[len(r.took)/2], r.took[len(r.took)*99/100]
}

// crowd lets 500 readers ask again as soon as they have an answer (a closed
// loop): nobody does so, and it says how many pages can be given at all. Who
// is refused is told when to come again, and nothing else goes wrong.
func (r *reads) crowd(t *testing.T, lasts time.Duration) {
	t.Helper()
	all := &reads{client: r.client, url: r.url}
	stop := time.Now().Add(lasts)
	var wg sync.WaitGroup
	for p := range times(50, 500) {
		wg.Go(func() {
			chance := rand.New(rand.NewPCG(uint64(p), 3))
			for time.Now().Before(stop) {
				all.one(readPages[chance.IntN(len(readPages))], time.Now())
			}
		})
	}
	wg.Wait()
	require.Len(t, all.wrong, all.refused, "%.300v", all.wrong)
	median, p99 := all.waited()
	t.Logf("without a pause: %.0f pages a second, median %v, 99 of 100 within %v; %d refused", float64(len(all.took))/lasts.Seconds(), median, p99, all.refused)
}

// processorTime is what a process has used of the processors, in user and kernel.
func processorTime(t *testing.T, pid int) time.Duration {
	t.Helper()
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		t.Skip("there is no /proc here")
	}
	// The name, in brackets, may hold blanks; see proc_pid_stat(5).
	fields := strings.Fields(string(text[strings.LastIndexByte(string(text), ')')+1:]))
	var ticks int64
	for _, f := range fields[11:13] { // utime and stime, counted from the state
		n, err := strconv.ParseInt(f, 10, 64)
		require.NoError(t, err)
		ticks += n
	}
	return time.Duration(ticks) * (time.Second / 100) // USER_HZ
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
