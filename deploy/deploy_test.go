// Package deploy holds what containers are run with. There is no code in it:
// these tests hold the files against the program, without Docker.
package deploy_test

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/compose-spec/compose-go/v2/cli"
	"github.com/stretchr/testify/require"
	"go.yaml.in/yaml/v3"
)

// compose is what the tests read of docker-compose.yml.
type compose struct {
	Name     string
	Services map[string]*service
	Volumes  map[string]any
	Networks map[string]any
}

type service struct {
	Profiles    []string
	Image, User string
	Build       any
	Command     []string
	Environment any
	Ports       []string
	Volumes     []string
	Networks    []string
	ReadOnly    bool     `yaml:"read_only"`
	CapDrop     []string `yaml:"cap_drop"`
	SecurityOpt []string `yaml:"security_opt"`
	MemLimit    string   `yaml:"mem_limit"`
	Restart     string
	Tmpfs       []string
	StopGrace   string `yaml:"stop_grace_period"`
	Healthcheck struct {
		Test        []string
		Interval    string
		Timeout     string
		Retries     int
		StartPeriod string `yaml:"start_period"`
		Disable     bool
	}
	DependsOn map[string]struct{ Condition string } `yaml:"depends_on"`
}

func readCompose(t *testing.T) compose {
	raw, err := os.ReadFile("../docker-compose.yml")
	require.NoError(t, err)
	var c compose
	d := yaml.NewDecoder(strings.NewReader(string(raw)))
	require.NoError(t, d.Decode(&c))
	return c
}

// TestComposeIsValid has the file read by the library with which "docker compose
// config" reads it: against the Compose specification's schema, with what each
// profile names.
func TestComposeIsValid(t *testing.T) {
	for _, profiles := range [][]string{nil, {"single"}, {"cluster"}, {"single", "cluster"}} {
		o, err := cli.NewProjectOptions([]string{"../docker-compose.yml"}, cli.WithProfiles(profiles))
		require.NoError(t, err)
		_, err = o.LoadProject(t.Context())
		require.NoError(t, err, "%v", profiles)
	}
}

// TestComposeProfiles looks at both ways of running: who belongs to which, who
// waits for whom, and that nothing runs with more rights than it needs.
func TestComposeProfiles(t *testing.T) {
	c := readCompose(t)
	in := map[string][]string{}
	for name, s := range c.Services {
		require.Len(t, s.Profiles, 1, name)
		in[s.Profiles[0]] = append(in[s.Profiles[0]], name)

		require.True(t, s.ReadOnly, name)
		require.Equal(t, []string{"ALL"}, s.CapDrop, name)
		require.Equal(t, []string{"no-new-privileges:true"}, s.SecurityOpt, name)
		require.NotEmpty(t, s.MemLimit, name)
		require.NotEmpty(t, s.Restart, name)
		if !s.Healthcheck.Disable {
			require.Greater(t, len(s.Healthcheck.Test), 1, name)
			require.Equal(t, "CMD", s.Healthcheck.Test[0], name)
		}
		// An image is one that is built here, or names its version to the last figure.
		if s.Build == nil {
			require.Regexp(t, `:\d+\.\d+\.\d+`, s.Image, name)
			require.Regexp(t, `^[1-9]\d*:[1-9]\d*$`, s.User, "%s: not root", name)
		}
		// Only loopback is published, and only where the pages are.
		for _, p := range s.Ports {
			require.Equal(t, "127.0.0.1:8350:8350", p, name)
		}
		for _, v := range s.Volumes {
			source, rest, ok := strings.Cut(v, ":")
			require.True(t, ok, v)
			if strings.HasPrefix(source, "./") {
				_, err := os.Stat(filepath.Join("..", source))
				require.NoError(t, err, v)
				require.True(t, strings.HasSuffix(rest, ":ro"), v)
				continue
			}
			require.Contains(t, c.Volumes, source, name)
		}
		for _, n := range s.Networks {
			require.Contains(t, c.Networks, n, name)
		}
		for other, d := range s.DependsOn {
			require.Contains(t, c.Services, other, name)
			require.Equal(t, s.Profiles, c.Services[other].Profiles, "%s waits for %s, which is not run with it", name, other)
			if d.Condition == "service_healthy" {
				require.False(t, c.Services[other].Healthcheck.Disable, other)
			} else {
				require.Equal(t, "service_completed_successfully", d.Condition)
				require.Equal(t, "on-failure:10", c.Services[other].Restart)
			}
		}
	}
	for _, names := range in {
		slices.Sort(names)
	}
	require.Equal(t, map[string][]string{
		"single":  {"asfound"},
		"cluster": {"asfound1", "asfound2", "ledger-init", "nats1", "nats2", "nats3", "proxy"},
	}, in)
	// The servers are on a network that leads nowhere else.
	require.Equal(t, map[string]any{"internal": true}, c.Networks["servers"])
	for _, name := range []string{"nats1", "nats2", "nats3"} {
		require.Equal(t, []string{"servers"}, c.Services[name].Networks)
		require.Contains(t, c.Services[name].Volumes, name+":/data")
	}
	require.NotContains(t, c.Services["proxy"].Networks, "servers")
}

