// Package surgery is the one place where acts live: judging exports, computing the
// published values, writing the demonstration. The command line and the review desk
// call it and add words; neither judges anything itself.
package surgery

// Version is the version of the program, as printed and as written into records.
const Version = "0.1.0"
