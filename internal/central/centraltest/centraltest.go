//go:build linux

// Package centraltest starts PostgreSQL servers for tests, with the flag -postgres.
//
// A server has its data in a temporary folder and listens on loopback and on a socket there. It
// runs as another user where the test runs as root, which PostgreSQL refuses, and ends with the test.
package centraltest

import (
	"flag"
	"fmt"
	"net"
	"net/url"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

// wanted is the flag that allows servers.
var wanted = flag.Bool("postgres", false, "test with a PostgreSQL server, which must be installed")

// Server is a PostgreSQL server.
type Server struct {
	Port int
	t    testing.TB
	bin  string
	data string
	as   *syscall.Credential
	run  *exec.Cmd
}

// Start starts a server. Without the flag, or without PostgreSQL, the test is skipped.
func Start(t testing.TB) *Server {
	t.Helper()
	return start(t, "")
}

// StartOnDisk starts a server whose data are on a disk of their own of a size such as 100m, in memory.
// Without the right to mount one, the test is skipped.
func StartOnDisk(t testing.TB, size string) *Server {
	t.Helper()
	return start(t, size)
}

func start(t testing.TB, disk string) *Server {
	t.Helper()
	if !*wanted {
		t.Skip("without -postgres")
	}
	found, _ := filepath.Glob("/usr/lib/postgresql/*/bin/initdb")
	if len(found) == 0 {
		t.Skip("PostgreSQL is not installed")
	}
	slices.Sort(found)
	s := &Server{t: t, bin: filepath.Dir(found[len(found)-1]), Port: freePort(t)}
	dir, err := os.MkdirTemp("", "ohmkeep-postgres")
	if err != nil {
		t.Fatal(err)
	}
	s.data = filepath.Join(dir, "data")
	if disk != "" {
		if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size="+disk); err != nil {
			os.RemoveAll(dir)
			t.Skipf("a disk cannot be mounted: %v", err)
		}
	}
	if os.Getuid() == 0 {
		s.as = credential(t)
		if err := os.Chown(dir, int(s.as.Uid), int(s.as.Gid)); err != nil {
			t.Fatal(err)
		}
	}
	t.Cleanup(func() {
		s.Kill()
		if disk != "" {
			_ = syscall.Unmount(dir, syscall.MNT_DETACH)
		}
		os.RemoveAll(dir)
	})
	if out, err := s.command("initdb", "-D", s.data, "-U", "owner", "-A", "trust", "-E", "UTF8", "--no-sync", "--locale=C.UTF-8").CombinedOutput(); err != nil {
		t.Fatalf("initdb: %v\n%s", err, out)
	}
	s.Launch()
	return s
}

// credential is the user that a server runs as where the test is root.
func credential(t testing.TB) *syscall.Credential {
	for _, name := range []string{"postgres", "nobody"} {
		if u, err := user.Lookup(name); err == nil {
			uid, _ := strconv.Atoi(u.Uid)
			gid, _ := strconv.Atoi(u.Gid)
			return &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}
		}
	}
	t.Skip("no user but root, as whom PostgreSQL does not run")
	return nil
}

func (s *Server) command(name string, args ...string) *exec.Cmd {
	c := exec.Command(filepath.Join(s.bin, name), args...)
	c.Dir = filepath.Dir(s.data)
	c.SysProcAttr = &syscall.SysProcAttr{Credential: s.as}
	return c
}

// Launch starts the server's process, and waits until it answers.
func (s *Server) Launch() {
	s.t.Helper()
	s.run = s.command("postgres", "-D", s.data, "-p", strconv.Itoa(s.Port), "-c", "listen_addresses=127.0.0.1", "-c", "unix_socket_directories="+filepath.Dir(s.data))
	s.run.SysProcAttr.Pdeathsig = syscall.SIGQUIT // if the test is killed
	if err := s.run.Start(); err != nil {
		s.t.Fatal(err)
	}
	for begun := time.Now(); time.Since(begun) < time.Minute; time.Sleep(50 * time.Millisecond) {
		if s.command("pg_isready", "-q", "-h", "127.0.0.1", "-p", strconv.Itoa(s.Port)).Run() == nil {
			return
		}
	}
	s.t.Fatal("PostgreSQL does not start")
}

// Kill ends the server at once, as a loss of power would: nothing is written any more.
func (s *Server) Kill() {
	if s.run == nil {
		return
	}
	_ = s.run.Process.Signal(syscall.SIGSTOP) // it begins no other process meanwhile
	children, _ := exec.Command("pgrep", "-P", strconv.Itoa(s.run.Process.Pid)).Output()
	_ = s.run.Process.Kill()
	for _, field := range strings.Fields(string(children)) {
		if pid, err := strconv.Atoi(field); err == nil {
			_ = syscall.Kill(pid, syscall.SIGKILL)
			for alive(pid) { // it holds the memory that a new server wants
				time.Sleep(5 * time.Millisecond)
			}
		}
	}
	_ = s.run.Wait()
	s.run = nil
	_ = os.Remove(filepath.Join(s.data, "postmaster.pid"))
}

// alive reports whether a process still runs.
func alive(pid int) bool {
	stat, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		return false
	}
	_, state, _ := strings.Cut(string(stat), ") ")
	return !strings.HasPrefix(state, "Z") && !strings.HasPrefix(state, "X")
}

