package instrument_test

import (
	"bufio"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"ohmkeep/internal/instrument"
	"ohmkeep/internal/instrument/modbus"
	"ohmkeep/internal/instrument/payload"
	"ohmkeep/internal/instrument/profile"
	"ohmkeep/internal/reading"
	"ohmkeep/internal/run"
	"ohmkeep/internal/simulate/devices"
	"ohmkeep/probes"
)

// example is a line of a profile's comment: what the device says and what it means.
type example struct{ says, means string }

func examples(t *testing.T, name string) []example {
	t.Helper()
	text, err := fs.ReadFile(probes.Files, name+".toml")
	if err != nil {
		t.Fatal(err)
	}
	var list []example
	for line := range strings.Lines(string(text)) {
		said, means, ok := strings.Cut(strings.TrimRight(line, "\n"), " -> ")
		if said, comment := strings.CutPrefix(said, "#     "); ok && comment {
			list = append(list, example{strings.TrimRight(said, " "), means})
		}
	}
	return list
}

// meaning writes samples as the profiles' comments do.
func meaning(list []reading.Sample) string {
	var parts []string
	for _, s := range list {
		if s.Good() {
			parts = append(parts, fmt.Sprintf("%s %s %s %s", s.Channel, s.Quantity, s.Text, s.Unit))
		} else {
			parts = append(parts, fmt.Sprintf("%s %s %s", s.Channel, s.Quantity, s.Quality))
		}
	}
	return strings.Join(parts, ", ")
}

// Each shipped profile has examples in its comment: what its device sends, and what it means. The
// profile reads them so.
func TestShippedExamples(t *testing.T) {
	t.Parallel()
	for _, name := range profile.Names() {
		p, list := load(t, name), examples(t, name)
		if len(list) < 2 {
			t.Errorf("%s shows %d examples", name, len(list))
		}
		for _, x := range list {
			t.Run(name+"/"+x.says, func(t *testing.T) {
				says := map[profile.Kind]func(*testing.T, *profile.Profile, example) string{
					profile.Lines: boardSays, profile.SCPI: meterSays, profile.Hwmon: kernelSays, profile.Modbus: slaveSays, profile.MQTT: messageSays, profile.Handheld: displaySays}[p.Kind]
				if got := says(t, p, x); got != x.means {
					t.Errorf("got  %s\nwant %s", got, x.means)
				}
			})
		}
	}
}

// Each shipped profile names its chip, standard or datasheet, and the source of its limits.
func TestShippedSources(t *testing.T) {
	for _, name := range profile.Names() {
		if p := load(t, name); p.Source == "" || p.Accuracy == "" {
			t.Errorf("%s: source %q, accuracy_source %q", name, p.Source, p.Accuracy)
		}
	}
}

// displaySays makes a handheld meter send one picture, given as bytes in hexadecimal or as
// characters without CR LF, and returns what it means.
func displaySays(t *testing.T, p *profile.Profile, x example) string {
	picture := x.says + "\r\n"
	if p.Display.Chip == profile.FS9721 {
		bytes, err := hex.DecodeString(strings.ReplaceAll(x.says, " ", ""))
		if err != nil {
			t.Fatal(err)
		}
		picture = string(bytes)
	}
	return sent(t, p, picture)
}

func boardSays(t *testing.T, p *profile.Profile, x example) string { return sent(t, p, x.says+"\n") }

// sent makes a device send a text, and returns what its one line or picture means.
func sent(t *testing.T, p *profile.Profile, text string) string {
	t.Helper()
	pair := devices.InProcess()
	var heard []instrument.Event
	device, err := instrument.Open(t.Context(), p, "", instrument.Options{Conn: pair.Host, Log: func(e instrument.Event) { heard = append(heard, e) }})
	if err != nil {
		t.Fatal(err)
	}
	defer device.Close()
	go func() { _, _ = io.WriteString(pair.Device, text); _ = pair.Device.Close() }()
	for err == nil {
		_, err = device.Next(bounded(t))
	}
	if len(heard) != 1 {
		t.Fatalf("heard %+v", heard)
	}
	if heard[0].Kind == instrument.Bad {
		return "bad"
	}
	return meaning(heard[0].Samples)
}

