"""A whole and checked copy of a logbook, made while it is in use."""

import os
from pathlib import Path

from curewatch.errors import StoreFailed, UsageError, reason
from curewatch.logbook.opening import open_logbook
from curewatch.logbook.port import LogbookStore


def backup(logbook: LogbookStore, target: Path) -> Path:
    """Copy the logbook as it stands to a new file, while others may go on writing to it.

    The copy appears under its name when it is whole and its chain was walked. The signing key is not
    copied: keep it elsewhere.

    Raises
    ------
    UsageError
        There is a file of that name.
    RecordBroken
        The chain does not hold; the copy is not kept.
    """
    if target.exists():
        raise UsageError(f"{target}: found a file of that name. Use a new name")
    if not target.parent.is_dir():
        raise UsageError(f"{target.parent} is no folder that is there; is the disk for copies plugged in?")
    draft = target.with_name(f"{target.name}.part-{os.getpid()}")
    try:
        logbook.copy(draft)
        with open_logbook(draft, read_only=True) as copy:
            copy.verify()
        os.link(draft, target)
    except FileExistsError as trouble:
        raise UsageError(f"{target}: found a file of that name. Use a new name") from trouble
    except OSError as trouble:
        raise StoreFailed(f"backup {target}: {reason(trouble)}") from trouble
    finally:
        for left in draft.parent.glob(f"{draft.name}*"):
            left.unlink()
    return target
