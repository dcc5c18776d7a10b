"""The demonstration's shed as a folder: configuration and logbook, as an evening in it left them.

Everything in it is invented. The evening goes through the very path of live bytes.
"""

from pathlib import Path

from msgspec.structs import replace

from curewatch import configuration
from curewatch.cli.commands.demo import demo_configuration, recording_file
from curewatch.cli.evening import layers
from curewatch.configuration import Configuration
from curewatch.daemon.edges.recording import open_recording
from curewatch.daemon.replay import Replay
from curewatch.logbook import Logbook
from curewatch.simulation.reports import reports
from curewatch.simulation.saltmarsh import evening
from curewatch.units import HOUR, MINUTE

SETTINGS = """# The demonstration's shed. INVENTED.
[shed]
name = "Saltmarsh Shed"
boat = "Kittiwake Nine"
zone = "Europe/Lisbon"
[resin]
name = "epoxy-fast"
also = ["epoxy-slow"]
lot = "DEMO-1"
[sensors.bench]
role = "air"
part = "humidity-2"
[sensors.hull]
role = "surface"
part = "probe"
[sensors.yard]
role = "outside"
part = "humidity-2"
[logbook]
path = "logbook.sqlite"
"""


def evening_until(moment: float, folder: Path) -> tuple[Configuration, Path]:
    """The recorded evening up to a moment of it, with what the people at the bench said."""
    found, part = demo_configuration(), folder / "part.txt"
    lines = recording_file().read_text(encoding="ascii").splitlines()
    stamped = [line for line in lines if line.startswith("cw1") and _at(line) <= moment]
    part.write_text("\n".join(stamped) + "\n", encoding="ascii")
    path = folder / "logbook.sqlite"
    with Logbook(path) as logbook:
        replay = Replay(
            found, open_recording(part), logbook, show=lambda event: None, advise_every=5 * MINUTE
        )
        replay.run(entries=[entry for entry in layers() if entry.at <= moment])
    return found, path


def _at(line: str) -> float:
    return float(line.partition(" at=")[2].partition(" ")[0])


def shed_in_use(folder: Path, now: float, hours: float = 4.0) -> Path:
    """A folder where the sensors have spoken until ``now``: its curewatch.toml."""
    recording = folder / "recordings" / "saltmarsh-evening.txt"
    recording.parent.mkdir(exist_ok=True)
    recording.write_bytes(recording_file().read_bytes())
    settings = folder / "curewatch.toml"
    settings.write_text(SETTINGS, encoding="utf-8")
    plan = replace(evening(), start=now - hours * HOUR)
    part = folder / "last-hours.txt"
    lines = [report.line for report in reports(plan, int(hours * 60) + 1)]
    part.write_bytes(b"\n".join(lines) + b"\n")
    found = configuration.load(settings)
    with Logbook(folder / "logbook.sqlite") as logbook:
        Replay(found, open_recording(part), logbook, show=lambda event: None, advise_every=2 * HOUR).run()
    part.unlink()
    return settings
