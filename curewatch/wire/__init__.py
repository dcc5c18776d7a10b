"""Bytes become readings, without a port and without a thread.

:class:`Parser` is the one door: bytes in, :class:`~curewatch.readings.Reading` or
:class:`~curewatch.readings.Rejected` out, never an exception for anything that can come in::

    from curewatch.clock import Instant
    from curewatch.wire import Parser

    for event in Parser().corpus(open("corpus.txt", "rb").read(), Instant(1_790_000_000.0, 0.0)):
        print(event)
"""

from curewatch.wire.framing import LineFramer
from curewatch.wire.parser import Parser
from curewatch.wire.plausibility import Plausibility, PlausibleRange
from curewatch.wire.reasons import WHAT_TO_DO, Reason

__all__ = ["WHAT_TO_DO", "LineFramer", "Parser", "Plausibility", "PlausibleRange", "Reason"]
