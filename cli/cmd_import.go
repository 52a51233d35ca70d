package cli

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"example.org/asfound/importers"
	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

type importCommand struct {
	Files      []string `arg:"" optional:"" name:"file" help:"survey sheets, lists (CSV, XLSX), records (JSON), or folders of photos"`
	Machine    string   `help:"the machine, for rows that name none"`
	Sheet      string   `help:"what the file is, when it cannot be told from its headings: survey, evidence, joints, parts, removed, sales or json"`
	Page       string   `help:"page of a workbook; the first when left out"`
	Encoding   string   `help:"encoding of a CSV file that is not UTF-8, such as windows-1252"`
	Mapping    string   `help:"a saved mapping, for a table with headings of its own; see asfound mapping"`
	By         string   `help:"person id for rows that name nobody; --as when left out"`
	AcceptGood bool     `help:"record the good rows and save the bad ones, with the reasons, beside the file"`
	Rejected   string   `type:"path" help:"where the bad rows are saved; beside the file, as survey.rejected.csv for survey.csv, when left out"`
	DryRun     bool     `help:"check everything and record nothing"`
	Template   string   `type:"path" help:"write an empty sheet here instead, such as survey.xlsx or evidence.csv"`
}

// Run reads files into records.
func (i *importCommand) Run(c *call) error {
	if i.Template != "" {
		return i.template(c)
	}
	if len(i.Files) == 0 {
		return registry.Refuse(registry.CodeInvalid, "Name a file, or write an empty sheet with --template survey.xlsx.", "It is not said what to import")
	}
	if c.Getenv("GOGC") == "" {
		defer collectEvery(24 << 20)()
	}
	reports := []fileReport{}
	for _, file := range i.Files {
		r, err := i.one(c, file)
		if err != nil {
			return errors.Join(c.printImports(reports), err)
		}
		reports = append(reports, r)
	}
	return c.printImports(reports)
}

// fileReport says what became of one file.
type fileReport struct {
	File string `json:"file"`
	workshop.ImportReport
	Warnings     []registry.Field `json:"warnings,omitempty"`
	RejectedFile string           `json:"rejected_file,omitempty"`
	DryRun       bool             `json:"dry_run,omitempty"`
}

func (c *call) printImports(reports []fileReport) error {
	if len(reports) == 0 {
		return nil
	}
	return c.print(reports, func(w io.Writer) {
		for _, r := range reports {
			verb := "recorded"
			if r.DryRun {
				verb = "would be recorded"
				r.Recorded = r.Rows - r.Rejected - r.Already
			}
			fmt.Fprintf(w, "%s: %d records, %d %s", r.File, r.Rows, r.Recorded, verb)
			if r.Already > 0 {
				fmt.Fprintf(w, ", %d already there", r.Already)
			}
			if r.Rejected > 0 {
				fmt.Fprintf(w, ", %d rejected and saved to %s", r.Rejected, r.RejectedFile)
			}
			fmt.Fprintln(w, ".")
			for _, warning := range r.Warnings {
				fmt.Fprintf(w, "  note: %s\n", warning)
			}
		}
	})
}

func (i *importCommand) one(c *call, file string) (fileReport, error) {
	out := fileReport{File: file, DryRun: i.DryRun}
	info, err := os.Stat(file)
	if err != nil {
		return out, registry.Refuse(registry.CodeNotFound, "Check the name.", "There is no file %s", file)
	}
	o, err := c.open()
	if err != nil {
		return out, err
	}
	if info.IsDir() {
		return i.photos(c, o, file)
	}
	if info.Size() > importers.DefaultMaxJSON {
		// No kind of file may be larger, and none is read to find that out.
		return out, registry.Refuse(registry.CodeTooLarge, "Split it into several files.", "%s is larger than %d MiB", file, importers.DefaultMaxJSON>>20)
	}
	as, err := c.mappingBytes(i.Mapping)
	if err != nil {
		return out, err
	}
	digest, err := fileDigest(file, as)
	if err != nil {
		return out, err
	}
	bar := c.progress("rows")
	req := workshop.ImportRequest{Machine: i.Machine, Actor: c.line.As, Digest: digest, AcceptGood: i.AcceptGood, DryRun: i.DryRun, Progress: bar.at}
	rejected := newRejectedFile(i.Rejected, file, i.AcceptGood && !i.DryRun)
	so := sourceOptions{sheet: i.Sheet, page: i.Page, encoding: i.Encoding, by: i.By, mapping: i.Mapping, report: func(r importers.Report) {
		out.Warnings = r.Warnings
		rejected.headings = r.Headings
	}}
	req.Rejected = rejected.write
	out.ImportReport, err = o.Import(c.ctx, req, func(ctx context.Context, fn func(workshop.Draft) error) error {
		return c.eachDraft(ctx, file, so, fn)
	})
	bar.end()
	if closeErr := rejected.close(); err == nil {
		err = closeErr
	}
	out.RejectedFile = rejected.name
	return out, err
}

// sourceOptions say how a file is to be read.
type sourceOptions struct {
	sheet, page, encoding, by, mapping string
	report                             func(importers.Report)
}

// eachDraft reads a file of records.
func (c *call) eachDraft(ctx context.Context, file string, so sourceOptions, fn func(workshop.Draft) error) error {
	f, err := openInput(file)
	if err != nil {
		return err
	}
	defer f.Close()
	return c.eachDraftOf(ctx, f, filepath.Base(file), so, fn)
}

