"""The command line: one module a verb, on the same engine as the window."""
