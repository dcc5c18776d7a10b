"""Attack: a small file that unpacks into gigabytes, given to whoever reads or verifies it.

Photograph, PDF, folder, thumbnail: each is taken or refused under 300 MB. TOML: ``test_plain_toml``.
"""

import base64
import io
import os
import re
import shutil
import subprocess
import sys
import zlib
from collections.abc import Callable
from pathlib import Path

import pytest
from PIL import Image

from curewatch.clock import utc_from_iso
from curewatch.errors import RecordBroken, UsageError
from curewatch.record import account, attachments, page_work
from curewatch.record.attachments import attached
from curewatch.record.examination import verify
from curewatch.record.proof import FILES, LISTED, checksums
from curewatch.record.verification import verify_files
from curewatch.units import DAY
from curewatch.worklog import photo
from tests.broker import PATIENCE
from tests.record_attacks import OwnChain, Sealed, shell_check

MOST = 300_000  # kB resident


def peak(code: str, place: Path) -> int:
    """The largest resident size of a process that runs this and may refuse. [kB]"""
    text = (
        "import resource, sys\nfrom pathlib import Path\nfrom curewatch.errors import CurewatchError\n"
        "resource.setrlimit(resource.RLIMIT_AS, (4 * 2**30,) * 2)\n"  # so that no failure fills the machine
        f"place = Path(sys.argv[1])\ntry:\n    {code}\n"
        "except CurewatchError as refused:\n    print(refused)\n"
        "print(Path('/proc/self/status').read_text().partition('VmHWM:')[2].split()[0])"
    )
    said = subprocess.run(
        [sys.executable, "-c", text, str(place)], capture_output=True, text=True, check=True, timeout=PATIENCE
    )
    return int(said.stdout.splitlines()[-1])


PICTURES = {
    "wide.png": ("1", (13_000, 13_000)),
    "grey.png": ("L", (9_000, 9_000)),
    "clear.png": ("RGBA", (4_900, 4_900)),
    "most.png": ("RGB", (4_000, 4_000)),
    "wide.tif": ("1", (12_000, 12_000)),
    "wide.webp": ("RGB", (9_000, 9_000)),
    "wide.jpg": ("RGB", (9_900, 9_900)),
}


@pytest.mark.long
@pytest.mark.parametrize("name", PICTURES)
def test_a_picture_is_taken_or_refused_in_bearable_memory(tmp_path: Path, name: str):
    """One colour over and over: a few kilobytes."""
    mode, size = PICTURES[name]
    Image.MAX_IMAGE_PIXELS = None
    options = {"compression": "tiff_deflate"} if name.endswith("tif") else {}
    Image.new(mode, size).save(tmp_path / name, **options)
    code = f"from curewatch.worklog.photo import payload; payload(place / {name!r})"
    assert peak(code, tmp_path) < MOST


@pytest.mark.long
def test_a_picture_of_too_many_pixels_is_refused_by_its_head(tmp_path: Path):
    """Before a pixel is unpacked; one of twelve megapixels is taken, in any of the forms."""
    raw = b"IHDR" + (40_000).to_bytes(4, "big") * 2 + bytes([8, 6, 0, 0, 0])
    head = b"\x89PNG\r\n\x1a\n" + (13).to_bytes(4, "big") + raw + zlib.crc32(raw).to_bytes(4, "big")
    (tmp_path / "head.png").write_bytes(head + (9).to_bytes(4, "big") + b"IDAT" + bytes(13))
    with pytest.raises(UsageError, match="pixels"):
        photo.payload(tmp_path / "head.png")
    Image.new("RGB", (4000, 3000)).save(tmp_path / "good.png")
    assert photo.payload(tmp_path / "good.png")["width"] == 4000


def test_a_thumbnail_of_somebody_else_s_is_bounded(monkeypatch: pytest.MonkeyPatch):
    """In an entry of a logbook that came from elsewhere; without the bound it is unpacked."""
    big = io.BytesIO()
    Image.new("L", (5000, 5000)).save(big, "JPEG")
    text = base64.b64encode(big.getvalue()).decode()
    assert page_work._thumbnail(text) is None
    monkeypatch.setattr(page_work, "LARGEST_PIXELS", 10**9)
    assert page_work._thumbnail(text)


