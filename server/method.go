package server

import (
	"net/http"
	"regexp"
	"strings"

	"github.com/go-chi/chi/v5"

	"example.org/asfound/docs"
	"example.org/asfound/registry"
	"example.org/asfound/scoring"
)

// MethodPage explains one method, in the words of docs/scoring.md.
type MethodPage struct {
	Base
	Name, Question string
	Blocks         []Block
}

// Block is a piece of a page of documentation.
type Block struct {
	Kind  string // "p", "li", "ol", "pre", "table" or "h"
	Spans []Span
	Items [][]Span   // of a list
	Text  string     // of "pre"
	Head  [][]Span   // of a table
	Rows  [][][]Span // of a table
}

// Span is a run of text, plain or code.
type Span struct {
	Text string
	Code bool
}

// emphasis is a run of text between two asterisks.
var emphasis = regexp.MustCompile(`\*([^* ][^*]*)\*`)

// methodSection is the section of a method.
type methodSection []Block

// keys is the table of the keys of the input; nil when the section has none.
func (m methodSection) keys() *Block {
	for i := range m {
		if m[i].Kind == "table" && len(m[i].Head) > 0 && len(m[i].Head[0]) > 0 && m[i].Head[0][0].Text == "key" {
			return &m[i]
		}
	}
	return nil
}

// methodText finds the section of a method, such as "origin/1".
func methodText(name string) (methodSection, bool) {
	_, rest, found := strings.Cut(docs.Scoring, "\n## "+name+":")
	if !found {
		return nil, false
	}
	section, _, _ := strings.Cut(rest, "\n## ")
	_, section, _ = strings.Cut(section, "\n")
	return blocks(section), true
}

// blocks reads the few forms that the documentation uses: paragraphs, lists,
// tables, headings and code.
func blocks(text string) []Block {
	var out []Block
	lines := strings.Split(text, "\n")
	for i := 0; i < len(lines); {
		line := lines[i]
		switch {
		case strings.TrimSpace(line) == "":
			i++
		case strings.HasPrefix(line, "```"):
			start := i + 1
			for i++; i < len(lines) && !strings.HasPrefix(lines[i], "```"); i++ {
			}
			out = append(out, Block{Kind: "pre", Text: strings.Join(lines[start:min(i, len(lines))], "\n")})
			i++
		case strings.HasPrefix(line, "#"):
			out = append(out, Block{Kind: "h", Spans: spans(strings.TrimLeft(line, "# "))})
			i++
		case strings.HasPrefix(line, "|"):
			b := Block{Kind: "table"}
			for ; i < len(lines) && strings.HasPrefix(lines[i], "|"); i++ {
				var row [][]Span
				for _, c := range strings.Split(strings.Trim(strings.ReplaceAll(lines[i], `\|`, "\x00"), "|"), "|") {
					row = append(row, spans(strings.TrimSpace(strings.ReplaceAll(c, "\x00", "|"))))
				}
				switch {
				case b.Head == nil:
					b.Head = row
				case !strings.HasPrefix(strings.TrimLeft(lines[i], "| "), "---"):
					b.Rows = append(b.Rows, row)
				}
			}
			out = append(out, b)
		case itemOf(line) != "":
			kind := itemOf(line)
			b := Block{Kind: kind}
			for i < len(lines) && itemOf(lines[i]) == kind {
				_, item, _ := strings.Cut(lines[i], " ")
				for i++; i < len(lines) && strings.HasPrefix(lines[i], "  ") && strings.TrimSpace(lines[i]) != ""; i++ {
					item += " " + strings.TrimSpace(lines[i])
				}
				b.Items = append(b.Items, spans(item))
			}
			out = append(out, b)
		default:
			var words []string
			for ; i < len(lines) && strings.TrimSpace(lines[i]) != "" && !strings.HasPrefix(lines[i], "```") && !strings.HasPrefix(lines[i], "|") && (len(words) == 0 || itemOf(lines[i]) == ""); i++ {
				words = append(words, strings.TrimSpace(lines[i]))
			}
			out = append(out, Block{Kind: "p", Spans: spans(strings.Join(words, " "))})
		}
	}
	return out
}

// itemOf says which list a line is an item of, "" for none.
func itemOf(line string) string {
	if strings.HasPrefix(line, "- ") {
		return "li"
	}
	number, _, ok := strings.Cut(line, ". ")
	if ok && number != "" && strings.Trim(number, "0123456789") == "" {
		return "ol"
	}
	return ""
}

// spans parts code from text, and leaves out the signs of emphasis.
func spans(text string) []Span {
	var out []Span
	for i, piece := range strings.Split(text, "`") {
		if piece == "" {
			continue
		}
		if i%2 == 0 {
			piece = strings.ReplaceAll(piece, "**", "")
			piece = emphasis.ReplaceAllString(piece, "$1")
		}
		out = append(out, Span{piece, i%2 == 1})
	}
	return out
}

func pageMethod(s *Server, r *http.Request) (answer, error) {
	asked := chi.URLParam(r, "method")
	page := MethodPage{}
	for _, m := range scoring.Methods() {
		if base, _, _ := strings.Cut(m.Name, "/"); base == asked {
			page.Name, page.Question = m.Name, m.Question
		}
	}
	text, ok := methodText(page.Name)
	if page.Name == "" || !ok {
		return nil, registry.Refuse(registry.CodeNotFound, "Follow the link beside a figure.", "There is no method %s", quoted(asked))
	}
	page.Base = Base{Title: page.Question, Version: s.Version, Crumbs: []Crumb{{"Machines", "/"}}}
	page.Blocks = text
	return htmlAnswer{name: "method", page: page}, nil
}
