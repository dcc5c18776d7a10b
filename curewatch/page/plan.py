"""What one server of the page shows, and to whom."""

from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple

from curewatch.configuration import Configuration, logbook_path
from curewatch.configuration.shape import PhonePageTable
from curewatch.page.tokens import tokens_path


class PagePlan(NamedTuple):
    """Of a daemon, or of a fleet."""

    table: PhonePageTable
    tokens: Path  # the codes that open it
    sheds: Mapping[str, Configuration]  # one alone has no name
    answers: str = "curewatch.page.answering"  # the module whose ``serve`` works out what is shown


def of_daemon(configuration: Configuration) -> PagePlan:
    """Its one shed, or all of them."""
    return PagePlan(configuration.page, tokens_path(logbook_path(configuration)), configuration.each)
