"""The command line: one file a command, no logic; one error door."""
