package deploy_test

import (
	"bufio"
	"bytes"
	"context"
	"crypto/rand"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/asfound/cli"
	"example.org/asfound/store/jetstream/clustertest"
)

func TestMain(m *testing.M) {
	clustertest.Main()
	os.Exit(m.Run())
}

// container is a service of ours, run in this process with the words and the
// settings that the container gets. Only what a test cannot have is replaced:
// the address, the folders, and where the servers are.
type container struct {
	t        *testing.T
	command  []string
	settings map[string]string
}

func newContainer(t *testing.T, name string, replace map[string]string) *container {
	s, ok := readCompose(t).Services[name]
	require.True(t, ok, name)
	require.Equal(t, "asfound:local", s.Image)
	c := &container{t: t, command: slices.Clone(s.Command), settings: map[string]string{"ASFOUND_DIR": t.TempDir()}}
	if m, ok := s.Environment.(map[string]any); ok {
		for key, value := range m {
			c.settings[key] = fmt.Sprint(value)
		}
	}
	for i, word := range c.command {
		if word == "0.0.0.0:8350" {
			c.command[i] = "127.0.0.1:0"
		}
	}
	for key, value := range c.settings {
		for from, to := range replace {
			value = strings.ReplaceAll(value, from, to)
		}
		c.settings[key] = value
	}
	return c
}

// run runs a command to its end, beside the container's own.
func (c *container) run(command ...string) (status int, out, problems string) {
	var o, p bytes.Buffer
	status = cli.Run(c.t.Context(), command, cli.Env{Stdin: strings.NewReader(""), Stdout: &o, Stderr: &p,
		Getenv: func(name string) string { return c.settings[name] }, Now: time.Now, Random: rand.Reader})
	return status, o.String(), p.String()
}

func (c *container) do(command ...string) string {
	c.t.Helper()
	status, out, problems := c.run(command...)
	require.Zero(c.t, status, problems)
	return out
}

// serve starts the container's command and says where it listens.
func (c *container) serve() (base string, stop func()) {
	c.t.Helper()
	ctx, cancel := context.WithCancel(c.t.Context())
	out, in := io.Pipe()
	var problems bytes.Buffer
	ended := make(chan int, 1)
	go func() {
		ended <- cli.Run(ctx, append([]string{"--json"}, c.command...), cli.Env{Stdin: strings.NewReader(""), Stdout: in, Stderr: &problems,
			Getenv: func(name string) string { return c.settings[name] }, Now: time.Now, Random: rand.Reader})
		in.Close()
	}()
	line, err := bufio.NewReader(out).ReadBytes('\n')
	if err != nil {
		c.t.Fatalf("exit status %d: %s", <-ended, &problems)
	}
	go func() { _, _ = io.Copy(io.Discard, out) }()
	var s struct {
		Listening string `json:"listening"`
	}
	require.NoError(c.t, json.Unmarshal(line, &s))
	stopped := false
	stop = func() {
		if !stopped {
			stopped = true
			cancel()
			if status := <-ended; status != 0 {
				c.t.Errorf("exit status %d: %s", status, &problems)
			}
		}
	}
	c.t.Cleanup(stop)
	return "http://" + s.Listening, stop
}

// ask sends a request as a browser behind the published port does.
func ask(t *testing.T, method, address, cookie string, form url.Values) (status int, body string, cookies []*http.Cookie) {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), method, address, strings.NewReader(form.Encode()))
	require.NoError(t, err)
	r.Host = "127.0.0.1:8350" // as in --base-url
	r.Header.Set("Origin", "http://127.0.0.1:8350")
	if form != nil {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	if cookie != "" {
		r.Header.Set("Cookie", cookie)
	}
	client := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }, Timeout: 30 * time.Second}
	answer, err := client.Do(r)
	require.NoError(t, err)
	defer answer.Body.Close()
	text, err := io.ReadAll(answer.Body)
	require.NoError(t, err)
	return answer.StatusCode, string(text), answer.Cookies()
}

// TestSingleContainer runs the one service of the profile for one workshop, and
// its health check.
func TestSingleContainer(t *testing.T) {
	c := newContainer(t, "asfound", nil)
	base, stop := c.serve()
	status, body, _ := ask(t, "GET", base+"/", "", nil)
	require.Equal(t, 200, status, body)
	check := readCompose(t).Services["asfound"].Healthcheck.Test
	require.Equal(t, []string{"CMD", "/asfound", "ping"}, check)
	require.Contains(t, c.do(append(check[2:], base)...), "well")
	stop()
	status, _, _ = c.run("ping", base)
	require.NotZero(t, status)
}

