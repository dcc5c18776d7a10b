"""Options that mean nothing without another, and those that mean nothing beside one.

An option that is passed over without a word looks like one that was heeded. Here is said which go together;
each of these is refused before its command begins. Only what was typed counts, not a default.
"""

from collections.abc import Callable, Mapping
from typing import Any

import click
from click.core import ParameterSource

from curewatch.errors import UsageError

# command -> option -> the others of which one must be there, too
NEEDS: Mapping[str, Mapping[str, tuple[str, ...]]] = {
    "alerts": {"--by": ("--acknowledge",)},
    "choose": {
        "--colour": ("--place",),
        "--shape": ("--length",),
        "--sides": ("--room", "--length"),
        "--width": ("--length",),
    },
    "cure": {
        "--carbon-dioxide": ("--humidity",),
        "--on": ("--thickness",),
        "--rest": ("--humidity",),
        "--shape": ("--mass",),
    },
    "heads": {"--roots": ("--check",)},
    "resin fit": {"--replace": ("--output",)},
    "resin show": {"--toml": ("--lot",)},
    "sensor check": {"--over": ("--beside",)},
    "simulate": {"--topic": ("--broker",)},
    "windows": {"--window": ("--calendar",)},
}
# command -> option -> the others that would have no effect beside it
BARS: Mapping[str, Mapping[str, tuple[str, ...]]] = {
    "layer": {
        "--close": (
            *("--part", "--batch", "--layers", "--cloth", "--orientation", "--cloth-lot", "--fibre-share"),
            *("--mass", "--resin", "--peroxide", "--lot", "--probe", "--probe-mass", "--on", "--moisture"),
            *("--job", "--force"),
        )
    },
    "logbook prepare": {"--show": ("FILE",)},
    "observe": {
        "--undo": ("--at", "--ago", "--layer", "--cup", "--mass", "--temperature", "--force"),
    },
    "page": {"--list": ("--kind", "--name", "--revoke"), "--revoke": ("--kind", "--name")},
    "resin fit": {"--template": ("SHEET.toml", "--output", "--replace", "--json")},
    "sensor check": {"--beside": ("--salt", "--salt-wet", "--probe-in", "--wait")},
    "setup": {"--example": ("--output", "--port", "--seconds")},
    "simulate": {"--evening": ("--seed",)},
}


def add_to(command: Any, full_name: str) -> None:
    """Let a command refuse what would have no effect."""
    if full_name in NEEDS or full_name in BARS:
        command.callback = _refusing(command.callback, full_name)


def _refusing(answer: Callable[..., Any], full_name: str) -> Callable[..., Any]:
    def answer_if_they_go_together(**given: Any) -> Any:
        _refuse(_typed(click.get_current_context()), full_name)
        return answer(**given)

    return answer_if_they_go_together


def _typed(context: click.Context) -> set[str]:
    """What was typed in this command: each option by its name, an argument by the word of the help."""
    return {
        each.opts[0] if each.param_type_name == "option" else str(each.metavar).strip("[]")
        for each in context.command.params
        if context.get_parameter_source(str(each.name)) is ParameterSource.COMMANDLINE
    }


def _refuse(typed: set[str], full_name: str) -> None:
    for option, others in NEEDS.get(full_name, {}).items():
        if option in typed and not typed.intersection(others):
            wanted = " or ".join(others)
            raise UsageError(f"{option}: found without {wanted}, so it has no effect. Give {wanted}, too")
    for option, others in BARS.get(full_name, {}).items():
        beside = next((each for each in others if each in typed), None)
        if option in typed and beside is not None:
            raise UsageError(f"{option}: found with {beside}, which has no effect then. Leave one out")
