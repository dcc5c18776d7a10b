"""``curewatch layup``: from the hole to the schedule, from a real logbook; and its bench card."""

import json
import re
import subprocess
from html.parser import HTMLParser
from pathlib import Path

import pytest
from msgspec.structs import replace

from curewatch.advice.judge import limits
from curewatch.advice.judge.question import Question
from curewatch.advice.plan.amounts import Repair
from curewatch.advice.plan.geometry import RepairShape, Taper, outline, taper
from curewatch.advice.plan.layup import Hands, LayupPlan, bill
from curewatch.advice.plan.mixing import of_resin
from curewatch.advice.plan.sessions import Work
from curewatch.answers.document import as_json
from curewatch.answers.layup import LayupDocument, layup_document
from curewatch.cli.main import run
from curewatch.cli.screens import bench_card, section
from curewatch.cli.screens import layup as screen
from curewatch.clock import SystemClock
from curewatch.errors import UsageError
from curewatch.logbook import Logbook
from curewatch.materials import load_resin
from curewatch.materials.cloth import load_cloth
from curewatch.materials.substrate import load_substrate
from curewatch.readings import Reading
from curewatch.wording import Wording
from curewatch.worklog.fields import length_from_text
from tests.broker import PATIENCE
from tests.record_attacks import need
from tests.running import zone_at_noon

NOW = 1_795_000_500.0
SLOW = load_resin("epoxy-slow")
ASKED = Question(SLOW, limits.for_resin(SLOW), load_substrate("plywood"))


def cheek(**changes: object) -> Repair:
    asked: dict[str, object] = {
        "hole": outline(RepairShape.ROUND, 0.080),
        "thickness": 0.003,
        "cloth": load_cloth("stitched-biaxial"),
        "substrate": "plywood",
    }
    return Repair(**(asked | changes))  # type: ignore[arg-type]


def document(plan: LayupPlan) -> LayupDocument:
    return layup_document(plan, NOW, 1e-3)


def drawing(made: Taper) -> LayupDocument:
    """A plan of this taper, as far as its section is drawn."""
    plan = bill(cheek(sides=made.sides), ASKED, Hands())
    works = (Work(patch.number, patch.side, 0.1, 60.0) for patch in made.patches)
    return document(replace(plan, amounts=replace(plan.amounts, taper=made), works=tuple(works)))


SECTION = """\
outside
#####\\==================================================/#####   3: 152 mm
#########\\==========================================/#########   2: 128 mm
#############\\==================================/#############   1: 104 mm
#################----------------------------#################  back"""


def test_the_section_is_drawn_to_scale_along_its_length() -> None:
    """80 mm hole, 36 mm of scarf, three layers: 104, 128, 152 mm across, by hand."""
    made = taper(outline(RepairShape.ROUND, 0.080), 0.003, 0.001)
    assert "\n".join(section.characters(drawing(made))) == SECTION


def test_the_drawing_for_the_card_has_a_shape_for_each_layer_and_both_lengths() -> None:
    """Six layers from both sides are six polygons; the scarf and the hole are written."""
    made = taper(outline(RepairShape.ROUND, 0.080), 0.006, 0.001, sides=2)
    drawn = section.svg(drawing(made))
    assert drawn.count("<polygon") == 6
    assert "scarf 36 mm" in drawn
    assert "hole 80 mm" in drawn


def test_a_polyester_is_mixed_by_its_dose() -> None:
    """2 % of peroxide is 2 g to 100 g of resin, allowed 1 to 3; a dose outside is refused."""
    polyester = load_resin("polyester-laminating")
    made = of_resin(polyester)
    assert made.usual == pytest.approx(0.02)
    assert (made.lowest, made.highest) == (pytest.approx(0.01), pytest.approx(0.03))
    with pytest.raises(ValueError, match="Allowed"):
        of_resin(polyester, 5.0)


def test_without_readings_the_amounts_hold_and_the_times_are_unknown() -> None:
    """UNKNOWN WHEN, and no session is made up."""
    plan = bill(cheek(), ASKED, Hands())
    shown = screen.lines(document(plan), Wording())
    assert shown[0].startswith("UNKNOWN WHEN")
    assert not any(line.startswith("Sessions") for line in shown)
    assert json.loads(as_json(document(plan)))["schedule"] is None
    assert max(len(line) for line in shown) <= 80


