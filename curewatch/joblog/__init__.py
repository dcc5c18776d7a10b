"""The job log: what a person tells at the bench, folded from the logbook's entries."""

from curewatch.joblog.job import Job, Told, current, names, one_open, read

__all__ = ["Job", "Told", "current", "names", "one_open", "read"]
