"""Commands: one file a command, loaded when it is called."""
