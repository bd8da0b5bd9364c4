package yard

import recordv1 "yardhasp/proto/yardhasp/record/v1"

// Suspend tells the Yard to write nothing for now, and why. nil lets it write again.
// What the Yard has handed out stops counting, as whenever it leaves SERVING.
func (y *Yard) Suspend(because *recordv1.Finding) {
	y.suspended = because
	if because != nil {
		y.leave()
	}
}
