"""Asking one question at a time: Enter takes what stands in brackets, ``s`` skips the step."""

from collections.abc import Callable, Sequence
from difflib import get_close_matches
from typing import NoReturn

from curewatch.errors import UsageError
from curewatch.safe_text import safe

TWO_PERIODS = 125.0  # s: boards usually report once a minute, and a port may open in the middle of a line

SKIP = "s"


class Skipped(Exception):  # noqa: N818 - what happened, not what went wrong
    """The person wants to do this step by hand."""


class Talk:
    """A conversation over ``ask`` (a prompt, an answer) and ``say`` (a line)."""

    def __init__(self, ask: Callable[[str], str], say: Callable[[str], None]) -> None:
        self._ask = ask
        self._say = say

    def say(self, text: str = "") -> None:
        """One line, as text whatever is in it."""
        self._say(safe(text))

    def ask(self, question: str, default: str = "") -> str:
        """An answer, or what stands in brackets.

        Raises
        ------
        Skipped
            The answer was ``s``.
        UsageError
            The input ended.
        """
        shown = f" [{safe(default)}]" if default else ""
        try:
            answer = self._ask(f"  {question}{shown}: ").strip()
        except EOFError:
            _left()
        if answer.lower() == SKIP:
            raise Skipped
        return answer or default

    def choose(self, question: str, choices: Sequence[str], default: str) -> str:
        """One of these; a number or the beginning of a name is enough."""
        while True:
            answer = self.ask(f"{question} ({', '.join(choices)})", default)
            found = _one_of(answer, choices)
            if found:
                return found
            near = get_close_matches(answer, choices, n=1)
            self.say(f"  {answer!r} is none of them{f'; did you mean {near[0]}?' if near else ''}")

    def number(self, question: str, default: float | None, low: float, high: float) -> float | None:
        """A number in a range, or nothing."""
        while True:
            answer = self.ask(question, "" if default is None else f"{default:g}")
            if not answer:
                return None
            try:
                value = float(answer.replace(",", "."))
            except ValueError:
                value = float("nan")
            if low <= value <= high:
                return value
            self.say(f"  {answer!r} is not a number from {low:g} to {high:g}")

    def agree(self, question: str, default: bool = True) -> bool:
        """Yes or no."""
        while True:
            answer = self.ask(f"{question} (y/n)", "y" if default else "n").lower()
            if answer in {"y", "yes", "n", "no"}:
                return answer[0] == "y"
            self.say("  y or n")


def _one_of(answer: str, choices: Sequence[str]) -> str | None:
    if answer in choices:
        return answer
    if answer.isdecimal() and 1 <= int(answer) <= len(choices):
        return choices[int(answer) - 1]
    beginning = [choice for choice in choices if answer and choice.startswith(answer.lower())]
    return beginning[0] if len(beginning) == 1 else None


def _left() -> NoReturn:
    raise UsageError("the input ended before the conversation did; nothing was written")
