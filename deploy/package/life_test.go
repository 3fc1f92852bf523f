package main

import (
	"strings"
	"testing"
)

// station is an agent installed in a clean Debian, as its shop would see it.
type station struct {
	*debian
	records string // all there are, as JSON, one a line
	config  string // the sums of all files in /etc/benchtally
}

// apt installs or removes as a person would.
func (s *station) apt(words string) string {
	s.t.Helper()
	return s.sh("apt-get -q -y --no-install-recommends " + words)
}

// unit is one property of the service.
func (s *station) unit(property string) string {
	s.t.Helper()
	return strings.TrimSpace(s.sh("systemctl show --value -p " + property + " benchtally.service"))
}

// is holds the service before what it should be.
func (s *station) is(when, active, enabled, version string) {
	s.t.Helper()
	if a, e := s.unit("ActiveState"), s.unit("UnitFileState"); a != active || e != enabled {
		s.t.Errorf("%s: the service is %s and %s, want %s and %s\n%s", when, a, e, active, enabled, s.sh("journalctl -q --no-pager -u benchtally | tail -n 20"))
	}
	if got := s.sh("benchtally --version"); got != version+"\n" {
		s.t.Errorf("%s: version %q, want %s", when, got, version)
	}
	if active == "active" && !strings.Contains(s.sh("benchtally status"), "the agent runs, version "+version+"\n") {
		s.t.Errorf("%s: %s", when, s.sh("benchtally status"))
	}
}

// kept fails unless each record that there ever was is there, byte by byte, and the
// configuration is as the shop left it. The agent's own records may have come to them.
func (s *station) kept(when string) {
	s.t.Helper()
	now := s.sh("benchtally log --json")
	if !strings.HasPrefix(now, s.records) || s.records == "" {
		s.t.Errorf("%s: the records were\n%s\nand are\n%s", when, s.records, now)
	}
	s.records = now
	if sums := s.sums(); sums != s.config {
		s.t.Errorf("%s: /etc/benchtally was\n%s\nand is\n%s", when, s.config, sums)
	}
	if s.unit("ActiveState") != "active" {
		s.whole(when)
	}
}

// whole has the store verified, which no agent may hold open.
func (s *station) whole(when string) {
	s.t.Helper()
	if out, err := s.try("benchtally verify /var/lib/benchtally/benchtally.db"); err != nil {
		s.t.Errorf("%s: %v\n%s", when, err, out)
	}
}

// sums tells any change of any file that the shop wrote, and of its owner and mode.
func (s *station) sums() string {
	s.t.Helper()
	return s.sh("cd /etc/benchtally && find . -type f | sort | xargs sha256sum && find . | sort | xargs stat -c '%n %U:%G %a'")
}

// without has the program gone and fails unless store and configuration lie there
// as they were, to the last byte.
func (s *station) without(when, sums string) {
	s.t.Helper()
	if out := s.sh("if [ -e /usr/bin/benchtally ]; then echo there; fi; systemctl is-active benchtally.service || true"); out != "inactive\n" {
		s.t.Errorf("%s: program and service are %q", when, out)
	}
	if got := s.stored(); got != sums {
		s.t.Errorf("%s: the store was\n%s\nand is\n%s", when, sums, got)
	}
}

func (s *station) stored() string {
	s.t.Helper()
	return s.sh("sha256sum /var/lib/benchtally/benchtally.db && stat -c '%n %U:%G %a' /var/lib/benchtally /var/lib/benchtally/benchtally.db")
}

// feed is a piece at the press, as lines of a tape in their own time.
const feed = `line() { printf '{"t":0,%s}\n' "$1"; }
line '"do":"load","cage":"C-21"'
line '"do":"start","order":"B-7","spec":"hs-08","quantity":6,"setting":120,"operator":"kj"'
line '"level":1'; sleep 0.3; line '"level":0'; sleep 0.5; line '"level":1'; sleep 0.3
for v in 1.2040 1.2045 1.2035; do line "\"text\":\"+$v\\r\\n\""; sleep 0.2; done
`

