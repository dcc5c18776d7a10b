"""The record of a whole job: what it holds, what it says, and what it does not let through."""

import base64
import io
import json
import re
from datetime import datetime
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from msgspec.structs import replace
from PIL import Image

from curewatch import configuration
from curewatch.advice.judge.rules import RuleOutcome
from curewatch.errors import RecordBroken
from curewatch.logbook import Entry, EntryKind, Logbook, StoredEntry
from curewatch.logbook.sealing import seal
from curewatch.materials import load_resin
from curewatch.model.film import film
from curewatch.model.fit import evidence as observed
from curewatch.phrases import phrase
from curewatch.readings import Flag, Reading
from curewatch.record import account, chart, page_limits, page_shed, page_work, screen
from curewatch.record.account import gather
from curewatch.record.examination import verify
from curewatch.record.measured import Post, between, measure, part_of
from curewatch.record.page import Pages, PageTable
from curewatch.record.pages import _resin_titles, _words, pages
from curewatch.record.plain import as_plain
from curewatch.record.words import RecordWords
from curewatch.record.writing import write
from curewatch.shed.known_names import configuration_entry
from curewatch.units import DAY, HOUR, MINUTE
from curewatch.wording import Wording, kept
from tests import record_world as world


def texts(said: Pages) -> str:
    """Every word of the pages."""
    found = [said.subject, *(text for fact in said.facts for text in fact)]
    for section in said.sections:
        for block in section.blocks:
            if isinstance(block, str):
                found.append(block)
            elif isinstance(block, PageTable):
                found += [cell for row in block.rows for cell in row]
    return "\n".join(found)


def test_what_a_broker_held_back_is_counted_and_not_used(tmp_path: Path) -> None:
    """The record says how many readings are of unknown age; no minute of it rests on them."""
    post, start, kept_back = Post("bench", "air", part_of("unknown")), 1_795_640_400.0, 7
    warm = [
        Reading(
            "bench", start + 240.0 + n, start + 240.0 + n, 300.0, 0.3, flags=Flag.BACKLOG | Flag.AGE_GIVEN
        )
        for n in range(kept_back)
    ]
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        logbook.append([Reading("bench", start + MINUTE * n, start, 285.0, 0.7) for n in range(0, 10, 3)])
        logbook.append(warm)
        measured = measure(logbook, [post], start, start + 9 * MINUTE, None)
        said = account._heard(logbook, post, [], start, start + 10 * MINUTE)
    assert np.allclose(measured.air_temperature, 285.0)
    assert (said.readings, said.of_unknown_age) == (4, kept_back)
    assert "7 of unknown age" in " ".join(
        page_limits._sensor_row(said, RecordWords(Wording(ZoneInfo("UTC"))))
    )


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory):
    path = tmp_path_factory.mktemp("job") / "logbook.sqlite"
    closing = world.fill(path)
    with Logbook(path) as logbook:
        yield logbook, gather(logbook, world.JOB, closing)


def test_the_account_holds_what_was_done_and_what_was_measured(job):
    """Layups with their bands in order, the gap as unknown minutes, the judgement of each rule set."""
    _, account = job
    plain = json.loads(json.dumps(as_plain(account)))
    assert [one["layer"] for one in plain["layers"]] == ["L1", "L2"]
    for layer in plain["layers"]:
        for name, told in layer["marks"].items():
            early, likely, late = (datetime.fromisoformat(each).timestamp() for each in told)
            slack = 2.0 if name == "ready-to-sand" else -1.0  # [s], the stated wait is one for every lot
            assert early < likely + slack, (name, told)
            assert likely < late + slack, (name, told)
    assert 60 <= plain["minutes"]["margin_unknown"] <= 70
    assert {one["name"]: one["outcome"] for one in plain["rule_sets"]} == {
        "classed-workshop": "not-met",
        "datasheet": "cannot-be-shown",
        "coating": "cannot-be-shown",
    }
    assert all(
        rule.first for one in account.judgements for rule in one.rules if rule.outcome is RuleOutcome.NOT_MET
    )


