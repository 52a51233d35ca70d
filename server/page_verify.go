package server

import (
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"strings"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// BundleQuestion is a bundle to check, with what it is compared with. Older and
// Checkpoint are empty when there is nothing older.
type BundleQuestion struct {
	Bundle, Older         io.ReaderAt
	BundleSize, OlderSize int64
	Checkpoint            []byte // the text of an earlier checkpoint
	Key                   string // a public key line, or a fingerprint
}

// BundleAnswer is what a check of a bundle came to.
type BundleAnswer struct {
	Good bool
	// Read says that the file is a bundle at all.
	Read                           bool
	Name, Machine, Edition         string
	Events                         int
	From, To                       string // when the first and the last event were recorded
	Head, Root, Fingerprint        string
	KeyKnown                       bool // the key is the one that the asker expects
	Continues                      string
	Checks                         []BundleCheck
	Notes                          []string
	Photos, WithheldPhotos, Values int
	// Report is the public edition of the machine, read out of a bundle in
	// which nothing was found; nil for any other.
	Report *workshop.Report
}

// BundleCheck is one thing that was compared.
type BundleCheck struct {
	What string
	// State is "passed", "failed" or "not made".
	State    string
	Findings []BundleFinding
}

// BundleFinding is one thing that is not as it was made.
type BundleFinding struct{ Where, What string }

// VerifyPage asks for a bundle and says what was found.
type VerifyPage struct {
	Base
	Form   Form
	Answer *BundleAnswer
	File   string
	// Original and Undecided count the components of the bundle's machine whose
	// origin is told as original, and whose origin is open.
	Original, Undecided int
	Scales              []Scale
}

// bundleLimit is the largest bundle that is checked, in bytes.
func (s *Server) bundleLimit() int64 {
	if s.MaxBundle > 0 {
		return s.MaxBundle
	}
	return maxBundle
}

func (s *Server) verifyForm() Form {
	limit := bytesWords(s.bundleLimit())
	return Form{Action: "/verify", Button: "Check it", Kind: "multipart", Parts: []FormPart{{Fields: []Field{
		{Name: "bundle", Label: "The bundle", Kind: "file", Accept: ".zip,application/zip", Hint: "The file whose name ends in .zip, as you got it, of at most " + limit + ". It is read, checked and forgotten: nothing of it is kept."},
	}}, {Title: "If you have them", Hint: "None of this is needed. Each makes the answer stronger.", Fields: []Field{
		{Name: "older", Label: "An older bundle of the same machine", Kind: "file", Accept: ".zip,application/zip", Hint: "Then it is checked that the later one continues it, and that nothing was rewritten between."},
		{Name: "checkpoint", Label: "Or the text of an earlier checkpoint", Kind: "area", Hint: "The file checkpoint.txt of an older bundle, or what somebody copied from it. A few lines prove as much as the whole bundle."},
		{Name: "expected", Label: "The registry’s public key, or its fingerprint", Kind: "text", Hint: "Got from the registry itself or from paper, and not from the bundle: a forger can put a key of his own there. A fingerprint has sixteen figures, such as 12ab 34cd 56ef 7890."},
	}}}}
}

func pageVerifyForm(s *Server, _ *http.Request) (answer, error) {
	return s.verifyAnswer(VerifyPage{Form: s.verifyForm()}, 0), nil
}

func (s *Server) verifyAnswer(page VerifyPage, status int) answer {
	page.Base = Base{Title: "Check a dossier", Version: s.Version, Crumbs: []Crumb{{"Machines", "/"}}}
	page.Wrong = status != 0
	return htmlAnswer{status: status, name: "verify", page: page}
}

// received is what came with the form: texts by name, and files on disk, without
// names, that last until close.
type received struct {
	texts map[string]string
	files map[string]*os.File
	names map[string]string
	sizes map[string]int64
}

func (u *received) close() {
	for _, f := range u.files {
		f.Close()
	}
}

// maxVerifyText is the longest text of the form, in bytes.
const maxVerifyText = 64 << 10

// receive reads the form as it comes in. A file beyond the limit is read no
// further, and is named in the error, which is CodeTooLarge.
func (s *Server) receive(r *http.Request) (*received, string, error) {
	u := &received{texts: map[string]string{}, files: map[string]*os.File{}, names: map[string]string{}, sizes: map[string]int64{}}
	parts, err := r.MultipartReader()
	if err != nil {
		return u, "", readFailed(err)
	}
	for {
		part, err := parts.NextPart()
		if errors.Is(err, io.EOF) {
			return u, "", nil
		}
		if err != nil {
			return u, "", readFailed(err)
		}
		name := part.FormName()
		switch name {
		case "bundle", "older":
			if part.FileName() == "" || u.files[name] != nil {
				continue
			}
			if err := u.keep(name, part.FileName(), part, s.bundleLimit()); err != nil {
				return u, name, err
			}
		case "checkpoint", "expected":
			text, err := io.ReadAll(io.LimitReader(part, maxVerifyText+1))
			if err != nil {
				return u, name, readFailed(err)
			}
			if len(text) > maxVerifyText {
				return u, name, registry.Refuse(registry.CodeTooLarge, "Paste only the few lines of it.", "The text is longer than %s", bytesWords(maxVerifyText))
			}
			u.texts[name] = strings.TrimSpace(string(text))
		}
	}
}

func (u *received) keep(name, file string, from io.Reader, limit int64) error {
	f, err := nameless()
	if err != nil {
		return err
	}
	u.files[name], u.names[name] = f, file
	u.sizes[name], err = io.Copy(f, io.LimitReader(from, limit+1))
	switch {
	case err != nil:
		return readFailed(err)
	case u.sizes[name] > limit:
		return registry.Refuse(registry.CodeTooLarge, "Check it with “asfound verify” on a computer of your own, which has room for larger ones.", "The file is larger than %s", bytesWords(limit))
	}
	return nil
}

// pageVerifyPost checks what was sent. It lies in temporary files meanwhile.
func pageVerifyPost(s *Server, r *http.Request) (answer, error) {
	if s.CheckBundle == nil {
		return nil, notOffered("Checking bundles")
	}
	u, field, err := s.receive(r)
	defer u.close()
	page := VerifyPage{Form: s.verifyForm()}
	page.Form.fill(map[string][]string{"checkpoint": {u.texts["checkpoint"]}, "expected": {u.texts["expected"]}})
	wrong := func(field, text string, status int) (answer, error) {
		for i := range page.Form.Parts {
			for j := range page.Form.Parts[i].Fields {
				if f := &page.Form.Parts[i].Fields[j]; f.Name == field {
					f.Error = text
				}
			}
		}
		return s.verifyAnswer(page, status), nil
	}
	switch {
	case err != nil && field != "" && codeOf(err) == registry.CodeTooLarge:
		return wrong(field, sentence(messageOf(err)), http.StatusRequestEntityTooLarge)
	case err != nil:
		return nil, err
	case u.files["bundle"] == nil || u.sizes["bundle"] == 0:
		return wrong("bundle", "Choose the bundle: a file whose name ends in .zip, and which is not empty.", http.StatusUnprocessableEntity)
	case u.files["older"] != nil && u.texts["checkpoint"] != "":
		return wrong("checkpoint", "Give the older bundle or the checkpoint, and not both.", http.StatusUnprocessableEntity)
	}
	q := BundleQuestion{Bundle: u.files["bundle"], BundleSize: u.sizes["bundle"], Checkpoint: []byte(u.texts["checkpoint"]), Key: u.texts["expected"]}
	if older := u.files["older"]; older != nil {
		q.Older, q.OlderSize = older, u.sizes["older"]
	}
	found, err := s.CheckBundle(r.Context(), q)
	switch codeOf(err) {
	case registry.CodeInvalid:
		return wrong("expected", sentence(messageOf(err)), http.StatusUnprocessableEntity)
	case registry.CodeUnsupported:
		return wrong("bundle", sentence(messageOf(err)), http.StatusUnprocessableEntity)
	}
	if err != nil {
		return nil, err
	}
	page.Answer, page.File = found, u.names["bundle"]
	page.summarise()
	return s.verifyAnswer(page, 0), nil
}

// summarise counts what the bundle says of its machine.
func (p *VerifyPage) summarise() {
	report := p.Answer.Report
	if report == nil {
		return
	}
	report.Indices.Each(func(name string, x *workshop.IndexReport) { p.Scales = append(p.Scales, drawIndex(name, x)) })
	for _, g := range report.Groups {
		for _, c := range g.Components {
			switch {
			case c.NotFitted:
			case c.Origin.Leading == "original" && c.Origin.Basis == "evidence":
				p.Original++
			case c.Origin.Leading == "" || c.Origin.Basis == "prior":
				p.Undecided++
			}
		}
	}
}

// Failed counts the checks that failed.
func (a *BundleAnswer) Failed() int {
	n := 0
	for _, c := range a.Checks {
		if c.State == "failed" {
			n++
		}
	}
	return n
}

// Verdict is the answer in one sentence.
func (a *BundleAnswer) Verdict() string {
	switch {
	case a.Good && a.KeyKnown:
		return "Unchanged: every byte is as the registry that you know made and signed it."
	case a.Good:
		return "Unchanged since it was signed. Who signed it, you must still find out."
	case !a.Read:
		return "Not a bundle: nothing of it can be checked."
	}
	return fmt.Sprintf("CHANGED: do not rely on it. %s failed.", plural(a.Failed(), "check", "checks"))
}
