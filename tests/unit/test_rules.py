"""The table of rules, `tests/unit/rules/table.md`: written by hand, asked of the program row by row.

The cure and the pot are replaced by what the row says of them: ten paths, and when a batch must be used
up. Everything from there on is the program's own: the checks, their order, the verdict, the headline.
"""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pytest
from msgspec.structs import replace

from curewatch.advice.judge import checks, limits, reasons, situation, verdict
from curewatch.advice.judge.answer import Advice, Check, Moment, Status
from curewatch.advice.judge.course import Course
from curewatch.advice.judge.data_quality import NO_AIR
from curewatch.advice.judge.ground import Ground
from curewatch.advice.judge.situation import WHAT_TO_DO, Place, Situation, Surfaced, Trouble, TroubleKind
from curewatch.answers.document import spoken
from curewatch.jobs import FaceBelow
from curewatch.materials import load_resin
from curewatch.materials.resin import Origin, Resin
from curewatch.model.air.outlook import Outlook
from curewatch.physics import moist_air
from curewatch.readings import Reading
from curewatch.units import FloatArray
from curewatch.wording import plain_wording

TABLE = Path(__file__).parent / "rules" / "table.md"
NOW = 1_795_000_000.0
ZERO = 273.15  # K
ROLES = {"bench": "air", "hull": "surface", "yard": "outside"}
UNITS = {"K": 1.0, "°C": 1.0, "%": 0.01, "s": 1.0, "min": 60.0, "h": 3600.0, "": 1.0}
PATHS = {"margins": 12.0, "coldest": 20.0, "warmest": 20.0, "humidities": 45.0, "set": 10.0}
PATHS |= {"blush": 0.0, "warms": 0.0, "peaks": np.nan}


class Row(NamedTuple):
    """One line of the table."""

    situation: str
    check: str
    status: str
    value: str
    spare: str
    answer: str
    what_to_do: str


def rows(width: int) -> Iterator[list[str]]:
    """The lines of every table of so many columns, without heads."""
    lines = TABLE.read_text(encoding="utf-8").splitlines()
    for line, under in zip(lines, [*lines[1:], ""], strict=True):
        cells = [cell.strip() for cell in line.strip().strip("|").split("|")]
        if line.startswith("| ") and not under.startswith("|--") and len(cells) == width:
            yield cells


ROWS = [Row(*cells) for cells in rows(7)]
LIMITS = {name: (value, tag) for name, value, tag in rows(3)}
WORDS = dict(rows(2))


def number(written: str, *, span: bool = False) -> float | None:
    """A cell in SI; a temperature that is no difference counts from 0 °C."""
    if not written:
        return None
    value, _, unit = written.partition(" ")
    return float(value) * UNITS[unit] + (ZERO if unit == "°C" and not span else 0.0)


def paths(written: str) -> FloatArray:
    """`8 at 3, 2 unknown` as ten numbers."""
    found: list[float] = []
    for part in written.split(", "):
        count, _, value = part.partition(" ")
        known = re.fullmatch(r"at (\S+)", value)
        assert known or value in {"never", "unknown"}, part
        found += [float(known[1]) if known else np.nan] * int(count)
    assert len(found) == 10, written
    return np.array([found])


KEYS = (
    *("air age", "surface age", "outside age", "air reads", "air without", "surface without"),
    *("air error", "surface error", "dew point error", "humidity error", "wanted"),
    *("margin now", "start in", "used up in", "never used up", "batch", "spread", "resin", "outlook"),
    *("told", "rejected", "air", "surface", "on", "moisture", *PATHS),
)


def told(written: str) -> dict[str, str]:
    """The situation of a row by its keys."""
    if written == "the usual":
        return {}
    found = {}
    for part in written.split("; "):
        key = next((key for key in KEYS if re.match(rf"{key}\b", part)), "")
        assert key, f"{part!r}: a situation is told by one of {KEYS}; `known` and `ahead` make it of them"
        found[key] = part.removeprefix(key).strip()
    return found


def first(written: str) -> float:
    return number(written) or 0.0


# ---- what is known now


