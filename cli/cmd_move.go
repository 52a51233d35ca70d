package cli

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"example.org/asfound/access"
	"example.org/asfound/move"
	"example.org/asfound/registry"
	"example.org/asfound/store"
	"example.org/asfound/store/jetstream"
	"example.org/asfound/store/node"
	"example.org/asfound/webhook"
)

type moveCommand struct {
	From string `required:"" help:"where the registry is: a folder, or a cluster such as nats://host:4222"`
	To   string `required:"" help:"where it shall be: a folder that is new or that an earlier move began, or a cluster that \"ledger init\" made"`
	Node string `type:"path" help:"folder of a node of the cluster, from or to which the key, the accounts and the settings are copied"`
}

// moved is what a move answers with.
type moved struct {
	From string `json:"from"`
	To   string `json:"to"`
	move.Report
	// Copied and Left are files of the folder that are no part of the ledger.
	Copied []string `json:"copied"`
	Left   []string `json:"left"`
	// OtherPeople says that the accounts were not copied, because the target has
	// others.
	OtherPeople bool `json:"other_people,omitempty"`
	// NoKey says that there is no signing key where the source's was looked for,
	// nor in the target.
	NoKey bool `json:"no_key,omitempty"`
}

// Run moves a registry between engines.
func (m *moveCommand) Run(c *call) error {
	if c.same(m.From, m.To) {
		return registry.Refuse(registry.CodeInvalid, "Name two different places.", "The registry would be moved to where it is")
	}
	from, err := c.openSide(m.From, m.Node)
	if err != nil {
		return err
	}
	defer from.close()
	to, err := c.openTarget(m.To, m.Node)
	if err != nil {
		return err
	}
	defer to.close()
	if err := sameKey(from, to); err != nil {
		return err
	}
	for _, s := range []*side{from, to} { // before anything is written
		if _, err := s.people.Read(); err != nil {
			return err
		}
	}
	hooks := &webhook.Post{Folder: filepath.Join(from.folder, hookFolder), Now: c.Now}
	after, told, err := hooks.After()
	if err != nil {
		return err
	}
	bar := c.progress("commits and files")
	report, err := move.All(c.ctx, from.Side, to.Side, move.Options{Mark: after, Begin: to.begin, Progress: func(n move.Count) { bar.at(n.Commits + n.Photos + n.Private) }})
	bar.end()
	if err != nil {
		return err
	}
	out := moved{From: from.Name, To: to.Name, Report: report, Copied: []string{}, Left: []string{}}
	if err := out.settings(from, to); err != nil {
		return err
	}
	if err := out.people(from, to); err != nil {
		return err
	}
	if told && to.folder != "" {
		if err := (&webhook.Post{Folder: filepath.Join(to.folder, hookFolder), Now: c.Now}).SetAfter(report.Mark); err != nil {
			return err
		}
	}
	// In this order: a stop in between leaves both refused, and never both open.
	if err := from.left(c, out); err != nil {
		return err
	}
	if err := to.arrived(); err != nil {
		return err
	}
	if err := to.close(); err != nil {
		return err
	}
	return c.print(out, func(w io.Writer) { out.words(w, from, to) })
}

