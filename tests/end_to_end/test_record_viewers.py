"""A record in other people's programs: qpdf, poppler, a browser."""

import re
import socket
import subprocess
import threading
from contextlib import suppress
from pathlib import Path

import pytest

from curewatch.logbook import Logbook
from curewatch.record.examination import verify
from curewatch.record.proof import FILES
from curewatch.record.writing import Written, write
from curewatch.units import DAY
from tests import record_world as world
from tests.broker import PATIENCE
from tests.record_attacks import need, shell_check


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Written:
    place = tmp_path_factory.mktemp("record")
    world.fill(place / "logbook.sqlite", step=900.0)
    with Logbook(place / "logbook.sqlite") as logbook:
        return write(logbook, world.JOB, place, at=world.OPENED + 5 * DAY)


# The browser asks its makers for the time and for updates whatever page it shows; here the proxy refuses.
BROWSERS_OWN = re.compile(r"\.(google|googleapis|gvt1|chromium)\.(com|org)$")


def told(*arguments: str | Path) -> str:
    done = subprocess.run(
        [str(one) for one in arguments], capture_output=True, text=True, timeout=PATIENCE, check=True
    )
    assert done.stderr == ""
    return done.stdout


@pytest.mark.long
def test_qpdf_and_poppler_open_it_without_a_complaint(written: Written):
    """The structure is in order, the standard is named, and the job and seal code stand on every page."""
    need("qpdf", "pdftotext", "pdfinfo")
    assert "No syntax or stream encoding errors" in told("qpdf", "--check", written.pdf)
    information = told("pdfinfo", written.pdf)
    count = int(re.search(r"Pages:\s+(\d+)", information)[1])
    assert b"<pdfaid:part>3</pdfaid:part>" in written.pdf.read_bytes()
    for page in range(1, count + 1):
        words = told("pdftotext", "-f", str(page), "-l", str(page), written.pdf, "-")
        assert written.seal.code in words
        assert f"Job {world.JOB}" in words
        assert f"Page {page} of {count}" in words


@pytest.mark.long
def test_attached_files_come_out_byte_for_byte(written: Written, tmp_path: Path):
    """What poppler saves is what the folder holds; saved into one folder, it verifies with shell alone."""
    need("pdfdetach")
    told("pdfdetach", "-saveall", "-o", tmp_path, written.pdf)
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(FILES)
    for name in FILES:
        assert (tmp_path / name).read_bytes() == (written.folder / name).read_bytes()
    assert shell_check(tmp_path, written.seal.code).returncode == 0
    assert verify(tmp_path, code=written.seal.code)


def test_the_steps_of_the_readme_can_be_done_by_hand(written: Written):
    """Steps 1, 2 and 8 are commands; typed as they stand in README.txt they succeed."""
    need("sha256sum", "openssl")
    text = (written.folder / "README.txt").read_text()
    commands = [
        line.strip()
        for line in text.splitlines()
        if line.startswith("       ") and line[7] != " " and " -" in line
    ]
    assert len(commands) == 5
    for command in commands:
        done = subprocess.run(
            command, shell=True, cwd=written.folder, capture_output=True, timeout=PATIENCE, check=False
        )
        assert done.returncode == 0, command


@pytest.mark.long
def test_a_browser_shows_the_page_and_asks_for_nothing(written: Written, tmp_path: Path):
    """Headless Chromium behind a proxy that counts: no connection is made, and the text is there."""
    need("chromium")
    asked: list[bytes] = []
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(0.2)
        done = threading.Event()

        def listen() -> None:
            while not done.is_set():
                try:
                    connection, _ = server.accept()
                except TimeoutError:
                    continue
                threading.Thread(target=hear, args=(connection,), daemon=True).start()

        def hear(connection: socket.socket) -> None:
            # a browser may open a connection ahead of its need, and say nothing on it
            with suppress(OSError), connection:
                connection.settimeout(PATIENCE)
                asked.append(connection.recv(500))

        listening = threading.Thread(target=listen)
        listening.start()
        try:
            page = browse((written.folder / "record.html").as_uri(), server.getsockname()[1], tmp_path / "a")
            probe = tmp_path / "probe.html"
            probe.write_text('<img src="http://curewatch.invalid/x.png">')
            browse(probe.as_uri(), server.getsockname()[1], tmp_path / "b")
        finally:
            done.set()
            listening.join()
    assert "New rudder cheek" in page
    assert page.count("<svg") >= 6
    assert written.seal.code in page
    hosts = {
        one.split()[1].decode().removeprefix("http://").split("/")[0].split(":")[0] for one in asked if one
    }
    assert "curewatch.invalid" in hosts, "the proxy was not asked for the probe: this test would see nothing"
    assert {host for host in hosts if not BROWSERS_OWN.search(host)} == {"curewatch.invalid"}


def browse(address: str, proxy: int, profile: Path) -> str:
    """The page as the browser has it, everything it fetches going to the proxy."""
    flags = (
        "--headless --no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking "
        "--disable-component-update --disable-sync --disable-default-apps --disable-extensions"
    )
    done = subprocess.run(
        [
            "chromium",
            *flags.split(),
            f"--user-data-dir={profile}",
            f"--proxy-server=http://127.0.0.1:{proxy}",
            "--dump-dom",
            address,
        ],
        capture_output=True,
        text=True,
        timeout=PATIENCE,
        check=True,
    )
    return done.stdout
