package importers_test

import (
	"bytes"
	"image"
	"image/color"
	"image/jpeg"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/asfound/importers"
	"example.org/asfound/importers/picture"
	"example.org/asfound/registry"
	"example.org/asfound/schema"
)

// shot is a small JPEG, another one for each grey.
func shot(t testing.TB, grey uint8) []byte {
	t.Helper()
	m := image.NewGray(image.Rect(0, 0, 40, 30))
	for i := range m.Pix {
		m.Pix[i] = color.Gray{Y: grey}.Y
	}
	var b bytes.Buffer
	require.NoError(t, jpeg.Encode(&b, m, nil))
	return b.Bytes()
}

func folder(t testing.TB, files fs.FS, o importers.PhotoOptions) (map[string]importers.PhotoDraft, []string, importers.Report) {
	t.Helper()
	f, err := importers.OpenPhotoFolder(files, o)
	require.NoError(t, err)
	byName := map[string]importers.PhotoDraft{}
	var order []string
	require.NoError(t, f.Each(func(d importers.PhotoDraft) error {
		name := d.Cells[0]
		byName[name] = d
		order = append(order, name)
		return nil
	}))
	require.NoError(t, f.Close())
	return byName, order, f.Report()
}

func photo(t testing.TB, d importers.PhotoDraft) *registry.Photo {
	t.Helper()
	return body[*registry.Photo](t, d.Draft)
}

func TestPhotosAreTiedByTheirNames(t *testing.T) {
	set, err := schema.Compile()
	require.NoError(t, err)
	o := importers.PhotoOptions{Options: options("shots"), Shows: "as-found"}
	o.Validator = set
	got, order, report := folder(t, fstest.MapFS{
		"fuel-033_left.jpg": {Data: shot(t, 1)},
		"sub/fuel.tank__number__opening-tank-off__ident-001_seam_below.JPG": {Data: shot(t, 2)},
		"IMG_2034.jpg":        {Data: shot(t, 3)},
		"papers_withhold.png": {Data: shot(t, 4)},
		".hidden.jpg":         {Data: []byte("x")},
		"notes.txt":           {Data: []byte("hello")},
		"copy.jpg":            {Data: shot(t, 3)},
	}, o)
	p := photo(t, got["fuel-033_left.jpg"])
	require.Equal(t, []string{"fuel.tank"}, p.Components)
	require.Equal(t, [2]string{"as-found", "left"}, [2]string{p.Shows, p.Caption})
	require.Equal(t, "per-mechanic", p.By)
	require.Equal(t, [2]int{40, 30}, [2]int{p.Width, p.Height})
	require.Equal(t, importers.PhotoID(p.Digest), p.ID)
	require.Equal(t, int64(len(shot(t, 1))), p.Bytes)
	require.Equal(t, shot(t, 1), got["fuel-033_left.jpg"].Original)
	require.NotEmpty(t, got["fuel-033_left.jpg"].Preview)

	p = photo(t, got["sub/fuel.tank__number__opening-tank-off__ident-001_seam_below.JPG"])
	require.Equal(t, []string{"fuel.tank", "frame.main"}, p.Components)
	require.Equal(t, []string{"opening-tank-off"}, p.Openings)
	require.Equal(t, [2]string{"number", "seam below"}, [2]string{p.Shows, p.Caption})

	require.Empty(t, photo(t, got["IMG_2034.jpg"]).Components)
	require.Empty(t, photo(t, got["IMG_2034.jpg"]).Caption)
	require.Contains(t, messages(got["copy.jpg"].Draft)[0], "the same picture as")
	require.True(t, photo(t, got["papers_withhold.png"]).Withhold)
	require.Contains(t, messages(got["notes.txt"].Draft)[0], "notes.txt is no picture")
	require.NotContains(t, order, ".hidden.jpg")
	require.Equal(t, [3]int{6, 4, 2}, [3]int{report.Rows, report.Records, report.Rejected})
}

