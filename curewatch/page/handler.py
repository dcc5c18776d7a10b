"""One request: its line, its rules, its answer. Nothing that a client sent is ever put into a log."""

import io
import socket
import time
from collections.abc import Mapping
from contextlib import suppress
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler
from importlib import resources
from typing import TYPE_CHECKING, Any
from urllib.parse import parse_qs, unquote, urlsplit

import msgspec

from curewatch.answers.page import PageRejectedDocument
from curewatch.errors import StoreFailed
from curewatch.page import rules
from curewatch.page.connection import REQUEST_WITHIN, BoundedReader, BoundedWriter, TooMuch
from curewatch.page.process import Unanswered
from curewatch.page.requests import Told
from curewatch.page.rules import Refusal, Served
from curewatch.page.tokens import TokenKind

if TYPE_CHECKING:
    from curewatch.page.server import PageServer

JSON, HTML = "application/json", "text/html; charset=utf-8"
FILES = {  # path -> file, kind
    "/": ("page.html", HTML),
    "/page.css": ("page.css", "text/css; charset=utf-8"),
    "/page.js": ("page.js", "text/javascript; charset=utf-8"),
    "/icon.svg": ("icon.svg", "image/svg+xml"),
    "/icon.png": ("icon.png", "image/png"),
    "/manifest.webmanifest": ("manifest.webmanifest", "application/manifest+json"),
}
LINGER = 0.5  # s in which what a client still sends is dropped
ENTER, CALENDAR, SHED = "/enter/", "/calendar/", "/shed/"
NO_PAGE = Refusal(HTTPStatus.NOT_FOUND, "there is no such page")


