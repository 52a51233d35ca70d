package server

import (
	"bytes"
	"crypto/rand"
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"io"
	"mime/multipart"
	"net/http"
	"strings"
	"sync"

	"github.com/go-chi/chi/v5"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// ImportPage takes in a survey sheet and reports on it.
type ImportPage struct {
	Base
	Form   Form
	Result *ImportResult
	// Mappings says that columns of other tables can be mapped.
	Mappings bool
}

// ImportResult is what became of a sheet.
type ImportResult struct {
	workshop.ImportReport
	File     string
	Recorded bool // something was recorded, or would have been without faults
	Only     bool // it was only looked at
	Faults   []registry.Field
	Hidden   int    // faults that the page does not list
	Rejected string // address of the file of rejected rows
}

// maxSheet is the largest sheet taken in by a page, in bytes.
const maxSheet = 64 << 20

// faultsShown is how many faults the page lists.
const faultsShown = 200

func (s *Server) importForm(r *http.Request) (Form, error) {
	machine, _, err := s.machineField(r)
	if err != nil {
		return Form{}, err
	}
	mapping, err := s.mappingField()
	if err != nil {
		return Form{}, err
	}
	return Form{Action: "/import", Button: "Read this sheet", Kind: "multipart", Key: newKey(), Parts: []FormPart{{Fields: []Field{
		{Name: "sheet", Label: "Survey sheet", Kind: "file", Accept: ".csv,.xlsx,.json", Hint: "CSV or XLSX, up to " + bytesWords(maxSheet) + "."},
		machine, mapping,
		{Name: "by", Label: "Who surveyed", Kind: "short", Value: custodianID, Hint: "The id of a person of that record, for rows that do not say so.", Pointers: []string{"/by"}},
		{Name: "how", Label: "What to do with it", Kind: "radios", Value: "look", Choices: []Choice{
			{"look", "Only look", "report what is wrong, record nothing"},
			{"all", "Record it if every row is good", "one bad row, and nothing is recorded"},
			{"good", "Record the good rows", "the bad ones come back as a file to mend"}}},
	}}}}, nil
}

func pageImportForm(s *Server, r *http.Request) (answer, error) {
	form, err := s.importForm(r)
	if err != nil {
		return nil, err
	}
	if m := r.URL.Query().Get("machine"); m != "" {
		form.Parts[0].Fields[1].Value = m
	}
	return s.importAnswer(form, nil, 0), nil
}

func (s *Server) importAnswer(form Form, result *ImportResult, status int) answer {
	page := ImportPage{Base: Base{Title: "Take in a survey sheet", Version: s.Version, Crumbs: []Crumb{{"Machines", "/"}}}, Form: form, Result: result, Mappings: s.Mappings != nil}
	page.Wrong = len(form.Summary()) > 0
	return htmlAnswer{status: status, name: "import", page: page}
}

func pageImportPost(s *Server, r *http.Request) (answer, error) {
	if s.ReadSheet == nil {
		return nil, notOffered("Taking in sheets")
	}
	form, err := s.importForm(r)
	if err != nil {
		return nil, err
	}
	if err := r.ParseMultipartForm(8 << 20); err != nil {
		return nil, readFailed(err)
	}
	defer r.MultipartForm.RemoveAll()
	t := &typed{Values: r.MultipartForm.Value, comma: decimalComma(r)}
	form.fill(t.Values)
	file, head, err := r.FormFile("sheet")
	if err != nil {
		form.Parts[0].Fields[0].Error = "Choose a file."
		return s.importAnswer(form, nil, http.StatusUnprocessableEntity), nil
	}
	defer file.Close()
	if head.Size == 0 {
		form.Parts[0].Fields[0].Error = "The file is empty. Choose another."
		return s.importAnswer(form, nil, http.StatusUnprocessableEntity), nil
	}
	result, err := s.importSheet(r, t, file, head.Filename)
	if result == nil && err != nil {
		if !mendable(err) {
			return nil, err
		}
		form.refuse(err)
		return s.importAnswer(form, nil, rowOf(codeOf(err)).status), nil
	}
	form.Key = newKey()
	if err != nil {
		return s.importAnswer(form, result, rowOf(codeOf(err)).status), nil
	}
	return s.importAnswer(form, result, 0), nil
}

// importSheet reads a sheet. When its rows have faults there are both a result
// and an error.
func (s *Server) importSheet(r *http.Request, t *typed, file multipart.File, name string) (*ImportResult, error) {
	sum := sha256.New()
	if _, err := io.Copy(sum, file); err != nil {
		return nil, err
	}
	if _, err := file.Seek(0, io.SeekStart); err != nil {
		return nil, err
	}
	sheet, err := s.ReadSheet(file, name, t.text("machine"), t.text("by"), t.text("mapping"))
	if err != nil {
		return nil, err
	}
	sum.Write(sheet.As)
	how := t.text("how")
	var rejected bytes.Buffer
	out := csv.NewWriter(&rejected)
	if len(sheet.Header) > 0 {
		out.Write(guarded(append([]string{"row", "what is wrong"}, sheet.Header...)))
	}
	req := workshop.ImportRequest{Machine: t.text("machine"), Actor: t.text("by"), Digest: hex.EncodeToString(sum.Sum(nil)),
		AcceptGood: how == "good", DryRun: how != "good" && how != "all", Rejected: func(d workshop.Draft) error {
			var faults []string
			for _, f := range d.Faults {
				f.File, f.Row = "", 0
				faults = append(faults, f.String())
			}
			return out.Write(guarded(append([]string{itoa(d.Row), strings.Join(faults, "; ")}, d.Cells...)))
		}}
	report, err := s.Workshop.Import(r.Context(), req, sheet.Source)
	if err != nil && (codeOf(err) != registry.CodeInvalid || report.Rejected == 0) {
		return nil, err
	}
	result := &ImportResult{ImportReport: report, File: name, Only: req.DryRun, Recorded: report.Recorded > 0, Faults: report.Faults}
	if len(result.Faults) > faultsShown {
		result.Faults = result.Faults[:faultsShown]
	}
	result.Hidden = len(report.Faults) + report.More - len(result.Faults)
	if out.Flush(); report.Rejected > 0 {
		result.Rejected = "/import/rejected/" + s.rejected.keep(rejected.Bytes())
	}
	return result, err
}

// guarded keeps a spreadsheet from taking a cell for a formula.
func guarded(cells []string) []string {
	out := make([]string, len(cells))
	for i, c := range cells {
		if c != "" && strings.ContainsRune("=+-@\t\r", rune(c[0])) {
			c = "'" + c
		}
		out[i] = c
	}
	return out
}

// rejectedRows keeps the latest files of rejected rows in memory until they
// are fetched.
type rejectedRows struct {
	mu    sync.Mutex
	files map[string][]byte
	order []string
}

const keptRejected = 8

func (k *rejectedRows) keep(file []byte) string {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.files == nil {
		k.files = map[string][]byte{}
	}
	id := strings.ToLower(rand.Text())
	k.files[id] = file
	k.order = append(k.order, id)
	if len(k.order) > keptRejected {
		delete(k.files, k.order[0])
		k.order = k.order[1:]
	}
	return id
}

func (k *rejectedRows) get(id string) ([]byte, bool) {
	k.mu.Lock()
	defer k.mu.Unlock()
	f, ok := k.files[id]
	return f, ok
}

func pageRejected(s *Server, r *http.Request) (answer, error) {
	file, ok := s.rejected.get(chi.URLParam(r, "file"))
	if !ok {
		return nil, registry.Refuse(registry.CodeNotFound, "Read the sheet again.", "The file of rejected rows is no longer kept")
	}
	return bytesAnswer{mediaType: "text/csv; charset=utf-8", body: file, attachment: "rejected-rows.csv"}, nil
}
