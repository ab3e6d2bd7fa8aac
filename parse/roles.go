package parse

// knownRole are the roles that words.csv may give to a word.
var knownRole = map[string]bool{
	"chamber": true, "drain": true, "load": true, "other": true, "load or cycle number": true,
	"temperature": true, "pressure": true, "absolute": true, "gauge": true,
	"time": true, "date": true, "elapsed": true, "start": true, "end": true,
	"cycle": true, "cycle number": true, "programme": true, "result": true, "phase": true,
	"steriliser": true, "serial": true, "note": true, "neutral": true,
	"fault": true, "completed": true, "nothing": true, "negation": true, "earlier": true,
	"steam penetration test": true, "air leakage test": true, "control test": true,
	"not holding": true, "minutes": true, "seconds": true,
}
