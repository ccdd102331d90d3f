package cli

import (
	"encoding/json"
	"testing"
)

// decoded reads an output that is one JSON object.
func decoded(t *testing.T, text string) map[string]any {
	t.Helper()
	var object map[string]any
	if err := json.Unmarshal([]byte(text), &object); err != nil {
		t.Fatalf("%v in %s", err, text)
	}
	return object
}

// element is the loop of one thing in an assessment.
func element(t *testing.T, text, kind, name string) map[string]any {
	t.Helper()
	for _, e := range decoded(t, text)["elements"].([]any) {
		if e := e.(map[string]any); e["kind"] == kind && e["name"] == name && e["rail"] == "loop" {
			return e
		}
	}
	t.Fatalf("no loop of %s %s", kind, name)
	return nil
}

// holds wants every key of a pattern, with a value of the same JSON type; the one
// item of a pattern's list stands for all of the list.
func holds(t *testing.T, got map[string]any, pattern string) {
	t.Helper()
	var want map[string]any
	if err := json.Unmarshal([]byte(pattern), &want); err != nil {
		t.Fatal(err)
	}
	alike(t, "", want, got)
}

func alike(t *testing.T, at string, want, got any) {
	t.Helper()
	switch want := want.(type) {
	case map[string]any:
		got, ok := got.(map[string]any)
		if !ok {
			t.Errorf("%s: no object", at)
			return
		}
		for key := range want {
			if _, there := got[key]; !there {
				t.Errorf("%s: no key %s", at, key)
				continue
			}
			alike(t, at+"."+key, want[key], got[key])
		}
	case []any:
		list, ok := got.([]any)
		if !ok {
			t.Errorf("%s: no list", at)
			return
		}
		for _, item := range list {
			for _, pattern := range want {
				alike(t, at+"[]", pattern, item)
			}
		}
	case string:
		if _, ok := got.(string); !ok {
			t.Errorf("%s: %v is no text", at, got)
		}
	case float64:
		if _, ok := got.(float64); !ok {
			t.Errorf("%s: %v is not a number", at, got)
		}
	case bool:
		if _, ok := got.(bool); !ok {
			t.Errorf("%s: %v is neither true nor false", at, got)
		}
	}
}
