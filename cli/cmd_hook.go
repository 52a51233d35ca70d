package cli

import (
	"context"
	"encoding/base64"
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"time"

	"example.org/asfound/webhook"
)

type hookCommand struct {
	Add    hookAdd    `cmd:"" help:"tell an address from now on; its secret is shown once"`
	List   hookList   `cmd:"" help:"list the addresses"`
	Remove hookRemove `cmd:"" help:"tell an address no longer"`
	Log    hookLog    `cmd:"" help:"show what was sent, and what came back"`
	Send   hookSend   `cmd:"" help:"send what waits, while no server runs"`
}

// post is where the addresses are kept, beside the ledger and not in it.
func (c *call) post() *webhook.Post {
	return &webhook.Post{Folder: filepath.Join(c.line.Dir, hookFolder), Now: c.Now}
}

// tellHooks tells the addresses of decisions until stop is called.
func (c *call) tellHooks(o *opened) (stop func()) {
	ctx, cancel := context.WithCancel(c.ctx)
	done := make(chan struct{})
	go func() {
		defer close(done)
		c.post().Run(ctx, o.Ledger, func(err error) { fmt.Fprintf(c.Stderr, "asfound: a webhook: %v\n", err) })
	}()
	return func() { cancel(); <-done }
}

type hookAdd struct {
	URL            string `arg:"" help:"https address, or http on this computer"`
	PrivateNetwork bool   `help:"the address lies in a private network, and that is meant"`
}

// hookAdded is an address that was added, with its secret.
type hookAdded struct {
	ID     string `json:"id"`
	URL    string `json:"url"`
	Secret string `json:"secret"`
}

// Run adds an address. It does not open the registry: a server may be running.
func (x *hookAdd) Run(c *call) error {
	random := make([]byte, 32+5)
	if _, err := io.ReadFull(c.Random, random); err != nil {
		return err
	}
	h := webhook.Hook{ID: fmt.Sprintf("hook-%x", random[32:]), URL: x.URL, Secret: base64.RawURLEncoding.EncodeToString(random[:32]), PrivateNetwork: x.PrivateNetwork, Added: c.Now().UTC()}
	if err := c.post().Add(h); err != nil {
		return err
	}
	return c.print(hookAdded{h.ID, h.URL, h.Secret}, func(w io.Writer) {
		fmt.Fprintf(w, "%s is told of decisions from now on, as %s.\nIts secret, shown only now: %s\n", h.URL, h.ID, h.Secret)
		fmt.Fprintln(w, "How to check what comes: docs/webhooks.md. Notices go out while \"asfound serve\" runs.")
	})
}

type hookList struct{}

// hookShown is an address without its secret.
type hookShown struct {
	ID             string    `json:"id"`
	URL            string    `json:"url"`
	PrivateNetwork bool      `json:"private_network,omitempty"`
	Added          time.Time `json:"added"`
}

// Run lists the addresses.
func (hookList) Run(c *call) error {
	hooks, err := c.post().Hooks()
	if err != nil {
		return err
	}
	out := []hookShown{}
	for _, h := range hooks {
		out = append(out, hookShown{h.ID, h.URL, h.PrivateNetwork, h.Added})
	}
	return c.print(out, func(w io.Writer) {
		if len(out) == 0 {
			fmt.Fprintln(w, "Nobody is told of decisions. Add an address with \"asfound hook add\".")
		}
		for _, h := range out {
			fmt.Fprintf(w, "%-18s %s, since %s%s\n", h.ID, h.URL, h.Added.Format("2 January 2006"), map[bool]string{true: ", in a private network"}[h.PrivateNetwork])
		}
	})
}

type hookRemove struct {
	ID string `arg:"" help:"name of the address, from the list"`
}

// Run removes an address.
func (x *hookRemove) Run(c *call) error {
	if err := c.post().Remove(x.ID); err != nil {
		return err
	}
	return c.print(map[string]string{"removed": x.ID}, printer(x.ID+" is told no longer; what waited for it is dropped."))
}

type hookLog struct {
	Lines int `help:"how many lines at most" default:"50"`
}

// Run shows the log.
func (x *hookLog) Run(c *call) error {
	if x.Lines < 1 {
		return badFlag("--lines", fmt.Sprint(x.Lines), "50")
	}
	log, err := c.post().Log(x.Lines)
	if err != nil {
		return err
	}
	return c.print(log, func(w io.Writer) {
		if len(log) == 0 {
			fmt.Fprintln(w, "Nothing was sent yet.")
		}
		for _, d := range log {
			status := ""
			if d.Status != 0 {
				status = fmt.Sprintf(", status %d", d.Status)
			}
			fmt.Fprintf(w, "%s  %s  notice %s, try %d: %s%s%s\n", d.At.Format(time.RFC3339), d.Hook, d.Notice, d.Try, strings.ReplaceAll(d.Outcome, "-", " "), status, orNothing(" ("+d.Why+")", d.Why))
		}
	})
}

// orNothing is text where about says something.
func orNothing(text, about string) string {
	if about == "" {
		return ""
	}
	return text
}

type hookSend struct{}

// Run sends what waits.
func (hookSend) Run(c *call) error {
	o, err := c.open()
	if err != nil {
		return err
	}
	if err := c.post().Once(c.ctx, o.Ledger); err != nil {
		return err
	}
	return (&hookLog{Lines: 20}).Run(c)
}
