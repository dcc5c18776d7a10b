"""What a layer is laid on: whether it bonds to that face, whether that is dry, whether it breathes out.

Trade practice, no source: polyester, vinyl ester and gelcoat neither bond to epoxy nor cure well on it;
epoxy holds on well-abraded polyester. Polyester soaks little into bare timber and peels off it, unless a
primer that cures with moisture goes first. The dew point says nothing of a wet core. Timber and foam breathe
out while they warm, which lifts a first coat in bubbles; while they cool they draw it in.
"""

import numpy as np
from msgspec import Struct

from curewatch.advice.judge.answer import Check, Status
from curewatch.advice.judge.course import Course
from curewatch.advice.judge.limits import Limit
from curewatch.jobs import FaceBelow
from curewatch.materials.resin import Resin
from curewatch.phrases import Said

OF_SUBSTRATE = {
    "plywood": FaceBelow.TIMBER,
    "timber": FaceBelow.TIMBER,
    "foam": FaceBelow.FOAM,
    "old-laminate": FaceBelow.LAMINATE,
}
OF_THE_FACE = ("below", "dry-below")  # the checks that need no reading
WOOD, BREATHING = {FaceBelow.TIMBER, FaceBelow.PRIMED}, {FaceBelow.TIMBER, FaceBelow.FOAM}
MAY_BE_WET = {*WOOD, *BREATHING, FaceBelow.POLYESTER, FaceBelow.LAMINATE}
TIMBER_DRY = Limit(0.12, "fraction", "common practice", "timber that is laminated on: 8 to 12 % by a meter")
WARMING = Limit(1.0, "difference", "assumed", "a thermometer's own error, and a shed's flutter")

THROUGHOUT = "Use epoxy throughout, or a tie coat whose maker states it for both"
WHICH = "Tell which resin lies below: `--on polyester` or `--on epoxy`. If you cannot, use epoxy"
DRY_IT = "Dry the timber, then measure again. Warmth without damp air, for days"
PRIME = (
    "Prime the bare timber first, with a primer that cures with moisture; laminate once it is tacky "
    "(about 20 min)"
)
ABRADE = "Abrade the face below to a dull even grey first"
CARES = {  # face -> what is done first, where a styrene resin goes on it; an epoxy
    FaceBelow.TIMBER: (PRIME, ""),
    FaceBelow.PRIMED: ("", ""),
    FaceBelow.FOAM: ("Not on polystyrene foam: styrene dissolves it", ""),
    FaceBelow.POLYESTER: (ABRADE, ABRADE),
    FaceBelow.EPOXY: ("", "Wash the epoxy below with water and abrade it first"),
    FaceBelow.TIE_COAT: ("Only on a tie coat whose maker states this resin", ""),
    FaceBelow.LAMINATE: ("", ABRADE),
    FaceBelow.METAL: ("It holds poorly on metal: use epoxy where you can", "Abrade the metal bright first"),
}


class Ground(Struct, frozen=True):
    """The face below and what was measured of it."""

    face: FaceBelow
    moisture: float | None = None  # by a meter, share of dry mass; none if not measured [1]
    own: bool = False  # a layer of this job, laid a while ago: its recoat window says the rest

    @property
    def breathes(self) -> bool:
        """Whether a first coat goes on what breathes out while it warms."""
        return self.face in BREATHING and not self.own


def known_checks(resin: Resin, ground: Ground) -> tuple[Check, ...]:
    """What can be said of the face without any weather."""
    found = (_bond(resin, ground), _moisture(ground))
    return tuple(check for check in found if check is not None)


def remedies(checks: tuple[Check, ...]) -> tuple[Said, ...]:
    """What to do about a face that does not do."""
    named = {check.name: check.status for check in checks}
    bond = {Status.FAILS: THROUGHOUT, Status.UNKNOWN: WHICH}.get(named.get("below", Status.HOLDS))
    wet = DRY_IT if named.get("dry-below") is Status.FAILS else None
    return tuple(said for said in (bond, wet) if said is not None)


def wrong(resin: Resin, ground: Ground | None) -> tuple[Said, ...]:
    """Why this resin may not go on that face, and what to do; empty where it may, or no face is told."""
    found = () if ground is None else known_checks(resin, ground)
    failing = tuple(check for check in found if check.status is Status.FAILS)
    return (*(check.reason for check in failing if check.reason), *remedies(failing))


def warming_check(seen: Course, ground: Ground, probability: float) -> Check | None:
    """A first coat on what breathes out: how much its surface warms until gel. None on anything else.

    ``probability`` [1].
    """
    if not ground.breathes:
        return None
    ordered = np.sort(seen.warming[0])
    rise = float(ordered[int(np.ceil(probability * ordered.size)) - 1])
    warms = rise > WARMING.value
    what = "timber" if ground.face is FaceBelow.TIMBER else "foam"
    return Check(
        name="warming-below",
        title="surface not warming until gel",
        status=Status.CARE if warms else Status.HOLDS,
        quantity="difference",
        value=rise,
        limit=WARMING,
        sense="at most",
        spare=WARMING.value - rise,
        probability=float(np.mean(seen.warming[0] <= WARMING.value)),
        reason=f"The {what} warms and may lift bubbles: begin a first coat after the day's maximum"
        if warms
        else "",
    )


def _bond(resin: Resin, ground: Ground) -> Check | None:
    styrene, face = resin.chemistry.styrene, ground.face
    if styrene and face is FaceBelow.EPOXY:
        why = f"{resin.chemistry.name} neither bonds to epoxy nor cures well on it"
        return _told("below", "bonds to the face below", Status.FAILS, why)
    if styrene and face is FaceBelow.LAMINATE:
        return _told("below", "bonds to the face below", Status.UNKNOWN, "nobody told which resin lies below")
    care = "" if ground.own else CARES[face][0 if styrene else 1]
    return _told("below", "bonds to the face below", Status.CARE if care else Status.HOLDS, care)


def _moisture(ground: Ground) -> Check | None:
    """The meter's word; "not measured" is said each time."""
    if ground.face not in MAY_BE_WET or ground.own:
        return None
    title, wood = "dry enough below", ground.face in WOOD
    if ground.moisture is None:
        return _told("dry-below", title, Status.CARE, "Moisture below: not measured")
    if not wood:
        said = f"Meters are made for timber: compare {100 * ground.moisture:.0f} % with a dry place"
        return _told("dry-below", title, Status.CARE, said)
    spare = TIMBER_DRY.value - ground.moisture
    return Check(
        name="dry-below",
        title=title,
        status=Status.HOLDS if spare >= 0.0 else Status.FAILS,
        quantity="fraction",
        value=ground.moisture,
        limit=TIMBER_DRY,
        sense="at most",
        spare=spare,
    )


def _told(name: str, title: str, status: Status, reason: Said) -> Check:
    return Check(name, title, status, "number", reason=reason)
