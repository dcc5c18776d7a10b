"""The job log: what a person tells at the bench, folded from the logbook's entries."""

from curewatch.worklog.job import CorrectedEntry, Job, current, names, one_open, read, writable

__all__ = ["CorrectedEntry", "Job", "current", "names", "one_open", "read", "writable"]
