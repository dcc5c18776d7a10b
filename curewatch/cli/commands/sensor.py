"""``curewatch sensor``: which sensors there are and how they are; a check of one over saturated salts."""

from pathlib import Path
from typing import Annotated, Any

import typer

from curewatch.cli.forms import at_terminal
from curewatch.cli.options import ConfigOption, JsonOption, UnitsOption, settings
from curewatch.cli.screens.sensor import Listed, sensor_lines
from curewatch.cli.sensor_desk import CheckSession, celsius, percent, tell
from curewatch.cli.terminal import print_json
from curewatch.cli.typed import span_from_text
from curewatch.clock import SystemClock, iso_utc
from curewatch.configuration import Configuration, Sensor, logbook_path
from curewatch.errors import UsageError
from curewatch.logbook import LogbookStore, open_logbook
from curewatch.materials.sensor_part import load_sensor_part
from curewatch.shed import corrections, judgement, recall
from curewatch.shed.health import Health, Track
from curewatch.units import MINUTE
from curewatch.wording import Wording, plain_wording

app = typer.Typer(help="Sensors: list them with their health; check one over saturated salts.")

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
    if not path.exists():
        found = [_unheard(name, configuration, now) for name in configuration.sensors]
    else:
        with open_logbook(path, read_only=True) as logbook:
            found = _listed(logbook, configuration, now)
    if json:
        print_json(
            {"now": iso_utc(now), "sensors": [_plain(each, plain_wording(words.zone), now) for each in found]}
        )
        return
    tell(sensor_lines(found, words, now), indent=13)


def _listed(logbook: LogbookStore, configuration: Configuration, now: float) -> list[Listed]:
    names = dict.fromkeys((*configuration.sensors, *logbook.sensors()))
    seen = {name: recall.look_up(logbook, name, now) for name in names}
    healths = judgement.judge(configuration, {name: each.track for name, each in seen.items()}, now)
    righted = corrections.current(logbook)
    checks = {
        str(entry.payload.get("sensor")): entry
        for entry in logbook.entries("sensor-check")
        if entry.payload.get("points")
    }
    found = []
    for name in names:
        check = checks.get(name)
        listed = _unheard(name, configuration, now, healths[name])
        found.append(
            listed._replace(
                last=seen[name].shown,
                correction=righted.get(name),
                checked=None if check is None else check.at,
                due=None if check is None else float(check.payload.get("due", 0.0)),
            )
        )
    return found


def _unheard(name: str, configuration: Configuration, now: float, health: Health | None = None) -> Listed:
    known = configuration.sensor(name)
    part = known.part if known else Sensor(role="air").part
    health = health or judgement.judge(configuration, {name: Track()}, now)[name]
    wet = load_sensor_part(part).relative_humidity_sd is not None
    return Listed(name, known.role if known else "", part, health, None, None, None, None, wet)


def _plain(each: Listed, words: Wording, now: float) -> dict[str, Any]:
    last = each.last
    return {
        "sensor": each.name,
        "role": each.role or None,
        "part": each.part,
        "state": each.health.state.value,
        "seen": words.say(each.health.seen, now),
        "time": None if last is None else iso_utc(last.time),
        "temperature_c": None if last is None else celsius(last.temperature),
        "humidity_percent": None if last is None else percent(last.relative_humidity),
        "battery_percent": None if last is None else percent(last.battery),
        "correction": None
        if each.correction is None
        else {"offset_percent": percent(each.correction.offset), "gain": each.correction.gain},
        "checked": None if each.checked is None else iso_utc(each.checked),
        "due": None if each.due is None else iso_utc(each.due),
    }


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
    configuration, words = settings(config, units)
    ask = None if json or salt or beside else at_terminal()
    clock = SystemClock()
    if not 0 <= wait <= LONGEST_WAIT:
        raise UsageError(f"--wait {wait:g}; allowed: 0 to {LONGEST_WAIT:g} minutes")
    with open_logbook(logbook_path(configuration)) as logbook:
        desk = CheckSession(logbook, configuration, words, clock, json=json, keep=keep, ask=ask)
        source = desk.source(recording)
        for name in (sensor, beside):
            if name is not None:
                desk.meant(name, live=source.live)
        if beside is not None:
            desk.beside(source, sensor, beside, span_from_text(over, "--over"))
            return
        desk.humid(sensor)
        chosen = desk.salt(sensor, salt, salt_wet)
        already = desk.already(probe_in)
        desk.check(source, sensor, chosen, already, wait * MINUTE)
