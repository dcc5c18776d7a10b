"""``curewatch replay``: a recording through the same path as live bytes."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from curewatch.cli.options import ConfigOption, UnitsOption, settings

if TYPE_CHECKING:
    from curewatch.daemon.core import Core
    from curewatch.daemon.events import Show


def app(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="Lines of our form, SenML, or CSV.")],
    *,
    speed: Annotated[
        float,
        typer.Option("--speed", min=0.0, metavar="N", help="Times faster than life; 0: as fast as it goes."),
    ] = 0.0,
    config: ConfigOption = None,
    units: UnitsOption = None,
    json: Annotated[bool, typer.Option("--json", help="One JSON object a line, one line an event.")] = False,
    readings: Annotated[bool, typer.Option("--readings", help="Each reading is an event, too.")] = False,
    advice_every: Annotated[
        float | None,
        typer.Option(
            "--advice-every",
            min=1.0,
            metavar="MINUTES",
            help="Between full looks at the advice; else 15, or a 30th of a long recording.",
            show_default=False,
        ),
    ] = None,
    sensor: Annotated[
        str | None,
        typer.Option(
            "--sensor",
            metavar="NAME",
            help="Whose readings these are where a line names nobody; else the shed's one air sensor.",
            show_default=False,
        ),
    ] = None,
    logbook: Annotated[
        Path | None,
        typer.Option("--logbook", metavar="FILE", help="Keep what came of it here.", show_default=False),
    ] = None,
) -> None:
    """A recording through the same path as live bytes: rejections, sensor health, gaps, verdicts, alerts.

    The same recording with the same configuration gives the same lines, always.

    Example: curewatch replay recordings/saltmarsh-evening.txt --advice-every 60
    """
    from curewatch.answers.document import as_json
    from curewatch.answers.event import event_document
    from curewatch.cli.screens.event_line import line
    from curewatch.cli.telling import bringing_readings
    from curewatch.clock import SystemClock
    from curewatch.configuration import ROLES_BY_NAME
    from curewatch.daemon.edges.recording import open_recording
    from curewatch.daemon.replay import replay
    from curewatch.errors import UsageError
    from curewatch.wording import plain_wording

    def show(event: "Show") -> None:
        document = event_document(*event, words=plainly if json else words)
        said = as_json(document) if json else line(document, words)
        print(said, flush=speed > 0)

    configuration, words = settings(config, units)
    plainly = plain_wording(words.zone)
    if sensor is not None and not configuration.role_of(sensor):
        known = ", ".join(configuration.sensors or ROLES_BY_NAME)
        raise UsageError(f"--sensor: found {sensor!r}. Use {known}")
    recording = open_recording(file, configuration.zone)
    with bringing_readings(configuration, logbook):
        ran = replay(
            configuration,
            recording,
            show=show,
            clock=SystemClock(),
            speed=speed,
            advise_every=None if advice_every is None else advice_every * 60.0,
            tell_readings=readings,
            logbook_path=logbook,
            sensor=sensor,
        )
    show(_end(ran.core, recording.span.end))


def _end(core: "Core", at: float) -> "Show":
    """What came of it, counted."""
    from curewatch.daemon.events import Show
    from curewatch.wording import counted

    counts = {
        "stored": core.stored,
        "repeated": core.repeated,
        "rejected": core.rejections.total,
        "sensors": sorted(core.keeping.tracks),
    }
    text = (
        f"{counted(core.stored, 'reading')} of {counted(len(core.keeping.tracks), 'sensor')} stored, "
        f"{core.rejections.total} rejected, {core.repeated} repeated"
    )
    return Show("end", at, text, counts)
