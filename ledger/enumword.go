package ledger

import (
	"fmt"
	"strings"
)

// enumWord is the catalogue word for a value of the contract: its name without the
// prefix, such as "bin-entry" for PERMIT_KIND_BIN_ENTRY. Commands take the same words.
func enumWord(v fmt.Stringer, prefix string) string {
	return strings.ToLower(strings.ReplaceAll(strings.TrimPrefix(v.String(), prefix), "_", "-"))
}
