package main

// kioskDescription tells what the package does once it is turned on.
const kioskDescription = `Shows the page of Benchtally on the panel at a hose crimping press: one
browser that fills the screen, under a user of its own, from power-on. It
waits until the page is there, comes back by itself, and the screen never
goes dark.

It takes the first console over, and is off until somebody turns it on:
sudo systemctl enable --now benchtally-kiosk`

// kioskPackage gathers the package of the page in kiosk mode. It holds texts only.
func kioskPackage(r release) deb {
	return deb{
		name: "benchtally-kiosk", arch: "all", section: "misc",
		summary: "page of Benchtally on the panel at the press", description: kioskDescription,
		fields: []string{
			// cage and the browser are the distribution's; a 32-bit Raspberry Pi OS has the
			// browser under its older name.
			"Depends: benchtally, cage, chromium | chromium-browser, fonts-dejavu-core, init-system-helpers (>= 1.54~), libpam-systemd, systemd (>= 247)",
		},
		files: []file{
			text("etc/pam.d/benchtally-kiosk", content("kiosk/pam")),
			{"usr/libexec/benchtally-kiosk/browser", 0o755, content("kiosk/browser")},
			text("usr/lib/systemd/system/benchtally-kiosk.service", content("kiosk/benchtally-kiosk.service")),
			text("usr/lib/sysusers.d/benchtally-kiosk.conf", content("kiosk/sysusers.conf")),
			text("usr/share/lintian/overrides/benchtally-kiosk", content("kiosk/lintian-overrides")),
			text("usr/share/benchtally-kiosk/wait.html", content("kiosk/wait.html")),
			text("usr/share/doc/benchtally-kiosk/copyright", []byte(own)),
			packed("usr/share/doc/benchtally-kiosk/changelog.Debian", changes("benchtally-kiosk", r)),
		},
		scripts: scriptsOf("kiosk"),
	}
}
