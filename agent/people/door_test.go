package people

import (
	"errors"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"
)

// morning is when the tests of doors begin: a quarter to seven at the shop.
var morning = time.Date(2026, 3, 2, 6, 40, 0, 0, time.FixedZone("shop", 3600))

// clock is set by hand.
type clock struct{ time.Time }

func (c *clock) now() time.Time { return c.Time }

func (c *clock) pass(d time.Duration) { c.Time = c.Add(d) }

// Rows of an operators file: kj has the PIN 4711 and the badge tokenA.
var (
	rowKJ = "kj,Kim Jansen,yes," + pin4711 + "," + badgeA
	rowMB = "mb,Mia Berg,," + pin4711 + ","
	rowTS = "ts,,,," + hashBadge("B"+tokenA[1:]).String()
)

func opened(t *testing.T, s Settings) (*Door, *clock, string) {
	t.Helper()
	path := operators(t, rowKJ, rowMB, rowTS)
	c := &clock{morning}
	s.Now = c.now
	return NewDoor(path, s), c, path
}

// tablet and desk are where people sign in.
const (
	tablet = "192.0.2.7"
	desk   = "192.0.2.8"
)

func in(t *testing.T, d *Door, id, from string) string {
	t.Helper()
	token, p, err := d.PIN(id, "4711", from)
	if err != nil || p.ID != id {
		t.Fatalf("%s signs in as %v: %v", id, p, err)
	}
	return token
}

// wants checks that an error is this refusal.
func wants(t *testing.T, err error, why Why, text string) {
	t.Helper()
	var r *Refused
	if !errors.As(err, &r) || r.Why != why || r.Error() != text {
		t.Errorf("refused with %v, want %q", err, text)
	}
}

func TestSignIn(t *testing.T) {
	d, _, _ := opened(t, Settings{})
	if got := d.People(); !slices.Equal(got, []Person{{"kj", "Kim Jansen", true}, {"mb", "Mia Berg", false}, {"ts", "", false}}) || d.Trouble() != "" {
		t.Errorf("people are %v, trouble %q", got, d.Trouble())
	}
	one, two := in(t, d, "kj", tablet), in(t, d, "kj", desk)
	if len(one) != 43 || one == two {
		t.Errorf("tokens %q and %q: want two of 256 bits", one, two)
	}
	badge, p, err := d.Badge(" " + strings.ToLower(tokenA) + "\n")
	if err != nil || p != (Person{"kj", "Kim Jansen", true}) {
		t.Errorf("the badge is %v's, %v", p, err)
	}
	for _, token := range []string{one, two, badge} {
		if p, ok := d.Who(token); !ok || p != (Person{"kj", "Kim Jansen", true}) {
			t.Errorf("%q is %v, %v", token, p, ok)
		}
	}
	d.Leave(one)
	if _, ok := d.Who(one); ok {
		t.Error("who has left is still in")
	}
	if _, ok := d.Touch(two); !ok {
		t.Error("leaving at the tablet ended the session at the desk")
	}
	for _, token := range []string{"", "x", one + "x", two[:42]} {
		if p, ok := d.Who(token); ok || p != (Person{}) {
			t.Errorf("%q is %v", token, p)
		}
	}
	if p, ok := d.Holder("B" + tokenA[1:]); !ok || p.ID != "ts" {
		t.Errorf("the other badge is %v's, %v", p, ok)
	}
	if p, ok := d.Holder(""); ok || p != (Person{}) {
		t.Errorf("no badge is %v's", p)
	}
	_, p, err = d.Badge("C" + tokenA[1:])
	wants(t, err, WrongBadge, "This badge is not known here. Use your PIN, or ask for a new badge.")
	if p != (Person{}) {
		t.Errorf("a wrong badge names %v", p)
	}
}

