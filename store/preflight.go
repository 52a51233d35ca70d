package store

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/dgraph-io/badger/v4"
	"github.com/dgraph-io/badger/v4/options"
	"github.com/dgraph-io/badger/v4/table"
	"github.com/dgraph-io/ristretto/v2/z"

	"example.org/asfound/registry"
)

// What is looked at before Badger is let at its folder. Badger trusts its
// MANIFEST: it starts empty when there is none, and it deletes every table that
// the MANIFEST does not name. A table that was cut short makes it panic in a
// goroutine of its own, where nothing can catch it.

const (
	ledgerFolder   = "ledger"
	sealName       = "sealed.json"
	setAsideFolder = "set-aside"

	// verifyTablesBelow is the size of all tables, in bytes, up to which every
	// block of them is checked at each opening. Above it only their indexes are.
	verifyTablesBelow = 16 << 20
)

// sealFile lists what the ledger folder held when it was closed in good order.
// It is removed before the folder is opened again.
type sealFile struct {
	Format int          `json:"format"`
	Files  []sealedFile `json:"files"`
}

type sealedFile struct {
	Name   string `json:"name"`
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256,omitempty"` // of the small files only
}

// preflight is what was found.
type preflight struct {
	fresh   bool // there is no ledger yet
	sealed  bool // the ledger was closed in good order
	orphans int  // tables that the MANIFEST does not name
}

// look checks the folder without changing anything.
func look(dir string, o badger.Options, verifyBelow int64) (preflight, error) {
	var p preflight
	folder := filepath.Join(dir, ledgerFolder)
	names, err := listFiles(folder)
	if err != nil {
		return p, err
	}
	_, headErr := os.Stat(headPath(dir))
	if len(names) == 0 && errors.Is(headErr, fs.ErrNotExist) {
		p.fresh = true
		return p, nil
	}
	if _, ok := names[badger.ManifestFilename]; !ok {
		for name := range names {
			if strings.HasSuffix(name, ".sst") || headErr == nil {
				return p, damaged("The file MANIFEST is missing from %s", folder)
			}
		}
		if headErr == nil {
			return p, damaged("The ledger is missing from %s", folder)
		}
		p.fresh = true // a first opening that was cut off before it wrote anything
		return p, nil
	}
	if err := checkFormat(folder); err != nil {
		return p, err
	}
	if p.sealed, err = checkSeal(dir, names); err != nil {
		return p, err
	}
	p.orphans, err = checkTables(folder, names, o, verifyBelow)
	return p, err
}

// listFiles gives name and size of what lies in a folder.
func listFiles(folder string) (map[string]int64, error) {
	entries, err := os.ReadDir(folder)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, internal("reading "+folder, err)
	}
	names := map[string]int64{}
	for _, e := range entries {
		info, err := e.Info()
		if err != nil {
			return nil, internal("reading "+folder, err)
		}
		names[e.Name()] = info.Size()
	}
	return names, nil
}

// checkFormat reads the two numbers at the beginning of the MANIFEST: "Bdgr",
// our format number, Badger's own number.
func checkFormat(folder string) error {
	const badgerNumber = 8
	f, err := os.Open(filepath.Join(folder, badger.ManifestFilename))
	if err != nil {
		return internal("opening the MANIFEST", err)
	}
	defer f.Close()
	var head [8]byte
	if n, _ := f.Read(head[:]); n < len(head) || string(head[:4]) != "Bdgr" {
		return damaged("The file MANIFEST in %s is not one", folder)
	}
	found, engine := binary.BigEndian.Uint16(head[4:]), binary.BigEndian.Uint16(head[6:])
	if found == FormatNumber && engine == badgerNumber {
		return nil
	}
	fix := "Open it with the program that wrote it and export each machine, then bring the exports into a new registry."
	if found > FormatNumber || engine > badgerNumber {
		fix = "Use a newer asfound."
	}
	if found == FormatNumber {
		return registry.Refuse(registry.CodeUnsupported, fix,
			"The registry in %s is stored by engine version %d; this program reads engine version %d", folder, engine, badgerNumber)
	}
	return registry.Refuse(registry.CodeUnsupported, fix,
		"The registry in %s has format %d; this program reads format %d", folder, found, FormatNumber)
}

// checkSeal compares the folder with the list that was made when it was closed.
func checkSeal(dir string, names map[string]int64) (sealed bool, err error) {
	data, err := os.ReadFile(filepath.Join(dir, sealName))
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, internal("reading "+sealName, err)
	}
	var s sealFile
	if json.Unmarshal(data, &s) != nil {
		return false, damaged("The file %s in %s cannot be read", sealName, dir)
	}
	listed := map[string]bool{}
	for _, f := range s.Files {
		listed[f.Name] = true
		size, ok := names[f.Name]
		if !ok {
			return false, damaged("The file %s is missing from %s", f.Name, filepath.Join(dir, ledgerFolder))
		}
		if size != f.Bytes {
			return false, damaged("The file %s in %s has %d bytes; when it was closed it had %d",
				f.Name, filepath.Join(dir, ledgerFolder), size, f.Bytes)
		}
		if f.SHA256 == "" {
			continue
		}
		digest, err := fileDigest(filepath.Join(dir, ledgerFolder, f.Name))
		if err != nil {
			return false, err
		}
		if digest != f.SHA256 {
			return false, damaged("The file %s in %s was changed since it was closed", f.Name, filepath.Join(dir, ledgerFolder))
		}
	}
	for name := range names {
		if sealable(name) && !listed[name] {
			return false, damaged("The file %s in %s was not there when it was closed", name, filepath.Join(dir, ledgerFolder))
		}
	}
	return true, nil
}

