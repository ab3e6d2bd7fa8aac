package surgery

import (
	"context"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"holdproof/report/logbook"
	"holdproof/report/logbook/entry"
)

// What looks like a person's name or birthday (ours; a heuristic, which asks and never
// decides): a title or the word patient before a name, two names beside each other or
// with a comma between, a date more than two years past, the word born.
var (
	titled   = regexp.MustCompile(`\b(?:Mr|Mrs|Ms|Miss|Master|Herr|Frau|Mme|Señora?|Sra?|Pani?|[Pp]atient(?:in)?)\.?\s+\p{Lu}\p{L}+(?:[ -]\p{Lu}\p{L}+)*`)
	lastName = regexp.MustCompile(`\p{Lu}\p{Ll}+,\s\p{Lu}(?:\p{Ll}+|\.)(?:$|[ ;,.])`)
	born     = regexp.MustCompile(`(?i)\b(?:d\.?o\.?b|born|birthday|geb|geboren|née?)\b\.?[^;\n\d]{0,20}\d[\d./-]*`)
	dated    = regexp.MustCompile(`\b(?:\d{1,2}[./-]\d{1,2}[./-](\d{4})|(\d{4})-\d{1,2}-\d{1,2}|\d{1,2}\.? \p{Lu}\p{Ll}{2,8}\.? (\d{4}))\b`)
	twoNames = regexp.MustCompile(`\p{Lu}\p{Ll}+(?:[ ]\p{Lu}\p{Ll}+|[ ]\p{Lu}\.[ ]\p{Lu}\p{Ll}+)+`)
)

// noNames are capitalised words that begin sentences or name things of a surgery. A pair
// with one of them in it is no name.
var noNames = strings.Fields(`After All An And Another Are As At Back Because Before Both But By Cassette Certificate Chair Chamber
	Check Checked Cleaned Clinic Closed Control Cycle Dental Display Do Door Doors Drain Dried Each Engineer Every Examination Extraction
	Filled Filter For From Glass Hand Handpiece Handpieces Hand He Helix Her His Hold Holdproof If In Indicator Instruments Is It Item Items Its
	Kept Lead Leak Line Lines Load Loads Machine Maker Makers Mirror New No None Nobody Not Number Nurse Of Old On One Only Opened Or Our Out
	Pack Packs Paper Practice Printer Probe Pump Purified Read Recall Recorder Repacked Replaced Reservoir Room Run Seal Sensor Service Set Sets She
	Software Some Spore Steam Steriliser Strip Suction Surgery Surgical Test The Their There These They This Those Three To Tray Trays Two Type
	Until Vacuum Valve Washer Water We When Wet While With Without
	January February March April May June July August September October November December
	Monday Tuesday Wednesday Thursday Friday Saturday Sunday Christmas Easter Boxing Bank Holiday
	Das Dem Den Der Des Die Ein Eine Einen Er Es Ich Im Ist Kein Keine Neue Neuer Neues Sie Und Vom Von Wir Zum Zur`)

// looksPersonal returns the part of a text that looks like a person's name or birthday,
// "" if none does. year is the present one; known are words that are none of a patient.
func looksPersonal(text string, year int, known []string) string {
	for _, e := range []*regexp.Regexp{born, titled} {
		if found := e.FindString(text); found != "" {
			return found
		}
	}
	for _, m := range dated.FindAllStringSubmatch(text, -1) {
		if y, err := strconv.Atoi(m[1] + m[2] + m[3]); err == nil && 1900 < y && y < year-2 {
			return m[0]
		}
	}
	for _, e := range []*regexp.Regexp{lastName, twoNames} {
		for _, found := range e.FindAllString(text, -1) {
			words := strings.FieldsFunc(found, func(c rune) bool { return !unicode.IsLetter(c) })
			if !slices.ContainsFunc(words, func(w string) bool { return slices.Contains(noNames, w) || slices.Contains(known, w) }) {
				return strings.TrimRight(found, " ;,.")
			}
		}
	}
	return ""
}

// noPatient refuses texts in which a patient seems to be named, until the person says
// that it is none. The names of the staff, the site, its machines and products are none.
func (r *Records) noPatient(ctx context.Context, v *logbook.View, sure bool, texts ...string) error {
	if sure || strings.TrimSpace(strings.Join(texts, "")) == "" {
		return nil
	}
	people, err := everybody(ctx, v)
	if err != nil {
		return err
	}
	var known []string
	letters := func(c rune) bool { return !unicode.IsLetter(c) }
	for _, p := range people {
		known = append(known, strings.FieldsFunc(p.Name, letters)...)
	}
	known = append(known, strings.FieldsFunc(r.settings.Value.Site.Name, letters)...)
	for _, p := range r.settings.Value.Products {
		known = append(known, strings.FieldsFunc(p.Name, letters)...)
	}
	for _, text := range texts {
		if found := looksPersonal(text, r.Now().Year(), known); found != "" {
			return &Refusal{Why: fmt.Sprintf("%q looks like a person's name or birthday", found),
				Instead: "The logbook holds no names of patients: the load number is the link. Take it out. If it is nobody's, say so with --yes.", Field: "text", Confirm: true}
		}
	}
	return nil
}

// noteWords looks at the words of a note.
func (r *Records) noteWords(ctx context.Context, v *logbook.View, n Noting, duty dutyKind, _ *entry.Note) error {
	if duty.On != onSteriliser && n.Steriliser != "" {
		return &Refusal{Why: duty.Name + " is not about a steriliser", Instead: "Leave --steriliser out.", Field: "steriliser"}
	}
	return r.noPatient(ctx, v, n.Sure, n.Text, n.Place, n.Reason)
}
