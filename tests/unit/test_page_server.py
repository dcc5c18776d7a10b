"""The page's server by bare HTTP: who is let in, what is refused, and what slow or many clients may take."""

import json
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest

from curewatch import configuration
from curewatch.errors import UsageError
from curewatch.page import connection, handler, rules, server, tokens
from curewatch.page.edge import PageEdge
from curewatch.page.plan import of_daemon
from curewatch.page.server import PageServer
from curewatch.page.tokens import TokenKind
from tests.broker import PATIENCE, free_port, until
from tests.page_server import PRESS, Page


@pytest.fixture(autouse=True)
def _ends_soon(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(server, "TURN", 0.02)


@pytest.fixture
def page(tmp_path: Path) -> Iterator[Page]:
    made = Page(tmp_path)
    yield made
    made.server.stop()


def test_a_token_goes_from_the_address_into_a_cookie_once(page: Page) -> None:
    """The address leads on to one without it; the cookie is for this port, no script and no other site."""
    status, headers, _ = page.ask(f"/enter/{page.secrets[TokenKind.VIEW]}")
    assert (status, headers["Location"]) == (303, "/")
    assert headers["Set-Cookie"].endswith("; HttpOnly; SameSite=Strict")
    assert rules.token_of(headers["Set-Cookie"].partition(";")[0], page.port) == page.secrets[TokenKind.VIEW]
    assert page.ask("/enter/abc")[0] == 403
    assert page.ask(f"/enter/{page.secrets[TokenKind.CALENDAR]}")[0] == 403
    typed = f"token={page.secrets[TokenKind.VIEW].upper()}".encode()
    form = {"Content_Type": "application/x-www-form-urlencoded"}
    assert page.ask("/enter", None, typed, **form)[0] == 303
    assert page.ask("/enter", None, b"token=abc", **form)[0] == 403


def test_each_place_opens_to_its_kind_alone(page: Page) -> None:
    """No token and a wrong one open nothing; view looks, write tells, the calendar's opens its feed."""
    looks = [
        "/",
        "/page.js",
        "/page.css",
        "/icon.svg",
        "/icon.png",
        "/manifest.webmanifest",
        "/look",
        "/metrics",
    ]
    for path in looks:
        opened = [
            page.ask(path, kind)[0] for kind in (None, TokenKind.CALENDAR, TokenKind.VIEW, TokenKind.WRITE)
        ]
        assert opened == [403, 403, 200, 200], path
    assert [page.press(kind) for kind in (None, *TokenKind)] == [403, 403, 200, 403]
    feeds = [page.ask(f"/calendar/{secret}.ics")[0] for secret in ("abc", *page.secrets.values())]
    assert feeds == [403, 403, 403, 200]
    bearer = {"Authorization": f"Bearer {page.secrets[TokenKind.VIEW]}"}
    assert page.ask("/metrics", **bearer)[0] == 200
    assert page.ask("/look", **bearer)[0] == 403
    assert page.ask("/nothing", TokenKind.WRITE)[0] == 404


def test_a_revoked_token_opens_nothing_at_the_next_request(page: Page) -> None:
    """Taking it back needs no restart; the other goes on."""
    assert page.ask("/look", TokenKind.VIEW)[0] == 200
    tokens.revoke(page.path, 1)
    assert page.ask("/look", TokenKind.VIEW)[0] == 403
    assert page.ask("/look", TokenKind.WRITE)[0] == 200


def test_tokens_that_others_can_read_let_nobody_in(page: Page) -> None:
    """And the daemon is told, without the token."""
    page.path.chmod(0o644)
    assert page.ask("/look", TokenKind.WRITE)[0] == 403
    assert f"chmod 600 {page.path}" in page.complaints[0]
    page.path.chmod(0o600)
    assert page.ask("/look", TokenKind.WRITE)[0] == 200
    assert not any(secret in page.path.read_text() for secret in page.secrets.values())


def test_only_our_own_names_are_answered(page: Page) -> None:
    """A name of another site that points here is refused before its cookie counts."""
    ours = ("127.0.0.1:{port}", "localhost:{port}", "LOCALHOST:{port}")
    others = ("evil.example", "evil.example:{port}", "127.0.0.1", "127.0.0.1:1", "127.0.0.2:{port}", "")
    others += ("127.0.0.1:{port}@evil.example", "localhost.evil.example:{port}")
    for host in (*ours, *others):
        status, *_ = page.ask("/look", TokenKind.WRITE, Host=host.format(port=page.port))
        assert status == (200 if host in ours else 421), host


def test_a_configured_name_is_ours(tmp_path: Path) -> None:
    """A name that the user's network gives to the machine; and no other."""
    made = Page(tmp_path, 'names = ["Shed.example"]')
    try:
        assert made.ask("/look", TokenKind.VIEW, Host=f"shed.example:{made.port}")[0] == 200
        assert made.ask("/look", TokenKind.VIEW, Host=f"shed.example.evil:{made.port}")[0] == 421
    finally:
        made.server.stop()


def test_no_other_site_asks_or_tells(page: Page) -> None:
    """Another origin is refused, a writing request without any too, with the cookie in hand."""
    own, far = f"http://127.0.0.1:{page.port}", "http://evil.example"
    assert page.ask("/look", TokenKind.VIEW, Origin=own)[0] == 200
    for origin in (far, "null", f"https://127.0.0.1:{page.port}", f"{own}.evil.example"):
        assert page.ask("/look", TokenKind.VIEW, Origin=origin)[0] == 403
        assert page.press(Origin=origin) == 403
    assert page.press(Origin=own) == 200
    body = json.dumps(PRESS).encode()
    without = f"POST /tell HTTP/1.1\r\nHost: 127.0.0.1:{page.port}\r\nContent-Type: application/json\r\n"
    without += f"Cookie: {rules.cookie_name(page.port)}={page.secrets[TokenKind.WRITE]}\r\n"
    without += f"Content-Length: {len(body)}\r\n"
    assert raw(page.port, without.encode() + b"\r\n" + body).startswith(b"HTTP/1.1 403 ")
    told = without + f"Origin: {own}\r\n\r\n"
    assert raw(page.port, told.encode() + body).startswith(b"HTTP/1.1 200 ")


def raw(port: int, sent: bytes, seconds: float = 20.0) -> bytes:
    """What comes back for these very bytes; empty where the connection is only closed."""
    with socket.create_connection(("127.0.0.1", port), seconds) as far:
        found = b""
        try:
            far.sendall(sent)
            while piece := far.recv(65_536):
                found += piece
        except ConnectionError:
            pass
        return found


def test_bodies_are_bounded_and_typed(page: Page) -> None:
    """Too long, of no length, in pieces, of another kind or form: each has a status; none arrives."""

    def told(body: bytes, **lines: str) -> int:
        return page.ask("/tell", TokenKind.WRITE, body, **lines)[0]

    assert told(b" " * (rules.BODY_LARGEST + 1)) == 413
    assert told(b"{}", Content_Length="x") == 411
    assert told(b"", Transfer_Encoding="chunked") == 411
    assert told(json.dumps(PRESS).encode(), Content_Type="text/plain") == 415
    wrong: list[Any] = [
        {},
        [],
        "press",
        {**PRESS, "key": "open the door"},
        {**PRESS, "more": 1},
        {**PRESS, "job": "x" * 201},
        {**PRESS, "text": "x" * 2001},
        {**PRESS, "id": "short"},
        {**PRESS, "sure": "yes"},
        {"do": "undo", "job": "J1", "part": "r", "number": -1},
        {"do": "acknowledge", "numbers": []},
        {"do": "acknowledge", "numbers": [1] * 1001},
    ]
    for body in wrong:
        assert told(json.dumps(body).encode()) == 400, body
    assert told(b"\xff" * 10) == 400
    assert page.process.asked == []
    longest = {**PRESS, "key": "note", "text": "é" * 2000}  # JSON may write six bytes a letter
    assert told(json.dumps(longest).encode()) == 200
    assert page.process.asked[0]["told"].text == "é" * 2000


def test_a_request_that_is_none_gets_a_status_and_nothing_of_its_text(page: Page) -> None:
    """Rubbish, methods that nothing takes, a head that never ends."""
    for sent, expected in (
        (b"GET\r\n\r\n", 400),
        (b"GET /secret-token HTTP/9.9\r\n\r\n", 505),
        (b"DELETE /secret-token HTTP/1.1\r\nHost: x\r\n\r\n", 405),
        (b"GET /secret-token HTTP/1.1\r\n" + b"A: b\r\n" * 200 + b"\r\n", 431),
        (b"GET /" + b"secret-token" * 9000, 431),
        (b"GET / HTTP/1.1\r\nHost: x\r\nA: " + b"secret-token" * 2000 + b"\r\n\r\n", 431),
    ):
        found = raw(page.port, sent)
        assert found.startswith(b"HTTP/1.1 %d " % expected), (sent[:40], found[:80])
        assert b"secret-token" not in found
    assert page.ask("/look", TokenKind.VIEW)[0] == 200


def test_every_answer_keeps_scripts_frames_and_caches_out(page: Page) -> None:
    """The policy of each answer: no inline script, no frame, nothing kept; a refusal has it too."""
    for answer in (page.ask("/", TokenKind.VIEW), page.ask("/"), page.ask("/look", Host="x")):
        headers = answer[1]
        policy = headers["Content-Security-Policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert "frame-ancestors 'none'" in policy
        assert (headers["Cache-Control"], headers["Referrer-Policy"]) == ("no-store", "same-origin")


@pytest.mark.long
def test_a_slow_client_is_left_and_a_quick_one_is_not(page: Page, monkeypatch: pytest.MonkeyPatch) -> None:
    """A byte now and then keeps no connection beyond its moment; control: with a later moment, it does."""
    monkeypatch.setattr(handler, "REQUEST_WITHIN", PATIENCE)
    assert not left(page.port, turns=8)
    with monkeypatch.context() as shorter:
        shorter.setattr(handler, "REQUEST_WITHIN", 0.3)
        assert left(page.port, turns=600)
    assert page.ask("/look", TokenKind.VIEW)[0] == 200


def left(port: int, turns: int) -> bool:
    """Whether the server closes on a client that sends a byte of a line in each turn."""
    with socket.create_connection(("127.0.0.1", port), 20) as far:
        far.sendall(b"GET / HTTP/1.1\r\nA: ")
        for _ in range(turns):
            if closed(far):
                return True
            with suppress(OSError):
                far.sendall(b"b")
    return False


def closed(far: socket.socket) -> bool:
    far.settimeout(0.1)
    try:
        return far.recv(1000) == b""
    except TimeoutError:
        return False
    except ConnectionError:
        return True


@pytest.mark.long
def test_a_flood_of_one_address_takes_few_connections(page: Page, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is more than one may have is closed at once; when it ends, others are answered again."""
    monkeypatch.setattr(handler, "REQUEST_WITHIN", PATIENCE)
    monkeypatch.setattr(server, "MOST_OF_ONE", 4)
    threads = threading.active_count()
    far = [socket.create_connection(("127.0.0.1", page.port), 20) for _ in range(40)]
    until(lambda: sum(closed(each) for each in far) >= 36)
    assert threading.active_count() <= threads + 4
    for each in far:
        each.close()
    until(lambda: page.server._open.total() == 0)
    assert page.ask("/look", TokenKind.VIEW)[0] == 200


def test_where_the_system_gives_no_thread_others_are_answered_later(
    page: Page, monkeypatch: pytest.MonkeyPatch
) -> None:
    """More often than one address may have connections: none of them counts as open afterwards."""

    def refuse(_: threading.Thread) -> None:
        raise RuntimeError("can't start new thread")

    with monkeypatch.context() as without:
        without.setattr(threading.Thread, "start", refuse)
        for _ in range(2 * server.MOST_OF_ONE):
            assert raw(page.port, b"GET / HTTP/1.1\r\n\r\n") == b""
    assert page.ask("/look", TokenKind.VIEW)[0] == 200


def test_a_daemon_that_stands_still_answers_no_look(page: Page, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its thread for phones may live on; what it would show is old."""
    page.server.beat()
    monkeypatch.setattr(server, "SILENT", -1.0)
    assert page.ask("/look", TokenKind.VIEW)[0] == 503
    monkeypatch.setattr(server, "SILENT", 30.0)
    assert page.ask("/look", TokenKind.VIEW)[0] == 200
    page.process.trouble = "the logbook cannot be read"
    status, _, body = page.ask("/look", TokenKind.VIEW)
    assert (status, json.loads(body)) == (503, {"rejected": "the logbook cannot be read"})


def test_a_page_that_cannot_start_is_said_once_and_tried_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The daemon goes on: a port that is taken, a certificate that is none."""
    said: list[str] = []
    book = f'[logbook]\npath = "{tmp_path}/logbook.sqlite"\n'
    port = free_port()  # opened again below
    with socket.create_server(("127.0.0.1", port)):
        edge = PageEdge(configuration.parse(f"{book}[page]\non = true\nport = {port}\n"), said.append)
        edge.beat()
        monkeypatch.setattr("curewatch.page.edge.AGAIN", 0.0)
        edge.beat()
        assert said == [f"127.0.0.1 port {port}: Address already in use. Use another [page] port"]
    edge.beat()
    edge.beat()
    assert len(said) == 1
    edge.stop()
    elsewhere = PageEdge(
        configuration.parse(f'{book}[page]\non = true\naddress = "192.0.2.1"\n'), said.append
    )
    elsewhere.beat()
    assert said[1].endswith("Cannot assign requested address. Use another [page] address")
    (tmp_path / "wrong.pem").write_text("no certificate")
    keys = "".join(f'{key} = "{tmp_path}/wrong.pem"\n' for key in ("certificate_file", "key_file"))
    text = f"{book}[page]\non = true\nport = {port}\n{keys}"
    with pytest.raises(UsageError, match=r"wrong\.pem.*Use a certificate and its key"):
        PageServer(of_daemon(configuration.parse(text)), said.append)


def test_off_is_off() -> None:
    """Without [page] on nothing listens."""
    edge = PageEdge(configuration.Configuration(), pytest.fail)
    edge.beat()
    assert edge._server is None


def test_a_connection_reads_by_its_moment_only(monkeypatch: pytest.MonkeyPatch) -> None:
    """The law by itself, on a clock of the test's own."""
    near, far = socket.socketpair()
    with near, far:
        reader = connection.BoundedReader(near, time.monotonic() + 60.0, 10)
        far.sendall(b"12345678901234")
        assert reader.read(8) == b"12345678"
        assert reader.read(8) == b"90"
        with pytest.raises(connection.TooMuch):
            reader.read(1)
        reader.allow(4)
        late = time.monotonic() + 61.0
        monkeypatch.setattr(time, "monotonic", lambda: late)
        with pytest.raises(TimeoutError):
            reader.read(1)
