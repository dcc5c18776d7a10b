"""The first conversation: what is heard, what it is called, and the file that says so."""
