package drawing

import _ "embed"

// Schema is a JSON Schema (draft 2020-12) of the YAML form, for editors that complete
// and check while people type. Parse checks more than the schema.
//
//go:embed schema.json
var Schema []byte
