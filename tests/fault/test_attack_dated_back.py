"""Attack: the owner makes up a history and dates it as he likes, or shows somebody else's date for it.

Only what an authority dated was there at a time. Program and shell name who dated what, or that nobody did.
"""

import base64
import json
import shutil
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from curewatch.cli.main import run
from curewatch.clock import iso_utc, utc_from_iso
from curewatch.errors import ConfigurationError, RecordBroken, StoreFailed
from curewatch.logbook import Entry, EntryKind, Logbook, stamping
from curewatch.logbook.sealing import seal, seals
from curewatch.logbook.stamping import Authority, read_authority, stamp_last, stamp_of
from curewatch.record import verification
from curewatch.record.examination import verify
from curewatch.record.verification import verify_files
from curewatch.record.writing import write
from curewatch.units import DAY
from tests import record_world as world
from tests.certificates import RSA
from tests.record_attacks import LISTED, OwnChain, Sealed, checksums, own_copy, shell_check
from tests.stamping_authority import StampingAuthority, serving

LATER = world.OPENED + 5 * DAY


@pytest.fixture(scope="module")
def harbour(tmp_path_factory: pytest.TempPathFactory) -> StampingAuthority:
    """With keys as most authorities have them."""
    return StampingAuthority(tmp_path_factory.mktemp("harbour"), kind=RSA)


@pytest.fixture(scope="module")
def rival(tmp_path_factory: pytest.TempPathFactory) -> StampingAuthority:
    """The owner's own authority."""
    return StampingAuthority(tmp_path_factory.mktemp("rival"), "rival")


@pytest.fixture(scope="module")
def both(harbour: StampingAuthority, rival: StampingAuthority) -> tuple[StampingAuthority, StampingAuthority]:
    return harbour, rival


@pytest.fixture(scope="module")
def authority(harbour: StampingAuthority) -> Iterator[Authority]:
    with serving(harbour.answer) as address:
        yield Authority(address, harbour.roots.read_bytes())


@pytest.fixture
def logbook(sealed: Sealed, tmp_path: Path):
    with Logbook(own_copy(sealed, tmp_path)) as opened:
        yield opened


