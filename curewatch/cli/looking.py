"""A look at the shed for a command that answers; where nothing is set up yet, how to begin is said."""

from collections.abc import Iterator
from contextlib import contextmanager

from curewatch.cli.kept_heap import keep_free_memory
from curewatch.cli.terminal import note
from curewatch.configuration import Configuration
from curewatch.model.air.outlook import LENGTH
from curewatch.shed import look
from curewatch.shed.look import Look


@contextmanager
def looking(configuration: Configuration, now: float, *, length: float = LENGTH) -> Iterator[Look]:
    """As :func:`curewatch.shed.look.looking`."""
    keep_free_memory()
    with look.looking(configuration, now, length=length) as found:
        if found.logbook is None and configuration.file is None:
            note("nothing is set up yet: `curewatch setup` finds your sensors, `curewatch demo` shows how")
        yield found