// Restart stops the server by a signal (SIGINT: the transactions are broken off; PostgreSQL 15, "Shutting
// Down the Server"), and starts it again.
func (s *Server) Restart(how syscall.Signal) {
	s.t.Helper()
	if err := s.run.Process.Signal(how); err != nil {
		s.t.Fatal(err)
	}
	_ = s.run.Wait()
	s.Launch()
}

// Fill takes all free space of the server's disk but some bytes, and returns a function that frees it.
func (s *Server) Fill(but uint64) (free func()) {
	s.t.Helper()
	dir := filepath.Dir(s.data)
	path := filepath.Join(dir, "ballast")
	var disk syscall.Statfs_t
	err := syscall.Statfs(dir, &disk)
	if err == nil {
		err = os.WriteFile(path, make([]byte, disk.Bavail*uint64(disk.Bsize)-but), 0o600)
	}
	if err != nil {
		s.t.Fatal(err)
	}
	return func() { _ = os.Remove(path) }
}

// Processor is the processor time of the server so far: of its processes and of those that have ended.
func (s *Server) Processor() time.Duration {
	s.t.Helper()
	ids := []string{strconv.Itoa(s.run.Process.Pid)}
	if children, err := exec.Command("pgrep", "-P", ids[0]).Output(); err == nil {
		ids = append(ids, strings.Fields(string(children))...)
	}
	ticks := int64(0)
	for i, id := range ids {
		text, err := os.ReadFile("/proc/" + id + "/stat")
		if err != nil {
			continue // it has ended meanwhile
		}
		fields := strings.Fields(string(text[strings.LastIndexByte(string(text), ')')+1:]))
		times := fields[11:13] // user, system (proc(5): fields 14 and 15)
		if i == 0 {
			times = fields[11:15] // and those of ended children
		}
		for _, field := range times {
			n, _ := strconv.ParseInt(field, 10, 64)
			ticks += n
		}
	}
	return time.Duration(ticks) * 10 * time.Millisecond // of 1/100 s (sysconf(3), as Linux has it)
}

// Database makes an empty database and returns its address, for the superuser "owner".
func (s *Server) Database(name string) string {
	s.t.Helper()
	if out, err := s.command("createdb", "-h", "127.0.0.1", "-p", strconv.Itoa(s.Port), "-U", "owner", name).CombinedOutput(); err != nil {
		s.t.Fatalf("createdb: %v\n%s", err, out)
	}
	return s.URL("owner", name)
}

// Scram makes the server want a password of a role.
func (s *Server) Scram(role string) {
	s.t.Helper()
	s.Allow("host all " + role + " 127.0.0.1/32 scram-sha-256\n")
}

// Allow puts rules before those of pg_hba.conf.
func (s *Server) Allow(rules string) {
	s.t.Helper()
	path := filepath.Join(s.data, "pg_hba.conf")
	before, err := os.ReadFile(path)
	if err == nil {
		err = os.WriteFile(path, append([]byte(rules), before...), 0o600)
	}
	if err != nil {
		s.t.Fatal(err)
	}
	s.reload()
}

// Encrypt gives the server a certificate and its key, PEM blocks, in place of those that it had.
func (s *Server) Encrypt(certificate, key []byte) {
	s.t.Helper()
	for name, content := range map[string][]byte{"server.crt": certificate, "server.key": key} {
		path := filepath.Join(s.data, name)
		if err := os.WriteFile(path, content, 0o600); err != nil {
			s.t.Fatal(err)
		}
		if s.as != nil {
			if err := os.Chown(path, int(s.as.Uid), int(s.as.Gid)); err != nil {
				s.t.Fatal(err)
			}
		}
	}
	if out, err := s.SQL("owner", "postgres", "ALTER SYSTEM SET ssl = on"); err != nil {
		s.t.Fatal(out)
	}
	s.reload()
}

// reload makes the server read its files again.
func (s *Server) reload() {
	s.t.Helper()
	if out, err := s.SQL("owner", "postgres", "SELECT pg_reload_conf()"); err != nil {
		s.t.Fatal(out)
	}
	time.Sleep(200 * time.Millisecond) // the server reads them soon after
}

// URL is the address of a database for a role.
func (s *Server) URL(role, database string) string {
	return (&url.URL{Scheme: "postgres", User: url.User(role), Host: fmt.Sprintf("127.0.0.1:%d", s.Port), Path: "/" + database}).String()
}

// SQL runs statements as a role, over the socket where no password is wanted, and returns what they
// print, unaligned and without a header.
func (s *Server) SQL(role, database, statements string) (string, error) {
	out, err := s.command("psql", "-h", filepath.Dir(s.data), "-p", strconv.Itoa(s.Port), "-U", role, "-d", database, "-v", "ON_ERROR_STOP=1", "-qAtc", statements).CombinedOutput()
	return string(out), err
}

// Run runs a program of PostgreSQL as the user that owns the server, over the socket, and answers what
// it asks for. It returns what it prints.
func (s *Server) Run(answers, name string, args ...string) (string, error) {
	c := s.command(name, args...)
	c.SysProcAttr.Setsid = true // without a terminal it reads the answers
	c.Stdin = strings.NewReader(answers)
	c.Env = append(os.Environ(), "PGHOST="+filepath.Dir(s.data), "PGPORT="+strconv.Itoa(s.Port), "PGUSER=owner")
	out, err := c.CombinedOutput()
	return string(out), err
}

// freePort returns a port of loopback that nothing listens on.
func freePort(t testing.TB) int {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port
}
