// Package clustertest runs a cluster of real servers for tests: each a process
// of its own, so that it can be killed as a power cut kills it, with the lines
// between them in the test's hands, so that they can be cut. The processes are
// the test's own program again, which is why its TestMain begins with Main.
//
// Only tests import it.
package clustertest

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"github.com/nats-io/nats-server/v2/server"

	"example.org/asfound/loopback"
)

// nodeVariable tells a process that it is a server, and by which configuration.
const nodeVariable = "ASFOUND_TEST_CLUSTER_NODE"

// startWithin bounds every wait for a server or a cluster.
const startWithin = 60 * time.Second

// Main makes this process a server, when it was started to be one, and does not
// come back then.
func Main() {
	file := os.Getenv(nodeVariable)
	if file == "" {
		return
	}
	options, err := server.ProcessConfigFile(file)
	if err == nil {
		options.NoSigs = true
		var s *server.Server
		if s, err = server.NewServer(options); err == nil {
			s.ConfigureLogger() // without it, a server that cannot listen goes on in silence
			go s.Start()
			_, err = io.Copy(io.Discard, os.Stdin) // until the test ends or lets go
			s.Shutdown()
		}
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	os.Exit(0)
}

// Cluster is some servers that hold copies of the same streams.
type Cluster struct {
	dir   string
	nodes []*node
	lines map[[2]int]*line // from one node to another
}

type node struct {
	config                 string
	client, route, monitor string // addresses
	process                *exec.Cmd
	stop                   io.Closer
	ended                  chan struct{}
}

// Start starts so many servers, which keep their files in a folder, and waits
// until they have agreed on who leads.
func Start(dir string, nodes int) (*Cluster, error) {
	c := &Cluster{dir: dir, lines: map[[2]int]*line{}}
	for i := range nodes {
		n := &node{config: filepath.Join(dir, fmt.Sprintf("node-%d.conf", i))}
		for _, address := range []*string{&n.client, &n.route, &n.monitor} {
			var err error
			if *address, err = loopback.Address(); err != nil {
				return nil, err
			}
		}
		c.nodes = append(c.nodes, n)
	}
	for i := range nodes {
		var routes []string
		for j := range nodes {
			if i == j {
				continue
			}
			l, err := newLine(c.nodes[j].route)
			if err != nil {
				return nil, errors.Join(err, c.Close())
			}
			c.lines[[2]int{i, j}] = l
			routes = append(routes, fmt.Sprintf("%q", "nats-route://"+l.address()))
		}
		if err := os.WriteFile(c.nodes[i].config, []byte(c.configuration(i, routes)), 0o600); err != nil {
			return nil, err
		}
	}
	for i := range nodes {
		if err := c.StartNode(i); err != nil {
			return nil, errors.Join(err, c.Close())
		}
	}
	if err := c.Settled(); err != nil {
		return nil, errors.Join(err, c.Close())
	}
	return c, nil
}

// configuration is what a node is set up with. Every write is synced before it
// is acknowledged, as in use.
func (c *Cluster) configuration(i int, routes []string) string {
	n := c.nodes[i]
	text := fmt.Sprintf("server_name: node-%d\nlisten: %q\nhttp: %q\nmax_payload: 2MB\nlogfile: %q\n"+
		"jetstream { store_dir: %q, max_mem: 64M, max_file: 4G, sync_interval: always }\n",
		i, n.client, n.monitor, n.config+".log", filepath.Join(c.dir, fmt.Sprintf("files-%d", i)))
	if len(routes) > 0 {
		// Nodes tell each other where the third one is; what they tell leads
		// nowhere, so that all goes over the lines.
		text += fmt.Sprintf("cluster { name: rehearsal, listen: %q, advertise: \"127.0.0.1:1\", no_advertise: true, pool_size: -1, routes: [%s] }\n", n.route, strings.Join(routes, ", "))
	}
	return text
}

// Reconfigure changes the configuration of a node that does not run.
func (c *Cluster) Reconfigure(i int, from, to string) error {
	text, err := os.ReadFile(c.nodes[i].config)
	if err != nil {
		return err
	}
	return os.WriteFile(c.nodes[i].config, []byte(strings.ReplaceAll(string(text), from, to)), 0o600)
}

// StartNode starts a node that does not run.
func (c *Cluster) StartNode(i int) error {
	n := c.nodes[i]
	program, err := os.Executable()
	if err != nil {
		return err
	}
	p := exec.Command(program)
	p.Env = append(os.Environ(), nodeVariable+"="+n.config)
	p.Stderr = os.Stderr
	stdin, err := p.StdinPipe()
	if err != nil {
		return err
	}
	if err := p.Start(); err != nil {
		return err
	}
	n.process, n.stop, n.ended = p, stdin, make(chan struct{})
	go func() {
		_ = p.Wait() // how it ended is the test's own doing
		close(n.ended)
	}()
	err = until(func() error {
		conn, err := net.Dial("tcp", n.client)
		if err != nil {
			select {
			case <-n.ended:
				return final{err}
			default:
				return err
			}
		}
		return conn.Close()
	})
	if err != nil {
		log, _ := os.ReadFile(n.config + ".log") // without one, the error stands alone
		return fmt.Errorf("node %d did not start: %w\n%s", i, err, log[max(0, len(log)-4096):])
	}
	return nil
}

// final is an error that waiting does not mend.
type final struct{ error }

// KillNode ends a node at once, as a power cut would.
func (c *Cluster) KillNode(i int) error {
	n := c.nodes[i]
	if n.process == nil {
		return nil
	}
	err := n.process.Process.Kill()
	<-n.ended
	n.process = nil
	return err
}

// StopNode ends a node in good order.
func (c *Cluster) StopNode(i int) error {
	n := c.nodes[i]
	if n.process == nil {
		return nil
	}
	err := n.stop.Close()
	<-n.ended
	n.process = nil
	return err
}

// Close ends every node.
func (c *Cluster) Close() error {
	var all error
	for i := range c.nodes {
		all = errors.Join(all, c.KillNode(i))
	}
	for _, l := range c.lines {
		l.close()
	}
	return all
}

// URL names every node's address for clients.
func (c *Cluster) URL() string {
	var all []string
	for i := range c.nodes {
		all = append(all, c.NodeURL(i))
	}
	return strings.Join(all, ",")
}

// NodeURL is one node's address for clients.
func (c *Cluster) NodeURL(i int) string { return "nats://" + c.nodes[i].client }

// MonitorURL is the address at which a node tells of itself.
func (c *Cluster) MonitorURL(i int) string { return "http://" + c.nodes[i].monitor }

// Cut cuts the lines between a node and all others; Mend joins them again. Its
// clients still reach it.
func (c *Cluster) Cut(i int) { c.eachLine(i, func(l *line) { l.cut(true) }) }

// Mend undoes Cut.
func (c *Cluster) Mend(i int) { c.eachLine(i, func(l *line) { l.cut(false) }) }

func (c *Cluster) eachLine(i int, do func(*line)) {
	for between, l := range c.lines {
		if between[0] == i || between[1] == i {
			do(l)
		}
	}
}

// Settled waits until every running node agrees on who leads, and who leads
// knows of every one: before, nothing can be placed on them.
func (c *Cluster) Settled() error {
	return until(func() error {
		if err := c.known(); err != nil {
			return err
		}
		for _, n := range c.nodes {
			if n.process == nil {
				continue
			}
			var health struct {
				Status string `json:"status"`
				Error  string `json:"error"`
			}
			if err := n.ask("/healthz", &health); err != nil {
				return err
			}
			if health.Status != "ok" {
				return errors.New(health.Error)
			}
		}
		return nil
	})
}

// known says whether who leads the cluster counts on all others that run.
func (c *Cluster) known() error {
	if len(c.nodes) == 1 {
		return nil
	}
	for i, n := range c.nodes {
		if n.process == nil {
			continue
		}
		var state struct {
			Meta struct {
				Leader   string `json:"leader"`
				Replicas []struct {
					Name    string `json:"name"`
					Current bool   `json:"current"`
					Offline bool   `json:"offline"`
				} `json:"replicas"`
			} `json:"meta_cluster"`
		}
		if err := n.ask("/jsz", &state); err != nil {
			return err
		}
		if state.Meta.Leader != fmt.Sprint("node-", i) {
			continue
		}
		there := map[string]bool{state.Meta.Leader: true}
		for _, r := range state.Meta.Replicas {
			there[r.Name] = r.Current && !r.Offline
		}
		for j, other := range c.nodes {
			if other.process != nil && !there[fmt.Sprint("node-", j)] {
				return fmt.Errorf("node-%d does not count on node-%d yet", i, j)
			}
		}
		return nil
	}
	return errors.New("no node leads the cluster")
}

// Leader is the node that leads a stream, as some running node sees it.
func (c *Cluster) Leader(stream string) (leader int, err error) {
	err = until(func() error {
		for _, n := range c.nodes {
			if n.process == nil {
				continue
			}
			var state struct {
				Accounts []struct {
					Streams []struct {
						Name    string `json:"name"`
						Cluster struct {
							Leader string `json:"leader"`
						} `json:"cluster"`
					} `json:"stream_detail"`
				} `json:"account_details"`
			}
			if err := n.ask("/jsz?streams=true", &state); err != nil {
				return err
			}
			for _, a := range state.Accounts {
				for _, s := range a.Streams {
					if s.Name == stream && s.Cluster.Leader != "" {
						_, err := fmt.Sscanf(s.Cluster.Leader, "node-%d", &leader)
						if err == nil && c.nodes[leader].process != nil {
							return nil
						}
					}
				}
			}
		}
		return errors.New("no node leads " + stream)
	})
	return leader, err
}

func (n *node) ask(path string, out any) error {
	ctx, cancel := context.WithTimeout(context.Background(), 2*time.Second)
	defer cancel()
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://"+n.monitor+path, nil)
	if err != nil {
		return err
	}
	answer, err := http.DefaultClient.Do(req)
	if err != nil {
		return err
	}
	defer answer.Body.Close()
	return json.NewDecoder(bufio.NewReader(answer.Body)).Decode(out)
}

// until repeats what fails, within a bound.
func until(try func() error) error {
	late := time.After(startWithin)
	tick := time.NewTicker(50 * time.Millisecond)
	defer tick.Stop()
	for {
		err := try()
		if _, ok := err.(final); ok || err == nil {
			return err
		}
		select {
		case <-tick.C:
		case <-late:
			return err
		}
	}
}

// line carries one node's connections to another, unless it is cut.
type line struct {
	listener net.Listener
	to       string

	mu    sync.Mutex
	isCut bool
	conns map[net.Conn]bool
}

func newLine(to string) (*line, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return nil, err
	}
	out := &line{listener: l, to: to, conns: map[net.Conn]bool{}}
	go out.accept()
	return out, nil
}

func (l *line) address() string { return l.listener.Addr().String() }

func (l *line) accept() {
	for {
		from, err := l.listener.Accept()
		if err != nil {
			return
		}
		to, err := net.Dial("tcp", l.to)
		if err != nil {
			from.Close()
			continue
		}
		if !l.keep(from, to) {
			continue
		}
		go l.carry(from, to)
		go l.carry(to, from)
	}
}

// keep notes connections, or closes them when the line is cut.
func (l *line) keep(conns ...net.Conn) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, conn := range conns {
		if l.isCut {
			conn.Close()
		} else {
			l.conns[conn] = true
		}
	}
	return !l.isCut
}

func (l *line) carry(to, from net.Conn) {
	_, _ = io.Copy(to, from) // a cut ends it
	to.Close()
	from.Close()
	l.mu.Lock()
	defer l.mu.Unlock()
	delete(l.conns, to)
	delete(l.conns, from)
}

func (l *line) cut(cut bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.isCut = cut
	if cut {
		for conn := range l.conns {
			conn.Close()
		}
	}
}

func (l *line) close() {
	l.listener.Close()
	l.cut(true)
}