// sealable says whether a file matters: the value log stays empty here, and
// Badger makes DISCARD and LOCK anew.
func sealable(name string) bool {
	return name == badger.ManifestFilename || name == badger.KeyRegistryFileName ||
		strings.HasSuffix(name, ".sst") || strings.HasSuffix(name, ".mem")
}

func fileDigest(path string) (string, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return "", internal("reading a stored file", err)
	}
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:]), nil
}

// writeSeal makes the list of a folder that was closed in good order.
func writeSeal(dir string) error {
	folder := filepath.Join(dir, ledgerFolder)
	names, err := listFiles(folder)
	if err != nil {
		return err
	}
	s := sealFile{Format: FormatNumber}
	for name, size := range names {
		if !sealable(name) {
			continue
		}
		f := sealedFile{Name: name, Bytes: size}
		if !strings.HasSuffix(name, ".sst") {
			if f.SHA256, err = fileDigest(filepath.Join(folder, name)); err != nil {
				return err
			}
		}
		s.Files = append(s.Files, f)
	}
	data, err := json.MarshalIndent(s, "", " ")
	if err != nil {
		return err
	}
	return writeAtomically(filepath.Join(dir, sealName), append(data, '\n'))
}

// breakSeal removes the list before anything is changed.
func breakSeal(dir string) error {
	err := os.Remove(filepath.Join(dir, sealName))
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return errors.Join(err, syncDirectory(dir))
}

// manifestTables gives the tables that the MANIFEST names.
func manifestTables(folder string, o badger.Options) (map[uint64]badger.TableManifest, error) {
	f, err := os.Open(filepath.Join(folder, badger.ManifestFilename))
	if err != nil {
		return nil, internal("opening the MANIFEST", err)
	}
	defer f.Close()
	var m badger.Manifest
	err = guarded("Reading the MANIFEST", func() error {
		m, _, err = badger.ReplayManifestFile(f, FormatNumber, o)
		return err
	})
	if err != nil {
		return nil, damaged("The file MANIFEST in %s cannot be read: %s", folder, firstLine(err))
	}
	return m.Tables, nil
}

// checkTables opens every table once, where a panic can be caught.
func checkTables(folder string, names map[string]int64, o badger.Options, verifyBelow int64) (orphans int, err error) {
	tables, err := manifestTables(folder, o)
	if err != nil {
		return 0, err
	}
	var total int64
	for id := range tables {
		name := table.IDToFilename(id)
		size, ok := names[name]
		if !ok {
			return 0, damaged("The file %s is missing from %s", name, folder)
		}
		total += size
	}
	topt := table.Options{ChkMode: options.NoVerification, BlockSize: o.BlockSize}
	if total <= verifyBelow {
		topt.ChkMode = options.OnTableRead
	}
	for id, t := range tables {
		topt.Compression = t.Compression
		path := filepath.Join(folder, table.IDToFilename(id))
		err := guarded("Reading "+path, func() error {
			m, err := z.OpenMmapFile(path, os.O_RDONLY, 0)
			if err != nil {
				return err
			}
			t, err := table.OpenTable(m, topt)
			if err != nil {
				return err
			}
			return t.Close(-1)
		})
		if err != nil {
			return 0, damaged("The file %s is damaged: %s", path, firstLine(err))
		}
	}
	for name := range names {
		if id, ok := table.ParseFileID(name); ok && strings.HasSuffix(name, ".sst") {
			if _, named := tables[id]; !named {
				orphans++
			}
		}
	}
	return orphans, nil
}

// dropEmptyLogs removes value logs and write-ahead files of no length. Badger makes a file and then
// gives it its length; when it is stopped in between, it cannot open its folder
// any more. Such a file never held anything.
func dropEmptyLogs(dir string) error {
	folder := filepath.Join(dir, ledgerFolder)
	names, err := listFiles(folder)
	if err != nil {
		return err
	}
	for name, size := range names {
		if size != 0 || !strings.HasSuffix(name, ".vlog") && !strings.HasSuffix(name, ".mem") {
			continue
		}
		if err := errors.Join(os.Remove(filepath.Join(folder, name)), syncDirectory(folder)); err != nil {
			return internal("removing "+name+", which is empty", err)
		}
	}
	return nil
}

// setAside keeps what Badger would shorten or delete while it recovers from an
// unclean end: the write-ahead files, the MANIFEST, and tables that the
// MANIFEST does not name. The folder is dropped when the ledger proves whole.
// What an earlier opening put there is never replaced.
func setAside(dir string, o badger.Options) error {
	target, folder := filepath.Join(dir, setAsideFolder), filepath.Join(dir, ledgerFolder)
	if _, err := os.Stat(target); err == nil {
		return nil
	}
	temp := target + ".new"
	if err := errors.Join(os.RemoveAll(temp), os.Mkdir(temp, 0o700)); err != nil {
		return internal("making "+setAsideFolder, err)
	}
	names, err := listFiles(folder)
	if err != nil {
		return err
	}
	tables, err := manifestTables(folder, o)
	if err != nil {
		return err
	}
	for name := range names {
		id, isTable := table.ParseFileID(name)
		_, named := tables[id]
		orphan := isTable && strings.HasSuffix(name, ".sst") && !named
		if orphan || name == badger.ManifestFilename || strings.HasSuffix(name, ".mem") {
			if err := copySparse(filepath.Join(folder, name), filepath.Join(temp, name)); err != nil {
				return internal("copying "+name+" aside", err)
			}
		}
	}
	return internal("making "+setAsideFolder, errors.Join(os.Rename(temp, target), syncDirectory(dir)))
}
