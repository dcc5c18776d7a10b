"""Documents as people read them, in two sets of units and at two widths."""

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import msgspec

from curewatch.answers.catalogue import DOCUMENTS
from curewatch.cli.screens import (
    air,
    alerts,
    board,
    board_lines,
    cure,
    doctor,
    explain,
    forecast,
    job,
    layer,
    layup,
    logbook,
    observe,
    resin,
    sensor,
    tonight,
    windows,
)
from curewatch.wording import Wording
from tests.texts.situations import NOW, Kept

HERE = Path(__file__).parent
ZONE = ZoneInfo("Europe/Lisbon")
UNITS = {
    "°C, g, 24 h": Wording(ZONE),
    "°F, oz, 12 h": Wording(ZONE, fahrenheit=True, ounces=True, twelve_hours=True),
}
WIDTHS = (80, 100)
Show = Callable[[Any, Wording, int], Iterator[str] | list[str]]


def _watched(one: Any, words: Wording, width: int) -> list[str]:
    rows = [row.plain.rstrip() for row in board.board(one, NOW, words, width, 24)]
    return [*rows, "", *board_lines.status(one, NOW, words)]


def _why(show: Callable[..., list[str]]) -> Show:
    return lambda one, words, width: show(one, words, why=True)


SHOWN: dict[str, Show] = {
    "air": lambda one, words, width: air.lines(one, words),
    "alerts": lambda one, words, width: alerts.lines(one, words, NOW),
    "cure": _why(cure.lines),
    "doctor": lambda one, words, width: doctor.lines(one),
    "explain": lambda one, words, width: (
        explain.term_lines(one, words) if hasattr(one, "says") else explain.list_lines(one)
    ),
    "forecast": lambda one, words, width: forecast.lines(one, NOW, words),
    "job-list": lambda one, words, width: job.listed(one, words, NOW),
    "job-show": lambda one, words, width: job.job_lines(one, words, NOW),
    "job-entry": lambda one, words, width: [job.told_line(one.kind, one.payload, words)],
    "layer": lambda one, words, width: layer.lines(one, words, NOW),
    "layup": _why(layup.lines),
    "logbook-prune": lambda one, words, width: logbook.prune_lines(one),
    "logbook-status": lambda one, words, width: logbook.status_lines(one, words, NOW),
    "logbook-verify": lambda one, words, width: logbook.whole_lines(one),
    "observe": lambda one, words, width: observe.lines("gelled", one),
    "resin-compare": _why(resin.compared),
    "resin-list": lambda one, words, width: resin.listed(one),
    "resin-show": lambda one, words, width: resin.shown(one, words),
    "sensor-list": lambda one, words, width: sensor.sensor_lines(one, words),
    "tonight": lambda one, words, width: tonight.lines(one, words, "Saltmarsh Shed", why=True),
    "watch": _watched,
    "windows": _why(windows.lines),
}
FIRST: dict[str, Show] = {  # what a person sees without --why
    "cure": lambda one, words, width: cure.lines(one, words),
    "layup": lambda one, words, width: layup.lines(one, words),
    "resin-compare": lambda one, words, width: resin.compared(one, words),
    "tonight": lambda one, words, width: tonight.lines(one, words, "Saltmarsh Shed"),
    "windows": lambda one, words, width: windows.lines(one, words),
}


def kept() -> dict[str, list[Kept]]:
    """The kept documents, by situation; without those whose shape is another today (:func:`outdated`)."""
    return {
        name: [each._replace(answer=shaped) for each in every if (shaped := _shaped(each)) is not None]
        for name, every in stored().items()
    }


def outdated() -> list[str]:
    """Kept documents whose shape is another today: run `python -m tests.texts --anew`."""
    return [
        f"{name}: {each.typed}" for name, every in stored().items() for each in every if _shaped(each) is None
    ]


def stored() -> dict[str, list[Kept]]:
    """The kept documents as they were written."""
    return {
        path.stem.replace("-", " "): [Kept(**each) for each in json.loads(path.read_text("utf-8"))]
        for path in sorted((HERE / "documents").glob("*.json"))
    }


def _shaped(one: Kept) -> Any:
    """The document in its shape, of several the one that it fits; none where it fits none."""
    for shape in DOCUMENTS[one.name].shapes:
        try:
            return msgspec.convert(one.answer, type=shape)
        except msgspec.ValidationError:
            continue
    return None


def rendered(every: dict[str, list[Kept]]) -> dict[str, list[str]]:
    """The texts by name of document: each answer in each set of units, and the wider ones that differ."""
    texts: dict[str, list[str]] = {}
    for situation, answered in every.items():
        for one in answered:
            texts.setdefault(one.name, []).extend(_shown(situation, one))
    return texts


def _shown(situation: str, one: Kept) -> Iterator[str]:
    for units, words in UNITS.items():
        before: list[str] = []
        for width in WIDTHS:
            lines = [line.rstrip() for line in SHOWN[one.name](one.answer, words, width)]
            if lines != before:
                yield "\n".join((f"== {situation}: {one.typed} | {units} | {width}", *lines, ""))
            before = lines


def first_screens(every: dict[str, list[Kept]]) -> Iterator[tuple[str, list[str]]]:
    """Each first screen, with what it is of."""
    for situation, answered in every.items():
        for one in answered:
            for units, words in UNITS.items():
                if one.name in FIRST:
                    yield f"{situation}: {one.typed} | {units}", list(FIRST[one.name](one.answer, words, 80))
