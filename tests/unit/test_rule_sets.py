"""Rules over a record: a breach is named, and a gap is never a success."""

import numpy as np
import pytest
from msgspec.structs import replace

from curewatch.advice.judge.rule_sets import coating, datasheet, own
from curewatch.advice.judge.rules import Conditions, RuleOutcome, Spans
from curewatch.materials import load_resin
from curewatch.units import DAY, HOUR, MINUTE

SPANS = Spans(DAY, DAY + 4 * HOUR, DAY + 10 * HOUR, DAY + 20 * HOUR, closed=True)


def conditions(**changed: float) -> Conditions:
    time = np.arange(0.0, 3 * DAY, MINUTE)
    value = {
        "air_temperature": 289.15,
        "relative_humidity": 0.7,
        "surface_temperature": 288.15,
        "condensation_margin": 5.0,
        **changed,
    }
    return Conditions(time, *(np.full(time.size, each) for each in value.values()), 0.2, 0.02, 0.4)


def test_what_held_is_said_to_have_held():
    """Without a breach or a gap, with the nearest value named."""
    judged = coating(conditions(), SPANS)
    assert judged.outcome is RuleOutcome.MET
    assert [rule.worst for rule in judged.rules] == [5.0, 0.7]
    assert judged.rules[0].minutes == 10 * 60 + 1


def test_a_breach_has_its_first_and_its_worst_minute():
    """Two breaches: the first in time and the deepest are both told."""
    given = conditions()
    given.condensation_margin[1440 + 100 : 1440 + 110] = 2.5
    given.condensation_margin[1440 + 300] = 1.0
    (margin, _) = coating(given, SPANS).rules
    assert (margin.outcome, margin.outside) == (RuleOutcome.NOT_MET, 11)
    assert (margin.first, margin.worst, margin.worst_at) == (
        DAY + 100 * MINUTE,
        1.0,
        DAY + 300 * MINUTE,
    )


def test_a_gap_is_never_a_success():
    """One unknown minute leaves a rule that cannot be shown; a breach elsewhere still makes it not met."""
    given = conditions()
    given.condensation_margin[1440 + 5] = np.nan
    assert coating(given, SPANS).outcome is RuleOutcome.NOT_SHOWN
    given.condensation_margin[1440 + 6] = 0.0
    assert coating(given, SPANS).outcome is RuleOutcome.NOT_MET


def test_a_breach_outside_the_time_of_a_rule_is_none():
    """Before the first layup and after the last is tack-free the coating rule does not speak."""
    given = conditions()
    given.condensation_margin[: 1440 - 1] = 0.0
    given.condensation_margin[1440 + 10 * 60 + 1 :] = 0.0
    assert coating(given, SPANS).outcome is RuleOutcome.MET


def test_a_cure_that_was_not_finished_is_not_known():
    """Nothing was breached while it was recorded, but the record ended before the film was tack-free."""
    judged = coating(conditions(), replace(SPANS, uncured_until=float("inf")))
    assert judged.outcome is RuleOutcome.NOT_SHOWN
    assert all(rule.unfinished for rule in judged.rules)
    given = conditions()
    given.condensation_margin[1440 + 5] = 1.0
    assert coating(given, replace(SPANS, uncured_until=float("inf"))).outcome is RuleOutcome.NOT_MET


def test_minutes_within_the_sensors_error_are_counted_beside():
    """A margin of 3.2 K with an error of 0.4 K holds, and says that it is in doubt."""
    (margin, _) = coating(conditions(condensation_margin=3.2), SPANS).rules
    assert (margin.outcome, margin.in_doubt) == (RuleOutcome.MET, margin.minutes)


def test_without_any_reading_nothing_is_known():
    """No minute at all: it cannot be shown, and "not met" is not said either."""
    empty = Conditions(*(np.empty(0),) * 5)
    assert coating(empty, SPANS).outcome is not RuleOutcome.MET
    assert datasheet(empty, SPANS, load_resin("epoxy-slow")).outcome is not RuleOutcome.MET


def test_the_sheet_and_the_users_own_lines_are_judged_with_their_origin():
    """Too cold for the sheet, too damp for the user; each rule says whose line it is."""
    resin = load_resin("epoxy-slow")
    cold = conditions(air_temperature=resin.limits.lowest_temperature - 1)
    sheet = datasheet(cold, SPANS, resin)
    assert sheet.rules[0].outcome is RuleOutcome.NOT_MET
    assert sheet.rules[0].limit.tag
    (line,) = own(conditions(), SPANS, {"humidity_highest_percent": 65}).rules
    assert (line.outcome, line.limit.tag) == (RuleOutcome.NOT_MET, "user's own")
    assert line.limit.value == pytest.approx(0.65)
