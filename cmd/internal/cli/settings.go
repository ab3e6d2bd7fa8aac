package cli

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"time"

	"github.com/go-viper/mapstructure/v2"
	"github.com/spf13/viper"
	"go.yaml.in/yaml/v3"

	"holdproof/cmd/internal/surgery"
)

// configurationFile is the name of a site's settings in its folder.
const configurationFile = "holdproof.yaml"

// maxConfiguration bounds the file (ours): a site with a hundred machines needs 100 kB.
const maxConfiguration = 4 << 20

// bound are the scalars that an environment variable may set, by key. Anything
// else in the environment is ignored.
var bound = []string{"site.name", "site.timezone", "site.altitude_m", "site.ambient_kpa",
	"site.second_signature", "site.second_signature_because", "limits"}

// variable is the name of the environment variable for a key.
func variable(key string) string {
	return "HOLDPROOF_" + strings.ToUpper(strings.ReplaceAll(key, ".", "_"))
}

// settings are a configuration and where it was read.
type settings struct {
	file  string // "" where there is none
	bytes []byte // as they stood in the file
	value surgery.Configuration
}

// settingsFor finds and reads the settings: --config, else $HOLDPROOF_CONFIG, else
// holdproof.yaml in the site's folder. Only the last of the three may be absent.
func settingsFor(w World, dir, named string) (settings, error) {
	file := named
	if file == "" {
		file = w.Getenv("HOLDPROOF_CONFIG")
	}
	if file != "" {
		return readSettings(w, file)
	}
	s, err := readSettings(w, filepath.Join(dir, configurationFile))
	if errors.Is(err, fs.ErrNotExist) {
		value, err := decode(w, "the environment", nil)
		return settings{value: value}, err
	}
	return s, err
}

func readSettings(w World, file string) (settings, error) {
	info, err := os.Stat(file)
	if err != nil {
		return settings{}, fmt.Errorf("the configuration could not be read: %w", err)
	}
	if !info.Mode().IsRegular() || info.Size() > maxConfiguration {
		return settings{}, fmt.Errorf("%s: found something else, expected a text file of at most %d MiB", file, maxConfiguration>>20)
	}
	src, err := os.ReadFile(file)
	if err != nil {
		return settings{}, fmt.Errorf("the configuration could not be read: %w", err)
	}
	value, err := decode(w, file, src)
	return settings{file: file, bytes: src, value: value}, err
}

// decode turns the bytes of a configuration into its value. Its error is a
// [*settingsError] that names a line of the file for everything the file says.
func decode(w World, file string, src []byte) (surgery.Configuration, error) {
	var c surgery.Configuration
	tree, err := outline(src)
	if err != nil {
		return c, syntaxError(file, src, err)
	}
	problems := &settingsError{file: file, lines: lines(src)}
	walk(tree, reflect.TypeFor[surgery.Configuration](), "", problems)
	for _, key := range bound {
		checkVariable(w, key, problems)
	}
	if len(problems.list) > 0 {
		return c, problems.sorted()
	}
	v := viper.New()
	v.SetConfigType("yaml")
	for _, key := range bound {
		if err := v.BindEnv(key, variable(key)); err != nil {
			return c, err
		}
	}
	if err := v.ReadConfig(bytes.NewReader(src)); err != nil {
		return c, syntaxError(file, src, err)
	}
	days := viper.DecodeHook(mapstructure.StringToTimeHookFunc(time.DateOnly))
	if err := v.UnmarshalExact(&c, days); err != nil {
		return c, syntaxError(file, src, err)
	}
	for _, f := range c.Faults() {
		problems.add(place(w, tree, f.Key), f)
	}
	if len(problems.list) > 0 {
		return c, problems.sorted()
	}
	return c, nil
}

// outline parses the bytes once more, for their lines. An empty file has no tree.
func outline(src []byte) (*yaml.Node, error) {
	d := yaml.NewDecoder(bytes.NewReader(src))
	var document yaml.Node
	if err := d.Decode(&document); err != nil {
		if len(bytes.TrimSpace(src)) == 0 || err.Error() == "EOF" {
			return nil, nil
		}
		return nil, err
	}
	var second yaml.Node
	if err := d.Decode(&second); err == nil {
		return nil, fmt.Errorf("line %d: a second document begins, expected one", second.Line)
	}
	if len(document.Content) == 0 {
		return nil, nil
	}
	return document.Content[0], nil
}

// checkVariable refuses a variable whose text cannot be a value of its key.
func checkVariable(w World, key string, problems *settingsError) {
	text := w.Getenv(variable(key))
	if text == "" || !(strings.HasSuffix(key, "_m") || strings.HasSuffix(key, "_kpa")) {
		return
	}
	if !decimal.MatchString(text) {
		problems.add(spot{variable: variable(key)}, surgery.Fault{Key: key, Found: fmt.Sprintf("%q", text),
			Want: "a number such as 12", Remedy: "Correct the variable, or unset it."})
	}
}