def test_the_pages_say_who_did_what_when_and_with_which_lots(job):
    """Lots, people, the late entry, the gap, the refusals and the alert are all on paper."""
    _, account = job
    said = texts(pages(account))
    for words in (
        "R-2217",
        "H-0914",
        "the owner",
        "told 26 Nov",
        "nothing came from it",
        "not a number",
        "cover it",
    ):
        assert words in said, words
    assert "another job" not in said


def test_every_resin_that_was_laid_stands_on_the_first_page(job):
    """Epoxy laid over polyester: a reader who stops there knows of both; one resin stands there once."""
    _, told = job
    lower, *further = told.courses
    mixed = (lower._replace(resin=load_resin("polyester-laminating")), *further)
    for courses, names in ((told.courses, ["epoxy-slow"]), (mixed, ["polyester-laminating", "epoxy-slow"])):
        titles = _resin_titles(replace(told, courses=courses))
        assert re.findall(r"\(([a-z-]+)\)", titles) == names
    assert _resin_titles(replace(told, courses=())) == "epoxy-slow"


@pytest.mark.long
def test_other_jobs_are_in_the_proof_by_their_digest_alone(job, tmp_path: Path):
    """An entry of another job in the same blocks is counted and not shown."""
    logbook, _ = job
    written = write(logbook, world.JOB, tmp_path, at=world.OPENED + 5 * DAY, pdf=False)
    assert written.folder is not None
    assert verify(written.folder).left_out == 1
    assert b"another job" not in (written.folder / "entries.jsonl").read_bytes()


def test_a_job_without_readings_has_a_record_that_says_so(tmp_path: Path):
    """No sensor ever spoke: no limit can be shown to be met, and the record still proves its entries."""
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        for entry in world.work():
            logbook.write(entry)
        closing = seal(logbook, reason="job-close", at=world.OPENED + 3 * DAY)
        account = gather(logbook, world.JOB, closing)
        assert {rule.outcome for one in account.judgements for rule in one.rules} <= {
            RuleOutcome.NOT_SHOWN,
            RuleOutcome.NOT_MET,
        }
        assert "not known" in texts(pages(account))
        written = write(logbook, world.JOB, tmp_path, at=world.OPENED + 3 * DAY)
    assert written.pdf is not None
    assert verify(written.pdf, code=closing.code).readings == 0


@pytest.mark.long
def test_a_job_across_a_change_of_clocks_shows_offsets(tmp_path: Path):
    """In the night in which clocks go back, 01:30 comes twice, and the pages tell the two apart."""
    october = 1_792_836_000.0  # 2026-10-24T10:00Z; clocks go back on the 25th at 01:00Z
    closing = world.fill(tmp_path / "logbook.sqlite", opened=october)
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        account = gather(logbook, world.JOB, closing)
        said = texts(pages(account))
    assert account.zone == ZoneInfo("Europe/Lisbon")
    assert "24 Oct 11:00 +0100" in said
    assert "27 Oct 10:00 +0000" in said
    assert np.all(np.diff(account.measured.time) == MINUTE)


def test_a_job_from_summer_to_summer_shows_offsets_too():
    """Its first and its last hour have the same offset; the night in between has 01:30 twice."""
    zone = ZoneInfo("Europe/Lisbon")
    start = datetime(2026, 9, 1, tzinfo=zone).timestamp()
    jobs: list[Any] = [
        SimpleNamespace(zone=zone, start=start, end=start + months * 30 * DAY) for months in (1, 3, 8)
    ]
    assert [_words(each, Wording()).clocks_change for each in jobs] == [False, True, True]


def test_a_band_of_lots_is_told_in_order_of_time():
    """A window that blush closes: of a slow lot it closes first."""
    words = RecordWords(Wording())
    fast, slow = 1_795_640_400.0 + HOUR, 1_795_640_400.0
    assert words.band(fast, slow) == words.band(slow, fast) == "25 Nov 21:00 to 25 Nov 22:00"
    assert words.band(None, slow) == "from 25 Nov 21:00; fast lots not within the record"
    assert words.band(slow, None) == "from 25 Nov 21:00; slow lots not within the record"


