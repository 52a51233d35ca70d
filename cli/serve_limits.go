package cli

import (
	"strconv"
	"strings"

	"example.org/asfound/server"
)

// limits reads how much one visitor may ask: NAME=AT-ONCE/A-MINUTE or NAME=off.
func limits(list []string) (out server.Limits, err error) {
	by := map[string]*server.Limit{"writes": &out.Writes, "costly": &out.Costly, "guesses": &out.Guesses}
	for _, text := range given(list) {
		name, value, _ := strings.Cut(text, "=")
		once, minute, _ := strings.Cut(value, "/")
		to := by[name]
		if to != nil && value == "off" {
			*to = server.Limit{AtOnce: -1}
			continue
		}
		atOnce, onceErr := strconv.Atoi(once)
		perMinute, minuteErr := strconv.Atoi(minute)
		if to == nil || onceErr != nil || minuteErr != nil || atOnce < 1 || perMinute < 1 {
			return out, badFlag("--limits", text, "writes=1200/600, costly=120/60 or guesses=off")
		}
		*to = server.Limit{AtOnce: atOnce, PerMinute: perMinute}
	}
	return out, nil
}
