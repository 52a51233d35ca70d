package cli

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"example.org/asfound/demo"
	"example.org/asfound/registry"
)

type demoCommand struct {
	NoServe bool   `help:"end after the story instead of serving the pages"`
	Addr    string `help:"${addr_help}" default:"${addr}"`
}

// Run makes a fresh registry, tells the story through the commands that a
// person would type, and serves the result.
func (x *demoCommand) Run(c *call) error {
	if c.line.Dir == optionVars(c.Getenv)["dir"] {
		cache, err := os.UserCacheDir()
		if err != nil {
			return err
		}
		c.line.Dir = filepath.Join(cache, "asfound", "demo-"+c.Now().UTC().Format("20060102-150405.000"))
	}
	dir := c.line.Dir
	if entries, err := os.ReadDir(dir); err == nil && len(entries) > 0 {
		return registry.Refuse(registry.CodeRefused, "Name an empty folder with --dir, or leave it out for a fresh one.", "The folder %s is not empty, and the demonstration never writes into a registry that is there", dir)
	}
	out := filepath.Join(dir, "dossiers")
	if err := os.MkdirAll(out, 0o700); err != nil {
		return err
	}
	files, err := os.MkdirTemp("", "asfound-demo-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(files)
	if err := layOut(files); err != nil {
		return err
	}
	t := &teller{call: c, replace: strings.NewReplacer("FILES/", files+"/", "OUT/", out+"/"), hide: strings.NewReplacer(files+"/", "", out, "dossiers")}
	if err := t.tell(demo.Story()); err != nil {
		return err
	}
	if c.json {
		if err := printJSON(c.Stdout, map[string]string{"dir": dir, "dossiers": out, "machine": demo.Main}); err != nil {
			return err
		}
	} else {
		fmt.Fprintf(c.Stdout, "\nThe registry is in %s, the dossiers in %s.\n", dir, out)
	}
	if x.NoServe {
		return nil
	}
	return (&serveCommand{Addr: x.Addr}).Run(c)
}

// layOut writes the story's files and pictures into a folder.
func layOut(folder string) error {
	if err := os.CopyFS(folder, demo.Files()); err != nil {
		return err
	}
	for _, set := range []string{"as-found", "later"} {
		pictures, err := demo.PictureFolder(set)
		if err != nil {
			return err
		}
		if err := os.Mkdir(filepath.Join(folder, set), 0o700); err != nil && !errors.Is(err, fs.ErrExist) {
			return err
		}
		for name, data := range pictures {
			if err := os.WriteFile(filepath.Join(folder, set, name), data, 0o600); err != nil {
				return err
			}
		}
	}
	return nil
}

// teller runs the story's commands on one open registry, with a clock that
// stands where the story is.
type teller struct {
	*call
	replace, hide *strings.Replacer
}

func (t *teller) tell(story []demo.Step) error {
	w := t.Stdout
	if t.json {
		w = io.Discard
	}
	fmt.Fprintln(w, "THE WHOLE JOB, ON AN INVENTED MACHINE")
	wrap(w, "Maker, machine, people and prices are invented. Every command below is one that you can type; those marked ✗ are refused, which is the point of them.", "")
	var now time.Time
	var said, failed bytes.Buffer
	story2 := &app{opened: t.opened, Env: Env{Stdin: strings.NewReader(""), Stdout: &said, Stderr: &failed, Getenv: t.Getenv, Random: t.Random,
		Now: func() time.Time { now = now.Add(time.Second); return now }}}
	defer func() { t.opened = story2.opened }()
	for _, s := range story {
		if err := t.ctx.Err(); err != nil {
			return err
		}
		if s.Chapter != "" {
			fmt.Fprintf(w, "\n\n%s\n%s\n", s.Chapter, strings.Repeat("─", len([]rune(s.Chapter))))
		}
		if s.Say != "" {
			wrap(w, s.Say, "")
		}
		if s.Args == nil {
			continue
		}
		now = s.At
		args := []string{"--dir", t.line.Dir}
		for _, a := range s.Args {
			args = append(args, t.replace.Replace(a))
		}
		said.Reset()
		failed.Reset()
		err := story2.run(t.ctx, args)
		status := story2.finish(err)
		mark := "$"
		if s.Refused {
			mark = "✗"
		}
		fmt.Fprintf(w, "  %s %s asfound %s\n", s.At.Format("2006-01-02"), mark, clip(t.hide.Replace(strings.Join(args[2:], " ")), 110))
		switch {
		case s.Refused && status == exitDone:
			return fmt.Errorf("the demonstration expected a refusal of: %s", strings.Join(s.Args, " "))
		case s.Refused:
			indent(w, t.hide.Replace(failed.String()))
		case status != exitDone:
			return errors.Join(fmt.Errorf("the demonstration stopped at: asfound %s", strings.Join(args[2:], " ")), err)
		case s.Show:
			indent(w, t.hide.Replace(said.String()))
		}
	}
	// From here on the clock is the real one again.
	if o := story2.opened; o != nil {
		o.Workshop.Now = t.Now
		o.Workshop.NewID = newIDs(t.Now, t.Random)
	}
	return nil
}

func indent(w io.Writer, text string) {
	for _, line := range strings.Split(strings.TrimRight(text, "\n"), "\n") {
		if line == "" {
			fmt.Fprintln(w)
			continue
		}
		fmt.Fprintln(w, "    "+line)
	}
}