@pytest.mark.long
def test_an_open_job_has_its_record_so_far(tmp_path: Path):
    """Without a close the record is sealed now, says so, and a later one has another code."""
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        for entry in world.work()[:5]:
            logbook.write(entry)
        logbook.append(list(world.readings(world.OPENED, world.OPENED + 4 * HOUR)))
        first = write(logbook, world.JOB, tmp_path / "a", at=world.OPENED + 4 * HOUR, pdf=False)
        logbook.write(Entry(EntryKind.NOTE, {"text": "more"}, world.OPENED + 5 * HOUR, job=world.JOB))
        second = write(logbook, world.JOB, tmp_path / "b", at=world.OPENED + 5 * HOUR, pdf=False)
    assert first.folder is not None
    assert second.folder is not None
    assert first.seal.code != second.seal.code
    assert verify(second.folder, code=first.seal.code)
    assert "still open" in (first.folder / "record.html").read_text()


def test_a_correction_is_applied_and_shown(tmp_path: Path):
    """The corrected value stands in the table; what it was, and why, stands among the corrections."""
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        stored = [logbook.write(entry) for entry in world.work()[:4]]
        batch = next(one for one in stored if one.kind == EntryKind.BATCH)
        payload = {"corrects": batch.number, "changes": {"resin_lot": "R-9999"}, "reason": "misread the tin"}
        logbook.write(Entry(EntryKind.CORRECTION, payload, world.OPENED + 3 * HOUR, job=world.JOB))
        account = gather(logbook, world.JOB, seal(logbook, reason="record", at=world.OPENED + 4 * HOUR))
        said = texts(pages(account))
    assert "R-9999" in said
    assert "R-2217 became R-9999. misread the tin" in said


def test_each_correction_says_what_stood_before_it_and_a_withdrawn_entry_says_so(tmp_path: Path):
    """A second correction starts from the first; what was undone is not told as done."""
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        stored = [logbook.write(entry) for entry in world.work()[:-1]]
        batch, again = (one.number for one in stored if one.kind == EntryKind.BATCH)
        layer = next(one.number for one in stored if one.kind == EntryKind.LAYER)
        later = stored[-1].recorded + HOUR
        for number, changes in (
            (batch, {"resin_mass": 0.16}),
            (batch, {"resin_mass": 0.155}),
            (layer, {"fibre_share": 0.5, "moisture": 0.115}),
            (again, {"withdrawn": True}),
        ):
            payload = {"corrects": number, "changes": changes, "reason": "read again"}
            logbook.write(Entry(EntryKind.CORRECTION, payload, later, job=world.JOB))
        account = gather(logbook, world.JOB, seal(logbook, reason="record", at=later + HOUR))
        said = texts(pages(account))
    assert "resin mass: 150 g became 160 g" in said
    assert "resin mass: 160 g became 155 g" in said
    assert "fibre share: nothing became 50 %; moisture: nothing became 11.5 %" in said
    assert re.search(r"Batch B2 mixed: .* \(withdrawn; corrected by entry \d+\)", said)
    assert f"of entry {again}: withdrawn. read again" in said


def test_corrected_values_read_as_people_write_them_and_late_words_are_marked(tmp_path: Path):
    """Masses in grams, hours in the shed's time, a ratio in its words; what came after the close says so."""
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        stored = [logbook.write(entry) for entry in world.work()]
        batch = next(one for one in stored if one.kind == EntryKind.BATCH)
        layer = next(one for one in stored if one.kind == EntryKind.LAYER)
        later = stored[-1].recorded + HOUR
        for number, changes in (
            (
                batch.number,
                {"resin_mass": 0.14, "ratio": {"within": False, "text": "23.6 of hardener to 100"}},
            ),
            (layer.number, {"at": layer.at - 600.0, "started": layer.at - 600.0}),
        ):
            payload = {"corrects": number, "changes": changes, "reason": "read again"}
            logbook.write(Entry(EntryKind.CORRECTION, payload, later, job=world.JOB))
        logbook.write(Entry(EntryKind.NOTE, {"text": "a scratch found"}, later, job=world.JOB))
        logbook.write(Entry(EntryKind.PEEL_PLY, {"layer": "L1", "action": "off"}, later, job=world.JOB))
        account = gather(logbook, world.JOB, seal(logbook, reason="record", at=later + HOUR))
        said = texts(pages(account))
    assert "resin mass: 150 g became 140 g" in said
    assert "became OUT OF TOLERANCE: 23.6 of hardener to 100" in said
    assert "at: 25 Nov 10:00 became 25 Nov 09:50" in said
    assert "Note: a scratch found (after the job was closed)" in said
    assert "after the close" in said
    assert "started:" not in said  # it goes with the moment
    assert ": peel ply" in said
    assert "peel-ply" not in said


