package faults

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/asfound/cli/clitest"
	"example.org/asfound/loopback"
	"example.org/asfound/registry"
	"example.org/asfound/store"
)

const testNow = "ASFOUND_TEST_NOW"

func TestMain(m *testing.M) {
	clitest.Main(clock)
	os.Exit(m.Run())
}

// clock reads the time from a file, when the test gives one, so that it can be
// turned while the program runs.
func clock() time.Time {
	if file := os.Getenv(testNow); file != "" {
		if text, err := os.ReadFile(file); err == nil {
			if t, err := time.Parse(time.RFC3339, strings.TrimSpace(string(text))); err == nil {
				return t
			}
		}
	}
	return time.Now()
}

// long says that the tests shall be thorough.
func long() bool { return os.Getenv("ASFOUND_FAULTS") == "long" }

func times(short, thorough int) int {
	if long() {
		return thorough
	}
	return short
}

// program is a command of asfound, by this test's own binary or another one.
func program(binary string, args ...string) *exec.Cmd {
	return clitest.Command(context.Background(), binary, args...)
}

// must runs a command that has to succeed.
func must(t *testing.T, c *exec.Cmd) string {
	t.Helper()
	out, err := c.CombinedOutput()
	require.NoError(t, err, "%s: %s", c.Args, out)
	return string(out)
}

// running is a server under test.
type running struct {
	t    *testing.T
	cmd  *exec.Cmd
	url  string
	log  *os.File
	once sync.Once
}

// serve starts a server and waits until it answers.
func serve(t *testing.T, binary, dir string, env ...string) *running {
	t.Helper()
	addr, err := loopback.Address()
	require.NoError(t, err)
	r := &running{t: t, url: "http://" + addr, cmd: program(binary, "serve", "--dir", dir, "--addr", addr)}
	r.cmd.Env = append(r.cmd.Env, env...)
	r.log, err = os.CreateTemp(t.TempDir(), "log")
	require.NoError(t, err)
	r.cmd.Stdout, r.cmd.Stderr = r.log, r.log
	require.NoError(t, r.cmd.Start())
	t.Cleanup(r.kill)
	for deadline := time.Now().Add(30 * time.Second); ; time.Sleep(5 * time.Millisecond) {
		if answer, err := http.Get(r.url + "/readyz"); err == nil {
			answer.Body.Close()
			return r
		}
		if time.Now().After(deadline) {
			r.kill()
			t.Fatalf("the server did not start: %s", r.said())
		}
	}
}

// kill ends the server as nothing can prevent.
func (r *running) kill() {
	r.once.Do(func() { r.cmd.Process.Signal(syscall.SIGKILL); r.cmd.Wait() })
}

// stop ends it in good order.
func (r *running) stop() {
	r.once.Do(func() { r.cmd.Process.Signal(os.Interrupt); r.cmd.Wait() })
}

func (r *running) said() string {
	text, _ := os.ReadFile(r.log.Name())
	return string(text)
}

// model is what was sent and what was acknowledged.
type model struct {
	mu      sync.Mutex
	sent    map[string]request // by the record's id
	acked   map[string]bool
	photos  map[string]bool // acknowledged pictures by digest
	refused []string
}

type request struct{ machine, key, body string }

func newModel() *model {
	return &model{sent: map[string]request{}, acked: map[string]bool{}, photos: map[string]bool{}}
}

const takeIn = `{"machine":%q,"by":"custodian","records":[
{"record":"machine","id":"machine","make":"Skerrow Engineering","model":"Drover 350","year":"1957","invented":true},
{"record":"person","id":"owner","role":"owner","name":"Imogen Aske"},
{"record":"person","id":"custodian","role":"mechanic","name":"Tamsin Orde"},
{"record":"custody-agreement","id":"agreement","owner":"owner","custodian":"custodian","authority":"registration","purpose":"occasional","inventory":[]}]}`

// post sends JSON once.
func post(client *http.Client, url, key, body string) (int, string, error) {
	req, err := http.NewRequest(http.MethodPost, url, strings.NewReader(body))
	if err != nil {
		return 0, "", err
	}
	req.Header.Set("Content-Type", "application/json")
	req.Header.Set("Idempotency-Key", key)
	if strings.HasSuffix(url, "/records") {
		// The version is asked for first: a client records on what it has seen.
		head, err := client.Get(strings.TrimSuffix(url, "/records") + "/events?after=1000000")
		if err != nil {
			return 0, "", err
		}
		io.Copy(io.Discard, head.Body)
		head.Body.Close()
		req.Header.Set("If-Match", head.Header.Get("ETag"))
	}
	answer, err := client.Do(req)
	if err != nil {
		return 0, "", err
	}
	defer answer.Body.Close()
	text, err := io.ReadAll(answer.Body)
	return answer.StatusCode, string(text), err
}

