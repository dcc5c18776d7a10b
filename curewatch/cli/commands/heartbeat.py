"""``curewatch heartbeat``: the second listener, on another machine."""

from typing import TYPE_CHECKING, Annotated

import typer

from curewatch.cli.options import ConfigOption, UnitsOption

if TYPE_CHECKING:
    from curewatch.configuration import Configuration
    from curewatch.daemon.edges.heartbeat import HeartbeatEdge
    from curewatch.daemon.second_listener import Alarm, SecondListener
    from curewatch.wording import Wording

TURN = 1.0  # s
SHORTEST = 120.0  # two words of the daemon [s]
FIRST = 10.0  # until what the broker keeps has come [s]
AGAIN = 60.0  # before a notice that nobody took is tried again [s]


def app(
    *,
    after: Annotated[
        str, typer.Option("--after", metavar="SPAN", help="Ring after so long a silence.")
    ] = "10 min",
    once: Annotated[bool, typer.Option("--once", help="Say what the broker keeps, and end.")] = False,
    config: ConfigOption = None,
    units: UnitsOption = None,
) -> None:
    """Listen on another machine; ring when the daemon is silent while a layer cures.

    It needs [mqtt.NAME] with `publish` as the daemon has it. A notice goes to the receivers in [notices].
    With --once, exit status 0: the daemon published within the span. 4: it did not.

    Example: curewatch heartbeat --once
    """
    from curewatch.cli.terminal import print_lines
    from curewatch.cli.typed import span_from_text
    from curewatch.cli.which_shed import all_sheds
    from curewatch.daemon.second_listener import SecondListener
    from curewatch.errors import ExitStatus, UsageError
    from curewatch.wording import wording

    configuration = all_sheds(config)
    words = wording(configuration.zone, units, configured=configuration.shed.units)
    silence = span_from_text(after, "--after")
    if silence < SHORTEST:
        raise UsageError(f"--after: found {after!r}. Use 2 min or more: the daemon speaks each minute")
    if once and not configuration.mqtt:
        print_lines(["nothing is heard: found no broker. Use [mqtt.NAME] with the daemon's host and publish"])
        raise typer.Exit(int(ExitStatus.UNKNOWN))
    edge, listener = _edge(configuration), SecondListener(silence)
    try:
        if once:
            raise typer.Exit(_said_once(edge, listener, words))
        _listen(edge, listener, configuration, words)
    except KeyboardInterrupt:
        return
    finally:
        edge.close()


def _edge(configuration: "Configuration") -> "HeartbeatEdge":
    """The first broker of the configuration.

    Raises
    ------
    ConfigurationError
        It has none.
    """
    from curewatch.configuration.secrets import password
    from curewatch.daemon.edges.heartbeat import HeartbeatEdge
    from curewatch.errors import ConfigurationError

    for name, source in configuration.mqtt.items():
        return HeartbeatEdge(source, password(name, source))
    raise ConfigurationError("no broker", "[mqtt.NAME] with the daemon's host and publish", key="mqtt")


def _said_once(edge: "HeartbeatEdge", listener: "SecondListener", words: "Wording") -> int:
    from curewatch.cli.terminal import print_lines
    from curewatch.clock import SystemClock
    from curewatch.daemon.edges.heartbeat import hear_kept
    from curewatch.errors import ExitStatus

    clock = SystemClock()
    hear_kept(edge, listener, clock, FIRST)
    now = clock.now().utc
    if not listener.sheds:
        print_lines([f"nothing is heard: {edge.trouble or 'the broker keeps no state of a daemon'}"])
        return int(ExitStatus.UNKNOWN)
    print_lines(_known(listener, words, now))
    heard = all(now - each.heard < listener.after for each in listener.sheds.values())
    return int(ExitStatus.OK if heard else ExitStatus.UNKNOWN)


def _known(listener: "SecondListener", words: "Wording", now: float) -> list[str]:
    from curewatch.safe_text import safe_line
    from curewatch.wording import duration

    told = []
    for name, each in listener.sheds.items():
        age = f"{duration(now - each.heard)} ago"
        layers = "; ".join(each.layers) or "no layer in progress"
        told.append(safe_line(f"{f'{name}: ' if name else ''}last heard {age}; {layers}"))
    return told


def _listen(
    edge: "HeartbeatEdge", listener: "SecondListener", configuration: "Configuration", words: "Wording"
) -> None:
    """Until it is ended."""
    from curewatch.clock import SystemClock

    clock, trouble, try_at = SystemClock(), "", 0.0
    while True:
        for word in edge.turn(TURN):
            listener.take(word, clock.now().utc)
        if edge.trouble != trouble:
            trouble = edge.trouble
            print(words.stamp(clock.now().utc), trouble or "the broker answers", flush=True)
        listener.reached = not trouble
        if clock.now().monotonic < try_at:
            continue
        for alarm in listener.ring(clock.now().utc):
            if not _rung(alarm, configuration, words, clock.now().utc):
                listener.rings_again(alarm)
                try_at = clock.now().monotonic + AGAIN


def _rung(alarm: "Alarm", configuration: "Configuration", words: "Wording", now: float) -> bool:
    """Tell everybody; whether somebody was told, or there is only this terminal."""
    from curewatch.notices.delivery import receivers, tell_all
    from curewatch.safe_text import safe_line

    text = told(alarm, configuration.shed.name)
    print(f"\a{words.stamp(now)} ! {safe_line(text)}", flush=True)
    everybody, troubles = receivers(configuration)
    answers = dict(tell_all(everybody, text, urgent=True))
    for name, trouble in {**troubles, **answers}.items():
        print(words.stamp(now), f"{name}: {trouble or 'told'}", flush=True)
    return not (everybody or troubles) or any(not trouble for trouble in answers.values())


def told(alarm: "Alarm", shed: str) -> str:
    """The alarm on one line of a locked phone."""
    from curewatch.notices.lines import short_name
    from curewatch.safe_text import safe_line
    from curewatch.wording import duration

    first = safe_line(short_name(alarm.layers[0], 54))
    further = f" and {len(alarm.layers) - 1} more" if len(alarm.layers) > 1 else ""
    name = safe_line(short_name(alarm.shed or shed, 12))
    broker = "" if alarm.reached else ", no broker"
    return f"{first}{further} cures: no word of {name} for {duration(alarm.silent)}{broker}"