def test_a_polyester_is_recorded_with_its_peroxide_and_its_dose(tmp_path: Path):
    """A table of its own under its own name; the dose, and that nobody gave it."""
    mixed = {"batch": "B9", "resin": "polyester-laminating", "resin_mass": 0.1, "peroxide_mass": 0.002}
    laid = {"layer": "L9", "resin": "polyester-laminating", "peroxide_percent": 2.0, "peroxide_assumed": True}
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        stored = [logbook.write(entry) for entry in world.work()]
        later = stored[-1].recorded + HOUR
        logbook.write(Entry(EntryKind.BATCH, {**mixed, "peroxide_lot": "P-7"}, later, job=world.JOB))
        logbook.write(Entry(EntryKind.LAYER, {**laid, "started": later}, later, job=world.JOB))
        account = gather(logbook, world.JOB, seal(logbook, reason="record", at=later + HOUR))
        said = pages(account)
    assert re.search(r"Batch B9 mixed: 100(.0)? g resin, 2(.0+)? g peroxide", texts(said))
    assert "polyester-laminating, 2 % peroxide (assumed)" in texts(said)
    heads = [block.head for each in said.sections for block in each.blocks if isinstance(block, PageTable)]
    assert [head[5] for head in heads if "Resin lot" in head] == ["Hardener", "Peroxide"]


def test_what_the_program_did_reads_as_words(tmp_path: Path):
    """Started, stopped, a source that does not answer, a silent sensor: sentences, no keys."""
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        for entry in world.work():
            logbook.write(entry)
        for kind, payload in (
            ("daemon", {"what": "started", "sources": ["usb"]}),
            ("source", {"source": "usb", "up": False, "reason": "cable out"}),
            (
                "health",
                {"sensor": "bench", "health": "silent", "was": "fresh", "reason": "no report", "since": 0},
            ),
        ):
            logbook.write(Entry(kind, payload, world.OPENED + 3 * HOUR))
        account = gather(logbook, world.JOB, seal(logbook, reason="record", at=world.OPENED + 40 * HOUR))
        said = texts(pages(account))
    assert "the program was started" in said
    assert "usb does not answer: cable out" in said
    assert "bench: silent (no report)" in said


@pytest.mark.long
def test_alerts_of_another_jobs_layup_are_not_shown(tmp_path: Path):
    """The shed's and this job's alerts are on paper, another job's layup's and yesterday's are not."""
    world.fill(tmp_path / "logbook.sqlite", step=1800.0)
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        for subject, at in (("L1", 5.0), ("L7", 6.0), ("hull", 7.0), ("bench", -3.0)):
            payload = {"happening": "raised", "alert": "demo", "subject": subject, "text": f"about {subject}"}
            logbook.write(Entry(EntryKind.ALERT, payload, world.OPENED + at * HOUR))
        made = seal(logbook, reason="record", at=world.OPENED + 5 * DAY)
        said = texts(pages(gather(logbook, world.JOB, made)))
    assert "about L1" in said
    assert "about hull" in said
    assert "about L7" not in said
    assert "about bench" not in said
    assert "3 alerts were raised" in said


