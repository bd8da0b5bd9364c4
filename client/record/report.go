package record

import (
	"fmt"
	"io"
	"strings"

	"yardhasp/client/unit"
	"yardhasp/client/wrap"
)

// A page is PageLines lines of at most PageWidth characters, with a form feed between
// pages. Only a name longer than a line exceeds the width.
const (
	PageWidth = 80
	PageLines = 60
)

// nothing stands in a section without records. It does not say that nothing happened.
const nothing = "nothing recorded"

// Report writes the history for printing: certificates first, then every entry. If us is
// set, it writes the customary units of the United States beside SI.
func (h *History) Report(w io.Writer, us bool) error {
	b := &body{us: us}
	h.locks(b)
	h.readings(b)
	h.removals(b)
	h.handOvers(b)
	h.training(b)
	h.inspections(b)
	h.entries(b)
	b.section("How to check this report", "")
	b.item(fmt.Sprintf("\"yardhasp verify FILE\" of the export it was made from, or of any that ends at size %d, computes root %s with no yard at hand.", h.Rests.Size, h.Rests.Root))
	head := h.heading(0, 0)
	room := PageLines - len(head)
	pages := (len(b.lines) + room - 1) / room
	for n := range pages {
		page := append(h.heading(n+1, pages), b.lines[n*room:min((n+1)*room, len(b.lines))]...)
		text := strings.Join(page, "\n") + "\n"
		if n > 0 {
			text = "\f" + text
		}
		if _, err := io.WriteString(w, text); err != nil {
			return err
		}
	}
	return nil
}

// heading stands on every page: whose history, as of when, the root, which page, and
// that it is no permission.
func (h *History) heading(n, of int) []string {
	r := h.Rests
	number := fmt.Sprintf("page %d of %d", n, of)
	title := r.Coop + ": history of isolation"
	out := []string{title + strings.Repeat(" ", max(1, PageWidth-len([]rune(title))-len(number))) + number}
	out = append(out, wrap.Lines(fmt.Sprintf("as of %s: %s, size %d, checkpoint signed by %s; %s", stamp(r.AsOfUnixMs), h.Filter, r.Size, strings.Join(r.SignedBy, ", "), r.How), PageWidth, "", "  ")...)
	out = append(out, "root "+r.Root)
	out = append(out, wrap.Lines(r.Caution, PageWidth, "", "  ")...)
	return append(out, strings.Repeat("-", PageWidth))
}

// body is the report before it is divided into pages.
type body struct {
	lines []string
	us    bool
}

func (b *body) section(title, clause string) {
	if len(b.lines) > 0 {
		b.lines = append(b.lines, "")
	}
	if clause != "" {
		title += " (" + clause + ")"
	}
	b.lines = append(b.lines, wrap.Lines(strings.ToUpper(title[:1])+title[1:], PageWidth, "", "  ")...)
}

func (b *body) item(text string) {
	if b.us {
		text = unit.Beside(text)
	}
	b.lines = append(b.lines, wrap.Lines(text, PageWidth, "  - ", "    ")...)
}

func (b *body) sub(label, text string) {
	if text == "" {
		return
	}
	if b.us {
		text = unit.Beside(text)
	}
	b.lines = append(b.lines, wrap.Lines(label+": "+text, PageWidth, "    ", "      ")...)
}

func (b *body) none(n int) {
	if n == 0 {
		b.lines = append(b.lines, "  "+nothing)
	}
}

// who is a person's name with the id, as a certificate needs it.
func (h *History) who(id string) string {
	switch name := h.Names[id]; {
	case id == "":
		return "owner not known"
	case name == "" || name == id:
		return id
	default:
		return name + " (" + id + ")"
	}
}

func (h *History) whoAll(ids []string) string {
	var out []string
	for _, id := range ids {
		out = append(out, h.who(id))
	}
	return strings.Join(out, ", ")
}

func orDash(s string) string {
	if s == "" {
		return "-"
	}
	return s
}

func yesNo(v bool) string {
	if v {
		return "yes"
	}
	return "NO"
}
