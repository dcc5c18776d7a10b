"""What is wrong with page or notices is one sentence in the journal, and the daemon keeps its readings.

A token is never in it: the control writes each request's address, as the library would, and is found.
"""

import signal
import socket
import tomllib
from contextlib import suppress
from pathlib import Path

import pytest

from curewatch.page.tokens import TokenKind
from tests.broker import PATIENCE
from tests.page_world import SETTINGS, PageWorld, page_world
from tests.running import zone_at_noon

pytestmark = pytest.mark.long
SECRET = "s3cret-t0ken"
PROMPT = """
if "daemon.outgoing" in what:
    from curewatch.notices import outbox
    outbox.SETTLE = 1.0  # s; a test need not wait for what else may ring
"""
WRITES_ADDRESSES = """
if "ingest" in what:
    from curewatch.page.handler import Handler
    get = Handler.do_GET
    def do_get(self):
        print(self.path, file=sys.stderr, flush=True)
        get(self)
    Handler.do_GET = do_get
"""


def goes_on(shed: PageWorld, words: str) -> None:
    """These words come, in one line and once, and readings after them."""
    said = shed.daemon.says(words)
    before = shed.daemon.readings("bench")
    shed.daemon.waits_for(before + 3, "bench")
    assert len([line for line in said.splitlines() if words in line]) == 1
    assert "Traceback" not in shed.daemon.text()
    assert SECRET not in shed.daemon.text()


def test_each_mistake_is_one_sentence(tmp_path: Path) -> None:
    """Addresses that others can read, an unknown service, a port that is taken, a wrong certificate."""
    pytest.importorskip("apprise")
    addresses = tmp_path / "addresses.txt"
    addresses.write_text(f"gong gong://{SECRET}\n")
    addresses.chmod(0o644)
    (tmp_path / "wrong.pem").write_text("no certificate")
    notices = '[notices]\naddresses_file = "addresses.txt"\n'
    with page_world(tmp_path, PROMPT, more=notices) as shed, socket.create_server(("127.0.0.1", 0)) as taken:
        url = tomllib.loads((tmp_path / "curewatch.toml").read_text())["serial"]["usb"]["url"]

        def configured(port: int, page: str = "") -> None:
            shed.daemon.configure(
                SETTINGS.format(
                    name="Saltmarsh Shed", zone=zone_at_noon(), url=url, port=port, more=page + notices
                )
            )
            shed.daemon.signal(signal.SIGHUP)

        goes_on(shed, "readable by others. Use chmod 600")
        addresses.chmod(0o600)
        configured(taken.getsockname()[1])
        goes_on(shed, "Address already in use. Use another [page] port")
        goes_on(shed, "gong: its address is of no service that apprise has")
        configured(shed.port, 'certificate_file = "wrong.pem"\nkey_file = "wrong.pem"\n')
        goes_on(shed, "Use a certificate and its key, PEM, without a password")


@pytest.mark.parametrize(("defect", "found"), [("", False), (WRITES_ADDRESSES, True)])
def test_no_token_is_ever_in_the_journal(tmp_path: Path, defect: str, found: bool) -> None:
    """Whatever request carries one: a page, a feed, no page, a line that is none."""
    requests = (
        "GET /enter/{0} HTTP/1.1",
        "GET /calendar/{0}.ics HTTP/1.1",
        "GET /nothing/{0}?{0} HTTP/1.1",
        "GET /enter/{0} HTTP/x",
        "{0} / HTTP/1.1",
    )
    with page_world(tmp_path, defect) as shed:
        secrets = [shed.code(kind).rpartition("/")[2] for kind in TokenKind]
        for secret in secrets:
            for request in requests:
                asked(shed.port, request.format(secret))
        before = shed.daemon.readings("bench")
        shed.daemon.waits_for(before + 3, "bench")
        assert any(secret in shed.daemon.text() for secret in secrets) is found


def asked(port: int, request: str) -> None:
    """One request by its line, until the server has nothing more to say."""
    with suppress(OSError), socket.create_connection(("127.0.0.1", port), PATIENCE) as far:
        far.sendall(f"{request}\r\nHost: 127.0.0.1:{port}\r\n\r\n".encode())
        while far.recv(4096):
            pass
