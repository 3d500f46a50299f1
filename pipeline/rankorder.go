package pipeline

import (
	"bufio"
	"cmp"
	"container/heap"
	"encoding/binary"
	"io"
	"iter"
	"math"
	"slices"
	"sync"
)

// rankKey is what the place of a row in a ranking depends on.
type rankKey struct {
	// score ranks, the greater first; then second, the smaller first; then the row's number in its table.
	score, second float64
	row           int64
	// distanceM, observer and target describe a line: its length, and the features at its ends.
	distanceM        float64
	observer, target int32
}

func (a *rankKey) compare(b *rankKey) int {
	return cmp.Or(cmp.Compare(b.score, a.score), cmp.Compare(a.second, b.second), cmp.Compare(a.row, b.row))
}

const rankKeyBytes = 4*8 + 2*4

func (a *rankKey) append(b []byte) []byte {
	for _, v := range [4]uint64{math.Float64bits(a.score), math.Float64bits(a.second), uint64(a.row), math.Float64bits(a.distanceM)} {
		b = binary.LittleEndian.AppendUint64(b, v)
	}
	return binary.LittleEndian.AppendUint32(binary.LittleEndian.AppendUint32(b, uint32(a.observer)), uint32(a.target))
}

func readRankKey(b []byte) rankKey {
	word := func(i int) uint64 { return binary.LittleEndian.Uint64(b[8*i:]) }
	return rankKey{
		score: math.Float64frombits(word(0)), second: math.Float64frombits(word(1)), row: int64(word(2)), distanceM: math.Float64frombits(word(3)),
		observer: int32(binary.LittleEndian.Uint32(b[32:])), target: int32(binary.LittleEndian.Uint32(b[36:])),
	}
}

// rankOrder puts any number of keys in order: runs that fit into memory are sorted there and spilled, and merged at the end. Keys may be added
// on several goroutines at once; the order does not depend on that of their coming, since no two are equal.
type rankOrder struct {
	spill *spill
	// most is the number of keys held in memory.
	most int

	mu   sync.Mutex
	held []rankKey
	runs []blockAt
}

// mostRankKeys take 48 MiB.
const mostRankKeys = 48 << 20 / 48

func newRankOrder(s *spill) *rankOrder { return &rankOrder{spill: s, most: mostRankKeys} }

func (o *rankOrder) add(keys []rankKey) error {
	o.mu.Lock()
	defer o.mu.Unlock()
	for len(keys) > 0 {
		n := min(len(keys), o.most-len(o.held))
		o.held = append(o.held, keys[:n]...)
		keys = keys[n:]
		if len(o.held) == o.most {
			slices.SortFunc(o.held, func(a, b rankKey) int { return a.compare(&b) })
			b := make([]byte, 0, rankKeyBytes*len(o.held))
			for i := range o.held {
				b = o.held[i].append(b)
			}
			run, err := o.spill.addPacked(b)
			if err != nil {
				return err
			}
			o.runs, o.held = append(o.runs, run), o.held[:0]
		}
	}
	return nil
}

// keyRun is one sorted run with its foremost key.
type keyRun struct {
	first rankKey
	rest  func() (rankKey, error) // io.EOF at its end
}

type keyRuns []keyRun

func (r keyRuns) Len() int           { return len(r) }
func (r keyRuns) Less(i, j int) bool { return r[i].first.compare(&r[j].first) < 0 }
func (r keyRuns) Swap(i, j int)      { r[i], r[j] = r[j], r[i] }
func (r *keyRuns) Push(x any)        { *r = append(*r, x.(keyRun)) }
func (r *keyRuns) Pop() any {
	last := (*r)[len(*r)-1]
	*r = (*r)[:len(*r)-1]
	return last
}

// sorted returns all keys in order. After an error there are no more.
func (o *rankOrder) sorted() iter.Seq2[rankKey, error] {
	return func(yield func(rankKey, error) bool) {
		slices.SortFunc(o.held, func(a, b rankKey) int { return a.compare(&b) })
		held := o.held
		rests := []func() (rankKey, error){func() (rankKey, error) {
			if len(held) == 0 {
				return rankKey{}, io.EOF
			}
			key := held[0]
			held = held[1:]
			return key, nil
		}}
		for _, run := range o.runs {
			in := bufio.NewReaderSize(io.NewSectionReader(o.spill.file, run.offset, int64(run.bytes)), 64<<10)
			b := make([]byte, rankKeyBytes)
			rests = append(rests, func() (rankKey, error) {
				if _, err := io.ReadFull(in, b); err != nil {
					return rankKey{}, err
				}
				return readRankKey(b), nil
			})
		}
		var runs keyRuns
		// next fetches a run's next key; it is false at the run's end and once yield wants no more.
		next := func(run *keyRun) (more, goOn bool) {
			var err error
			switch run.first, err = run.rest(); err {
			case nil:
				return true, true
			case io.EOF:
				return false, true
			}
			yield(rankKey{}, err)
			return false, false
		}
		for _, rest := range rests {
			run := keyRun{rest: rest}
			more, goOn := next(&run)
			if !goOn {
				return
			}
			if more {
				runs = append(runs, run)
			}
		}
		heap.Init(&runs)
		for len(runs) > 0 {
			if !yield(runs[0].first, nil) {
				return
			}
			switch more, goOn := next(&runs[0]); {
			case !goOn:
				return
			case more:
				heap.Fix(&runs, 0)
			default:
				heap.Pop(&runs)
			}
		}
	}
}
