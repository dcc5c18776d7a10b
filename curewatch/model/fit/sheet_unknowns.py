"""What a fit may change in a resin, by how much beforehand, and which statement would tell it."""

from typing import NamedTuple

from curewatch.materials.maker_sheet import MakerSheet
from curewatch.materials.quantities import QUANTITIES
from curewatch.materials.resin import Resin
from curewatch.materials.resin_writer import unit_of
from curewatch.model.film.lots import in_logarithm

TWO_TEMPERATURES, TWO_MASSES, COOL, WARM = "temperatures", "masses", "cool", "warm"  # what a sheet may have
WARM_FROM = 313.15  # K, from which a schedule counts as a post-cure
START, WIDER_START = 0.4, 0.65  # prior of how slowly it starts: of an archetype, of what a sheet may describe
# What a maker's amine-cured resin may be beside its archetype: sheets call a film tack-free by touch, and
# their kinetics are not ours. Assumed; chosen on other sheets than tests/unit/test_sheet_fit_coverage.py has.
WIDER = {"milestones.gel": 0.03, "milestones.tack_free": 0.04, "kinetics.n": 0.2}


class Unknown(NamedTuple):
    """One thing the fit may change: how, by how much a priori, and what a person would call it."""

    shares: tuple[tuple[str, float], ...]  # dotted key and its share in a change of this unknown
    sd: float  # prior; natural logarithm for rates, inhibitor and reaction heat's SI otherwise
    words: str
    asks_for: str  # the statement that would tell
    told_by: frozenset[str]  # what a sheet must have for it: milestones, or one of the three below
    usual: float  # the narrower prior of the archetype itself, by which a slip is found


def unknowns(base: Resin) -> tuple[Unknown, ...]:
    """What a fit may change in a resin of this kind, with its prior spread.

    Spreads are those of the archetype's own file where it states one. A maker's resin may be several
    times as fast as the archetype, so the common rate is left wide (assumed).
    """
    energy = base.chemistry.energy_spread
    gelled = (
        base.milestones.recoat_from == base.milestones.gel
    )  # what gels early takes a layer once it has gelled
    marks = ("milestones.gel", "milestones.tack_free", *(("milestones.recoat_from",) if gelled else ()))
    rows: list[tuple[tuple[tuple[str, float], ...], float, str, str, str]] = [
        (_alike("kinetics.k1", "kinetics.k2"), 1.0, "how fast it is", "any time", ""),
        (
            (("kinetics.k1", -0.5), ("kinetics.k2", 0.5)),
            START,
            "how slowly it starts",
            "a working time beside a gel time",
            "working_time gel",
        ),
        (
            _alike("kinetics.energy_1", "kinetics.energy_2"),
            energy,
            "how much the cold slows it",
            "the same time at another temperature",
            TWO_TEMPERATURES,
        ),
        (
            _alike(*marks),
            prior_spread(base, marks[0]),
            "the conversion of gel",
            "a gel time of a film",
            "gel",
        ),
    ]
    rows += [
        (_alike(key), prior_spread(base, key), words, asks, told)
        for key, words, asks, told in (
            ("milestones.tack_free", "the conversion of tack-free", "a tack-free time", "tack_free"),
            ("kinetics.n", "how slowly it finishes", "a time to sand", "firm"),
            ("kinetics.diffusion", "how far it goes as a glass", "Tg after a week in the shed", COOL),
            ("network.uncured", "the glass transition of the fresh mix", "Tg after a week in the shed", COOL),
            ("network.full", "the highest glass transition", "Tg after a warm post-cure", WARM),
            ("milestones.recoat_from", "from when the next layer may go on", "recoat from", "recoat_from"),
            ("milestones.open_viscosity", "how thick it may get", "a working time", "working_time"),
            ("thermal.reaction_heat", "how much heat it makes", "pot lives of two masses", TWO_MASSES),
        )
    ]
    if base.kinetics.inhibitor:
        rows.append(
            (
                _alike("kinetics.inhibitor"),
                0.3,
                "how much inhibitor is in it",
                "a gel and a sanding time",
                "gel firm",
            )
        )
    if gelled:
        rows = [row for row in rows if row[0] != _alike("milestones.recoat_from")]
    found = [Unknown(*row[:4], frozenset(row[4].split()), row[1]) for row in rows]
    if base.chemistry.amine:
        found = [_widened(each) for each in found]
    return tuple(each for each in found if each.sd > 0.0)


def _widened(unknown: Unknown) -> Unknown:
    """The same with the prior of what a sheet may describe."""
    wider = WIDER_START if unknown.shares[0][1] < 0.0 else WIDER.get(unknown.shares[0][0], 0.0)
    return unknown._replace(sd=max(unknown.sd, wider))


def _alike(*keys: str) -> tuple[tuple[str, float], ...]:
    """Keys that move together."""
    return tuple((key, 1.0) for key in keys)


def features(sheet: MakerSheet) -> frozenset[str]:
    """What a sheet has to tell by."""
    films = {(each.mark, each.temperature) for each in sheet.statements if each.mass is None}
    pots = {(each.mark, each.temperature, each.shape, each.mass) for each in sheet.statements if each.mass}
    found = {mark for mark, _ in films}
    marks = [mark for mark, _ in films] + [f"{pot[0]} {pot[2]} {pot[3]}" for pot in pots]
    if len(marks) > len(set(marks)):
        found.add(TWO_TEMPERATURES)
    if len(pots) > len({pot[:3] for pot in pots}):
        found.add(TWO_MASSES)
    for each in sheet.transitions:
        found.add(WARM if each.schedule[-1][1] >= WARM_FROM else COOL)
    return frozenset(found)


def prior_spread(base: Resin, key: str) -> float:
    """One standard deviation of an archetype's number as it varies: rates in natural logarithm, else SI.

    [ln, or SI]
    """
    section, _, leaf = key.partition(".")
    return si_spread(base, key) / (getattr(getattr(base, section), leaf) if in_logarithm(key) else 1.0)


def si_spread(base: Resin, key: str) -> float:
    """One standard deviation as the base's file states it, in SI; 0 if it states none. [SI of the key]"""
    origin = base.origins.get(key)
    if origin is None or origin.spread is None:
        return 0.0
    return origin.spread * QUANTITIES[key].units[origin.spread_unit or unit_of(key)].factor
