"""An old answer is never shown as a new one: each way to make it old, and the guard that stands against it.

Each attack is run twice: as the program stands, where the answer is worked out anew, and with that one guard
taken out, where the old answer is shown. So no attack passes because another guard happens to hold.
"""

import copy
import json
import math
import os
import random
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from msgspec.structs import replace

from curewatch import configuration
from curewatch.advice.alert.watchers import next_mark
from curewatch.advice.judge.situation import Situation
from curewatch.answers import last_look
from curewatch.answers.layer import LayerDocument
from curewatch.cli.main import run
from curewatch.clock import Instant, SystemClock, iso_utc
from curewatch.configuration import Configuration
from curewatch.configuration.shape import Alerts
from curewatch.daemon.core import Core
from curewatch.daemon.evaluation import Evaluation
from curewatch.daemon.events import Again, Committed, Evaluated, Remember, Show, Store, Tick
from curewatch.errors import ExitStatus, StoreFailed
from curewatch.jobs import Layer, layer_as_plain
from curewatch.logbook import Entry, EntryKind, Logbook
from curewatch.readings import Reading
from curewatch.shed import layer_log
from curewatch.shed import look as looks
from curewatch.shed.look import Look
from curewatch.units import DAY, HOUR, MINUTE

SETTINGS = (
    '[shed]\nname = "Saltmarsh Shed"\nzone = "Europe/Lisbon"\n'
    '[resin]\nname = "epoxy-fast"\nfolder = "shelf"\n'
    '[sensors.bench]\nrole = "air"\n[sensors.hull]\nrole = "surface"\npart = "probe"\n'
    '[logbook]\npath = "logbook.sqlite"\n'
)


def spoken_for(hours: float, now: float, every: float = 5 * MINUTE) -> Iterator[Reading]:
    """Air and hull of a steady shed until a second ago."""
    for back in range(int(hours * HOUR / every) + 1):
        at = now - 1.0 - every * back
        yield Reading("bench", at, at, 291.15, 0.55)
        yield Reading("hull", at, at, 290.65, None)


class KeptShed:
    """A shed at which the daemon has just looked: its answer is in the logbook."""

    def __init__(self, folder: Path, job: str | None = None) -> None:
        """``job``: an open one, in which the layer was laid."""
        self.file, self.shelf = folder / "curewatch.toml", folder / "shelf"
        self.shelf.mkdir()
        (self.shelf / "own.toml").write_text("# INVENTED\n")
        self.file.write_text(SETTINGS, encoding="utf-8")
        self.settings = configuration.load(self.file)
        self.at = SystemClock().now()
        self.path = folder / "logbook.sqlite"
        with Logbook(self.path) as logbook:
            layer = Layer("L1", self.at.utc - 20 * MINUTE, "epoxy-fast", 0.15, None, job=job)
            told = [Entry("layer", layer_as_plain(layer), layer.started, job=job)]
            if job is not None:
                opened = {"job": job, "title": "keel", "zone": "Europe/Lisbon", "by": "M"}
                told.append(Entry("job-open", opened, layer.started - HOUR, job=job))
            logbook.append(spoken_for(6.0, self.at.utc), told)
            look = Look(logbook, self.settings, self.at.utc)
            kept = last_look.looked(look, logbook, self.at, logbook.head())
            self.kept = last_look.as_note(kept)
            logbook.append(notes={last_look.NOTE: self.kept})

    def copied(self, folder: Path) -> "KeptShed":
        """The same in another folder, of which its look is."""
        shutil.copytree(self.file.parent, folder)
        other = copy.copy(self)
        other.file, other.shelf, other.path = (
            folder / each.name for each in (self.file, self.shelf, self.path)
        )
        other.settings = configuration.load(other.file)
        look = last_look.json.decode(self.kept, type=last_look.LastLook)
        other.kept = last_look.as_note(replace(look, asked=last_look._asked(other.settings)))
        with Logbook(other.path) as logbook:
            logbook.append(notes={last_look.NOTE: other.kept})
        return other

    def later(self, minutes: float, stepped: float = 0.0) -> Instant:
        """So long after the look; ``stepped`` by hand in between. [min, s]"""
        return Instant(self.at.utc + 60 * minutes + stepped, self.at.monotonic + 60 * minutes)

    def shown(self, logbook: Logbook, now: Instant, settings: Configuration | None = None) -> Any:
        kept = last_look.kept_look(logbook, settings or self.settings, now)
        return kept and kept.layer


@pytest.fixture(scope="module")
def shed(tmp_path_factory: pytest.TempPathFactory) -> KeptShed:
    return KeptShed(tmp_path_factory.mktemp("kept"))


@pytest.fixture
def logbook(shed: KeptShed, tmp_path: Path) -> Iterator[Logbook]:
    """A copy of the shed's logbook, to be changed."""
    path = tmp_path / "copy.sqlite"
    with Logbook(shed.path, read_only=True) as kept:
        kept.copy(path)
    with Logbook(path) as copied:
        yield copied


def told(kind: str, shed: KeptShed, **payload: object) -> Entry:
    return Entry(kind, payload, shed.at.utc + 30.0)


