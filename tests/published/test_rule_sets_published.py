"""The workshop rule of a classification society, case by case."""

import numpy as np
import pytest

from curewatch.advice.judge.rule_sets import classed_workshop
from curewatch.advice.judge.rules import Conditions, RuleOutcome, Spans
from curewatch.units import DAY, HOUR, MINUTE, kelvin_from_celsius
from tests.published.published_rows import rows

WORK = 10 * DAY


@pytest.mark.parametrize("case", rows("workshop_rules"), ids=lambda case: case["case"])
def test_workshop_rule(case: dict[str, str]) -> None:
    """Each case lies on the side of the line that the rule's words put it on, for that rule alone."""
    lowest, swing = float(case["lowest_c"]), float(case["swing_k"])
    heated, cured = float(case["heated_before_h"]) * HOUR, float(case["cured_h"]) * HOUR
    time = np.arange(WORK - DAY, WORK + cured + MINUTE, MINUTE)
    wave = (1 - np.cos((time - WORK) / DAY * 2 * np.pi)) / 2
    air = kelvin_from_celsius(lowest + swing * wave)
    air[time < WORK - heated] = kelvin_from_celsius(17.0)
    damp = np.full(time.size, float(case["humidity_percent"]) / 100)
    ended = WORK + cured
    judged = classed_workshop(
        Conditions(time, air, damp, air, np.full(time.size, 4.0)),
        Spans(WORK, WORK, ended, ended, closed=True),
    )
    assert judged.outcome == case["verdict"]
    lasted, recorded = judged.rules[4], judged.rules[5]
    assert lasted.worst == (0.0 if lowest < 18.0 else pytest.approx(cured, abs=MINUTE))
    assert (recorded.outcome, recorded.worst, recorded.first) == (RuleOutcome.MET, 1.0, None)
    broken = [rule.rule for rule in judged.rules if rule.outcome is not RuleOutcome.MET]
    assert len(broken) == (case["verdict"] != "met") + (lowest < 18.0) * 2
