"""Sensors as lines of text: the list with health, and what a check over a salt or side by side showed."""

from collections.abc import Iterator

from curewatch.answers.document import moment, spoken
from curewatch.answers.sensor import (
    BesideDocument,
    ListedSensorDocument,
    SaltCheckDocument,
    SensorListDocument,
)
from curewatch.safe_text import safe_line
from curewatch.wording import Wording, duration


def sensor_lines(listed: SensorListDocument, words: Wording) -> Iterator[str]:
    """Two lines a sensor: what it says, and what is thought of it."""
    now = moment(listed.at)
    for each in listed.sensors:
        role = each.role or "no role"
        yield f"{safe_line(each.sensor, 20):12} {role:8} {spoken(each.health):12} {_said(each, words)}"
        yield f"{'':12} {_thought(each, words, now)}"
    if not listed.sensors:
        yield "No sensor yet. Find yours with: curewatch setup; or try: curewatch simulate"


def _said(each: ListedSensorDocument, words: Wording) -> str:
    if each.age_s is None:
        return "nothing yet"
    humidity = "" if each.humidity_percent is None else f"  {words.stated(each.humidity_percent, 'percent')}"
    battery = (
        "" if each.battery_percent is None else f"  battery {words.stated(each.battery_percent, 'percent')}"
    )
    warm = words.stated(each.temperature_c, "degC")
    return f"{warm}{humidity}{battery}  {duration(max(0.0, each.age_s))} ago"


def _thought(each: ListedSensorDocument, words: Wording, now: float) -> str:
    parts = [safe_line(each.part)] if each.role else ["not in the configuration: takes no part in advice"]
    if each.health != "fresh":
        parts.append(safe_line(words.say(each.reason, now)))
    if each.correction is not None:
        shift = each.correction.offset_percent + 75 * (each.correction.gain - 1)
        parts.append(f"humidity corrected by {shift:+.1f} % at 75 %")
    if each.measures_humidity and each.checked is None:
        parts.append("never checked over a salt")
    elif each.measures_humidity and (due := moment(each.due)) is not None:
        late = "check due since" if due < now else "check due"
        parts.append(f"{late} {words.moment(due, now)}")
    return "; ".join(parts)


def steps(sensor: str) -> Iterator[str]:
    """How a check over two salts is done."""
    yield (
        f"A two-point check of {safe_line(sensor)}. You need two jars with lids and table salt without "
        "additives (NaCl, 75 %). The second salt is magnesium chloride (MgCl2, 33 %). For the wet end it is "
        "potassium sulfate (K2SO4, 98 %)."
    )
    yield "1. A spoon of salt and a few drops of water in the jar: wet sand, not soup. Close it. Wait 24 h."
    yield (
        "2. Hang the sensor in the air of the jar, never in the brine, the cable out under the lid. Wait 20 "
        "to 40 min. Jar, salt and sensor at one temperature, in a box or a folded coat: one kelvin between "
        "them costs 4.5 % at 75 %."
    )
    yield "3. This command watches until the reading rests, and compares. Then the same with the second salt."


def point_lines(check: SaltCheckDocument, words: Wording) -> Iterator[str]:
    """What one salt showed."""
    point = check.point
    warm = words.stated(point.temperature_c, "degC")
    yield f"{point.salt} ({point.salt_name}) at {warm}: the air over it holds {point.expected_percent:.1f} %"
    yield (
        f"the sensor reads {point.found_percent:.1f} %, the mean of {check.readings} readings: off by "
        f"{point.found_percent - point.expected_percent:+.1f} %, "
        f"give or take {point.uncertainty_percent:.1f} %"
    )


def outcome_lines(check: SaltCheckDocument) -> Iterator[str]:
    """What follows."""
    name, line = safe_line(check.sensor), check.correction
    if check.outcome == "second-salt":
        done = ", ".join(point.salt for point in check.points)
        yield f"One more salt is needed for a line (done: {done}); until then nothing is corrected."
    elif check.outcome == "right":
        yield f"{name} is right within what the check can tell. Nothing is corrected. Again in a year."
    elif check.outcome == "replace" or line is None:
        yield (
            f"{name} is too far off to be corrected: look for salt or solvent on the chip, repeat the check, "
            "or replace it."
        )
    else:
        low, high = (line.offset_percent + line.gain * said for said in (33, 85))
        yield (
            f"From now on humidity of {name} is corrected: 33 % becomes {low:.1f} %, 85 % becomes "
            f"{high:.1f} %. Again in a year, or after a season in solvent."
        )


def beside_lines(found: BesideDocument, words: Wording) -> Iterator[str]:
    """How two sensors differ."""
    pair = f"{safe_line(found.sensor)} less {safe_line(found.beside)}, over {found.pairs} moments"
    yield (
        f"{pair}: {words.difference(found.temperature_difference_k)} (two such parts may differ by "
        f"{words.difference(found.temperature_allowed_k)})"
    )
    if found.humidity_difference_percent is not None and found.humidity_allowed_percent is not None:
        allowed = f"(may differ by {found.humidity_allowed_percent:.1f} %)"
        vapour = f"water in the air {found.vapour_difference_percent or 0.0:+.1f} %"
        yield f"humidity {found.humidity_difference_percent:+.1f} % {allowed}; {vapour}"
    yield (
        "They agree."
        if found.agree
        else "They do not agree: check each over a salt, and look for sun, wind or solvent."
    )
