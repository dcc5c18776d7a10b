"""A simulated shed: weather, walls, noisy sensors and faults on demand, for users and for tests."""
