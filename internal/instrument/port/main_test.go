package port_test

import (
	"flag"
	"os"
	"testing"
)

func TestMain(m *testing.M) {
	if err := flag.Set("test.parallel", "8"); err != nil { // tests that run beside others mostly wait
		panic(err)
	}
	os.Exit(m.Run())
}
