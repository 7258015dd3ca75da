"""Prints read: from scans of film to verdicts, kept so that they can be looked at again."""