// try sends a request and notes an acknowledgement.
func (m *model) try(client *http.Client, url, id string, r request) {
	m.mu.Lock()
	m.sent[id] = r
	m.mu.Unlock()
	to := url + "/api/v1/machines/" + r.machine + "/records"
	if strings.HasPrefix(r.body, `{"machine"`) {
		to = url + "/api/v1/machines"
	}
	status, text, err := post(client, to, r.key, r.body)
	m.mu.Lock()
	defer m.mu.Unlock()
	switch {
	case err != nil:
	case status == http.StatusCreated:
		m.acked[id] = true
	default:
		m.refuse(fmt.Sprintf("%s: %d %s", id, status, text))
	}
}

// refuse notes the first refusals: the rest follow from them.
func (m *model) refuse(what string) {
	if len(m.refused) < 3 {
		m.refused = append(m.refused, what)
	}
}

// load writes records and pictures from several people until ctx ends.
func (m *model) load(ctx context.Context, url string, people int, round int) *sync.WaitGroup {
	var wg sync.WaitGroup
	client := &http.Client{Timeout: 20 * time.Second, Transport: &http.Transport{MaxIdleConnsPerHost: people}}
	for p := range people {
		wg.Go(func() {
			machine := fmt.Sprintf("m%d-%d", round, p)
			m.try(client, url, machine+"/machine", request{machine, machine + "-take-in", fmt.Sprintf(takeIn, machine)})
			for n := 0; ctx.Err() == nil; n++ {
				id := fmt.Sprintf("fault-%d", n)
				m.try(client, url, machine+"/"+id, request{machine, machine + "-" + id, fmt.Sprintf(`{"record":"fault","id":%q,"complaint":"It does not run, for the %dth time.","components":["fuel.tank"],"by":"custodian"}`, id, n)})
				if n%7 == 3 {
					m.picture(client, url, machine, fmt.Sprintf("%s-%d", machine, n))
				}
			}
		})
	}
	return &wg
}

// picture sends a picture that nobody else sends.
func (m *model) picture(client *http.Client, url, machine, what string) {
	var b bytes.Buffer
	w := multipart.NewWriter(&b)
	w.WriteField("photo", `{"shows":"as-found","components":["fuel.tank"],"caption":"the tank","by":"custodian"}`)
	part, _ := w.CreateFormFile("file", "photo.png")
	part.Write(picturePNG(what))
	w.Close()
	answer, err := client.Post(url+"/api/v1/machines/"+machine+"/photos", w.FormDataContentType(), &b)
	if err != nil {
		return
	}
	defer answer.Body.Close()
	text, err := io.ReadAll(answer.Body)
	if err == nil && answer.StatusCode == http.StatusCreated {
		m.mu.Lock()
		m.photos[digestOf(picturePNG(what))] = true
		m.mu.Unlock()
	} else if err == nil {
		m.mu.Lock()
		m.refuse("picture: " + string(text))
		m.mu.Unlock()
	}
}

// settle sends again what was not acknowledged, as a client does whose answer
// was lost: all must be taken now.
func (m *model) settle(t *testing.T, url string) {
	t.Helper()
	client := &http.Client{Timeout: 20 * time.Second}
	for _, machines := range []bool{true, false} {
		for id, r := range m.sent {
			if !m.acked[id] && strings.HasSuffix(id, "/machine") == machines {
				m.try(client, url, id, r)
				require.True(t, m.acked[id], "%s is not taken: %v", id, m.refused)
			}
		}
	}
}

// hold looks at the stored bytes: every acknowledged record is there, once.
func (m *model) hold(t *testing.T, dir string) (events int, lost []string) {
	t.Helper()
	s, err := store.Open(dir, store.Options{})
	require.NoError(t, err)
	defer s.Close()
	seen := map[string]int{}
	require.NoError(t, s.ReadAll(t.Context(), 0, func(r registry.Record) error {
		for _, e := range r.Events {
			events++
			var event struct {
				Body struct {
					ID string `json:"id"`
				} `json:"body"`
			}
			require.NoError(t, json.Unmarshal(e, &event))
			seen[r.Machine+"/"+event.Body.ID]++
		}
		return nil
	}))
	for id := range m.acked {
		if seen[id] == 0 {
			lost = append(lost, id)
		}
	}
	for id, n := range seen {
		require.Equal(t, 1, n, "%s is there %d times", id, n)
	}
	for digest := range m.photos {
		if has, err := s.Photos().Has(t.Context(), digest); err != nil || !has {
			lost = append(lost, digest)
		}
	}
	return events, lost
}

// audit runs the program's own audit.
func audit(t *testing.T, dir string) {
	t.Helper()
	require.Contains(t, must(t, program("", "audit", "--dir", dir)), "all agree")
}

// otherBinary builds the program with tags.
func otherBinary(t *testing.T, tags string) string {
	t.Helper()
	out := filepath.Join(t.TempDir(), "asfound")
	must(t, exec.Command("go", "build", "-tags", tags, "-o", out, "example.org/asfound"))
	return out
}
