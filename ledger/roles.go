package ledger

import recordv1 "yardhasp/proto/yardhasp/record/v1"

// The roles of people, short.
const (
	authorised = recordv1.Role_ROLE_AUTHORISED
	affected   = recordv1.Role_ROLE_AFFECTED
	supervisor = recordv1.Role_ROLE_SUPERVISOR
	manager    = recordv1.Role_ROLE_MANAGER
	contractor = recordv1.Role_ROLE_CONTRACTOR
)

// roleWords are what commands and the catalogue of words call the roles.
var roleWords = map[recordv1.Role]string{
	authorised: "authorised", affected: "affected", supervisor: "supervisor", manager: "manager", contractor: "contractor",
}

// RoleName is the role as 1910.147(b) has it: "authorised employee".
func RoleName(r recordv1.Role) string {
	if r == authorised || r == affected {
		return roleWords[r] + " employee"
	}
	return roleWords[r]
}

// ParseRole reads a role by its word or its name: "authorised", "contractor".
func ParseRole(word string) (recordv1.Role, bool) {
	for r, w := range roleWords {
		if word == w || word == RoleName(r) {
			return r, true
		}
	}
	return recordv1.Role_ROLE_UNSPECIFIED, false
}
