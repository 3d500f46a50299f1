//go:build unix

package reports

import (
	"encoding/json"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"farstation/pipeline"
)

// copyScript loads a file into a table in memory and times DuckDB's COPY of it to another file, with as many threads as told.
const copyScript = `
const { DuckDBInstance } = require('@duckdb/node-api');
const [from, to, threads] = process.argv.slice(1);
(async () => {
  const connection = await (await DuckDBInstance.create(':memory:')).connect();
  await connection.run('SET threads = ' + threads);
  await connection.run("CREATE TABLE lines AS SELECT * FROM read_parquet('" + from + "')");
  const cpu = process.cpuUsage(), start = process.hrtime.bigint();
  await connection.run("COPY (SELECT * FROM lines) TO '" + to + "' (FORMAT parquet, COMPRESSION zstd)");
  const wall = Number(process.hrtime.bigint() - start) / 1e9, used = process.cpuUsage(cpu);
  console.log(JSON.stringify({ wall_s: wall, cpu_s: (used.user + used.system) / 1e6 }));
})().catch((error) => { console.error(String(error)); process.exit(1); });
`

// spent is the time that writing a file took, and the processor time of the whole process for it.
type spent struct {
	WallS float64 `json:"wall_s"`
	CPUS  float64 `json:"cpu_s"`
}

// BenchmarkAgainstDuckDB writes the same rows with DuckDB and here in turn, each to a file, and compares the least times.
func BenchmarkAgainstDuckDB(b *testing.B) {
	rows := benchSightlines(200_000)
	dir := b.TempDir()
	table, copied, ours := filepath.Join(dir, "table"), filepath.Join(dir, "copied"), filepath.Join(dir, "ours")
	write := func(path string, workers int) spent {
		file, err := os.Create(path)
		if err != nil {
			b.Fatal(err)
		}
		start, cpu := time.Now(), processorS(b)
		if err := WriteSightlines(file, pipeline.GroupsOf(rows), workers); err != nil {
			b.Fatal(err)
		}
		s := spent{time.Since(start).Seconds(), processorS(b) - cpu}
		if err := file.Close(); err != nil {
			b.Fatal(err)
		}
		return s
	}
	write(table, 2)
	for _, test := range []struct {
		threads string
		workers int
	}{{"1", 1}, {"2", 2}} {
		b.Run(test.threads+" threads", func(b *testing.B) {
			var here, there spent
			for n := 0; b.Loop(); n++ {
				s := write(ours, test.workers)
				var d spent
				if err := json.Unmarshal([]byte(runNode(b, "@duckdb/node-api", copyScript, table, copied, test.threads)), &d); err != nil {
					b.Fatal(err)
				}
				if n == 0 {
					here, there = s, d
				}
				here = spent{min(here.WallS, s.WallS), min(here.CPUS, s.CPUS)}
				there = spent{min(there.WallS, d.WallS), min(there.CPUS, d.CPUS)}
			}
			n := float64(len(rows))
			b.ReportMetric(n/here.WallS, "rows/s")
			b.ReportMetric(n/there.WallS, "duckdb-rows/s")
			b.ReportMetric(there.WallS/here.WallS, "times-as-fast")
			b.ReportMetric(1e6*here.CPUS/n, "cpu-µs/row")
			b.ReportMetric(1e6*there.CPUS/n, "duckdb-cpu-µs/row")
			b.ReportMetric(float64(sizeOf(b, ours))/float64(sizeOf(b, copied)), "size-ratio")
		})
	}
}

// processorS is the processor time that the process has used, in seconds.
func processorS(t testing.TB) float64 {
	t.Helper()
	var usage syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &usage); err != nil {
		t.Fatal(err)
	}
	return time.Duration(usage.Utime.Nano() + usage.Stime.Nano()).Seconds()
}

func sizeOf(t testing.TB, path string) int64 {
	t.Helper()
	status, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	return status.Size()
}
