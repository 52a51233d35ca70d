package dossier

import (
	"archive/zip"
	"bytes"
	"encoding/json"
	"fmt"
	"hash/crc32"
	"io"
	"io/fs"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/asfound/registry"
)

// part is one file of a bundle taken apart.
type part struct {
	name string
	data []byte
}

func unpack(t testing.TB, b []byte) []part {
	z, err := zip.NewReader(bytes.NewReader(b), int64(len(b)))
	require.NoError(t, err)
	var parts []part
	for _, f := range z.File {
		r, err := f.Open()
		require.NoError(t, err)
		data, err := io.ReadAll(r)
		require.NoError(t, err)
		parts = append(parts, part{f.Name, data})
	}
	return parts
}

// pack puts parts together as the program does, so that only what they hold is
// wrong.
func pack(t testing.TB, parts []part, made time.Time) []byte {
	var b bytes.Buffer
	p := newPacker(&b, made)
	for _, x := range parts {
		require.NoError(t, p.add(x.name, int64(len(x.data)), crc32.ChecksumIEEE(x.data), bytes.NewReader(x.data)))
	}
	require.NoError(t, p.close())
	return b.Bytes()
}

func find(parts []part, name string) *part {
	i := slices.IndexFunc(parts, func(p part) bool { return p.name == name })
	return &parts[i]
}

// reseal is what a careful forger does: the manifest lists the files as they
// now are, and with a signer it is signed again too.
func (s *shop) reseal(parts []part, signer string, change func(*Manifest)) {
	m, err := readManifest(find(parts, fileManifest).data)
	require.NoError(s.t, err)
	if change != nil {
		change(&m)
	}
	m.Files = nil
	for _, p := range parts {
		if p.name != fileManifest && p.name != fileSeal {
			m.Files = append(m.Files, memory(p.name, p.data).ManifestFile)
		}
	}
	data, err := m.encode()
	require.NoError(s.t, err)
	find(parts, fileManifest).data = data
	if signer != "" {
		seal, err := signNote(sealText(digestOf(data)), signer)
		require.NoError(s.t, err)
		find(parts, fileSeal).data = seal
	}
}

// rewrite changes the events and leaves everything else.
func rewrite(parts []part, change func([][]byte) [][]byte) {
	p := find(parts, fileEvents)
	lines := bytes.Split(bytes.TrimSuffix(p.data, []byte("\n")), []byte("\n"))
	p.data = append(bytes.Join(change(lines), []byte("\n")), '\n')
}

// TestEveryFlippedByteIsFound flips one bit of every byte around the files and
// of every third byte in them. There is no byte that does not matter.
func TestEveryFlippedByteIsFound(t *testing.T) {
	s := newShop(t, "drover-1957")
	s.record(&registry.Machine{Common: registry.Common{ID: "machine"}, Make: "Skerrow", Model: "Drover 350", Year: "1957",
		Numbers: []registry.Number{{Where: "frame", AsRead: registry.Private{Value: "DR57-10482"}, Masked: registry.Mask("DR57-10482")}}})
	s.record(&registry.Person{Common: registry.Common{ID: "tamsin"}, Role: "mechanic", Name: registry.Private{Value: "Tamsin Orde"}})
	s.record(&registry.Photo{Common: registry.Common{ID: "ph-1"}, Digest: digestOf(nil), Preview: s.keep([]byte("picture")), MediaType: "image/jpeg", Shows: "general", By: "tamsin"})
	b := s.bundle(EditionPrivate)
	_, err := check1(b, s.verifier)
	require.NoError(t, err)
	inside := make([]bool, len(b))
	z, err := zip.NewReader(bytes.NewReader(b), int64(len(b)))
	require.NoError(t, err)
	for _, f := range z.File {
		from, err := f.DataOffset()
		require.NoError(t, err)
		for i := range f.UncompressedSize64 {
			inside[uint64(from)+i] = true
		}
	}
	for i := range b {
		if inside[i] && i%3 != 0 {
			continue
		}
		bad := bytes.Clone(b)
		bad[i] ^= 1 << (i % 8)
		if r, err := check1(bad, s.verifier); registry.CodeOf(err) != registry.CodeTampered && registry.CodeOf(err) != registry.CodeUnsupported {
			t.Fatalf("byte %d was flipped and not found: %v, %+v", i, err, r)
		}
	}
}

