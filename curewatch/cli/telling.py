"""The shed's logbook, open to be told something: the one door for commands that write into it.

Who tells something on which running layers rest, or brings readings, leaves a look behind: whoever asks next
for the layers need not wait for one.
"""

from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from pathlib import Path

from curewatch.clock import SystemClock
from curewatch.configuration import Configuration, logbook_path
from curewatch.logbook import LogbookStore, open_logbook


@contextmanager
def open_to_tell(
    configuration: Configuration, path: Path, *, read_only: bool = False
) -> Iterator[LogbookStore]:
    """The logbook at this place, which is the shed's; ``read_only`` where it is only looked at after all."""
    with open_logbook(path, read_only=read_only) as logbook:
        if read_only:
            yield logbook
            return
        before = logbook.head()
        try:
            yield logbook
        finally:
            from curewatch.answers import last_look

            last_look.leave(logbook, configuration, before, SystemClock())


def bringing_readings(configuration: Configuration, file: Path | None) -> AbstractContextManager[object]:
    """While another writes readings into this file; only the shed's own logbook has a look to keep."""
    if file is None or file.resolve() != logbook_path(configuration).resolve():
        return nullcontext()
    return open_to_tell(configuration, file)
