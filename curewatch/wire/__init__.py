"""Bytes to readings, without a port and without a thread: framing, lines, SenML, JSON, plausibility."""
