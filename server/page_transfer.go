package server

import (
	"cmp"
	"context"
	"io"
	"net/http"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// TakeOverQuestion is a bundle with which a record was handed over.
type TakeOverQuestion struct {
	Bundle io.ReaderAt
	Size   int64
	Trust  string // the giving registry's fingerprint or public key
	Actor  string
}

// TakeOverAnswer says what was taken over.
type TakeOverAnswer struct {
	Machine     string `json:"machine"`
	From        string `json:"from"`
	Fingerprint string `json:"fingerprint"`
	Events      uint64 `json:"events"`
	// Lacks are the catalogs of the recorded figures that are not here.
	Lacks    []string `json:"lacks"`
	Repeated bool     `json:"repeated"`
}

// Count is the number of events.
func (a TakeOverAnswer) Count() int { return int(a.Events) }

// TakeOverPage asks for the bundle, and says what was taken over.
type TakeOverPage struct {
	Base
	Form   Form
	Answer *TakeOverAnswer
}

func (s *Server) takeOverForm() Form {
	return Form{Action: "/take-over", Button: "Take it over", Kind: "multipart", Parts: []FormPart{{Fields: []Field{
		{Name: "bundle", Label: "The bundle with which it was handed over", Kind: "file", Accept: ".zip,application/zip", Hint: "It is verified whole before anything is kept."},
		{Name: "expected", Label: "The giving registry’s fingerprint, or its public key", Kind: "text", Hint: "Got from that registry by another way, such as the telephone: sixteen figures, such as 12ab 34cd 56ef 7890."},
	}}}}
}

func (s *Server) takeOverPage(form Form, status int) TakeOverPage {
	page := TakeOverPage{Base: Base{Title: "Take a record over from another registry", Version: s.Version, Crumbs: []Crumb{{"Machines", "/"}}}, Form: form}
	page.Wrong = status != 0
	return page
}

func pageTakeOver(s *Server, _ *http.Request) (answer, error) {
	return htmlAnswer{name: "take-over", page: s.takeOverPage(s.takeOverForm(), 0)}, nil
}

// pageTakeOverPost takes a record over. Sent again, it changes nothing.
func pageTakeOverPost(s *Server, r *http.Request) (answer, error) {
	if s.TakeOver == nil {
		return nil, notOffered("Taking records over")
	}
	u, _, err := s.receive(r)
	defer u.close()
	if err != nil {
		return nil, err
	}
	form := s.takeOverForm()
	form.fill(map[string][]string{"expected": {u.texts["expected"]}})
	again := func(field, text string) (answer, error) {
		for i := range form.Parts[0].Fields {
			if f := &form.Parts[0].Fields[i]; f.Name == field {
				f.Error = text
			}
		}
		return htmlAnswer{status: http.StatusUnprocessableEntity, name: "take-over", page: s.takeOverPage(form, http.StatusUnprocessableEntity)}, nil
	}
	switch {
	case u.files["bundle"] == nil || u.sizes["bundle"] == 0:
		return again("bundle", "Choose the bundle: a file whose name ends in .zip, and which is not empty.")
	case u.texts["expected"] == "":
		return again("expected", "Without the giving registry’s fingerprint anybody could have made the bundle. Ask that registry for it.")
	}
	out, err := s.TakeOver(r.Context(), TakeOverQuestion{Bundle: u.files["bundle"], Size: u.sizes["bundle"], Trust: u.texts["expected"], Actor: keeperName(r)})
	if err != nil {
		if !mendable(err) {
			return nil, err
		}
		return again("bundle", sentence(messageOf(err)))
	}
	page := s.takeOverPage(s.takeOverForm(), 0)
	page.Answer = out
	return htmlAnswer{name: "take-over", page: page}, nil
}

// keeperName is the account of who asks, on a registry without any "keeper".
func keeperName(r *http.Request) string {
	if who := infoOf(r).who; who != nil {
		return who.Account
	}
	return "keeper"
}

// handOverForm asks for the reason, which is needed without a permission.
func handOverForm(report *workshop.Report) Form {
	return Form{Action: registerAt(report) + "/hand-over", Button: "Hand the record over", Key: newKey(), Version: itoa(report.Version),
		Parts: []FormPart{{Fields: []Field{{Name: "because", Of: "out", Label: "Why it goes without the owner’s permission", Hint: "Stays empty when the permission is recorded above.", Pointers: []string{"/because"}}}}}}
}

func takeBackForm(report *workshop.Report) Form {
	return Form{Action: registerAt(report) + "/take-back", Button: "Take the handing over back", Key: newKey(), Version: itoa(report.Version),
		Parts: []FormPart{{Fields: []Field{{Name: "why", Of: "back", Label: "Why it stays after all", Pointers: []string{"/why"}}}}}}
}

func confirmForm(report *workshop.Report) Form {
	return Form{Action: registerAt(report) + "/confirm", Button: "Record that it was taken over", Key: newKey(), Version: itoa(report.Version), Parts: []FormPart{{Fields: []Field{
		{Name: "receipt", Label: "The receipt of the other registry", Kind: "area", Hint: "The whole text of its file.", Pointers: []string{"/receipt"}},
		{Name: "expected", Label: "The other registry’s fingerprint, or its public key", Kind: "text", Hint: "Got from that registry by another way, such as the telephone: sixteen figures, such as 12ab 34cd 56ef 7890.", Pointers: []string{"/trust"}}}}}}
}

// pageConfirm records the receipt of the registry that took the record over.
func pageConfirm(s *Server, r *http.Request) (answer, error) {
	report, t, err := s.formOf(r)
	if err != nil {
		return nil, err
	}
	form := confirmForm(report)
	form.fill(t.Values)
	if t.text("receipt") == "" {
		t.fault("/receipt", "", "The receipt is not here", "Ask that registry for it.")
	}
	if t.text("expected") == "" {
		t.fault("/trust", "", "Without the other registry's fingerprint anybody could have made the receipt", "Ask that registry for it.")
	}
	if err = t.err(); err == nil {
		_, err = s.confirm(r.Context(), report.Machine.ID, []byte(t.text("receipt")), t.text("expected"))
	}
	if err != nil {
		return s.formAgain(report, "", "To another registry", form, err)
	}
	return seeOther(registerAt(report)), nil
}

// moves records that a record goes or stays.
func moves(title string, form func(*workshop.Report) Form, do func(s *Server, ctx context.Context, req workshop.Request, t *typed) (workshop.Receipt, error)) handler {
	return func(s *Server, r *http.Request) (answer, error) {
		report, t, err := s.formOf(r)
		if err != nil {
			return nil, err
		}
		f := form(report)
		f.fill(t.Values)
		if err = movedOn(report, t.seen()); err == nil {
			_, err = do(s, r.Context(), workshop.Request{Machine: report.Machine.ID, Actor: byField(report, "").Value, Expect: t.seen(), Key: t.text("key")}, t)
		}
		if err != nil {
			return s.formAgain(report, "", title, f, err)
		}
		return seeOther(registerAt(report)), nil
	}
}

var (
	pageHandOver = moves("To another registry", handOverForm, func(s *Server, ctx context.Context, req workshop.Request, t *typed) (workshop.Receipt, error) {
		return s.Workshop.HandOver(ctx, req, t.text("because"))
	})
	pageTakeBack = moves("To another registry", takeBackForm, func(s *Server, ctx context.Context, req workshop.Request, t *typed) (workshop.Receipt, error) {
		return s.Workshop.TakeBackHandOver(ctx, req, t.text("why"))
	})
)

// downloadHandOver sends the bundle of a record that was handed over: private,
// with original pictures. It is made on disk, since it may be large.
func downloadHandOver(s *Server, r *http.Request) (answer, error) {
	report, err := s.machineReport(r)
	if err != nil {
		return nil, err
	}
	switch {
	case s.HandOver == nil:
		return nil, notOffered("Handing records over")
	case report.Elsewhere == "":
		return nil, registry.Refuse(registry.CodeRefused, "Hand the record over first.", "The record of %s was not handed over", report.Machine.ID)
	}
	f, err := nameless()
	if err != nil {
		return nil, err
	}
	if err = s.HandOver(r.Context(), f, report.Machine.ID); err == nil {
		_, err = f.Seek(0, io.SeekStart)
	}
	info, statErr := f.Stat()
	if err = cmp.Or(err, statErr); err != nil {
		_ = f.Close()
		return nil, err
	}
	return streamAnswer{mediaType: "application/zip", from: f, size: info.Size(), attachment: report.Machine.ID + "-handed-over.zip"}, nil
}

// downloadTransferReceipt sends what the giving registry records.
func downloadTransferReceipt(s *Server, r *http.Request) (answer, error) {
	id, err := machineID(r)
	if err != nil {
		return nil, err
	}
	if s.TransferReceipt == nil {
		return nil, notOffered("Receipts of transfers")
	}
	body, err := produced(r.Context(), func(ctx context.Context, out io.Writer) error { return s.TransferReceipt(ctx, out, id) })
	if err != nil {
		return nil, err
	}
	return bytesAnswer{mediaType: jsonType, body: body, attachment: id + "-receipt.json"}, nil
}
