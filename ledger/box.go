package ledger

// boxClause: the key in a group box is that of a lock on the point itself.
const boxClause = "1910.147(f)(3)(ii)(D); common practice, no source"

// keyOfNoLock says why the key of a point in a box holds nothing there, "" when it
// does: who locks the box is protected by the lock whose key is inside, so one must
// hang on the point, and have hung there when the key went in. Who put it in knew of
// that lock (decisions.md 18).
func (s *State) keyOfNoLock(box, point string) string {
	b := s.Boxes[box]
	if b == nil {
		return ""
	}
	put, in := b.Points[point]
	if !in {
		return ""
	}
	later := false
	for _, d := range s.holdsAt(point) {
		if d.Holder == "" || d.TagOnly() || d.StoodClear() || s.lacks(d, point) != "" {
			continue
		}
		if d.On.seenBy(put) {
			return ""
		}
		later = true
	}
	if later {
		return box + " has a key of " + point + " from before the lock that hangs there: take it out, and put the key of that lock in"
	}
	return box + " has a key of " + point + ", and no lock is recorded on " + point + ": whoever locks the box is not protected from it"
}
