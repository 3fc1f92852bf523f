package store

import (
	"fmt"
	"strings"
)

// Sentence tells a rescue in one sentence.
func (r Rescued) Sentence() string {
	switch {
	case r.Backup != "" && r.LostCount == 0:
		return fmt.Sprintf("the store was restored from %s: it has %d records, and nothing that was kept later is known", r.Backup, r.Records)
	case r.Backup != "":
		return fmt.Sprintf("the store was restored from %s: it has %d records, %d are not in it (%s)", r.Backup, r.Records, r.LostCount, listed(r.Lost, 6))
	case r.Was == "" && r.Records == 0:
		return fmt.Sprintf("the store could not be read at all and begins anew; the damaged file is kept as %s", r.From)
	case r.LostCount == 0:
		return fmt.Sprintf("the store was damaged: %d records were rescued, no loss is known; the damaged file is kept as %s", r.Records, r.From)
	}
	return fmt.Sprintf("the store was damaged: %d records were rescued, %d are lost (%s); the damaged file is kept as %s",
		r.Records, r.LostCount, listed(r.Lost, 6), r.From)
}

// listed names ranges, at most so many.
func listed(rs []Range, most int) string {
	var b strings.Builder
	for i, r := range rs {
		switch {
		case i == most:
			b.WriteString(" …")
			return b.String()
		case i > 0:
			b.WriteString(", ")
		}
		b.WriteString(r.String())
	}
	return b.String()
}
