"""What is said to a mistyped option or argument: what was seen, what is allowed, what to do next."""

from typing import Any

from click.exceptions import BadParameter, MissingParameter, UsageError
from click.types import FloatParamType, IntParamType


def refusal(mistake: UsageError) -> str:
    """One message for one mistake at the keyboard."""
    said = _value(mistake) if isinstance(mistake, BadParameter) else ""
    said = said or mistake.format_message().rstrip(".")
    path = mistake.ctx.command_path if mistake.ctx else "curewatch"
    return f"{said}; see `{path} --help`"


def _value(mistake: BadParameter) -> str:
    """``--sides: found '3'. Use 2 or less``, where the option wants a number."""
    parameter = mistake.param
    if isinstance(mistake, MissingParameter) or parameter is None:
        return ""
    allowed = _allowed(parameter.type)
    name = next((option for option in parameter.opts if option.startswith("--")), parameter.name)
    found = mistake.message.partition(" is not ")[0].strip("'")
    return f"{name}: found {found!r}. Use {allowed}" if allowed else ""


def _allowed(wanted: Any) -> str:
    """The numbers that this type takes; "" if it takes none."""
    wanted = getattr(wanted, "inner", wanted)
    if not isinstance(wanted, IntParamType | FloatParamType):
        return ""
    low, high = getattr(wanted, "min", None), getattr(wanted, "max", None)
    if low is not None and high is not None:
        return f"{low:g} to {high:g}"
    if low is not None:
        return f"{low:g} or more"
    if high is not None:
        return f"{high:g} or less"
    return "a whole number" if isinstance(wanted, IntParamType) else "a number"
