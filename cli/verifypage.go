package cli

import (
	"context"
	"slices"
	"strconv"
	"strings"

	"example.org/asfound/dossier"
	"example.org/asfound/registry"
	"example.org/asfound/server"
	"example.org/asfound/workshop"
)

// bundleChecks are what a verification compares, in the order in which it is
// told, with the findings that each may make.
var bundleChecks = []struct {
	what  string
	codes []string
}{
	{"The archive holds the files that its signed list names, byte for byte, and no others.", []string{dossier.FindingArchive, dossier.FindingName, dossier.FindingLimit,
		dossier.FindingMissing, dossier.FindingUnknown, dossier.FindingFile, dossier.FindingManifest}},
	{"The history is whole and in order: each event names the one before it.", []string{dossier.FindingEvent, dossier.FindingRecord}},
	{"The registry’s key signed exactly this history and this list.", []string{dossier.FindingCheckpoint, dossier.FindingSignature}},
	{"Each picture is the one that was recorded.", []string{dossier.FindingPhoto}},
	{"Each value that is kept apart is the one that was recorded, and the edition holds no other.", []string{dossier.FindingPrivate, dossier.FindingEdition}},
	{"The as-found survey is the one that was sealed before any work.", []string{dossier.FindingSeal}},
	{"Each answer of the owner belongs to the question as it was put.", []string{dossier.FindingOffer, dossier.FindingDecision}},
	{"Each signature of a passkey stands for the answer that it was given for, and each second signature for the record that was signed.", []string{dossier.FindingPasskey, dossier.FindingSecond}},
	{"Each recorded figure comes out again from its own input.", []string{dossier.FindingEstimate}},
}

// checkBundle answers the verify page.
func checkBundle(w *workshop.Workshop) func(context.Context, server.BundleQuestion) (*server.BundleAnswer, error) {
	return func(_ context.Context, q server.BundleQuestion) (*server.BundleAnswer, error) {
		opts, err := trusted(q.Key)
		if err != nil {
			return nil, err
		}
		newer := dossier.Source{ReaderAt: q.Bundle, Size: q.BundleSize}
		var pair dossier.Comparison
		compared := true
		switch {
		case q.Older != nil:
			pair, err = dossier.VerifyAgainst(newer, dossier.Source{ReaderAt: q.Older, Size: q.OlderSize}, opts)
		case len(q.Checkpoint) > 0:
			pair, err = dossier.VerifyCheckpoint(newer, q.Checkpoint, opts)
		default:
			pair.Newer, err = dossier.Verify(newer, newer.Size, opts)
			compared = false
		}
		if err != nil && registry.CodeOf(err) != registry.CodeTampered {
			return nil, err
		}
		return bundleAnswer(w, pair, compared, err == nil)
	}
}

// trusted reads a public key line or a fingerprint. CodeInvalid for neither.
func trusted(key string) (dossier.VerifyOptions, error) {
	switch key = strings.TrimSpace(key); {
	case key == "":
		return dossier.VerifyOptions{}, nil
	case dossier.IsFingerprint(key):
		return dossier.VerifyOptions{Fingerprint: key}, nil
	case dossier.KeyName(key) != "":
		return dossier.VerifyOptions{Keys: []string{key}}, nil
	}
	return dossier.VerifyOptions{}, registry.Refuse(registry.CodeInvalid, "Copy the whole line with its two “+”, or the sixteen figures of the fingerprint.", "This is neither a public key nor a fingerprint")
}

func bundleAnswer(w *workshop.Workshop, pair dossier.Comparison, compared, good bool) (*server.BundleAnswer, error) {
	r := pair.Newer
	a := &server.BundleAnswer{Good: good, Read: r.Machine != "" || r.Edition != "", Name: r.Name, Machine: r.Machine, Edition: r.Edition, Events: r.Events,
		Head: r.Head, Root: r.Root, Fingerprint: r.Fingerprint, KeyKnown: r.Pinned, Notes: r.Notes, Photos: r.Photos, WithheldPhotos: r.WithheldPhotos, Values: r.Private}
	if !r.From.IsZero() {
		a.From, a.To = r.From.Format("2 January 2006"), r.To.Format("2 January 2006")
	}
	for _, c := range bundleChecks {
		a.Checks = append(a.Checks, bundleCheck(c.what, a.Read, r.Findings, c.codes))
	}
	if compared {
		c := bundleCheck("It continues the older copy, and nothing of that was rewritten.", a.Read, pair.Findings, nil)
		for _, f := range pair.Older.Findings {
			c.State = "failed"
			c.Findings = append(c.Findings, server.BundleFinding{Where: "the older copy, " + f.Where, What: f.What})
		}
		if c.State == "passed" {
			a.Continues = "The older copy ends with event " + strconv.Itoa(pair.Older.Events) + "; this bundle begins with the same events and goes on to event " + strconv.Itoa(r.Events) + "."
		}
		a.Checks = append(a.Checks, c)
	}
	if d := r.Kept(); d != nil && good {
		var err error
		if a.Report, err = w.ReportOf(d, workshop.ReportOptions{Public: true}); err != nil {
			return nil, err
		}
	}
	return a, nil
}

// bundleCheck takes the findings of some codes together; all of them when codes
// is nil.
func bundleCheck(what string, read bool, findings []dossier.Finding, codes []string) server.BundleCheck {
	c := server.BundleCheck{What: what, State: "passed"}
	for _, f := range findings {
		if codes == nil || slices.Contains(codes, f.Code) {
			c.State = "failed"
			c.Findings = append(c.Findings, server.BundleFinding{Where: f.Where, What: f.What})
		}
	}
	if !read && c.State == "passed" {
		c.State = "not made"
	}
	return c
}
