package cli

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"holdproof/cmd/internal/surgery"
)

type steamJSON struct {
	Temperature float64 `json:"temperature_c"`
	Pressure    float64 `json:"pressure_kpa"`
	Gauge       float64 `json:"gauge_kpa"`
	Ambient     float64 `json:"ambient_kpa"`
	AmbientFrom string  `json:"ambient_from"`
	Source      string  `json:"source"`
	Sure        string  `json:"sure"`
}

func steamCommand(w World, at *common) *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use:     "steam VALUE",
		Short:   "Saturation pressure of a temperature, or the other way round",
		Example: "holdproof steam 134C",
		Args:    needs(1, 2, "a value"),
	}
	c.Flags().StringVar(&at.config, "config", "", "the configuration (default holdproof.yaml in --dir, if there is one)")
	c.Flags().BoolVar(&asJSON, "json", false, "print one JSON object and nothing else")
	c.RunE = func(c *cobra.Command, args []string) error {
		s, err := settingsFor(w, at.dir, at.config)
		if err != nil {
			return err
		}
		v, err := surgery.SaturatedSteam(s.value.Site, strings.Join(args, " "))
		if err != nil {
			return err
		}
		if asJSON {
			return plainEncoder(w.Stdout).Encode(steamJSON{v.TemperatureC, v.PressureKPa, v.GaugeKPa, v.AmbientKPa, v.AmbientFrom, v.Source.Text, v.Source.Sure.String()})
		}
		p := newPage(w, w.Stdout)
		p.gap()
		p.line(span{fmt.Sprintf("  %9.2f °C   saturated steam", v.TemperatureC), strong})
		p.line(span{fmt.Sprintf("  %9.2f kPa  absolute (%.4f bar, %.2f psi)", v.PressureKPa, v.PressureKPa/100, v.PressureKPa/psi), plain})
		p.line(span{fmt.Sprintf("  %9.2f kPa  gauge (%.4f bar, %.2f psi) where the air has %.2f kPa", v.GaugeKPa, v.GaugeKPa/100, v.GaugeKPa/psi, v.AmbientKPa), plain})
		p.gap()
		p.para("  ", "Air: "+v.AmbientFrom+".", plain)
		p.para("  ", "Steam: "+sourceOf(v.Source.Text, v.Source.Sure.String())+".", plain)
		return p.flush()
	}
	return c
}

// psi in kPa, by the definitions of pound, inch and standard gravity.
const psi = 6.894757293168
