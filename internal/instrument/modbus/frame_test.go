package modbus

import (
	"encoding/hex"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
)

// unhex reads bytes written as "01 04 00".
func unhex(t testing.TB, text string) []byte {
	t.Helper()
	b, err := hex.DecodeString(strings.ReplaceAll(text, " ", ""))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// withCRC appends the checksum to a frame.
func withCRC(f []byte) []byte { c := CRC(f); return append(slices.Clone(f), byte(c), byte(c>>8)) }

// The check value 4B37h is that of CRC-16/MODBUS in the public catalogue of parametrised CRC
// algorithms; the frame 02 07 with 41 12 is the example of "Modbus over Serial Line V1.02",
// appendix B. Both FROM MEMORY; TestIndependentSlave compares with another program.
func TestCRC(t *testing.T) {
	if got := CRC([]byte("123456789")); got != 0x4B37 {
		t.Errorf("%04X", got)
	}
	if got := withCRC([]byte{2, 7}); got[2] != 0x41 || got[3] != 0x12 {
		t.Errorf("% X", got)
	}
}

// The request and the answer are the worked examples of "Modbus Application Protocol V1.1b3", 6.3
// and 6.4, with a slave and a checksum. FROM MEMORY.
func TestWorkedExamples(t *testing.T) {
	for _, c := range []struct {
		request      Request
		sent, answer string
		words        []uint16
	}{
		{Request{1, 3, 0x6B, 3}, "01 03 00 6B 00 03", "01 03 06 02 2B 00 00 00 64", []uint16{555, 0, 100}},
		{Request{1, 4, 8, 1}, "01 04 00 08 00 01", "01 04 02 00 0A", []uint16{10}},
	} {
		if got, want := c.request.frame(), withCRC(unhex(t, c.sent)); !slices.Equal(got, want) {
			t.Errorf("sends % X", got)
		}
		words, found, err := c.request.find(withCRC(unhex(t, c.answer)))
		if !found || err != nil || !slices.Equal(words, c.words) {
			t.Errorf("%v %v %v", words, found, err)
		}
	}
}

// An answer is found behind an echo, noise and the late answer of another slave; a flipped bit is
// never an answer.
func TestAnswerIsFound(t *testing.T) {
	r := Request{Slave: 1, Function: 4, Address: 0x0400, Count: 2} // the echo looks like the head of an answer
	answer := withCRC([]byte{1, 4, 4, 1, 0xE7, 0, 0xE7})
	other := withCRC([]byte{2, 4, 4, 9, 9, 9, 9})
	for name, before := range map[string][]byte{"nothing": nil, "an echo": r.frame(), "noise": {0, 0xFF}, "another slave": other,
		"an echo and noise": append(r.frame(), 0)} {
		all := append(slices.Clone(before), answer...)
		for n := range all {
			if _, found, err := r.find(all[:n]); found {
				t.Errorf("%s: found after %d bytes: %v", name, n, err)
			}
		}
		if words, found, err := r.find(all); !found || err != nil || !slices.Equal(words, []uint16{487, 231}) {
			t.Errorf("%s: %v %v %v", name, words, found, err)
		}
		for bit := range 8 * len(answer) {
			flipped := slices.Clone(all)
			flipped[len(before)+bit/8] ^= 1 << (bit % 8)
			if words, found, _ := r.find(flipped); found {
				t.Errorf("%s: bit %d flipped gives %v", name, bit, words)
			}
		}
	}
}

func TestWhatIsNoAnswer(t *testing.T) {
	r := Request{Slave: 1, Function: 4, Count: 2}
	for _, c := range []struct{ received, want string }{
		{"02 04 04 01 E7 00 E7 0A 05", "of slave 2 instead of 1"},
		{"01 03 04 01 E7 00 E7 0A 05", "function 3 instead of 4"},
		{"01 04 02 01 E7 78 BA", "2 bytes of registers instead of 4"},
		{"01 04 04 01 E7 00 E7 0A 06", "checksum 060A instead of 050A"},
		{"01 04 04 01 E7", "cut off after 5 bytes"},
		{"01 84 02 00 00", "checksum 0000 instead of C1C2"},
	} {
		for _, before := range [][]byte{nil, r.frame()} {
			err := r.explain(append(slices.Clone(before), unhex(t, c.received)...))
			if !errors.Is(err, ErrBadFrame) || !strings.Contains(err.Error(), c.want) {
				t.Errorf("%s: %v", c.received, err)
			}
		}
	}
	var refused Exception
	if _, found, err := r.find(unhex(t, "01 84 02 C2 C1")); !found || !errors.As(err, &refused) || refused != 2 || fmt.Sprint(err) != "exception 2, illegal data address" {
		t.Errorf("%v %v", found, err)
	}
}
