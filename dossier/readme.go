package dossier

import (
	"fmt"
	"strings"
)

// inventedBanner stands on everything that is made of demonstration data.
const inventedBanner = "INVENTED DEMONSTRATION DATA: no such machine, make or person exists."

// readme is the text for whoever opens a bundle without knowing what it is.
func readme(m Manifest, verifier string) string {
	var b strings.Builder
	p := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	if m.Invented {
		p("*** %s ***\n", inventedBanner)
	}
	p("THE RECORD OF ONE MOTORCYCLE: %s", oneLine(m.Name))
	p("Machine %s in the registry %s", m.Machine, KeyName(verifier))
	p("%s edition, %d events, the last recorded on %s\n", strings.ToUpper(m.Edition[:1])+m.Edition[1:], m.Version, date(m.MadeAt))
	p("What this is")
	p("  Everything that was written down about this machine: what was found before it")
	p("  was touched, what speaks for each part being original, what the owner was")
	p("  asked and answered, what was done, and what became of the parts that came off.")
	p("  Nothing in it was changed or taken out afterwards; a correction is a later")
	p("  entry. Whether that is so can be checked:\n")
	p("How to check it with the program")
	p("  asfound verify FILE.zip --key \"<the registry's public key>\"")
	p("  Get the public key from the registry itself, not from this file: a forger can")
	p("  put a key of his own here. The key that came with it has the fingerprint")
	p("  %s\n", Fingerprint(verifier))
	p("How to check it without the program")
	p("  1. manifest.json lists every file with its size and SHA-256. Compare them")
	p("     (sha256sum photos/* and so on). manifest-signature.txt signs the manifest.")
	p("  2. events.jsonl holds one event a line. The leaf hash of an event is the")
	p("     SHA-256 of a zero byte and the line without its line break; each event")
	p("     names the leaf hash of the event before it under \"previous\".")
	p("  3. The leaf hashes make a Merkle tree (RFC 6962). Its root must be the third")
	p("     line of checkpoint.txt, which the registry has signed (Ed25519).")
	p("  4. Each picture is named by its SHA-256, and so it stands in its event.")
	p("  The file docs/bundle-format.md of the program describes every step.\n")
	p("The state of the record")
	p("  events  %d", m.Version)
	p("  head    %s", m.Head)
	p("  root    %s", m.Root)
	p("  origin  %s\n", m.Origin)
	p("What is withheld")
	if m.Edition == EditionPublic {
		p("  This is the public edition. Names of people, places of storage and whole")
		p("  frame and engine numbers have fields of their own, which are not in it: the")
		p("  events hold only digests of them, and masked numbers. In free text they are")
		p("  left out where they were spelled as in those fields; read the text before you")
		p("  publish it. The private edition has the same events and the same root, so each")
		p("  edition proves the other.")
	} else {
		p("  This is the private edition. It holds names, places and whole numbers in the")
		p("  folder private. Do not publish it: whole numbers with a paper invite a false")
		p("  twin of the machine. Publish the public edition, which has the same root.")
	}
	if m.Originals {
		p("  The folder originals holds the pictures as the camera wrote them, perhaps with")
		p("  the place where they were taken.")
	}
	p("  Pictures not in this bundle: %d. Values not in this bundle: %d.", len(m.Withheld.Photos), len(m.Withheld.Private))
	p("  manifest.json lists them by digest under \"withheld\".\n")
	p("What it does not show")
	p("  That an entry was not changed does not make it true. Times are those of the")
	p("  registry's clock. Probabilities rest on stated assumptions; read them with")
	p("  their intervals. No entry says that the machine is fit to ride.\n")
	p("Made by %s with the catalog %s.", oneLine(m.Program), oneLine(m.Catalog))
	return b.String()
}

// oneLine keeps a text from breaking out of its line.
func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }
