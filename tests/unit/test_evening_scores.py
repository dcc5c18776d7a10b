"""How evenings are counted: the scores and the table of chances, from answers whose outcome is known."""

import pytest

from tests.published.evenings import Evening, reliability, score


def evening(told: float, came: bool) -> Evening:
    return Evening("epoxy-slow", 0, told, told >= 0.8, came)


def test_the_scores_of_four_evenings() -> None:
    """By hand: two GOs, one false; two good evenings, one refused; 0.6 + 0.3 of 2.6 below the rule."""
    found = score([evening(0.9, True), evening(0.8, False), evening(0.6, True), evening(0.3, False)])
    assert (found.count, found.go) == (4, 2)
    assert found.false_go == pytest.approx(0.5)
    assert found.lost == pytest.approx(0.5)
    assert found.brier == pytest.approx((0.1**2 + 0.8**2 + 0.4**2 + 0.3**2) / 4)
    assert found.lost_by_the_rule == pytest.approx(0.9 / 2.6)
    assert found.false_by_the_rule == pytest.approx((0.1 + 0.2) / 2)


def test_exact_chances_lose_what_the_rule_loses() -> None:
    """Of each hundred evenings told 70 % seventy are good: what is lost is what the chances foresee."""
    found = [evening(chance / 10, n < 10 * chance) for chance in range(1, 10) for n in range(100)]
    made = score(found)
    assert made.lost == pytest.approx(made.lost_by_the_rule)
    assert made.false_go == pytest.approx(made.false_by_the_rule)
    for row in reliability(found):
        assert row.told == pytest.approx(row.came)


def test_the_table_has_its_spread() -> None:
    """A hundred told 50 %: a standard error of 0.05; the last tenth holds 100 %, too."""
    (row,) = reliability([evening(0.5, n % 2 == 0) for n in range(100)])
    assert (row.low, row.count, row.came) == (0.5, 100, 0.5)
    assert row.standard_error == pytest.approx(0.05)
    (last,) = reliability([evening(1.0, True)])
    assert last.low == 0.9