def first_moment(shed: KeptShed) -> float:
    """The first moment of the answer. [min after the look]"""
    answer = json.loads(shed.kept)["layer"]
    (layer,) = answer["running"]
    stamps = [each[end] for each in layer["timeline"] for end in ("early", "likely", "late") if each[end]]
    coming = [last_look.moment(stamp) - shed.at.utc for stamp in stamps]
    return min(each for each in coming if each > 0) / MINUTE


def test_until_something_changes_the_answer_is_the_one_of_the_look(shed: KeptShed, logbook: Logbook) -> None:
    """A minute later, with new readings, and the alerts and the verdict that the look itself wrote."""
    logbook.append(
        [Reading("bench", shed.at.utc + 50.0, shed.at.utc + 50.0, 291.2, 0.55)],
        [told("alert", shed, happening="raised"), told("verdict", shed, verdict="go")],
    )
    answer = shed.shown(logbook, shed.later(1.0))
    assert isinstance(answer, LayerDocument)
    assert [each.layer for each in answer.running] == ["L1"]
    with Logbook(shed.path, read_only=True) as kept:
        running = Look(kept, shed.settings, shed.at.utc).running
    assert answer == last_look.layer_document(running, shed.at.utc, shed.shelf)


def _closed(shed: KeptShed, logbook: Logbook) -> Any:
    logbook.append(entries=[told("layer-closed", shed, layer="L1")])
    return shed.shown(logbook, shed.later(1.0))


def _corrected(shed: KeptShed, logbook: Logbook) -> Any:
    logbook.append(entries=[told("correction", shed, corrects=1, changes={"resin": "epoxy-slow"})])
    return shed.shown(logbook, shed.later(1.0))


def _unheard_of(shed: KeptShed, logbook: Logbook) -> Any:
    """A kind of entry that a later edition may write."""
    logbook.append(entries=[told("observation", shed, layer="L1", observed="gelled")])
    return shed.shown(logbook, shed.later(1.0))


def _another_logbook(shed: KeptShed, logbook: Logbook) -> Any:
    """The note in a logbook that has no such entry."""
    with Logbook(logbook.path.with_name("other.sqlite")) as other:
        other.append(spoken_for(0.2, shed.at.utc), notes={last_look.NOTE: shed.kept})
        return shed.shown(other, shed.later(1.0))


def _other_limits(shed: KeptShed, logbook: Logbook) -> Any:
    changed = replace(shed.settings, limits=configuration.LimitsTable(probability=0.95))
    return shed.shown(logbook, shed.later(1.0), changed)


def _other_shelf(shed: KeptShed, logbook: Logbook) -> Any:
    own = shed.shelf / "own.toml"
    before = own.stat()
    own.write_text("# INVENTED, changed\n")
    try:
        return shed.shown(logbook, shed.later(1.0))
    finally:
        own.write_text("# INVENTED\n")
        os.utime(own, ns=(before.st_atime_ns, before.st_mtime_ns))


def _too_old(shed: KeptShed, logbook: Logbook) -> Any:
    """The daemon died; its sensors go on into the logbook by another way."""
    later = shed.later(last_look.LASTS / MINUTE + 0.1)
    logbook.append(Reading(name, later.utc, later.utc, 291.15, 0.55) for name in ("bench", "hull"))
    return shed.shown(logbook, later)


def _moment_came(shed: KeptShed, logbook: Logbook) -> Any:
    later = shed.later(first_moment(shed) + 0.05)
    logbook.append(Reading(name, later.utc, later.utc, 291.15, 0.55) for name in ("bench", "hull"))
    return shed.shown(logbook, later)


def _clock_back(shed: KeptShed, logbook: Logbook) -> Any:
    """Ten minutes later, and set back by nine: it looks a minute old."""
    return shed.shown(logbook, shed.later(10.0, stepped=-9 * MINUTE))


def _started_anew(shed: KeptShed, logbook: Logbook) -> Any:
    """The machine was started again; its clock lost the time between."""
    return shed.shown(logbook, Instant(shed.at.utc + 60.0, 5.0))


def _heard_since(shed: KeptShed, logbook: Logbook) -> Any:
    """A recording of before the look came in: the moments begin at another past."""
    now = shed.later(17.0)
    logbook.append([Reading("bench", shed.at.utc - 150.0, now.utc, 290.15, 0.60)])
    return shed.shown(logbook, now)


def _before_the_look(shed: KeptShed, logbook: Logbook) -> Any:
    return shed.shown(logbook, shed.later(-3.0))


def _fell_silent(shed: KeptShed, logbook: Logbook) -> Any:
    """The hull goes on, the air says nothing more."""
    later = shed.later(min(14.9, first_moment(shed) - 0.1))
    logbook.append([Reading("hull", later.utc, later.utc, 290.65, None)])
    return shed.shown(logbook, later)


def _spoke_again(shed: KeptShed, logbook: Logbook) -> Any:
    """A sensor outside that was silent at the look."""
    now = shed.later(1.0).utc
    logbook.append([Reading("yard", shed.at.utc - 5 * HOUR, shed.at.utc - 5 * HOUR, 280.0, 0.8)])
    with_yard = _looked_again(shed, logbook)
    logbook.append([Reading("yard", now, now, 280.0, 0.8)])
    return with_yard and shed.shown(logbook, shed.later(1.0))


