"""Equations: arrays in, arrays out, SI throughout. Each cites its source and enforces its range."""
