package replica

import (
	"strings"

	"google.golang.org/grpc/status"
)

// sent reports whether a call that failed as unavailable may have reached the other
// side. Only after an error of dialling is it sure that it did not.
func sent(err error) bool {
	m := status.Convert(err).Message()
	return !strings.Contains(m, "connection error: desc = \"transport: ") && !strings.Contains(m, "connection refused")
}
