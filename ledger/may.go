package ledger

import (
	"slices"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// May says who may do an act. The zero value is not valid: a row without it is
// incomplete.
type May struct {
	stated    bool
	roles     []recordv1.Role
	qualified bool
	own       bool
}

// anybody: every enrolled person may.
func anybody() May { return May{stated: true} }

// whoHas: a person with one of the roles.
func whoHas(roles ...recordv1.Role) May { return May{stated: true, roles: roles} }

// whoIsQualified: a qualified person, 1910.399.
func whoIsQualified() May { return May{stated: true, qualified: true} }

// ofTheirOwn: a person may do it only about their own lock, sign-on or request. The rule
// of the act checks that. A person with one of the roles, if any are given, may also.
func ofTheirOwn(roles ...recordv1.Role) May { return May{stated: true, own: true, roles: roles} }

// Roles are the roles of which the person needs one. None: every enrolled person may.
func (m May) Roles() []recordv1.Role { return slices.Clone(m.roles) }

// Qualified reports whether only a qualified person may.
func (m May) Qualified() bool { return m.qualified }

// Own reports whether the act may only be about the signer's own.
func (m May) Own() bool { return m.own }

// Allows reports whether a person may, judged only by role and qualification.
func (m May) Allows(p *Person) bool {
	switch {
	case p == nil || !m.stated:
		return false
	case m.qualified && !p.Qualified:
		return false
	}
	return len(m.roles) == 0 || p.Has(m.roles...)
}

// Word is the catalogue word for who may, such as "authorised-supervisor-manager" or
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
