"""The bands of a fit hold the truth as often as they say, where the truth has other kinetics than ours."""

from collections.abc import Callable

import numpy as np
import pytest
from msgspec.structs import replace

from curewatch.materials.maker_sheet import Statement
from curewatch.model.fit.sheet_fit import fit
from tests.other_kinetics import FORMS, drawn
from tests.other_sheets import (
    BASE,
    UNSAFE,
    counted,
    coverage,
    doubted,
    exact,
    slips,
    typed,
    without_doubts,
)

Record = Callable[[str, str], None]


@pytest.mark.first
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
    return doubted(fit(typed(typo), BASE), title)


@pytest.mark.parametrize(("title", "factor"), UNSAFE.items(), ids=UNSAFE)
@pytest.mark.few(2)
def test_the_unsafe_slip_is_named_in_each_kind_of_statement(title: str, factor: float) -> None:
    """Twice as long a pot or window, half as long a wait."""
    assert slipped(exact(drawn(np.random.default_rng(11), FORMS[0])), title, factor)


@pytest.mark.long
def test_a_slip_by_a_factor_of_two_is_named_in_each_kind_of_statement() -> None:
    """Half and twice as long, of a resin of each form: 41 of 42, and the unsafe ones all."""
    found = counted(slips(3, 11))
    assert found.total == 42
    assert found.missed <= 1
    assert found.unsafe_missed == 0
    assert found.doubted_without == 0  # the control: sheets without a slip


@pytest.mark.long
def test_without_limits_no_slip_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    """The control: it is the doubts that name them."""
    without_doubts(monkeypatch.setattr)
    assert counted(slips(1, 11)).missed == 14
