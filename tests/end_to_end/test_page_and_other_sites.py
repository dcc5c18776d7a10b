"""Another site in the same browser: it may neither look, nor tell, nor frame the page, nor take its name.

The browser holds a code that writes. The control takes the rules about Host, Origin and bodies out; then the
other site's press is told, and a name of its own that points here opens the page.
"""

import json
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest

from curewatch.page import rules
from curewatch.page.tokens import TokenKind
from tests.broker import until
from tests.browser import OTHER_SITE, browser, phone, shows
from tests.page_server import PRESS, Page

pytestmark = pytest.mark.long
ATTACKS = """
async (shed) => {
  const press = %s, JSON_BODY = {"Content-Type": "application/json"};
  const tried = {};
  const attempt = async (name, address, more) => {
    try {
      const reply = await fetch(shed + address, {credentials: "include", ...more});
      tried[name] = reply.type === "opaque" ? "sent" : await reply.text();
    } catch { tried[name] = "refused"; }
  };
  await attempt("look", "/look", {});
  await attempt("tell as JSON", "/tell", {method: "POST", body: press, headers: JSON_BODY});
  await attempt("tell as text", "/tell", {method: "POST", body: press, mode: "no-cors"});
  const frame = document.createElement("iframe");
  frame.src = shed + "/";
  document.body.append(frame);
  await new Promise((done) => { frame.onload = done; setTimeout(done, 5000); });
  try { tried.frame = frame.contentDocument ? "empty" : "closed"; } catch { tried.frame = "closed"; }
  return tried;
}
"""
SEND = """
async (body) => {
  const headers = {"Content-Type": "application/json"};
  return (await fetch("/tell", {method: "POST", headers, body})).status;
}
"""


@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    with browser() as found:
        yield found


@contextmanager
def other_site() -> Iterator[int]:
    """An empty page on a port of its own."""

    class Empty(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.send_response(200)
            self.send_header("Content-Type", "text/html")
            self.end_headers()
            self.wfile.write(b"<!doctype html><title>other</title><body>")

        def log_message(self, *_: object) -> None:
            """Nothing."""

    with ThreadingHTTPServer(("127.0.0.1", 0), Empty) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield server.server_port
        server.shutdown()


def rests(shed: Page) -> bool:
    """Whether nothing was asked for a second: the page that was left may have had a question on its way."""
    before = len(shed.process.asked)
    time.sleep(1.0)
    return len(shed.process.asked) == before


@pytest.mark.parametrize("guarded", [True, False])
def test_another_site_gets_nothing(
    chromium: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, guarded: bool
) -> None:
    """From another port of this very machine, to which the browser sends the cookie along."""
    if not guarded:
        monkeypatch.setattr(rules, "refused", lambda *_, **__: None)
        monkeypatch.setattr(rules, "body_refused", lambda *_: None)
    shed = Page(tmp_path)
    try:
        with other_site() as port:
            page = phone(chromium, f"http://127.0.0.1:{shed.port}/enter/{shed.secrets[TokenKind.WRITE]}")
            shows(page, "#word", "GO")
            page.goto(f"http://127.0.0.1:{port}/")
            until(lambda: page.title() == "other")
            until(lambda: rests(shed))
            before = len(shed.process.asked)
            body = json.dumps(json.dumps(PRESS))
            tried = page.evaluate(ATTACKS % body, f"http://127.0.0.1:{shed.port}")
            assert tried["look"] == tried["tell as JSON"] == "refused"
            assert tried["frame"] == "closed"
            asked = [each["do"] for each in shed.process.asked[before:]]
            assert ("tell" in asked) == (not guarded)
            assert (asked == []) == guarded
            taken = page.goto(f"http://{OTHER_SITE}:{shed.port}/enter/{shed.secrets[TokenKind.WRITE]}")
            assert taken.status == (421 if guarded else 200)
            page.context.close()
    finally:
        shed.server.stop()


def test_a_body_that_is_too_large_is_refused_to_our_own_page(chromium: Any, tmp_path: Path) -> None:
    """The page's own script cannot send more than a note's worth; the next press goes through."""
    shed = Page(tmp_path)
    try:
        page = phone(chromium, f"http://127.0.0.1:{shed.port}/enter/{shed.secrets[TokenKind.WRITE]}")
        shows(page, "#word", "GO")
        press = json.dumps(PRESS)
        assert page.evaluate(SEND, " " * rules.BODY_LARGEST + press) == 413
        assert page.evaluate(SEND, " " * 1000 + press) == 200
        page.context.close()
    finally:
        shed.server.stop()
