package logbook

import "fmt"

// Strict columns: SQLite keeps with each value whether it is text, bytes or a
// number, and converts when asked for another. An audit asks for what was kept.
type (
	strictText  string
	strictBytes []byte
	strictInt   int64
)

// Scan takes text only.
func (t *strictText) Scan(v any) error {
	s, ok := v.(string)
	*t = strictText(s)
	return strictly(ok, "text", v)
}

// Scan takes bytes only.
func (b *strictBytes) Scan(v any) error {
	s, ok := v.([]byte)
	*b = append(strictBytes(nil), s...)
	return strictly(ok, "bytes", v)
}

// Scan takes a whole number only.
func (n *strictInt) Scan(v any) error {
	i, ok := v.(int64)
	*n = strictInt(i)
	return strictly(ok, "a whole number", v)
}

func strictly(ok bool, want string, v any) error {
	if ok {
		return nil
	}
	return fmt.Errorf("want %s, there is a %T", want, v)
}
