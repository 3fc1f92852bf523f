package panel

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
)

func TestPapers(t *testing.T) {
	d := newDesk()
	for _, c := range []struct {
		path string
		code int
		want string
	}{
		{"/paper?kind=certificate&id=A-1001&lang=de", 200, "%PDF A-1001 de"},
		{"/paper?kind=label&id=A-1001%2F3", 200, "%PDF A-1001/3 en"},
		{"/paper?kind=handover", 200, "%PDF  en"},
		{"/paper?kind=certificate", 400, "Name the order that the paper is of"},
		{"/paper?kind=passwords", 404, "There is no such paper"},
	} {
		w := get(t, d, c.path)
		if w.Code != c.code || !strings.Contains(w.Body.String(), c.want) {
			t.Errorf("%s: got %d %q, want %d %q", c.path, w.Code, w.Body, c.code, c.want)
		}
		if c.code == http.StatusOK && (w.Header().Get("Content-Type") != "application/pdf" || !strings.HasPrefix(w.Header().Get("Content-Disposition"), "inline; filename=")) {
			t.Errorf("%s: got %v", c.path, w.Header())
		}
	}
}

// submit posts a form to a path.
func submit(h http.Handler, path, body string) *httptest.ResponseRecorder {
	r := httptest.NewRequest(http.MethodPost, "http://localhost"+path, strings.NewReader(body))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

func TestLanguages(t *testing.T) {
	d := newDesk()
	d.Publish(newShop(t).start(6).stroke().read("1.2010").snapshot())
	if page := get(t, d, "/?lang=de").Body.String(); !strings.Contains(page, `<html lang="de">`) || !strings.Contains(page, "1,2010") || strings.Contains(page, "1.2010") {
		t.Errorf("not in German:\n%s", page)
	}
	rec := submit(d, "/language", "language=es")
	cookies := rec.Result().Cookies()
	if rec.Code != http.StatusSeeOther || len(cookies) != 1 || cookies[0].Value != "es" {
		t.Fatalf("got %d with %v", rec.Code, cookies)
	}
	if rec = submit(d, "/language", "language=xx"); rec.Code != http.StatusBadRequest {
		t.Errorf("an unknown language: got %d", rec.Code)
	}
}