def known(row: dict[str, str]) -> Situation:
    """The situation that a row speaks of."""
    dew = 8.0 + ZERO
    pressure = float(moist_air.saturation_pressure(dew))
    dew = float(moist_air.dew_point(pressure))
    slope = float(moist_air.saturation_slope(dew))
    ages = {role: first(row.get(f"{role} age", "1 min")) for role in ROLES.values()}
    air = Place(
        "bench",
        "air",
        NOW - ages["air"],
        20.0 + ZERO,
        float(row.get("air error", 0)),
        0.46,
        float(row.get("humidity error", 0)) / 100,
        pressure,
        slope * float(row.get("dew point error", 0)),
    )
    margin = float(row.get("margin now", 12))
    below = Place("hull", "surface", NOW - ages["surface"], dew + margin, float(row.get("surface error", 0)))
    outside = Place("yard", "outside", NOW - ages["outside"], 283.15, 0.3) if "outside age" in row else None
    if reads := re.fullmatch(r"(\S+) °C and (\S+) %", row.get("air reads", "")):
        heard = Reading("bench", NOW - 60, NOW, float(reads[1]) + ZERO, float(reads[2]) / 100)
        air = situation.place(heard, "air", 0.3, 0.02)
    air = _without(air, row.get("air without", ""))
    below = _without(below, row.get("surface without", ""))
    there: dict[str, Any] = {
        "air": None if row.get("air") == "none" else air,
        "outside": outside,
        "troubles": _troubles(row.get("told", "")),
        "rejected": row.get("rejected", ""),
    }
    return Situation(NOW, **there) if row.get("surface") == "none" else Surfaced(NOW, surface=below, **there)


def _without(place: Place, what: str) -> Place:
    if what == "humidity":
        return replace(place, relative_humidity=None, vapour_pressure=None)
    return replace(place, temperature=None) if what else place


def _troubles(written: str) -> tuple[Trouble, ...]:
    if not written:
        return ()
    if written == "clock":
        return (Trouble(TroubleKind.CLOCK, "seen"),)
    sensor, _, kind = written.partition(" ")
    return (Trouble(TroubleKind(kind), "seen", sensor, ROLES[sensor]),)


# ---- what is ahead


def ahead(row: dict[str, str], start: float) -> Course:
    """The ten paths of a row."""
    found = {name: paths(row.get(name, f"10 at {usual:g}")) for name, usual in PATHS.items()}
    stated = {
        "start": np.array([start]),
        "set": found["set"] * 3600,
        "glassy": np.zeros((1, 10), dtype=bool),
        "lowest_margin": found["margins"],
        "lowest_temperature": found["coldest"] + ZERO,
        "highest_temperature": found["warmest"] + ZERO,
        "highest_humidity": found["humidities"] / 100,
        "blush": found["blush"] * 3600,
        "warming": found["warms"],
        "own_peak": found["peaks"] + ZERO,
    }
    never = np.full((1, 10), np.nan)  # moments that no check reads
    return Course(**{name: stated.get(name, never) for name in Course._fields})


def warming(at: Any) -> Any:
    """Air that is at 20 °C now and half a kelvin warmer each hour. [K]"""
    return 20.0 + ZERO + 0.5 * (at - NOW) / 3600


def foreseen() -> Outlook:
    """Three days: read for whether the start lies within, and for how warm a pot stands."""
    time = NOW + 900.0 * np.arange(4 * 72 + 1)
    warm = np.tile(warming(time), (10, 1))
    return Outlook(time, warm, np.full(warm.shape, 1072.0), warm, "demo", 0.0)