// TestWrongPIN: a wrong PIN, a sign that nobody has and an operator without a PIN
// are refused in the same words.
func TestWrongPIN(t *testing.T) {
	d, _, _ := opened(t, Settings{})
	for _, c := range [][2]string{{"kj", "4712"}, {"zz", "4711"}, {"ts", "4711"}, {"ts", ""}} {
		token, p, err := d.PIN(c[0], c[1], tablet)
		wants(t, err, WrongPIN, "This operator and this PIN do not belong together.")
		if token != "" || p != (Person{}) {
			t.Errorf("%v: %q, %v", c, token, p)
		}
	}
}

// TestLock: five wrong PINs lock for a minute, each further one for twice as long
// up to a quarter of an hour. A right one, or a day, forgets them.
func TestLock(t *testing.T) {
	for _, id := range []string{"kj", "zz"} { // one that is known, one that is not
		d, c, _ := opened(t, Settings{})
		wrong := func(n int) (err error) { // each from elsewhere
			_, _, err = d.PIN(id, "0815", fmt.Sprintf("192.0.2.%d", n))
			return err
		}
		for n := 1; n < 5; n++ {
			wants(t, wrong(n), WrongPIN, "This operator and this PIN do not belong together.")
		}
		wants(t, wrong(5), Locked, "5 wrong PINs for "+id+". Try again at 06:41, or scan your badge.")
		c.pass(59 * time.Second)
		_, _, err := d.PIN(id, "4711", desk)
		wants(t, err, Locked, "5 wrong PINs for "+id+". Try again at 06:41, or scan your badge.")
		var refused *Refused
		if !errors.As(err, &refused) || !refused.Until.Equal(morning.Add(time.Minute)) {
			t.Errorf("locked until %v", refused.Until)
		}
		in(t, d, "mb", desk) // nobody else is

		c.pass(time.Second + 30*time.Second) // 06:41:30
		for n, until := range []string{"06:44", "06:48", "06:56", "07:11", "07:26", "07:41"} {
			wants(t, wrong(20+n), Locked, fmt.Sprintf("%d wrong PINs for %s. Try again at %s, or scan your badge.", 6+n, id, until))
			c.pass(min(2*time.Minute<<n, 15*time.Minute))
		}
		if id == "zz" {
			continue
		}
		in(t, d, id, tablet)
		wants(t, wrong(40), WrongPIN, "This operator and this PIN do not belong together.")

		for n := range 3 {
			wants(t, wrong(50+n), WrongPIN, "This operator and this PIN do not belong together.")
		}
		c.pass(24 * time.Hour)
		wants(t, wrong(60), WrongPIN, "This operator and this PIN do not belong together.")
	}
}

// TestLockedBadge: a badge opens where PINs are locked.
func TestLockedBadge(t *testing.T) {
	d, _, _ := opened(t, Settings{})
	for range 5 {
		_, _, _ = d.PIN("kj", "0815", tablet) // they lock, see above
	}
	if _, p, err := d.Badge(tokenA); err != nil || p.ID != "kj" {
		t.Errorf("the badge of a locked operator is %v's, %v", p, err)
	}
	_, _, err := d.PIN("kj", "4711", desk)
	wants(t, err, Locked, "5 wrong PINs for kj. Try again at 06:41, or scan your badge.")
}

// TestLockedAddress: wrong PINs for several operators lock the address that they
// come from; of IPv6 it is the network.
func TestLockedAddress(t *testing.T) {
	for _, from := range []func(n int) string{
		func(int) string { return tablet },
		func(n int) string { return fmt.Sprintf("2001:db8::%x", n+1) },
		func(n int) string { return []string{"192.0.2.7", "::ffff:192.0.2.7"}[n%2] },
		func(int) string { return "unix" },
	} {
		d, c, _ := opened(t, Settings{})
		for n, id := range []string{"kj", "kj", "mb", "zz"} {
			_, _, err := d.PIN(id, "0815", from(n))
			wants(t, err, WrongPIN, "This operator and this PIN do not belong together.")
		}
		_, _, err := d.PIN("ts", "0815", from(4))
		wants(t, err, Locked, "5 wrong PINs from here. Try again at 06:41, or scan your badge.")
		_, _, err = d.PIN("mb", "4711", from(5))
		wants(t, err, Locked, "5 wrong PINs from here. Try again at 06:41, or scan your badge.")
		in(t, d, "mb", desk)
		in(t, d, "mb", "2001:db8:1::1")
		c.pass(time.Minute)
		in(t, d, "mb", from(6))
		_, _, err = d.PIN("mb", "0815", from(7))
		wants(t, err, WrongPIN, "This operator and this PIN do not belong together.")
	}
}

