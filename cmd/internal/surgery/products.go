package surgery

import "fmt"

// Product is what the maker of a disinfectant, or the surgery, says of its use.
type Product struct {
	Name                 string   `mapstructure:"name"`
	ConcentrationPercent *float64 `mapstructure:"concentration_percent"` // the solution the contact time is for, nil: not said
	ContactMin           float64  `mapstructure:"contact_min"`           // the shortest contact time, min
	Source               string   `mapstructure:"source"`                // where the figures stand
}

// mostContact is the longest contact time that a product may ask for, min (ours): a weekend.
const mostContact = 3 * 24 * 60

func (c Configuration) productFaults(f *faults) {
	names := map[string]string{}
	for i, p := range c.Products {
		key := fmt.Sprintf("products[%d]", i+1)
		f.needed(key+".name", p.Name, "the name as it is entered, such as line rinse")
		f.once(key+".name", p.Name, names)
		f.above(key+".contact_min", p.ContactMin, mostContact, "min")
		if p.ConcentrationPercent != nil {
			f.above(key+".concentration_percent", *p.ConcentrationPercent, 100, "%")
		}
		f.needed(key+".source", p.Source, "where the contact time stands, such as the maker's leaflet and its date")
	}
}
