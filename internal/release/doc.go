// Package release holds what a release is made of beside the program: the unit
// and the udev rule of a Linux system, and the scripts that make Debian packages and archives.
//
//	internal/release/deb 1.0.0 arm64 out/
//
// makes out/ohmkeep_1.0.0_arm64.deb from the source; the architectures are amd64,
// arm64 and armhf (ARMv6 with floating point, as small boards want it). The package
// brings a user of its own and a unit that is not enabled: there is no run yet.
// Removing it, even for good, leaves the readings.
//
//	internal/release/archives 1.0.0 out/
//
// makes an archive for each system, Windows, macOS and Linux: the program, README, LICENSE,
// dashboards and an example of a run file. The script windows holds what the program for
// Windows prints, under wine, against what the one for Linux does.
package release
