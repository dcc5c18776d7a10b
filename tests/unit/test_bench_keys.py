"""One press at the bench is one entry, confirmed, undone for a minute, and never guessed of a job."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from curewatch import configuration
from curewatch.advice.alert.alerts import AlertKind, Event, Happening, Key, event_as_plain
from curewatch.cli.bench_loop import BenchPage, Mode
from curewatch.cli.screens.keys import page
from curewatch.clock import ManualClock
from curewatch.errors import UsageError
from curewatch.logbook import Entry, EntryKind, Logbook
from curewatch.readings import Reading
from curewatch.shed import layer_log
from curewatch.wording import Wording
from curewatch.worklog import keys, telling

NOW = 1_795_000_000.0
SETTINGS = """
[resin]
name = "epoxy-slow"
batch_mass_g = 150.0
[sensors.bench]
role = "air"
[stock.epoxy-slow]
resin_g = 300.0
added_g = 200.0
counted = 2026-11-01
"""


@dataclass
class Bench:
    """A page, its clock, and what was written."""

    page: BenchPage
    clock: ManualClock
    logbook: Logbook

    def type(self, *typed: str, every: float = 2.0) -> None:
        for each in typed:
            self.clock.advance_to(self.clock.now().utc + every)
            self.page.typed(each)

    def kinds(self) -> list[str]:
        told = self.logbook.entries()
        return [each.kind for each in told if each.kind != EntryKind.JOB_OPEN]

    def rows(self, width: int = 40, height: int = 24) -> list[str]:
        return [row.plain for row in page(self.page.document(), self.page.words, width, height)]


def opened(logbook: Logbook, *titles: str) -> None:
    for title in titles:
        entry = telling.opening(logbook, {"title": title, "resin": "epoxy-slow"}, NOW - 3600)
        logbook.write(entry)


def at_bench(logbook: Logbook, job: str = "", part: str = "") -> Bench:
    clock = ManualClock(NOW, 0.0)
    made = BenchPage(logbook, configuration.parse(SETTINGS), Wording(), clock, job=job, part=part)
    return Bench(made, clock, logbook)


@pytest.fixture
def logbook(tmp_path: Path) -> Iterator[Logbook]:
    with Logbook(tmp_path / "shed.sqlite") as found:
        spoken = [Reading("bench", at, at, 291.15, 0.5) for at in (NOW - 7200 + 60 * n for n in range(240))]
        found.append(spoken)
        yield found


def test_the_keys_of_an_evening_write_what_the_commands_write(logbook: Logbook) -> None:
    """Mixed, laid, peel ply, pot empty, note: each an entry of the job, the layer with its part and cup."""
    opened(logbook, "new rudder cheek")
    bench = at_bench(logbook)
    bench.type("1", "2", "3", "7", "8", "dry, ", "no wind\r")
    assert bench.kinds() == ["batch", "layer", "peel-ply", "pot-empty", "note"]
    assert "note kept: dry, no wind" in bench.page.line
    (layer,) = layer_log.running(logbook, NOW + 60)
    assert (layer.job, layer.part, layer.resin) == ("J1", "new rudder cheek", "epoxy-slow")
    assert layer.batch_mass == pytest.approx(0.150)
    assert layer.started == pytest.approx(NOW + 2)
    assert layer.peel_ply_on is not None
    assert layer.pot_emptied is not None
    batch = next(iter(logbook.entries(EntryKind.BATCH))).payload
    assert batch["masses_assumed"] is True
    assert batch["ratio"]["within"] is True


def test_a_press_is_undone_for_a_minute_and_no_longer(logbook: Logbook) -> None:
    """Undone, it counts nowhere and its name is not given again; after the minute it stays."""
    opened(logbook, "new rudder cheek")
    bench = at_bench(logbook)
    bench.type("1", "u")
    assert "undone: B1 mixed" in bench.page.line
    bench.type("1", "2")
    assert "laid from B2" in bench.page.line
    bench.type("u")
    assert layer_log.running(logbook, NOW + 60) == ()
    bench.type("2")
    assert "L2" in bench.page.line
    bench.type("u", every=61.0)
    assert "found nothing pressed within the last minute" in bench.page.line
    assert len(layer_log.running(logbook, NOW + 200)) == 1
    assert "u undo" not in " ".join(bench.rows())


def test_several_jobs_are_asked_and_none_is_guessed(logbook: Logbook) -> None:
    """With two open jobs a digit chooses; nothing is written before that. A closed one takes nothing."""
    opened(logbook, "rudder cheek", "coach-roof edge")
    bench = at_bench(logbook)
    assert bench.page.mode is Mode.JOB
    bench.type("3", "x")
    assert bench.kinds() == []
    bench.type("2", "1")
    assert (bench.page.job, bench.kinds()) == ("J1", ["batch"])
    logbook.write(Entry(EntryKind.JOB_CLOSE, {"job": "J1"}, NOW, job="J1"))
    bench.type("1")
    assert "found it closed" in bench.page.line
    assert bench.kinds() == ["batch", "job-close"]
    logbook.write(Entry(EntryKind.JOB_CLOSE, {"job": "J2"}, NOW, job="J2"))
    with pytest.raises(UsageError, match="no open job"):
        at_bench(logbook)


def test_what_is_not_expected_is_a_question(logbook: Logbook) -> None:
    """Firm ten minutes after mixing: n writes nothing, y keeps it. Laid without a batch is asked, too."""
    opened(logbook, "rudder cheek")
    bench = at_bench(logbook)
    bench.type("2")
    assert bench.kinds() == []
    assert "no batch is mixed" in bench.page.document().question
    bench.type("1")  # any other key leaves the question where it is
    assert bench.kinds() == []
    bench.type("y")
    assert bench.kinds() == ["layer"]
    bench.type("6", every=600.0)
    assert "firm now is not expected" in bench.page.document().question
    bench.type("n")
    assert bench.kinds() == ["layer"]
    bench.type("6", "y")
    assert bench.kinds() == ["layer", "observation"]
    bench.type("u")
    assert "undone" in bench.page.line


def test_the_pot_of_a_batch_that_is_not_laid_can_be_told_empty(logbook: Logbook) -> None:
    """Mixed and thrown away: no layer is needed for it, and the next batch is laid alone."""
    opened(logbook, "rudder cheek")
    bench = at_bench(logbook)
    bench.type("1", "7")
    assert "pot of B1 is empty" in bench.page.line
    assert logbook.entries(EntryKind.POT_EMPTY)[-1].payload["batch"] == "B1"
    bench.type("1", "2")
    assert logbook.entries(EntryKind.LAYER)[-1].payload["batches"] == ["B2"]


def test_a_bounced_key_is_one_press(logbook: Logbook) -> None:
    """The same digit within a second is the same press; in a note every letter counts."""
    opened(logbook, "rudder cheek")
    bench = at_bench(logbook)
    bench.type("1", "1", "1", every=0.3)
    assert bench.kinds() == ["batch"]
    bench.type("8", "see", "\x7f", "e\r")
    assert logbook.entries(EntryKind.NOTE)[-1].payload["text"] == "see"


def test_parts_are_chosen_once_and_keys_speak_of_their_own_layer(logbook: Logbook) -> None:
    """Peel ply on the port cheek is not peel ply on the other."""
    opened(logbook, "rudder")
    port, other = (at_bench(logbook, "J1", part) for part in ("port cheek", "other cheek"))
    port.type("1", "2")
    other.type("1", "2", every=4.0)
    port.type("3", every=20.0)
    laid = {each.part: each.peel_ply_on for each in layer_log.running(logbook, NOW + 120)}
    assert laid["port cheek"] is not None
    assert laid["other cheek"] is None
    again = at_bench(logbook)
    assert (again.page.mode, again.page.parts()) == (Mode.PART, ("other cheek", "port cheek"))


def test_the_tins_are_counted_down_and_a_short_one_is_said(logbook: Logbook) -> None:
    """A batch takes its resin out of 300 g; undone, it gives it back; a batch too many is short."""
    opened(logbook, "rudder cheek")
    bench = at_bench(logbook)
    assert "300 g of resin" in " ".join(bench.rows(80))
    bench.type("1")
    left = float(bench.page.document().stock.numbers["resin_left"])  # type: ignore[union-attr,arg-type]
    planned = float(logbook.entries(EntryKind.BATCH)[0].payload["resin_mass"])
    assert left == pytest.approx(0.300 - planned)
    bench.type("u")
    assert bench.page.document().stock.numbers["resin_left"] == pytest.approx(0.300)  # type: ignore[union-attr]
    bench.type("1", "1")
    assert "Stock: short of" in " ".join(bench.rows(80))


@pytest.mark.parametrize(("width", "height"), [(40, 24), (40, 12), (80, 24), (100, 40), (40, 10)])
def test_the_page_fits_and_shows_every_key(logbook: Logbook, width: int, height: int) -> None:
    """No row is wider than the terminal, no key is missing, the longest names do not push them out."""
    opened(logbook, "a very long title of a job that nobody would write on one line of a card")
    bench = at_bench(logbook, "J1", "p" * 40)
    bench.type("1", "2")
    rows = bench.rows(width, height)
    shown = " ".join(rows)
    assert len(rows) == height
    assert max(map(len, rows)) <= width
    for label in ("MIXED", "LAID", "PEEL PLY", "GELLED", "TACK-FREE", "FIRM", "POT EMPTY", "NOTE"):
        assert label in shown
    assert "u undo" in shown


def test_a_hostile_title_acts_on_no_terminal(logbook: Logbook) -> None:
    """An escape in a job's title, a part or a note is written out."""
    opened(logbook, "cheek\x1b[2J")
    bench = at_bench(logbook, "J1", "part\x1b]0;x\x07")
    bench.type("1", "2", "8", "no\x07te\r")
    assert not {"\x1b", "\x07"} & set("".join(bench.rows()))