def packed(sealed: Sealed, name: str, content: bytes) -> bytes:
    """The PDF with this file swapped for another in its place."""
    match = re.search(rb"/Type/Filespec/F\(%s\).{0,300}?/F (\d+) 0 R" % name.encode(), sealed.pdf, re.DOTALL)
    assert match
    begin = sealed.pdf.index(b"\n%s 0 obj\n" % match.group(1))
    end = sealed.pdf.index(b"endobj", begin)
    raw = zlib.compress(content, 9)
    made = b"\n%s 0 obj\n<</Length %d/Type/EmbeddedFile/Filter/FlateDecode>>\nstream\n" % (
        match.group(1),
        len(raw),
    )
    return sealed.pdf[:begin] + made + raw + b"\nendstream\n" + sealed.pdf[end:]


@pytest.mark.long
@pytest.mark.parametrize("name", ["readings.csv", "entries.jsonl", "check.sh"])
@pytest.mark.few(1)
def test_a_file_in_a_pdf_that_unpacks_too_far_is_refused(sealed: Sealed, name: str, monkeypatch):
    """Before it is all there. The control: with a larger bound it is unpacked."""
    bomb = packed(sealed, name, b"0" * (attachments.LARGEST + 1))
    assert len(bomb) < 1_000_000
    with pytest.raises(RecordBroken, match=re.escape(name)):
        attached(bomb, FILES)
    monkeypatch.setattr(attachments, "LARGEST", 2 * attachments.LARGEST)
    assert len(attached(bomb, FILES)[name]) > attachments.LARGEST // 2


@pytest.mark.long
@pytest.mark.parametrize("name", ["readings.csv", "record.html", "README.txt"])
def test_a_gigantic_file_in_a_folder_is_refused(sealed: Sealed, folder: Path, name: str):
    """A terabyte of nothing takes no room on the disk: refused without reading it."""
    folder.mkdir()
    for each in (*FILES, "record.html", "pages.sha256", "pages.sig"):
        (folder / each).write_bytes((sealed.folder / each).read_bytes())
    os.truncate(folder / name, 2**40)
    with pytest.raises(RecordBroken, match=re.escape(name)):
        verify(folder)


def test_a_folder_of_very_many_files_is_refused(sealed: Sealed, folder: Path):
    """Each would be read and named."""
    folder.mkdir()
    for n in range(70):
        (folder / f"{n}").touch()
    with pytest.raises(RecordBroken, match="at most 64 files"):
        verify(folder)


def too_large(folder: Path) -> None:
    os.truncate(folder / "readings.csv", 40_000_000)


def large_together(folder: Path) -> None:
    for name in ("account.json", "pages.json"):
        os.truncate(folder / name, 20_000_000)


def a_large_page(folder: Path) -> None:
    os.truncate(folder / "record.html", 40_000_000)


def very_many(folder: Path) -> None:
    for n in range(70):
        (folder / f"{n}").touch()


def one_that_never_ends(folder: Path) -> None:
    (folder / "pages.sig").unlink()
    os.mkfifo(folder / "pages.sig")


BOMBS = {
    too_large: "36 MB",
    large_together: "36 MB",
    a_large_page: "36 MB",
    very_many: "64 files",
    one_that_never_ends: "no file",
}


@pytest.mark.long
@pytest.mark.parametrize("tools", ["full", "few"])
@pytest.mark.parametrize("bomb", BOMBS)
@pytest.mark.few(3)
def test_the_page_of_shell_refuses_before_it_reads(
    sealed: Sealed, folder: Path, bomb: Callable[[Path], None], tools: str, few_tools: str
):
    """Named in one line. The control: with its limits taken out it reads it, where that ends at all."""
    shutil.copytree(sealed.folder, folder)
    bomb(folder)
    path = few_tools if tools == "few" else None
    said = shell_check(folder, path=path)
    assert (said.returncode, BOMBS[bomb] in said.stdout) == (5, True), said.stdout
    text = (folder / "check.sh").read_text()
    begin, end = text.index("# 0 limits"), text.index("# 1 every file")
    listed = next(line for line in text.splitlines() if line.startswith("listed="))
    (folder / "check.sh").write_text(f"{text[:begin]}{listed}\n{text[end:]}")
    if bomb is not one_that_never_ends:
        assert BOMBS[bomb] not in shell_check(folder, path=path).stdout


