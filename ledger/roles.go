package ledger

import recordv1 "yardhasp/proto/yardhasp/record/v1"

// Short names for the roles of people.
const (
	authorised = recordv1.Role_ROLE_AUTHORISED
	affected   = recordv1.Role_ROLE_AFFECTED
	supervisor = recordv1.Role_ROLE_SUPERVISOR
	manager    = recordv1.Role_ROLE_MANAGER
	contractor = recordv1.Role_ROLE_CONTRACTOR
)

// roleWords are the words of commands and of the catalogue for the roles.
var roleWords = map[recordv1.Role]string{
	authorised: "authorised", affected: "affected", supervisor: "supervisor", manager: "manager", contractor: "contractor",
}

// RoleName is the role in the words of 1910.147(b), such as "authorised employee".
func RoleName(r recordv1.Role) string {
	if r == authorised || r == affected {
		return roleWords[r] + " employee"
	}
	return roleWords[r]
}

// ParseRole reads a role by its word or its name, such as "authorised" or "contractor".
func ParseRole(word string) (recordv1.Role, bool) {
	for r, w := range roleWords {
		if word == w || word == RoleName(r) {
			return r, true
		}
	}
	return recordv1.Role_ROLE_UNSPECIFIED, false
}
