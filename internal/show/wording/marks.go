package wording

// markWords are the printed names of the kinds of marks in a store.
var markWords = map[string]string{
	"note": "note", "gap": "gap ended", "lost": "lost", "restart": "began", "stop": "stopped",
	"dropped": "readings lost", "run": "run file reloaded", "boot": "machine started", "clock": "clock",
	"damaged": "store damaged", "step": "step announced", "fault": "instrument fault", "withdrawn": "reading withdrawn", "restored": "reading put back",
	"thinned": "old readings let go", "redated": "readings redated", "stalled": "watch stalled",
}

// MarkWord names a kind of mark; one that a program has of its own is named as it is.
func MarkWord(kind string) string {
	if word, ok := markWords[kind]; ok {
		return word
	}
	return kind
}
