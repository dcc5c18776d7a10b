"""The resin that serves: the one that meets every demand, and of those the one that costs least.

Theory of operation
-------------------
Each resin on the shelf is held against each demand. One that misses a demand does not serve. Of those that
serve, the cheapest is chosen: by the person's own prices, else by what the work usually costs. Of equals the
one goes first that needs least besides. Then each part of the description is changed in turn: what would
change the answer is found by asking again, never written down.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import NamedTuple

from msgspec import Struct
from msgspec.structs import replace

from curewatch.advice.choose.demands import DemandRow, Meets, OwnTest, own_row, rows
from curewatch.advice.choose.need import Need
from curewatch.advice.plan.amounts import Repair, amounts
from curewatch.advice.plan.geometry import USUAL_RATIO
from curewatch.advice.plan.mixing import of_resin
from curewatch.jobs import FaceBelow
from curewatch.materials.cloth import Cloth
from curewatch.materials.resin import Resin

CHANGES = 2  # that are told


class Candidate(Struct, frozen=True):
    """One resin, held against every demand."""

    resin: Resin
    rows: tuple[DemandRow, ...]
    mass: float | None = (
        None  # mixed resin for this repair, with waste; none where its size is not known [kg]
    )
    price: float | None = None  # the user's own, per kg

    @property
    def serves(self) -> bool:
        """Whether it misses no demand."""
        return all(row.meets is not Meets.NOT for row in self.rows)

    @property
    def needs(self) -> tuple[str, ...]:
        """What it takes besides, each once."""
        return tuple(dict.fromkeys(step for row in self.rows for step in row.needs))

    @property
    def cost(self) -> float | None:
        """Of the resin for this repair, in the user's currency; none where mass or price is not known.

        [currency]
        """
        return None if self.mass is None or self.price is None else self.mass * self.price

    @property
    def missed(self) -> tuple[DemandRow, ...]:
        """The demands that it misses."""
        return tuple(row for row in self.rows if row.meets is Meets.NOT)


class Change(NamedTuple):
    """What would change the answer."""

    what: str
    then: Resin | None  # none: nothing on the shelf would serve


class Choice(Struct, frozen=True):
    """The answer."""

    need: Need
    candidates: tuple[Candidate, ...]  # best first
    elsewhere: tuple[Resin, ...]  # not on the shelf, and would serve; told where nothing on it does
    changes: tuple[Change, ...]

    @property
    def chosen(self) -> Candidate | None:
        """The one that serves; none where none does."""
        best = self.candidates[0] if self.candidates else None
        return best if best is not None and best.serves else None


class Shelf(NamedTuple):
    """What there is, what it costs, and how fast it is here."""

    resins: Sequence[Resin]
    others: Sequence[Resin] = ()  # that could be bought
    prices: Mapping[str, float] = {}  # the user's own, per kg, by name
    carries_after: Callable[[Resin], float | None] = lambda resin: None  # [s]
    cloth: Cloth | None = None  # for the mass
    own: Sequence[OwnTest] = ()  # the person's own bond tests


def choose(need: Need, shelf: Shelf) -> Choice:
    """The resins of a shelf for one repair, best first.

    Raises
    ------
    UsageError
        A shape or a length that cannot be built.
    OutOfValidity
        A temperature outside the cure law.
    """
    candidates = _ranked(need, shelf)
    serves = bool(candidates) and candidates[0].serves
    elsewhere = (
        ()
        if serves
        else tuple(
            each for each in shelf.others if all(r.meets is not Meets.NOT for r in _rows(need, each, shelf))
        )
    )
    best = candidates[0].resin.name if serves else None
    return Choice(need, candidates, elsewhere, tuple(_changes(need, shelf, best))[:CHANGES])


def _ranked(need: Need, shelf: Shelf) -> tuple[Candidate, ...]:
    found = [_candidate(need, each, shelf) for each in shelf.resins]
    priced = all(each.cost is not None or each.price is not None for each in found)

    def order(each: Candidate) -> tuple[int, int, float, int]:
        unknown = sum(row.meets is Meets.OPEN for row in each.rows)
        dear = (each.cost or each.price or 0.0) if priced else each.resin.chemistry.usual_cost
        return len(each.missed), unknown, dear, len(each.needs)

    return tuple(sorted(found, key=order))


def _rows(need: Need, resin: Resin, shelf: Shelf) -> tuple[DemandRow, ...]:
    wanted = need.loaded_after is not None
    own = (own_row(need, resin, test) for test in shelf.own)
    told = tuple(row for row in own if row is not None)
    return (*rows(need, resin, shelf.carries_after(resin) if wanted else None), *told)


def _candidate(need: Need, resin: Resin, shelf: Shelf) -> Candidate:
    price = shelf.prices.get(resin.name, resin.price.per_kilogram if resin.price else None)
    return Candidate(resin, _rows(need, resin, shelf), _mass(need, resin, shelf.cloth), price)


def _mass(need: Need, resin: Resin, cloth: Cloth | None) -> float | None:
    """Mixed resin for the repair with the taper that fits, and with waste. [kg]"""
    if need.hole is None or cloth is None:
        return None
    sides = 2 if need.both_sides else 1
    ratio = max(1.0, min(USUAL_RATIO, need.taper.ratio))
    substrate = "plywood" if FaceBelow.TIMBER in need.faces else "old-laminate"
    repair = Repair(need.hole, need.thickness, cloth, substrate, ratio=ratio, sides=sides)
    return amounts(repair, of_resin(resin, None), resin.thermal.density).mixed


def _changes(need: Need, shelf: Shelf, best: str | None) -> Iterator[Change]:
    """Each part of the description changed in turn, where another resin then serves."""
    for what, other in _others(need):
        found = _ranked(other, shelf)
        then = found[0].resin if found and found[0].serves else None
        if (then and then.name) != best:
            yield Change(what, then)


def _others(need: Need) -> Iterator[tuple[str, Need]]:
    if not need.taper.fits:
        yield f"room for {need.taper.wanted * 1000:.0f} mm of taper", replace(need, room=())
    if need.sun and need.dark:
        yield "a pale colour", replace(need, dark=False)
    if need.under_water:
        yield "a place above water", replace(need, under_water=False)
    if FaceBelow.EPOXY in need.faces:
        yield (
            "a face without epoxy",
            replace(need, faces=_instead(need, FaceBelow.EPOXY, FaceBelow.POLYESTER)),
        )
    if need.loaded_after is not None:
        yield "more time before it is loaded", replace(need, loaded_after=None)
    if not need.under_water and not need.sun:
        yield "a place under water", replace(need, under_water=True)
    if not need.under_water and not (need.sun and need.dark):
        yield "dark paint in the sun", replace(need, dark=True, sun=True)
    if not need.room:
        yield "no room for the taper", replace(need, room=(need.thickness,))


def _instead(need: Need, face: FaceBelow, other: FaceBelow) -> tuple[FaceBelow, ...]:
    return tuple(dict.fromkeys(other if each is face else each for each in need.faces))