func TestEveryShorterBundleIsFound(t *testing.T) {
	s := newShop(t, "drover-1957").fill()
	b := s.bundle(EditionPublic)
	for n := 0; n < len(b); n += 1009 {
		_, err := check1(b[:n], s.verifier)
		require.Equal(t, registry.CodeTampered, registry.CodeOf(err), "cut to %d bytes", n)
	}
	_, err := check1(append(bytes.Clone(b), 0), s.verifier)
	require.Equal(t, registry.CodeTampered, registry.CodeOf(err), "one byte more")
	_, err = check1(append([]byte("x"), b...), s.verifier)
	require.Equal(t, registry.CodeTampered, registry.CodeOf(err), "one byte before")
}

// TestFlippedFileIsNamed flips a bit in the middle of each file, with checksums
// and manifest made right again.
func TestFlippedFileIsNamed(t *testing.T) {
	s := newShop(t, "drover-1957").fill()
	b := s.bundle(EditionPrivate)
	for i, p := range unpack(t, b) {
		parts := unpack(t, b)
		parts[i].data[len(p.data)/2] ^= 1
		bad := pack(t, parts, s.at)
		r, _ := check1(bad, s.verifier)
		require.NotEmpty(t, r.Findings, p.name)
		if p.name != fileManifest { // what else is named depends on the byte
			require.Contains(t, fmt.Sprint(r.Findings), p.name)
		}
		if p.name == fileManifest || p.name == fileSeal {
			continue
		}
		parts = unpack(t, b)
		parts[i].data[len(p.data)/2] ^= 1
		s.reseal(parts, "", nil)
		r, err := check1(pack(t, parts, s.at), s.verifier)
		require.Equal(t, registry.CodeTampered, registry.CodeOf(err), p.name)
		requireFinding(t, r, FindingSignature, "signs another manifest")
	}
}

// TestFlippedEventIsNamed flips bits in each event; the finding names its line.
func TestFlippedEventIsNamed(t *testing.T) {
	s := newShop(t, "drover-1957").fill()
	b := s.bundle(EditionPublic)
	for i, event := range s.events {
		for _, at := range []int{len(event) / 5, len(event) / 2, len(event) - 2} {
			parts := unpack(t, b)
			rewrite(parts, func(lines [][]byte) [][]byte { lines[i][at] ^= 1; return lines })
			s.reseal(parts, "", nil)
			r, err := check1(pack(t, parts, s.at), s.verifier)
			require.Equal(t, registry.CodeTampered, registry.CodeOf(err))
			named := slices.ContainsFunc(r.Findings, func(f Finding) bool {
				return strings.HasPrefix(f.Where, fmt.Sprintf("%s line %d", fileEvents, i+1)) ||
					i == len(s.events)-1 && strings.Contains(f.What, fmt.Sprintf("The last event, %d,", i+1))
			})
			require.True(t, named, "event %d byte %d: %+v", i+1, at, r.Findings)
			requireFinding(t, r, FindingCheckpoint, "root")
		}
	}
}

