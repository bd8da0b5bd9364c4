package cli

import recordv1 "yardhasp/proto/yardhasp/record/v1"

// remedyOf says what would meet a condition, with the command that records it.
func (a *App) remedyOf(c *recordv1.Finding) string {
	remedy, next := a.words().Remedy(c), a.words().Next(c)
	switch {
	case next == "":
		return remedy
	case remedy == "":
		return "\"" + next + "\""
	}
	return remedy + ": \"" + next + "\""
}