// TestStrangersPushNobodyOut: what is remembered stays small whoever asks, and a
// lock of an operator stays through it.
func TestStrangersPushNobodyOut(t *testing.T) {
	d, c, _ := opened(t, Settings{})
	for n := range 5 {
		_, _, _ = d.PIN("kj", "0815", fmt.Sprint(n)) // they lock, see above
	}
	now := c.Time
	for n := range 3 * mostRemembered {
		now = now.Add(time.Millisecond)
		d.strangers.add(fmt.Sprint(n), now)
		d.addresses.add(fmt.Sprint(n), now)
	}
	if len(d.strangers.wrong) != mostRemembered || len(d.addresses.wrong) != mostRemembered || len(d.operators.wrong) != 1 {
		t.Errorf("%d, %d and %d are remembered", len(d.strangers.wrong), len(d.addresses.wrong), len(d.operators.wrong))
	}
	if d.strangers.of(fmt.Sprint(2*mostRemembered), now).n != 1 || d.strangers.of("0", now).n != 0 {
		t.Error("it is not the quietest that is forgotten")
	}
	_, _, err := d.PIN("kj", "4711", desk)
	wants(t, err, Locked, "5 wrong PINs for kj. Try again at 06:41, or scan your badge.")
	_, _, _ = d.PIN(strings.Repeat("z", 5000), "0815", strings.Repeat("9", 5000))
	for _, names := range []tally{d.strangers, d.addresses} {
		for name := range names.wrong {
			if len(name) > mostName {
				t.Errorf("a name of %d bytes is remembered", len(name))
			}
		}
	}
}

// TestSessionEnds: a session ends when nobody does anything, and after twelve
// hours. Asking who it is does not keep it.
func TestSessionEnds(t *testing.T) {
	d, c, _ := opened(t, Settings{})
	token := in(t, d, "kj", tablet)
	c.pass(29 * time.Minute)
	if _, ok := d.Who(token); !ok {
		t.Error("it has ended before half an hour")
	}
	c.pass(time.Minute)
	if _, ok := d.Who(token); ok {
		t.Error("it has not ended after half an hour")
	}
	token = in(t, d, "kj", tablet)
	begun := c.Time
	for c.Sub(begun) < 12*time.Hour-25*time.Minute {
		c.pass(25 * time.Minute)
		if _, ok := d.Touch(token); !ok {
			t.Fatalf("it has ended after %s", c.Sub(begun))
		}
	}
	c.Time = begun.Add(12 * time.Hour)
	if _, ok := d.Touch(token); ok {
		t.Error("it has not ended after twelve hours")
	}

	d, c, _ = opened(t, Settings{Idle: time.Minute, Longest: 90 * time.Second})
	token = in(t, d, "kj", tablet)
	c.pass(59 * time.Second)
	if _, ok := d.Touch(token); !ok {
		t.Error("it has ended before a minute")
	}
	c.pass(31 * time.Second)
	if _, ok := d.Touch(token); ok {
		t.Error("it has not ended after 90 s")
	}
}