func (m moved) words(w io.Writer, from, to *side) {
	a, b := m.Added, m.There
	fmt.Fprintf(w, "Moved from %s to %s: %d events in %d commits, %d pictures and %d private values.\n", m.From, m.To, a.Events, a.Commits, a.Photos, a.Private)
	if b != (move.Count{}) {
		fmt.Fprintf(w, "There before: %d events in %d commits, %d pictures and %d private values.\n", b.Events, b.Commits, b.Photos, b.Private)
	}
	if m.Erased > 0 {
		fmt.Fprintf(w, "Removed from %s, because the record says that they were erased: %d private values.\n", m.To, m.Erased)
	}
	fmt.Fprintf(w, "Read back: %d machines, each with the version and root hash that it had, and every file by its digest. All of them together: %s\n", len(m.Machines), m.Digest)
	for i, one := range m.Machines {
		if i == mostMachines {
			fmt.Fprintln(w, "There are more; --json lists them all.")
			break
		}
		fmt.Fprintf(w, "  %-24s version %d, root %s\n", one.ID, one.Version, one.Root)
	}
	if len(m.Copied) > 0 {
		fmt.Fprintf(w, "Copied besides, which is no part of the ledger: %s.\n", strings.Join(m.Copied, ", "))
	}
	if len(m.Left) > 0 && to.folder != "" {
		fmt.Fprintf(w, "NOT copied, because %s holds others of these names: %s.\n", to.folder, strings.Join(m.Left, ", "))
	}
	if len(m.Left) > 0 && to.folder == "" {
		fmt.Fprintf(w, "NOT copied, because they are no part of the ledger: %s. Copy them into the folder of each node, or move again with --node FOLDER.\n", strings.Join(m.Left, ", "))
	}
	if m.OtherPeople {
		fmt.Fprintf(w, "The accounts were NOT copied, because %s has others.\n", m.To)
	}
	if m.NoKey {
		fmt.Fprintf(w, "There is NO signing key in %s, and none was found in %s. If the registry has one, copy %s and %s there before anything is signed, or move again with --key-folder.\n", to.key, from.key, keyFile, publicKeyFile)
	}
	switch {
	case from.folder != "":
	case from.key != "":
		fmt.Fprintln(w, "The settings of a cluster lie in the folders of its nodes: none were copied. Move again with --node FOLDER, or copy them by hand.")
	default:
		fmt.Fprintln(w, "The key and the settings of a cluster lie in the folders of its nodes: none were copied. Move again with --node FOLDER, or copy them by hand.")
	}
	switch {
	case from.cluster != "":
		fmt.Fprintf(w, "%s stays as it is, and nothing marks it as left: stop its nodes, and do not work there any more.\n", m.From)
	default:
		fmt.Fprintf(w, "%s stays as it is and is marked as left, in %s: the program does not open it any more. A registry must not go on in two places.\n", m.From, leftFile)
	}
}

// mostMachines is how many machines a person is shown.
const mostMachines = 20

// side is one end of a move: a folder, or a cluster with the folder of a node.
type side struct {
	move.Side
	cluster string // its address, "" for a folder
	folder  string // "" for a cluster without one
	key     string // folder of the signing key, "" where none is known
	people  access.Store
	close   func() error
}

// Files that say how far a move came. While movingFile stands in a folder, or
// leftFile, the program does not open the registry in it.
const (
	movingFile = "moving"
	leftFile   = "moved-away.txt"
	hookFolder = "hooks"
)

func isCluster(place string) bool { return strings.Contains(place, "://") }

// same says whether two places are one.
func (c *call) same(a, b string) bool {
	if isCluster(a) || isCluster(b) {
		return a == b
	}
	x, errX := os.Stat(a)
	y, errY := os.Stat(b)
	return errX == nil && errY == nil && os.SameFile(x, y)
}

// openSide opens a registry that is there.
func (c *call) openSide(place, nodeFolder string) (*side, error) {
	if isCluster(place) {
		return c.openCluster(place, nodeFolder)
	}
	if !holdsRegistry(place) {
		return nil, registry.Refuse(registry.CodeNotFound, "Check the path.", "There is no registry in the folder %s", place)
	}
	return c.openFolder(place)
}

// openTarget opens where a registry is to be, making the folder when there is
// none.
func (c *call) openTarget(place, nodeFolder string) (*side, error) {
	if isCluster(place) {
		return c.openCluster(place, nodeFolder)
	}
	if node.IsCopy(place) {
		return nil, registry.Refuse(registry.CodeConflict, "Choose a new folder.", "The folder %s holds a node's copy of a registry that a cluster keeps", place)
	}
	files, err := os.ReadDir(place)
	if err == nil && len(files) > 0 && !holdsRegistry(place) {
		return nil, registry.Refuse(registry.CodeConflict, "Choose a new folder, or one that holds a registry.", "The folder %s is not empty and holds no registry", place)
	}
	if err := os.MkdirAll(place, 0o700); err != nil {
		return nil, registry.Refuse(registry.CodeInvalid, "Choose another folder.", "The folder %s cannot be made: %v", place, errors.Unwrap(err))
	}
	return c.openFolder(place)
}