@pytest.mark.parametrize("resin", ["epoxy-slow", "a-file-that-is-gone"])
def test_a_go_of_a_daemon_that_died_is_not_on_the_page(logbook: Logbook, resin: str) -> None:
    """Nothing was heard for hours, or no look can be made. Control: what is no go stays."""
    logbook.write(telling.opening(logbook, {"title": "new rudder cheek"}, NOW - 3600))
    later = NOW + 6 * 3600
    go = Event(Happening.RAISED, Key(AlertKind.GO_NOW), later - 300, "go now with epoxy-slow")
    damp = Event(Happening.RAISED, Key(AlertKind.CONDENSATION), later - 600, "condensation is near")
    told = [Entry("alert", event_as_plain(each), each.at) for each in (damp, go)]
    logbook.append(entries=told)
    bench = at_bench(logbook)
    bench.page.configuration = configuration.parse(SETTINGS.replace('"epoxy-slow"', f'"{resin}"'))
    assert "go now" in str(bench.page.document().alert)  # heard a moment ago
    bench.clock.advance_to(later)
    assert "condensation" in str(bench.page.document().alert)


def test_keys_are_those_of_the_page() -> None:
    """Eight, each with a label, so that a digit reaches every one."""
    assert [str(key) for key in keys.BenchKey] == [
        "mixed", "laid", "peel-ply", "gelled", "tack-free", "firm", "pot-empty", "note",
    ]  # fmt: skip
