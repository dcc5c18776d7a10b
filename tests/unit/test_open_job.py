"""What an open job says of its substrate and resin holds in every answer, before a layer is laid too."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import msgspec
import pytest

from curewatch.advice.judge.answer import Status
from curewatch.advice.judge.ground import Ground, known_checks
from curewatch.jobs import FaceBelow, Layer, layer_as_plain
from curewatch.logbook import Entry, Logbook
from curewatch.materials import load_resin
from curewatch.materials.substrate import load_substrate
from curewatch.shed.look import Look
from curewatch.units import DAY
from curewatch.worklog import laying, opening
from curewatch.worklog.job import current
from tests.unit.test_look import NOW, configured, readings

FOAM = {"title": "rudder", "substrate": "foam", "thickness": 0.02, "resin": "epoxy-fast"}


@pytest.fixture
def opened(tmp_path: Path) -> Iterator[Callable[..., Look]]:
    """A shed of plywood and slow epoxy with jobs opened, and entries after them."""
    logbooks = list[Logbook]()

    def look(*jobs: dict[str, Any], entries: tuple[Entry, ...] = ()) -> Look:
        settings = configured(tmp_path / "log.sqlite")
        shed = msgspec.structs.replace(settings.shed, thickness_mm=9.0, face=FaceBelow.PRIMED)
        shelf = msgspec.structs.replace(settings.resin, lot="A1", also=("epoxy-laminating",))
        settings = msgspec.structs.replace(settings, shed=shed, resin=shelf)
        logbooks.append(logbook := Logbook(tmp_path / "log.sqlite"))
        logbook.append(readings(NOW, "bench", "hull"))
        for job in jobs:
            opening.open_job(logbook, settings, job, happened=NOW - DAY, now=NOW - DAY)
        logbook.append([], entries=list(entries))
        return Look(logbook, settings, NOW)

    yield look
    for logbook in logbooks:
        logbook.close()


def test_a_job_without_a_layer_says_the_substrate_and_the_resin(opened: Callable[..., Look]) -> None:
    """Its thickness and face, too; the configured lot is another resin's, which stays to be tried."""
    asked, kept = (look := opened(FOAM)).question, load_substrate("foam", 0.02)
    assert (asked.substrate, asked.ground.face, asked.resin.name) == (kept, FaceBelow.FOAM, "epoxy-fast")
    assert look.configuration.resin.lot is None
    assert look.configuration.resin.also == ("epoxy-slow", "epoxy-laminating")
    assert look.logbook is not None
    layer = laying.layer(
        look.configuration, look.logbook, {}, job=current(look.logbook), mixed=None, started=NOW
    )
    assert (layer.resin, layer.substrate, layer.face) == ("epoxy-fast", "foam", "foam")
    assert look.about(layer).buildup == asked.buildup


def test_a_question_that_names_a_resin_or_face_goes_before_the_job(opened: Callable[..., Look]) -> None:
    """The substrate stays the job's."""
    asked = opened(FOAM).asked(resin="epoxy-slow", face="epoxy")
    assert (asked.resin.name, asked.ground.face) == ("epoxy-slow", FaceBelow.EPOXY)
    assert asked.substrate == load_substrate("foam", 0.02)


@pytest.mark.parametrize("jobs", [(), (FOAM, {**FOAM, "title": "keel"})])
def test_without_one_open_job_all_is_as_configured(
    jobs: tuple[dict[str, Any], ...], opened: Callable[..., Look]
) -> None:
    """Of two none is guessed; a closed one says nothing any more."""
    asked = opened(*jobs).question
    assert (asked.substrate, asked.resin.name) == (load_substrate("plywood", 0.009), "epoxy-slow")
    assert asked.ground.face is FaceBelow.PRIMED


def test_a_closed_job_says_nothing_and_one_reopened_does(opened: Callable[..., Look]) -> None:
    """By the name the job was given."""
    look = opened(FOAM)
    assert look.logbook is not None
    name = current(look.logbook).name
    for kind, expected in (("job-close", "plywood"), ("job-reopen", "foam")):
        look.logbook.append([], entries=[Entry(kind, {}, NOW - 60, job=name)])
        again = Look(look.logbook, look.configured, NOW)
        assert again.question.substrate.name == expected


def test_a_substrate_of_another_kind_has_not_the_configured_thickness(opened: Callable[..., Look]) -> None:
    """Told none, it is as thick as usual."""
    assert opened({"title": "x", "substrate": "foam"}).question.substrate == load_substrate("foam")


def test_a_resin_that_nobody_knows_any_more_changes_nothing(opened: Callable[..., Look]) -> None:
    """The answer is that of the shelf."""
    strange = Entry("job-open", {"title": "old", "resin": "gone"}, NOW - DAY, job="old")
    assert opened(entries=(strange,)).question.resin.name == "epoxy-slow"


@pytest.mark.parametrize(
    ("parts", "resin", "expected"),
    [
        (("bow",), "epoxy-fast", FaceBelow.EPOXY),
        (("bow",), "polyester-laminating", FaceBelow.POLYESTER),
        (("bow", "stern"), "epoxy-fast", FaceBelow.FOAM),
    ],
)
def test_the_next_layer_of_a_job_lies_on_its_last(
    parts: tuple[str, ...], resin: str, expected: FaceBelow, opened: Callable[..., Look]
) -> None:
    """Also once that is cold or closed; of two parts none is guessed."""
    laid = [
        Layer(f"L{number}", NOW - 3 * DAY, resin, part=part, job="rudder-cheek")
        for number, part in enumerate(parts)
    ]
    entries = (
        Entry("job-open", FOAM, NOW - 4 * DAY, job="rudder-cheek"),
        *(Entry("layer", layer_as_plain(each), each.started, job="rudder-cheek") for each in laid),
        *(Entry("layer-closed", {"layer": each.layer}, NOW - DAY, job="rudder-cheek") for each in laid),
    )
    ground = opened(entries=entries).question.ground
    assert (ground.face, ground.own) == (expected, expected is not FaceBelow.FOAM)


@pytest.mark.parametrize(
    ("told", "layer"),
    [
        ({"substrate": 7, "thickness": "x", "resin": ["epoxy-fast"]}, {}),
        ({"substrate": "foam", "thickness": True, "resin": {}}, {"resin": None}),
        ({}, {"resin": "gone", "part": ["bow"]}),
    ],
)
def test_what_another_program_wrote_of_a_job_stops_no_answer(
    told: dict[str, Any], layer: dict[str, Any], opened: Callable[..., Look]
) -> None:
    """What is no name or number is passed over. A layer of an unknown resin may be epoxy: no go on it."""
    entries = (Entry("job-open", told, NOW - DAY, job="odd"), Entry("layer", layer, NOW - DAY, job="odd"))
    asked = opened(entries=entries).question
    assert asked.resin.name == "epoxy-slow"
    assert asked.ground == Ground(FaceBelow.LAMINATE)
    (below, *_) = known_checks(load_resin("polyester-laminating"), asked.ground)
    assert (below.name, below.status) == ("below", Status.UNKNOWN)