@pytest.mark.long
def test_a_lot_that_was_seen_is_followed_as_it_showed_itself(tmp_path: Path):
    """Two observations of the lot narrow the band of its layup, and the page says whose lot it is."""
    closing = world.fill(tmp_path / "logbook.sqlite", step=900.0)
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        before = gather(logbook, world.JOB, closing)
        for seen, elapsed in (("gelled", 9.2 * HOUR), ("tack-free", 10.0 * HOUR)):
            evidence = observed.as_plain(observed.Evidence(seen, elapsed, film.constant(289.6, elapsed)))
            payload = {**evidence, "layer": "L9", "resin": "epoxy-slow", "lot": "R-2217", "at": world.OPENED}
            logbook.write(Entry(EntryKind.OBSERVATION, payload, world.OPENED + 4 * DAY))
        after = gather(logbook, world.JOB, seal(logbook, reason="record", at=world.OPENED + 5 * DAY))
    width = [one.courses[0].marks["gel"].late - one.courses[0].marks["gel"].early for one in (before, after)]
    assert width[1] < 0.8 * width[0]
    told = "the resin as the observations of its lot have shown it to be"
    assert told in texts(pages(after))
    assert told not in texts(pages(before))


def test_the_carbon_dioxide_is_the_configured_one_where_nobody_measured_it(tmp_path: Path) -> None:
    """What the daemon went by stands in its configuration entry."""
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        settings = configuration.parse("[shed]\ncarbon_dioxide_ppm = 900\n")
        logbook.append(entries=[configuration_entry(settings, world.OPENED - HOUR), *world.work()])
        found = gather(logbook, world.JOB, seal(logbook, reason="record", at=world.OPENED + 4 * DAY))
    assert np.all(found.measured.carbon_dioxide == 900e-6)


def test_photographs_are_shown_small_and_one_that_is_none_is_named(tmp_path: Path):
    """A thumbnail is packed anew for the page; rubbish that calls itself one holds nothing up."""
    picture = io.BytesIO()
    Image.new("RGB", (300, 200), "navy").save(picture, "JPEG")
    rubbish = b"\xff\xd8\xff\xe0" + bytes(200)
    long = "x" * 400
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        for entry in world.work()[:4]:
            logbook.write(entry)
        for n, content in enumerate((picture.getvalue(), rubbish)):
            payload = {
                "file": f"cheek-{n}.jpg",
                "sha256": "ab" * 32,
                "thumbnail": base64.b64encode(content).decode(),
                "text": long,
            }
            logbook.write(Entry(EntryKind.PHOTO, payload, world.OPENED + 3 * HOUR, job=world.JOB))
        written = write(logbook, world.JOB, tmp_path, at=world.OPENED + 4 * HOUR)
    assert written.folder is not None
    html = (written.folder / "record.html").read_text()
    assert html.count("data:image/jpeg;base64,") == 1
    assert "cheek-1.jpg" in html
    assert "its thumbnail cannot be read" in html
    assert verify(written.folder)


def test_an_exchanged_sensor_is_shown(tmp_path: Path):
    """A configuration that gives a role to another sensor in mid-job stands among the blemishes."""
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        logbook.write(world.configuration(world.OPENED - DAY))
        for entry in world.work()[:4]:
            logbook.write(entry)
        changed = world.configuration(world.OPENED + 3 * HOUR)
        sensors = {
            "spare": {"role": "surface", "part": "probe"},
            "bench": changed.payload["sensors"]["bench"],
        }
        logbook.write(Entry(changed.kind, {**changed.payload, "sensors": sensors}, changed.at))
        account = gather(logbook, world.JOB, seal(logbook, reason="record", at=world.OPENED + 4 * HOUR))
    said = texts(pages(account))
    assert "hull: surface, probe became not configured" in said
    assert "spare: not configured became surface, probe" in said


