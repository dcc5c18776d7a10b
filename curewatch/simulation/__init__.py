"""A simulated shed for people without one, and for tests: weather, walls, sensors, faults, outputs."""
