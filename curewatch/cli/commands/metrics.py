"""``curewatch metrics``: what is known now, for programs that collect numbers over time."""

import typer

from curewatch.cli.options import ConfigOption


def app(config: ConfigOption = None) -> None:
    """Sensors, dew point, margin, verdict, chance and counts as OpenMetrics text. Times are ages.

    Of several sheds each sample has the name of its own.

    Example: curewatch metrics
    """
    from curewatch.answers.gathering import open_metrics_of_sheds
    from curewatch.cli.which_shed import configured_sheds
    from curewatch.clock import SystemClock

    typer.echo(open_metrics_of_sheds(configured_sheds(config), SystemClock().now().utc), nl=False)
