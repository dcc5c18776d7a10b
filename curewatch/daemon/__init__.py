"""The daemon: events in, effects out. One core without input or output, one loop, thin edges."""
