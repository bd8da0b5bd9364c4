package replica_test

import (
	"fmt"
	"strings"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// said writes findings out for a test to look into: each code with the values of its
// arguments, in order, one finding a line.
func said(fs ...*recordv1.Finding) string {
	var lines []string
	for _, f := range fs {
		if f == nil {
			continue
		}
		line := f.GetCode()
		for _, a := range f.GetArgs() {
			switch a.GetKind() {
			case recordv1.ArgKind_ARG_KIND_NAMES:
				line += " " + strings.Join(a.GetNames(), ",")
			case recordv1.ArgKind_ARG_KIND_NUMBER:
				line += fmt.Sprintf(" %d", a.GetNumber())
			case recordv1.ArgKind_ARG_KIND_FINDINGS:
				line += " [" + said(a.GetFindings()...) + "]"
			default:
				line += " " + a.GetText()
			}
		}
		lines = append(lines, line)
	}
	return strings.Join(lines, "\n")
}
