"""Whether the file of the configuration is another than the one that was read.

An editor writes in pieces, or puts a new file in the place of the old. So a file counts as another when two
looks in a row found it different from the one that was read, and alike. One that is away is no other one.
"""

from pathlib import Path

EVERY = 5.0  # monotonic, between two looks [s]

_State = tuple[int, int, int]  # when it was written [ns], its length [bytes], which file it is


class ChangedFile:
    """One file, looked at now and then; ``None`` where there is none to look at."""

    def __init__(self, file: Path | None, monotonic: float) -> None:
        self._file = file
        self._looked = monotonic  # [s]
        self._read = self._found = self._state()

    def taken(self) -> None:
        """It is about to be read."""
        self._read = self._found = self._state()

    def look(self, monotonic: float) -> bool:
        """Whether it is to be read again, where it is time to look. [s]"""
        if self._file is None or monotonic - self._looked < EVERY:
            return False
        self._looked = monotonic
        before, self._found = self._found, self._state()
        return self._found is not None and before == self._found != self._read

    def _state(self) -> _State | None:
        try:
            found = None if self._file is None else self._file.stat()
        except OSError:
            return None
        return None if found is None else (found.st_mtime_ns, found.st_size, found.st_ino)
