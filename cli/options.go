package cli

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/alecthomas/kong"

	"example.org/asfound/scoring"
	"example.org/asfound/store/jetstream"
)

// option is one setting. A flag beats the environment, the environment beats
// the default.
type option struct {
	Flag     string `json:"flag"`
	Variable string `json:"variable"`
	Default  string `json:"default"`
	Help     string `json:"help"`
}

// options is the one table of settings that are not particular to a command.
var options = []option{
	{"dir", "ASFOUND_DIR", "", "folder of the registry"},
	{"as", "ASFOUND_PERSON", "mechanic", "person id under which records are made"},
	{"packs", "ASFOUND_PACKS", "", "folders with catalog packs, separated by commas"},
	{"key-folder", "ASFOUND_KEY_FOLDER", "", "folder of the signing key, where that is not the registry's folder: nodes of one cluster share it"},
	{"ledger", "ASFOUND_LEDGER", "", "cluster that keeps the ledger, such as nats://host:4222; the folder keeps it when left out"},
	{"blobs", "ASFOUND_BLOBS", "", "folder that every node of a cluster sees, for pictures and private values; the cluster keeps them when left out"},
	{"addr", "ASFOUND_ADDR", "127.0.0.1:8350", "address that serve listens on"},
	{"everyone-on-this-network", "ASFOUND_EVERYONE", "false", "agree that everybody who can reach the address reads and records, where there are no accounts"},
	{"accounts", "ASFOUND_ACCOUNTS", "false", "ask everybody to sign in; unasked so as soon as there is an account"},
	{"host", "ASFOUND_HOSTS", "", "names and addresses, separated by commas, under which the pages are reached; this machine's own when left out"},
	{"plain-http", "ASFOUND_PLAIN_HTTP", "false", "serve without encryption beyond this computer: others can read along, and phones keep nothing"},
	{"cert", "ASFOUND_CERT", "", "file with a certificate and its chain, in place of the registry's own authority; read again when it changes"},
	{"key", "ASFOUND_KEY", "", "file with the key of the certificate"},
	{"behind-proxy", "ASFOUND_BEHIND_PROXY", "", "addresses or networks, separated by commas, of proxies whose X-Forwarded headers are believed"},
	{"limits", "ASFOUND_LIMITS", "", "how much one visitor may ask, such as writes=1200/600,costly=120/60,guesses=30/6: so many at once, and so many a minute; off for none"},
	{"metrics-addr", "ASFOUND_METRICS_ADDR", "", "address at which a monitor reads how the server does, such as 127.0.0.1:9350; nowhere when left out"},
	{"language", "ASFOUND_LANGUAGE", "en-GB", "language of what is printed: en-GB or de; a bundle stays English"},
	{"base-url", "ASFOUND_BASE_URL", "", "how people reach the server, for labels and the owner's links"},
}

// optionVars gives kong the effective values behind the flags.
func optionVars(getenv func(string) string) kong.Vars {
	vars := kong.Vars{}
	for _, o := range options {
		vars[name(o)] = effective(o, getenv)
		vars[name(o)+"_help"] = fmt.Sprintf("%s (%s)", o.Help, o.Variable)
	}
	vars["methods"] = methodNames()
	return vars
}

func effective(o option, getenv func(string) string) string {
	if v := getenv(o.Variable); v != "" {
		return v
	}
	if o.Flag == "dir" {
		return defaultDir(getenv)
	}
	return o.Default
}

// defaultDir is where a registry lives when nobody says: with the user's data.
func defaultDir(getenv func(string) string) string {
	if d := getenv("XDG_DATA_HOME"); d != "" {
		return filepath.Join(d, "asfound")
	}
	if home, err := os.UserHomeDir(); err == nil {
		return filepath.Join(home, ".local", "share", "asfound")
	}
	return "asfound-registry"
}

// methodNames lists what calc computes, without versions.
func methodNames() string {
	var names []string
	for _, m := range scoring.Methods() {
		if base, _, _ := strings.Cut(m.Name, "/"); !slices.Contains(names, base) {
			names = append(names, base)
		}
	}
	return strings.Join(names, ", ")
}

type configCommand struct{}

// Run prints every setting with its effective value and where it comes from.
func (configCommand) Run(c *call) error {
	type row struct {
		option
		Value string `json:"value"`
		From  string `json:"from"`
	}
	given := map[string]string{"dir": c.line.Dir, "as": c.line.As, "packs": c.line.packs(), "key-folder": c.line.KeyFolder}
	given["ledger"], given["blobs"] = c.line.Ledger, c.line.Blobs
	rows := []row{}
	for _, o := range options {
		r := row{option: o, Value: effective(o, c.Getenv), From: "default"}
		if c.Getenv(o.Variable) != "" {
			r.From = "environment"
		}
		if v, ok := given[o.Flag]; ok && v != r.Value {
			r.Value, r.From = v, "flag"
		}
		if o.Flag == "ledger" {
			r.Value = jetstream.HideSecrets(r.Value)
		}
		rows = append(rows, r)
	}
	return c.print(rows, func(w io.Writer) {
		for _, r := range rows {
			fmt.Fprintf(w, "%-10s %-28s %s\n%10s %s (--%s, %s)\n", r.Flag, orDash(r.Value), "from "+r.From, "", r.Help, r.Flag, r.Variable)
		}
	})
}

func orDash(s string) string {
	if s == "" {
		return "-"
	}
	return s
}

// name is how kong refers to an option's value.
func name(o option) string { return strings.ReplaceAll(o.Flag, "-", "_") }
