package people

import (
	"encoding/base64"
	"net/http"
)

const cookieName = "benchtally"

// Cookie carries a session's token. Secure says that the page is reached by TLS.
// It ends with the browser, or with its session; an empty token takes it away.
func Cookie(token string, secure bool) *http.Cookie {
	c := &http.Cookie{
		Name: cookieName, Value: token, Path: "/",
		HttpOnly: true, Secure: secure, SameSite: http.SameSiteStrictMode,
	}
	if token == "" {
		c.MaxAge = -1
	}
	return c
}

// TokenOf is the session's token that a request carries; "": none.
func TokenOf(r *http.Request) string {
	c, err := r.Cookie(cookieName)
	if err != nil || len(c.Value) != base64.RawURLEncoding.EncodedLen(tokenBytes) {
		return ""
	}
	return c.Value
}
