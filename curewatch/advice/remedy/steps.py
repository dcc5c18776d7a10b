"""What to do now, in sentences: the step, its cautions, and what to watch; made once for every reader."""

from msgspec.structs import replace

from curewatch.advice.judge import ground, reasons
from curewatch.advice.judge.answer import Advice, Lever, Status, Verdict
from curewatch.advice.judge.cautions import brief
from curewatch.phrases import Said, phrase
from curewatch.units import MINUTE

WAYS = 3  # that a first screen names
SMALLER = {"batch", "tray"}
HOT_LAYER = "own-heat"  # the check of a layer that gets too hot by itself


def do_now(advice: Advice) -> tuple[Said, ...]:
    """What to do now: lay it, one of the ways that turn a no-go, or what mends an unknown."""
    if advice.verdict is Verdict.GO:
        return (_lay(advice),)
    ways = (step(lever, advice.start) for lever in _ways(advice)) if advice.verdict is Verdict.NO_GO else ()
    turning = (*ground.remedies(advice.checks), *ways)[:WAYS]
    return turning if advice.verdict is Verdict.NO_GO and turning else advice.remedies


def caution(advice: Advice) -> str:
    """The cautions of what is to be done now, in a few words; empty where nothing is to be done."""
    if advice.verdict is Verdict.GO:
        return brief(" ".join(str(each) for each in advice.cautions))
    if advice.verdict is Verdict.UNKNOWN:
        return ""
    return brief(" ".join(_warnings(advice)))


def watch(advice: Advice) -> Said:
    """The weakest of what holds; empty where nothing leaves a doubt, or nothing is laid."""
    return reasons.watched(advice.checks) if advice.verdict is Verdict.GO else ""


def step(lever: Lever, start: float) -> Said:
    """A lever as a step: what, until when, when to begin, and the chance that it then holds.

    ``start`` [s].
    """
    said: Said = _what(lever)
    if lever.besides is not None:
        said = phrase("{one}, and {other}", one=said, other=_lower(_what(lever.besides)))
    if lever.kind != "start" and abs(lever.start - start) > MINUTE:
        said = phrase("{said}; begin at {begin:moment}", said=said, begin=lever.start)
    if lever.probability is not None:
        said = phrase("{said} ({holds:chance})", said=said, holds=lever.probability)
    return said


def _ways(advice: Advice) -> tuple[Lever, ...]:
    """The levers that turn a no-go; a smaller batch beside another trouble turns nothing alone."""
    failing = {check.name for check in advice.checks if check.status is Status.FAILS}
    if failing - {"batch"} and "batch" in failing:
        smaller = next((lever for lever in advice.levers if lever.kind in SMALLER), None)
        others = [lever for lever in advice.levers if lever.kind not in SMALLER and lever.besides is None]
        return tuple(replace(other, besides=smaller) for other in others[:WAYS]) if smaller else ()
    return advice.levers[:WAYS]


def _warnings(advice: Advice) -> list[str]:
    """Of the heating or drying, and of the laying where that is the step."""
    ways = _ways(advice)
    halves = [lever.besides for lever in ways if lever.besides is not None]
    laid = any(lever.kind in {"start", "resin", "thinner", *SMALLER} for lever in (*ways, *halves))
    said = [str(lever.warning) for lever in (*ways, *halves) if lever.warning]
    return [*said, *(map(str, advice.cautions) if laid else ())]


def _lay(advice: Advice) -> Said:
    soon = advice.start - advice.at < MINUTE
    what = "fewer plies at once" if any(check.name == HOT_LAYER for check in advice.checks) else "it"
    lay: Said = f"Lay {what}" if soon else phrase(f"Lay {what} at {{start:moment}}", start=advice.start)
    if any(check.reason == ground.PRIME for check in advice.checks):
        lay = phrase("Prime the timber first, as said. {lay} once it is tacky", lay=lay)
    ply = ", with peel ply on its wet face" if advice.blush in {"peel-ply", "wash-and-abrade"} else ""
    return phrase("{lay}{ply}. Then type `curewatch layer`", lay=lay, ply=ply)


def _what(lever: Lever) -> Said:
    words = {
        "start": "Start at {at_start:moment}",
        "warm": "Warm the shed to {warm:temperature}{warm_until} by electric or flued heat",
        "dry": "Keep the air at {dry:fraction} or drier{dry_until}",
        "surface": "Warm the surface by {rise:difference}{rise_until} by a heated blanket with a thermostat",
        "resin": "Use {resin} instead",
        "batch": "Mix at most {batch:mass} at a time",
        "thinner": _fewer(lever.target or 0.0),
        "tray": "Pour the {tray:mass} into a shallow tray at once",
    }[lever.kind]
    target = lever.target or 0.0
    until: Said = ""
    if lever.switch_off is not None:
        until = phrase(f" until {{{lever.kind}_off:foreseen}}", **{f"{lever.kind}_off": lever.switch_off})
    values: dict[str, Said | float] = {
        "at_start": lever.start,
        "resin": lever.resin,
        "rise": target,
        "warm_until": until,
        "dry_until": until,
        "rise_until": until,
        **dict.fromkeys(("warm", "dry", "batch", "tray"), target),
    }
    return phrase(words, **values)


def _fewer(plies: float) -> str:
    what = "Lay one ply" if plies == 1 else f"Lay at most {plies:.0f} plies"
    return f"{what} at once, and let it cool before more"


def _lower(said: Said) -> Said:
    """The second half of a sentence."""
    if isinstance(said, str):
        return said[:1].lower() + said[1:]
    return type(said)(said.words[:1].lower() + said.words[1:], said.numbers)
