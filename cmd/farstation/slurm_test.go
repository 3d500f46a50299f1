package main

import (
	"context"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"
	"time"
)

// slurmConf is that of a controller and two nodes on this one machine (slurm.conf(5)).
const slurmConf = `ClusterName=test
SlurmctldHost=%[1]s
SlurmctldPort=%[3]d
SlurmUser=root
SlurmdUser=root
AuthType=auth/munge
AuthInfo=socket=%[2]s/munge.socket
SlurmctldPidFile=%[2]s/controller.pid
SlurmdPidFile=%[2]s/node.%%n.pid
StateSaveLocation=%[2]s/state
SlurmdSpoolDir=%[2]s/spool.%%n
ProctrackType=proctrack/linuxproc
TaskPlugin=task/none
SelectType=select/cons_tres
SelectTypeParameters=CR_Core
SlurmdParameters=config_overrides
ReturnToService=2
NodeName=n1 NodeHostname=%[1]s Port=%[4]d CPUs=2 RealMemory=4000
NodeName=n2 NodeHostname=%[1]s Port=%[5]d CPUs=2 RealMemory=4000
PartitionName=all Nodes=n1,n2 Default=YES MaxTime=INFINITE State=UP
`

// startSlurm starts a Slurm with two nodes that ends with the test, and returns its environment. With SLURM_CONF in the environment it is that
// one, whoever runs it.
func startSlurm(t *testing.T) []string {
	t.Helper()
	if conf := os.Getenv("SLURM_CONF"); conf != "" {
		return []string{"SLURM_CONF=" + conf}
	}
	if os.Geteuid() != 0 {
		missing(t, "a Slurm of its own needs root: run as root, or name the slurm.conf of one with two nodes in SLURM_CONF")
	}
	// The path of a socket must be short.
	dir, err := os.MkdirTemp("", "slurm")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	host, err := os.Hostname()
	if err != nil {
		t.Fatal(err)
	}
	host, _, _ = strings.Cut(host, ".")
	ports := freePorts(t, 3)
	conf := filepath.Join(dir, "slurm.conf")
	if err := os.WriteFile(conf, fmt.Appendf(nil, slurmConf, host, dir, ports[0], ports[1], ports[2]), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(filepath.Join(dir, "state"), 0o755); err != nil {
		t.Fatal(err)
	}
	environment := []string{"SLURM_CONF=" + conf}
	key := filepath.Join(dir, "munge.key")
	if err := os.WriteFile(key, []byte(strings.Repeat("a key for one test only ", 4)), 0o600); err != nil {
		t.Fatal(err)
	}
	in := func(name string) string { return filepath.Join(dir, name) }
	startDaemon(t, dir, environment, "munged", "--foreground", "--force", "--key-file", key, "--socket", in("munge.socket"), "--pid-file", in("munged.pid"), "--log-file", in("munged.log"), "--seed-file", in("munged.seed"))
	startDaemon(t, dir, environment, "slurmctld", "-D", "-f", conf)
	startDaemon(t, dir, environment, "slurmd", "-D", "-N", "n1", "-f", conf)
	startDaemon(t, dir, environment, "slurmd", "-D", "-N", "n2", "-f", conf)
	waitUntil(t, time.Minute, "the nodes of Slurm are idle; logs:\n"+logs(dir), func() bool {
		return slurm(environment, dir, "sinfo", "-h", "-t", "idle", "-o", "%D") == "2\n"
	})
	return environment
}

func freePorts(t *testing.T, n int) []int {
	t.Helper()
	var ports []int
	for range n {
		listener, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		defer listener.Close()
		ports = append(ports, listener.Addr().(*net.TCPAddr).Port)
	}
	return ports
}

// startDaemon starts a program that is ended with the test.
func startDaemon(t *testing.T, dir string, environment []string, name string, args ...string) {
	t.Helper()
	path := need(t, name, "install slurm-wlm and munge")
	log, err := os.CreateTemp(dir, name+"-*.out")
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	command := exec.CommandContext(ctx, path, args...)
	command.Dir, command.Env, command.Stdout, command.Stderr = dir, append(os.Environ(), environment...), log, log
	command.Cancel = func() error { return command.Process.Signal(syscall.SIGTERM) }
	command.WaitDelay = 10 * time.Second
	if err := command.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		stop()
		_ = command.Wait() // how it ends is of no interest
		log.Close()
	})
}