def ask(row: dict[str, str], patch: pytest.MonkeyPatch) -> Advice:
    """What the program answers to a row."""
    resin = load_resin(row.get("resin", "epoxy-slow"))
    start = NOW + first(row.get("start in", "0 s"))
    used = None if "never used up" in row else start + first(row.get("used up in", "60 min"))
    own = {"probability": float(row["wanted"]) / 100} if "wanted" in row else {}
    drawn = limits.for_resin(resin, own)

    def usable(batch: Any, at: float, air_temperature: float) -> tuple[Moment, ...]:
        assert (batch.resin, at, air_temperature) == (resin, start, pytest.approx(warming(start)))
        return (Moment("use-up", "batch used up by", used, used, used),)

    patch.setattr(verdict, "course", lambda *_, **__: ahead(row, start))
    patch.setattr(verdict, "pot_moments", usable)
    more: dict[str, Any] = {}
    if "batch" in row:
        more["batch_mass"] = float(row["batch"].removesuffix(" g")) / 1000
    if "spread" in row:
        more["use_rate"] = float(row["spread"].removesuffix(" g/min")) / 60_000
    if "on" in row:
        moisture = float(row["moisture"]) / 100 if "moisture" in row else None
        own, face = row["on"].startswith("own "), FaceBelow(row["on"].removeprefix("own "))
        more["ground"] = Ground(face, moisture, own)
    return verdict.assess(known(row), resin, drawn, None if "outlook" in row else foreseen(), start, **more)


# ---- what must hold


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row.situation} - {row.check}")
def test_the_program_keeps_the_rules(row: Row, monkeypatch: pytest.MonkeyPatch) -> None:
    """Status, value and spare of the check; verdict, headline and what to do of the whole."""
    asked = told(row.situation)
    said = ask(asked, monkeypatch)
    found = [check for check in said.checks if check.name == row.check]
    assert [str(check.status) for check in found] == ([] if row.status == "absent" else [row.status])
    for check in found:
        is_about(check.value, number(row.value))
        is_about(check.spare, number(row.spare, span=True))
        if check.value is not None and check.limit is not None and check.spare is not None:
            away = check.value - check.limit.value
            good = away if check.sense == "at least" else -away
            assert check.spare == pytest.approx(good - check.error, abs=1e-6)
        if check.probability is not None:
            wanted = float(asked.get("wanted", 80)) / 100
            assert (check.probability >= wanted) == (check.status is Status.HOLDS)
        own_heat = (
            check.name == "own-heat" and check.status is not Status.FAILS
        )  # then the headline has numbers
        if own_heat or check.name in {"batch", "blush", "below", "warming-below"}:  # they say what to do
            assert (check.reason == "") == (check.status is Status.HOLDS)
    answers(said, row.answer)
    advises(said, row.what_to_do)
    doctor = [str(caution) for caution in said.cautions if "curewatch doctor" in str(caution)]
    assert doctor == [f"{asked[name]} (curewatch doctor)" for name in asked if name == "rejected"]
    together = [check.value for check in said.checks if check.name == "together"]
    assert together in ([], [said.probability])


def is_about(found: float | None, expected: float | None) -> None:
    """The same number, or none."""
    assert found == (expected if expected is None else pytest.approx(expected, abs=1e-4))


def answers(said: Advice, expected: str) -> None:
    """Verdict, the check of the headline and its words; for a go, what blush asks for."""
    ruled, _, name = expected.partition(": ")
    headline = plain_wording().say(said.headline, NOW)
    if not name:
        expected, _, first = expected.partition(" first ")
        ruled, _, care = expected.partition(" with ")
        assert spoken(said.blush) == (care or "none")
        assert headline.startswith("Fit until it sets")
        assert care in headline
        assert first in headline
        assert (headline == "Fit until it sets") == (not care and not first)
    else:
        decides = checks_of(said, name)
        reason = plain_wording().say(decides.reason, NOW)
        untold = decides.name == "below" and decides.status is Status.UNKNOWN
        assert (reason if untold else WORDS.get(name, reason)) in headline
        assert reason in headline
    assert str(said.verdict) == ruled
    deciding = verdict.deciding(said.checks)
    assert (deciding.name if deciding else "") == name


def checks_of(said: Advice, name: str) -> Check:
    return next(check for check in said.checks if check.name == name)


def advises(said: Advice, expected: str) -> None:
    """What to do, each once, in the order of the row."""
    remedies = [plain_wording().say(remedy, NOW) for remedy in said.remedies]
    assert len(remedies) == len([part for part in expected.split(", ") if part]), remedies
    for remedy, part in zip(remedies, expected.split(", "), strict=False):
        sensor, _, kind = part.partition(": ")
        if part == "air: no reading":
            assert remedy == NO_AIR
        elif kind:
            assert remedy == f"{sensor}: {WHAT_TO_DO[TroubleKind(kind)]}"
        elif part == "range":
            assert "between 10.0 °C and 35.0 °C" in remedy
        else:
            assert part in remedy


