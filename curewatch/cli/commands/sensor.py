"""``curewatch sensor``: which sensors there are and how they are; a check of one over saturated salts."""

from pathlib import Path
from typing import Annotated

import typer

from curewatch.answers.sensor import (
    ListedSensorDocument,
    listed_sensor_part,
    sensor_list_document,
    sensor_state_part,
)
from curewatch.cli.forms import at_terminal
from curewatch.cli.options import ConfigOption, JsonOption, UnitsOption, settings
from curewatch.cli.screens.sensor import sensor_lines
from curewatch.cli.telling import open_to_tell
from curewatch.cli.terminal import print_json, say_paragraphs
from curewatch.cli.typed import span_from_text
from curewatch.clock import SystemClock
from curewatch.configuration import Configuration, Sensor, logbook_path
from curewatch.errors import UsageError
from curewatch.logbook import LogbookStore, open_logbook
from curewatch.materials.sensor_part import SensorPart, load_sensor_part
from curewatch.shed import corrections, judgement
from curewatch.shed.health import Track
from curewatch.units import MINUTE
from curewatch.wording import Wording, plain_wording

app = typer.Typer(
    add_completion=False, help="Sensors: list them with their health; check one over saturated salts."
)

LONGEST_WAIT = 240.0  # min


# ---- list


@app.command("list")
def list_sensors(*, config: ConfigOption = None, units: UnitsOption = None, json: JsonOption = False) -> None:
    """Every sensor: what it said last, its health, and when its next check is due.

    Example: curewatch sensor list
    """
    configuration, words = settings(config, units)
    now = SystemClock().now().utc
    path = logbook_path(configuration)
    said = plain_wording(words.zone) if json else words
    if not path.exists():
        found = [_unheard(name, configuration, now, said) for name in configuration.sensors]
    else:
        with open_logbook(path, read_only=True) as logbook:
            found = _listed(logbook, configuration, now, said)
    document = sensor_list_document(found, now)
    if json:
        print_json(document)
        return
    say_paragraphs(sensor_lines(document, words), indent=13)


def _listed(
    logbook: LogbookStore, configuration: Configuration, now: float, words: Wording
) -> list[ListedSensorDocument]:
    names = dict.fromkeys((*configuration.sensors, *logbook.sensors()))
    righted = corrections.current(logbook)
    checks = {
        str(entry.payload.get("sensor")): entry
        for entry in logbook.entries("sensor-check")
        if entry.payload.get("points")
    }
    found = []
    for name, (heard, health) in judgement.judged(
        logbook, configuration, names, now, without_model=True
    ).items():
        check, last = checks.get(name), heard.shown
        role, part = _configured(name, configuration)
        found.append(
            listed_sensor_part(
                sensor_state_part(role, health, last, now, words),
                part,
                None if last is None else last.battery,
                correction=righted.get(name),
                checked=None if check is None else check.at,
                due=None if check is None else float(check.payload.get("due", 0.0)),
            )
        )
    return found


def _unheard(name: str, configuration: Configuration, now: float, words: Wording) -> ListedSensorDocument:
    role, part = _configured(name, configuration)
    health = judgement.judge(configuration, {name: Track()}, now)[name]
    return listed_sensor_part(sensor_state_part(role, health, None, now, words), part, None)


def _configured(name: str, configuration: Configuration) -> tuple[str, SensorPart]:
    """Role and class of a sensor; one that is not configured has no role."""
    known = configuration.sensor(name)
    part = load_sensor_part(known.part if known else Sensor(role="air").part)
    return known.role if known else "", part


# ---- check


@app.command("check")
def check(
    sensor: Annotated[str, typer.Argument(help="The sensor's name.")],
    *,
    salt: Annotated[str | None, typer.Option("--salt", help="NaCl, MgCl2, KCl or K2SO4.")] = None,
    salt_wet: Annotated[
        str | None,
        typer.Option("--salt-wet", metavar="SPAN", help="The salt was made wet so long ago: 24 h."),
    ] = None,
    probe_in: Annotated[
        str | None, typer.Option("--probe-in", metavar="SPAN", help="In the jar for so long already: 30 min.")
    ] = None,
    wait: Annotated[float, typer.Option("--wait", metavar="MINUTES", help="For a steady reading.")] = 60.0,
    recording: Annotated[
        Path | None, typer.Option("--recording", metavar="FILE", help="Of the jar, instead of the logbook.")
    ] = None,
    beside: Annotated[
        str | None, typer.Option("--beside", metavar="SENSOR", help="Compare with one that lies beside it.")
    ] = None,
    over: Annotated[str, typer.Option("--over", metavar="SPAN", help="Compare the last so much.")] = "1 h",
    keep: Annotated[
        bool | None, typer.Option("--keep/--drop", help="Write it into the logbook, or only show it.")
    ] = None,
    config: ConfigOption = None,
    units: UnitsOption = None,
    json: JsonOption = False,
) -> None:
    """Check a humidity sensor over one saturated salt, then another: two points make a correction.

    On a terminal each step is asked; in a script each is an option. The correction is applied to what
    arrives from then on, and stands in the logbook. With --beside two sensors are compared.

    Example: curewatch sensor check bench --beside yard --recording recordings/saltmarsh-evening.txt
    """
    from curewatch.cli.sensor_desk import CheckSession

    configuration, words = settings(config, units)
    ask = None if json or salt or beside else at_terminal()
    clock = SystemClock()
    if not 0 <= wait <= LONGEST_WAIT:
        raise UsageError(f"--wait: found {wait:g}. Use 0 to {LONGEST_WAIT:g} minutes")
    with open_to_tell(configuration, logbook_path(configuration)) as logbook:
        desk = CheckSession(logbook, configuration, words, clock, json=json, keep=keep, ask=ask)
        source = desk.source(recording)
        for name in (sensor, beside):
            if name is not None:
                desk.meant(name, live=source.live)
        if beside is not None:
            if beside == sensor:
                raise UsageError(
                    f"--beside: found {beside!r}, the sensor itself. Use another that lies beside it"
                )
            desk.beside(source, sensor, beside, span_from_text(over, "--over"))
            return
        desk.humid(sensor)
        chosen = desk.salt(sensor, salt, salt_wet)
        already = desk.already(probe_in)
        desk.check(source, sensor, chosen, already, wait * MINUTE)
