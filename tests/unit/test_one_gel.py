"""Every answer about one layer tells one time for each mark: no screen holds two gel times."""

import itertools
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, NamedTuple

import msgspec
import pytest
from msgspec.structs import replace

from curewatch.advice.alert.recoat import UNSURE
from curewatch.advice.judge.question import Question
from curewatch.advice.plan.amounts import Repair
from curewatch.advice.plan.geometry import RepairShape, outline
from curewatch.advice.plan.layup import Hands, plan
from curewatch.advice.plan.windows import Span, strip
from curewatch.answers.gathering import gather
from curewatch.answers.layer import layer_document
from curewatch.answers.tonight import tonight_document
from curewatch.jobs import Layer, layer_as_plain, layer_from_plain
from curewatch.logbook import Entry, Logbook, LogbookStore
from curewatch.materials import load_resin
from curewatch.materials.cloth import load_cloth
from curewatch.materials.substrate import load_substrate
from curewatch.model.film.film import constant
from curewatch.model.film.lots import Lot
from curewatch.model.film.outcome import outcome
from curewatch.record import laid
from curewatch.record.layer_history import follow
from curewatch.record.measured import Post, measure, part_of
from curewatch.shed.consult import warm_below
from curewatch.shed.look import Look
from curewatch.units import DAY, HOUR, MINUTE
from curewatch.wording import plain_wording
from curewatch.worklog import laying
from tests.unit.test_look import configured, readings

NOW = 1_794_999_600.0  # UTC, a quarter of an hour: the first start of the coming windows [s]
LATER, REACHED = NOW + 30 * MINUTE, NOW + 2 * HOUR
WARM = Layer("L1", NOW - 20 * MINUTE, "epoxy-fast", thickness=4e-3, part="stern")
LAID = Layer("L2", NOW, "epoxy-slow", thickness=2.4e-3, part="stern")
APART = 0.05  # of the time since laying: outlooks of two moments, sixteen lots and the record's one
Told = dict[str, dict[str, float]]  # answer -> mark -> when it is likely, UTC [s]


def marks(timeline: Any) -> dict[str, float]:
    """When each moment is likely, of an answer or of its document. UTC [s]"""
    likely = ((each.name, each.likely) for each in timeline)
    return {
        name: datetime.fromisoformat(when).timestamp() if isinstance(when, str) else float(when)
        for name, when in likely
        if when is not None
    }


def apart(told: Told, start: float) -> list[str]:
    """Marks of which two answers tell two times."""
    return [
        f"{mark}: {one} {(told[one][mark] - start) / 60:.0f}, {two} {(told[two][mark] - start) / 60:.0f} min"
        for one, two in itertools.combinations(told, 2)
        for mark in sorted(told[one].keys() & told[two].keys())
        if abs(told[one][mark] - told[two][mark]) > APART * max(told[one][mark] - start, 20 * MINUTE)
    ]


def before_it_is_laid(look: Look, question: Question) -> Told:
    """What is told of the layer that may be laid now."""
    foreseen = look.foreseen(question)
    assert foreseen is not None
    starts = strip(question, *foreseen, (), ahead=HOUR).starts
    advice = look.advise(question)
    return {
        "tonight": marks(advice.timeline),
        "its document": marks(tonight_document(advice, plain_wording(UTC), ()).timeline),
        "windows": {"laminate-from": starts.laminate_from[0], "tack-free": starts.set[0]},
    }


def once_it_is_laid(logbook: LogbookStore, look: Look, layers: tuple[Layer, Layer]) -> Told:
    """What is told of the same layer half an hour later, and by the record once it has gelled."""
    (running,) = (each for each in look.running if each.layer.layer == "L2")
    assert running.progress is not None
    board, listed = gather(logbook, look.configuration, LATER), layer_document(look.running, LATER)
    shown = {"board and page": board.running, "layer": listed.running}
    found = {name: marks(each.timeline) for name, (_, each) in shown.items()}
    posts = [Post(name, role, part_of("unknown")) for name, role in (("bench", "air"), ("hull", "surface"))]
    below, told = load_substrate("plywood"), [layer_as_plain(each) for each in layers]
    record = follow(
        told[1],
        measure(logbook, posts, NOW - DAY, REACHED, below),
        REACHED,
        lambda name, *_: load_resin(name),
        lambda each: laid.buildup(each, told, below, lambda name, *_: load_resin(name)),
    )
    found["record"] = {name: each.likely for name, each in record.marks.items() if each.likely is not None}
    due = [each.due for each in look.signals if each.key.subject == "L2" and each.due is not None]
    edges = [edge for each in running.progress.timeline for edge in (each.early, each.likely, each.late)]
    assert due or any(
        each.meaning == UNSURE for each in look.signals
    )  # then abrading is advised, at no moment
    assert all(any(edge is not None and abs(edge - one) < 1.0 for edge in edges) for one in due)
    return found


class Situation(NamedTuple):
    """What is below and around a layer, and the question by which that is not known."""

    without: Callable[[Question], Question]
    below: Layer = WARM
    laid: Layer = LAID
    insulated: bool = False


SITUATIONS = {
    "on a warm layer": Situation(lambda asked: replace(asked, below=())),
    "on plain resin": Situation(
        lambda asked: replace(asked, below=(asked.below[0]._replace(fibre=None),)), replace(WARM, fibre=0.0)
    ),
    "on the foam of its job": Situation(
        lambda asked: replace(asked, substrate=load_substrate("plywood")),
        replace(WARM, substrate="foam"),
        replace(LAID, substrate="foam"),
    ),
    "on an insulated back": Situation(
        lambda asked: replace(asked, insulated=False), laid=replace(LAID, insulated=True), insulated=True
    ),
}