func TestTamperMatrix(t *testing.T) {
	s := newShop(t, "drover-1957").fill()
	other := newShop(t, "thirlbeck-1994").fill()
	older := newShop(t, "drover-1957").fill() // the same, before the last two events
	older.events = older.events[:len(older.events)-2]
	n := len(s.events)
	cut := func(at, to int) func([][]byte) [][]byte {
		return func(l [][]byte) [][]byte { return slices.Concat(l[:at], l[to:]) }
	}
	preview1, preview2 := photoName(digestOf(picture(1))), photoName(digestOf(picture(2)))
	forger, forged, err := NewKey(random(2), "registry.example/aldmouth")
	require.NoError(t, err)

	for _, x := range []struct {
		name   string
		change func(parts []part) []part
		code   string
		what   string
	}{
		{"drop the first event", func(p []part) []part { rewrite(p, cut(0, 1)); return p }, FindingEvent, "Event 1 is missing"},
		{"drop an event", func(p []part) []part { rewrite(p, cut(4, 5)); return p }, FindingEvent, "Event 5 is missing"},
		{"drop three events", func(p []part) []part { rewrite(p, cut(4, 7)); return p }, FindingEvent, "Events 5 to 7 are missing"},
		{"drop the last event", func(p []part) []part { rewrite(p, cut(n-1, n)); return p }, FindingEvent, "missing at the end"},
		{"double an event", func(p []part) []part {
			rewrite(p, func(l [][]byte) [][]byte { return slices.Insert(l, 4, l[3]) })
			return p
		}, FindingEvent, "Event 4 stands there twice"},
		{"swap two events", func(p []part) []part {
			rewrite(p, func(l [][]byte) [][]byte { l[3], l[4] = l[4], l[3]; return l })
			return p
		}, FindingEvent, "Event 4 is out of order"},
		{"put an event to the end", func(p []part) []part {
			rewrite(p, func(l [][]byte) [][]byte { return append(slices.Delete(slices.Clone(l), 4, 5), l[4]) })
			return p
		}, FindingEvent, "Event 5 is out of order"},
		{"splice an event of another machine", func(p []part) []part {
			rewrite(p, func(l [][]byte) [][]byte { l[9] = other.events[9]; return l })
			return p
		}, FindingEvent, `It belongs to the machine "thirlbeck-1994"`},
		{"cut the last line short", func(p []part) []part {
			e := find(p, fileEvents)
			e.data = e.data[:len(e.data)-20]
			return p
		}, FindingEvent, "cut short"},
		{"space in an event", func(p []part) []part {
			rewrite(p, func(l [][]byte) [][]byte { l[5] = append(l[5], ' '); return l })
			return p
		}, FindingEvent, "not in canonical form"},
		{"swap two photos", func(p []part) []part {
			a, b := find(p, preview1), find(p, preview2)
			a.data, b.data = b.data, a.data
			return p
		}, FindingPhoto, `It should show photo ph-1 ("tank, left side"), and holds the picture of photo ph-2 ("front drum")`},
		{"another picture", func(p []part) []part { find(p, preview1).data = picture(7); return p }, FindingPhoto, `not the picture that was recorded as photo ph-1 ("tank, left side")`},
		{"take a picture out", func(p []part) []part {
			return slices.DeleteFunc(p, func(x part) bool { return x.name == preview1 })
		}, FindingMissing, "manifest does not say why"},
		{"put the withheld picture in", func(p []part) []part {
			return append(p, part{photoName(digestOf(picture(3))), picture(3)})
		}, FindingEdition, "frame number"},
		{"put an unknown picture in", func(p []part) []part {
			return append(p, part{photoName(digestOf(picture(7))), picture(7)})
		}, FindingUnknown, "No event names this picture"},
		{"put a private value in", func(p []part) []part {
			for digest, doc := range s.private {
				return append(p, part{privateName(digest), doc})
			}
			return p
		}, FindingEdition, "public edition"},
		{"an older checkpoint", func(p []part) []part {
			find(p, fileCheckpoint).data = find(unpack(t, older.bundle(EditionPublic)), fileCheckpoint).data
			return p
		}, FindingCheckpoint, "older checkpoint"},
		{"the checkpoint of another machine", func(p []part) []part {
			find(p, fileCheckpoint).data = find(unpack(t, other.bundle(EditionPublic)), fileCheckpoint).data
			return p
		}, FindingCheckpoint, "thirlbeck-1994"},
		{"signed by another", func(p []part) []part {
			c, err := ParseCheckpoint(find(p, fileCheckpoint).data)
			require.NoError(t, err)
			find(p, fileCheckpoint).data, err = SignCheckpoint(c, forger)
			require.NoError(t, err)
			find(p, fileKey).data = []byte(forged + "\n")
			return p
		}, FindingSignature, "No key that you trust signed this checkpoint"},
		{"another key beside a right checkpoint", func(p []part) []part {
			find(p, fileKey).data = []byte(forged + "\n")
			return p
		}, FindingSignature, "The key in the bundle is not the one that signed it"},
		{"a name that leads out", func(p []part) []part { return append(p, part{"../evil.txt", nil}) }, FindingName, "lead out"},
		{"an absolute name", func(p []part) []part { return append(p, part{"/etc/evil", nil}) }, FindingName, "lead out"},
		{"a name with a backslash", func(p []part) []part { return append(p, part{`photos\..\evil`, nil}) }, FindingName, "lead out"},
		{"a name twice", func(p []part) []part { return append(p, part{fileReadme, []byte("another")}) }, FindingName, "two files of that name"},
		{"an unknown name", func(p []part) []part { return append(p, part{"setup.exe", nil}) }, FindingUnknown, "setup.exe"},
		{"no events", func(p []part) []part {
			return slices.DeleteFunc(p, func(x part) bool { return x.name == fileEvents })
		}, FindingMissing, fileEvents},
		{"no checkpoint", func(p []part) []part {
			return slices.DeleteFunc(p, func(x part) bool { return x.name == fileCheckpoint })
		}, FindingMissing, fileCheckpoint},
	} {
		t.Run(x.name, func(t *testing.T) {
			parts := x.change(unpack(t, s.bundle(EditionPublic)))
			s.reseal(parts, forger, nil)
			r, err := check1(pack(t, parts, s.at), s.verifier)
			require.Equal(t, registry.CodeTampered, registry.CodeOf(err))
			requireFinding(t, r, x.code, x.what)
		})
	}
}