@pytest.mark.parametrize(
    ("kind", "payload", "told"),
    [
        ("sensor", {"sensor": "yrad", "unknown": True}, "yrad is not in the configuration: stored, and"),
        ("source", {"source": "port", "notice": "two programs read"}, "port: two programs read"),
        ("dropped", {"source": "port", "pieces": 7}, "port: 7 pieces dropped unread"),
        (
            "daemon",
            {"what": "store resumed", "reason": "full", "dropped": 0},
            "takes readings again; none were",
        ),
        (
            "daemon",
            {"what": "logbook of no shed", "logbooks": "north.sqlite"},
            "begun; of no shed in the configuration: north.sqlite",
        ),
        (
            "clock",
            {"reason": "moved", "step": -90.0, "before": 2.0, "after": 1.0},
            "clock moved back by 90 s",
        ),
        (
            "prune",
            {"before": world.OPENED, "blocks": "1", "readings": 9, "kept_for": []},
            "9 readings of before 25 Nov",
        ),
        ("sensor", {"of another edition": "as it is"}, "of another edition: as it is"),
    ],
)
def test_what_the_program_noticed_is_told_in_words(
    kind: str, payload: dict[str, object], told: str, tmp_path: Path
):
    """No line is a list of keys; what this edition does not know is shown as it is: the control."""
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        for entry in world.work()[:4]:
            logbook.write(entry)
        logbook.write(Entry(kind, payload, world.OPENED + 3 * HOUR))
        account = gather(logbook, world.JOB, seal(logbook, reason="record", at=world.OPENED + 4 * HOUR))
    assert told in texts(pages(account))


HOSTILE = (
    '<script>alert(1)</script><img src=x onerror=alert(1)> #eval("1") #read("/etc/passwd") $x$ *b* [c] @ref '
    '\\ `raw` =cmd|"/c calc"!A1 \x1b[2J\x1b]0;t\x07 \u202e ../../../etc/passwd "); #import "x"'
)


KEPT = {"job", "layer", "resin", "zone", "surface"}


@pytest.mark.long
def test_text_from_outside_stays_text(tmp_path: Path):
    """Notes, lots and names that try to be markup, code, formula, path or escape are shown as text."""
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        for entry in world.work():
            payload = {
                key: HOSTILE if isinstance(value, str) and key not in KEPT else value
                for key, value in entry.payload.items()
            }
            logbook.write(Entry(entry.kind, payload, entry.at, job=entry.job, recorded=entry.recorded))
        logbook.append(
            r._replace(sensor=HOSTILE[:60] if r.sensor == "yard" else r.sensor)
            for r in world.readings(world.OPENED, world.OPENED + 6 * HOUR)
        )
        written = write(logbook, world.JOB, tmp_path, at=world.OPENED + 4 * DAY)
    assert written.pdf is not None
    assert written.folder is not None
    assert verify(written.pdf).entries == len(world.work()) + 1  # and the account
    html = (written.folder / "record.html").read_text()
    assert "<script" not in html
    assert "<img" not in html
    assert "&lt;script&gt;" in html
    for name in ("record.html", "readings.csv", "entries.jsonl", "account.json", "digests.csv"):
        content = (written.folder / name).read_bytes()
        assert not re.search(rb"[\x00-\x08\x0b-\x1f\x7f]", content), name
    for line in (written.folder / "readings.csv").read_text().splitlines()[1:]:
        assert not any(re.match(r"[=+@\t|]", cell) for cell in line.split(","))
    assert {path.name for path in tmp_path.iterdir()} == {
        "logbook.sqlite",
        "logbook.sqlite.key",
        "logbook.sqlite.sealed",
        f"record-{world.JOB}",
        f"record-{world.JOB}.pdf",
    }


def test_the_html_page_asks_for_nothing(job):
    """No script, no link, no address to fetch; a policy forbids it as well."""
    _, account = job
    html = screen.html(pages(account))
    assert "default-src 'none'" in html
    assert not re.search(r"<(script|link|iframe|object|embed|form|base)\b", html)
    assert not re.search(r"\b(src|href|action)\s*=\s*[\"'](?!data:)", html)
    assert not re.search(r"url\(|@import|http-equiv=\"refresh", html)


def test_a_file_that_is_no_record_is_broken_not_a_crash(tmp_path: Path):
    """Anything else with that name is said to be none."""
    for content in (
        b"",
        b"%PDF-1.7\n",
        b"\x00" * 500,
        b"%PDF-1.7\n<</Type/Filespec/F(seal.txt)/EF<</F 1 0 R",
    ):
        (tmp_path / "x.pdf").write_bytes(content)
        with pytest.raises(RecordBroken):
            verify(tmp_path / "x.pdf")
    (tmp_path / "folder").mkdir()
    with pytest.raises(RecordBroken, match="folder: expected the files of a record"):
        verify(tmp_path / "folder")


