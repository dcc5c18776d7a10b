"""A trial says what the real assessment says."""

import pytest

from curewatch.advice.judge import limits
from curewatch.advice.judge.course import AHEAD
from curewatch.advice.judge.question import Question, ask
from curewatch.advice.judge.situation import Place, Surfaced
from curewatch.advice.judge.verdict import Verdict
from curewatch.advice.remedy import trials
from curewatch.advice.remedy.trials import Variant
from curewatch.materials import load_resin
from curewatch.materials.substrate import load_substrate
from curewatch.model.air import shed, warming
from curewatch.model.air.outlook import Outlook
from curewatch.physics import moist_air
from curewatch.shed.look import coming_hours
from curewatch.units import HOUR

NOW = 1_795_000_000.0
WOOD = load_substrate("plywood")


def situation(celsius: float, humidity: float) -> Surfaced:
    kelvin = celsius + 273.15
    pressure = float(moist_air.vapour_pressure(kelvin, humidity))
    return Surfaced(
        NOW,
        air=Place("bench", "air", NOW - 40, kelvin, 0.3, humidity, 0.02, pressure, 20.0),
        surface=Place("hull", "surface", NOW - 40, kelvin - 0.4, 0.3),
    )


@pytest.mark.parametrize("name", ["epoxy-slow", "polyester-laminating", "epoxy-fast"])
@pytest.mark.few(1)
def test_a_stack_of_variants_is_judged_as_each_would_be_alone(name: str) -> None:
    """Likelihood and go, for warmed sheds and later starts, within one path of 256."""
    resin = load_resin(name)
    asked = Question(resin, limits.for_resin(resin), WOOD)
    known = situation(11.0, 0.70)
    outlook = coming_hours(known, WOOD)
    assert isinstance(outlook, Outlook)
    variants = [
        Variant(
            warming.warmed(outlook, shed.assumed(), celsius + 273.15, NOW, NOW + 1e5, substrate=WOOD).outlook,
            NOW + later,
        )
        for celsius in (12.0, 15.0, 20.0)
        for later in (3600.0, 5 * 3600.0)
    ]
    for variant, trial in zip(variants, trials.judge(asked, known, variants), strict=True):
        alone = ask(asked, known, variant.outlook, variant.start)
        assert trial.probability == pytest.approx(alone.probability, abs=1.5 / 256)
        if abs(trial.probability - 0.8) > 1.5 / 256:
            assert trial.go == (alone.verdict is Verdict.GO)


@pytest.mark.long
def test_every_fourth_path_gives_nearly_the_same_answer() -> None:
    """A quarter of the paths are spread as evenly: within a few per cent."""
    resin = load_resin("epoxy-slow")
    asked = Question(resin, limits.for_resin(resin), WOOD)
    known = situation(14.0, 0.60)
    outlook = coming_hours(known, WOOD)
    assert outlook is not None
    variants = [Variant(outlook, NOW + hours * 3600.0) for hours in range(0, 12, 2)]
    fewer_asked, fewer = trials.thinned(asked, outlook, 4)
    assert fewer.air_temperature.shape[0] == 64
    full = trials.judge(asked, known, variants)
    quarter = trials.judge(fewer_asked, known, [Variant(fewer, one.start) for one in variants])
    for one, other in zip(full, quarter, strict=True):
        assert one.probability == pytest.approx(other.probability, abs=0.12)


@pytest.mark.parametrize("later", [0.0, 1234.0, 7200.0])
def test_hours_after_a_layer_is_followed_change_no_trial(later: float) -> None:
    """Warmed, the paths are cut where the last start is followed to; each trial stays as it is."""
    resin = load_resin("epoxy-slow")
    asked, known = Question(resin, limits.for_resin(resin), WOOD), situation(11.0, 0.70)
    outlook = coming_hours(known, WOOD)
    assert outlook is not None
    short = trials.shortened(outlook, NOW + later + AHEAD)
    assert short.time.size < outlook.time.size - 80

    def warmed(paths: Outlook) -> Variant:
        until, shelter = NOW + later + 36 * HOUR, shed.assumed()
        held = warming.warmed(paths, shelter, 286.15, NOW, until, substrate=WOOD)
        return Variant(held.outlook, NOW + later)

    assert trials.judge(asked, known, [warmed(short)]) == trials.judge(asked, known, [warmed(outlook)])
    assert trials.shortened(short, NOW + later + AHEAD) is short


def test_no_variants_need_no_work() -> None:
    """An empty list is an empty answer."""
    resin = load_resin("epoxy-slow")
    asked = Question(resin, limits.for_resin(resin), WOOD)
    assert trials.judge(asked, situation(14.0, 0.6), []) == []
