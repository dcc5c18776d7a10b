"""``curewatch forecast``: feed a forecast of the air outside, or see the one that counts."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from curewatch.cli.options import ConfigOption, JsonOption, PlainOption, UnitsOption, settings
from curewatch.errors import UsageError, reason

if TYPE_CHECKING:
    from curewatch.model.air.forecast import Forecast
    from curewatch.wording import Wording

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
    from curewatch.cli import terminal
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
    if as_json:
        terminal.print_json(as_plain(found, now))
    else:
        terminal.print_lines(lines(found, now, wording), plain=plain)


def as_plain(found: "tuple[Forecast, ...]", now: float) -> dict[str, Any]:
    """The newest and how many there are, for ``--json``."""
    from curewatch.clock import iso_utc
    from curewatch.model.air.forecast import usable

    newest = found[-1] if found else None
    return {
        "kept": len(found),
        "used": newest is not None and usable(newest, now),
        "issued": None if newest is None else iso_utc(newest.issued),
        "from": None if newest is None else iso_utc(float(newest.time[0])),
        "until": None if newest is None else iso_utc(float(newest.time[-1])),
        "moments": 0 if newest is None else len(newest.time),
    }


def lines(found: "tuple[Forecast, ...]", now: float, wording: "Wording") -> list[str]:
    """What counts now, for a person."""
    from curewatch.model.air.forecast import FEWEST_EARLIER, usable

    if not found:
        return [
            "no forecast fed",
            "feed one: curewatch forecast FILE (columns time, temperature_c, humidity)",
        ]
    newest = found[-1]
    span = f"{wording.moment(float(newest.time[0]), now)} to {wording.moment(float(newest.time[-1]), now)}"
    low, high = (
        wording.temperature(float(edge)) for edge in (newest.temperature.min(), newest.temperature.max())
    )
    state = "in use" if usable(newest, now) else "run out: no longer used"
    earlier = len(found) - 1
    rest = "its error is assumed"
    if earlier >= FEWEST_EARLIER:
        rest = "set right by what they got wrong, as far as they have run their course"
    return [
        f"forecast of the air outside, {state}",
        f"  {span}, {len(newest.time)} moments, {low} to {high}",
        f"  fed {wording.moment(newest.issued, now)}; {earlier} earlier kept: {rest}",
    ]


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