// meterSays makes a meter give one answer, "<quantity> <answer>", to every query of that quantity,
// and returns what it means.
func meterSays(t *testing.T, p *profile.Profile, x example) string {
	for _, ranges := range p.Query.Functions {
		for i := range ranges {
			ranges[i].Settle = 0 // the answers are made up
		}
	}
	quantity, answer, _ := strings.Cut(x.says, " ")
	q := run.Quantity(slices.Index(run.QuantityNames, quantity))
	pair := devices.InProcess()
	go func() {
		asked := bufio.NewScanner(pair.Device)
		for asked.Scan() {
			reply := answer
			switch m := asked.Text(); {
			case !strings.Contains(m, "?"):
				continue
			case m == p.Query.Identity:
				reply = devices.MeterIdentity
			case m == p.Query.Error:
				reply = `0,"No error"`
			}
			_, _ = io.WriteString(pair.Device, reply+"\n")
		}
	}()
	defer pair.Device.Close()
	device, err := instrument.Open(t.Context(), p, "", instrument.Options{Conn: pair.Host})
	if err != nil {
		t.Fatal(err)
	}
	defer device.Close()
	s, err := device.Measure(bounded(t), "", q)
	if err != nil {
		t.Fatal(err)
	}
	return strings.TrimPrefix(meaning([]reading.Sample{s}), " ")
}

func kernelSays(t *testing.T, p *profile.Profile, x example) string {
	file, text, _ := strings.Cut(x.says, " ")
	sys := sysfs(t)
	sys.device("hwmon0", p.Files.Names[0], "1-0040", map[string]string{file: text})
	device, err := instrument.Open(t.Context(), p, p.Files.Names[0], instrument.Options{Sysfs: sys.root})
	if err != nil {
		t.Fatal(err)
	}
	for range p.Files.Values {
		s, err := device.Next(bounded(t))
		if err != nil {
			t.Fatal(err)
		}
		if s.Raw == text {
			return meaning([]reading.Sample{s})
		}
	}
	return "nothing"
}

// slaveSays makes a slave give one answer, in hexadecimal, to every request, and returns what it
// means.
func slaveSays(t *testing.T, p *profile.Profile, x example) string {
	answer, err := hex.DecodeString(strings.ReplaceAll(x.says, " ", ""))
	if err != nil {
		t.Fatal(err)
	}
	pair := devices.InProcess()
	defer pair.Device.Close()
	go func() {
		for request := make([]byte, 8); ; {
			if _, err := io.ReadFull(pair.Device, request); err != nil {
				return
			}
			_, _ = pair.Device.Write(answer)
		}
	}()
	bad := false
	device, err := instrument.Open(t.Context(), p, "", instrument.Options{Conn: pair.Host, Slave: 1, Log: func(e instrument.Event) { bad = bad || e.Kind == instrument.Bad }})
	var refused modbus.Exception
	switch {
	case errors.As(err, &refused):
		return refused.Error()
	case bad:
		return "bad"
	case err != nil:
		t.Fatal(err)
	}
	defer device.Close()
	var all []reading.Sample
	for range p.Registers.Values {
		s, err := device.Next(bounded(t))
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, s)
	}
	return meaning(all)
}

// messageSays lets a device publish one message below the topic "board": a JSON text, or its topic's further
// levels and a number.
func messageSays(_ *testing.T, p *profile.Profile, x example) string {
	topic, text := "board", x.says
	if !p.Messages.JSON {
		topic, text, _ = strings.Cut("board/"+x.says, " ")
	}
	samples, err := payload.Parse(p.Messages, "board", topic, []byte(text))
	if err != nil {
		return "bad"
	}
	return meaning(samples)
}

// tree is a fake /sys.
type tree struct {
	t    *testing.T
	root string
}

func sysfs(t *testing.T) tree { return tree{t, t.TempDir()} }

// device adds a device of the I²C bus as the kernel presents it: its folder among the devices,
// below it hwmonN, and a link to that from the class.
func (s tree) device(number, name, place string, files map[string]string) (path string) {
	s.t.Helper()
	path = filepath.Join(s.root, "devices", "i2c-1", place)
	dir := filepath.Join(path, "hwmon", number)
	class := filepath.Join(s.root, "class", "hwmon")
	err := errors.Join(os.MkdirAll(dir, 0o755), os.MkdirAll(class, 0o755), os.WriteFile(filepath.Join(dir, "name"), []byte(name+"\n"), 0o644),
		os.Symlink("../../", filepath.Join(dir, "device")), os.Symlink(dir, filepath.Join(class, number)))
	for file, text := range files {
		err = errors.Join(err, os.WriteFile(filepath.Join(dir, file), []byte(text+"\n"), 0o644))
	}
	if err != nil {
		s.t.Fatal(err)
	}
	return path
}

// remove takes a device away, as unplugging does.
func (s tree) remove(path, number string) {
	s.t.Helper()
	if err := errors.Join(os.RemoveAll(path), os.Remove(filepath.Join(s.root, "class", "hwmon", number))); err != nil {
		s.t.Fatal(err)
	}
}
