"""The bands of a fit hold the truth as often as they say, where the truth has other kinetics than ours."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from curewatch.materials.maker_sheet import Statement
from curewatch.model.fit.sheet_fit import fit
from tests.other_kinetics import FORMS, drawn
from tests.other_sheets import BASE, SAID, coverage, doubted, exact, named, typed

Record = Callable[[str, str], None]
KINDS = [each.title for each in SAID]


def test_sheets_of_other_kinetics(record_property: Record) -> None:
    """Of each milestone, cold tack-free and sanding included, 82 to 97 of 100 bands of 9 in 10 hold.

    Bands half as wide do not: the control.
    """
    found = coverage(60)
    record_property("measured", ", ".join(f"{title} {share:.0%}" for title, share in found.held.items()))
    for title, share in found.held.items():
        assert 0.82 <= share <= 0.97, title
        assert found.by_half[title] < 0.82, title
    assert found.contradictory <= 0.03


def slipped(said: tuple[Statement, ...], title: str, factor: float) -> bool:
    """Whether a statement that is off by a factor is named, on a sheet that is otherwise exact."""
    typo = tuple(replace(each, time=each.time * (factor if each.title == title else 1.0)) for each in said)
    return named(fit(typed(typo), BASE), title)


@pytest.mark.parametrize("title", KINDS)
@pytest.mark.few(2)
def test_a_statement_half_as_long_as_it_should_be_is_named(title: str) -> None:
    """The unsafe slip, in each kind of statement."""
    assert slipped(exact(drawn(np.random.default_rng(11), FORMS[0])), title, 0.5)


@pytest.mark.long
@pytest.mark.parametrize("form", [0, 1, 2])
def test_a_slip_by_a_factor_of_two_is_named_in_each_kind_of_statement(form: int) -> None:
    """Twice and half as long: at least 11 of 12 slips a sheet are named; without one nothing is doubted."""
    said = exact(drawn(np.random.default_rng(11 + form), FORMS[form]))
    slips = [(title, factor) for title in KINDS for factor in (0.5, 2.0)]
    missed = [slip for slip in slips if not slipped(said, *slip)]
    assert len(missed) <= 1, missed
    found = fit(typed(said), BASE)
    assert not any(doubted(found, title) for title in KINDS)
