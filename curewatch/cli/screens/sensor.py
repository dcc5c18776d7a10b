"""Sensors as lines of text: the list with health, and what a check over a salt or side by side showed."""

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from curewatch.cli.safe_text import safe_line
from curewatch.physics.saturated_salts import SALTS
from curewatch.readings import Reading
from curewatch.shed.corrections import Correction
from curewatch.shed.health import Health, State
from curewatch.shed.salt_check import Beside, CheckOutcome, CorrectionLine, SaltPoint, Settled
from curewatch.wording import Wording, duration


class Listed(NamedTuple):
    """One sensor of the list."""

    name: str
    role: str  # empty: the configuration does not know it
    part: str
    health: Health
    last: Reading | None
    correction: Correction | None
    checked: float | None  # UTC of its last check over a salt [s]
    due: float | None  # UTC [s]
    wet: bool  # it has a humidity chip


def sensor_lines(sensors: Iterable[Listed], words: Wording, now: float) -> Iterator[str]:
    """Two lines a sensor: what it says, and what is thought of it."""
    found = False
    for each in sensors:
        found = True
        role = each.role or "no role"
        said = "nothing yet" if each.last is None else _said(each.last, words, now)
        yield f"{safe_line(each.name, 20):12} {role:8} {each.health.state:12} {said}"
        yield f"{'':12} {_thought(each, words, now)}"
    if not found:
        yield "No sensor yet. Find yours with: curewatch setup; or try: curewatch simulate"


def _said(last: Reading, words: Wording, now: float) -> str:
    humidity = "" if last.relative_humidity is None else f"  {words.percent(last.relative_humidity)}"
    battery = "" if last.battery is None else f"  battery {words.percent(last.battery)}"
    return (
        f"{words.temperature(last.temperature)}{humidity}{battery}  {duration(max(0.0, now - last.time))} ago"
    )


def _thought(each: Listed, words: Wording, now: float) -> str:
    parts = [safe_line(each.part)] if each.role else ["not in the configuration: takes no part in advice"]
    if each.health.state is not State.FRESH:
        parts.append(safe_line(words.say(each.health.seen, now)))
    if each.correction is not None:
        shift = each.correction.corrected(0.75) - 0.75
        parts.append(f"humidity corrected by {shift * 100:+.1f} % at 75 %")
    if each.wet and each.checked is None:
        parts.append("never checked over a salt")
    elif each.wet and each.due is not None:
        late = "check due since" if each.due < now else "check due"
        parts.append(f"{late} {words.moment(each.due, now)}")
    return "; ".join(parts)


def steps(sensor: str) -> Iterator[str]:
    """How a check over two salts is done."""
    yield (
        f"A two-point check of {safe_line(sensor)}. You need two jars with lids, table salt without "
        "additives (NaCl, 75 %), and magnesium chloride (MgCl2, 33 %) or, for the wet end, potassium sulfate "
        "(K2SO4, 98 %)."
    )
    yield "1. A spoon of salt and a few drops of water in the jar: wet sand, not soup. Close it. Wait 24 h."
    yield (
        "2. Hang the sensor in the air of the jar, never in the brine, the cable out under the lid. Wait 20 "
        "to 40 min. Jar, salt and sensor at one temperature, in a box or a folded coat: one kelvin between "
        "them costs 4.5 % at 75 %."
    )
    yield "3. This command watches until the reading rests, and compares. Then the same with the second salt."


def point_lines(point: SaltPoint, settled: Settled, words: Wording) -> Iterator[str]:
    """What one salt showed."""
    salt = SALTS[point.salt].name.split(" (")[0]
    warm = words.temperature(point.temperature)
    yield f"{point.salt} ({salt}) at {warm}: the air over it holds {_percent(point.expected)}"
    yield (
        f"the sensor says {_percent(point.found)}, the mean of {settled.readings} readings: off by "
        f"{_signed(point.difference)}, give or take {_percent(point.uncertainty)}"
    )


def outcome_lines(
    sensor: str, points: Iterable[SaltPoint], outcome: CheckOutcome, line: CorrectionLine | None
) -> Iterator[str]:
    """What follows."""
    name = safe_line(sensor)
    if outcome is CheckOutcome.SECOND_SALT:
        done = ", ".join(point.salt for point in points)
        yield f"One more salt is needed for a line (done: {done}); until then nothing is corrected."
    elif outcome is CheckOutcome.RIGHT:
        yield f"{name} is right within what the check can tell. Nothing is corrected. Again in a year."
    elif outcome is CheckOutcome.REPLACE or line is None:
        yield (
            f"{name} is too far off to be corrected: look for salt or solvent on the chip, repeat the check, "
            "or replace it."
        )
    else:
        low, high = line.offset + line.gain * 0.33, line.offset + line.gain * 0.85
        yield (
            f"From now on humidity of {name} is corrected: 33 % becomes {_percent(low)}, 85 % becomes "
            f"{_percent(high)}. Again in a year, or after a season in solvent."
        )


def beside_lines(one: str, other: str, found: Beside, words: Wording) -> Iterator[str]:
    """How two sensors differ."""
    pair = f"{safe_line(one)} less {safe_line(other)}, over {found.pairs} moments"
    yield (
        f"{pair}: {words.difference(found.temperature)} (two such parts may differ by "
        f"{words.difference(found.temperature_allowed)})"
    )
    if found.relative_humidity is not None and found.humidity_allowed is not None:
        allowed = f"(may differ by {_percent(found.humidity_allowed)})"
        vapour = f"water in the air {(found.vapour_pressure or 0.0) * 100:+.1f} %"
        yield f"humidity {_signed(found.relative_humidity)} {allowed}; {vapour}"
    yield (
        "They agree."
        if found.agree
        else "They do not agree: check each over a salt, and look for sun, wind or solvent."
    )


def _percent(fraction: float) -> str:
    return f"{fraction * 100:.1f} %"


def _signed(fraction: float) -> str:
    return f"{fraction * 100:+.1f} %"
