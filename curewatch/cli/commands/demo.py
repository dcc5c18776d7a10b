"""``curewatch demo``: an invented evening through the very path that live bytes take."""

import math
import tempfile
from functools import partial
from importlib.resources import as_file, files
from pathlib import Path
from typing import Annotated

import typer

import curewatch
from curewatch import configuration
from curewatch.answers.document import as_json
from curewatch.answers.event import event_document
from curewatch.cli.evening import Evening, layers
from curewatch.cli.options import PlainOption, UnitsOption
from curewatch.cli.terminal import is_plain
from curewatch.clock import SystemClock
from curewatch.configuration import Configuration
from curewatch.daemon.edges.recording import open_recording
from curewatch.daemon.events import Show
from curewatch.daemon.replay import Replay
from curewatch.errors import UsageError
from curewatch.logbook import open_logbook
from curewatch.wording import Wording, plain_wording, wording

RECORDING = "saltmarsh-evening.txt"
ADVISE_EVERY = 450.0  # s of the recording between two full looks at the advice


def app(
    *,
    seconds: Annotated[
        float, typer.Option("--seconds", min=0, max=600, help="How long it should take, on a terminal.")
    ] = 24.0,
    plain: PlainOption = False,
    units: UnitsOption = None,
    as_json: Annotated[
        bool, typer.Option("--json", help="One JSON object a line, one line an event, as `replay` has it.")
    ] = False,
) -> None:
    """An evening in an invented shed, from sensor lines to advice, in under a minute.

    The recording goes through the same path as live bytes: wire, plausibility, a logbook (in a
    temporary folder), model, advice, alerts. Nothing in it is prepared: it is computed as you watch.

    Example: curewatch demo
    """
    if math.isnan(seconds):
        raise UsageError("--seconds: found nan. Use 0 to 600")
    found = demo_configuration()
    bare = as_json or is_plain(plain)
    recording = open_recording(recording_file())
    evening = Evening(found, wording(found.zone, units), _unsaid if as_json else typer.echo, bare=bare)
    show = partial(_json_line, plain_wording(found.zone)) if as_json else evening.show
    evening.begin(recording.span)
    with (
        tempfile.TemporaryDirectory(prefix="curewatch-demo-") as folder,
        open_logbook(Path(folder) / "logbook.sqlite", passing=True) as logbook,
    ):
        replay = Replay(found, recording, logbook, show=show, advise_every=ADVISE_EVERY, tell_readings=True)
        pace = 0.0 if bare else seconds / (recording.span.end - recording.span.start)
        replay.run(wait=evening.pacing(SystemClock(), pace), entries=layers())
        evening.end(logbook)


def _json_line(words: Wording, event: Show) -> None:
    typer.echo(as_json(event_document(*event, words=words)))


def _unsaid(line: str) -> None:
    """What is told to people only; a program has it in the events."""


def demo_configuration() -> Configuration:
    """The invented shed."""
    text = files("curewatch.cli").joinpath("demo.toml").read_text(encoding="utf-8")
    return configuration.parse(text)


def recording_file() -> Path:
    """The recording: packed into the wheel, or beside the package in its repository."""
    packed = files("curewatch").joinpath("recordings", RECORDING)
    with as_file(packed) as file:
        if file.exists():
            return file
    return Path(curewatch.__file__).parents[1] / "recordings" / RECORDING
