"""A check's reason in plain words, and what to watch: one number against one limit.

The sensors' error is taken off before a number is said. A number that fails is never said as its limit:
it is moved off by the least step that a screen shows.
"""

from collections.abc import Sequence

from curewatch.advice.judge.answer import Check, Status
from curewatch.phrases import Said, phrase
from curewatch.wording import CERTAIN

STEP = {"difference": 0.1, "temperature": 0.1, "fraction": 0.01}  # that a screen shows [K], [K], [1]

# What is wrong where a check fails; its title says what should hold.
TROUBLES = {
    "condensation-now": "The surface is too near the dew point now",
    "condensation": "The surface may sweat before it sets",
    "warm-enough": "Too cold before it sets",
    "cool-enough": "Too hot before it sets",
    "dry-enough": "The air is too damp before it sets",
    "sets": "It does not set within two days",
    "own-heat": "It gets too hot by its own heat",
    "together": "Too risky",
    "batch": "The batch kicks before it is spread",
    "below": "Wrong on this face",
    "dry-below": "The timber below is too damp",
}
NUMBERS = {
    "condensation-now": "{worst:difference} above it, needs {limit:difference}",
    "condensation": "{worst:difference} above the dew point at worst, needs {limit:difference}",
    "warm-enough": "{worst:temperature} at worst, needs {limit:temperature}",
    "cool-enough": "{worst:temperature} at worst, at most {limit:temperature}",
    "dry-enough": "{worst:fraction} at worst, at most {limit:fraction}",
    "own-heat": "{worst:temperature} at worst, at most {limit:temperature}",
    "dry-below": "{worst:fraction} by the meter, at most {limit:fraction}",
    "sets": "{worst:in_ten}, and you ask for {limit:in_ten}",
    "together": "{worst:in_ten}, and you ask for {limit:in_ten}",
}
WATCHED = {  # what to keep an eye on where a check holds
    "condensation": "the surface near the dew point",
    "warm-enough": "the cold",
    "cool-enough": "the heat",
    "dry-enough": "the damp of the air",
    "sets": "a cure that stops in the cold",
}


def trouble(name: str) -> str:
    """What is wrong where the check of this name fails."""
    return TROUBLES[name]


def why(check: Check, beside: Sequence[Check] = ()) -> Said:
    """Why the answer is what it is, by the check that decided it; ``beside`` are the others."""
    if check.status is Status.UNKNOWN:
        return _unknown(check)
    about = TROUBLES[check.name]
    if check.reason:
        return phrase("{about}: {reason}", about=about, reason=check.reason)
    numbers = _numbers(check)
    said = phrase("{about}: {numbers}", about=about, numbers=numbers) if numbers else about
    weakest = _weakest(beside) if check.name == "together" else None
    return (
        said if weakest is None else phrase("{said}. Weakest: {weak}", said=said, weak=WATCHED[weakest.name])
    )


def watched(found: Sequence[Check]) -> Said:
    """The check that holds with the least chance: what to watch; empty if none leaves a doubt."""
    weakest = _weakest(found)
    if weakest is None or weakest.probability is None or weakest.probability >= CERTAIN:
        return ""
    return phrase(
        "{watched} (holds: {held:chance})",
        watched=WATCHED[weakest.name],
        held=weakest.probability,
    )


def _weakest(found: Sequence[Check]) -> Check | None:
    named = [check for check in found if check.name in WATCHED and check.probability is not None]
    return min(named, key=lambda check: check.probability or 0.0, default=None)


def _unknown(check: Check) -> Said:
    about = check.sensor
    if not check.reason:
        return check.title
    if about in {"", "air"}:
        return check.reason
    return phrase("{about}: {reason}", about=about, reason=check.reason)


def _numbers(check: Check) -> Said:
    """The worst that counts, beside the limit it misses."""
    words = NUMBERS.get(check.name, "")
    if not words or check.value is None or check.limit is None:
        return ""
    at_least, limit, step = check.sense == "at least", check.limit.value, STEP.get(check.quantity, 0.0)
    if check.quantity == "fraction" and at_least and abs(10.0 * limit - round(10.0 * limit)) > 1e-9:
        words = words.replace("in_ten", "fraction")  # asked for more finely than in tenths
    worst = check.value - check.error if at_least else check.value + check.error
    worst = min(worst, limit - step) if at_least else max(worst, limit + step)
    return phrase(words, worst=worst, limit=limit)
