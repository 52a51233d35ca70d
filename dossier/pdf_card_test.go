package dossier

import (
	"bytes"
	"io"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/pdfcpu/pdfcpu/pkg/api"
	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// cannedCard is a card with something in every part. All of it is invented.
func cannedCard() *workshop.CardReport {
	r := canned(3)
	at := time.Date(2026, 6, 14, 10, 30, 0, 0, time.UTC)
	return &workshop.CardReport{Machine: r.Machine, Version: 7, Changed: at, Complaint: "It knocks.",
		Option: workshop.OptionReport{Option: registry.Option{Common: registry.Common{ID: "new-bush"}, Title: "Renew the idler bush"}, TreatmentTitle: "fit a reproduction"},
		Approval: &workshop.CardApproval{Offer: "first", Decision: "yes", By: "Imogen Aske", On: at, Ceiling: "90 GBP", Covers: []string{"opening: timing cover off"},
			Conditions: []string{"the cover is not polished"}, Until: "2026-09-30"},
		Needs:    []workshop.CardNeed{{What: "timing cover gasket", For: "timing cover off"}},
		Tools:    []string{"bags and tags"},
		Tips:     []string{"Does it rock?"},
		Cautions: []workshop.CardCaution{{CautionReport: workshop.CautionReport{ID: "asb-1", Level: "stop", Text: "May hold asbestos."}}},
		Openings: []workshop.CardOpening{{ID: "timing-cover", Title: "timing cover off", Lacks: []registry.Lack{{Why: "timing cover gasket is not in hand", Fix: "Order it."}},
			Maps: []workshop.CardMap{{ID: "map-1", Longest: "2", Shortest: "1", LeftHand: []string{"2"}, Stripped: []string{"1"}, Warnings: []string{"Easily swapped, 3 mm apart."},
				Fasteners: []registry.Fastener{{Hole: "1", X: 0.1, Y: 0.2, Length: 42, Hand: "right", Felt: "stripped"}, {Hole: "2", X: 0.9, Y: 1, Length: 45, Hand: "left", Felt: "normal"}}}}}},
		Steps: []workshop.CardStep{{ID: "st", At: at, Did: "cover eased off", By: "Tamsin Orde"}}, Torque: "No torque is given here."}
}

func TestTheCardFitsA5AndIsTheSameEachTime(t *testing.T) {
	var first, second bytes.Buffer
	require.NoError(t, WriteCard(&first, CardInput{Card: cannedCard(), Program: "test"}))
	require.NoError(t, WriteCard(&second, CardInput{Card: cannedCard(), Program: "test"}))
	require.Equal(t, first.Bytes(), second.Bytes())
	sizes, err := api.PageDims(bytes.NewReader(first.Bytes()), nil)
	require.NoError(t, err)
	for _, s := range sizes { // ISO 216: A5 is 148 by 210 mm
		require.InDelta(t, 148*72/25.4, s.Width, 0.1)
		require.InDelta(t, 210*72/25.4, s.Height, 0.1)
	}
	text := pdfText(t, first.Bytes())
	for _, s := range []string{"Approved, and no more than this", "90 GBP, spent so far nothing", "the cover is not polished", "Stop: timing cover gasket is not in hand. Order it.",
		"Easily swapped, 3 mm apart.", "left-hand thread", "STOP. May hold asbestos. Read: ____", "cover eased off", "Invented demonstration data", "page 1 of"} {
		require.Contains(t, text, s)
	}
	require.Error(t, WriteCard(io.Discard, CardInput{}))

	card := cannedCard()
	card.Approval, card.Uncovered = nil, &registry.Lack{Why: "the owner has not been asked", Fix: "Ask."}
	var none bytes.Buffer
	require.NoError(t, WriteCard(&none, CardInput{Card: card}))
	require.Contains(t, pdfText(t, none.Bytes()), "NOT APPROVED: do not begin")
}

// pdfText is the text of a document as pdftotext of Poppler reads it.
func pdfText(t *testing.T, data []byte) string {
	t.Helper()
	tool, err := exec.LookPath("pdftotext")
	if err != nil {
		t.Skip("pdftotext is not installed")
	}
	cmd := exec.Command(tool, "-layout", "-", "-")
	cmd.Stdin = bytes.NewReader(data)
	out, err := cmd.Output()
	require.NoError(t, err)
	return strings.Join(strings.Fields(string(out)), " ")
}

func removed(n int) []workshop.RemovedReport {
	var out []workshop.RemovedReport
	for i := range n {
		out = append(out, workshop.RemovedReport{ID: "part-t-" + number(float64(i+1)), Component: "ignition.magneto", Tag: "T-" + number(float64(i+1)), What: "magneto body, drive side, with its long and crooked strap",
			Custody: "evidence-only", Reason: "the condenser leaks when warm", Fasteners: "two bolts", Valid: "2026-05-02"})
	}
	return out
}

// TestLabelsAreRead has another program, zbarimg of ZBar, read the codes from
// the page as printers of 150, 203 and 300 dots to the inch would lay it down.
func TestLabelsAreRead(t *testing.T) {
	toppm, err := exec.LookPath("pdftoppm")
	if err != nil {
		t.Skip("pdftoppm is not installed")
	}
	zbar, err := exec.LookPath("zbarimg")
	if err != nil {
		t.Skip("zbarimg is not installed")
	}
	in := LabelInput{Machine: canned(1).Machine, Parts: removed(4), Base: "http://127.0.0.1:8350/", Layout: LayoutRoll}
	for _, layout := range []string{LayoutRoll, LayoutA4} {
		in.Layout = layout
		var b bytes.Buffer
		require.NoError(t, WriteLabels(&b, in))
		for _, dpi := range []string{"150", "203", "300"} {
			dir := t.TempDir()
			cmd := exec.Command(toppm, "-r", dpi, "-gray", "-png", "-", filepath.Join(dir, "p"))
			cmd.Stdin = bytes.NewReader(b.Bytes())
			require.NoError(t, cmd.Run())
			pages, err := filepath.Glob(filepath.Join(dir, "*.png"))
			require.NoError(t, err)
			out, err := exec.Command(zbar, append([]string{"-q", "--raw"}, pages...)...).Output()
			require.NoError(t, err, "%s at %s", layout, dpi)
			read := strings.Fields(string(out))
			want := []string{}
			for _, p := range in.Parts {
				want = append(want, "http://127.0.0.1:8350/t/drover-1957/"+p.ID)
			}
			require.ElementsMatch(t, want, read, "%s at %s dots to the inch", layout, dpi)
		}
	}
}

func TestLabelsKeepTheirMeasures(t *testing.T) {
	var b bytes.Buffer
	m := canned(1).Machine
	require.NoError(t, WriteLabels(&b, LabelInput{Machine: m, Parts: removed(2), Layout: LayoutRoll}))
	sizes, err := api.PageDims(bytes.NewReader(b.Bytes()), nil)
	require.NoError(t, err)
	require.Len(t, sizes, 2)
	require.InDelta(t, 62*72/25.4, sizes[0].Width, 0.1)
	require.InDelta(t, 29*72/25.4, sizes[0].Height, 0.1)
	b.Reset()
	require.NoError(t, WriteLabels(&b, LabelInput{Machine: m, Parts: removed(28)}))
	sizes, err = api.PageDims(bytes.NewReader(b.Bytes()), nil)
	require.NoError(t, err)
	require.Len(t, sizes, 2, "27 go on a sheet")
	require.Contains(t, pdfText(t, b.Bytes()), "EVIDENCE ONLY, NOT FOR USE")

	require.Equal(t, registry.CodeNotFound, registry.CodeOf(WriteLabels(io.Discard, LabelInput{Machine: m})))
	require.Equal(t, registry.CodeInvalid, registry.CodeOf(WriteLabels(io.Discard, LabelInput{Machine: m, Parts: removed(1), Layout: "a0"})))
	// Modules of 0.4 mm and a quiet zone of four leave room for 64 modules on 29 mm.
	long := LabelInput{Machine: m, Parts: removed(1), Base: "http://" + strings.Repeat("x", 400)}
	require.Equal(t, registry.CodeInvalid, registry.CodeOf(WriteLabels(io.Discard, long)))
}
