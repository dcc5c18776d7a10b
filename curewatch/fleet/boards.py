"""The last look at a shed of a fleet, as it is kept beside the shed's logbook and shown.

Law: a look that is older than :data:`LASTS` says nothing of now: its shed is unknown.
"""

import json
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

import msgspec
from msgspec.structs import replace

from curewatch.advice.alert.alerts import AlertKind, Key, State
from curewatch.answers.metrics import VERDICTS, Family
from curewatch.answers.mqtt import MqttAlertsDocument
from curewatch.answers.sheds import ShedLineDocument, ShedsDocument, line_of, sheds_document, unseen_shed
from curewatch.answers.tonight import TonightDocument
from curewatch.configuration import Configuration, logbook_path
from curewatch.errors import CurewatchError
from curewatch.fleet import shed_name
from curewatch.fleet.copying import CopyRefusal, trouble_of
from curewatch.logbook import LogbookStore, open_logbook
from curewatch.phrases import phrase
from curewatch.shed.copied import Against, twice
from curewatch.units import MINUTE
from curewatch.wording import plain_wording

NOTE = "board"
LASTS = 15 * MINUTE  # [s]
NONE_YET = "nobody has looked at it yet. Use `curewatch fleet look`"
TOO_OLD = "the last look was at {at:moment}. Use `curewatch fleet look`"


class Board(NamedTuple):
    """One look."""

    at: float  # UTC [s]
    by: str  # the process that looked
    advice: TonightDocument
    alerts: MqttAlertsDocument
    holds: dict[str, list[float | None]]  # of alerts that may clear, by kind and subject


def packed(board: Board) -> bytes:
    """As it is kept."""
    return msgspec.json.encode(board._asdict())


def kept(logbook: LogbookStore) -> Board | None:
    """The last look; none where there was none, or it was kept by another edition."""
    said = logbook.note(NOTE)
    try:
        told = json.loads(said or b"{}")
        advice = msgspec.convert(told["advice"], TonightDocument)
        alerts = msgspec.convert(told["alerts"], MqttAlertsDocument)
        return Board(float(told["at"]), str(told["by"]), advice, alerts, dict(told["holds"]))
    except (ValueError, KeyError, TypeError, msgspec.ValidationError):
        return None


def holds_of(state: State) -> dict[str, list[float | None]]:
    """What no entry tells of these alerts: since when they are clear, or mean something else. [UTC s]"""
    return {
        f"{key.kind} {key.subject}": [one.clear_since, one.other_since]
        for key, one in state.items()
        if one.clear_since is not None or one.other_since is not None
    }


def held(state: State, holds: Mapping[str, list[float | None]]) -> State:
    """The alerts with what was kept of them."""
    found = dict(state)
    for name, (clear, other) in holds.items():
        kind, _, subject = name.partition(" ")
        key = Key(AlertKind(kind), subject)
        if key in found:
            found[key] = replace(found[key], clear_since=clear, other_since=other)
    return found


class SeenShed(NamedTuple):
    """One shed as it is shown."""

    line: ShedLineDocument
    age: float | None  # of its last look [s]
    against: str  # code of what stands against its copy, or empty
    reading: float | None  # age of its last reading [s]


def seen(sheds: Mapping[str, Configuration], now: float) -> list[SeenShed]:
    """Every shed by its last look. [UTC s]"""
    return [_seen(name, shed, now) for name, shed in sheds.items()]


def fleet_document(found: Iterable[SeenShed], now: float) -> ShedsDocument:
    """Worst first. [UTC s]"""
    return sheds_document((one.line for one in found), now)


def _seen(label: str, shed: Configuration, now: float) -> SeenShed:
    """One shed in a line; what stands against its copy rings. [UTC s]"""
    words, shown = plain_wording(shed.zone), (label, shed.shed.name, shed.shed.boat)
    try:
        with open_logbook(logbook_path(shed), read_only=True) as logbook:
            shed_name.check(logbook, label)
            board, trouble = kept(logbook), _against(logbook, now)
            latest = max((one.latest for one in logbook.sensors().values()), default=None)
    except CurewatchError as problem:
        return SeenShed(unseen_shed(*shown, phrase("{reason}", reason=str(problem)), words), None, "", None)
    of = None if board is None else now - board.at, None if latest is None else now - latest
    if trouble is not None:
        told = phrase("{code}: {told}", code=trouble.code, told=trouble.told)
        line = msgspec.structs.replace(unseen_shed(*shown, told, words), ringing=1)
        return SeenShed(line, of[0], trouble.code, of[1])
    if board is None:
        return SeenShed(unseen_shed(*shown, NONE_YET, words), of[0], "", of[1])
    if now - board.at > LASTS:
        return SeenShed(unseen_shed(*shown, phrase(TOO_OLD, at=board.at), words), of[0], "", of[1])
    parts = board.advice, board.alerts.alerts, board.alerts.layers
    line = line_of(label, *parts, name=shed.shed.name, boat=shed.shed.boat, now=now, words=words)
    return SeenShed(line, of[0], "", of[1])


def _against(logbook: LogbookStore, now: float) -> CopyRefusal | Against | None:
    """What stands against it: of its copy, or that its own daemon looks after it, too. UTC [s]"""
    trouble = trouble_of(logbook)
    return twice(logbook, now) if trouble is None else trouble[0]


def families(found: Sequence[SeenShed]) -> tuple[Family, ...]:
    """What rules that ring an operator are written against."""

    def of(name: str, unit: str, about: str, values: Mapping[str, float | None]) -> Family:
        samples = tuple(({"shed": shed}, value) for shed, value in values.items())
        return Family(name, "gauge", unit, about, samples)

    by = {one.line.shed: one for one in found}
    verdicts = tuple(
        ({"verdict": each}, float(sum(one.line.verdict == each for one in found))) for each in VERDICTS
    )
    refused = tuple(({"shed": shed, "code": one.against}, 1.0) for shed, one in by.items() if one.against)
    return (
        Family("curewatch_fleet_sheds", "gauge", "", "Sheds by their verdict.", verdicts),
        Family("curewatch_fleet_refused", "gauge", "", "Sheds that are refused, by the reason.", refused),
        of(
            "curewatch_fleet_alerts",
            "",
            "Alerts that nobody has acknowledged.",
            {shed: float(one.line.ringing) for shed, one in by.items()},
        ),
        of(
            "curewatch_fleet_look_age_seconds",
            "seconds",
            "Since the last look.",
            {shed: one.age for shed, one in by.items()},
        ),
        of(
            "curewatch_fleet_reading_age_seconds",
            "seconds",
            "Since the last reading that was stored.",
            {shed: one.reading for shed, one in by.items()},
        ),
    )
