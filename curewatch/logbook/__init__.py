"""The durable memory: readings, jobs and alerts in one SQLite file, one append-only hash chain."""