@pytest.mark.long
@pytest.mark.parametrize("name", ["readings.csv", "entries.jsonl"])
@pytest.mark.parametrize("rows", ["genuine", "0,", "\n", "{"])
def test_the_page_of_shell_holds_or_refuses_in_bearable_memory(
    sealed: Sealed, tmp_path: Path, rows: str, name: str
):
    """As large as is read, listed and signed by the owner: no tool of it takes more than that."""
    folder = tmp_path / "bomb"
    shutil.copytree(sealed.folder, folder)
    for page in ("record.pdf", "record.html", "pages.sha256", "pages.sig"):
        (folder / page).unlink()
    genuine = sealed.files[name]
    content = genuine * (33_000_000 // len(genuine)) if rows == "genuine" else b""
    (folder / name).write_bytes(content or rows.encode() * (33_000_000 // len(rows)))
    told = checksums({each: (folder / each).read_bytes() for each in LISTED})
    (folder / "files.sha256").write_bytes(told)
    (folder / "files.sig").write_bytes(sealed.key.sign(told))
    code = (
        "import resource, subprocess, sys; subprocess.run(['sh', 'check.sh'], cwd=sys.argv[1]);"
        "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)"
    )
    ran = subprocess.run(
        [sys.executable, "-c", code, str(folder)],
        capture_output=True,
        text=True,
        check=True,
        timeout=PATIENCE,
    )
    assert "BROKEN: " in ran.stdout
    assert int(ran.stdout.split()[-1]) < MOST


@pytest.mark.long
@pytest.mark.parametrize("rows", ["genuine", "0,", "\n"])
def test_a_record_is_verified_or_refused_in_bearable_memory(sealed: Sealed, tmp_path: Path, rows: str):
    """As large as is read: lines that are none, and the genuine ones again and again."""
    genuine = sealed.files["readings.csv"]
    content = genuine * (attachments.LARGEST // len(genuine) - 1) if rows == "genuine" else b""
    content = content or rows.encode() * (attachments.LARGEST // len(rows) - 2**20)
    (tmp_path / "record.pdf").write_bytes(packed(sealed, "readings.csv", content))
    for lists in (False, True):
        code = "from curewatch.record.examination import verify; verify(place / 'record.pdf')"
        if lists:
            code = (
                "from curewatch.record import verification; verification._check_list = lambda files: None; "
                + code
            )
        assert peak(code, tmp_path) < MOST


def a_note(own: OwnChain, at: str) -> None:
    own.of_kind("note")["at"] = at


def the_opening(own: OwnChain, at: str) -> None:
    own.of_kind("job-open")["at"] = at


def the_closing(own: OwnChain, at: str) -> None:
    own.of_kind("job-close")["at"] = at


def the_lower_layer(own: OwnChain, at: str) -> None:
    layer = next(one for one in own.entries.values() if one["kind"] == "layer")
    layer["payload"]["started"] = utc_from_iso(at)


def a_layer(own: OwnChain, at: str) -> None:
    own.of_kind("layer")["payload"]["started"] = utc_from_iso(at)


def an_alert(own: OwnChain, at: str) -> None:
    own.of_kind("alert")["at"] = own.of_kind("alert")["payload"]["at"] = at


def a_gap(own: OwnChain, at: str) -> None:
    own.of_kind("gap")["payload"]["end"] = utc_from_iso(at)


FAR_OFF = [a_note, the_opening, the_closing, the_lower_layer, a_layer, an_alert, a_gap]


@pytest.mark.long
@pytest.mark.parametrize("year", ["0004", "9999"])
@pytest.mark.parametrize("told", FAR_OFF)
@pytest.mark.few(1)
def test_a_time_that_is_far_off_fills_no_memory(
    sealed: Sealed, tmp_path: Path, told: Callable[[OwnChain, str], None], year: str
):
    """Eight thousand years of minutes: the record looks at the last year of a job."""
    own = OwnChain(sealed)
    told(own, f"{year}-02-03T00:30:00.000Z")
    for name, content in own.made().items():
        (tmp_path / name).write_bytes(content)
    code = "from curewatch.record.examination import verify; verify(place)"
    assert peak(code, tmp_path) < MOST


def test_a_time_that_is_far_off_fills_it_without_the_bound(sealed: Sealed, monkeypatch: pytest.MonkeyPatch):
    """The control: what is asked for is then a minute of each of eight thousand years."""
    own, asked = OwnChain(sealed), []
    a_note(own, "0004-02-03T00:30:00.000Z")

    def measured(*told: object, **_: object) -> None:
        asked.append((told[3] - told[2]) / DAY)
        raise UsageError("enough")

    monkeypatch.setattr(account, "measure", measured)
    for bound in (account.LONGEST, float("inf")):
        monkeypatch.setattr(account, "LONGEST", bound)
        with pytest.raises(RecordBroken, match="can be made again"):
            verify_files(own.made())
    assert asked[0] < 368
    assert asked[1] > 700_000
