package ledger

const dayMS = 86_400_000

// yearLater is the same time of day one calendar year later, UTC, in Unix ms. For 29
// February it is 28 February, the earlier of the two possible days.
func yearLater(ms int64) int64 {
	days, rest := ms/dayMS, ms%dayMS
	if rest < 0 {
		days, rest = days-1, rest+dayMS
	}
	y, m, d := civil(days)
	if m == 2 && d == 29 {
		d = 28
	}
	return daysOf(y+1, m, d)*dayMS + rest
}

// daysOf counts the days from 1 January 1970 to a date of the Gregorian calendar. Years
// begin in March here, so that the leap day comes last.
func daysOf(y, m, d int64) int64 {
	if m <= 2 {
		y--
	}
	era := floor(y, 400)
	yoe := y - era*400
	doy := (153*((m+9)%12)+2)/5 + d - 1
	return era*146097 + yoe*365 + yoe/4 - yoe/100 + doy - 719468
}

// civil turns a count of days back into a date.
func civil(days int64) (y, m, d int64) {
	days += 719468
	era := floor(days, 146097)
	doe := days - era*146097
	yoe := (doe - doe/1460 + doe/36524 - doe/146096) / 365
	doy := doe - (365*yoe + yoe/4 - yoe/100)
	mp := (5*doy + 2) / 153
	y, m, d = yoe+era*400, mp+3, doy-(153*mp+2)/5+1
	if m > 12 {
		m -= 12
	}
	if m <= 2 {
		y++
	}
	return y, m, d
}

func floor(a, b int64) int64 {
	if a < 0 {
		return (a - b + 1) / b
	}
	return a / b
}