// TestSealedTamper is the worst forger: one who holds the registry's own key.
// What the events themselves say still gives him away.
func TestSealedTamper(t *testing.T) {
	build := func(change func(registry.Body)) (Report, error) {
		s := newShop(t, "drover-1957").fill()
		again := newShop(t, "drover-1957")
		again.photos, again.private = s.photos, s.private
		for _, e := range s.dossier.Entries() {
			change(e.Body)
			again.record(e.Body)
		}
		return check1(again.bundle(EditionPublic), s.verifier)
	}
	r, err := build(func(registry.Body) {})
	require.NoError(t, err, "%+v", r.Findings)
	for _, x := range []struct {
		name, code, what string
		change           func(registry.Body)
	}{
		{"a better figure", FindingEstimate, "fuel.tank/origin of c-tank (origin/1) is not what its method gives", func(b registry.Body) {
			if c, ok := b.(*registry.Claim); ok {
				c.Estimate.Result = bytes.Replace(c.Estimate.Result, []byte(`"original":0.`), []byte(`"original":0.9`), 1)
			}
		}},
		{"a higher ceiling", FindingOffer, "not what the owner was asked", func(b registry.Body) {
			if p, ok := b.(*registry.Proposal); ok {
				p.Offer.Ceiling, _ = registry.ParseMoney("140.00", "GBP")
			}
		}},
		{"an answer to another offer", FindingDecision, "answers another offer", func(b registry.Body) {
			if d, ok := b.(*registry.Decision); ok {
				d.Digest = digestOf([]byte("another"))
			}
		}},
		{"an answer to nothing", FindingDecision, "nothing of that name was asked", func(b registry.Body) {
			if d, ok := b.(*registry.Decision); ok {
				d.On = "p-9"
			}
		}},
		{"an option that was not offered", FindingDecision, "not offered", func(b registry.Body) {
			if d, ok := b.(*registry.Decision); ok {
				d.Options = []string{"opt-9"}
			}
		}},
		{"a survey changed under its seal", FindingSeal, "seal", func(b registry.Body) {
			if s, ok := b.(*registry.Survey); ok {
				s.Origin = "donor"
			}
		}},
	} {
		t.Run(x.name, func(t *testing.T) {
			r, err := build(x.change)
			require.Equal(t, registry.CodeTampered, registry.CodeOf(err))
			requireFinding(t, r, x.code, x.what)
		})
	}
	t.Run("a method of a newer program", func(t *testing.T) {
		r, err := build(func(b registry.Body) {
			if c, ok := b.(*registry.Claim); ok {
				c.Estimate.Method = "origin/99"
			}
		})
		require.NoError(t, err, "not a finding")
		require.Len(t, r.NotRecomputed, 1)
		require.Equal(t, 3, r.Estimates)
	})
}

