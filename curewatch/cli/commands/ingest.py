"""``curewatch ingest``: the daemon without a board, for a service."""

from typing import Annotated

import typer

from curewatch.cli.options import ConfigOption, UnitsOption


def app(
    *,
    config: ConfigOption = None,
    units: UnitsOption = None,
    json: Annotated[bool, typer.Option("--json", help="Its journal as one JSON object a line.")] = False,
    readings: Annotated[bool, typer.Option("--readings", help="Tell of each reading, too.")] = False,
    for_group: Annotated[
        str | None,
        typer.Option("--for-group", metavar="GROUP", help="Its members may tell the logbook, for a service."),
    ] = None,
) -> None:
    """Take readings from serial ports and brokers into the logbook until told to stop.

    SIGTERM or Ctrl-C ends it cleanly. A changed configuration is read again within 15 seconds; SIGHUP
    reads it at once. Exit status 78: it could not start, and trying again will not help until the
    message is heeded.

    Example: curewatch ingest --json
    """
    import sys
    from functools import cache
    from zoneinfo import ZoneInfo

    from curewatch.answers.document import as_json
    from curewatch.answers.event import event_document
    from curewatch.cli.screens.event_line import line
    from curewatch.cli.which_shed import all_sheds
    from curewatch.daemon.edges.process import ServiceManager, signals
    from curewatch.daemon.events import Show
    from curewatch.daemon.loop import Daemon
    from curewatch.wording import Wording, plain_wording, wording

    with signals() as caught:
        configuration = all_sheds(config)
        daemon: Daemon | None = None

        @cache
        def worded(zone: ZoneInfo, shown: str) -> Wording:
            return plain_wording(zone) if json else wording(zone, units, configured=shown)

        def show(event: Show) -> None:
            now = configuration if daemon is None else daemon.configuration
            words = worded(now.zone, now.shed.units)
            document = event_document(*event, words=words)
            print(as_json(document) if json else line(document, words), flush=True)

        daemon = Daemon(
            configuration, show=show, config_path=config, tell_readings=readings, for_group=for_group
        )
        daemon.signals = caught
        if not daemon.configuration.serial and not daemon.configuration.mqtt:
            print(
                "curewatch: no source in the configuration: nothing will come in; "
                "add [serial.NAME] or [mqtt.NAME], see `curewatch setup`",
                file=sys.stderr,
                flush=True,
            )
        status = daemon.run(ServiceManager())
    raise typer.Exit(int(status))
