package gazetteer

import (
	"slices"
	"strings"
	"unicode"
)

// plainLetters gives Latin letters with marks, and joined ones, as plain letters. Names are compared by it and never shown. German ü is u,
// not ue, as in most extracts in ASCII; other scripts keep their letters and marks, which tell words apart there.
func plainLetters() map[rune]string {
	plain := map[rune]string{
		'ß': "ss", 'æ': "ae", 'œ': "oe", 'ø': "o", 'ð': "d", 'đ': "d", 'þ': "th", 'ł': "l", 'ħ': "h", 'ŧ': "t", 'ı': "i", 'ŋ': "n", 'ĳ': "ij", 'ə': "e",
	}
	for letter, marked := range map[string]string{
		"a": "àáâãäåāăąǎạảấầẩẫậắằẳẵặ", "c": "çćĉċč", "d": "ď", "e": "èéêëēĕėęěẹẻẽếềểễệ", "g": "ĝğġģǧ", "h": "ĥ", "i": "ìíîïĩīĭįǐỉị", "j": "ĵ",
		"k": "ķǩ", "l": "ĺļľŀ", "n": "ñńņňŉ", "o": "òóôõöōŏőơǒọỏốồổỗộớờởỡợǫ", "r": "ŕŗř", "s": "śŝşšș", "t": "ţťț", "u": "ùúûüũūŭůűųưǔụủứừửữự",
		"w": "ŵẁẃẅ", "y": "ýÿŷỳỵỷỹ", "z": "źżž",
	} {
		for _, r := range marked {
			plain[r] = letter
		}
	}
	return plain
}

// folder folds names for comparison.
type folder struct {
	plain map[rune]string
	words map[string]string
}

func newFolder() *folder {
	return &folder{plainLetters(), map[string]string{"mt": "mount", "mtn": "mountain", "st": "saint"}}
}

// fold returns a name as it is compared: lower case, Latin letters without marks (composed or combining), apostrophes left out, other
// punctuation as spaces, one space between words, & as "and", Mt, Mtn and St spelt out, no leading "the". A name of punctuation alone is
// empty. Translations are not folded: Beinn and Ben are different names, which an extract joins by listing both.
func (f *folder) fold(name string) string {
	var b strings.Builder
	for _, r := range strings.ToLower(name) {
		switch {
		case r < 0x80 && (r >= 'a' && r <= 'z' || r >= '0' && r <= '9'):
			b.WriteByte(byte(r))
		case r == '&':
			b.WriteString(" and ")
		case r >= 0x300 && r <= 0x36f || strings.ContainsRune("'’‘ʼ`´ʻ", r): // combining marks of Latin, apostrophes
		case f.plain[r] != "":
			b.WriteString(f.plain[r])
		case unicode.IsLetter(r) || unicode.IsDigit(r) || unicode.IsMark(r):
			b.WriteRune(r)
		default:
			b.WriteByte(' ')
		}
	}
	words := strings.Fields(b.String())
	if len(words) > 1 && words[0] == "the" {
		words = words[1:]
	}
	for i, word := range words {
		if spelt, ok := f.words[word]; ok && len(words) > 1 {
			words[i] = spelt
		}
	}
	return strings.Join(words, " ")
}

// names returns the folded names of a feature, each once, sorted.
func (f *folder) names(of *Feature) []string {
	folded := make([]string, 0, 1+len(of.OtherNames))
	add := func(name string) {
		if name = f.fold(name); name != "" && !slices.Contains(folded, name) {
			folded = append(folded, name)
		}
	}
	add(of.Name)
	for _, other := range of.OtherNames {
		add(other)
	}
	slices.Sort(folded)
	return folded
}
