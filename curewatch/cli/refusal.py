"""What is said to a mistyped option or argument: what was seen, what is allowed, what to do next."""

from collections.abc import Mapping
from typing import Any

from typer._click.exceptions import BadParameter, MissingParameter, UsageError

# the validation library's kind of error -> what is allowed, with the limits it names
ALLOWED = {
    "float_parsing": "a number",
    "int_parsing": "a whole number",
    "int_from_float": "a whole number",
    "bool_parsing": "yes or no",
    "finite_number": "a finite number",
    "greater_than_equal": "{ge:g} or more",
    "greater_than": "more than {gt:g}",
    "less_than_equal": "{le:g} or less",
    "less_than": "less than {lt:g}",
}


def refusal(mistake: UsageError) -> str:
    """One message for one mistake at the keyboard."""
    said = _value(mistake) if isinstance(mistake, BadParameter) else ""
    said = said or mistake.format_message().rstrip(".")
    path = mistake.ctx.command_path if mistake.ctx else "curewatch"
    return f"{said}; see `{path} --help`"


def _value(mistake: BadParameter) -> str:
    """``--sides '3'; allowed: 2 or less``, where the validation tells what it saw."""
    found = _first_error(mistake.__cause__)
    if isinstance(mistake, MissingParameter) or mistake.param is None or found is None:
        return ""
    name = next((option for option in mistake.param.opts if option.startswith("--")), mistake.param.name)
    allowed = ALLOWED.get(str(found["type"]), "").format_map(found.get("ctx", {})) or found["msg"]
    return f"{name} {found['input']!r} does not do; allowed: {allowed}"


def _first_error(cause: BaseException | None) -> Mapping[str, Any] | None:
    errors = getattr(cause, "errors", None)
    return next(iter(errors()), None) if callable(errors) else None