// TestClusterContainers runs the services of the other profile over three
// servers: what makes the ledger, twice; both nodes, which share a key; a person
// who joins at one and is known at the other, and whose rights end at both.
func TestClusterContainers(t *testing.T) {
	if testing.Short() {
		t.Skip("three servers take half a minute")
	}
	servers, err := clustertest.Start(t.TempDir(), 3)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, servers.Close()) })
	replace := map[string]string{"/key": filepath.Join(t.TempDir(), "key"), "${NATS_APP:-}": "", "${NATS_ADMIN:-}": ""}
	for i := range 3 {
		replace[fmt.Sprintf("nats%d:4222", i+1)] = strings.TrimPrefix(servers.NodeURL(i), "nats://")
	}
	first := newContainer(t, "ledger-init", replace)
	first.do(first.command...)
	first.do(first.command...) // as at every start of the containers

	one, two := newContainer(t, "asfound1", replace), newContainer(t, "asfound2", replace)
	invited := one.do("people", "add", "Tamsin Orde", "--role", "keeper", "--json")
	link := regexp.MustCompile(`/join/[A-Za-z0-9_-]+`).FindString(invited)
	require.NotEmpty(t, link)
	baseOne, stopOne := one.serve()
	baseTwo, _ := two.serve()
	for _, base := range []string{baseOne, baseTwo} {
		for _, path := range []string{"/healthz", "/readyz"} {
			status, body, _ := ask(t, "GET", base+path, "", nil)
			require.Equal(t, 200, status, body)
		}
	}
	// The key is one.
	for _, name := range []string{"registry.key", "registry.pub"} {
		_, err := os.Stat(filepath.Join(one.settings["ASFOUND_KEY_FOLDER"], name))
		require.NoError(t, err)
		for _, c := range []*container{one, two} {
			_, err := os.Stat(filepath.Join(c.settings["ASFOUND_DIR"], name))
			require.ErrorIs(t, err, os.ErrNotExist)
		}
	}

	// Joined at the second node, known at the first.
	status, body, cookies := ask(t, "POST", baseTwo+link, "", url.Values{"name": {"Tamsin Orde"}, "password": {"a long spanner in the drawer"}})
	require.Less(t, status, 400, body)
	require.NotEmpty(t, cookies)
	cookie := cookies[0].Name + "=" + cookies[0].Value
	require.Eventually(t, func() bool {
		status, body, _ := ask(t, "GET", baseOne+"/people", cookie, nil)
		return status == 200 && strings.Contains(body, "Tamsin Orde")
	}, 3*time.Second, 10*time.Millisecond)
	status, _, _ = ask(t, "GET", baseOne+"/people", "", nil)
	require.NotEqual(t, 200, status)

	// One node ends; the other goes on, and with it whoever was signed in.
	stopOne()
	status, _, _ = ask(t, "GET", baseTwo+"/people", cookie, nil)
	require.Equal(t, 200, status)
	baseOne, _ = one.serve()

	// A token that a command at one node withdraws works at no other.
	token := regexp.MustCompile(`"token": "([^"]+)"`).FindStringSubmatch(one.do("people", "token", "bench computer", "--role", "reader", "--json"))
	require.Len(t, token, 2)
	api := func(base string) int {
		r, err := http.NewRequestWithContext(t.Context(), "GET", base+"/api/v1/machines", nil)
		require.NoError(t, err)
		r.Host = "127.0.0.1:8350"
		r.Header.Set("Authorization", "Bearer "+token[1])
		answer, err := http.DefaultClient.Do(r)
		require.NoError(t, err)
		require.NoError(t, answer.Body.Close())
		return answer.StatusCode
	}
	for _, base := range []string{baseOne, baseTwo} {
		require.Eventually(t, func() bool { return api(base) == 200 }, 3*time.Second, 10*time.Millisecond)
	}
	id := regexp.MustCompile(`token-[a-z2-9]{16}`).FindString(two.do("people", "--json"))
	two.do("people", "revoke", id)
	for _, base := range []string{baseOne, baseTwo} {
		require.Eventually(t, func() bool { return api(base) == 401 }, 3*time.Second, 10*time.Millisecond)
	}
}