func TestASheetSaysWhatThePhotosShow(t *testing.T) {
	sheet := "File;Components;Shows;Openings;Caption;Listed;Withhold;By;Taken;Note\n" +
		"a.jpg;fuel-033; number;opening-1;Crease;tank-sides;yes;per-b;2026-03;n\n" +
		"gone.jpg;fuel-033;;;;;;;;\n" +
		"../outside.jpg;fuel-033;;;;;;;;\n" +
		"b.jpg;nowhere;nothing;;;;maybe;;yesterday;\n" +
		"sub\\c.jpg;fuel-033;;;;;;;;\n" +
		"c:\\d.jpg;fuel-033;;;;;;;;\n"
	got, order, report := folder(t, fstest.MapFS{
		"photos.csv": {Data: []byte(sheet)}, "a.jpg": {Data: shot(t, 1)}, "b.jpg": {Data: shot(t, 2)}, "sub/c.jpg": {Data: shot(t, 3)}, "z_fuel-033.jpg": {Data: shot(t, 4)},
	}, importers.PhotoOptions{Options: options("shots")})
	p := photo(t, got["a.jpg"])
	require.Equal(t, registry.Photo{Common: registry.Common{ID: p.ID, Valid: "2026-03", Note: "n"}, Digest: p.Digest, Preview: p.Preview, MediaType: "image/jpeg",
		Bytes: p.Bytes, Width: 40, Height: 30, FileName: "a.jpg", Shows: "number", Components: []string{"fuel.tank"}, Openings: []string{"opening-1"},
		Caption: "Crease", Listed: "tank-sides", Withhold: true, By: "per-b"}, *p)
	require.Contains(t, messages(got["gone.jpg"].Draft)[0], `photos.csv, row 3, /file_name: Column "file": The file cannot be opened: file does not exist (found "gone.jpg")`)
	require.Contains(t, messages(got["../outside.jpg"].Draft)[0], "outside the folder")
	all := strings.Join(messages(got["b.jpg"].Draft), "\n")
	for _, column := range []string{`"Components"`, `"Shows"`, `"Withhold"`, `"Taken"`} {
		require.Contains(t, all, "Column "+column)
	}
	require.Len(t, got["b.jpg"].Faults, 4, all)
	require.Equal(t, "sub/c.jpg", photo(t, got[`sub\c.jpg`]).FileName)
	require.False(t, got[`c:\d.jpg`].Good())
	require.Equal(t, "z_fuel-033.jpg", order[len(order)-1], "a file without a row comes last")
	require.Contains(t, report.Warnings[0].Message, "1 files have no row")
}

func TestTheTemplateOfThePhotoSheetIsPassedOver(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, importers.WriteTemplate(&b, "photos", "xlsx", anatomy()))
	got, _, _ := folder(t, fstest.MapFS{"photos.xlsx": {Data: b.Bytes()}, "a.jpg": {Data: shot(t, 1)}}, importers.PhotoOptions{Options: options("shots")})
	require.Len(t, got, 1)
	require.Equal(t, "general", photo(t, got["a.jpg"]).Shows)
}

// vast is a file that says it has two gigabytes and fails when it is read.
type vast struct{ fstest.MapFS }

func (v vast) Open(name string) (fs.File, error) {
	f, err := v.MapFS.Open(name)
	if name == "vast.jpg" {
		return vastFile{f}, err
	}
	return f, err
}

type vastFile struct{ fs.File }
type vastInfo struct{ fs.FileInfo }

func (f vastFile) Stat() (fs.FileInfo, error) { i, err := f.File.Stat(); return vastInfo{i}, err }
func (vastFile) Read([]byte) (int, error)     { panic("read") }
func (vastInfo) Size() int64                  { return 2 << 30 }

func TestAVastFileIsRefusedBySizeAlone(t *testing.T) {
	began := time.Now()
	got, _, _ := folder(t, vast{fstest.MapFS{"vast.jpg": {Data: shot(t, 1)}}}, importers.PhotoOptions{Options: options("shots")})
	require.Contains(t, messages(got["vast.jpg"].Draft)[0], "larger than 64 MiB")
	require.Less(t, time.Since(began), time.Second)
}

func TestLinksDoNotLeadOutside(t *testing.T) {
	dir := t.TempDir()
	inside := filepath.Join(dir, "in")
	require.NoError(t, os.Mkdir(inside, 0o700))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "secret.jpg"), shot(t, 1), 0o600))
	if err := os.Symlink("../secret.jpg", filepath.Join(inside, "link.jpg")); err != nil {
		t.Skip("no symbolic links here")
	}
	root, err := os.OpenRoot(inside)
	require.NoError(t, err)
	defer func() { require.NoError(t, root.Close()) }()
	got, _, _ := folder(t, root.FS(), importers.PhotoOptions{Options: options("shots")})
	require.False(t, got["link.jpg"].Good())
	require.Empty(t, got["link.jpg"].Original)
	require.Contains(t, messages(got["link.jpg"].Draft)[0], "cannot be opened")
}

func TestReadPhotoForUploads(t *testing.T) {
	p, err := importers.ReadPhoto(bytes.NewReader(shot(t, 9)), "a.jpg", picture.Limits{})
	require.NoError(t, err)
	record := importers.NewPhoto(p, "per-a")
	require.NoError(t, registry.CheckBody(record))
	_, err = importers.ReadPhoto(strings.NewReader("\x00\x00\x00\x18ftypheic\x00\x00\x00\x00"), "a.heic", picture.Limits{})
	require.ErrorContains(t, err, "This is an HEIC photo")
}
