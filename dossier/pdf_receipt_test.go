package dossier

import (
	"bytes"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
	"example.org/asfound/workshop"
)

// cannedReceipt has something in every part. All of it is invented.
func cannedReceipt() *workshop.OwnerReceipt {
	at := time.Date(2026, 6, 14, 10, 30, 0, 0, time.UTC)
	return &workshop.OwnerReceipt{Machine: canned(3).Machine, Offer: "first", Kind: "proposal", By: "Tamsin Orde", Who: "Imogen Aske",
		Answer: workshop.AnswerReport{ID: "yes", Answer: "approve-with-conditions", Conditions: []string{"the cover is not polished"}, Reason: "It is hers.", Recorded: at, Until: ptr(time.Date(2026, 7, 1, 0, 0, 0, 0, time.UTC))},
		Says:   "Go ahead, if my conditions are kept", Means: "confirmed with a passkey", Proves: []string{"A device signed it."}, Digest: "sha256:" + strings.Repeat("0123456789abcdef", 4),
		Event: "e000007", Version: 7, Hash: strings.Repeat("ab", 32), Ceiling: "90 GBP", Next: []string{"The workshop may begin with this."},
		Chosen: []workshop.OptionReport{{Option: registry.Option{Title: "Renew the idler bush"}}}}
}

func TestTheReceiptHoldsWhatThePageSays(t *testing.T) {
	r := cannedReceipt()
	var first, second bytes.Buffer
	require.NoError(t, WriteReceipt(&first, ReceiptInput{Receipt: r, Program: "test"}))
	require.NoError(t, WriteReceipt(&second, ReceiptInput{Receipt: r, Program: "test"}))
	require.Equal(t, first.Bytes(), second.Bytes())
	text := strings.Join(strings.Fields(pdfText(t, first.Bytes())), " ")
	for _, s := range append([]string{r.Says, r.Who, r.By, r.Means, r.Ceiling, r.Answer.ID, r.Event, "version 7", "14 June 2026, 10:30 UTC", "Renew the idler bush (cannot be undone)",
		r.Answer.Conditions[0], r.Answer.Reason, r.Proves[0], "Counts until 1 July 2026, 00:00 UTC", "Invented demonstration data", "page 1 of 1"}, r.Next...) {
		require.Contains(t, text, s)
	}
	bare := strings.ReplaceAll(text, " ", "")
	require.Contains(t, bare, r.Digest, "the whole digest")
	require.Contains(t, bare, r.Hash)
	require.Error(t, WriteReceipt(io.Discard, ReceiptInput{}))
}

// TestTheReceiptsCodeHoldsTheDigest reads the code as a telephone would.
func TestTheReceiptsCodeHoldsTheDigest(t *testing.T) {
	toppm, err := exec.LookPath("pdftoppm")
	if err != nil {
		t.Skip("pdftoppm is not installed")
	}
	zbar, err := exec.LookPath("zbarimg")
	if err != nil {
		t.Skip("zbarimg is not installed")
	}
	r := cannedReceipt()
	var out bytes.Buffer
	require.NoError(t, WriteReceipt(&out, ReceiptInput{Receipt: r}))
	file := filepath.Join(t.TempDir(), "receipt")
	require.NoError(t, os.WriteFile(file+".pdf", out.Bytes(), 0o600))
	require.NoError(t, exec.Command(toppm, "-r", "203", "-png", "-singlefile", file+".pdf", file).Run())
	read, err := exec.Command(zbar, "--raw", "-q", file+".png").Output()
	require.NoError(t, err)
	require.Equal(t, r.Digest, strings.TrimSpace(string(read)), "the digest, and no address that opens anything")
}
