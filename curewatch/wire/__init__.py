"""Bytes become readings, without a port and without a thread.

:class:`Parser` is the one door: bytes in, :class:`~curewatch.readings.Reading` or
:class:`~curewatch.readings.Rejected` out, never an exception for anything that can come in::

    from curewatch.clock import Instant
    from curewatch.wire import Parser

    for event in Parser().corpus(open("corpus.txt", "rb").read(), Instant(1_790_000_000.0, 0.0)):
        print(event)

Who only asks why something was rejected needs no parser, so that is imported when it is first asked for.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

from curewatch.wire.reasons import WHAT_TO_DO, Reason

if TYPE_CHECKING:
    from curewatch.wire.framing import LineFramer
    from curewatch.wire.parser import Parser
    from curewatch.wire.plausibility import Plausibility, PlausibleRange

__all__ = ["WHAT_TO_DO", "LineFramer", "Parser", "Plausibility", "PlausibleRange", "Reason"]

_MODULES = {
    "LineFramer": "framing",
    "Parser": "parser",
    "Plausibility": "plausibility",
    "PlausibleRange": "plausibility",
}


def __getattr__(name: str) -> Any:
    if name not in _MODULES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_MODULES[name]}"), name)