// openInput opens a file that was named to be read.
func openInput(name string) (*os.File, error) {
	info, err := os.Stat(name)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, registry.Refuse(registry.CodeNotFound, "Check the name.", "There is no file %s", name)
	case err == nil && info.IsDir():
		return nil, registry.Refuse(registry.CodeInvalid, "Name a file.", "%s is a folder", name)
	}
	f, err := os.Open(name)
	if err != nil {
		return nil, registry.Refuse(registry.CodeInvalid, "Check the name and its rights.", "%s cannot be opened: %v", name, errors.Unwrap(err))
	}
	return f, nil
}

func (c *call) eachDraftOf(ctx context.Context, f io.ReadSeeker, name string, so sourceOptions, fn func(workshop.Draft) error) error {
	o, err := c.open()
	if err != nil {
		return err
	}
	opts := importers.Options{File: name, By: orElse(so.by, c.line.As), Anatomy: o.anatomy(), Validator: o.Schemas, Sheet: so.page, Encoding: so.encoding}
	if so.mapping != "" {
		m, err := c.mapping(so.mapping)
		if err != nil {
			return err
		}
		opts.Mapping, so.sheet = &m, m.Sheet
	}
	var importer importers.Importer
	if so.sheet != "" {
		importer, err = importers.Named(so.sheet)
	} else {
		importer, err = importers.Detect(f, opts)
	}
	if err != nil {
		return err
	}
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return err
	}
	source, err := importer.Open(f, opts)
	if err != nil {
		return err
	}
	if so.report != nil {
		so.report(source.Report())
	}
	err = source.Each(func(d importers.Draft) error {
		if err := ctx.Err(); err != nil {
			return err
		}
		return fn(workshop.Draft(d))
	})
	if so.report != nil {
		so.report(source.Report())
	}
	return errors.Join(err, source.Close())
}

// inventory reads a sheet of what came with a machine.
func (c *call) inventory(name string) (items []registry.InventoryItem, err error) {
	err = wholeSheet(c, name, importers.ReadInventory, func(d importers.InventoryDraft) []registry.Field {
		items = append(items, d.Item)
		return d.Faults
	})
	return items, err
}

// wholeSheet reads a sheet whose rows make one record: all of them, or nothing.
// take is given each row and answers with what is wrong with it.
func wholeSheet[D any](c *call, name string, read func(io.ReadSeeker, importers.Options, func(D) error) (importers.Report, error), take func(D) []registry.Field) (err error) {
	o, err := c.open()
	if err != nil {
		return err
	}
	f, err := openInput(name)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	var faults []registry.Field
	_, err = read(f, importers.Options{File: filepath.Base(name), By: c.line.As, Anatomy: o.anatomy(), Validator: o.Schemas}, func(d D) error {
		faults = append(faults, take(d)...)
		return c.ctx.Err()
	})
	if err == nil && len(faults) > 0 {
		err = &registry.Error{Code: registry.CodeInvalid, Message: filepath.Base(name) + " cannot be recorded, and nothing was: " + faults[0].String(), Fix: "Mend the rows listed.", Fields: faults}
	}
	return err
}

// fileDigest is the digest of a file and of how it is read.
func fileDigest(name string, as []byte) (string, error) {
	f, err := os.Open(name)
	if err != nil {
		return "", err
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return "", err
	}
	h.Write(as)
	return hex.EncodeToString(h.Sum(nil)), nil
}

// rejectedFile saves bad rows; it is made when the first one comes.
type rejectedFile struct {
	name     string
	wanted   bool
	headings []string
	f        *os.File
	w        *importers.RejectedWriter
}

func newRejectedFile(name, of string, wanted bool) *rejectedFile {
	if name == "" {
		name = strings.TrimSuffix(of, filepath.Ext(of)) + ".rejected.csv"
	}
	return &rejectedFile{name: name, wanted: wanted}
}

func (r *rejectedFile) write(d workshop.Draft) error {
	if !r.wanted {
		return nil
	}
	if r.f == nil {
		f, err := os.OpenFile(r.name, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
		if err != nil {
			return registry.Refuse(registry.CodeInvalid, "Name another place with --rejected.", "The bad rows cannot be saved to %s", r.name)
		}
		r.f, r.w = f, importers.NewRejectedWriter(f, r.headings)
	}
	return r.w.Write(importers.Draft(d))
}

func (r *rejectedFile) close() error {
	if r.f == nil {
		r.name = ""
		return nil
	}
	return errors.Join(r.w.Flush(), r.f.Sync(), r.f.Close())
}

func (i *importCommand) template(c *call) error {
	format := strings.ToLower(strings.TrimPrefix(filepath.Ext(i.Template), "."))
	kind := orElse(i.Sheet, strings.TrimSuffix(filepath.Base(i.Template), filepath.Ext(i.Template)))
	// A template needs the anatomy and no registry.
	knowledge, err := c.loadCatalog()
	if err != nil {
		return err
	}
	// The sheet of that name may be filled in already.
	if _, err := os.Lstat(i.Template); err == nil {
		return registry.Refuse(registry.CodeInvalid, "Choose another name, or take the file away first.", "%s is there already; it may have been filled in, and is left as it is", i.Template)
	}
	if err := writeFile(i.Template, func(w io.Writer) error { return importers.WriteTemplate(w, kind, format, anatomyOf(knowledge)) }); err != nil {
		return err
	}
	return c.print(map[string]string{"template": i.Template}, printer("Written: "+i.Template))
}
