"""The page's server without the model behind it: what it is asked is noted, what it answers is the test's."""

import http.client
import json
import math
import time
from pathlib import Path
from typing import Any

import msgspec

from curewatch import configuration
from curewatch.answers.document import plain
from curewatch.answers.page import PageLookDocument, page_told_document
from curewatch.clock import iso_utc
from curewatch.page import rules, tokens
from curewatch.page.plan import of_daemon
from curewatch.page.process import Unanswered
from curewatch.page.server import PageServer
from curewatch.page.tokens import TokenKind
from tests.broker import PATIENCE, free_port

AT = 1_795_000_000.0
PRESS = {"do": "press", "job": "J1", "part": "rudder", "key": "mixed", "id": "0123456789abcdef"}


class StandIn:
    """In the place of the process with the model: it notes what it was asked."""

    def __init__(self) -> None:
        self.asked: list[dict[str, Any]] = []
        self.trouble = ""
        self.look: dict[str, Any] = {}  # what of the look is another than in `look`
        self.tells: list[dict[str, Any]] = []  # what comes of each press, in turn

    def ask(self, question: dict[str, Any]) -> dict[str, Any]:
        self.asked.append(question)
        if self.trouble:
            raise Unanswered(self.trouble)
        body: dict[str, Any] = {}
        if question["do"] == "look":
            body = look() | {"writes": question["writes"]} | self.look
            msgspec.convert(body, PageLookDocument)  # what the server cannot send is shown by no test
        elif question["do"] == "tell" and self.tells:
            came = self.tells.pop(0)
            body = came if "rejected" in came else plain(page_told_document(**came))
        return {"status": 200, "body": json.dumps(body).encode(), "kind": "application/json"}

    def tend(self) -> None:
        """Nothing is open."""

    def stop(self) -> None:
        """Nothing is open."""


def look() -> dict[str, Any]:
    """A go, said now."""
    names = ("todo", "deadline", "alerts", "layers", "coming", "chart", "readings")
    part = {"part": "rudder cheek", "layer": None}
    job = {"job": "J1", "title": "new rudder cheek", "parts": [part], "told": []}
    said = {"verdict": "go", "reason": "Fit until it sets.", "shed": "Saltmarsh Shed", "time": "21:40"}
    sections = {"sections": {name: f"<p>{name}</p>" for name in names}}
    asked = {"key": "title", "question": "What is done", "usual": "", "needed": True}
    more = {"ringing": 0, "jobs": [job], "opening": [asked], "writes": True, "several": False}
    return said | sections | more | dict.fromkeys(("at", "looked"), iso_utc(time.time()))


class Page:
    """A server, its tokens, and a client that sends what it is told."""

    def __init__(self, folder: Path, settings: str = "") -> None:
        self.port = free_port()
        self.logbook = folder / "logbook.sqlite"
        self.path = tokens.tokens_path(self.logbook)
        self.complaints: list[str] = []
        text = f'[logbook]\npath = "{self.logbook}"\n[page]\non = true\nport = {self.port}\n{settings}'
        self.server = PageServer(of_daemon(configuration.parse(text)), self.complaints.append)
        self.process = StandIn()
        self.server.process = self.process  # type: ignore[assignment]
        self.secrets = {kind: tokens.issue(self.path, kind, "", AT)[1] for kind in TokenKind}
        self.server._beat = math.inf  # a daemon that always goes round
        self.server.start()

    def ask(
        self,
        path: str,
        kind: TokenKind | None = None,
        body: bytes | None = None,
        method: str = "",
        **lines: str,
    ) -> tuple[int, dict[str, str], bytes]:
        """One request; a token goes as a cookie. Names of lines are given with _ for -."""
        sent = {"Host": f"127.0.0.1:{self.port}"}
        if body is not None:
            sent |= {"Origin": f"http://127.0.0.1:{self.port}", "Content-Type": "application/json"}
        if kind is not None:
            sent["Cookie"] = f"other=1; {rules.cookie_name(self.port)}={self.secrets[kind]}"
        sent |= {name.replace("_", "-"): value for name, value in lines.items()}
        far = http.client.HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE)
        far.request(method or ("GET" if body is None else "POST"), path, body, sent)
        answer = far.getresponse()
        found = answer.status, dict(answer.headers), answer.read()
        far.close()
        return found

    def press(self, kind: TokenKind | None = TokenKind.WRITE, **lines: str) -> int:
        return self.ask("/tell", kind, json.dumps(PRESS).encode(), **lines)[0]
