package parse

import (
	"strings"
	"unicode"

	"golang.org/x/text/unicode/norm"
)

// degrees spells out the degree signs; plain what the decomposition of Unicode
// leaves alone, and the ways to write numero. Degrees go first.
var (
	degrees = strings.NewReplacer(
		"℃", " degc ", "℉", " degf ", "°c", " degc ", "°f", " degf ", "ºc", " degc ", "ºf", " degf ",
		"° c", " degc ", "° f", " degf ", "º c", " degc ", "º f", " degf ",
	)
	plain = strings.NewReplacer(
		"ß", "ss", "ł", "l", "œ", "oe", "æ", "ae", "ø", "o", "đ", "d",
		"n°", "no ", "nº", "no ", "№", "no ", "°", " deg ", "º", " deg ",
	)
)

// fold returns the words of a text in lower case without accents and punctuation,
// one space between them.
func fold(text string) string {
	if ascii(text) {
		return foldPlain(strings.ToLower(text))
	}
	return foldPlain(norm.NFD.String(plain.Replace(degrees.Replace(norm.NFC.String(strings.ToLower(text))))))
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