// A station's life by its packages, in a booted Debian with nothing else in it:
// installed, told what its press is, at work, upgraded while it works, downgraded,
// removed, back again, purged, back once more. Records and configuration outlast all
// but the purge; the records that too.
func TestStationsLife(t *testing.T) {
	s := &station{debian: cleanDebian(t)}
	first, second := s.bring(packageOf(t, older, "amd64")), s.bring(packageOf(t, newer, "amd64"))

	if told := s.apt("install " + first); !strings.Contains(told, "It starts once it is told what this press is: sudo benchtally init /etc/benchtally") {
		t.Errorf("the installation does not say what comes next:\n%s", told)
	}
	s.is("installed", "inactive", "enabled", older)
	if got := s.unit("ConditionResult"); got != "no" {
		t.Errorf("without a configuration the condition to start is %q", got)
	}
	if got, want := s.sh("id -nG benchtally && stat -c '%U:%G %a' /var/lib/benchtally && ls -A /var/lib/benchtally && test ! -e /etc/benchtally"), "benchtally dialout gpio\nbenchtally:benchtally 750\n"; got != want {
		t.Errorf("user and folder are %q, want %q", got, want)
	}
	if got := s.sh("systemd-analyze verify benchtally.service 2>&1; udevadm test /sys/class/mem/null 2>&1 | grep -i benchtally"); got != "Reading rules file: /usr/lib/udev/rules.d/60-benchtally.rules\n" {
		t.Errorf("unit and rules: %s", got)
	}

	s.sh("benchtally init /etc/benchtally")
	if got := s.sh("ls -A /etc/benchtally"); got != "README.txt\nbench.toml\njobs.csv\nspecs.csv\n" {
		t.Errorf("init has written %q", got)
	}
	s.sh(`cd /etc/benchtally && sed -i 's/^name = "north-bench"/name = "east-bench"/' bench.toml && sed -i 's/invented/A/' specs.csv && install -o benchtally -m 600 /dev/null mqtt-password && benchtally check bench.toml`)
	s.config = s.sums()

	// The user of the service at simulated inputs: the store is where the service has it.
	printed := s.sh("{ " + feed + "} | setpriv --reuid=benchtally --regid=benchtally --init-groups benchtally run --config /etc/benchtally/bench.toml --inputs - 2>/dev/null")
	for _, want := range []string{`"kind":"stroke"`, `"kind":"verdict"`, `"outcome":"pass"`, `"kind":"correction"`} {
		if !strings.Contains(printed, want) {
			t.Fatalf("a piece at simulated inputs gives no %s:\n%s", want, printed)
		}
	}
	s.records = printed
	s.kept("after a piece")

	s.sh("systemctl start benchtally")
	s.is("started", "active", "enabled", older)
	s.sh(`benchtally do '{"do":"set","setting":118}'`)
	s.kept("at work")

	before := s.unit("MainPID")
	s.apt("install " + second)
	s.is("upgraded at work", "active", "enabled", newer)
	if after := s.unit("MainPID"); after == before || s.unit("Result") != "success" || s.unit("NRestarts") != "0" {
		t.Errorf("upgraded at work: process %s, before %s, result %s, %s restarts", after, before, s.unit("Result"), s.unit("NRestarts"))
	}
	s.sh(`benchtally do '{"do":"set","setting":121}'`)
	s.kept("upgraded at work")

	s.apt("install --allow-downgrades " + first)
	s.is("downgraded at work", "active", "enabled", older)
	s.kept("downgraded at work")

	s.sh("systemctl stop benchtally")
	s.apt("install " + second)
	s.is("upgraded at rest", "inactive", "enabled", newer)
	s.kept("upgraded at rest")

	s.sh("systemctl start benchtally")
	s.is("started anew", "active", "enabled", newer)
	s.apt("remove benchtally") // stops it, which the store knows
	s.without("removed at work", s.stored())
	if got := s.sums(); got != s.config {
		t.Errorf("removed at work: /etc/benchtally was\n%s\nand is\n%s", s.config, got)
	}

	if told := s.apt("install " + second); strings.Contains(told, "what this press is") {
		t.Errorf("a press that is known is asked for again:\n%s", told)
	}
	s.is("back again", "active", "enabled", newer)
	s.kept("back again")

	s.sh("systemctl stop benchtally")
	sums := s.stored()
	if told := s.apt("purge benchtally"); !strings.Contains(told, "The records stay in /var/lib/benchtally") {
		t.Errorf("the purge does not say where the records are:\n%s", told)
	}
	s.without("purged", sums)
	s.sh("test ! -e /etc/benchtally && ! systemctl is-enabled benchtally 2>/dev/null && id benchtally >/dev/null")

	s.apt("install " + first)
	s.is("back from a purge", "inactive", "enabled", older)
	s.sh("benchtally init /etc/benchtally")
	s.config = s.sums()
	s.kept("back from a purge")
}

// What somebody has put elsewhere than the package expects is not cleared away, and
// is told.
func TestPackageMindsWhatWasDoneByHand(t *testing.T) {
	s := &station{debian: cleanDebian(t)}
	deb := s.bring(packageOf(t, older, "amd64"))
	s.sh("mkdir -p /etc/systemd/system && printf '[Service]\\nExecStart=/bin/true\\n' >/etc/systemd/system/benchtally.service")
	if told := s.apt("install " + deb); !strings.Contains(told, "/etc/systemd/system/benchtally.service, installed by hand, goes before that of the package.") {
		t.Errorf("a unit installed by hand is not told:\n%s", told)
	}
	s.sh(`rm /etc/systemd/system/benchtally.service && systemctl daemon-reload
		benchtally init /etc/benchtally && sed -i 's|^path = "/var/lib/benchtally/|path = "/etc/benchtally/|' /etc/benchtally/bench.toml && mkdir /etc/benchtally/keys && touch /etc/benchtally/keys/press.key
		printf '{"t":0,"do":"load","cage":"C-21"}\n' | benchtally run --config /etc/benchtally/bench.toml --inputs - 2>/dev/null`)
	before := s.sh("sha256sum /etc/benchtally/benchtally.db")
	if told := s.apt("purge benchtally"); !strings.Contains(told, "A store is in /etc/benchtally: it was left there.") {
		t.Errorf("a store beside the configuration is not told:\n%s", told)
	}
	if got := s.sh("find /etc/benchtally -type f") + s.sh("sha256sum /etc/benchtally/benchtally.db"); got != "/etc/benchtally/benchtally.db\n"+before {
		t.Errorf("what is left: %s, want %s", got, before)
	}
	// Nothing was ever kept there, so there is nothing to be told of.
	s.sh("test ! -e /var/lib/benchtally")
}
