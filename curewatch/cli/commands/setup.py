"""``curewatch setup``: a short conversation that ends with a configuration and a first answer."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from curewatch import configuration
from curewatch.cli.asking import ask, enter_pressed
from curewatch.cli.options import UnitsOption
from curewatch.cli.setup.talk import TWO_PERIODS, Skipped, Talk
from curewatch.clock import Clock, SystemClock
from curewatch.configuration import Configuration
from curewatch.errors import UsageError, reason
from curewatch.wording import wording

if TYPE_CHECKING:  # the example needs no conversation
    from curewatch.cli.setup.answers import Answers


def app(
    *,
    output: Annotated[
        Path, typer.Option("--output", metavar="FILE", help="Where to write; never over a file unasked.")
    ] = Path("curewatch.toml"),
    port: Annotated[
        list[str] | None,
        typer.Option("--port", metavar="ADDRESS", help="Look at this serial port or address only."),
    ] = None,
    seconds: Annotated[
        float, typer.Option("--seconds", min=1, max=600, help="How long to listen to each source.")
    ] = TWO_PERIODS,
    example: Annotated[
        bool, typer.Option("--example", help="Print the commented example and ask nothing.")
    ] = False,
    units: UnitsOption = None,
) -> None:
    """Look for sensors, name them, choose substrate and resin, write curewatch.toml: a short conversation.

    Every step can be skipped and done by hand later. Ends with a first answer for tonight. The
    units of --units are written down, too, and then hold for every command.

    Example: curewatch setup --example
    """
    if example:
        typer.echo(configuration.example(), nl=False)
        return
    if not sys.stdin.isatty():
        raise UsageError(
            "setup asks questions and needs a terminal; by hand: curewatch setup --example > curewatch.toml"
        )
    from curewatch.cli.setup.answers import Answers, as_toml
    from curewatch.cli.setup.steps import SetupSession, machine_zone, walk

    talk = Talk(ask, typer.echo)
    answers = Answers(zone=machine_zone(), units=units or "")
    from zoneinfo import ZoneInfo

    words = wording(ZoneInfo(answers.zone), units)
    clock = SystemClock()
    walk(
        SetupSession(
            talk, clock, answers, words, seconds, [], tuple(port or ()), output.parent, enter_pressed
        )
    )
    if not _knows_the_air(answers, talk):
        talk.say("nothing was written")
        return
    written = write(as_toml(answers), output, talk)
    if written:
        _first_answer(written, talk, clock)


def _knows_the_air(answers: "Answers", talk: Talk) -> bool:
    """Whether a file is wanted: without a sensor of the air every answer is unknown, and that is asked."""
    if any(sensor.role == "air" for sensor in answers.sensors):
        return True
    talk.say("\nNo sensor of the air was named. Without one every answer is unknown.")
    try:
        return talk.agree("write a file all the same", default=False)
    except Skipped:
        return False


def write(text: str, file: Path, talk: Talk) -> Path | None:
    """Write the file, or another name, or nothing; never over a file without a yes."""
    talk.say("\nThe configuration:\n")
    for line in text.splitlines():
        talk.say(f"    {line}")
    talk.say()
    try:
        file = Path(talk.ask("write it to (s: write nothing)", str(file))).expanduser()
        while file.exists() and not talk.agree(f"{file} exists; write over it", default=False):
            file = Path(talk.ask("write it to (s: write nothing)", f"{file.stem}-new.toml")).expanduser()
    except Skipped:
        talk.say("nothing was written")
        return None
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(text, encoding="utf-8")
    except OSError as trouble:
        raise UsageError(
            f"{file} cannot be written: {reason(trouble)}; give another with --output"
        ) from trouble
    talk.say(f"written: {file}")
    return file


def _first_answer(file: Path, talk: Talk, clock: Clock) -> None:
    """Hear each sensor once through the daemon's own path, then answer for tonight."""
    from curewatch.cli.main import run

    found = configuration.load(file)
    if found.sensors and (found.serial or found.mqtt):
        _hear_once(found, file, talk, clock)
    named = "" if file == Path("curewatch.toml") else f" --config {file}"
    talk.say(f"\nfrom now on: curewatch watch{named}     a first answer:\n")
    run(["tonight", "--config", str(file)])


def _hear_once(found: Configuration, file: Path, talk: Talk, clock: Clock) -> None:
    """Run the daemon until every sensor was heard, for two periods at most."""
    from curewatch.daemon.companion import companion
    from curewatch.logbook import open_logbook

    talk.say("\nhearing each sensor once ...")
    end = clock.now().monotonic + TWO_PERIODS
    told: set[str] = set()
    with companion(found, config_path=file) as beside, open_logbook(beside.path) as logbook:
        while clock.now().monotonic < end and beside.failure is None:
            missing = found.sensors.keys() - logbook.sensors().keys()
            for name in sorted(found.sensors.keys() - missing - told):
                talk.say(f"  stored: {name}")
                told.add(name)
            if not missing:
                talk.say("all of them report and are stored")
                return
            clock.sleep(0.25)
    why = str(beside.failure or f"within {TWO_PERIODS:.0f} s")
    talk.say(f"no report yet: {', '.join(sorted(missing))} ({why}); later: curewatch doctor")
