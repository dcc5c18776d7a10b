"""The durable memory: readings, jobs, observations and alerts in one SQLite file, one append-only hash chain."""
