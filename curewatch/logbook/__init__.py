"""The durable memory: readings, jobs, batches, observations, alerts; one hash chain."""

from curewatch.logbook.chain import Head
from curewatch.logbook.entry import Entry, Stored
from curewatch.logbook.kinds import Kind
from curewatch.logbook.logbook import Logbook
from curewatch.logbook.opening import open_logbook
from curewatch.logbook.port import Known, LogbookStore, Refusals
from curewatch.logbook.series import Hourly, Series
from curewatch.logbook.verification import Verified

__all__ = [
    "Entry",
    "Head",
    "Hourly",
    "Kind",
    "Known",
    "Logbook",
    "LogbookStore",
    "Refusals",
    "Series",
    "Stored",
    "Verified",
    "open_logbook",
]
