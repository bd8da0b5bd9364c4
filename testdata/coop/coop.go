// Package coop holds the drawings of the Three Forks Grain Co-op, a co-op of
// three yards that is an invention of ours.
package coop

import "embed"

// Files are the drawings, one file a yard: stonebend.yaml, millrow.yaml,
// eastfork.yaml. Publish Stonebend's first: links of Millrow's end there.
//
//go:embed *.yaml
var Files embed.FS
