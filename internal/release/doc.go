// Package release holds what a release is made of beside the program: the unit
// and the udev rule of a Linux system, and the scripts that make Debian packages and archives.
//
//	internal/release/deb 1.0.0 arm64 out/
//
// makes out/ohmkeep_1.0.0_arm64.deb from the source; the architectures are amd64,
// arm64 and armhf (ARMv6 with floating point, as small boards want it). The package
// creates a user of its own and installs a unit that is not enabled, because there is no run yet.
// Removing or purging it keeps the readings.
//
//	internal/release/archives 1.0.0 out/
//
// makes an archive for each system, Windows, macOS and Linux: the program, README, LICENSE,
// dashboards and an example of a run file. The script windows compares what the program for
// Windows prints, under wine, with what the one for Linux prints.
//
//	internal/release/proof
//
// tries kills, power cuts, damage, a full disk, floods and stalls on the watch and its store
// under the limits of the unit, and prints one table of what was lost.
//
// The unit was started once under systemd 252 in a container: it reports its readiness, is
// restarted after a kill, reads its run file again on a reload, is aborted by the watchdog a
// minute after it stopped answering, and opens a port that only its group may open. What the
// devices and memory controllers forbid could not be tried there.
package release
