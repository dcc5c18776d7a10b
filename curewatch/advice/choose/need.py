"""What a repair demands of its resin, as somebody describes it. Lengths in m, times in s."""

from collections.abc import Sequence
from typing import NamedTuple

from msgspec import Struct

from curewatch.advice.plan.geometry import USUAL_RATIO, Outline
from curewatch.errors import UsageError
from curewatch.jobs import FaceBelow
from curewatch.phrases import Said, phrase

HAIR = 1e-6  # m: what two ways of computing a length may differ by
SURVEYOR_BELOW = 8.0  # a shorter taper in structural work is a surveyor's matter (common practice)


class Need(Struct, frozen=True):
    """One repair."""

    faces: tuple[FaceBelow, ...]
    thickness: float  # of the laminate to be rebuilt
    room: tuple[float, ...] = ()  # for the taper, on each side that has a limit; empty: enough
    both_sides: bool = False  # the taper may be ground from both faces of the laminate
    hole: Outline | None = None
    under_water: bool = False  # lives there
    dark: bool = False  # a dark colour
    sun: bool = False
    structural: bool = False
    loaded_after: float | None = None  # must carry its load so long after it was laid

    @property
    def taper(self) -> "Room":
        """The taper that there is room for."""
        return room_for_taper(self.thickness, self.room, both_sides=self.both_sides)

    def __post_init__(self) -> None:
        if not self.faces:
            raise UsageError(f"what it is laid on: found nothing. Use {', '.join(FaceBelow)}")
        if not 0 < self.thickness <= 0.1:
            found = f"{self.thickness * 1000:g} mm"
            raise UsageError(f"thickness: found {found}. Use more than 0 up to 100 mm")
        if any(each < 0 for each in self.room):
            raise UsageError("room for the taper: found less than nothing. Use 0 mm or more")
        if {FaceBelow.TIMBER, FaceBelow.PRIMED} <= set(self.faces):
            raise UsageError("timber: found bare and primed. Use the one that it is now")
        if self.under_water and self.sun:
            raise UsageError("place: found under water and in the sun. Use the one it lives in")


class Room(NamedTuple):
    """How much of the usual taper the room allows."""

    ratio: float  # length to depth that there is room for; the usual one if that fits [1]
    wanted: float  # length of the usual taper [m]
    lost: float  # share of the bonding area of the usual taper that is missing [1]

    @property
    def fits(self) -> bool:
        """Whether the usual taper fits."""
        return self.lost == 0.0


def room_for_taper(thickness: float, room: Sequence[float], *, both_sides: bool = False) -> Room:
    """The narrowest side decides: ratio that fits, and what is lost against the usual 12 to 1. [m]

    The bonding area of a taper is its slope, ``depth x sqrt(ratio² + 1)`` along the edge.

    Source
    ------
    12 times the thickness: common practice. The slope: geometry.
    """
    depth = thickness / (2 if both_sides else 1)
    wanted = USUAL_RATIO * depth
    if not room or min(room) >= wanted - HAIR:
        return Room(USUAL_RATIO, wanted, 0.0)
    ratio = min(room) / depth
    return Room(ratio, wanted, 1.0 - ((ratio**2 + 1) / (USUAL_RATIO**2 + 1)) ** 0.5)


def short_taper(room: Room) -> Said:
    """What a taper that does not fit costs."""
    return phrase(
        "the room allows {ratio} to 1: {lost} % of the bonding area of 12 to 1 is missing",
        ratio=f"{room.ratio:.1f}",
        lost=f"{100 * room.lost:.0f}",
    )


def usual_then(room: Room) -> str:
    """What is usual where the taper does not fit."""
    usual = "Usual then: epoxy, the taper from both sides, or a backing or doubler."
    asks = " Structural work: a surveyor decides first." if room.ratio < SURVEYOR_BELOW else ""
    return usual + asks