def test_the_masses_on_the_screen_are_those_of_the_plan() -> None:
    """Mixed, resin and hardener as computed; two people need half the time."""
    one, two = bill(cheek(), ASKED, Hands()), bill(cheek(), ASKED, Hands(people=2))
    text = "\n".join(screen.lines(document(one), Wording(), why=True))
    assert f"mixed epoxy-slow {one.amounts.mixed * 1000:.0f} g" in text or f"{one.amounts.mixed:.1f}" in text
    assert sum(work.time for work in one.works) == pytest.approx(2 * sum(work.time for work in two.works))
    assert sum(work.resin for work in one.works) == pytest.approx(one.amounts.mixed)


class Seen(HTMLParser):
    """What a page is made of."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.addresses: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.addresses += [value or "" for name, value in attrs if name in {"src", "href", "data"}]


def test_the_card_fetches_nothing_runs_nothing_and_shows_names_as_text() -> None:
    """A shed that calls itself a script stays text; no address, no script in the page."""
    plan = bill(cheek(), ASKED, Hands())
    page = bench_card.html(document(plan), Wording(), '<script>alert("x")</script>')
    seen = Seen()
    seen.feed(page)
    assert "script" not in seen.tags
    assert not seen.addresses
    assert "http" not in page
    assert "&lt;script&gt;" in page
    assert {"svg", "h1", "table"} <= set(seen.tags)


@pytest.mark.parametrize(
    ("text", "metres"), [("80", 0.08), ("80 mm", 0.08), ("8cm", 0.08), ("0.4 m", 0.4), ("2 in", 0.0508)]
)
def test_lengths_are_read_with_their_unit(text: str, metres: float) -> None:
    """A bare number is millimetres."""
    assert length_from_text(text) == pytest.approx(metres)


def test_what_is_no_length_is_refused() -> None:
    """With what would be one."""
    with pytest.raises(UsageError, match="80 mm"):
        length_from_text("wide")


# ---- the command


@pytest.fixture
def logged(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    file = tmp_path / "curewatch.toml"
    file.write_text(
        f'[shed]\nname = "Saltmarsh Shed"\nzone = "{zone_at_noon()}"\n[logbook]\npath = "logbook.sqlite"\n'
        "[working_hours]\nstart = 00:00:00\nend = 23:59:00\n"
    )
    monkeypatch.setenv("CUREWATCH_CONFIG", str(file))
    now = SystemClock().now().utc - 20
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        logbook.append(
            [
                reading
                for minutes in range(180, -1, -3)
                for reading in (
                    Reading("bench", now - 60.0 * minutes, now, 294.15 + 0.01 * (minutes % 7), 0.35),
                    Reading("hull", now - 60.0 * minutes, now, 294.0 + 0.01 * (minutes % 5)),
                )
            ]
        )
    return tmp_path


def called(*arguments: str) -> int:
    with pytest.raises(SystemExit) as stop:
        run(["layup", *arguments])
    return int(stop.value.code or 0)


HOLE = ("round", "--length", "80 mm", "--thickness", "6 mm", "--resin", "epoxy-fast")


@pytest.mark.long
def test_the_plan_begins_with_what_can_be_done_and_has_its_sessions(
    logged: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit status 0; layers, batches with what the scale reads, the next layer; its card is a page."""
    assert called(*HOLE, "--why", "--card", str(logged / "card.html")) == 0
    out = capsys.readouterr().out
    assert re.match(r"(ALL \d+ LAYERS|PART TONIGHT|NOT TONIGHT)", out)
    assert "then hardener until" in out
    assert re.search(r"next layer from .+, before", out)
    assert re.search(r"layers \d+ to \d+, outside", " ".join(out.split()))
    assert "counts the own heat of its" in out
    assert max(len(line) for line in out.splitlines() if str(logged) not in line) <= 80
    assert (logged / "card.html").read_text(encoding="utf-8").startswith("<!doctype html>")


