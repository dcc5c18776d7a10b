"""Mixing by weight: what the scale should read, what error the ratio bears, and when to refuse.

The scale is tared once with the empty cup and not again: resin first, then hardener or peroxide on
top, so the second figure is the sum. A cup that has begun to cure cannot be corrected, so a ratio outside its
tolerance is refused, with how much of what to add while it is still cool.
"""

from msgspec import Struct

from curewatch.errors import UsageError
from curewatch.materials.resin import Mix, Origin, Resin
from curewatch.phrases import Said, phrase
from curewatch.wording import dosed

PEROXIDE_DENSITY = 1150.0  # kg/m³ of a ketone peroxide solution (from memory, 1100 to 1200)
ROUNDING = 1e-9  # of a ratio of two masses
DOSE_ERROR = 0.1  # of a dose, that its scale may err by (assumed: a lot's own spread is 0.25)
WARM = (
    "If it is warm already, add nothing: let it cure outdoors in a metal tray, uncovered, and dispose of it "
    "by local rules. Never throw a warm mix away"
)


class Proportion(Struct, frozen=True):
    """How a resin is mixed, by mass, and what it bears.

    ``lowest`` and ``highest`` are what is added, per resin by mass. [1]
    """

    usual: float
    lowest: float
    highest: float
    resin_density: float  # [kg/m³]
    added_density: float  # [kg/m³]
    tag: str
    source: str
    added: str = "hardener"  # what is mixed into the resin: hardener | peroxide
    assumed: bool = False  # nobody gave the dose of peroxide

    @property
    def tolerance(self) -> float:
        """What a scale may err, relative to the usual ratio: the narrower side of what it bears. [1]

        At the end of the range of a dose that side is nothing, and yet it can be weighed.
        """
        side = min(self.usual - self.lowest, self.highest - self.usual) / self.usual
        return side if self.added == "hardener" else max(side, DOSE_ERROR)

    def said(self, ratio: float) -> str:
        """A ratio in words, by mass: parts of hardener to 100, or per cent of peroxide. [kg/kg]"""
        if self.added == "peroxide":
            return dosed(100 * ratio, assumed=self.assumed and ratio == self.usual)
        return f"{100 * ratio:.1f} of hardener to 100 of resin"


def proportion(mix: Mix, origin: Origin) -> Proportion:
    """How an epoxy's two parts go together, from its file; ``origin`` is that of the ratio."""
    return Proportion(
        usual=mix.hardener_mass,
        lowest=mix.hardener_mass * (1 - mix.tolerance),
        highest=mix.hardener_mass * (1 + mix.tolerance),
        resin_density=mix.resin_density,
        added_density=mix.hardener_density,
        tag=origin.tag,
        source=origin.source,
    )


def of_resin(resin: Resin, peroxide_percent: float | None = None) -> Proportion:
    """How any resin is mixed: by its ratio, or by its dose of peroxide.

    A dose is borne over its whole allowed range, so its scale may err more than that of an epoxy.

    ``peroxide_percent`` [% by mass of resin].

    Raises
    ------
    UsageError
        Its file states neither a ratio nor a dose.
    """
    if resin.mix is not None:
        origin = resin.origins.get("mix.hardener_mass", Origin("datasheet", f"{resin.name}: its sheet"))
        return proportion(resin.mix, origin)
    if resin.dose is None:
        raise UsageError(
            f"{resin.name} states neither a mix ratio nor a dose of peroxide; add one to its file"
        )
    dose = resin.dose
    usual = dose.peroxide_normal if peroxide_percent is None else peroxide_percent
    resin.dose_factor(usual)  # refuses a dose outside what is allowed
    found = resin.origins.get("dose.peroxide_normal", Origin("datasheet", f"{resin.name}: its sheet"))
    return Proportion(
        usual=usual / 100,
        lowest=dose.peroxide_low / 100,
        highest=dose.peroxide_high / 100,
        resin_density=resin.thermal.density,
        added_density=PEROXIDE_DENSITY,
        tag=found.tag,
        source=found.source,
        added=resin.chemistry.added,
        assumed=peroxide_percent is None,
    )


