package cli

import (
	"fmt"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"go.yaml.in/yaml/v3"

	"holdproof/cmd/internal/surgery"
)

// decimal is how a number may be written: nothing that a person would not write
// into a form, so no 0x10, 1_000, .inf or .nan.
var decimal = regexp.MustCompile(`^[+-]?[0-9]{1,15}(\.[0-9]{1,15})?$`)

// walk compares a node with the type it is to fill, and notes what does not fit,
// with its line. What passes here means to the library that decodes the same bytes
// what it means to the person who wrote them.
func walk(n *yaml.Node, t reflect.Type, key string, problems *settingsError) {
	if n == nil {
		return
	}
	if t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	refuse := func(found, want, remedy string) {
		problems.add(spot{line: n.Line}, surgery.Fault{Key: key, Found: found, Want: want, Remedy: remedy})
	}
	switch {
	case n.Kind == yaml.AliasNode || n.Anchor != "":
		refuse("an anchor or alias of YAML", "the value itself", "Write the value out.")
	case t == reflect.TypeFor[time.Time]() || t.Kind() != reflect.Struct && t.Kind() != reflect.Slice:
		walkScalar(n, t, refuse)
	case n.Kind == yaml.ScalarNode && n.Tag == "!!null": // a heading with everything under it taken out
	case t.Kind() == reflect.Struct && n.Kind == yaml.MappingNode:
		walkMapping(n, t, key, problems)
	case t.Kind() == reflect.Struct:
		refuse(kindOfNode(n), "keys with values: "+surgery.Alternatives(keysOf(t)), "Indent the keys under this one.")
	case n.Kind != yaml.SequenceNode:
		refuse(kindOfNode(n), "a list, each entry after a dash", `Begin each entry with "- ".`)
	default:
		for i, entry := range n.Content {
			walk(entry, t.Elem(), fmt.Sprintf("%s[%d]", key, i+1), problems)
		}
	}
}

func walkMapping(n *yaml.Node, t reflect.Type, key string, problems *settingsError) {
	allowed := keysOf(t)
	var seen []string
	for i := 0; i+1 < len(n.Content); i += 2 {
		k, v := n.Content[i], n.Content[i+1]
		inner := strings.TrimPrefix(key+"."+k.Value, ".")
		refuse := func(found, want, remedy string) {
			problems.add(spot{line: k.Line}, surgery.Fault{Key: inner, Found: found, Want: want, Remedy: remedy})
		}
		field, known := fieldOf(t, k.Value)
		switch {
		case k.Kind != yaml.ScalarNode || !known:
			remedy := "Take the line out, or correct the key."
			if near := surgery.Nearest(k.Value, allowed); near != "" {
				remedy = fmt.Sprintf("Did you mean %q?", near)
			}
			refuse("an unknown key", surgery.Alternatives(allowed), remedy)
		case slices.Contains(seen, k.Value):
			refuse("the key a second time", "it once", "Take one of the two out.")
		default:
			walk(v, field.Type, inner, problems)
		}
		seen = append(seen, k.Value)
	}
}

// walkScalar looks at a value as it is written: a serial number 0417 without quotes
// would be 271 to YAML, and yes a truth.
func walkScalar(n *yaml.Node, t reflect.Type, refuse func(found, want, remedy string)) {
	if n.Kind != yaml.ScalarNode {
		refuse(kindOfNode(n), "one value", "Write the value on the line of the key.")
		return
	}
	if n.Tag == "!!null" {
		refuse("no value", "one", "Write the value, or take the line out.")
		return
	}
	written := fmt.Sprintf("%q", n.Value)
	switch {
	case t == reflect.TypeFor[time.Time]():
		if _, err := time.Parse(time.DateOnly, n.Value); err != nil {
			refuse(written, "a day such as 2026-01-10", "Write year, month and day with dashes.")
		}
	case t.Kind() == reflect.String:
		if n.Tag == "!!str" {
			return
		}
		if v, err := strconv.Atoi(n.Value); n.Tag == "!!int" && err == nil && strconv.Itoa(v) == n.Value {
			return
		}
		refuse(n.Value+" without quotes", "text", fmt.Sprintf("Write it in quotes: %q.", n.Value))
	case t.Kind() == reflect.Bool:
		if n.Tag != "!!bool" || n.Value != "true" && n.Value != "false" {
			refuse(written, "true or false", "Write one of the two, without quotes.")
		}
	case t.Kind() == reflect.Int:
		if v, err := strconv.Atoi(n.Value); n.Tag != "!!int" || err != nil || strconv.Itoa(v) != n.Value {
			refuse(written, "a whole number such as 3", "Write it in digits, without quotes.")
		}
	default:
		if n.Tag != "!!int" && n.Tag != "!!float" || !decimal.MatchString(n.Value) || leadingZero(n.Value) {
			refuse(written, "a number such as 0.3", "Write it in digits with a decimal point, without quotes or unit.")
		}
	}
}

// leadingZero tells whether YAML would read the digits in base eight.
func leadingZero(text string) bool {
	text = strings.TrimLeft(text, "+-")
	return len(text) > 1 && text[0] == '0' && text[1] != '.'
}

func kindOfNode(n *yaml.Node) string {
	switch n.Kind {
	case yaml.MappingNode:
		return "keys with values"
	case yaml.SequenceNode:
		return "a list"
	}
	return fmt.Sprintf("%q", n.Value)
}

// keysOf returns the keys that a struct of the configuration knows, in its order.
func keysOf(t reflect.Type) []string {
	var keys []string
	for i := range t.NumField() {
		keys = append(keys, t.Field(i).Tag.Get("mapstructure"))
	}
	return keys
}

func fieldOf(t reflect.Type, key string) (reflect.StructField, bool) {
	for i := range t.NumField() {
		if t.Field(i).Tag.Get("mapstructure") == key {
			return t.Field(i), true
		}
	}
	return reflect.StructField{}, false
}

// place finds where a key stands: the variable that sets it, else its line, else
// the line of the nearest key around it.
func place(w World, tree *yaml.Node, key string) spot {
	if slices.Contains(bound, key) && w.Getenv(variable(key)) != "" {
		return spot{variable: variable(key)}
	}
	at := spot{}
	n := tree
	for _, step := range strings.Split(strings.ReplaceAll(key, "[", ".["), ".") {
		line, next := descend(n, step)
		if next == nil {
			return at
		}
		n, at = next, spot{line: line}
	}
	return at
}

// descend returns the line and the node under one step of a key.
func descend(n *yaml.Node, step string) (int, *yaml.Node) {
	if n == nil {
		return 0, nil
	}
	if index, ok := strings.CutPrefix(step, "["); ok {
		i, err := strconv.Atoi(strings.TrimSuffix(index, "]"))
		if err != nil || n.Kind != yaml.SequenceNode || i < 1 || i > len(n.Content) {
			return 0, nil
		}
		return n.Content[i-1].Line, n.Content[i-1]
	}
	for i := 0; n.Kind == yaml.MappingNode && i+1 < len(n.Content); i += 2 {
		if n.Content[i].Value == step {
			return n.Content[i].Line, n.Content[i+1]
		}
	}
	return 0, nil
}
