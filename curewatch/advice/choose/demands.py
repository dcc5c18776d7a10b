"""Every demand of a repair held against one resin: met, met with something, not met, or not known.

The rules are written down, situation by situation, in ``tests/unit/choose/table.md``.

Source
------
Bonding, tapers, water and primer: common practice. Dark paint in the sun: the film itself, followed through
sunny days (``model.film.sun``). Times: the film in the shed's coming air.
"""

from collections.abc import Iterator
from enum import StrEnum
from typing import Protocol

from msgspec import Struct

from curewatch.advice.choose.need import SURVEYOR_BELOW, Need, short_taper
from curewatch.advice.choose.tabs import Compared, Pull, in_words
from curewatch.clock import iso_utc
from curewatch.jobs import FaceBelow
from curewatch.materials.resin import Origin, Resin
from curewatch.model.film.sun import DARK, PALE, in_the_sun
from curewatch.phrases import Said, phrase
from curewatch.units import MINUTE

TACKY = 20 * MINUTE  # s until a timber primer is tacky (common practice)
USUAL = Origin("common practice", "")
PRIMER = "a moisture-curing timber primer: laminate once it is tacky, usually after 20 minutes"
BARRIER = "epoxy throughout, or a tie coat that its maker states for it"
DOUBLER = "the taper from both sides, or a backing or doubler"
SURVEYOR = "a surveyor's word"
POST_CURE = "a warm post-cure before it meets the sun"
# what must be said with a thing that is needed
CAUTIONS = {
    PRIMER: (
        "WARNING: moisture-curing primers hold isocyanates: they can cause asthma for life. "
        "Wear the breathing protection that its sheet names, gloves and eye protection."
    ),
    POST_CURE: (
        "WARNING: heat starts fires, and a warm part softens before it hardens. Warm it slowly, "
        "support it, stay with it. See `curewatch cure --why`."
    ),
}


class OwnTest(Protocol):
    """A bond test of the person's own."""

    @property
    def face(self) -> str:
        """What its tabs were laid on."""

    @property
    def name(self) -> str:
        """T1 …"""

    @property
    def at(self) -> float:
        """When it was laid out. [UTC s]"""

    @property
    def lot(self) -> str:
        """Lots, in the person's words; or empty."""

    @property
    def pull(self) -> Pull:
        """How they were loaded."""

    def compared(self) -> tuple[tuple[str, str, Compared | None], ...]:
        """Each two ways."""


class Meets(StrEnum):
    """How a resin meets a demand."""

    MET = "met"
    WITH = "met-with"
    NOT = "not-met"
    OPEN = "not-known"


class DemandRow(Struct, frozen=True):
    """One demand and one resin."""

    demand: str  # a code
    title: str
    meets: Meets
    reason: Said
    needs: tuple[str, ...] = ()  # what it is met with
    origin: Origin = USUAL


def rows(need: Need, resin: Resin, carries_after: float | None) -> tuple[DemandRow, ...]:
    """Every demand that this repair makes.

    Parameters
    ----------
    carries_after : float or None
        When a late lot is ready for its load in the shed's coming air; none where that is not known. [s]
    """
    return (
        *_laminates(resin),
        *(_bond(face, resin) for face in need.faces),
        *_further(need, resin, carries_after),
    )


def _laminates(resin: Resin) -> Iterator[DemandRow]:
    if resin.surface.wax:
        reason = "waxed: each layer must be abraded before the next"
        yield DemandRow("laminates", "Layer upon layer", Meets.NOT, reason)


def _further(need: Need, resin: Resin, carries_after: float | None) -> Iterator[DemandRow]:
    if need.room:
        yield _taper(need, resin)
    if need.under_water:
        yield _water(resin)
    if need.sun:
        yield _sun(need, resin)
    if need.structural:
        said = "structural or classed work is a surveyor's matter, with any resin"
        yield DemandRow("structural", "Structural", Meets.WITH, said, (SURVEYOR,))
    if need.loaded_after is not None:
        yield _load(need.loaded_after, carries_after)


def _bond(face: FaceBelow, resin: Resin) -> DemandRow:
    meets, reason, needs = _BONDS[face](resin)
    return DemandRow(f"bond-{face}", f"Bond to {face.replace('-', ' ')}", meets, reason, needs)


def _on_timber(resin: Resin) -> tuple[Meets, Said, tuple[str, ...]]:
    if not resin.chemistry.styrene:
        return Meets.MET, "epoxy soaks in and holds on bare timber", ()
    return Meets.WITH, "on bare timber it soaks in little and peels off the surface", (PRIMER,)


def _on_primed(resin: Resin) -> tuple[Meets, Said, tuple[str, ...]]:
    if not resin.chemistry.styrene:
        return Meets.OPEN, "not every timber primer takes epoxy: ask its maker", ()
    return Meets.MET, "a tacky timber primer holds stronger than the laminate", ()


def _on_polyester(resin: Resin) -> tuple[Meets, Said, tuple[str, ...]]:
    return Meets.MET, "well abraded, an old laminate takes it", ()


def _on_epoxy(resin: Resin) -> tuple[Meets, Said, tuple[str, ...]]:
    if not resin.chemistry.styrene:
        return Meets.MET, "washed and abraded, epoxy takes epoxy", ()
    return Meets.NOT, "it does not bond to, or cure well on, epoxy", (BARRIER,)


