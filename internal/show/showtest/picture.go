package showtest

import (
	"bytes"
	"image"
	"image/png"
	"os"
	"testing"
)

// Picture compares a PNG with a file by their pixels; with -update it writes the file.
func Picture(t *testing.T, path string, drawn []byte) {
	t.Helper()
	if *update {
		if err := os.WriteFile(path, drawn, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	kept, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if bytes.Equal(drawn, kept) {
		return
	}
	got, want := decode(t, path, drawn), decode(t, path, kept)
	if got.Bounds() != want.Bounds() {
		t.Fatalf("%s is stale: it has %v, the program draws %v; see with go test -update", path, want.Bounds(), got.Bounds())
	}
	differing := 0
	for y := got.Bounds().Min.Y; y < got.Bounds().Max.Y; y++ {
		for x := got.Bounds().Min.X; x < got.Bounds().Max.X; x++ {
			if got.At(x, y) != want.At(x, y) {
				differing++
			}
		}
	}
	if differing > 0 {
		t.Errorf("%s is stale: %d pixels differ from what the program draws; see with go test -update", path, differing)
	}
}

func decode(t *testing.T, path string, content []byte) image.Image {
	t.Helper()
	picture, err := png.Decode(bytes.NewReader(content))
	if err != nil {
		t.Fatalf("%s: %v", path, err)
	}
	return picture
}