@pytest.mark.long
@pytest.mark.parametrize("name", SITUATIONS)
@pytest.mark.few(2)
def test_every_answer_about_a_layer_tells_one_gel(name: str, tmp_path: Path) -> None:
    """tonight, windows, layer, alerts, record, board and page; each that did not know it is found."""
    case = SITUATIONS[name]
    settings = configured(tmp_path / "log.sqlite")
    settings = msgspec.structs.replace(
        settings, shed=msgspec.structs.replace(settings.shed, insulated_back=case.insulated)
    )
    with Logbook(tmp_path / "log.sqlite") as logbook:
        entry = Entry("layer", layer_as_plain(case.below), WARM.started)
        logbook.append(readings(NOW, "bench", "hull"), entries=[entry])
        look = Look(logbook, settings, NOW)
        question = look.asked(resin="epoxy-slow", layers=3)
        assert question.thickness == pytest.approx(LAID.thickness)
        told = before_it_is_laid(look, question)
        ignorant = marks(look.advise(case.without(question)).timeline)
        logbook.append(
            [each for each in readings(REACHED, "bench", "hull") if each.time > NOW],
            entries=[Entry("layer", layer_as_plain(case.laid), LAID.started)],
        )
        told |= once_it_is_laid(logbook, Look(logbook, settings, LATER), (case.below, case.laid))
    assert sum("gel" in each for each in told.values()) >= 5
    assert not apart(told, NOW)
    for answer, each in told.items():
        assert apart({"as told": each, "not known": ignorant}, NOW), answer


def test_a_layer_is_kept_with_the_back_and_dose_that_later_answers_need(tmp_path: Path) -> None:
    """An insulated back as configured; a layer below of another dose goes by its own."""
    settings = configured(tmp_path / "log.sqlite")
    resin = load_resin("polyester-laminating")
    with Logbook(tmp_path / "log.sqlite") as logbook:
        for insulated in (False, True):
            shed = msgspec.structs.replace(settings.shed, insulated_back=insulated)
            told = laying.layer(
                msgspec.structs.replace(settings, shed=shed), logbook, {}, job=None, mixed=None, started=NOW
            )
            assert layer_from_plain(layer_as_plain(told)).insulated is (True if insulated else None)
    below = replace(WARM, resin=resin.name, peroxide_percent=1.0)
    (other,) = warm_below(settings, (resin, 2.0), (below,))
    (same,) = warm_below(settings, (resin, 1.0), (below,))
    assert other.lot == Lot(resin, resin.dose_factor(1.0))
    assert same.lot is None


@pytest.mark.long
def test_cure_and_tonight_tell_one_gel_of_a_layer_on_the_bare_substrate(tmp_path: Path) -> None:
    """In air that stays; of a film beside it, it is another."""
    with Logbook(tmp_path / "log.sqlite") as logbook:
        logbook.append(readings(NOW, "bench", "hull"))
        look = Look(logbook, configured(tmp_path / "log.sqlite"), NOW)
        question = look.asked(resin="epoxy-fast", layers=6)
        tonight = marks(look.advise(question).timeline)
    gels = [
        float(outcome(question.resin, constant(293.15, 3 * DAY), buildup=built).marks["gel"].likely)
        for built in (question.buildup, None)
    ]
    assert not apart({"tonight": tonight, "cure": {"gel": NOW + gels[0]}}, NOW)
    assert apart({"tonight": tonight, "a film": {"gel": NOW + gels[1]}}, NOW)


@pytest.mark.long
def test_the_first_session_of_a_layup_knows_the_warm_layer_it_lies_on(tmp_path: Path) -> None:
    """Its next layer may go on when tonight says so, asked about that start; sooner than on a cold one."""
    cloth, always = load_cloth("stitched-biaxial"), (Span(NOW, NOW + 5 * DAY),)
    hole = Repair(hole=outline(RepairShape.ROUND, 0.080), thickness=0.003, cloth=cloth, substrate="plywood")
    with Logbook(tmp_path / "log.sqlite") as logbook:
        entry = Entry("layer", layer_as_plain(WARM), WARM.started)
        logbook.append(readings(NOW, "bench", "hull"), entries=[entry])
        look = Look(logbook, configured(tmp_path / "log.sqlite"), NOW)
        question = look.asked(resin="epoxy-slow")
        foreseen = look.foreseen(question)
        assert foreseen is not None
        made, on_cold = (
            plan(hole, each, *foreseen, working=always, hands=Hands())
            for each in (question, replace(question, below=()))
        )
        assert made.schedule is not None
        assert on_cold.schedule is not None
        first = made.schedule.sessions[0]
        thick = len(first.layers) * made.amounts.layer_thickness
        asked = replace(question, thickness=thick, fibre_mass_fraction=cloth.fibre_mass_fraction)
        most = made.schedule.layers_in_one_go
        one_more = replace(asked, thickness=(most + 1) * made.amounts.layer_thickness)
        too_hot = "own-heat" in {check.name for check in look.advise(one_more, NOW).checks}
        opens, cold = (
            marks(look.advise(each, NOW).timeline)["laminate-from"] - NOW
            for each in (asked, replace(asked, below=()))
        )
    assert first.start == NOW
    assert (first.next_from or 0.0) - NOW == pytest.approx(opens, rel=APART)
    assert opens < cold - 10 * MINUTE
    assert most < on_cold.schedule.layers_in_one_go  # it lies on what is warm
    assert too_hot