class CupMix(Struct, frozen=True):
    """One cup: masses [kg], volumes [m³], and what the scale may read at the end. [kg]"""

    mass: float
    resin: float
    added: float  # hardener or peroxide
    resin_volume: float
    added_volume: float
    scale_lowest: float  # cup tared, both in
    scale_highest: float


class RatioCheck(Struct, frozen=True):
    """A cup as weighed, held against what the resin bears."""

    ratio: float  # what was added, per resin as weighed [1]
    error: float  # what the scale's own error may make of it [1]
    deviation: float  # relative to the usual ratio [1]
    within: bool  # the ratio, with the scale's error, lies inside what the resin bears
    text: str
    advised: Said = ""


def batch(proportion: Proportion, mass: float, *, scale_step: float = 1e-3) -> CupMix:
    """Split a mixed mass into resin and what is added to it.

    ``mass``, ``scale_step`` [kg].

    Raises
    ------
    UsageError
        The mass is not positive, or so small that this scale cannot weigh what is added within what
        the ratio bears.
    """
    if mass <= 0:
        raise UsageError(f"batch: found {mass * 1000:g} g. Use more than 0 g")
    smallest = smallest_batch(proportion, scale_step)
    if mass < smallest:
        raise UsageError(
            f"a batch of {mass * 1000:.0f} g is too small for a scale that reads in steps of "
            f"{scale_step * 1000:g} g: mix at least {smallest * 1000:.0f} g, or use a finer scale"
        )
    resin = mass / (1 + proportion.usual)
    return CupMix(
        mass=mass,
        resin=resin,
        added=mass - resin,
        resin_volume=resin / proportion.resin_density,
        added_volume=(mass - resin) / proportion.added_density,
        scale_lowest=resin * (1 + proportion.lowest),
        scale_highest=resin * (1 + proportion.highest),
    )


def smallest_batch(proportion: Proportion, scale_step: float) -> float:
    """The mixed mass whose smaller part this scale weighs well enough. [kg]

    Each of the two weighings may be half a step off; together, at worst, ``(1 + ratio)`` half steps
    in the smaller part, which must stay inside the tolerance.
    """
    bears = proportion.tolerance * proportion.usual  # added per resin
    resin = 0.5 * scale_step * (1 + proportion.usual) / bears
    return resin * (1 + proportion.usual)


def check(proportion: Proportion, resin: float, added: float, *, scale_step: float = 1e-3) -> RatioCheck:
    """Hold two masses as weighed against what the resin bears. [kg]

    The scale's own error counts against an epoxy's ratio; a dose is a range, and both its ends are allowed.

    Raises
    ------
    UsageError
        A mass is not positive.
    """
    if resin <= 0 or added <= 0:
        raise UsageError(f"both masses must be above 0 g: weigh resin and {proportion.added} each")
    ratio = added / resin
    error = 0.5 * scale_step / resin * (1 + ratio)
    counted = error if proportion.added == "hardener" else -ROUNDING
    within = proportion.lowest <= ratio - counted and ratio + counted <= proportion.highest
    allowed = f"allowed {100 * proportion.lowest:.1f} to {100 * proportion.highest:.1f}"
    text = f"{proportion.said(ratio)}; {allowed} ({proportion.tag})"
    advised = "" if within else _correction(proportion, resin, added, scale_step)
    return RatioCheck(ratio, error, ratio / proportion.usual - 1, within, text, advised)


def _correction(proportion: Proportion, resin: float, added: float, scale_step: float) -> Said:
    wanted = resin * proportion.usual
    if added < wanted:
        add, what = wanted - added, proportion.added
    else:
        add, what = added / proportion.usual - resin, "resin"
    if add < 5e-4:
        return "too little for this scale: mix a larger batch, or use a finer scale"
    words = "do not use it as it is: add {add:weighed} of {what} at once and mix again. " + WARM
    return phrase(words, add=scale_step * max(1, round(add / scale_step)), what=what)
