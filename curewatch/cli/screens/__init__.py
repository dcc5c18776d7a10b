"""State in, renderable out: no clock, no file, no terminal."""