@pytest.mark.long
def test_the_json_plan_lays_every_layer_once_and_keeps_each_batch_within_its_life(
    logged: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Layers of all sessions and what is left over are all the layers, in order."""
    assert called(*HOLE, "--json") == 0
    plan = json.loads(capsys.readouterr().out)
    sessions = plan["schedule"]["sessions"]
    laid = [number for session in sessions for number in session["layers"]]
    assert laid + plan["schedule"]["left_over"] == [layer["number"] for layer in plan["layers"]]
    for session in sessions:
        assert session["resin_g"] + session["hardener_g"] == pytest.approx(session["batch_mass_g"], abs=0.2)
        assert len(session["layers"]) <= plan["schedule"]["layers_in_one_go"]


def test_the_card_as_text_begins_with_the_shed() -> None:
    """The same plan, for a printer that knows letters alone."""
    plain = bench_card.text(document(bill(cheek(), ASKED, Hands())), Wording(), "Saltmarsh Shed")
    assert plain.startswith("Saltmarsh Shed")


@pytest.mark.long
@pytest.mark.parametrize("hole", ["--thickness 6", "--thickness 14", "--thickness 25 --sides 2 --areal 300"])
def test_the_card_prints_on_one_page(logged: Path, hole: str) -> None:
    """From a few layers to more than fifty: smaller type, and one page as a browser prints it."""
    need("chromium", "qpdf")
    card, printed = logged / "card.html", logged / "card.pdf"
    size = ("--length", "900", "--width", "600", "--resin", "epoxy-slow")
    called("rectangular", *size, *hole.split(), "--card", str(card))
    browser = f"chromium --headless --no-sandbox --disable-gpu --no-first-run --user-data-dir={logged}/own"
    subprocess.run(
        [*browser.split(), f"--print-to-pdf={printed}", card.as_uri()],
        check=True, timeout=PATIENCE, capture_output=True,
    )  # fmt: skip
    counted = subprocess.run(
        ["qpdf", "--show-npages", str(printed)], check=True, timeout=PATIENCE, capture_output=True
    )
    assert counted.stdout.strip() == b"1"


def test_a_hole_that_cannot_be_is_refused(logged: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit status 2, and what is allowed."""
    assert called("star", "--length", "80", "--thickness", "6") == 2
    assert "rectangular" in capsys.readouterr().err
    assert called("oval", "--length", "80", "--thickness", "6") == 2


def test_a_plan_that_the_tins_do_not_bear_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Both parts that are short, with how much; nothing where enough was counted or nobody counted."""
    file = tmp_path / "curewatch.toml"
    monkeypatch.setenv("CUREWATCH_CONFIG", str(file))
    counted = "resin_g = {}\nadded_g = {}\ncounted = 2026-11-01\n"
    for stock, short in (("", 0), (counted.format(9000, 9000), 0), (counted.format(1, 1), 2)):
        table = f"[stock.epoxy-slow]\n{stock}" if stock else ""
        file.write_text(f'{table}[logbook]\npath = "shed.sqlite"\n')
        with pytest.raises(SystemExit):
            run(["layup", "round", "--length", "120", "--thickness", "6"])
        said = capsys.readouterr().err
        assert said.count("short of") == min(short, 1)
        assert (" of resin and " in said) == bool(short)


@pytest.mark.parametrize(
    ("ratio", "sides", "warned"), [(8.0, 1, False), (7.9, 1, True), (5.0, 2, True), (12.0, 2, False)]
)
def test_a_scarf_under_eight_to_one_is_warned_and_a_hole_has_a_backing(
    ratio: float, sides: int, warned: bool
) -> None:
    """What is lost, and that structural work is a surveyor's; the backing stands before the first layer."""
    slow = load_resin("epoxy-slow")
    asked = Question(slow, limits.for_resin(slow), load_substrate("plywood"))
    hole = outline(RepairShape.ROUND, 0.120)
    repair = Repair(hole, 0.006, load_cloth("stitched-biaxial"), "plywood", ratio=ratio, sides=sides)
    answer = layup_document(bill(repair, asked, Hands()), 0.0, 1e-3)
    assert ("surveyor decides first" in answer.short_scarf) is warned
    assert (f"{ratio:.1f} to 1" in answer.short_scarf) is warned
    assert "backing or a waxed mould behind the hole" in answer.backing
    assert ("before the other side" in answer.backing) is (sides == 2)
    shown = "\n".join(screen.first(answer, Wording()))
    assert "backing" in shown
    assert ("surveyor" in shown) is warned
