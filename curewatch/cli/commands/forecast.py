"""``curewatch forecast``: feed a forecast of the air outside, or see the one that counts."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from curewatch.cli.options import ConfigOption, JsonOption, PlainOption, UnitsOption, settings
from curewatch.errors import CurewatchError, ExitStatus, UsageError, reason

if TYPE_CHECKING:
    from curewatch.configuration import Configuration
    from curewatch.daemon.fetcher import Fetched
    from curewatch.model.air.forecast import Forecast

FETCH = "fetch"  # instead of a file; a file of that name is ./fetch
LARGEST = 4_000_000  # bytes of a file; three days by the minute take about 200 000


def app(
    file: Annotated[
        Path | None,
        typer.Argument(
            metavar="FILE|fetch",
            help="JSON of a weather service, CSV, lines or SenML; - for standard input. "
            "fetch: ask the service in [forecast] of the configuration.",
            show_default=False,
        ),
    ] = None,
    *,
    config: ConfigOption = None,
    units: UnitsOption = None,
    plain: PlainOption = False,
    as_json: JsonOption = False,
) -> None:
    """Feed a forecast of the air outside (time, temperature, humidity); `tonight` and `windows` then use it.

    Older ones are kept: what they were worth here decides how the newest counts. Without FILE: the newest.
    `fetch` sends your contact and the shed's place, to about a kilometre, to that service.

    Example: curewatch forecast
    """
    from curewatch.answers.forecast import forecast_document, service_part
    from curewatch.cli import terminal
    from curewatch.cli.screens.forecast import lines
    from curewatch.cli.telling import open_to_tell
    from curewatch.clock import SystemClock
    from curewatch.configuration import logbook_path
    from curewatch.daemon.fetcher import host, remembered
    from curewatch.logbook import open_logbook
    from curewatch.shed import forecasts

    configuration, wording = settings(config, units)
    now = SystemClock().now().utc
    path, service = logbook_path(configuration), configuration.forecast
    known, asked, fed = remembered(path), False, None
    if str(file) == FETCH:
        known, asked, fed = _fetched(configuration, path, now)
    elif file is not None:
        fed = forecasts.from_bytes(_bytes(file), now, str(file), configuration.zone)
        with open_to_tell(configuration, path) as logbook:
            logbook.write(forecasts.entry(fed.forecast, file.name))
    found: tuple[Forecast, ...] = ()
    if path.exists():
        with open_logbook(path, read_only=True) as logbook:
            found = forecasts.kept(logbook, now)
    part = service_part(service, host(service), known, asked=asked) if service.url else None
    document = forecast_document(found, now, fed, part)
    if as_json:
        terminal.print_json(document)
    else:
        terminal.print_lines(lines(document, now, wording), plain=plain)
    if asked and known.trouble:
        raise typer.Exit(int(ExitStatus.FAILURE))


def _fetched(configuration: "Configuration", path: Path, now: float) -> "Fetched":
    """What the service answered, asked in a child."""
    from curewatch.cli.telling import open_to_tell
    from curewatch.daemon.child import Child
    from curewatch.daemon.fetcher import Fetched, FetchRequest

    if not configuration.forecast.url:
        raise UsageError(
            "forecast fetch: found no url in [forecast] of the configuration. "
            "Use `curewatch setup`, or write url, latitude, longitude and contact there."
        )
    with open_to_tell(configuration, path):  # the child writes into it
        child = Child("curewatch.daemon.fetcher")
        child.ask(FetchRequest(configuration.forecast, path, configuration.shed.zone, now))
        came = child.wait()
    if not isinstance(came.said, Fetched):
        raise CurewatchError(f"forecast fetch: found no answer ({came.trouble}). Use it again later.")
    return came.said


def _bytes(file: Path) -> bytes:
    if str(file) == "-":
        data = sys.stdin.buffer.read(LARGEST + 1)
    else:
        try:
            with file.open("rb") as stream:
                data = stream.read(LARGEST + 1)
        except OSError as trouble:
            raise UsageError(f"{file}: {reason(trouble)}; give a file that can be read") from None
    if len(data) > LARGEST:
        raise UsageError(f"{file}: found more than {LARGEST // 1_000_000} MB. Use a forecast")
    return data
