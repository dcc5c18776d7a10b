"""``curewatch notify``: whether notices reach those who are to be told."""

import typer

from curewatch.cli.options import ConfigOption
from curewatch.cli.terminal import print_lines
from curewatch.cli.which_shed import all_sheds
from curewatch.errors import UsageError

app = typer.Typer(add_completion=False, help="Notices: try every receiver. What was sent: alerts --sent.")


@app.callback()
def group() -> None:
    """Notices: try every receiver. What was sent: alerts --sent."""


@app.command("test")
def try_all(*, config: ConfigOption = None) -> None:
    """Send a test notice to every receiver now, and say who took it.

    Example: curewatch notify test
    """
    from curewatch.notices.delivery import receivers, tell_all

    configuration = all_sheds(config)
    everybody, troubles = receivers(configuration)
    if not everybody and not troubles:
        raise UsageError("notices: found no receiver. Use [notices] addresses_file or command")
    text = f"{configuration.shed.name}: test notice. Alerts come here"
    for name, trouble in tell_all(everybody, text):
        if trouble:
            troubles[name] = trouble
        else:
            print_lines([f"{name}: took it"])
    if troubles:
        raise UsageError("; ".join(f"{name}: {trouble}" for name, trouble in troubles.items()))
