"""One file a command; each is imported only when it is called."""