def test_what_lies_in_a_gap_is_unknown():
    """Readings further apart than a quarter of an hour tell nothing of what lay between them."""
    at = np.array([0.0, 600.0, 1200.0, 4800.0, 5400.0])
    value = np.array([280.0, 281.0, 282.0, 283.0, 284.0])
    found = between(np.array([0.0, 300.0, 1200.0, 3000.0, 4800.0, 5100.0, 9000.0]), at, value)
    assert np.isnan(found).tolist() == [False, False, False, True, False, False, True]
    assert found[1] == pytest.approx(280.5)


def test_a_job_begun_after_the_readings_it_needs_has_their_blocks_too(tmp_path):
    """Readings of an earlier block belong to the record; so does that block's link of the chain."""
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        logbook.append(list(world.readings(world.OPENED - 4 * HOUR, world.OPENED)))
        assert logbook.head().block > 1
        logbook.write(Entry(EntryKind.JOB_OPEN, {"job": "J1", "title": "cheek"}, world.OPENED, job="J1"))
        logbook.write(Entry(EntryKind.JOB_CLOSE, {"job": "J1"}, world.OPENED + 30.0, job="J1"))
        seal(logbook, reason="job-close", at=world.OPENED + 31.0)
        written = write(logbook, "J1", tmp_path, at=world.OPENED + 40.0)
    assert written.pdf is not None
    assert verify(written.pdf).first_block == 1
    assert b"\n1," in (written.folder / "readings.csv").read_bytes()


def test_a_sentence_has_the_lot_of_a_layer_without_batches_and_a_moment_as_people_write_it():
    """A layer told alone names its lot; a peel coupon's moment is rounded and says load and arm."""
    layer = {"layer": "L1", "resin": "epoxy-slow", "lot": "R-9", "batch_mass": 0.15}
    assert "150 g in one pot" in page_work._sentence("layer", layer, RecordWords(Wording()))
    assert "resin lot R-9" in page_work._sentence("layer", layer, RecordWords(Wording()))
    peel = {"layer": "L1", "check": "peel coupon", "load": 2.0, "arm": 0.12, "value": 2.3535959999999996}
    said = page_work._sentence("quality", peel | {"unit": "N m", "passed": True}, RecordWords(Wording()))
    assert said == "Check of layer L1, peel coupon: 2.354 N m (2000 g on 120 mm), passed"


@pytest.mark.long
def test_the_pages_are_in_the_readers_units_and_the_proof_is_not(job, tmp_path: Path):
    """Fahrenheit, ounces and a 12-hour clock on every page and chart; the same files of the proof."""
    logbook, account = job
    american = Wording(fahrenheit=True, ounces=True, twelve_hours=True)
    html = screen.html(pages(account, american))
    read = " ".join(re.sub(r"<[^>]+>", " ", html).split())
    assert "°F, oz, 12-hour clock; the attached files: SI and UTC" in read
    old = "the hull comes within 3 K of the dew point at about 05:30 warm the hull by 2 K or cover it"
    assert old in read  # an alert of an older logbook has no numbers: as it stands
    read = re.sub(r"\d{4}-\d\d-\d\dT[\d:.]+Z", "", read.replace(old, "").replace("450 g/m2", ""))
    foreign = r"°C|degC| \d[\d.]* K\b|\d\d:\d\d(?! [ap]m)(?![:\d])|\d g\b"
    assert not re.findall(foreign, read)
    assert "°C, g, 24-hour clock" in texts(pages(account))
    files = {
        units: write(logbook, world.JOB, tmp_path / units, at=account.end, pdf=False, reader=reader).folder
        for units, reader in (("here", None), ("there", american))
    }
    for name in ("account.json", "readings.csv"):
        assert len({(folder / name).read_bytes() for folder in files.values() if folder}) == 1


def test_an_alert_with_its_numbers_is_told_in_the_readers_units():
    """The sentence is worded for the page; what is missing is a dash."""
    wet = phrase("surface {margin:difference} above dew point at {seen:moment}", margin=1.5, seen=HOUR)
    payload = kept(Wording(), HOUR, text=wet)
    american = RecordWords(Wording(fahrenheit=True, twelve_hours=True))
    assert american.told(payload, "text", HOUR) == "surface 2.7 °F above dew point at 1:00 am"
    assert american.told({}, "text", HOUR) == "–"


