package surgery

import "fmt"

// Reading says how an export was understood, a line a thing: a person who knows her
// file sees at once whether it was.
func (f FileRead) Reading() []string {
	u := f.Understood
	if u.HeadingLine == 0 {
		return []string{"no heading was understood"}
	}
	out := []string{"encoding " + u.Encoding + ", delimiter " + u.Delimiter + decimalSign(u.Decimal, u.DecimalWhy)}
	if u.Steriliser != "" {
		out = append(out, "settings of "+u.Steriliser+because(u.HintsWhy))
	} else if u.HintsWhy != "" {
		out = append(out, "settings: "+u.HintsWhy)
	}
	out = append(out, fmt.Sprintf("heading on line %d", u.HeadingLine))
	for _, c := range u.Columns {
		text := fmt.Sprintf("column %d %q is %s", c.Number, c.Heading, c.Is)
		if c.Unit != "" {
			text += " in " + c.Unit
		}
		if c.Reference != "" {
			text += ", " + c.Reference
		}
		out = append(out, text+because(c.Why))
	}
	if u.Times != "" {
		out = append(out, "times: "+u.Times)
	}
	if u.DateOrder != "" {
		out = append(out, "dates: "+u.DateOrder+because(u.DateWhy))
	}
	for _, s := range u.Splits {
		out = append(out, fmt.Sprintf("a cycle begins on line %d%s", s.Line, because(s.Why)))
	}
	return out
}

func decimalSign(sign, why string) string {
	if sign == "" {
		return ""
	}
	return fmt.Sprintf(", decimal sign %q", sign) + because(why)
}

func because(why string) string {
	if why == "" {
		return ""
	}
	return " (" + why + ")"
}
