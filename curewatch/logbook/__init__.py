"""The durable memory: readings, jobs, batches, observations, alerts; one hash chain."""

from curewatch.logbook.chain import Head
from curewatch.logbook.entry import Entry, StoredEntry
from curewatch.logbook.kinds import EntryKind
from curewatch.logbook.logbook import Logbook
from curewatch.logbook.opening import keep_note, open_logbook, watched
from curewatch.logbook.port import Known, LogbookStore, Rejections
from curewatch.logbook.series import Hourly, Series
from curewatch.logbook.verification import Verified

__all__ = [
    "Entry",
    "EntryKind",
    "Head",
    "Hourly",
    "Known",
    "Logbook",
    "LogbookStore",
    "Rejections",
    "Series",
    "StoredEntry",
    "Verified",
    "keep_note",
    "open_logbook",
    "watched",
]
