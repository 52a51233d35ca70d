package server

import (
	"net/http"
	"strings"

	"github.com/go-chi/chi/v5"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// digestParam is the digest that the address names, with its prefix.
func digestParam(r *http.Request) (string, error) {
	d := chi.URLParam(r, "digest")
	if !strings.HasPrefix(d, "sha256:") {
		d = "sha256:" + d
	}
	if !registry.CheckDigest(d) {
		return "", registry.Refuse(registry.CodeNotFound, "Open the machine's page to see its pictures.", "There is no such picture")
	}
	return d, nil
}

// pagePhoto sends a picture of the machine: its preview to look at, or its
// original as a file.
func pagePhoto(s *Server, r *http.Request) (answer, error) {
	report, err := s.machineReport(r)
	if err != nil {
		return nil, err
	}
	digest, err := digestParam(r)
	if err != nil {
		return nil, err
	}
	return s.photoAnswer(r, report.Photos, digest, publicOnly(r, report.Machine.ID))
}

// photoAnswer sends the stored bytes under a digest, if one of the photos has
// it. previewOnly keeps originals back.
func (s *Server) photoAnswer(r *http.Request, photos []workshop.PhotoReport, digest string, previewOnly bool) (answer, error) {
	for _, p := range photos {
		if p.Preview != digest && (previewOnly || p.Digest != digest) {
			continue
		}
		a := streamAnswer{mediaType: "image/jpeg", forever: !previewOnly}
		if p.Preview != digest {
			a.mediaType, a.attachment = attachmentType(p.MediaType), p.ID+workshop.PictureEnding(p.MediaType)
		}
		body, size, err := s.Workshop.Photos.Get(r.Context(), digest)
		if err != nil {
			return nil, err
		}
		a.from, a.size = body, size
		return a, nil
	}
	return nil, registry.Refuse(registry.CodeNotFound, "Open the machine's page to see its pictures.", "There is no such picture")
}

// attachmentType keeps to types that a browser only saves.
func attachmentType(mediaType string) string {
	if workshop.PictureEnding(mediaType) == "" {
		return "application/octet-stream"
	}
	return mediaType
}

// photoTotal is the largest upload of pictures, in bytes.
const photoTotal = workshop.MaxPhotoBytes*2 + 1<<20

// photoForm asks for pictures.
func photoForm(report *workshop.Report) Form {
	return Form{Action: "/machines/" + report.Machine.ID + "/photos", Button: "Keep these pictures", Kind: "multipart", Keep: "photos", Key: newKey(), Parts: []FormPart{{Fields: []Field{
		{Name: "photos", Label: "Pictures", Kind: "file", Accept: "image/jpeg,image/png,image/webp", Multiple: true, Hint: "JPEG, PNG or WebP, up to " + bytesWords(workshop.MaxPhotoBytes) + " each. The original is kept as it is; what is shown has no place and no camera in it."},
		{Name: "shows", Label: "What they show", Kind: "radios", Choices: choices(registry.Shown()), Pointers: []string{"/shows"}},
		{Name: "components", Label: "Components", Kind: "area", Hint: "One a line: code, name or id. May stay empty.", Pointers: []string{"/components"}},
		{Name: "openings", Label: "Openings whose joints they show as found", Kind: "checks", Choices: openingChoices(report), Pointers: []string{"/openings"}},
		{Name: "caption", Label: "Caption", Kind: "text", Pointers: []string{"/caption"}},
		{Name: "scale", Label: "What gives the size", Kind: "short", Hint: "Such as “100 mm bar”. May stay empty."},
		{Name: "withhold", Label: "Public copies", Kind: "checks", Choices: []Choice{{"yes", "Keep these out of public copies", "For numbers, papers and people."}}},
		byField(report, "Who took them"),
	}}}}
}

func pagePhotoForm(s *Server, r *http.Request) (answer, error) {
	report, err := s.machineReport(r)
	if err != nil {
		return nil, err
	}
	return s.formAnswer(report, "photos", "Add pictures", photoForm(report), 0), nil
}

func pagePhotoPost(s *Server, r *http.Request) (answer, error) {
	report, err := s.machineReport(r)
	if err != nil {
		return nil, err
	}
	form := photoForm(report)
	again := func(err error) (answer, error) { return s.formAgain(report, "photos", "Add pictures", form, err) }
	if err := r.ParseMultipartForm(8 << 20); err != nil {
		return nil, readFailed(err)
	}
	defer r.MultipartForm.RemoveAll()
	t := &typed{Values: r.MultipartForm.Value, comma: decimalComma(r)}
	form.fill(t.Values)
	files := r.MultipartForm.File["photos"]
	if len(files) == 0 {
		form.Parts[0].Fields[0].Error = "Choose at least one picture."
		return s.formAnswer(report, "photos", "Add pictures", form, http.StatusUnprocessableEntity), nil
	}
	components := t.components("components", "/components", report)
	if err := t.err(); err != nil {
		return again(err)
	}
	key := t.text("key")
	if key == "" {
		key = newKey()
	}
	last := ""
	for i, file := range files {
		f, err := file.Open()
		if err != nil {
			return nil, err
		}
		id, err := s.keepPhoto(r, workshop.Request{Machine: report.Machine.ID, Actor: t.text("by"), Key: key + " photo " + itoa(i)}, registry.Photo{
			Shows: t.text("shows"), Components: components, Openings: t.list("openings"), Caption: t.text("caption"), Scale: t.text("scale"),
			Withhold: t.text("withhold") == "yes", By: t.text("by"), FileName: file.Filename}, f)
		f.Close()
		if err != nil {
			if i > 0 {
				form.Errors = append(form.Errors, FormError{"", itoa(i) + " of " + itoa(len(files)) + " pictures were kept before this one failed; sending the same again keeps each once."})
			}
			if code := codeOf(err); code == registry.CodeTooLarge || code == registry.CodeUnsupported {
				form.Parts[0].Fields[0].Error = file.Filename + ": " + sentence(messageOf(err))
				return s.formAnswer(report, "photos", "Add pictures", form, rowOf(code).status), nil
			}
			return again(err)
		}
		last = id
	}
	return seeOther("/machines/" + report.Machine.ID + "?recorded=" + last), nil
}

// keepPhoto looks at an uploaded picture, keeps it and records it.
func (s *Server) keepPhoto(r *http.Request, req workshop.Request, p registry.Photo, original interface {
	Read([]byte) (int, error)
	Seek(int64, int) (int64, error)
}) (string, error) {
	if s.ReadPhoto == nil {
		return "", notOffered("Taking in pictures")
	}
	picture, err := s.ReadPhoto(r.Context(), original, p.FileName)
	if err != nil {
		return "", err
	}
	if _, err := original.Seek(0, 0); err != nil {
		return "", err
	}
	p.MediaType, p.Width, p.Height, p.Taken = picture.MediaType, picture.Width, picture.Height, picture.Taken
	receipt, err := s.Workshop.AddPhoto(r.Context(), req, &p, original, picture.Preview)
	if err != nil {
		return "", err
	}
	return firstID(receipt), nil
}

// firstID is the first record of a receipt, "" for a repeated one.
func firstID(receipt workshop.Receipt) string {
	if len(receipt.Records) == 0 {
		return ""
	}
	return receipt.Records[0].ID
}
