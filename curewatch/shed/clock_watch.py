"""Whether this machine's wall clock can be believed.

Theory of operation: the two faces of an instant advance together, so their difference is constant
until somebody, or a time server, sets the wall clock. A small board without a battery clock starts in 1970
or at the last shutdown, and jumps when the network comes. Law: a stamp taken while the clock is in doubt
is marked, and no verdict rests on it.
"""

from typing import NamedTuple

from curewatch.clock import Instant

NOT_BEFORE = 1_735_689_600.0  # 2025-01-01T00:00Z: this program did not exist, so the clock is not set [s]
STEP = 2.0  # of the wall clock against the monotonic one: more than slewing makes in a tick [s]
DOUBT = 60.0  # a step of more than this makes the stamps around it doubtful: one report of a sensor [s]


class ClockState(NamedTuple):
    """What is known of the clock so far."""

    last: Instant | None = None
    believed: bool = True
    stepped_at: float | None = None  # UTC, just after the last step that brought doubt [s]
    step: float = 0.0  # of that step, forward positive [s]
    begun: float = 0.0  # UTC, first stamp since the start or since the last step [s]


class ClockStep(NamedTuple):
    """The wall clock moved by itself."""

    before: float  # what it would have shown [s]
    after: float  # what it showed [s]
    begun: float  # first stamp of the stretch that ended with it [s]

    @property
    def size(self) -> float:
        return self.after - self.before


def step(
    state: ClockState, now: Instant, not_before: float = NOT_BEFORE
) -> tuple[ClockState, ClockStep | None]:
    """The state after an instant, and the jump that it shows, if any."""
    believed = now.utc >= not_before
    if state.last is None:
        return ClockState(now, believed, begun=now.utc), None
    expected = state.last.utc + (now.monotonic - state.last.monotonic)
    moved = ClockStep(expected, now.utc, state.begun)
    if abs(moved.size) <= STEP:
        return state._replace(last=now, believed=believed), None
    if abs(moved.size) <= DOUBT:
        return state._replace(last=now, believed=believed), moved
    return ClockState(now, believed, now.utc, moved.size, now.utc), moved
