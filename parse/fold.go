package parse

import (
	"strings"
	"unicode"

	"golang.org/x/text/unicode/norm"
)

// plain replaces what the decomposition of Unicode leaves alone.
var plain = strings.NewReplacer("ß", "ss", "ł", "l", "œ", "oe", "æ", "ae", "ø", "o", "đ", "d", "℃", " degc ", "℉", " degf ", "№", "no ")

// signs spells out the degree sign, which some write as º: °C, ° F, and as the end
// of numero: n°, nº.
func signs(text string) string {
	if !strings.ContainsAny(text, "°º") {
		return text
	}
	rs := []rune(text)
	letter := func(i int) bool { return i >= 0 && i < len(rs) && unicode.IsLetter(rs[i]) && rs[i] != 'º' }
	var b strings.Builder
	for i := 0; i < len(rs); i++ {
		if rs[i] != '°' && rs[i] != 'º' {
			b.WriteRune(rs[i])
			continue
		}
		if i > 0 && rs[i-1] == 'n' && !letter(i-2) {
			b.WriteString("o ")
			continue
		}
		k := i + 1
		for k < len(rs) && rs[k] == ' ' {
			k++
		}
		if k < len(rs) && (rs[k] == 'c' || rs[k] == 'f') && !letter(k+1) {
			b.WriteString(" deg" + string(rs[k]) + " ")
			i = k
			continue
		}
		b.WriteString(" deg ")
	}
	return b.String()
}

// fold returns the words of a text in lower case without accents and punctuation,
// one space between them.
func fold(text string) string {
	if ascii(text) {
		return foldPlain(strings.ToLower(text))
	}
	return foldPlain(norm.NFD.String(plain.Replace(signs(norm.NFC.String(strings.ToLower(text))))))
}

func foldPlain(text string) string {
	var b strings.Builder
	gap := false
	for _, r := range text {
		switch {
		case unicode.Is(unicode.Mn, r):
		case unicode.IsLetter(r) || unicode.IsDigit(r):
			if gap && b.Len() > 0 {
				b.WriteByte(' ')
			}
			gap = false
			b.WriteRune(r)
		default:
			gap = true
		}
	}
	return b.String()
}

func ascii(text string) bool {
	for i := 0; i < len(text); i++ {
		if text[i] >= 0x80 {
			return false
		}
	}
	return true
}

// uncamel puts a space before a capital that follows a small letter: ChamberTemp.
func uncamel(text string) string {
	var b strings.Builder
	var before rune
	for _, r := range text {
		if unicode.IsUpper(r) && unicode.IsLower(before) {
			b.WriteByte(' ')
		}
		b.WriteRune(r)
		before = r
	}
	return b.String()
}
