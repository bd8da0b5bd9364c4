package ledger

import (
	"strings"
	"unicode"
	"unicode/utf8"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Name reports whether a word may be an id: 1 to 64 lower-case letters, digits
// and hyphens, starting with a letter or digit.
func Name(w string) bool {
	if w == "" || len(w) > MaxName || w[0] == '-' {
		return false
	}
	for _, c := range []byte(w) {
		if (c < 'a' || c > 'z') && (c < '0' || c > '9') && c != '-' {
			return false
		}
	}
	return true
}

// Names reports whether a path is n names joined by slashes.
func Names(path string, n int) bool {
	parts := strings.Split(path, "/")
	if len(parts) != n {
		return false
	}
	for _, p := range parts {
		if !Name(p) {
			return false
		}
	}
	return true
}

// PointName reports whether an id is "yard/panel/device".
func PointName(id string) bool { return Names(id, 3) }

// YardOf is the first part of the name of a point, box, zone or node.
func YardOf(id string) string {
	y, _, _ := strings.Cut(id, "/")
	return y
}

func text(t string) bool { return t != "" && plain(t) }

// plain reports whether a text is safe to show. Screens show it beside words of
// permission. So it must not move the cursor, break a line or change the direction of
// writing.
func plain(t string) bool {
	return len(t) <= MaxText && utf8.ValidString(t) && !strings.ContainsFunc(t, func(r rune) bool {
		return unicode.IsControl(r) || r >= 0x2028 && r <= 0x202e || r >= 0x2066 && r <= 0x2069
	})
}

func list(l []string, ok func(string) bool) bool {
	if len(l) > MaxList {
		return false
	}
	seen := map[string]bool{}
	for _, v := range l {
		if seen[v] || !ok(v) {
			return false
		}
		seen[v] = true
	}
	return true
}

func optional(w string) bool { return w == "" || Name(w) }

func refOK(r *recordv1.JournalRef) bool {
	return Name(r.GetYard()) && r.GetEpoch() > 0 && r.GetSeq() > 0
}

func targetOK(t *recordv1.Target) bool {
	switch o := t.GetOn().(type) {
	case *recordv1.Target_Point:
		return PointName(o.Point)
	case *recordv1.Target_Box:
		return Names(o.Box, 2)
	}
	return false
}

// others checks the people who sign beside the signer. Each must be named, named once,
// and not be the signer.
func others(signer string, people ...string) bool {
	return len(people) > 0 && len(people) < MaxSignatures && list(append([]string{signer}, people...), Name)
}
