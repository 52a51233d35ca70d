package server

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"net/http"

	"example.org/asfound/registry"
)

// handler answers one request, or says why not. The error is printed by the
// route: as a page, or as a problem document under /api.
type handler func(s *Server, r *http.Request) (answer, error)

// answer is a finished response.
type answer interface {
	write(s *Server, w http.ResponseWriter, r *http.Request) error
}

// htmlAnswer is a page: the name of its template and its struct.
type htmlAnswer struct {
	status int // 0 is 200
	name   string
	page   any
	etag   string // quoted, "" for none
}

func (a htmlAnswer) write(s *Server, w http.ResponseWriter, r *http.Request) error {
	page, err := s.finished(r, a)
	if err != nil {
		return err
	}
	return page.write(s, w, r)
}

// htmlType is the type of every page.
const htmlType = "text/html; charset=utf-8"

// jsonAnswer is a value as JSON.
type jsonAnswer struct {
	status   int
	value    any
	etag     string
	location string
	link     string
	secret   bool // not to be kept by anybody
}

func (a jsonAnswer) write(_ *Server, w http.ResponseWriter, _ *http.Request) error {
	body, err := encodeJSON(a.value)
	if err != nil {
		return err
	}
	h := w.Header()
	h.Set("Content-Type", "application/json")
	if a.etag != "" {
		h.Set("ETag", a.etag)
		h.Set("Cache-Control", "private, no-cache")
	}
	if a.secret {
		h.Set("Cache-Control", "no-store")
	}
	if a.location != "" {
		h.Set("Location", a.location)
	}
	if a.link != "" {
		h.Set("Link", a.link)
	}
	w.WriteHeader(statusOr200(a.status))
	_, err = w.Write(body)
	return ignoreGone(err)
}

func encodeJSON(v any) ([]byte, error) {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(v); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

// bytesAnswer is finished bytes of some type.
type bytesAnswer struct {
	mediaType  string
	body       []byte
	etag       string
	attachment string // file name, "" to show it in place
	forever    bool   // the address names its content
	header     map[string]string
	packed     []byte // nil to pack it where its type is packed
}

func (a bytesAnswer) write(_ *Server, w http.ResponseWriter, r *http.Request) error {
	setFileHeaders(w.Header(), a.mediaType, a.attachment)
	for k, v := range a.header {
		w.Header().Set(k, v)
	}
	if a.etag != "" {
		w.Header().Set("ETag", a.etag)
		w.Header().Set("Cache-Control", "private, no-cache")
	}
	if a.forever {
		w.Header().Set("Cache-Control", "private, max-age=31536000, immutable")
	}
	if a.packed == nil && packs(r, a.mediaType) {
		a.packed = packed(a.body)
	}
	send(w, r, http.StatusOK, a.body, a.packed)
	return nil
}

// streamAnswer sends stored bytes.
type streamAnswer struct {
	mediaType  string
	from       io.ReadCloser
	size       int64
	attachment string
	forever    bool
}

func (a streamAnswer) write(_ *Server, w http.ResponseWriter, r *http.Request) error {
	defer a.from.Close()
	setFileHeaders(w.Header(), a.mediaType, a.attachment)
	w.Header().Set("Content-Length", itoa(a.size))
	if a.forever {
		w.Header().Set("Cache-Control", "private, max-age=31536000, immutable")
	}
	w.WriteHeader(http.StatusOK)
	if r.Method == http.MethodHead {
		return nil
	}
	if _, err := io.Copy(w, a.from); err != nil {
		// The header is out: a cut connection is the only honest answer to
		// bytes that turn out not to be what was stored.
		panic(http.ErrAbortHandler)
	}
	return nil
}

// fileCSP keeps what users sent from doing anything, whatever it is.
const fileCSP = "default-src 'none'; frame-ancestors 'none'; sandbox"

func setFileHeaders(h http.Header, mediaType, attachment string) {
	h.Set("Content-Type", mediaType)
	h.Set("Content-Security-Policy", fileCSP)
	if attachment != "" {
		h.Set("Content-Disposition", `attachment; filename="`+attachment+`"`)
	}
}

// seeOther sends the browser on after a form.
type seeOther string

func (a seeOther) write(_ *Server, w http.ResponseWriter, r *http.Request) error {
	if isCourier(r) {
		return jsonAnswer{status: http.StatusCreated, value: Recorded{To: string(a)}}.write(nil, w, r)
	}
	http.Redirect(w, r, string(a), http.StatusSeeOther)
	return nil
}

// Recorded is the yes that a script waits for before it lets go of a form: To is
// the page to go on with.
type Recorded struct {
	To string `json:"to"`
}

// notModified says that the asker has it already.
type notModified string

func (a notModified) write(_ *Server, w http.ResponseWriter, _ *http.Request) error {
	w.Header().Set("ETag", string(a))
	w.Header().Set("Cache-Control", "private, no-cache")
	w.WriteHeader(http.StatusNotModified)
	return nil
}

func statusOr200(status int) int {
	if status == 0 {
		return http.StatusOK
	}
	return status
}

// ignoreGone drops errors of writing to somebody who has left: nothing can be
// told to them.
func ignoreGone(error) error { return nil }

// produced runs an exporter into memory, so that a failure is still answered
// as one.
func produced(ctx context.Context, write func(ctx context.Context, out io.Writer) error) ([]byte, error) {
	var b bytes.Buffer
	if err := write(ctx, &b); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

// decodeStrict reads one JSON value into v. Unknown and doubled keys and text
// after the value are refused as malformed.
func decodeStrict(data []byte, v any) error {
	if err := checkJSON(data); err != nil {
		return err
	}
	dec := json.NewDecoder(bytes.NewReader(data))
	dec.DisallowUnknownFields()
	if err := dec.Decode(v); err != nil {
		if registry.CodeOf(err) != registry.CodeInternal {
			return err
		}
		return registry.Refuse(codeMalformed, "", "The body cannot be read: %v", err)
	}
	return nil
}

// maxDepth is how deeply JSON may be nested.
const maxDepth = 64

// checkJSON refuses text that is not one JSON value, that names a key twice or
// is nested too deeply.
func checkJSON(data []byte) error {
	dec := json.NewDecoder(bytes.NewReader(data))
	dec.UseNumber()
	if err := checkValue(dec, 0); err != nil {
		if registry.CodeOf(err) != registry.CodeInternal {
			return err
		}
		return registry.Refuse(codeMalformed, "Send one JSON value.", "The body is not JSON: %v", err)
	}
	if _, err := dec.Token(); err != io.EOF {
		return registry.Refuse(codeMalformed, "Send one JSON value.", "There is more text after the JSON value")
	}
	return nil
}

func checkValue(dec *json.Decoder, depth int) error {
	if depth > maxDepth {
		return registry.Refuse(codeMalformed, "Nest it less.", "The JSON is nested more than %d deep", maxDepth)
	}
	t, err := dec.Token()
	if err != nil {
		return err
	}
	d, isDelim := t.(json.Delim)
	if !isDelim {
		return nil
	}
	keys := map[string]bool{}
	for dec.More() {
		if d == '{' {
			k, err := dec.Token()
			if err != nil {
				return err
			}
			name, _ := k.(string)
			if keys[name] {
				return registry.Refuse(codeMalformed, "Keep one of them.", "The key %q stands twice in one object", name)
			}
			keys[name] = true
		}
		if err := checkValue(dec, depth+1); err != nil {
			return err
		}
	}
	_, err = dec.Token()
	return err
}
