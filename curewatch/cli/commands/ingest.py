"""``curewatch ingest``: the daemon without a board, for a service."""

from typing import Annotated

import typer

from curewatch.cli.options import ConfigOption


def app(
    *,
    config: ConfigOption = None,
    as_json: Annotated[bool, typer.Option("--json", help="Its journal as one JSON object a line.")] = False,
    readings: Annotated[bool, typer.Option("--readings", help="Tell of each reading, too.")] = False,
) -> None:
    """Take readings from serial ports and brokers into the logbook until told to stop.

    SIGTERM or Ctrl-C ends it cleanly; SIGHUP reads the configuration again. Exit status 78: it could
    not start, and trying again will not help until the message is heeded.

    Example: curewatch ingest --json
    """
    import sys

    from curewatch import configuration
    from curewatch.cli.screens import event_line
    from curewatch.ingest.daemon import Daemon
    from curewatch.ingest.edges.process import ServiceManager, signals
    from curewatch.ingest.events import Show

    def show(event: Show) -> None:
        print(event_line.as_json(event) if as_json else event_line.as_text(event), flush=True)

    with signals() as caught:
        daemon = Daemon(configuration.load(config), show=show, config_path=config, tell_readings=readings)
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
