package sheet

import (
	"bufio"
	"errors"
	"io"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
	"golang.org/x/text/transform"

	"example.org/asfound/registry"
)

// encodings is the list of those that can be named. UTF-8 has no decoder.
var encodings = []struct {
	name string
	enc  encoding.Encoding
}{
	{"utf-8", nil},
	{"utf-16le", unicode.UTF16(unicode.LittleEndian, unicode.UseBOM)},
	{"utf-16be", unicode.UTF16(unicode.BigEndian, unicode.UseBOM)},
	{"windows-1250", charmap.Windows1250},
	{"windows-1251", charmap.Windows1251},
	{"windows-1252", charmap.Windows1252},
	{"windows-1253", charmap.Windows1253},
	{"iso-8859-1", charmap.ISO8859_1},
	{"iso-8859-2", charmap.ISO8859_2},
	{"iso-8859-15", charmap.ISO8859_15},
	{"macintosh", charmap.Macintosh},
}

// Encodings names the encodings that Options.Encoding takes.
func Encodings() []string {
	names := make([]string, len(encodings))
	for i, e := range encodings {
		names[i] = e.name
	}
	return names
}

func encodingNamed(name string) (encoding.Encoding, string, error) {
	for _, e := range encodings {
		if strings.EqualFold(name, e.name) {
			return e.enc, e.name, nil
		}
	}
	return nil, "", &registry.Error{Code: registry.CodeInvalid, Message: "The encoding " + strings.ToValidUTF8(name, "?") + " is not known here",
		Fix: "Name one of: " + strings.Join(Encodings(), ", ") + "."}
}

// census is what the bytes of a text say about its encoding.
type census struct {
	mark    string // encoding that a byte order mark names
	valid   bool   // as UTF-8
	ascii   bool
	control bool // bytes that no text holds
	zeroes  [2]int64
	western bool // every byte above 127 is a letter or sign of Windows-1252
	size    int64
}

// westernDoubt are bytes that Windows-1252 leaves open, or gives to signs that
// hardly stand in a list: where one occurs, the file is in some other encoding.
// 0x81, 0x8D, 0x8F, 0x90, 0x9D are without meaning; ˆ ˜ ¤ ¦ ¬ ¯ and the soft
// hyphen are the signs.
const westernDoubt = "\x81\x8d\x8f\x90\x9d\x88\x98\xa4\xa6\xac\xad\xaf"

// take reads all of r.
func take(r io.Reader, limit int64, name string) (census, error) {
	c := census{valid: true, ascii: true, western: true}
	var doubt [256]bool
	for i := 0; i < len(westernDoubt); i++ {
		doubt[westernDoubt[i]] = true
	}
	in := bufio.NewReaderSize(r, 64<<10)
	mark, err := in.Peek(3)
	if err != nil && !errors.Is(err, io.EOF) {
		return c, err
	}
	switch {
	case len(mark) >= 2 && mark[0] == 0xff && mark[1] == 0xfe:
		c.mark = "utf-16le"
	case len(mark) >= 2 && mark[0] == 0xfe && mark[1] == 0xff:
		c.mark = "utf-16be"
	case len(mark) == 3 && string(mark) == "\xef\xbb\xbf":
		c.mark = "utf-8"
	}
	buf := make([]byte, 64<<10)
	kept := 0 // bytes of a rune that was cut by the end of the buffer
	for {
		n, err := in.Read(buf[kept:])
		chunk := buf[:kept+n]
		for i, b := range chunk[kept:] {
			switch {
			case b >= 0x80:
				c.ascii = false
				c.western = c.western && !doubt[b]
			case b == 0:
				c.zeroes[(c.size+int64(i))%2]++
			case b < 0x20 && b != '\t' && b != '\n' && b != '\r' && b != '\f' && b != 0x1a:
				c.control = true
			}
		}
		if c.size += int64(n); c.size > limit {
			return c, tooLarge(name, limit)
		}
		kept = 0
		if c.valid && !c.ascii {
			kept = cutRune(chunk)
			if err != nil {
				kept = 0
			}
			c.valid = utf8.Valid(chunk[:len(chunk)-kept])
			copy(buf, chunk[len(chunk)-kept:])
		}
		if errors.Is(err, io.EOF) {
			return c, nil
		}
		if err != nil {
			return c, err
		}
	}
}

// cutRune is how many bytes at the end begin a rune without finishing it.
func cutRune(b []byte) int {
	for n := 1; n < utf8.UTFMax && n <= len(b); n++ {
		if last := b[len(b)-n]; utf8.RuneStart(last) {
			if last >= 0x80 && !utf8.FullRune(b[len(b)-n:]) {
				return n
			}
			return 0
		}
	}
	return 0
}

// errUndecided asks for the place of the first byte that fits no encoding.
var errUndecided = errors.New("undecided")

// decide chooses the encoding: the one that was asked for, the one that the
// byte order mark names, UTF-8 when the text is valid, or Windows-1252 when
// every byte is at home there.
func (c census) decide(asked, name string) (encoding.Encoding, string, error) {
	if asked != "" {
		enc, canonical, err := encodingNamed(asked)
		if err == nil && enc == nil && !c.valid {
			return nil, canonical, errUndecided
		}
		return enc, canonical, err
	}
	if c.mark != "" && c.mark != "utf-8" {
		return encodingNamed(c.mark)
	}
	if zeroes := c.zeroes[0] + c.zeroes[1]; zeroes > 0 {
		for side, guess := range []string{"utf-16be", "utf-16le"} {
			if c.zeroes[side] > c.size/8 && c.zeroes[1-side] < c.size/100+1 {
				return nil, "", registry.Refuse(registry.CodeInvalid, "Say which: the encoding is probably "+guess+".",
					"%s looks like UTF-16 without the mark that says so", base(name))
			}
		}
		c.control = true
	}
	switch {
	case c.control:
		return nil, "", registry.Refuse(registry.CodeUnsupported, takes, "%s is neither text nor a workbook", base(name))
	case c.valid:
		return nil, "utf-8", nil
	case c.mark == "" && c.western:
		return encodingNamed("windows-1252")
	}
	return nil, "utf-8", errUndecided
}

// decoded reads r as UTF-8 without byte order mark.
func decoded(r io.Reader, enc encoding.Encoding) (*bufio.Reader, error) {
	if enc != nil {
		r = transform.NewReader(r, enc.NewDecoder())
	}
	in := bufio.NewReaderSize(r, 64<<10)
	if mark, err := in.Peek(3); err == nil && string(mark) == "\xef\xbb\xbf" {
		if _, err := in.Discard(3); err != nil {
			return nil, err
		}
	}
	return in, nil
}
