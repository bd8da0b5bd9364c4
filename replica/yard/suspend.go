package yard

// Suspend tells the Yard to write nothing for now, because of why; "" lets it
// again. What it has handed out stops counting, as with any leaving of SERVING.
func (y *Yard) Suspend(why string) {
	y.asleep = why
	if why != "" {
		y.leave()
	}
}
