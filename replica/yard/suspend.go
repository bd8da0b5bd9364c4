package yard

import recordv1 "yardhasp/proto/yardhasp/record/v1"

// Suspend tells the Yard to write nothing for now, and why; nil lets it again. What
// it has handed out stops counting, as with any leaving of SERVING.
func (y *Yard) Suspend(because *recordv1.Finding) {
	y.suspended = because
	if because != nil {
		y.leave()
	}
}