func TestEditionAndManifestLies(t *testing.T) {
	s := newShop(t, "drover-1957").fill()
	for name, change := range map[string]func(*Manifest){
		"edition":  func(m *Manifest) { m.Edition = EditionPrivate },
		"version":  func(m *Manifest) { m.Version++ },
		"machine":  func(m *Manifest) { m.Machine = "other" },
		"name":     func(m *Manifest) { m.Name = "A better one" },
		"invented": func(m *Manifest) { m.Invented = false },
		"head":     func(m *Manifest) { m.Head = m.Head[1:] + "0" },
		"root":     func(m *Manifest) { m.Root = "" },
		"origin":   func(m *Manifest) { m.Origin += "x" },
		"date":     func(m *Manifest) { m.MadeAt = m.MadeAt.Add(time.Second) },
		"photos":   func(m *Manifest) { m.Withheld.Photos = nil },
		"values":   func(m *Manifest) { m.Withheld.Private = m.Withheld.Private[1:] },
		"why":      func(m *Manifest) { m.Withheld.Private[0].Why = whyErased },
		"extra": func(m *Manifest) {
			m.Withheld.Private = append(m.Withheld.Private, WithheldValue{digestOf(nil), whyEdition})
		},
		"program": func(m *Manifest) { m.Program = "another" },
	} {
		t.Run(name, func(t *testing.T) {
			parts := unpack(t, s.bundle(EditionPublic))
			signer := s.signer // the forger holds the key, but for what only the signature covers
			if name == "program" {
				signer = ""
			}
			s.reseal(parts, signer, change)
			_, err := check1(pack(t, parts, s.at), s.verifier)
			require.Equal(t, registry.CodeTampered, registry.CodeOf(err))
		})
	}
	t.Run("a file too much in the manifest", func(t *testing.T) {
		parts := unpack(t, s.bundle(EditionPublic))
		m, err := readManifest(find(parts, fileManifest).data)
		require.NoError(t, err)
		m.Files = append(m.Files, ManifestFile{photoName(digestOf(nil)), 0, hexOf(digestOf(nil))}, ManifestFile{"more.txt", 0, hexOf(digestOf(nil))})
		find(parts, fileManifest).data, err = m.encode()
		require.NoError(t, err)
		r, _ := check1(pack(t, parts, s.at), s.verifier)
		requireFinding(t, r, FindingMissing, "The manifest lists it")
		requireFinding(t, r, FindingManifest, "more.txt, which no bundle holds")
	})
	t.Run("an unknown key in the manifest", func(t *testing.T) {
		parts := unpack(t, s.bundle(EditionPublic))
		p := find(parts, fileManifest)
		p.data = bytes.Replace(p.data, []byte(`{"catalog"`), []byte(`{"better":1,"catalog"`), 1)
		r, _ := check1(pack(t, parts, s.at), s.verifier)
		requireFinding(t, r, FindingManifest, "better")
	})
	t.Run("a newer format", func(t *testing.T) {
		parts := unpack(t, s.bundle(EditionPublic))
		p := find(parts, fileManifest)
		p.data = bytes.Replace(p.data, []byte(`"format":1`), []byte(`"format":2`), 1)
		_, err := check1(pack(t, parts, s.at), s.verifier)
		require.Equal(t, registry.CodeUnsupported, registry.CodeOf(err))
	})
	t.Run("a private edition passed off as public", func(t *testing.T) {
		parts := unpack(t, s.bundle(EditionPrivate))
		s.reseal(parts, s.signer, func(m *Manifest) { m.Edition = EditionPublic })
		r, _ := check1(pack(t, parts, s.at), s.verifier)
		requireFinding(t, r, FindingEdition, "withheld value")
		requireFinding(t, r, FindingEdition, "frame number")
	})
}

// zipWith packs with archive/zip, for what the program never makes.
func zipWith(t *testing.T, fill func(z *zip.Writer)) []byte {
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	fill(z)
	require.NoError(t, z.Close())
	return b.Bytes()
}

