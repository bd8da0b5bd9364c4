package ledger

import (
	"slices"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// May is who may do an act. The zero value is none: a row without it is not whole.
type May struct {
	stated    bool
	roles     []recordv1.Role
	qualified bool
	own       bool
}

// anybody: whoever is enrolled.
func anybody() May { return May{stated: true} }

// whoHas: a person with one of the roles.
func whoHas(roles ...recordv1.Role) May { return May{stated: true, roles: roles} }

// whoIsQualified: a qualified person, 1910.399.
func whoIsQualified() May { return May{stated: true, qualified: true} }

// ofTheirOwn: only about the signer's own lock, sign-on or request, which the rule
// of the act checks; one with the roles, if any are given, may also.
func ofTheirOwn(roles ...recordv1.Role) May { return May{stated: true, own: true, roles: roles} }

// Roles are those of which one is needed; none: anybody enrolled may.
func (m May) Roles() []recordv1.Role { return slices.Clone(m.roles) }

// Qualified reports whether only a qualified person may.
func (m May) Qualified() bool { return m.qualified }

// Own reports whether it is only about the signer's own.
func (m May) Own() bool { return m.own }

// Allows reports whether a person may, by role and qualification alone.
func (m May) Allows(p *Person) bool {
	switch {
	case p == nil || !m.stated:
		return false
	case m.qualified && !p.Qualified:
		return false
	}
	return len(m.roles) == 0 || p.Has(m.roles...)
}

// Word names who may in the catalogue: "authorised-supervisor-manager",
// "a-qualified-person".
func (m May) Word() string {
	if m.qualified {
		return "a-qualified-person"
	}
	out := ""
	for i, r := range m.roles {
		if i > 0 {
			out += "-"
		}
		out += roleWords[r]
	}
	if out == "" {
		return "anybody-enrolled"
	}
	return out
}
