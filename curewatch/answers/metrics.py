"""What is known now as OpenMetrics text, for programs that collect numbers over time.

Source of the form: OpenMetrics 1.0 (text format). A value that cannot be told has no sample.
"""

from collections.abc import Iterable, Iterator, Mapping
from typing import NamedTuple

from curewatch.answers.sensor import SensorStateDocument
from curewatch.answers.values import ValuesDocument

CONTENT_TYPE = "application/openmetrics-text; version=1.0.0; charset=utf-8"
VERDICTS = ("go", "no-go", "unknown")

Labels = Mapping[str, str]


class Family(NamedTuple):
    """Samples of one name."""

    name: str
    kind: str  # gauge, counter, stateset
    unit: str  # the last part of the name, or empty
    about: str
    samples: tuple[tuple[Labels, float | None], ...]


def families_of(
    values: ValuesDocument,
    sensors: Iterable[SensorStateDocument],
    readings: Mapping[str, int],
    rejected: Mapping[str, int],
) -> tuple[Family, ...]:
    """``readings`` counts those kept by sensor, ``rejected`` what was not taken by its reason."""
    return (*_of_sensors(tuple(sensors)), *_of_values(values), *_counts(readings, rejected))


def open_metrics(sheds: Mapping[str, Iterable[Family]]) -> str:
    """The text of each shed's families, by the shed's name; each sample says it, but where it is empty."""
    whole: dict[str, Family] = {}
    for shed, families in sheds.items():
        own: Labels = {"shed": shed} if shed else {}
        for family in families:
            samples = tuple(({**own, **labels}, value) for labels, value in family.samples)
            before = whole.get(family.name, family._replace(samples=()))
            whole[family.name] = before._replace(samples=before.samples + samples)
    return "".join(line for family in whole.values() for line in _lines(family)) + "# EOF\n"


def _of_sensors(sensors: tuple[SensorStateDocument, ...]) -> Iterator[Family]:
    named = [({"sensor": one.sensor, "role": one.role or ""}, one) for one in sensors]

    def family(name: str, unit: str, about: str, of: dict[str, float | None]) -> Family:
        samples = tuple((labels, of[one.sensor]) for labels, one in named)
        return Family(name, "gauge", unit, about, samples)

    temperatures = {one.sensor: one.temperature_c for one in sensors}
    ratios = {
        one.sensor: None if one.humidity_percent is None else one.humidity_percent / 100.0 for one in sensors
    }
    yield family("curewatch_temperature_celsius", "celsius", "Last reading.", temperatures)
    yield family("curewatch_relative_humidity_ratio", "ratio", "Last reading, over liquid water.", ratios)
    ages = {one.sensor: one.age_s for one in sensors}
    yield family("curewatch_reading_age_seconds", "seconds", "Age of the last reading.", ages)
    fresh: dict[str, float | None] = {one.sensor: float(one.health == "fresh") for one in sensors}
    yield family("curewatch_sensor_fresh", "", "1 if the sensor can be believed.", fresh)


def _of_values(values: ValuesDocument) -> Iterator[Family]:
    for name, unit, about, value in (
        ("curewatch_dew_point_celsius", "celsius", "Of the air at the work.", values.dew_point_c),
        ("curewatch_margin_kelvins", "kelvins", "Surface above dew point.", values.margin_k),
        ("curewatch_chance_ratio", "ratio", "That every check holds until it sets.", values.chance),
    ):
        yield Family(name, "gauge", unit, about, (({}, value),))
    states = tuple(({"curewatch_verdict": each}, float(values.verdict == each)) for each in VERDICTS)
    yield Family("curewatch_verdict", "stateset", "", "For a start now.", states)


def _counts(readings: Mapping[str, int], rejected: Mapping[str, int]) -> Iterator[Family]:
    kept = tuple(({"sensor": name}, float(count)) for name, count in readings.items())
    yield Family("curewatch_readings", "counter", "", "Readings kept.", kept)
    refused = tuple(({"reason": name}, float(count)) for name, count in rejected.items())
    yield Family("curewatch_rejected", "counter", "", "What came in and was not taken.", refused)


def _lines(family: Family) -> Iterator[str]:
    yield f"# TYPE {family.name} {family.kind}\n"
    if family.unit:
        yield f"# UNIT {family.name} {family.unit}\n"
    yield f"# HELP {family.name} {family.about}\n"
    name = f"{family.name}_total" if family.kind == "counter" else family.name
    for labels, value in family.samples:
        if value is not None:
            said = ",".join(f'{key}="{_escaped(text)}"' for key, text in labels.items())
            yield f"{name}{{{said}}} {value:.10g}\n" if said else f"{name} {value:.10g}\n"


def _escaped(text: str) -> str:
    """A label as the form wants it: what came from outside ends no line and no label."""
    return text.replace("\\", "\\\\").replace("\n", "\\n").replace('"', '\\"')
