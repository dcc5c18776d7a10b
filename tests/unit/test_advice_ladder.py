"""A climb finds the rung that judging every rung finds, and follows few of them."""

from collections.abc import Iterator

import numpy as np
import pytest
from msgspec.structs import replace

from curewatch.advice.judge import limits
from curewatch.advice.judge.question import Question
from curewatch.advice.judge.situation import Surfaced
from curewatch.advice.remedy import ladder, trials
from curewatch.advice.remedy.ladder import Ladder, climb
from curewatch.advice.remedy.parameters import Means, Parameter, parameters
from curewatch.advice.remedy.trials import Sought, TriedVariant, Variant
from curewatch.materials import load_resin
from curewatch.materials.substrate import load_substrate
from curewatch.model.air import shed
from curewatch.model.air.outlook import Outlook
from curewatch.shed.look import coming_hours
from curewatch.units import HOUR
from tests.unit.test_advice_levers import NOW, situation

NAMES = ("epoxy-slow", "epoxy-fast", "polyester-laminating", "vinyl-ester")


def rungs(outlook: Outlook, one: Parameter) -> list[Variant]:
    """Amounts that rise; the middle one held for longer and longer."""
    middle = float(one.values[one.values.size // 2])
    amounts = [(value, 36 * HOUR) for value in one.values.tolist()]
    hours = [(middle, held * HOUR) for held in (2.0, 6.0, 12.0, 30.0)]
    return [
        Variant(one.change(outlook, value, one.start + until), one.start)
        for value, until in (amounts if one.group == 0 else hours)
    ]


@pytest.mark.few(1)
@pytest.mark.parametrize("seed", range(24))
def test_a_climb_finds_what_judging_every_rung_finds(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Warmth, dryness, a warm surface, and hours of them, in sheds between cold and mild, dry and wet."""
    random = np.random.default_rng(seed)
    resin, below = load_resin(NAMES[seed % 4]), load_substrate(["plywood", "timber", "foam"][seed % 3])
    whole = Question(resin, limits.for_resin(resin), below)
    known = situation(random.uniform(3.0, 20.0), random.uniform(0.5, 0.95), random.uniform(0.0, 2.0))
    outlook = coming_hours(known, below)
    assert outlook is not None
    asked, few = trials.thinned(whole, outlook, 4)
    turned = parameters(asked, known, few, NOW + HOUR * random.integers(0, 3), Means(shed.assumed()))
    every = [rungs(few, replace(one, group=group)) for one in turned for group in (0, 1)]
    followed, real = list[int](), trials.followed

    def counted(question: Question, situation: Surfaced, sought: list[Sought]) -> Iterator[TriedVariant]:
        followed.append(len(sought))
        return real(question, situation, sought)

    monkeypatch.setattr(ladder, "followed", counted)
    found = climb(asked, known, [Ladder(each.__getitem__, len(each), {}) for each in every])
    for step, variants in zip(found, every, strict=True):
        judged = trials.judge(asked, known, variants)
        wanted = next((place for place, trial in enumerate(judged) if trial.go), None)
        assert (step and step.place) == wanted
        if step is not None:
            assert step.trial == judged[step.place]
    assert sum(followed) < 0.75 * sum(map(len, every))
    assert len(followed) <= 1 + np.ceil(np.log2(max(map(len, every))))  # turns: each takes twice as many