func holdsRegistry(folder string) bool { return exists(filepath.Join(folder, "ledger")) }

func exists(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}

func (c *call) openFolder(path string) (*side, error) {
	s, err := store.Open(path, store.Options{Warn: func(m string) { fmt.Fprintf(c.Stderr, "asfound: storage: %s\n", m) }})
	if registry.CodeOf(err) == registry.CodeBusy {
		var e *registry.Error
		errors.As(err, &e)
		return nil, registry.Refuse(registry.CodeBusy, "A move needs both ends for itself: stop the program that uses it.", "%s", e.Message)
	}
	if err != nil {
		return nil, err
	}
	return &side{move.Side{Name: path, Ledger: s.Ledger(), Photos: s.Photos(), Private: s.Private()}, "", path, path, c.peopleIn(path, ""), s.Close}, nil
}

func (c *call) openCluster(servers, nodeFolder string) (*side, error) {
	s, err := jetstream.Open(c.ctx, servers, jetstream.Options{Name: "asfound move", Warn: func(m string) { fmt.Fprintf(c.Stderr, "asfound: cluster: %s\n", m) }})
	if err != nil {
		return nil, err
	}
	out := &side{move.Side{Name: jetstream.HideSecrets(servers), Ledger: s.Ledger(), Photos: s.Photos(), Private: store.NewVault(s.Private(), s.Keys(), nil)}, servers, nodeFolder, cmp.Or(c.line.KeyFolder, nodeFolder), c.peopleIn("", servers), s.Close}
	if c.line.Blobs == "" {
		return out, nil
	}
	photos, private, err := openShared(c.line.Blobs)
	if err != nil {
		return nil, errors.Join(err, s.Close())
	}
	out.Photos, out.Private = photos, private
	out.close = func() error { return errors.Join(photos.Close(), private.Close(), s.Close()) }
	return out, nil
}

// begin says in the folder that a move into it is under way.
func (s *side) begin() error {
	if s.cluster != "" {
		return nil
	}
	return writeFile(filepath.Join(s.folder, movingFile), func(w io.Writer) error {
		_, err := io.WriteString(w, "A registry is being moved into this folder.\n")
		return err
	})
}

// arrived takes away what says that a move into the folder is under way.
func (s *side) arrived() error {
	if s.cluster != "" {
		return nil
	}
	for _, name := range []string{leftFile, movingFile} {
		if err := os.Remove(filepath.Join(s.folder, name)); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
	}
	return syncDir(s.folder)
}

// left says in the folder where the registry went.
func (s *side) left(c *call, m moved) error {
	if s.cluster != "" {
		return nil
	}
	return writeFile(filepath.Join(s.folder, leftFile), func(w io.Writer) error {
		_, err := fmt.Fprintf(w, "On %s this registry was moved to\n%s\nAll machines together had the digest\n%s\n", c.Now().UTC().Format("2 January 2006 15:04 UTC"), m.To, m.Digest)
		return err
	})
}

// refuseMoved refuses a folder from which a registry was moved away, so that it
// does not go on in two places, and one into which a move is not done.
func refuseMoved(folder string) error {
	if text, err := os.ReadFile(filepath.Join(folder, leftFile)); err == nil {
		return registry.Refuse(registry.CodeConflict, "Work there. To go on here instead, and never again there, take the file "+leftFile+" away.",
			"The registry in %s was moved away: %s", folder, strings.Join(strings.Fields(string(text)), " "))
	}
	if exists(filepath.Join(folder, movingFile)) {
		return registry.Refuse(registry.CodeConflict, "Start the same move again: it adds what is missing.", "A move into %s was begun and is not done", folder)
	}
	return nil
}