func TestArchiveLimits(t *testing.T) {
	zeros := func(z *zip.Writer, name string, n int64) {
		w, err := z.Create(name)
		require.NoError(t, err)
		_, err = io.CopyN(w, zero{}, n)
		require.NoError(t, err)
	}
	for _, x := range []struct {
		name, code, what string
		fill             func(z *zip.Writer)
	}{
		{"a bomb", FindingLimit, "built to fill the disk", func(z *zip.Writer) { zeros(z, fileEvents, 40<<20) }},
		{"a text too large", FindingLimit, "such a file has at most", func(z *zip.Writer) {
			w, err := z.CreateHeader(&zip.FileHeader{Name: fileReadme, Method: zip.Store})
			require.NoError(t, err)
			_, err = io.CopyN(w, zero{}, maxTextBytes+1)
			require.NoError(t, err)
		}},
		{"too many files", FindingLimit, "files", func(z *zip.Writer) {
			for i := range maxEntries + 1 {
				_, err := z.CreateHeader(&zip.FileHeader{Name: fmt.Sprint(i)})
				require.NoError(t, err)
			}
		}},
		{"a link", FindingName, "not a plain file", func(z *zip.Writer) {
			h := &zip.FileHeader{Name: fileReadme}
			h.SetMode(fs.ModeSymlink | 0o777)
			w, err := z.CreateHeader(h)
			require.NoError(t, err)
			_, _ = w.Write([]byte("/etc/passwd"))
		}},
		{"a folder", FindingName, "not a plain file", func(z *zip.Writer) {
			_, err := z.Create("photos/")
			require.NoError(t, err)
		}},
	} {
		t.Run(x.name, func(t *testing.T) {
			r, err := check1(zipWith(t, x.fill))
			require.Equal(t, registry.CodeTampered, registry.CodeOf(err))
			requireFinding(t, r, x.code, x.what)
		})
	}
}

type zero struct{}

func (zero) Read(b []byte) (int, error) { clear(b); return len(b), nil }

// TestRepacked: an archive that others packed anew is told apart, and can be
// taken for what its files hold.
func TestRepacked(t *testing.T) {
	s := newShop(t, "drover-1957").fill()
	parts := unpack(t, s.bundle(EditionPrivate))
	b := zipWith(t, func(z *zip.Writer) {
		for _, p := range parts {
			w, err := z.Create(p.name)
			require.NoError(t, err)
			_, _ = w.Write(p.data)
		}
	})
	r, err := check1(b, s.verifier)
	require.Equal(t, registry.CodeTampered, registry.CodeOf(err))
	require.Len(t, r.Findings, 1)
	requireFinding(t, r, FindingArchive, "packed anew")
	r, err = Verify(bytes.NewReader(b), int64(len(b)), VerifyOptions{Keys: []string{s.verifier}, Repacked: true})
	require.NoError(t, err)
	require.False(t, r.Canonical)
	require.Len(t, r.Notes, 1)
}

