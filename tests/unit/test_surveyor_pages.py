"""What a surveyor asks for stands on page 1, and the PDF is what archives and screen readers ask for."""

import json
import re
import subprocess
from pathlib import Path

import pytest
from msgspec.structs import replace

import curewatch
from curewatch.advice.judge.limits import Limit
from curewatch.advice.judge.rules import Judged, Judgement, RuleOutcome
from curewatch.cli.main import run
from curewatch.errors import RecordBroken
from curewatch.logbook import Entry, EntryKind, Logbook
from curewatch.record import edition as editions
from curewatch.record import reckoning
from curewatch.record.account import Account
from curewatch.record.examination import verify, verify_pdf
from curewatch.record.page import Pages
from curewatch.record.writing import Written, write
from curewatch.units import DAY, HOUR
from curewatch.wording import Wording
from tests import record_world as world
from tests.record_attacks import need, shell_check

TOLD = {
    EntryKind.DEVIATION: {
        "deviation": "16 °C at the start",
        "decision": "24 h longer",
        "decided_by": "Foreman",
    },
    EntryKind.SIGN_OFF: {"role": "checked", "by": "M. Example, surveyor"},
    EntryKind.QUALITY: {
        "layer": "L2",
        "check": "thickness",
        "readings": [4.1, 4.3, 4.0],
        "value": 4.1333,
        "unit": "mm",
        "required": 4.0,
        "instrument": "gauge, checked 2026-11-02",
    },
    EntryKind.BATCH: {
        "batch": "B3",
        "resin_lot": "R-9",
        "resin_product": "Invented Resins A",
        "resin_expiry": "2026-10-31",
        "resin_mass": 0.1,
    },
}


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Written:
    place = tmp_path_factory.mktemp("survey")
    world.fill(place / "logbook.sqlite", step=900.0)
    with Logbook(place / "logbook.sqlite") as logbook:
        for kind, told in TOLD.items():
            logbook.write(Entry(kind, told, world.OPENED + 71 * HOUR, job=world.JOB))
        return write(logbook, world.JOB, place, at=world.OPENED + 5 * DAY)


def page(written: Written, first: int = 1, last: int = 1) -> str:
    need("pdftotext")
    said = subprocess.run(
        ["pdftotext", "-f", str(first), "-l", str(last), "-layout", str(written.pdf), "-"],
        capture_output=True,
        text=True,
        check=True,
    )
    return " ".join(said.stdout.split())


def test_each_rule_set_has_its_edition_and_each_layer_its_warmest(written: Written):
    """The edition is that of what judges, and another limit is another edition."""
    said = page(written, last=20)
    (edition, *_) = re.findall(r"edition ([0-9a-f]{8}) of these rules", said)
    assert re.search(r"Warmest .{3,12} .{3,40} within 5\.0 °C of it, by its surface", said)
    limit = Limit(291.15, "temperature", "published", "a source")
    one = Judgement("own", "Own", "a source", (Judged("air", limit, RuleOutcome.MET, 1, 0, 0, 0),))
    other = replace(one, rules=(replace(one.rules[0], limit=replace(limit, value=290.15)),))
    assert len({edition, one.edition, other.edition}) == 3
    assert one.edition == replace(one, rules=(replace(one.rules[0], outside=1),)).edition