class Handler(BaseHTTPRequestHandler):
    """Answers one request and closes."""

    server: "PageServer"
    protocol_version = "HTTP/1.1"
    server_version, sys_version = "curewatch", ""

    def setup(self) -> None:
        due = time.monotonic() + REQUEST_WITHIN
        self.connection = self.request
        if self.server.context is not None:
            self.connection.settimeout(REQUEST_WITHIN)
            self.connection = self.server.context.wrap_socket(
                self.connection, server_side=True, do_handshake_on_connect=False
            )
            self.connection.do_handshake()
        self._incoming = BoundedReader(self.connection, due, rules.HEAD_LARGEST)
        self.rfile = io.BufferedReader(self._incoming, 4096)
        self.wfile = BoundedWriter(self.connection)  # type: ignore[assignment] # written to, no more

    def handle(self) -> None:
        self.close_connection = True
        try:
            self.handle_one_request()
        except TooMuch:
            self._refuse(Refusal(HTTPStatus.REQUEST_HEADER_FIELDS_TOO_LARGE, "the request is too long"))
        self.close_connection = True

    def finish(self) -> None:
        """Close; first read on for a moment, or a client that is still sending never sees its refusal."""
        with suppress(OSError, TooMuch):
            self.connection.shutdown(socket.SHUT_WR)
            self._incoming.end(LINGER, rules.BODY_LARGEST)
            while self._incoming.read(4096):
                pass
        self.connection.close()

    # ---- what is asked

    def do_GET(self) -> None:
        (shed, path), headers = self._place(), self._lines()
        refusal = rules.refused(headers, self._served(), writes=False)
        if refusal is not None:
            self._refuse(refusal)
        elif shed and shed not in self.server.sheds:
            self._refuse(NO_PAGE)
        elif path.startswith(ENTER):
            self._enter(unquote(path.removeprefix(ENTER)))
        elif path.startswith(CALENDAR) and path.endswith(".ics"):
            secret = unquote(path.removeprefix(CALENDAR).removesuffix(".ics"))
            self._asked(secret, TokenKind.CALENDAR, {"do": "calendar", "shed": shed})
        elif path == "/metrics":
            secret = rules.bearer(headers.get("Authorization", "")) or self._cookie()
            self._asked(secret, TokenKind.VIEW, {"do": "metrics", "shed": shed})
        elif path == "/look":
            self._asked(self._cookie(), TokenKind.VIEW, {"do": "look", "shed": shed})
        elif path in FILES:
            self._file(path)
        else:
            self._refuse(NO_PAGE)

    def do_POST(self) -> None:
        headers = self._lines()
        refusal = rules.refused(headers, self._served(), writes=True)
        shed, path = self._place()
        form = path == "/enter"
        if refusal is None and not form and (path != "/tell" or shed not in self.server.sheds):
            refusal = NO_PAGE
        kind = "application/x-www-form-urlencoded" if form else JSON
        refusal = refusal or rules.body_refused(headers, kind)
        if refusal is None and not form:
            refusal = self._not_let_in(self._cookie(), TokenKind.WRITE)
        if refusal is not None:
            self._refuse(refusal)
            return
        self._incoming.allow(rules.BODY_LARGEST)
        body = self.rfile.read(int(headers["Content-Length"]))
        self._typed(body) if form else self._tell(body, shed)

    def _typed(self, body: bytes) -> None:
        """A token typed into the page that refuses."""
        found = parse_qs(body.decode("ascii", "replace"), max_num_fields=4)
        self._enter(found.get("token", [""])[0].strip().lower())

    def _tell(self, body: bytes, shed: str) -> None:
        try:
            told = msgspec.json.decode(body, type=Told)
        except (msgspec.DecodeError, UnicodeDecodeError):
            self._refuse(Refusal(HTTPStatus.BAD_REQUEST, "the body is not of a form that is known"))
            return
        self._asked(self._cookie(), TokenKind.WRITE, {"do": "tell", "shed": shed, "told": told})

    # ---- what is answered

    def _enter(self, secret: str) -> None:
        """The token goes from the address into a cookie; the address goes on to one without it."""
        if self._not_let_in(secret, TokenKind.VIEW):
            self._refuse(Refusal(HTTPStatus.FORBIDDEN, "this code is not known; ask for a new one"))
            return
        port, tls = self.server.server_port, self.server.context is not None
        more = {"Location": "/", "Set-Cookie": rules.cookie(secret, port, tls=tls)}
        self._answer(HTTPStatus.SEE_OTHER, b"", HTML, more)

    def _file(self, path: str) -> None:
        refusal = self._not_let_in(self._cookie(), TokenKind.VIEW)
        if refusal is not None:
            self._refuse(refusal)
            return
        name, kind = FILES[path]
        content = resources.files("curewatch.page").joinpath("files", name).read_bytes()
        self._answer(HTTPStatus.OK, content, kind)

    def _asked(self, secret: str, wanted: TokenKind, question: dict[str, Any]) -> None:
        """What the process answers, for whoever may ask it."""
        refusal = self._not_let_in(secret, wanted)
        if refusal is None and not self.server.alive():
            refusal = Refusal(HTTPStatus.SERVICE_UNAVAILABLE, "the daemon does not answer")
        if refusal is not None:
            self._refuse(refusal)
            return
        writes = rules.allowed(self._kind(secret), TokenKind.WRITE)
        try:
            answer = self.server.process.ask(question | {"writes": writes})
        except Unanswered as trouble:
            self._refuse(Refusal(HTTPStatus.SERVICE_UNAVAILABLE, str(trouble)))
            return
        self._answer(HTTPStatus(answer["status"]), answer["body"], answer["kind"])

    def _refuse(self, refusal: Refusal) -> None:
        """Where a person looks, a page with a place for the code; else one sentence as JSON."""
        if refusal.status is HTTPStatus.FORBIDDEN and self._place()[1] == "/":
            page = resources.files("curewatch.page").joinpath("files", "refused.html").read_bytes()
            self._answer(refusal.status, page, HTML)
            return
        self._answer(refusal.status, msgspec.json.encode(PageRejectedDocument(rejected=refusal.text)), JSON)

    def _answer(
        self, status: HTTPStatus, content: bytes, kind: str, more: Mapping[str, str] | None = None
    ) -> None:
        sent = {"Content-Type": kind, "Content-Length": str(len(content)), "Connection": "close"}
        lines = [f"HTTP/1.1 {status.value} {status.phrase}", f"Date: {self.date_time_string()}"]
        lines += [f"{name}: {value}" for name, value in (rules.HEADERS | sent | dict(more or {})).items()]
        self.wfile.write("\r\n".join([*lines, "", ""]).encode("ascii") + content)

    # ---- who asks

    def _place(self) -> tuple[str, str]:
        """The shed that the address names, empty where it names none, and the place on its page."""
        path = urlsplit(getattr(self, "path", "")).path
        if not path.startswith(SHED):
            return "", path
        shed, slash, rest = path.removeprefix(SHED).partition("/")
        return unquote(shed), slash + rest

    def _lines(self) -> dict[str, str]:
        return {name.title(): value for name, value in self.headers.items()}

    def _served(self) -> Served:
        return self.server.served(self.connection.getsockname()[0])

    def _cookie(self) -> str:
        return rules.token_of(self.headers.get("Cookie", ""), self.server.server_port)

    def _kind(self, secret: str) -> TokenKind | None:
        return self.server.tokens.kind(secret) if secret else None

    def _not_let_in(self, secret: str, wanted: TokenKind) -> Refusal | None:
        try:
            found = self._kind(secret)
        except StoreFailed as trouble:
            self.server.complain(str(trouble))
            return Refusal(HTTPStatus.FORBIDDEN, "nobody is let in: see the daemon's journal")
        if rules.allowed(found, wanted):
            return None
        text = "this code may look only" if found is not None else "no code that is known"
        return Refusal(HTTPStatus.FORBIDDEN, text)

    # ---- what the library would say

    def send_error(self, code: int, message: str | None = None, explain: str | None = None) -> None:
        """Of a request that cannot be read: its status, and nothing of its text."""
        found = HTTPStatus.METHOD_NOT_ALLOWED if code == HTTPStatus.NOT_IMPLEMENTED else HTTPStatus(code)
        self._answer(found, msgspec.json.encode(PageRejectedDocument(rejected=found.phrase.lower())), JSON)

    def log_message(self, *_: object) -> None:
        """Nothing: a request's line may carry a token."""
