"""Where things are kept when the configuration does not say."""

import os
from collections.abc import Mapping
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