def _on_foam(resin: Resin) -> tuple[Meets, Said, tuple[str, ...]]:
    if not resin.chemistry.styrene:
        return Meets.MET, "epoxy harms no usual foam", ()
    return Meets.OPEN, "styrene dissolves some foams: try it on an offcut", ()


def _on_metal(resin: Resin) -> tuple[Meets, Said, tuple[str, ...]]:
    if not resin.chemistry.styrene:
        return Meets.WITH, "metal must be bright when it is coated", ("abrading, and a coat within minutes",)
    return Meets.NOT, "it shrinks off metal", ()


def _on_tie_coat(resin: Resin) -> tuple[Meets, Said, tuple[str, ...]]:
    if not resin.chemistry.styrene:
        return Meets.MET, "epoxy holds on it", ()
    return Meets.OPEN, "its maker must state this resin for it", ()


def _on_laminate(resin: Resin) -> tuple[Meets, Said, tuple[str, ...]]:
    if not resin.chemistry.styrene:
        return Meets.MET, "well abraded, an old laminate takes it, whatever its resin", ()
    return Meets.OPEN, "nobody told which resin lies below: on epoxy it does not bond", ()


_BONDS = {
    FaceBelow.TIMBER: _on_timber,
    FaceBelow.PRIMED: _on_primed,
    FaceBelow.POLYESTER: _on_polyester,
    FaceBelow.EPOXY: _on_epoxy,
    FaceBelow.FOAM: _on_foam,
    FaceBelow.METAL: _on_metal,
    FaceBelow.TIE_COAT: _on_tie_coat,
    FaceBelow.LAMINATE: _on_laminate,
}


def _taper(need: Need, resin: Resin) -> DemandRow:
    room = need.taper
    if room.fits:
        return DemandRow("taper", "Taper", Meets.MET, "the usual taper of 12 to 1 fits")
    reason = short_taper(room)
    if resin.chemistry.styrene:
        return DemandRow("taper", "Taper", Meets.NOT, reason)
    asks = need.structural and room.ratio < SURVEYOR_BELOW
    return DemandRow("taper", "Taper", Meets.WITH, reason, (DOUBLER, *((SURVEYOR,) if asks else ())))


def _water(resin: Resin) -> DemandRow:
    if resin.chemistry.lives_under_water:
        return DemandRow("water", "Under water", Meets.MET, "it resists water")
    return DemandRow("water", "Under water", Meets.NOT, "water works its way into it and into the joint")


def _sun(need: Need, resin: Resin) -> DemandRow:
    noon = DARK if need.dark else PALE
    found = in_the_sun(resin, noon)
    title = "Dark paint in the sun" if need.dark else "In the sun"
    origin = Origin("computed", "the film through sunny days; surfaces to 75 degC dark, 50 degC pale")
    if found.least < noon:
        reason = phrase("it may soften from {least:temperature} on", least=found.least)
        return DemandRow("sun", title, Meets.NOT, reason, (), origin)
    reason = phrase("it then softens from {least:temperature} on", least=found.least)
    if resin.chemistry.amine and found.before < noon:
        return DemandRow("sun", title, Meets.WITH, reason, (POST_CURE,), origin)
    return DemandRow("sun", title, Meets.MET, reason, (), origin)


def _load(wanted: float, carries_after: float | None) -> DemandRow:
    title, origin = "Loaded in time", Origin("computed", "a late lot in the shed's coming air")
    if carries_after is None:
        return DemandRow("load", title, Meets.OPEN, "nothing fresh is known of the shed", (), origin)
    reason = phrase("it may be loaded after {after:duration} here", after=carries_after)
    return DemandRow("load", title, Meets.MET if carries_after <= wanted else Meets.NOT, reason, (), origin)


def own_row(need: Need, resin: Resin, test: OwnTest) -> DemandRow | None:
    """What the person's own peel test says of this resin on a face of this repair; none where nothing.

    It decides where the joint is structural: the way that surely held less is then not the one to use.
    """
    if test.pull is not Pull.PEEL or not {f"bond-{face}" for face in need.faces} & {f"bond-{test.face}"}:
        return None
    for _, _, found in test.compared():
        if (
            found is None
            or not found.told_apart
            or not {resin.name} & {_resin_of(found.stronger), _resin_of(found.weaker)}
        ):
            continue
        told = f"{test.name}, {iso_utc(test.at)[:10]}" + (f", lot {test.lot}" if test.lot else "")
        origin = Origin("own test", f"{told}: {in_words(found, test.pull)}")
        if _resin_of(found.stronger) == resin.name:
            return DemandRow("own-test", "Own test", Meets.MET, "your own tabs held more with it", (), origin)
        reason = phrase(
            "your own tabs held {ratio} times as much with {other}",
            ratio=f"{found.ratio:.1f}",
            other=found.stronger,
        )
        return DemandRow(
            "own-test", "Own test", Meets.NOT if need.structural else Meets.MET, reason, (), origin
        )
    return None


def _resin_of(way: str) -> str:
    """The resin that a way of laying begins with: ``polyester-laminating on primer``."""
    return way.split(" ", maxsplit=1)[0]
