package ledger

import (
	"slices"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Permit is one row of the table of who may do what. To go: see Kind.
type Permit struct {
	Kind  string
	Class Class
	// Roles that may; empty: anybody enrolled.
	Roles []recordv1.Role
	// Qualified: only a qualified person (1910.399).
	Qualified bool
	// Own: only about the signer's own lock, sign-on or request (checked by the act).
	Own bool
	// Journal: goes through a yard's journal; else straight to the quorum.
	Journal bool
	// Home: only in the journal of the point's or box's home yard.
	Home bool
	// Clause it comes from.
	Clause string
}

const (
	authorised = recordv1.Role_ROLE_AUTHORISED
	affected   = recordv1.Role_ROLE_AFFECTED
	supervisor = recordv1.Role_ROLE_SUPERVISOR
	manager    = recordv1.Role_ROLE_MANAGER
	contractor = recordv1.Role_ROLE_CONTRACTOR
)

func roles(r ...recordv1.Role) []recordv1.Role { return r }

// Permits is the whole table, in the order of the contract.
var Permits = []Permit{
	{Kind: "invite", Class: Lifts, Roles: roles(manager)},
	{Kind: "join", Class: Lifts, Own: true},
	{Kind: "register_padlock", Class: Lifts, Roles: roles(supervisor, manager), Clause: "1910.147(c)(5)(ii)"},
	{Kind: "register_point", Class: Lifts, Roles: roles(supervisor, manager)},
	{Kind: "register_box", Class: Lifts, Roles: roles(supervisor, manager), Clause: "1910.147(f)(3)"},
	{Kind: "publish_drawing", Class: Lifts, Roles: roles(supervisor, manager)},
	{Kind: "walk_drawing", Class: Lifts, Qualified: true, Clause: "NFPA 70E 120.5(1)"},
	{Kind: "revoke_key", Class: Lifts, Roles: roles(manager)},
	{Kind: "record_training", Class: Lifts, Roles: roles(supervisor, manager), Clause: "1910.147(c)(7)(iv) (unchecked)"},
	{Kind: "request", Class: Lifts, Roles: roles(authorised, supervisor, manager), Clause: "1910.147(e)"},
	{Kind: "withdraw", Class: Lifts, Own: true, Roles: roles(authorised, supervisor, manager)},
	{Kind: "expire", Class: Lifts, Own: true},
	{Kind: "removal", Class: Lifts, Roles: roles(manager), Clause: "1910.147(e)(3)"},
	{Kind: "hand_over", Class: Lifts, Own: true, Clause: "1910.147(f)(4)"},
	{Kind: "replace_key", Class: Lifts, Own: true},
	{Kind: "reissue_key", Class: Lifts, Roles: roles(manager)},
	{Kind: "claim_lock", Class: Lifts, Own: true, Clause: "1910.147(c)(5)(ii)"},
	{Kind: "acknowledge_removal", Class: Lifts, Own: true, Clause: "1910.147(e)(3)"},
	{Kind: "take_over", Class: Lifts, Roles: roles(authorised), Clause: "1910.147(f)(4)"},
	{Kind: "stand_clear", Class: Lifts, Own: true, Clause: "1910.147(f)(1)"},
	{Kind: "recover_yard", Class: Lifts, Roles: roles(manager)},
	{Kind: "lock", Class: Protects, Roles: roles(authorised, contractor), Journal: true, Clause: "1910.147(c)(8)"},
	{Kind: "found_lock", Class: Protects, Roles: roles(authorised, supervisor, manager), Journal: true},
	{Kind: "release", Class: Lifts, Own: true, Journal: true, Clause: "1910.147(e)(3)"},
	{Kind: "isolate", Class: Asserts, Roles: roles(authorised, supervisor), Journal: true, Home: true, Clause: "1910.147(d)(3)"},
	{Kind: "closed", Class: Asserts, Roles: roles(authorised, supervisor), Journal: true, Home: true},
	{Kind: "found_closed", Class: Protects, Journal: true, Home: true},
	{Kind: "energise", Class: Lifts, Roles: roles(authorised, supervisor), Journal: true, Home: true, Clause: "1910.147(e)"},
	{Kind: "box_add", Class: Lifts, Roles: roles(authorised, supervisor), Journal: true, Home: true, Clause: "1910.147(f)(3)"},
	{Kind: "box_remove", Class: Lifts, Roles: roles(authorised, supervisor), Journal: true, Home: true, Clause: "1910.147(f)(3)"},
	{Kind: "found_started", Class: Protects, Journal: true},
	{Kind: "open_job", Class: Lifts, Roles: roles(authorised, supervisor, manager), Journal: true},
	{Kind: "sign_on", Class: Protects, Roles: roles(authorised, contractor), Journal: true},
	{Kind: "sign_off", Class: Lifts, Own: true, Journal: true},
	{Kind: "shut_down", Class: Asserts, Roles: roles(authorised, affected, supervisor), Journal: true, Clause: "1910.147(d)(2)"},
	{Kind: "reading", Class: Asserts, Roles: roles(authorised, contractor), Journal: true, Clause: "1910.147(d)(6)"},
	{Kind: "found_live", Class: Protects, Journal: true},
	{Kind: "correct_found_live", Class: Lifts, Qualified: true, Journal: true},
	{Kind: "stored_released", Class: Asserts, Roles: roles(authorised), Journal: true, Clause: "1910.147(d)(5)(i)"},
	{Kind: "notice", Class: Asserts, Roles: roles(authorised, supervisor, manager), Journal: true, Clause: "1910.147(c)(9)"},
	{Kind: "clear_area", Class: Asserts, Roles: roles(authorised, supervisor), Journal: true, Clause: "1910.147(e)(1)"},
	{Kind: "tried_handle", Class: Asserts, Own: true, Journal: true, Clause: "1910.147(d)(6)"},
	{Kind: "close_job", Class: Lifts, Roles: roles(authorised, supervisor, manager), Journal: true},
	{Kind: "narrow_zone", Class: Lifts, Roles: roles(supervisor, manager), Journal: true, Home: true, Clause: walkClause},
	{Kind: "issue_permit", Class: Lifts, Roles: roles(supervisor, manager), Clause: "1910.272(g)(1)(i)"},
	{Kind: "close_permit", Class: Lifts, Roles: roles(supervisor, manager), Clause: "1910.272(g)(1)(i)"},
	{Kind: "air_reading", Class: Asserts, Roles: roles(authorised, supervisor, contractor), Journal: true, Clause: "1910.272(g)(1)(iii)"},
	{Kind: "stand_watch", Class: Asserts, Roles: roles(authorised, supervisor, manager, contractor), Journal: true, Clause: "1910.272(g)(3)"},
	{Kind: "leave_watch", Class: Protects, Journal: true},
	{Kind: "hot_work_done", Class: Asserts, Roles: roles(authorised, supervisor, contractor), Journal: true, Clause: "1910.272(f)"},
	{Kind: "fumigation_recorded", Class: Protects, Journal: true},
	{Kind: "fumigation_cleared", Class: Lifts, Roles: roles(authorised, supervisor, manager), Journal: true},
	{Kind: "move_key", Class: Asserts, Roles: roles(manager), Clause: "common practice, no source"},
	{Kind: "issue_padlock", Class: Asserts, Roles: roles(supervisor, manager), Clause: padlockClause},
	{Kind: "report_padlock", Class: Protects},
	{Kind: "clear_padlock", Class: Lifts, Roles: roles(supervisor, manager), Clause: padlockClause},
	{Kind: "review_lock", Class: Lifts, Roles: roles(supervisor, manager), Clause: "common practice, no source"},
	{Kind: "describe_point", Class: Lifts, Roles: roles(supervisor, manager), Clause: "1910.147(c)(2)"},
	{Kind: "found_choked", Class: Protects, Journal: true, Clause: chokeClause},
	{Kind: "clear_choke", Class: Lifts, Roles: roles(authorised, supervisor), Journal: true, Clause: chokeClause},
	{Kind: "publish_procedure", Class: Lifts, Roles: roles(authorised, supervisor, manager), Clause: procedureClause},
	{Kind: "approve_procedure", Class: Lifts, Roles: roles(supervisor, manager), Clause: procedureClause},
	{Kind: "require_procedures", Class: Lifts, Roles: roles(manager), Clause: procedureClause},
	{Kind: "attest_exception", Class: Lifts, Roles: roles(authorised, supervisor, manager), Clause: procedureClause},
	{Kind: "inspect_procedure", Class: Lifts, Roles: roles(authorised), Clause: inspectClause + "(A)"},
	{Kind: "set_coordinator", Class: Lifts, Roles: roles(authorised, supervisor, manager), Clause: groupClause + "(C)"},
	{Kind: "add_crew", Class: Lifts, Roles: roles(authorised, supervisor, manager), Clause: groupClause + "(A)"},
	{Kind: "answer_verification", Class: Asserts, Journal: true, Clause: "1910.147(f)(3)"},
	{Kind: "exchange_procedures", Class: Lifts, Roles: roles(supervisor, manager), Clause: outsideClause},
}

var permitByKind = func() map[string]*Permit {
	m := map[string]*Permit{}
	for i := range Permits {
		m[Permits[i].Kind] = &Permits[i]
	}
	return m
}()

// PermitFor returns the row for a kind, nil when there is none.
func PermitFor(kind string) *Permit { return permitByKind[kind] }

// may reports whether p may do the act, by role and qualification alone.
func (t *Permit) may(p *Person) bool {
	if p == nil {
		return false
	}
	if t.Qualified && !p.Qualified {
		return false
	}
	return len(t.Roles) == 0 || p.Has(t.Roles...)
}

// who says in words who may.
func (t *Permit) who() string {
	if t.Qualified {
		return "a qualified person"
	}
	if len(t.Roles) == 0 {
		return "anybody enrolled"
	}
	out := ""
	for i, r := range t.Roles {
		switch {
		case i > 0 && i == len(t.Roles)-1:
			out += " or "
		case i > 0:
			out += ", "
		}
		out += RoleName(r)
	}
	return out
}

var roleNames = map[recordv1.Role]string{
	authorised: "authorised employee", affected: "affected employee",
	supervisor: "supervisor", manager: "manager", contractor: "contractor",
}

// RoleName is the role in words.
func RoleName(r recordv1.Role) string { return roleNames[r] }

// ParseRole reads a role's first word: "authorised", "contractor".
func ParseRole(word string) (recordv1.Role, bool) {
	for _, r := range []recordv1.Role{authorised, affected, supervisor, manager, contractor} {
		if name := RoleName(r); name == word || slices.Contains([]string{"authorised employee", "affected employee"}, name) && name == word+" employee" {
			return r, true
		}
	}
	return recordv1.Role_ROLE_UNSPECIFIED, false
}