def asked_of(resin: Resin, course: Course, name: str) -> Check:
    """One check on a course in the usual shed."""
    found = verdict.judge(known({}), resin, limits.for_resin(resin), course)
    return next(check for check in found if check.name == name)


@pytest.mark.parametrize(
    ("row", "name", "key", "value"),
    [
        ({"blush": "10 at 4"}, "blush", "blush.peel_ply_from", 1.7 * 3600.0),
        ({"coldest": "10 at -1"}, "resin-range", "limits.lowest_temperature", 10.0 + ZERO),
        ({"warmest": "10 at 46"}, "resin-range", "limits.highest_temperature", 35.0 + ZERO),
    ],
)
def test_a_limit_of_the_resin_says_where_it_is_from(
    row: dict[str, str], name: str, key: str, value: float
) -> None:
    """The sheet's own word where it has one for this very limit; else what stands in for it."""
    usual = load_resin("epoxy-slow")
    stated = replace(usual, origins={key: Origin("computed", "page 3")})
    silent = replace(usual, origins={})
    found = [asked_of(resin, ahead(row, NOW), name).limit for resin in (stated, silent)]
    assert [limit.value for limit in found if limit] == [pytest.approx(value)] * 2
    assert [limit.tag for limit in found if limit] == [
        "computed",
        "assumed" if name == "blush" else "datasheet",
    ]


def test_the_batch_s_limit_says_how_fast_it_is_spread() -> None:
    """10 g a minute are 1/6 g a second."""
    found = checks.used_in_time(Moment("use-up", "", NOW + 600, None, None), NOW, 0.1, 1e-3 / 6)
    assert found.limit is not None
    assert "10 g a minute" in found.limit.source


@pytest.mark.parametrize(("stalled", "said"), [(0, False), (1, False), (2, True), (3, True)])
def test_one_path_in_a_hundred_that_stalls_is_said(stalled: int, said: bool) -> None:
    """Of 200 paths; from 1 % on the check says so, also where it holds."""
    course = ahead({}, NOW)
    wide = Course(course.start, *(np.tile(column, (1, 20)) for column in course[1:]))
    wide = wide._replace(glassy=np.arange(200)[None, :] < stalled)
    found = asked_of(load_resin("epoxy-slow"), wide, "sets")
    assert bool(found.reason) == said


def test_the_headline_names_the_sensor_that_cannot_be_trusted(monkeypatch: pytest.MonkeyPatch) -> None:
    """By its name; where there is none at all, or the clock is in doubt, by what is wrong alone."""
    for row, said in (
        ({"told": "hull silent"}, "hull: seen"),
        ({"told": "clock"}, "seen"),
        ({"air": "none"}, "nothing is known of the shed's air"),
    ):
        assert plain_wording().say(ask(row, monkeypatch).headline, NOW) == said


def test_without_a_whole_air_reading_no_error_is_small_enough() -> None:
    """Nothing holds that is known with no certainty at all."""
    assert checks.sensor_errors(replace(known({}), air=None)) == (np.inf, np.inf, np.inf)


def test_the_limits_are_those_of_the_table() -> None:
    """For the usual resin, each with where it is from."""
    drawn = limits.each(limits.for_resin(load_resin("epoxy-slow")))
    assert list(drawn) == list(LIMITS)
    for name, (written, tag) in LIMITS.items():
        assert (drawn[name].value, drawn[name].tag) == (pytest.approx(number(written)), tag)


def test_every_check_of_the_program_is_in_the_table() -> None:
    """A check without a row would be a rule that nobody wrote down."""
    named = {row.check for row in ROWS}
    assert named >= set(reasons.TROUBLES)
    assert set(WORDS) >= set(reasons.TROUBLES)
    assert {row.status for row in ROWS} == {"holds", "care", "fails", "unknown", "absent"}