@pytest.mark.long
def test_a_record_names_the_edition_that_reckoned_it(
    written: Written, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    """Another program of the same version is another edition; what it gives otherwise is told with both."""
    (tmp_path / "program.py").write_text("1")
    monkeypatch.setattr(curewatch, "__file__", str(tmp_path / "__init__.py"))
    first = editions.edition.__wrapped__()
    (tmp_path / "program.py").write_text("2")
    assert editions.edition.__wrapped__() != first
    monkeypatch.undo()
    told = reckoning.told

    def otherwise(account: Account, reader: Wording) -> tuple[Pages, dict[str, bytes]]:
        said, data = told(account, reader)
        return said, {name: content.replace(b"1", b"2") for name, content in data.items()}

    monkeypatch.setattr(reckoning, "told", otherwise)
    assert written.pdf is not None
    with pytest.raises(RecordBroken, match=re.escape(f"edition {editions.edition()} wrote")):
        verify(written.pdf)


@pytest.mark.long
def test_of_a_record_of_another_edition_all_but_the_reckoning_is_checked(
    written: Written, monkeypatch: pytest.MonkeyPatch
):
    """It does not hold, in a sentence with both editions; what else is wrong is named first."""
    told, ours = reckoning.told, editions.edition()

    def otherwise(account: Account, reader: Wording) -> tuple[Pages, dict[str, bytes]]:
        said, data = told(account, reader)
        return said, {name: content.replace(b"1", b"2") for name, content in data.items()}

    assert written.folder is not None
    assert written.pdf is not None
    monkeypatch.setattr(reckoning, "edition", lambda: "9.0 later")
    assert verify(written.folder).pages is not None  # it gives the same: nothing to tell
    monkeypatch.setattr(reckoning, "told", otherwise)
    for place in (written.pdf, written.folder):
        with pytest.raises(
            RecordBroken, match=f"9.0 later.*edition {re.escape(ours)} reckoned; all else holds"
        ):
            verify(place, code=written.seal.code)
    with pytest.raises(RecordBroken, match="seal code"):
        verify(written.pdf, code="0000-" * 6 + "0000")
    content = written.pdf.read_bytes()
    with pytest.raises(RecordBroken, match="as a whole"):
        verify_pdf(content.replace(b"/Marked true", b"/Marked flse"))


def test_page_1_alone_serves(written: Written):
    """What, where, who, when; met or not and why in one sentence; deviations, and who signed."""
    said = page(written)
    for each in (
        "New rudder cheek",
        "Kittiwake Nine",
        "Saltmarsh Shed",
        "25 Nov 2026 08:00",
        "28 Nov 2026 08:00",
    ):
        assert each in said, each
    assert re.search(r"Classed workshop: not met\. “[^”]+” was broken for [^;]+; the worst was", said)
    assert "16 °C at the start 24 h longer Foreman" in said
    assert "Done as written: nobody signed." in said
    assert "Checked: M. Example, surveyor" in said


def test_lots_readings_and_instruments_stand_in_the_evidence(written: Written):
    """Maker, lot and expiry, expired ones marked; how many readings, from where to where, by what."""
    assert written.folder is not None
    said = (written.folder / "pages.json").read_text()
    assert "2026-10-31, EXPIRED when mixed" in said
    assert "Invented Resins A" in said
    assert "4.133 mm, mean of 3 (4 to 4.3), 4.0 required, by gauge, checked 2026-11-02" in said
    assert "0 of 2,881" not in said


@pytest.mark.long
def test_only_the_chosen_rule_sets_are_judged_on_page_1(tmp_path: Path):
    """One was chosen: one stands there, the others only in the evidence."""
    world.fill(tmp_path / "logbook.sqlite", step=1800.0)
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        (opening,) = logbook.entries(EntryKind.JOB_OPEN)
        changes = {"corrects": opening.number, "changes": {"rules": ["coating"]}, "reason": "chosen"}
        logbook.write(Entry(EntryKind.CORRECTION, changes, world.OPENED + HOUR, job=world.JOB))
        made = write(logbook, world.JOB, tmp_path, at=world.OPENED + 5 * DAY)
    assert made.folder is not None
    data = json.loads((made.folder / "pages.json").read_text())
    assert [name for name, _ in data["outcomes"]] == ["Coating practice"]
    assert "Classed workshop" in page(made, 2, 6)


@pytest.mark.long
def test_counts_are_the_same_everywhere(written: Written):
    """Writing, verifying, the pages and check.sh."""
    assert written.folder is not None
    holds = verify(written.folder)
    assert (written.readings, written.entries) == (holds.readings, holds.entries)
    said = shell_check(written.folder).stdout
    assert f", {holds.readings} readings, {holds.entries} entries" in said
    assert f"{holds.readings:,} readings, {holds.entries:,} entries" in page(written, 1, 9)


@pytest.mark.long
def test_a_month_has_at_most_six_pages(tmp_path: Path):
    """And what is not on paper is in the files."""
    need("pdfinfo")
    world.fill(tmp_path / "logbook.sqlite", days=30.0, step=3600.0)
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        made = write(logbook, world.JOB, tmp_path, at=world.OPENED + 30 * DAY, folder=False)
    said = subprocess.run(["pdfinfo", str(made.pdf)], capture_output=True, text=True, check=True).stdout
    assert int(re.search(r"Pages:\s+(\d+)", said)[1]) <= 6  # type: ignore[index]


@pytest.mark.long
def test_the_pdf_is_of_both_standards(written: Written):
    """PDF/A-3a and PDF/UA-1 by its metadata; tagged, with language and title; each figure told in words.

    The compiler refuses what breaks either standard. No validator is a fair dependency (record/README.md).
    """
    need("pdfinfo", "qpdf")
    assert written.pdf is not None
    raw = written.pdf.read_bytes()
    for each in (b"<pdfaid:part>3<", b"<pdfaid:conformance>A<", b"<pdfuaid:part>1<"):
        assert each in raw, each
    subprocess.run(["qpdf", "--check", str(written.pdf)], check=True, capture_output=True)
    plain = subprocess.run(
        ["qpdf", "--qdf", "--object-streams=disable", str(written.pdf), "-"], capture_output=True, check=True
    ).stdout
    assert b"/Marked true" in plain
    assert re.search(rb"/Lang \(en", plain)
    assert b"/DisplayDocTitle true" in plain
    figures = re.findall(rb"<<(?:(?!endobj).)*?/S /Figure(?:(?!endobj).)*?endobj", plain, re.DOTALL)
    assert len(figures) >= 4
    assert all(b"/Alt" in one for one in figures)
    objects = dict(re.findall(rb"\n(\d+) 0 obj\n(.*?)\nendobj", plain, re.DOTALL))
    tables = [said for said in objects.values() if b"/S /Table" in said]
    assert len(tables) >= 8
    assert all(is_headed(said, objects) for said in tables)
    for tag in (b"/S /H1", b"/S /Table", b"/S /TH", b"/S /Caption"):
        assert tag in plain, tag


def is_headed(said: bytes, objects: dict[bytes, bytes]) -> bool:
    """Whether a cell below tells what a column is; a table without one says nothing when read aloud."""
    if b"/S /TH" in said:
        return True
    kids = re.search(rb"/K (?:\[(.*?)\]|(\d+ 0 R))", said, re.DOTALL)
    below = re.findall(rb"(\d+) 0 R", kids[0]) if kids else []
    return any(b"/S /" in objects[each] and is_headed(objects[each], objects) for each in below)


@pytest.mark.long
def test_copied_text_is_the_text(written: Written):
    """Digests and codes are whole, and no character stands in them that nobody sees."""
    assert written.folder is not None
    said = page(written, 1, 9)
    assert verify(written.folder).seal.head in said
    assert written.seal.code in said
    assert "\u200b" not in said
    assert "\u00ad" not in said


@pytest.mark.parametrize(
    ("command", "kind", "told"),
    [
        (
            ["deviation", "--deviation", "cold", "--decision", "wait", "--decided-by", "F."],
            "deviation",
            "cold",
        ),
        (["sign", "--as", "checked", "--by", "M. Example"], "sign-off", "checked"),
        (["quality", "--check", "thickness", "--readings", "4.1, 4.3,4.0"], "quality", (4.1 + 4.3 + 4.0) / 3),
        (["quality", "--check", "barcol", "--readings", "41 43", "--required", "38"], "quality", 42.0),
    ],
)
def test_it_is_told_at_the_bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command, kind, told):
    """By the commands, into the logbook."""
    (tmp_path / "c.toml").write_text(f'[logbook]\npath = "{tmp_path / "l.sqlite"}"\n')
    monkeypatch.setenv("CUREWATCH_CONFIG", str(tmp_path / "c.toml"))
    typed(["open", "--title", "cheek", "--hin", "XX-KITT9", "--place", "frame 9"])
    if kind == "quality":
        typed(["batch", "--resin", "epoxy-slow", "--resin-mass", "200", "--hardener-mass", "44"])
        layer(tmp_path / "l.sqlite")
    typed(command)
    with Logbook(tmp_path / "l.sqlite") as logbook:
        assert logbook.entries(EntryKind.JOB_OPEN)[0].payload["hin"] == "XX-KITT9"
        (found,) = logbook.entries(kind)
    assert any(pytest.approx(told) == each for each in found.payload.values() if isinstance(each, type(told)))


def typed(command: list[str]) -> None:
    with pytest.raises(SystemExit) as left:
        run(["job", *command, "--json"])
    assert not left.value.code


def layer(path: Path) -> None:
    """Written as the daemon of another bench would have."""
    with Logbook(path) as logbook:
        told = {"layer": "L1", "started": world.OPENED, "resin": "epoxy-slow"}
        (job,) = logbook.entries(EntryKind.JOB_OPEN)
        logbook.write(Entry(EntryKind.LAYER, told, job.at, job=job.job))