// TestImages reads what images are built from: the versions are named to the
// last figure where the program does not compile itself, and the user is not root.
func TestImages(t *testing.T) {
	for _, name := range []string{"../Dockerfile", "nats.Dockerfile"} {
		raw, err := os.ReadFile(name)
		require.NoError(t, err)
		users := regexp.MustCompile(`(?m)^USER (\S+)$`).FindAllStringSubmatch(string(raw), -1)
		require.NotEmpty(t, users, name)
		require.Equal(t, "65532:65532", users[len(users)-1][1], name)
		for _, from := range regexp.MustCompile(`(?m)^FROM (\S+)`).FindAllStringSubmatch(string(raw), -1) {
			require.Regexp(t, `^(scratch|golang:\d+\.\d+-bookworm|nats:\d+\.\d+\.\d+-alpine)$`, from[1], name)
		}
		// What a volume is mounted on is the user's own in the image.
		for _, v := range regexp.MustCompile(`(?m)^VOLUME (\S+)$`).FindAllStringSubmatch(string(raw), -1) {
			require.Regexp(t, `65532:65532 `+v[1], string(raw), name)
		}
	}
}

// TestProxyNamesTheNodes holds the proxy's file against the services.
func TestProxyNamesTheNodes(t *testing.T) {
	c := readCompose(t)
	raw, err := os.ReadFile("haproxy.cfg")
	require.NoError(t, err)
	var nodes []string
	for name, s := range c.Services {
		if len(s.Command) > 0 && s.Command[0] == "serve" && s.Profiles[0] == "cluster" {
			nodes = append(nodes, name)
		}
	}
	for _, node := range nodes {
		require.Equal(t, 2, strings.Count(string(raw), "    server "+node+" "+node+":8350 "), node)
	}
	require.Len(t, regexp.MustCompile(`(?m)^ +server `).FindAllString(string(raw), -1), 2*len(nodes))
	for _, want := range []string{"bind :8350", "uri /readyz", "uri /healthz", "hdr Host 127.0.0.1", "X-Forwarded-Proto", "X-Forwarded-Host", "X-Forwarded-For"} {
		require.Contains(t, string(raw), want)
	}
}

// TestByTheirOwnPrograms lets the programs that read the files say whether they
// can, where those are at hand.
func TestByTheirOwnPrograms(t *testing.T) {
	for name, command := range map[string][]string{
		"proxy":   {"haproxy", "-c", "-f", "haproxy.cfg"},
		"compose": {"docker", "compose", "-f", "../docker-compose.yml", "--profile", "single", "--profile", "cluster", "config", "--quiet"},
	} {
		t.Run(name, func(t *testing.T) {
			if _, err := exec.LookPath(command[0]); err != nil || name == "compose" && exec.CommandContext(t.Context(), "docker", "compose", "version").Run() != nil {
				t.Skip("it is not at hand here")
			}
			out, err := exec.CommandContext(t.Context(), command[0], command[1:]...).CombinedOutput()
			require.NoError(t, err, string(out))
		})
	}
}
