package panel

import (
	"net/http"
	"slices"

	"benchtally/agent/words"
)

// languageCookie remembers the language of a browser.
const languageCookie = "language"

// language is the one that a request names, that its browser chose, or the shop's.
func (s *server) language(r *http.Request) string {
	if asked := r.URL.Query().Get("lang"); slices.Contains(words.Languages(), asked) {
		return asked
	}
	if c, err := r.Cookie(languageCookie); err == nil && slices.Contains(words.Languages(), c.Value) {
		return c.Value
	}
	if l := s.board.shop.Language; slices.Contains(words.Languages(), l) {
		return l
	}
	return words.English
}

func (s *server) chooseLanguage(w http.ResponseWriter, r *http.Request) {
	form, status, err := readForm(w, r)
	if err != nil {
		http.Error(w, err.Error(), status)
		return
	}
	chosen := form.Get("language")
	if !slices.Contains(words.Languages(), chosen) {
		http.Error(w, "There is no such language. Choose one of those that are shown.", http.StatusBadRequest)
		return
	}
	http.SetCookie(w, &http.Cookie{
		Name: languageCookie, Value: chosen, Path: "/", MaxAge: 400 * 24 * 3600, // browsers keep none longer
		HttpOnly: true, Secure: s.secure(r), SameSite: http.SameSiteLaxMode,
	})
	http.Redirect(w, r, "/", http.StatusSeeOther)
}

// tongueView is for choosing a language, each by its own name.
type tongueView struct {
	frame
	Keys []key
}

func languageView(a asked) (any, string) {
	a.Title = a.t.Say("Language")
	v := tongueView{frame: a.frame}
	for _, l := range words.Languages() {
		v.Keys = append(v.Keys, key{Label: words.Name(l), ID: l, Here: l == a.Lang()})
	}
	return v, ""
}
