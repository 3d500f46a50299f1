package pipeline

import (
	"math"
	"runtime/metrics"
)

// MemoryBytes is the memory that the program holds now: what it has of the system, but for what it has given back. It is what the limit of
// package debug is about, and does not count files that the system keeps in memory. It stops no goroutine.
func MemoryBytes() int64 {
	samples := []metrics.Sample{{Name: "/memory/classes/total:bytes"}, {Name: "/memory/classes/heap/released:bytes"}}
	metrics.Read(samples)
	return int64(min(samples[0].Value.Uint64()-samples[1].Value.Uint64(), math.MaxInt64))
}
