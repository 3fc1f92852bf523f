package panel

import (
	"strings"

	"benchtally/agent/words"
)

// views are all pages, by their paths. Each has one noun and a template of its
// own name.
func views() map[string]view {
	return map[string]view{
		"/{$}":               {"board", "", boardView},
		"/menu":              {"menu", "/", menuView},
		"/order":             {"order", "/menu", orderView},
		"/order/change":      {"keys", "/order", changeView},
		"/order/lots":        {"lots", "/order/change", lotsView},
		"/start":             {"keys", "/menu", startView},
		"/start/typed":       {"typed", "/start", typedView},
		"/assemblies":        {"assemblies", "/order", assembliesView},
		"/assembly/{n}":      {"assembly", "/assemblies", assemblyView},
		"/assembly/{n}/{do}": {"told", "", toldView},
		"/setting":           {"setting", "/menu", settingView},
		"/last":              {"last", "/menu", lastView},
		"/last/measure":      {"keys", "/last", measureView},
		"/scrap":             {"keys", "/last", scrapView},
		"/sign":              {"sign", "/", signView},
		"/cage":              {"cage", "/menu", cageView},
		"/cage/load":         {"keys", "/cage", loadView},
		"/cage/teardown":     {"teardown", "/cage", teardownView},
		"/caliper":           {"caliper", "/menu", caliperView},
		"/caliper/checks":    {"checks", "/caliper", checksView},
		"/who":               {"who", "/menu", whoView},
		"/who/pin":           {"pin", "/who", pinView},
		"/pictures":          {"pictures", "/papers", picturesView},
		"/papers":            {"keys", "/menu", papersView},
		"/language":          {"language", "/menu", languageView},
		"/links":             {"links", "/menu", linksView},
	}
}

func boardView(a asked) (any, string) { return newMoment(a.frame), "" }

// keysView is a view of keys alone.
type keysView struct {
	frame
	further
	Text   string // above the keys
	Keys   []key
	Typing *typing
}

// further is where the rest of a list is that is too long for one screen; "" is
// nowhere.
type further struct {
	Prev, Next string
	Type       string // view where what is not listed is typed
}

// typing is a form of one field, for what no key is there for.
type typing struct {
	Form  form
	Field field
	Label string
}

// typed lets something be typed that is not listed, on a view of its own that is
// this one with typed in its address.
func (v *keysView) typed(a asked, label string, x field, do string, pairs ...string) {
	if a.r.URL.Query().Has("typed") {
		v.Up = a.r.URL.Path
		if q := a.r.URL.Query(); len(q) > 1 {
			q.Del("typed")
			v.Up += "?" + q.Encode()
		}
		v.Typing = &typing{Form: a.Open(do, pairs...), Field: x, Label: label}
		return
	}
	q := a.r.URL.Query()
	q.Set("typed", "")
	q.Del("answer")
	v.Type = a.r.URL.Path + "?" + q.Encode()
}

// menu is the ways to all other views.
type menu struct {
	keysView
	Tongues string // what the page speaks, so that it is found by who reads none of the rest
}

func menuView(a asked) (any, string) {
	t := a.t
	a.Title = t.Say("More")
	v := menu{keysView: keysView{frame: a.frame}}
	v.Keys = []key{
		{Label: t.Say("Order"), Href: "/order"},
		{Label: t.Say("Last stroke"), Href: "/last"},
		{Label: t.Say("Setting"), Href: "/setting"},
		{Label: t.Say("Cage"), Href: "/cage"},
		{Label: t.Say("Caliper"), Href: "/caliper"},
		{Label: t.Say("Who"), Href: "/who"},
	}
	if a.s.desk.Paper != nil || a.s.desk.Series != nil {
		v.Keys = append(v.Keys, key{Label: t.Say("Papers"), Href: "/papers"})
	}
	v.Keys = append(v.Keys, key{Label: t.Say("Devices"), Href: "/links"})
	v.Tongues = strings.ToUpper(strings.Join(words.Languages(), " "))
	return v, ""
}

// listView shows devices.
type listView struct {
	frame
	Links []link
}

func linksView(a asked) (any, string) {
	a.Title = a.t.Say("Devices")
	return listView{a.frame, a.newLinks()}, ""
}
