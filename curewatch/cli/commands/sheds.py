"""``curewatch sheds``: all sheds of this configuration in a line each, worst first."""

import typer

from curewatch.cli.options import ConfigOption, JsonOption, PlainOption, UnitsOption


def app(
    *,
    config: ConfigOption = None,
    units: UnitsOption = None,
    plain: PlainOption = False,
    as_json: JsonOption = False,
) -> None:
    """Every shed in a line, worst first: alerts, unknown, no-go, go; the reason and the next deadline.

    Exit status 0 all are go, 3 one is no-go, 4 one is unknown. One shed's board: curewatch watch --shed NAME.

    Example: curewatch sheds
    """
    from curewatch.advice.judge.answer import Verdict
    from curewatch.answers.gathering import gather_sheds
    from curewatch.cli.screens import sheds as screen
    from curewatch.cli.terminal import print_json, print_lines
    from curewatch.cli.which_shed import configured_sheds
    from curewatch.clock import SystemClock
    from curewatch.wording import wording

    sheds = configured_sheds(config)
    answer = gather_sheds(sheds, SystemClock().now().utc)
    if as_json:
        print_json(answer)
    else:
        first = next(iter(sheds.values()))
        words = wording(first.zone, units, configured=first.shed.units)
        print_lines(screen.lines(answer, words), plain=plain)
    raise typer.Exit(max(int(Verdict(line.verdict).exit_status) for line in answer.sheds))
