package panel

import (
	"fmt"
	"slices"
	"strconv"

	"benchtally/agent/station"
)

// scrapView are the reasons why an end or an assembly is given up, as keys.
func scrapView(a asked) (any, string) {
	o, q := a.View.Order, a.r.URL.Query()
	if o == nil {
		return nil, "/"
	}
	t := a.t
	pairs := []string{"piece", q.Get("piece")}
	a.Title = t.Say("Scrap piece %d", pieceNumber(q.Get("piece")))
	if n, err := strconv.Atoi(q.Get("assembly")); err == nil && n > 0 {
		pairs = []string{"assembly", strconv.Itoa(n)}
		a.Title, a.Up = t.Say("Scrap assembly %d", n), fmt.Sprintf("/assembly/%d", n)
	} else if pieceNumber(q.Get("piece")) == 0 {
		return nil, "/last"
	}
	v := keysView{frame: a.frame, Text: t.Say("Why?")}
	var list []string
	list, v.further = part(a, a.shop.Reasons)
	for _, reason := range list {
		f := touch(upper(t.Sentence(reason)), string(station.DoScrap), append(slices.Clone(pairs), "reason", reason)...)
		f.ID = ""
		v.Keys = append(v.Keys, key{Form: f})
	}
	v.typed(a, t.Say("Scrap"), a.Words("reason", t.Say("Reason"), "", 128), string(station.DoScrap), pairs...)
	return v, ""
}
