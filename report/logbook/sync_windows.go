package logbook

// cannotSync: Windows opens a folder and then refuses to sync it.
func cannotSync(error) bool { return true }