func logs(dir string) string {
	var text strings.Builder
	found, _ := filepath.Glob(filepath.Join(dir, "*.out"))
	for _, path := range found {
		content, _ := os.ReadFile(path)
		fmt.Fprintf(&text, "%s:\n%s\n", filepath.Base(path), content)
	}
	return text.String()
}

// slurm runs one of Slurm's commands and returns what it prints, errors too.
func slurm(environment []string, dir, name string, args ...string) string {
	command := exec.Command(name, args...)
	command.Dir, command.Env = dir, append(os.Environ(), environment...)
	output, err := command.CombinedOutput()
	if err != nil {
		return err.Error() + ": " + string(output)
	}
	return string(output)
}

func waitUntil(t *testing.T, most time.Duration, what string, done func() bool) {
	t.Helper()
	for end := time.Now().Add(most); !done(); time.Sleep(200 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("not after %v: %s", most, what)
		}
	}
}

// The job array of README makes the shares of one survey on two nodes of a real Slurm. One task is killed in the middle, its program with a
// signal that leaves it no time: the scheduler runs it again, and the gathered run has the bytes of one made at once.
func TestReadmeSlurm(t *testing.T) {
	if testing.Short() {
		t.Skip("starts a scheduler: not in a short run")
	}
	need(t, "sbatch", "install slurm-wlm and munge")
	environment := startSlurm(t)
	dir := recipeFolder(t)
	write := func(name, content string) {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(content), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	write("shares.sh", recipe(t, "sh", "#SBATCH"))
	// In the place of the program stands one that notes the node, and is killed once, a tenth of a second after it began the second share: it
	// takes several.
	if err := os.Mkdir(filepath.Join(dir, "bin"), 0o755); err != nil {
		t.Fatal(err)
	}
	program, err := exec.LookPath("farstation")
	if err != nil {
		t.Fatal(err)
	}
	write("bin/farstation", fmt.Sprintf(`#!/bin/sh
echo "$SLURM_ARRAY_TASK_ID $SLURMD_NODENAME ${SLURM_RESTART_COUNT:-0}" >>tasks
if [ "$SLURM_ARRAY_TASK_ID" = 2 ] && [ "${SLURM_RESTART_COUNT:-0}" = 0 ]; then
    %[1]s "$@" &
    sleep 0.1
    kill -KILL $!
    wait $!
    exit $?
fi
exec %[1]s "$@"
`, program))
	// A variable that the jobs inherit.
	environment = append(environment, "PATH="+filepath.Join(dir, "bin")+string(os.PathListSeparator)+os.Getenv("PATH"))
	said := slurm(environment, dir, "sbatch", "--array=1-4", "--parsable", "shares.sh")
	if !regexp.MustCompile(`^[0-9]+\n$`).MatchString(said) {
		t.Fatal(said)
	}
	job := strings.TrimSpace(said)
	waitUntil(t, 4*time.Minute, "the job array is done", func() bool {
		for line := range strings.Lines(slurm(environment, dir, "squeue", "-h", "-j", job, "-t", "pending", "-o", "%A %r")) {
			// Slurm holds what was put back into the queue for two minutes, which a test need not wait for.
			if id, reason, _ := strings.Cut(strings.TrimSpace(line), " "); reason == "BeginTime" {
				slurm(environment, dir, "scontrol", "update", "JobId="+id, "StartTime=now")
			}
		}
		queue := slurm(environment, dir, "squeue", "-h", "-j", job)
		return strings.TrimSpace(queue) == "" || strings.Contains(queue, "Invalid job id")
	})
	tasks, err := os.ReadFile(filepath.Join(dir, "tasks"))
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"(?m)^2 n[12] 0$", "(?m)^2 n[12] 1$", "(?m)^[1-4] n1 ", "(?m)^[1-4] n2 "} {
		if !regexp.MustCompile(want).Match(tasks) {
			t.Errorf("of the tasks (share, node, restarts) none is %s:\n%s", want, tasks)
		}
	}
	runRecipe(t, dir, nil, "sh", "-c", "farstation gather --quiet shares/* --out runs/britain && farstation survey --quiet --features GB.zip --terrain tiles --out one")
	wantSameRuns(t, filepath.Join(dir, "runs/britain"), filepath.Join(dir, "one"))
}
