"""``curewatch forecast``: feed a forecast of the air outside, or see the one that counts."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from curewatch.cli.options import ConfigOption, JsonOption, PlainOption, UnitsOption, settings
from curewatch.errors import UsageError, reason

if TYPE_CHECKING:
    from curewatch.model.air.forecast import Forecast

LARGEST = 4_000_000  # bytes of a file; three days by the minute take about 200 000


def app(
    file: Annotated[
        Path | None,
        typer.Argument(metavar="FILE", help="CSV, lines or SenML; - for standard input.", show_default=False),
    ] = None,
    *,
    config: ConfigOption = None,
    units: UnitsOption = None,
    plain: PlainOption = False,
    as_json: JsonOption = False,
) -> None:
    """Feed a forecast of the air outside (time, temperature, humidity); `tonight` and `windows` then use it.

    Older ones are kept: what they got wrong sets the newest right. Without FILE: the one that counts now.

    Example: curewatch forecast
    """
    from curewatch.answers.forecast import forecast_document
    from curewatch.cli import terminal
    from curewatch.cli.screens.forecast import lines
    from curewatch.clock import SystemClock
    from curewatch.configuration import logbook_path
    from curewatch.logbook import open_logbook
    from curewatch.shed import forecasts

    configuration, wording = settings(config, units)
    now = SystemClock().now().utc
    path = logbook_path(configuration)
    found: tuple[Forecast, ...] = ()
    if file is not None:
        fed = forecasts.from_bytes(_bytes(file), now, str(file), configuration.zone)
        with open_logbook(path) as logbook:
            logbook.write(forecasts.entry(fed, file.name))
            found = forecasts.kept(logbook, now)
    elif path.exists():
        with open_logbook(path, read_only=True) as logbook:
            found = forecasts.kept(logbook, now)
    document = forecast_document(found, now)
    if as_json:
        terminal.print_json(document)
    else:
        terminal.print_lines(lines(document, now, wording), plain=plain)


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
        raise UsageError(f"{file} is larger than {LARGEST // 1_000_000} MB; that is no forecast")
    return data
