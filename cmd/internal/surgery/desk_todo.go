package surgery

// What is to be done with a load that is called back.
const (
	toRecall = "Call this load back. Find every pack; the lead closes the recall with what became of each."
	toLink   = "Link it with its new run."
	toDecide = "In quarantine. The lead decides."
	toSend   = "Send it back to be processed again."
)

// ToDo is what the person is told about the cycle as it stands now: an open recall comes
// first, then what people decided; what the record asks for only counts as long as
// nobody decided. "" if nothing is to be done.
func (s Shown) ToDo() string {
	switch {
	case s.CalledBack():
		return toRecall
	case s.Recall == "closed":
		return ""
	case s.Decision == DoQuarantine:
		return toDecide
	case s.Decision == DoReprocess && s.Rerun == "" && !s.Settled:
		return toLink
	case s.Decision != "":
		return ""
	case s.Release == "rejected" && !s.Test:
		return toSend
	case s.Release != "" && s.Settled, s.Test && s.Settled && s.Result == Borderline:
		return ""
	}
	return s.Instruction
}

// CalledBack tells whether a recall of the load is open.
func (s Shown) CalledBack() bool { return s.Recall == "opened" || s.Recall == "followed" }
