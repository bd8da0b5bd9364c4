package ledger

import (
	"fmt"
	"strings"
)

// enumWord is the word of the catalogue for a value of the contract: its name
// without the prefix, "bin-entry" for PERMIT_KIND_BIN_ENTRY. The commands take the
// same words.
func enumWord(v fmt.Stringer, prefix string) string {
	return strings.ToLower(strings.ReplaceAll(strings.TrimPrefix(v.String(), prefix), "_", "-"))
}
