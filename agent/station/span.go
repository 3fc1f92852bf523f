package station

import (
	"fmt"
	"time"
)

// Span is a length of time in its two largest units, which are read alike in all
// languages of the page: "3 h 12 min".
func Span(d time.Duration) string {
	days, hours := int(d/(24*time.Hour)), int(d/time.Hour)%24
	minutes, seconds := int(d/time.Minute)%60, int(d/time.Second)%60
	switch {
	case days > 0:
		return fmt.Sprintf("%d d %d h", days, hours)
	case hours > 0:
		return fmt.Sprintf("%d h %d min", hours, minutes)
	case minutes > 0:
		return fmt.Sprintf("%d min %d s", minutes, seconds)
	}
	return fmt.Sprintf("%d s", seconds)
}