// TestMostSessions: past the most the one ends that was used least lately; one
// that is over makes room first.
func TestMostSessions(t *testing.T) {
	d, c, _ := opened(t, Settings{Sessions: 2})
	first := in(t, d, "kj", tablet)
	c.pass(time.Second)
	second := in(t, d, "mb", tablet)
	c.pass(time.Second)
	d.Touch(first)
	c.pass(time.Second)
	third := in(t, d, "kj", desk)
	for token, want := range map[string]bool{first: true, second: false, third: true} {
		if _, ok := d.Who(token); ok != want {
			t.Errorf("%q is in: %v, want %v", token, ok, want)
		}
	}
	c.pass(29*time.Minute + 58*time.Second)
	d.Touch(third)
	c.pass(5 * time.Second) // the first is over
	in(t, d, "mb", tablet)
	if _, ok := d.Who(third); !ok || len(d.sessions.open) != 2 {
		t.Errorf("with room made the third is in: %v, of %d", ok, len(d.sessions.open))
	}
}

// TestFileChanges: the file is read anew when it has changed; who is out of it,
// or has another PIN or badge, is signed out, and nobody else.
func TestFileChanges(t *testing.T) {
	d, c, path := opened(t, Settings{})
	kj, mb := in(t, d, "kj", tablet), in(t, d, "mb", tablet)
	signed := func(token string) bool { _, ok := d.Who(token); return ok }

	change := func(f func(*Roll) error) {
		t.Helper()
		if err := Change(path, f); err != nil {
			t.Fatal(err)
		}
		c.pass(reloadEvery)
	}
	change(func(r *Roll) error { (*r)[0].Name, (*r)[0].Lead = "Kim J.", false; return r.Add(Person{ID: "nn"}) })
	if p, ok := d.Who(kj); !ok || p != (Person{"kj", "Kim J.", false}) || !signed(mb) || len(d.People()) != 4 {
		t.Errorf("with a new name kj is %v, %v", p, ok)
	}
	change(func(r *Roll) error { return r.SetPIN("kj", "2580") })
	if signed(kj) || !signed(mb) {
		t.Errorf("with a new PIN kj is in: %v, mb: %v", signed(kj), signed(mb))
	}
	if _, _, err := d.PIN("kj", "2580", tablet); err != nil {
		t.Errorf("the new PIN: %v", err)
	}
	kj, _, err := d.Badge(tokenA)
	if err != nil {
		t.Fatal(err)
	}
	var token string
	change(func(r *Roll) (err error) { token, err = r.SetBadge("kj"); return err })
	_, _, err = d.Badge(tokenA)
	wants(t, err, WrongBadge, "This badge is not known here. Use your PIN, or ask for a new badge.")
	if _, p, err := d.Badge(token); err != nil || p.ID != "kj" || signed(kj) {
		t.Errorf("the new badge is %v's, %v; the old session holds: %v", p, err, signed(kj))
	}
	change(func(r *Roll) error { return r.Remove("mb") })
	if signed(mb) {
		t.Error("mb is out of the file and still in")
	}
	_, _, err = d.PIN("mb", "4711", tablet)
	wants(t, err, WrongPIN, "This operator and this PIN do not belong together.")
}

// TestBadFile: a file with faults is told and changes nobody, until it is mended.
func TestBadFile(t *testing.T) {
	d, c, path := opened(t, Settings{})
	kj := in(t, d, "kj", tablet)
	for says, harm := range map[string]func() error{
		":2:1: operator: the sign": func() error { put(t, path, "k j,,,,"); return nil },
		"chmod 600":                func() error { return os.Chmod(path, 0o644) },
		"no such file":             func() error { return os.Remove(path) },
	} {
		put(t, path, rowKJ, rowMB)
		if err := os.Chmod(path, 0o600); err != nil {
			t.Fatal(err)
		}
		c.pass(reloadEvery)
		if trouble := d.Trouble(); trouble != "" {
			t.Errorf("a good file is told as %q", trouble)
		}
		if err := harm(); err != nil {
			t.Fatal(err)
		}
		c.pass(reloadEvery)
		if _, ok := d.Touch(kj); !ok || !strings.Contains(d.Trouble(), says) || !strings.Contains(d.Trouble(), path) {
			t.Errorf("kj is in: %v, trouble is %q, want %q in it", ok, d.Trouble(), says)
		}
		in(t, d, "mb", tablet)
	}
}

