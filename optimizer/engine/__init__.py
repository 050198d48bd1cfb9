"""The search for the best mix: cases in steps, a scan of the whole room, then smooth polishing."""