@pytest.fixture(scope="module")
def dated_once(sealed: Sealed, authority: Authority, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of a record whose seal was dated."""
    place = tmp_path_factory.mktemp("dated")
    with Logbook(own_copy(sealed, place)) as logbook:
        written = write(logbook, world.JOB, place / "dated", at=LATER, authority=authority)
    assert written.undated == ""
    assert written.pdf is not None
    verify(written.pdf)
    assert written.folder is not None
    return written.folder


@pytest.fixture
def dated(dated_once: Path, tmp_path: Path) -> Path:
    """A copy of it, to write into."""
    return Path(shutil.copytree(dated_once, tmp_path / "dated"))


@pytest.mark.long
def test_a_dated_record_says_by_whom_in_one_line(
    dated: Path, harbour: StampingAuthority, rival: StampingAuthority
):
    """Program, page and shell; against the authority's own certificate, and not a rival's."""
    (said,) = verify(dated, roots=harbour.roots.read_bytes()).dated
    assert (said.whole, said.stamp.by) == (True, "CN=harbour stamps")
    assert "Dated by somebody else: this seal was there on" in (dated / "record.html").read_text()
    ours = shell_check(dated)
    assert ours.returncode == 0, ours.stdout
    assert "dated: this seal was there on" in ours.stdout
    for roots, status in ((harbour.roots, 0), (rival.roots, 5)):
        assert shell_check(dated, f"{said.code}", roots=roots).returncode == status
    with pytest.raises(RecordBroken, match="time stamp"):
        verify(dated, roots=rival.roots.read_bytes())


@pytest.mark.long
def test_an_undated_record_says_so(sealed: Sealed, harbour: StampingAuthority):
    """In one line each; and it does not hold for whoever asks for a stamp."""
    assert verify(sealed.folder).dated == ()
    assert "Dated by nobody else" in (sealed.folder / "record.html").read_text()
    assert "dated by nobody else" in shell_check(sealed.folder).stdout
    with pytest.raises(RecordBroken, match="by the authority that was given"):
        verify(sealed.folder, roots=harbour.roots.read_bytes())
    assert shell_check(sealed.folder, sealed.seal.code, roots=harbour.roots).returncode == 5


def of_another_digest(harbour: StampingAuthority, rival: StampingAuthority) -> bytes:
    return harbour.answer(query(b"another seal"))


def of_his_own_authority(harbour: StampingAuthority, rival: StampingAuthority) -> bytes:
    return rival.answer(query(b"another seal"))


def of_no_authority(harbour: StampingAuthority, rival: StampingAuthority) -> bytes:
    return b"0\x03\x02\x01\x00"


def of_one_bit(harbour: StampingAuthority, rival: StampingAuthority) -> bytes:
    made = bytearray(of_another_digest(harbour, rival))
    made[len(made) // 2] ^= 1
    return bytes(made)


def query(text: bytes) -> bytes:
    from rfc3161_client import HashAlgorithm, TimestampRequestBuilder

    return TimestampRequestBuilder().hash_algorithm(HashAlgorithm.SHA256).data(text).build().as_bytes()


FORGED = [of_another_digest, of_his_own_authority, of_no_authority, of_one_bit]


@pytest.mark.long
@pytest.mark.parametrize("forge", FORGED)
@pytest.mark.few(1)
def test_a_stamp_of_something_else_is_refused(
    dated: Path,
    sealed: Sealed,
    both: tuple[StampingAuthority, StampingAuthority],
    forge: Callable[[StampingAuthority, StampingAuthority], bytes],
    monkeypatch: pytest.MonkeyPatch,
):
    """Put in place of the genuine one, and all is signed again. The control: unchecked, it holds."""
    for name in ("record.pdf", "record.html", "pages.sha256", "pages.sig"):
        (dated / name).unlink()
    (dated / "seal.tsr").write_bytes(forge(*both))
    files = {name: (dated / name).read_bytes() for name in verification.FILES}
    files["files.sha256"] = checksums({name: files[name] for name in LISTED})
    files["files.sig"] = sealed.key.sign(files["files.sha256"])
    for name, content in files.items():
        (dated / name).write_bytes(content)
    with pytest.raises(RecordBroken, match="time stamp"):
        verify(dated)
    said = shell_check(dated)
    assert (said.returncode, "time stamp" in said.stdout) == (5, True), said.stdout
    monkeypatch.setattr(verification, "dated_of", lambda *_: ())
    assert verify(dated)


@pytest.mark.long
@pytest.mark.parametrize("part", ["response", "digest", "more"])
@pytest.mark.few(2)
def test_a_stamp_among_the_entries_is_checked(
    logbook: Logbook, authority: Authority, sealed: Sealed, tmp_path: Path, part: str
):
    """The owner writes the chain: another response, another digest, a second one beside it."""
    told = stamp_last(logbook, authority, LATER)
    assert told is not None
    own = OwnChain(sealed)
    payload = dict(told.payload)
    if part == "response":
        payload["response"] = base64.b64encode(b"none").decode()
    if part == "digest":
        payload["digest"] = "0" * 64
    if part == "more":
        payload["again"] = payload["response"]
    own.add("stamp", payload, int(own.blocks[-1][0]), None, iso_utc(LATER))
    files = own.made()
    with pytest.raises(RecordBroken, match="stamp"):
        verify_files(files)
    (tmp_path / "made").mkdir()
    for name, content in files.items():
        (tmp_path / "made" / name).write_bytes(content)
    assert shell_check(tmp_path / "made").returncode == 5


@pytest.mark.long
@pytest.mark.parametrize("back", [400 * DAY, 7 * DAY])
@pytest.mark.few(1)
def test_a_history_made_up_later_has_no_earlier_stamp(authority: Authority, tmp_path: Path, back: float):
    """He sets his clock back: the seal says so, the authority says when. Both stand in the record."""
    today = time.time() // DAY * DAY + world.OPENED % DAY
    opened, path = today - back - 6 * DAY, tmp_path / "logbook.sqlite"
    sealed_at = opened + 5 * DAY
    world.fill(path, step=3600.0, opened=opened)
    with Logbook(path) as logbook:
        written = write(logbook, world.JOB, tmp_path / "back", at=sealed_at, pdf=False, authority=authority)
    assert written.folder is not None
    holds = verify(written.folder)
    (said,) = holds.dated
    assert holds.seal.at == iso_utc(sealed_at)
    assert utc_from_iso(said.stamp.at) - sealed_at > back
    assert abs(utc_from_iso(said.stamp.at) - time.time()) < 600


@pytest.mark.long
def test_without_a_network_everything_works_and_the_seal_waits(
    logbook: Logbook, authority: Authority, tmp_path: Path
):
    """Written, and said; later the newest seal is dated, and the record says up to where."""
    gone = Authority("http://127.0.0.1:9/", authority.roots)
    written = write(logbook, world.JOB, tmp_path / "one", at=LATER, authority=gone)
    assert "127.0.0.1:9" in written.undated
    assert written.folder is not None
    assert not verify(written.folder).dated
    stamp_last(logbook, authority, LATER + 60)
    assert stamp_last(logbook, authority, LATER + 61) is None
    logbook.write(Entry(EntryKind.NOTE, {"text": "later"}, LATER + 70, job=world.JOB))
    again = write(logbook, world.JOB, tmp_path / "two", at=LATER + 80, authority=gone)
    assert again.folder is not None
    (said,) = verify(again.folder).dated
    assert (said.whole, said.code) == (False, written.seal.code)
    assert "Dated in part" in (again.folder / "record.html").read_text()
    assert "dated: all up to block" in shell_check(again.folder).stdout


@pytest.mark.long
@pytest.mark.parametrize("command", ["job close", "logbook seal"])
def test_a_seal_is_dated_when_it_is_made(
    sealed: Sealed,
    harbour: StampingAuthority,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    command: str,
):
    """Without a network it is sealed all the same, and said; the seal that comes next is dated."""
    path = own_copy(sealed, tmp_path)
    settings = tmp_path / "curewatch.toml"
    shown = f'[logbook]\npath = "{path}"\nstamp_roots_file = "{harbour.roots}"\n'

    def run_with(address: str, words: list[str]) -> dict[str, Any]:
        settings.write_text(f'{shown}stamp_authority = "{address}"\n')
        with pytest.raises(SystemExit) as ended:
            run([*words, "--json", "--config", str(settings)])
        said = capsys.readouterr()
        assert ended.value.code == 0, said.err
        return dict(json.loads(said.out))

    if command == "job close":
        run_with("http://127.0.0.1:9/", ["job", "open", "--title", "later", "--by", "Reed"])
    undated = run_with("http://127.0.0.1:9/", command.split())["undated"]
    assert "127.0.0.1:9" in undated
    with serving(harbour.answer) as address:
        assert run_with(address, ["logbook", "seal"])["undated"] is None
    with Logbook(path) as opened:
        (told,) = opened.entries(EntryKind.STAMP)
        assert stamp_of(told).digest == seals(opened)[-1].digest


@pytest.mark.long
def test_a_stamp_is_renewed_by_that_of_a_later_seal(logbook: Logbook, authority: Authority, tmp_path: Path):
    """The first authority's certificate ends; the second dates a seal that covers the first stamp."""
    short = StampingAuthority(tmp_path / "short", "short", days="1")
    seal(logbook, reason="day", at=LATER)
    with serving(short.answer) as address:
        first = stamp_last(logbook, Authority(address, short.roots.read_bytes()), LATER)
    seal(logbook, reason="day", at=LATER + DAY)
    second = stamp_last(logbook, authority, LATER + DAY)
    assert first is not None
    assert second is not None
    assert stamp_of(first).ends < stamp_of(second).ends
    assert first.block <= seals(logbook)[-1].block


@pytest.mark.long
@pytest.mark.parametrize(
    "answer", [lambda query: b"", lambda query: b"<html>" * 99, lambda query: b"0" * 200_000]
)
def test_an_authority_that_answers_rubbish_dates_nothing(logbook: Logbook, authority: Authority, answer):
    """Said as such; nothing is written."""
    with serving(answer) as address, pytest.raises(StoreFailed, match="stamp authority"):
        stamp_last(logbook, Authority(address, authority.roots), LATER)
    assert not logbook.entries(EntryKind.STAMP)


def test_an_authority_is_configured_whole(tmp_path: Path, harbour: StampingAuthority):
    """Its address and its certificates, or none."""
    assert read_authority(None, None) is None
    assert read_authority("http://127.0.0.1/", harbour.roots) is not None
    for address, roots in (("http://127.0.0.1/", None), (None, harbour.roots), ("x", tmp_path / "none.pem")):
        with pytest.raises(ConfigurationError):
            read_authority(address, roots)
    assert stamping.LARGEST < 100_000