func TestAgainst(t *testing.T) {
	s := newShop(t, "drover-1957").fill()
	older := s.bundle(EditionPublic)
	s.record(&registry.Check{Common: registry.Common{ID: "ch-1"}, What: "tank holds", Outcome: "passed", By: "tamsin"})
	newer := s.bundle(EditionPrivate)

	fork := newShop(t, "drover-1957").fill()
	fork.record(&registry.Check{Common: registry.Common{ID: "ch-1"}, What: "tank leaks", Outcome: "failed", By: "tamsin"})
	other := newShop(t, "thirlbeck-1994").fill()
	source := func(b []byte) Source { return Source{bytes.NewReader(b), int64(len(b))} }
	opts := VerifyOptions{Keys: []string{s.verifier}}

	c, err := VerifyAgainst(source(newer), source(older), opts)
	require.NoError(t, err)
	require.Equal(t, len(s.events)-1, c.Common)
	_, err = VerifyAgainst(source(newer), source(newer), opts)
	require.NoError(t, err)

	for _, x := range []struct {
		name         string
		newer, older []byte
		code, what   string
	}{
		{"the wrong way round", older, newer, FindingOrder, "the wrong way round"},
		{"a fork of the same length", newer, fork.bundle(EditionPublic), FindingFork, fmt.Sprintf("from event %d on (check ch-1)", len(s.events))},
		{"signed twice", newer, fork.bundle(EditionPublic), FindingFork, "The same registry has signed both"},
		{"two machines", other.bundle(EditionPublic), older, FindingFork, "two machines"},
	} {
		t.Run(x.name, func(t *testing.T) {
			c, err := VerifyAgainst(source(x.newer), source(x.older), opts)
			require.Equal(t, registry.CodeTampered, registry.CodeOf(err))
			require.True(t, slices.ContainsFunc(c.Findings, func(f Finding) bool { return f.Code == x.code && strings.Contains(f.What, x.what) }), "%+v", c.Findings)
		})
	}
	// A longer fork does not continue the older history.
	fork.record(&registry.Check{Common: registry.Common{ID: "ch-2"}, What: "again", Outcome: "failed", By: "tamsin"})
	c, err = VerifyAgainst(source(fork.bundle(EditionPublic)), source(newer), opts)
	require.Equal(t, registry.CodeTampered, registry.CodeOf(err))
	require.Contains(t, c.Findings[0].What, "does not continue")
	// A damaged older bundle is its own finding.
	bad := bytes.Clone(older)
	bad[len(bad)/2] ^= 1
	_, err = VerifyAgainst(source(newer), source(bad), opts)
	require.Equal(t, registry.CodeTampered, registry.CodeOf(err))
}

// TestFindingsAreOneSentence: each can stand in a list as it is.
func TestFindingsMarshal(t *testing.T) {
	r, err := check1([]byte("not a bundle"))
	require.Equal(t, registry.CodeTampered, registry.CodeOf(err))
	raw, err := json.Marshal(r)
	require.NoError(t, err)
	require.Contains(t, string(raw), `"findings":[{"code":"archive"`)
}

func FuzzVerify(f *testing.F) {
	s := newShop(f, "drover-1957").fill()
	f.Add(s.bundle(EditionPublic))
	f.Add(s.bundle(EditionPrivate))
	f.Add([]byte{})
	f.Fuzz(func(t *testing.T, b []byte) {
		r, err := check1(b)
		if err == nil && len(r.Findings) > 0 {
			t.Fatal("findings without an error")
		}
	})
}

// FuzzEvents puts the fuzzed text where the events stand, since a fuzzer does
// not find its way through checksums.
func FuzzEvents(f *testing.F) {
	s := newShop(f, "drover-1957").fill()
	b := s.bundle(EditionPublic)
	f.Add(find(unpack(f, b), fileEvents).data)
	f.Fuzz(func(t *testing.T, events []byte) {
		parts := unpack(t, b)
		same := bytes.Equal(find(parts, fileEvents).data, events)
		find(parts, fileEvents).data = events
		if _, err := check1(pack(t, parts, s.at)); (err == nil) != same {
			t.Fatalf("changed events verify: %v", err)
		}
	})
}

// TestMutatedEventsAreFound changes the events at random, in ways that keep them
// near to JSON. None may verify, and none may stop the program.
func TestMutatedEventsAreFound(t *testing.T) {
	s := newShop(t, "drover-1957").fill()
	b := s.bundle(EditionPublic)
	whole := find(unpack(t, b), fileEvents).data
	r := rand.New(rand.NewPCG(5, 7))
	for n := range 150 {
		events := bytes.Clone(whole)
		for range 1 + r.IntN(4) {
			i := r.IntN(len(events))
			j := min(len(events), i+r.IntN(60))
			switch r.IntN(4) {
			case 0:
				events[i] = `0123456789eE.-+"{}[],:`[r.IntN(22)]
			case 1:
				events[i] ^= 1 << r.IntN(8)
			case 2:
				events = slices.Delete(events, i, j)
			case 3:
				events = slices.Insert(events, j, events[i:j]...)
			}
		}
		if bytes.Equal(events, whole) {
			continue
		}
		parts := unpack(t, b)
		find(parts, fileEvents).data = events
		s.reseal(parts, "", nil)
		_, err := check1(pack(t, parts, s.at))
		require.Equal(t, registry.CodeTampered, registry.CodeOf(err), "mutation %d", n)
	}
}
