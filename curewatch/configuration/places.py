"""Where things are kept when the configuration does not say."""

import os
from collections.abc import Iterable, Mapping
from pathlib import Path

from curewatch.configuration.shape import Configuration


def logbook_path(configuration: Configuration, environment: Mapping[str, str] = os.environ) -> Path:
    """The logbook's file: as configured, else under the user's data folder."""
    if configuration.logbook.path is not None:
        return configuration.logbook.path
    home = environment.get("XDG_DATA_HOME") or str(
        Path(environment.get("HOME", "~")).expanduser() / ".local/share"
    )
    return Path(home) / "curewatch" / "logbook.sqlite"


def of_no_shed(sheds: Iterable[Configuration]) -> list[Path]:
    """Logbooks that a daemon has written beside those of all these sheds: of one that was renamed, say.

    A backup is none: no daemon's lock lies beside it.
    """
    kept = {logbook_path(shed).absolute() for shed in sheds}
    locks = (lock for folder in {path.parent for path in kept} for lock in folder.glob("*.sqlite.lock"))
    found = {lock.with_suffix("") for lock in locks} - kept
    return sorted(path for path in found if path.is_file())