// TestNoFileYet: a door without a file lets nobody in until there is one.
func TestNoFileYet(t *testing.T) {
	path := filepath.Join(t.TempDir(), "operators.csv")
	c := &clock{morning}
	d := NewDoor(path, Settings{Now: c.now})
	_, _, err := d.PIN("kj", "4711", tablet)
	wants(t, err, WrongPIN, "This operator and this PIN do not belong together.")
	if !strings.Contains(d.Trouble(), "operator add") || len(d.People()) != 0 {
		t.Errorf("trouble is %q, people %v", d.Trouble(), d.People())
	}
	put(t, path, rowKJ)
	c.pass(reloadEvery)
	in(t, d, "kj", tablet)
}

// TestBusy: one PIN is looked at at a time, a few wait, none for long.
func TestBusy(t *testing.T) {
	d, _, _ := opened(t, Settings{})
	synctest.Test(t, func(t *testing.T) {
		d.queue = newQueue()
		leave, ok := d.queue.enter()
		if !ok {
			t.Fatal("nobody is there and no turn is to be had")
		}
		begun := time.Now()
		var waiting sync.WaitGroup
		for range mostWaiting - 1 {
			waiting.Go(func() {
				_, _, err := d.PIN("kj", "4711", tablet)
				wants(t, err, Busy, "Others are signing in at the moment. Try again in a few seconds.")
				if waited := time.Since(begun); waited != patience {
					t.Errorf("waited %s, want %s", waited, patience)
				}
			})
		}
		synctest.Wait()
		_, _, err := d.PIN("kj", "4711", tablet)
		wants(t, err, Busy, "Others are signing in at the moment. Try again in a few seconds.")
		if waited := time.Since(begun); waited != 0 {
			t.Errorf("one too many waited %s", waited)
		}
		waiting.Wait()
		leave()
		in(t, d, "kj", tablet)
	})
}

// TestManyAtOnce: guesses that come at the same time are five, not more.
func TestManyAtOnce(t *testing.T) {
	d, _, _ := opened(t, Settings{})
	var all sync.WaitGroup
	var mu sync.Mutex
	count := map[Why]int{}
	for n := range 4 * mostWaiting {
		all.Go(func() {
			_, _, err := d.PIN("kj", "0815", fmt.Sprintf("192.0.2.%d", n))
			_, _ = d.Who("x")
			var r *Refused
			if !errors.As(err, &r) {
				t.Error(err)
				return
			}
			mu.Lock()
			count[r.Why]++
			mu.Unlock()
		})
	}
	all.Wait()
	if n := d.operators.wrong["kj"].n; count[WrongPIN] != 4 || n != mostWrong {
		t.Errorf("%d were looked at, %d counted", count[WrongPIN], n)
	}
}

func TestStatus(t *testing.T) {
	for why, want := range map[Why]int{
		WrongPIN: http.StatusUnauthorized, WrongBadge: http.StatusUnauthorized,
		Locked: http.StatusTooManyRequests, Busy: http.StatusServiceUnavailable,
	} {
		if got := (&Refused{Why: why}).Status(); got != want {
			t.Errorf("%d is told as %d, want %d", why, got, want)
		}
	}
}

func TestMinute(t *testing.T) {
	for at, want := range map[time.Time]string{
		morning:                       "06:40",
		morning.Add(1):                "06:41",
		morning.Add(time.Second):      "06:41",
		morning.Add(59 * time.Second): "06:41",
		morning.Add(time.Hour*17 + 1e9*60*19 + 1e9): "00:00",
	} {
		if got := minute(at); got != want {
			t.Errorf("%s is %s on the wall, want %s", at, got, want)
		}
	}
}
