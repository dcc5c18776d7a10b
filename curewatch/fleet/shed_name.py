"""Under which name a fleet knows a logbook: written beside it once, so that two sheds never share a chain.

One file may be told under two paths, one database under two addresses, and two files of a fleet may have
their sheds exchanged. No comparison of addresses finds that.
"""

from curewatch.configuration import Configuration, logbook_path
from curewatch.errors import StoreFailed
from curewatch.logbook import LogbookStore, open_logbook

NOTE = "fleet shed"
OTHER = "found the fleet's shed {known}. Use a logbook of its own, or `curewatch fleet settle --shed {name}`"


class OtherShed(StoreFailed):
    """The logbook is another shed's."""


def open_shed(name: str, shed: Configuration) -> LogbookStore:
    """The logbook of this shed, opened to write.

    Raises
    ------
    OtherShed
        A fleet knows it by another name.
    StoreFailed
        It cannot be opened.
    """
    logbook = open_logbook(logbook_path(shed))
    try:
        if logbook.note(NOTE) is None:
            rename(logbook, name)
        check(logbook, name)
    except BaseException:
        logbook.close()
        raise
    return logbook


def check(logbook: LogbookStore, name: str) -> None:
    """OtherShed if a fleet knows this logbook by another name."""
    known = (logbook.note(NOTE) or name.encode()).decode()
    if known != name:
        raise OtherShed(f"logbook {logbook.path} of {name}: {OTHER.format(known=known, name=name)}")


def rename(logbook: LogbookStore, name: str) -> None:
    """From now on it is the logbook of this shed."""
    logbook.append(notes={NOTE: name.encode()})
