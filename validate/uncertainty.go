package validate

// DefaultUncertainty is what sensors may be wrong by, k = 2, where no certificate
// says less: K and kPa. Source: beside the constants.
func DefaultUncertainty() Uncertainty {
	return Uncertainty{Temperature: Known(defaultUT), Pressure: Known(defaultUP)}
}
