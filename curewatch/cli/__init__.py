"""The command line: one command a file, screens as pure functions from state to something rich can draw."""