def _spoke_first(shed: KeptShed, logbook: Logbook) -> Any:
    """A recording of hours ago came in, of a sensor that had never spoken."""
    logbook.append([Reading("yard", shed.at.utc - 5 * HOUR, shed.at.utc + 30.0, 280.0, 0.8)])
    return shed.shown(logbook, shed.later(1.0))


def _looked_again(shed: KeptShed, logbook: Logbook) -> Any:
    """A look at what the logbook holds now."""
    look = Look(logbook, shed.settings, shed.at.utc)
    kept = last_look.looked(look, logbook, shed.at, logbook.head())
    logbook.append(notes={last_look.NOTE: last_look.as_note(kept)})
    return shed.shown(logbook, shed.later(0.5))


def _another_edition(shed: KeptShed, logbook: Logbook) -> Any:
    other = shed.kept.replace(b'"edition":"', b'"edition":"9.')
    logbook.append(notes={last_look.NOTE: other})
    return shed.shown(logbook, shed.later(1.0))


def no(*_: object) -> bool:
    return False


def _always(body: bytes, type: Any) -> Any:  # noqa: A002 - as the library names it
    return replace(_DECODE(body, type=type), until_s=float("inf"))


def _of_today(body: bytes, type: Any) -> Any:  # noqa: A002
    return replace(_DECODE(body, type=type), edition=last_look.__version__)


def _as_many_readings(body: bytes, type: Any) -> Any:  # noqa: A002
    kept = _DECODE(body, type=type)
    return replace(kept, readings=kept.readings + 1)


def _long_ago(body: bytes, type: Any) -> Any:  # noqa: A002
    kept = _DECODE(body, type=type)
    return replace(kept, at_s=kept.at_s - 600.0, monotonic_s=kept.monotonic_s - 600.0)


_DECODE = last_look.json.decode
_STEPS = "CLOCK_STEP", float("inf")
ATTACKS: dict[str, tuple[Callable[[KeptShed, Logbook], Any], tuple[str, Any]]] = {
    "a layer was closed": (_closed, ("_told_since", no)),
    "a layer was corrected": (_corrected, ("_told_since", no)),
    "something was observed": (_unheard_of, ("_told_since", no)),
    "the note lies in another logbook": (_another_logbook, ("_told_since", no)),
    "the limits are others": (_other_limits, ("_asked", lambda configuration: "same")),
    "a resin of one's own was changed": (_other_shelf, ("_asked", lambda configuration: "same")),
    "it is older than a look": (_too_old, ("json.decode", _always)),
    "a moment of it has come": (_moment_came, ("json.decode", _always)),
    "something was heard": (_heard_since, ("json.decode", _as_many_readings)),
    "the clock was set back": (_clock_back, _STEPS),
    "the machine was started again": (_started_anew, _STEPS),
    "it is of a time to come": (_before_the_look, ("json.decode", _long_ago)),
    "a sensor fell silent": (_fell_silent, ("_others_report", no)),
    "a silent sensor reports again": (_spoke_again, ("_others_report", no)),
    "a sensor spoke for the first time": (_spoke_first, ("_others_report", no)),
    "the program is of another edition": (_another_edition, ("json.decode", _of_today)),
}