def _rows(said: Pages, heading: str) -> list[tuple[str, ...]]:
    """The rows of the first table under a heading."""
    (section,) = (one for one in said.sections if one.heading == heading)
    return list(next(block for block in section.blocks if isinstance(block, PageTable)).rows)


def test_a_hole_in_the_readings_is_a_gap_on_paper_also_when_no_daemon_told_of_it(tmp_path: Path):
    """Nothing ran for an hour: three sensors' hole is one line; a gap that was told stays one line, too."""
    begin, hole = world.OPENED - HOUR, world.OPENED + 3 * HOUR
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        logbook.append(
            list(world.readings(begin, hole, 300.0))
            + list(world.readings(hole + HOUR, hole + 5 * HOUR, 300.0)),
            [world.configuration(begin)],
        )
        for entry in world.work()[:4]:
            logbook.write(entry)
        closing = seal(logbook, reason="record", at=hole + 5 * HOUR)
        account = gather(logbook, world.JOB, closing)
        found = _rows(pages(account), "Gaps, clocks, rejections and corrections")
        assert [row for row in found if row[1] == "gap"] == [
            ("25 Nov 10:55", "gap", "bench, hull, yard: nothing until 25 Nov 12:00 (1 h 5 min)")
        ]
        told = Entry(
            EntryKind.GAP,
            {"sensor": "bench", "start": hole - 300.0, "end": hole + HOUR, "reason": "nothing came from it"},
            hole + HOUR,
        )
        with_it = replace(account, shed=(*account.shed, _stored(logbook, told)))
    gaps = [
        row[2] for row in _rows(pages(with_it), "Gaps, clocks, rejections and corrections") if row[1] == "gap"
    ]
    assert sorted(text.partition(":")[0] for text in gaps) == ["bench", "hull, yard"]


def _stored(logbook: Logbook, entry: Entry) -> StoredEntry:
    """An entry as the logbook gives it back."""
    logbook.write(entry)
    return list(logbook.entries(entry.kind))[-1]


def test_entries_have_their_numbers_on_paper(job):
    """What was corrected, and by which entry, can be found on the same page; one layer is not 1 layers."""
    _, account = job
    rows = _rows(pages(account), "What was done")
    told = [
        one
        for one in account.job.told
        if one.kind not in {EntryKind.SEAL, EntryKind.ALERT, EntryKind.CORRECTION}
    ]
    assert {row[0] for row in rows} == {str(one.number) for one in told}
    assert page_work._sentence(
        EntryKind.LAYER, {"layer": "L1", "layers": 1, "cloth": "demo cloth"}, RecordWords(Wording())
    ).startswith("Layer L1 begun, 1 layer of demo cloth")
    assert page_work._sentence(
        EntryKind.LAYER, {"layer": "L2", "part": "keel bolt pocket", "layers": 2}, RecordWords(Wording())
    ).startswith("Layer L2 begun, keel bolt pocket, 2 layers of cloth")


def test_a_chart_of_a_few_minutes_has_times_under_it():
    """A layer told just before the record was written: round minutes, where no full hour falls into it."""
    begin = world.OPENED + 62.0
    drawn = chart.RecordChart("demo", "K", begin, begin + 900.0, Wording(zone=ZoneInfo("Europe/Lisbon")), ())
    found = list(chart._ticks(drawn))
    assert [(label, day) for _, label, day in found] == [
        ("08:05", "25 Nov"),
        ("08:10", ""),
        ("08:15", ""),
    ]
    assert all(begin <= at <= begin + 900.0 for at, _, _ in found)


def test_the_record_says_for_which_thickness_its_window_is(job):
    """The layer's thickness and what it lies on stand beside its times."""
    _, account = job
    marks = page_shed._marks(account, account.courses[0], RecordWords(Wording()))
    rows = {str(row[0]): str(row[1]) for row in marks.rows}
    assert " mm on plywood" in rows["Followed as"]