@pytest.mark.long
@pytest.mark.parametrize("name", ATTACKS)
def test_an_old_answer_is_worked_out_anew(
    name: str, shed: KeptShed, logbook: Logbook, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With the guard the answer is not shown; without it the same attack shows it."""
    attack, (guard, open_door) = ATTACKS[name]
    assert attack(shed, logbook) is None
    monkeypatch.setattr(f"curewatch.answers.last_look.{guard}", open_door)
    if guard == "_asked":
        kept = json.loads(shed.kept) | {"asked": "same"}
        logbook.append(notes={last_look.NOTE: json.dumps(kept).encode()})
    assert isinstance(attack(shed, logbook), LayerDocument), f"another guard holds against: {name}"


class SilentShed:
    """A shed at which nobody says anything more: readings, layers and a kept look, by chance."""

    def __init__(self, folder: Path, seed: int) -> None:
        self.chance = random.Random(seed)
        self.settings = configuration.parse(SETTINGS.replace('folder = "shelf"\n', ""))
        self.last = 1.795e9 + self.chance.uniform(0.0, DAY)
        self.at = Instant(self.last + self.chance.uniform(1.0, 4 * HOUR), 9e5)
        self.path = folder / f"silent-{seed}.sqlite"
        hours, every = self.chance.choice([(7.0, 60.0), (30.0, 5 * MINUTE), (150.0, 15 * MINUTE)])
        names = self.chance.choice([("bench",), ("bench", "hull")])
        with Logbook(self.path) as logbook:
            logbook.append(self._readings(hours, every, names), [*self._layers(), *self._forecasts()])

    def _readings(self, hours: float, every: float, names: tuple[str, ...]) -> Iterator[Reading]:
        for number in range(int(hours * HOUR / every)):
            at = self.last - every * number
            warm = 289.0 + 4.0 * math.sin(2 * math.pi * at / DAY) + self.chance.gauss(0.0, 0.3)
            for name in names:
                yield Reading(
                    name, at, at, warm, 0.6 + self.chance.gauss(0.0, 0.02) if name == "bench" else None
                )

    def _layers(self) -> Iterator[Entry]:
        for number in (1, 2):
            started = self.at.utc - self.chance.uniform(0.0, 9 * HOUR)
            resin = self.chance.choice(["epoxy-fast", "epoxy-slow", "polyester-laminating"])
            dose = 1.5 if resin == "polyester-laminating" else None
            layer = Layer(f"L{number}", started, resin, 0.1, part="keel", peroxide_percent=dose)
            yield Entry("layer", layer_as_plain(layer), started)

    def _forecasts(self) -> Iterator[Entry]:
        for back in range(self.chance.choice([0, 30])):
            at = self.at.utc - 6 * HOUR * back - MINUTE
            hours = [at + HOUR * n for n in range(48)]
            told = {
                "issued": at,
                "time": hours,
                "temperature": [288.0] * 48,
                "vapour_pressure": [1000.0] * 48,
            }
            yield Entry("forecast", told, at)

    def fresh(self, logbook: Logbook, at: float) -> LayerDocument:
        return last_look.layer_document(Look(logbook, self.settings, at).running, at)

    def keep(self, logbook: Logbook) -> None:
        look = Look(logbook, self.settings, self.at.utc)
        kept = last_look.looked(look, logbook, self.at, logbook.head())
        logbook.append(notes={last_look.NOTE: last_look.as_note(kept)})

    def asked(self, logbook: Logbook, hours: float) -> tuple[LayerDocument | None, LayerDocument]:
        """What is shown so long after the look, and what a look then says. [h]"""
        return self.shown(logbook, hours), self.fresh(logbook, self.at.utc + hours * HOUR)

    def shown(self, logbook: Logbook, hours: float) -> LayerDocument | None:
        """What is shown so long after the look. [h]"""
        later = Instant(self.at.utc + hours * HOUR, self.at.monotonic + hours * HOUR)
        kept = last_look.kept_look(logbook, self.settings, later)
        return kept and kept.layer


def nearly(one: LayerDocument, other: LayerDocument) -> bool:
    """Every field the same; a conversion to the last of its three decimals."""
    apart = [
        abs((a.conversion or 0.0) - (b.conversion or 0.0))
        for a, b in zip(one.running, other.running, strict=True)
    ]
    alike = [replace(a, conversion=b.conversion) for a, b in zip(one.running, other.running, strict=True)]
    return max(apart) < 0.0011 and replace(one, running=alike) == other


@pytest.mark.parametrize("seed", [1, *(pytest.param(seed, marks=pytest.mark.long) for seed in range(2, 16))])
def test_while_nothing_is_heard_the_kept_look_says_what_a_look_would(
    seed: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Asked at hours by chance, field by field. The control: paths that begin at the moment of asking."""
    shed, stages, unmeasured = SilentShed(tmp_path, seed), set[str | None](), set[float | None]()
    with Logbook(shed.path) as logbook:
        shed.keep(logbook)
        limit = (shed.last - shed.at.utc) / HOUR + 5.0  # till the last word leaves what health looks back on
        for hours in (0.3, *(shed.chance.uniform(0.0, limit) for _ in range(1 if seed == 1 else 4))):
            shown, fresh = shed.asked(logbook, hours)
            assert shown is not None, hours
            assert nearly(shown, fresh), hours
            stages |= {each.stage for each in shown.running}
            unmeasured |= {each.unmeasured_s for each in shown.running}
        assert seed > 1 or (len(stages) > 1 and len(unmeasured) > 2)
        for hours in (limit + 0.01, limit + 20.0, limit + 30.0):
            assert shed.shown(logbook, hours) is None
        monkeypatch.setattr(Situation, "heard", property(lambda self: self.at))
        shown, fresh = shed.asked(logbook, 0.9 * limit)
        assert shown is not None
        assert not nearly(shown, fresh)


def _two_of_a_role(shed: SilentShed, logbook: Logbook) -> None:
    """One falls silent before the other, which is then gone by."""
    slow = '[sensors.slow]\nrole = "air"\nevery_s = 3600\n'
    shed.settings = configuration.parse(SETTINGS.replace('folder = "shelf"\n', "") + slow)
    at = shed.at.utc
    logbook.append(
        [Reading("slow", at - 1800.0, at, 280.0, 0.7), Reading("bench", at - 30.0, at, 292.0, 0.5)]
    )


def _a_stamp_ahead(shed: SilentShed, logbook: Logbook) -> None:
    at = shed.at.utc
    logbook.append(
        [Reading("bench", at - 30.0, at, 292.0, 0.5), Reading("bench", at + 1800.0, at, 280.0, 0.7)]
    )


def _a_probe(shed: SilentShed, logbook: Logbook) -> None:
    at = shed.at.utc
    layer = Layer("L3", at - HOUR, "epoxy-slow", 0.1, None, part="cheek", probe="stick")
    told = [Reading("stick", at - 30.0 - MINUTE * n, at, 293.0, None) for n in range(50)]
    logbook.append(told, [Entry("layer", layer_as_plain(layer), layer.started)])


def _a_day_of_silence(shed: SilentShed, logbook: Logbook) -> None:
    shed.at = Instant(shed.last + 23.9 * HOUR, 9e5)
    later = Layer("L3", shed.at.utc - HOUR, "epoxy-slow", 0.1, None, part="cheek")
    logbook.append(entries=[Entry("layer", layer_as_plain(later), later.started)])


def test_while_others_report_an_unmeasured_stretch_is_not_shown_shorter(tmp_path: Path) -> None:
    """Air heard 70 minutes ago, silent after ten hours only; the yard speaks. Control: without the guard."""
    slow = SETTINGS.replace('role = "air"', 'role = "air"\nevery_s = 3600').replace("surface", "outside")
    settings = configuration.parse(slow.replace('folder = "shelf"\n', ""))
    at = Instant(1.795e9, 9e5)
    layer = Layer("L1", at.utc - 3 * HOUR, "epoxy-slow", 0.1)
    told = [Reading("bench", at.utc - 70 * MINUTE - HOUR * n, at.utc, 290.0, 0.6) for n in range(9)]
    with Logbook(tmp_path / "slow.sqlite") as logbook:
        logbook.append(told, [Entry("layer", layer_as_plain(layer), layer.started)])
        logbook.append([Reading("hull", at.utc - MINUTE, at.utc, 285.0)])
        kept = last_look.looked(Look(logbook, settings, at.utc), logbook, at, logbook.head())
        logbook.append(notes={last_look.NOTE: last_look.as_note(kept)})
        later = Instant(at.utc + 10 * MINUTE, at.monotonic + 10 * MINUTE)
        logbook.append([Reading("hull", later.utc - MINUTE, later.utc, 285.0)])
        assert last_look.kept_look(logbook, settings, later) is None
        fresh = last_look.answer(logbook, settings, later)
        without = replace(kept, until_s=at.utc + last_look.LASTS)
        logbook.append(notes={last_look.NOTE: last_look.as_note(without)})
        shown = last_look.kept_look(logbook, settings, later)
        assert shown is not None
        assert shown.layer.running[0].unmeasured_s == 0.0
        assert fresh.running[0].unmeasured_s == pytest.approx(80 * MINUTE, abs=8 * MINUTE)


@pytest.mark.long
@pytest.mark.parametrize("change", [_two_of_a_role, _a_stamp_ahead, _a_probe, _a_day_of_silence])
def test_what_the_hours_alone_change_is_looked_at_again(
    change: Callable[[SilentShed, Logbook], None], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With its guard nothing old is shown; without, what is shown is not what a look says."""
    shed = SilentShed(tmp_path, 1)
    with Logbook(shed.path) as logbook:
        change(shed, logbook)
        shed.keep(logbook)
        assert shed.asked(logbook, 0.8)[0] is None
        monkeypatch.setattr(last_look, "_unheard_until", lambda *_: shed.at.utc + 30 * DAY)
        shed.keep(logbook)
        shown, fresh = shed.asked(logbook, 0.8)
        assert shown is not None
        assert not nearly(shown, fresh)


def test_what_no_layer_rests_on_may_be_configured_anew(shed: KeptShed, logbook: Logbook) -> None:
    """Hours of work and alerts; the control: the shed itself."""
    other = replace(shed.settings, alerts=Alerts(go_now=False), stock={})
    assert other != shed.settings
    assert shed.shown(logbook, shed.later(1.0), other)
    assert (
        shed.shown(logbook, shed.later(1.0), replace(other, shed=replace(other.shed, substrate="steel")))
        is None
    )


def test_the_look_of_a_job_with_its_own_substrate_is_found_again(shed: KeptShed, logbook: Logbook) -> None:
    """The job's word goes before the configuration's, at each look."""
    opened = {"job": "J9", "title": "keel", "by": "M", "substrate": "steel"}
    logbook.append(entries=[Entry("job-open", opened, shed.at.utc, job="J9")])
    look = Look(logbook, shed.settings, shed.at.utc)
    assert look.configuration.shed.substrate == "steel" != shed.settings.shed.substrate
    assert _looked_again(shed, logbook)


@pytest.mark.parametrize("body", [b"", b"{}", b"\xff\x00", b'{"edition": 1}', b"[" * 5000])
def test_a_note_that_cannot_be_read_costs_only_the_time(
    body: bytes, shed: KeptShed, logbook: Logbook
) -> None:
    """Damaged, or in the shape of another edition."""
    logbook.append(notes={last_look.NOTE: body})
    assert shed.shown(logbook, shed.later(1.0)) is None


def test_the_command_shows_the_look_and_says_of_when_it_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """It works nothing out while the look holds, and names its time if something was heard since."""
    shed = KeptShed(tmp_path)

    def never(*_: object, **__: object) -> Look:
        raise AssertionError("it looked")

    now = shed.later(2.0)
    monkeypatch.setattr(SystemClock, "now", lambda self: now)
    monkeypatch.setenv("CUREWATCH_CONFIG", str(shed.file))
    monkeypatch.setattr(looks, "Look", never)
    with pytest.raises(SystemExit) as stop:
        run(["layer", "--running"])
    assert stop.value.code == ExitStatus.OK
    assert "as of " not in capsys.readouterr().out
    with Logbook(shed.path) as logbook:
        logbook.append([Reading("bench", now.utc, now.utc, 291.15, 0.55)])
    with pytest.raises(SystemExit) as stop:
        run(["layer", "--running"])
    assert stop.value.code == ExitStatus.OK
    said = capsys.readouterr().out
    assert "as of " in said
    assert "the last look" in said
    monkeypatch.setattr(last_look, "kept_look", lambda *_: None)
    with pytest.raises(AssertionError, match="it looked"):
        run(["layer", "--running"])


class Asked:
    """Commands in a shed of its own, and how many looks each of them made."""

    def __init__(self, shed: KeptShed, monkeypatch: pytest.MonkeyPatch, capsys: Any) -> None:
        self.shed, self._capsys, self.looks = shed, capsys, list[Any]()
        looked = last_look.looked

        def counted(*given: Any) -> last_look.LastLook:
            self.looks.append(given)
            return looked(*given)

        monkeypatch.setenv("CUREWATCH_CONFIG", str(shed.file))
        monkeypatch.setattr(SystemClock, "now", lambda self: shed.at)
        monkeypatch.setattr(last_look, "looked", counted)

    def __call__(self, *words: str) -> tuple[str, int]:
        self.looks.clear()
        with pytest.raises(SystemExit) as stop:
            run([*words])
        told = self._capsys.readouterr()
        assert not stop.value.code, told.err
        return told.out, len(self.looks)

    def running(self) -> tuple[str, int]:
        return self("layer", "--running")


@pytest.fixture(scope="module")
def shed_of_a_job(tmp_path_factory: pytest.TempPathFactory) -> KeptShed:
    """To be copied, not changed."""
    return KeptShed(tmp_path_factory.mktemp("job"), job="J1")


@pytest.fixture
def asked(
    shed_of_a_job: KeptShed,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> Asked:
    return Asked(shed_of_a_job.copied(tmp_path / "shed"), monkeypatch, capsys)


@pytest.mark.long
def test_without_a_daemon_the_command_keeps_its_own_look(
    asked: Asked, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Who starts a layer has looked; asking again looks no more until something is told. The chain stays.

    The control: where it may not be kept, each question is a look.
    """
    path = asked.shed.path
    begun, looks_of_it = asked("layer", "--resin", "epoxy-fast", "--mass", "80g", "--part", "keel")
    with Logbook(path, read_only=True) as logbook:
        head = logbook.head()
    assert asked.running() == (begun, 0)
    assert (looks_of_it, asked("layer", "--close", "L2")[1], asked.running()[1]) == (1, 1, 0)
    with Logbook(path) as logbook:
        assert logbook.head().entries == head.entries + 1
        logbook.append(entries=[Entry("pot-empty", {"layer": "L1"}, asked.shed.at.utc)])
    assert [asked.running()[1] for _ in range(2)] == [1, 0]
    with Logbook(path) as logbook:
        logbook.append(entries=[Entry("peel-ply", {"layer": "L1", "action": "on"}, asked.shed.at.utc)])
    monkeypatch.setattr(Logbook, "append", refused)
    assert [asked.running()[1] for _ in range(2)] == [1, 1]


TOLD: dict[str, tuple[str, ...]] = {
    "seen": ("observe", "gelled", "--layer", "L1", "--force"),
    "the pot": ("job", "pot-empty", "--layer", "L1", "--by", "M"),
    "peel ply": ("job", "peel-ply", "--action", "on", "--layer", "L1", "--by", "M"),
    "a wash": ("job", "wash", "--action", "both", "--layer", "L1", "--by", "M"),
    "a correction": ("job", "correct", "1", "--set", "lot=OTHER", "--reason", "misread", "--by", "M"),
    "a forecast": ("forecast", "coming.csv"),
    "readings": ("replay", "more.csv", "--sensor", "bench", "--logbook", "logbook.sqlite"),
}
SAME_WAY = {"the pot", "peel ply", "a wash"}  # as a correction: told of a job


@pytest.mark.few(1)
@pytest.mark.parametrize(
    "name", [pytest.param(name, marks=pytest.mark.long) if name in SAME_WAY else name for name in TOLD]
)
def test_who_tells_what_the_answer_rests_on_leaves_a_look(
    name: str, asked: Asked, monkeypatch: pytest.MonkeyPatch
) -> None:
    """So the question after it needs no model; the control: where none is left, the question is the look."""
    monkeypatch.chdir(asked.shed.path.parent)
    _files(asked.shed.at.utc)
    told = asked(*TOLD[name])[1]
    assert told
    left, question = asked.running()
    assert question == 0
    with Logbook(asked.shed.path, read_only=True) as logbook:
        now = Look(logbook, asked.shed.settings, asked.shed.at.utc).running
        assert kept_in(logbook).layer == last_look.layer_document(now, asked.shed.at.utc, asked.shed.shelf)
    monkeypatch.setattr(last_look, "leave", no)
    _files(asked.shed.at.utc + 1.0)
    asked(*TOLD[name])
    assert asked.running()[1] == 1, f"without it no look is missing: {name}"
    assert left


def kept_in(logbook: Logbook) -> last_look.LastLook:
    note = logbook.note(last_look.NOTE)
    assert note
    return last_look.json.decode(note, type=last_look.LastLook)


def _files(at: float) -> None:
    """A forecast of the air outside, and readings of the last minutes; in the folder where we are."""
    hours = [iso_utc(at + HOUR * n) for n in range(1, 30)]
    head = "time,temperature,humidity\n"
    Path("coming.csv").write_text(head + "".join(f"{hour},9.5,81\n" for hour in hours), encoding="ascii")
    times = [iso_utc(at - MINUTE * n - 3.0) for n in range(8, 0, -1)]
    Path("more.csv").write_text(head + "".join(f"{time},21.5,44\n" for time in times), encoding="ascii")


@pytest.mark.parametrize(
    "words",
    [
        ("job", "note", "--text", "dry", "--by", "M"),
        ("job", "batch", "--resin-mass", "100g", "--hardener-mass", "22g", "--resin-lot", "A", "--by", "M"),
        ("alerts",),
        ("logbook", "seal"),
        ("logbook", "status"),
    ],
)
def test_who_tells_something_else_looks_at_nothing(words: tuple[str, ...], asked: Asked) -> None:
    """The look before it holds."""
    assert asked(*words)[1] == 0
    assert asked.running()[1] == 0


@pytest.mark.long
def test_where_no_layer_runs_nobody_looks(asked: Asked, monkeypatch: pytest.MonkeyPatch) -> None:
    """Neither who tells something nor who asks; the control: with a layer that runs both do."""
    monkeypatch.chdir(asked.shed.path.parent)
    _files(asked.shed.at.utc)
    asked("layer", "--close", "L1")
    assert asked.running()[1] == 0
    assert asked("forecast", "coming.csv")[1] == 0
    assert asked("layer", "--resin", "epoxy-fast", "--mass", "80g")[1] == 1


@pytest.mark.parametrize("trouble", [StoreFailed("refused"), RuntimeError("a fault"), KeyboardInterrupt()])
def test_a_look_that_fails_costs_the_command_nothing(
    trouble: BaseException, asked: Asked, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was told is in the logbook, and the command ends as always; who asks then meets the trouble."""

    def fails(*_: object, **__: object) -> Look:
        raise trouble

    monkeypatch.setattr(looks, "Look", fails)
    with Logbook(asked.shed.path, read_only=True) as logbook:
        before = logbook.head().entries
    assert "peel" in asked("job", "peel-ply", "--action", "on", "--layer", "L1", "--by", "M")[0]
    with Logbook(asked.shed.path, read_only=True) as logbook:
        assert logbook.head().entries == before + 1
    with pytest.raises((SystemExit, RuntimeError)) as stop:
        run(["layer", "--running"])
    assert getattr(stop.value, "code", ExitStatus.FAILURE) != ExitStatus.OK


def test_the_logbook_of_another_users_daemon_is_looked_at_by_that(asked: Asked) -> None:
    """A note cannot be kept through its socket; the control: the same logbook, as one's own, is looked at."""
    with Logbook(asked.shed.path) as logbook:
        before = logbook.head()
        logbook.append(entries=[Entry("pot-empty", {"layer": "L1"}, asked.shed.at.utc)])
        settings = asked.shed.settings
        logbook.sealed_here = False
        last_look.leave(logbook, settings, before, SystemClock())
        assert not asked.looks
        logbook.sealed_here = True
        last_look.leave(logbook, settings, before, SystemClock())
        assert len(asked.looks) == 1


def test_readings_that_are_no_daemons_are_looked_at(asked: Asked) -> None:
    """They may be of hours that the look took another way; the control: unasked, it would be shown."""
    with Logbook(asked.shed.path) as logbook:
        before, at = logbook.head(), asked.shed.at.utc
        last_look.leave(logbook, asked.shed.settings, before, SystemClock())
        assert not asked.looks
        logbook.append([Reading("bench", at - 150.0, at, 290.15, 0.60)])
        assert asked.shed.shown(logbook, asked.shed.at)
        last_look.leave(logbook, asked.shed.settings, before, SystemClock())
        assert len(asked.looks) == 1


@pytest.mark.parametrize("kind", EntryKind)
def test_an_entry_of_a_kind_that_no_layer_hangs_on_is_passed_over(
    kind: EntryKind, shed: KeptShed, logbook: Logbook
) -> None:
    """As those that a daemon writes when it ends; each of the others makes the look old."""
    payload = {"layer": "L9", "at": shed.at.utc, "corrects": 1, "happening": "raised"}
    logbook.append(entries=[told(kind, shed, **payload)])
    assert (shed.shown(logbook, shed.later(1.0)) is None) == (kind in last_look.RESTS_ON)


def test_a_look_reads_no_kind_that_is_passed_over(
    shed: KeptShed, logbook: Logbook, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of two layers, one on the other, with all that can be told of them; nor does it ask for all kinds."""
    read, entries = set[str](), Logbook.entries

    def spied(self: Logbook, kind: Any = None, **more: Any) -> Any:
        read.update(["every kind"] if kind is None else [kind] if isinstance(kind, str) else kind)
        return entries(self, kind, **more)

    for number in (2, 3):
        layer = Layer(
            f"L{number}", shed.at.utc - number * MINUTE, "epoxy-fast", 0.1, None, "LOT", "keel", "keel"
        )
        logbook.append(entries=[Entry("layer", layer_as_plain(layer), layer.started)])
    monkeypatch.setattr(Logbook, "entries", spied)
    look = Look(logbook, shed.settings, shed.at.utc)
    assert len(last_look.layer_document(look.running, look.at, shed.shelf).running) == 3
    assert {"layer", "observation", "correction"} <= read <= {str(each) for each in last_look.RESTS_ON}


@pytest.mark.long
def test_without_a_sensor_the_answer_stands_until_one_reports(tmp_path: Path) -> None:
    """Nothing is known of the air, today and tomorrow. The control: with sensors it ends."""
    shed = KeptShed(tmp_path)
    shed.settings = configuration.load(shed.file)
    bare = tmp_path / "bare.sqlite"
    with Logbook(bare) as logbook:
        layer = Layer("L1", shed.at.utc - 20 * MINUTE, "epoxy-fast", 0.15, None, face="bare-timber")
        logbook.append(entries=[Entry("layer", layer_as_plain(layer), layer.started)])
        assert _looked_again(shed, logbook)
        for hours in (1.0, 30.0, 200.0):
            shown, now = shed.shown(logbook, shed.later(60 * hours)), shed.at.utc + hours * HOUR
            anew = last_look.layer_document(Look(logbook, shed.settings, now).running, now, shed.shelf)
            assert shown == replace(anew, as_of=shown.as_of)
            assert [each.reason for each in shown.running] == ["nothing is known of the air"]
        days = layer_log.LONGEST / MINUTE
        assert shed.shown(logbook, shed.later(days - 21.0))
        assert shed.shown(logbook, shed.later(days - 19.0)) is None, "it is counted down no more"
        logbook.append(spoken_for(0.2, shed.at.utc - 3 * HOUR))
        assert shed.shown(logbook, shed.later(61.0)) is None
        assert _looked_again(shed, logbook)
        assert shed.shown(logbook, shed.later(119.0))
        assert shed.shown(logbook, shed.later(121.0)) is None, (
            "its last word leaves what health looks back on"
        )


@pytest.mark.long
def test_a_layer_with_no_moment_to_come_is_kept_as_any_other(tmp_path: Path) -> None:
    """Ten days old and never closed: no moment is to come, and the daemon's look must not fail by it."""
    shed = KeptShed(tmp_path)
    with Logbook(tmp_path / "old.sqlite") as logbook:
        old = Layer("L1", shed.at.utc - 240 * HOUR, "epoxy-fast", 0.15, None)
        logbook.append(spoken_for(1.0, shed.at.utc), [Entry("layer", layer_as_plain(old), old.started)])
        look = last_look.looked(Look(logbook, shed.settings, shed.at.utc), logbook, shed.at, logbook.head())
        logbook.append(notes={last_look.NOTE: last_look.as_note(look)})
        shown = shed.shown(logbook, shed.later(1.0))
        assert replace(shown, as_of=look.layer.as_of) == look.layer
    assert [each.layer for each in look.layer.running] == ["L1"]
    assert look.until_s == shed.at.utc + last_look.LASTS


def test_commands_write_to_the_sheds_logbook_by_one_door() -> None:
    """Those that open one for themselves tell nothing on which a layer rests; each is named here, and why."""
    own_door = {
        "alerts.py": "acknowledges",
        "demo.py": "a logbook of its own, thrown away",
        "fleet.py": "names and copies of a fleet",
        "heads.py": "seals",
        "record.py": "seals",
        "setup.py": "reads beside the daemon that it runs",
        "watch.py": "acknowledges beside the daemon that it runs",
    }
    folder = Path(last_look.__file__).parents[1] / "cli"
    found = set()
    for file in folder.rglob("*.py"):
        for line in file.read_text(encoding="utf-8").splitlines():
            if "open_logbook(" in line and "read_only=True" not in line:
                found.add(file.name)
    assert found == {*own_door, "telling.py"}


def refused(*_: object, **__: object) -> int:
    raise StoreFailed("logbook: found it read-only. Use another")


def test_the_daemon_keeps_the_look_in_the_commit_of_its_entries(tmp_path: Path) -> None:
    """One commit holds both, so no look stands beside entries that were never stored."""
    now = Instant(1.7e9, 100.0)
    core = Core(configuration.parse(""), now)
    said = (Remember("last-look", b"kept"), Entry("verdict", {}, now.utc), Show("verdict", now.utc, "", {}))
    core.receive(Evaluated(now, said))
    stores = []
    for second in (1.0, 2.0):
        effects = core.receive(Tick(Instant(now.utc + second, now.monotonic + second)))
        stores += [each for each in effects if isinstance(each, Store)]
        if stores:
            break
    assert stores[0].memory == {"last-look": b"kept"}
    assert [entry.kind for entry in stores[0].entries] == ["verdict"]
    shown = core.receive(Committed(Instant(now.utc + 3.0, now.monotonic + 3.0), 0))
    assert not [each for each in shown if isinstance(each, Remember)]


@pytest.mark.long
def test_the_daemon_looks_again_when_a_moment_of_its_answer_comes(shed: KeptShed, logbook: Logbook) -> None:
    """Ten minutes before the first one, that is its next mark; half an hour before, a look comes sooner."""
    for minutes, within in ((first_moment(shed) - 10.0, True), (0.0, False)):
        at = shed.later(minutes)
        said = Evaluation(shed.settings, logbook)(at, "a test")
        (body,) = (each.value for each in said if isinstance(each, Remember) and each.key == last_look.NOTE)
        kept = last_look.json.decode(body, type=last_look.LastLook)
        alone = next_mark(Look(logbook, shed.settings, at.utc).progress, at.utc)
        marks = [each.at for each in said if isinstance(each, Again)]
        assert marks == [kept.until_s if within else alone]
        assert (kept.until_s < at.utc + last_look.LASTS) == within
        assert alone is not None
        assert alone > kept.until_s, "an alert's mark comes before, so nothing is shown by this"
