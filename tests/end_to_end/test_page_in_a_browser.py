"""The page in a real browser, before a server whose answers are the test's: it never shows an old go.

Each way to an old answer has its control in the same run: with that guard taken out, the go stays.
"""

import json
import os
import signal
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from curewatch.answers.alerts import AlertDocument
from curewatch.answers.document import SentenceDocument, sentence
from curewatch.answers.sheds import ShedDeadlineDocument, ShedLineDocument
from curewatch.clock import iso_utc
from curewatch.page.drawing.lists import alerts
from curewatch.page.drawing.sheds import sheds_list
from curewatch.page.tokens import TokenKind
from curewatch.wording import Wording
from tests.broker import until
from tests.browser import PHONE, RECORDER, TABLET, browser, phone, shows, state, word
from tests.documents import PACKAGE
from tests.page_server import AT, Page

FILES = PACKAGE / "curewatch" / "page" / "files"
SCRIPT = FILES / "page.js"
EXPIRY = "0s linear 40s forwards"  # of the style: it takes the word away by itself


@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    with browser() as found:
        yield found


@pytest.fixture
def shed(tmp_path: Path) -> Iterator[Page]:
    made = Page(tmp_path)
    yield made
    made.server.stop()


def lasting() -> str:
    """The style without its own clock: a busy machine may need its forty seconds for a control."""
    style = (FILES / "page.css").read_text()
    assert style.count(EXPIRY) == 2
    return style.replace(EXPIRY, "0s linear 4000s forwards")


def opened(chromium: Any, shed: Page, kind: TokenKind = TokenKind.WRITE, **more: Any) -> Any:
    """A phone that shows a go; ``without`` takes a guard out of its script, ``at`` sets its clock."""
    without, at, style = (more.pop(name, None) for name in ("without", "at", "style"))
    page = phone(chromium, "about:blank", **more)
    if without is not None:
        changed = SCRIPT.read_text()
        for before, after in without:
            assert before in changed
            changed = changed.replace(before, after)
        page.route("**/page.js", lambda route: route.fulfill(body=changed, content_type="text/javascript"))
    if style is not None:
        page.route("**/page.css", lambda route: route.fulfill(body=style, content_type="text/css"))
    if at is not None:
        page.clock.install(time=datetime.fromtimestamp(at, UTC))
    page.troubles = []
    page.on("console", lambda said: page.troubles.append(said.text))
    page.on("pageerror", lambda said: page.troubles.append(str(said)))
    page.on("dialog", lambda said: page.troubles.append(said.message))
    page.goto(f"http://127.0.0.1:{shed.port}/enter/{shed.secrets[kind]}")
    return page


@pytest.mark.long
def test_a_phone_is_let_in_and_shows_the_answer(chromium: Any, shed: Page) -> None:
    """The word first, the token out of the address and away from scripts; what cannot be told is UNKNOWN."""
    page = opened(chromium, shed)
    shows(page, "#word", "GO")
    assert page.url == f"http://127.0.0.1:{shed.port}/"
    assert page.evaluate("() => document.cookie") == ""
    assert page.evaluate("() => history.length") <= 2
    assert page.title() == "GO Saltmarsh Shed"
    assert page.locator("body").aria_snapshot().splitlines()[1].strip() == '- heading "GO" [level=1]'
    assert page.troubles == []
    shed.process.trouble = "the logbook cannot be read"
    shows(page, "#why", "the logbook cannot be read")
    assert state(page) == ("UNKNOWN", False)
    page.context.close()


# ---- never an old go


@pytest.mark.long
def test_without_contact_the_go_is_gone_within_forty_seconds(chromium: Any, shed: Page) -> None:
    """Cut off: a line says so at once, the word goes in time; contact again brings the answer back."""

    def cut(without: Any) -> str:
        style = None if without is None else lasting()
        page = opened(chromium, shed, at=time.time(), without=without, style=style)
        shows(page, "#word", "GO")
        page.context.set_offline(True)
        for _ in range(40):
            page.clock.run_for(1000)
        found = word(page)
        if without is None:
            assert state(page) == ("UNKNOWN", False)
            assert "No contact with the shed" in page.inner_text("#why")
            assert "as it was at 21:40" in page.inner_text("#contact")
            page.context.set_offline(False)
            shed.process.look = {"at": page.evaluate("() => new Date().toISOString()")}
            shed.process.look["looked"] = shed.process.look["at"]
            page.clock.run_for(6000)
            shows(page, "#word", "GO")
            shed.process.look = {}
        page.context.close()
        return found

    assert cut(None) == "UNKNOWN"
    assert cut([("OLD = 35", "OLD = 1e9")]) == "GO"


@pytest.mark.long
@pytest.mark.parametrize("off", [3 * 3600.0, -3 * 3600.0])
def test_a_phone_with_a_wrong_clock_is_told_so(chromium: Any, shed: Page, off: float) -> None:
    """Every deadline on it would be wrong by three hours."""
    page = opened(chromium, shed, at=time.time() + off)
    shows(page, "#why", "This phone's clock is 3 h " if off > 0 else "behind the shed's")
    assert state(page) == ("UNKNOWN", False)
    page.context.close()
    page = opened(chromium, shed, at=time.time() + off, without=[("CLOCK = 120", "CLOCK = 1e9")])
    shows(page, "#word", "GO")
    page.context.close()


@pytest.mark.long
def test_a_look_that_is_old_itself_is_no_answer(chromium: Any, shed: Page) -> None:
    """The server goes on answering, and what it looked at is from long ago."""
    shed.process.look = {"looked": iso_utc(time.time() - 120.0)}
    page = opened(chromium, shed)
    shows(page, "#why", "The shed's last look is too old")
    assert state(page) == ("UNKNOWN", False)
    page.context.close()
    page = opened(chromium, shed, without=[("LOOKED = 75", "LOOKED = 1e9")])
    shows(page, "#word", "GO")
    page.context.close()


def after_sleep(page: Any, shed: Page, sleep: Callable[[], None]) -> list[str]:
    """What the frames show after a sleep, while no new answer comes."""
    shows(page, "#word", "GO")
    page.evaluate(RECORDER)
    until(lambda: page.evaluate("() => window.frames_seen.length") > 3)
    shed.process.trouble = "no answer in this test"
    page.context.set_offline(True)
    sleep()
    page.evaluate("() => { window.frames_seen.length = 0; }")
    until(lambda: page.evaluate("() => window.frames_seen.length") > 3)
    found = [each for _, each in page.evaluate("() => window.frames_seen")]
    shed.process.trouble = ""
    page.context.set_offline(False)
    shows(page, "#word", "GO")
    return found


# no guard, and no question meanwhile: its failure would take the go away, too
NO_GUARD = [
    ("function fell_asleep() {", "function fell_asleep() { return;"),
    ("EVERY = 5, OLD = 35", "EVERY = 600, OLD = 1e9"),
]


SLEEPS = {
    "frozen": """() => { document.dispatchEvent(new Event('freeze'));
      document.dispatchEvent(new Event('resume')); }""",
    "kept for going back": """() => {
      window.dispatchEvent(new PageTransitionEvent('pagehide', { persisted: true }));
      window.dispatchEvent(new PageTransitionEvent('pageshow', { persisted: true })); }""",
    "hidden": """() => { let state = 'hidden';
      Object.defineProperty(document, 'visibilityState', { configurable: true, get: () => state });
      document.dispatchEvent(new Event('visibilitychange'));
      state = 'visible'; document.dispatchEvent(new Event('visibilitychange')); }""",
}


@pytest.mark.long
@pytest.mark.parametrize("without", [None, NO_GUARD])
def test_frozen_and_hidden_pages_wake_up_unknown(chromium: Any, shed: Page, without: Any) -> None:
    """Every frame after it, the first too, until a new answer has come; without the guard the go is back.

    A headless browser takes no page to sleep, so the test sends what a browser then sends.
    """
    page = opened(chromium, shed, without=without, style=None if without is None else lasting())
    for name, events in SLEEPS.items():
        seen = after_sleep(page, shed, lambda events=events: page.evaluate(events))  # type: ignore[misc]
        assert set(seen) == ({"UNKNOWN"} if without is None else {"GO"}), name
    page.context.close()


@pytest.mark.long
@pytest.mark.parametrize("guarded", [True, False])
def test_a_stopped_process_goes_on_without_its_go(chromium: Any, shed: Page, guarded: bool) -> None:
    """The page's process stands still for longer than an answer counts: no frame after it shows the go."""
    style = lasting().replace("0s linear 4000s", "0s linear 2s") if guarded else lasting()
    every = 1 if guarded else 600  # the failure of a question would take the go away, too
    times = ("EVERY = 5, OLD = 35", f"EVERY = {every}, OLD = 1e9")
    page = opened(chromium, shed, without=[times], style=style)
    shows(page, "#word", "GO")
    page.evaluate(RECORDER)
    until(lambda: len(page.evaluate("() => window.frames_seen")) > 3)
    processes = chromium.new_browser_cdp_session().send("SystemInfo.getProcessInfo")["processInfo"]
    renderers = [each["id"] for each in processes if each["type"] == "renderer"]
    shed.process.trouble = "no answer in this test"
    page.context.set_offline(True)
    for each in renderers:
        os.kill(each, signal.SIGSTOP)
    time.sleep(4.0)
    for each in renderers:
        os.kill(each, signal.SIGCONT)
    frames = until(lambda: after_gap(page.evaluate("() => window.frames_seen"), 3000.0))
    assert frames[0][1] == ("UNKNOWN" if guarded else "GO")
    page.context.close()


def after_gap(frames: list[list[Any]], gap: float) -> list[list[Any]]:
    """The frames that came after so long a pause [ms]."""
    begins = [at for at, (one, other) in enumerate(pairwise(frames), 1) if other[0] - one[0] > gap]
    return frames[begins[-1] :] if begins else []


@pytest.mark.long
def test_ten_minutes_under_a_closed_lid(chromium: Any, shed: Page) -> None:
    """No event tells of it: the clocks do. The same if one of them stood still."""
    for still in ("performance", "Date"):
        page = opened(chromium, shed, at=time.time())
        shows(page, "#word", "GO")
        page.context.set_offline(True)
        page.evaluate(
            "() => { const at = performance.now(); performance.now = () => at; }"
            if still == "performance"
            else "() => { const at = Date.now(); Date.now = () => at; }"
        )
        page.clock.fast_forward("10:00")
        assert state(page) == ("UNKNOWN", False), still
        page.context.close()
    page = opened(chromium, shed, at=time.time(), without=[("OLD = 35", "OLD = 1e9")], style=lasting())
    shows(page, "#word", "GO")
    page.context.set_offline(True)
    page.clock.fast_forward("10:00")
    assert word(page) == "GO"
    page.context.close()


@pytest.mark.long
def test_an_answer_from_before_a_sleep_counts_for_nothing(chromium: Any, shed: Page) -> None:
    """It was asked for, the phone slept, and then it arrives."""
    for without, expected in ((None, "UNKNOWN"), ([("if (slept !== sleep) return;", "")], "GO")):
        page = opened(chromium, shed, without=without)
        shows(page, "#word", "GO")
        page.evaluate(
            """() => { const plain = window.fetch; window.late = 0;
                 window.fetch = async (...all) => { const said = await (await plain(...all)).text();
                   await new Promise((done) => { window.release = done; }); window.late += 1;
                   window.fetch = () => new Promise(() => {});
                   return new Response(said, { status: 200 }); }; }"""
        )
        until(lambda page=page: page.evaluate("() => !!window.release"))
        page.evaluate("""() => { document.dispatchEvent(new Event('freeze')); window.release(); }""")
        until(lambda page=page: page.evaluate("() => window.late") == 1)
        if expected == "GO":
            until(lambda page=page: word(page) == "GO")
        else:
            page.wait_for_timeout(300)
            assert word(page) == "UNKNOWN"
        page.context.close()


@pytest.mark.long
def test_back_to_the_page_begins_unknown(chromium: Any, shed: Page) -> None:
    """After another page: the first thing this document ever shows is UNKNOWN."""
    page = opened(chromium, shed)
    shows(page, "#word", "GO")
    page.add_init_script(
        """addEventListener('DOMContentLoaded',
             () => { window.first = document.getElementById('word')?.innerText; })"""
    )
    page.goto("about:blank")
    shed.process.trouble = "no answer in this test"
    page.go_back()
    until(lambda: page.evaluate("() => window.first"))
    assert page.evaluate("() => window.first") == "UNKNOWN"
    assert state(page) == ("UNKNOWN", False)
    page.context.close()


@pytest.mark.long
def test_a_script_that_stands_still_loses_its_word_to_the_style(chromium: Any, shed: Page) -> None:
    """The style's own clock, a thousand times as fast, hides the go; without its rule the go stays."""
    style = (FILES / "page.css").read_text()
    rule = "body:not(.old) #told, body:not(.old) #sheds { animation: leave 0s linear 40s forwards; }"
    assert rule in style
    shed.process.look = {"sections": {"sheds": "<p>GO creek</p>"}}
    for used, seen in ((style, "hidden"), (style.replace(rule, ""), "visible")):
        still = [("setInterval(() => {", "setInterval(() => { return;")]
        page = opened(chromium, shed, TokenKind.VIEW, without=still, style=used)
        shows(page, "#word", "GO")
        protocol = page.context.new_cdp_session(page)
        protocol.send("Animation.enable")
        protocol.send("Animation.setPlaybackRate", {"playbackRate": 1000})
        if seen == "visible":
            page.wait_for_timeout(1000)
        shown = "(id) => getComputedStyle(document.getElementById(id)).visibility"
        for place in ("told", "sheds"):
            until(lambda asked=(page, shown, place), seen=seen: asked[0].evaluate(*asked[1:]) == seen)
        page.context.close()


# ---- telling


@pytest.mark.long
def test_a_question_is_answered_and_a_lost_press_is_sent_again(chromium: Any, shed: Page) -> None:
    """Keep it: the same press, sure; leave it out: nothing is sent. No answer: the same press once more."""
    page = opened(chromium, shed)
    shows(page, "#word", "GO")
    shed.process.tells = [{"question": "no batch is mixed"}, {"said": "L1 laid", "number": 7, "undo_s": 60}]
    page.click("[data-key=laid]")
    shows(page, "#question", "no batch is mixed")
    page.click("#keep")
    shows(page, "#said", "L1 laid")
    first, second = told(shed)
    assert (first.sure, second.sure, first.id) == (False, True, second.id)
    shed.process.tells = [{"said": "undone"}]
    page.click("#undo")
    shows(page, "#said", "undone")
    assert told(shed)[-1].number == 7
    assert page.is_hidden("#undo")
    shed.process.tells = [{"question": "gelled now is not expected"}]
    page.click("[data-key=gelled]")
    shows(page, "#question", "gelled now")
    page.click("#leave")
    shows(page, "#said", "Left out")
    count = len(told(shed))
    page.context.set_offline(True)
    page.click("[data-key=mixed]")
    shows(page, "#said", "sent again")
    page.context.set_offline(False)
    shed.process.tells = [{"said": "B1 mixed", "number": 9, "undo_s": 60}]
    shows(page, "#said", "B1 mixed")
    assert len(told(shed)) == count + 1
    page.click("[data-key=note]")
    page.fill("#words", "dry, no wind")
    shed.process.tells = [{"rejected": "job J1: found it closed"}]
    page.click("text=Keep the note")
    shows(page, "#said", "found it closed")
    assert page.input_value("#words") == "dry, no wind"
    assert told(shed)[-1].text == "dry, no wind"
    assert len({each.id for each in told(shed) if hasattr(each, "id")}) == len(told(shed)) - 2
    page.context.close()


def told(shed: Page) -> list[Any]:
    return [each["told"] for each in shed.process.asked if each["do"] == "tell"]


@pytest.mark.long
def test_a_phone_that_only_looks_has_no_keys(chromium: Any, shed: Page) -> None:
    """Nothing to press; and a token that is taken back while it looks is said."""
    page = opened(chromium, shed, TokenKind.VIEW)
    shows(page, "#word", "GO")
    assert page.is_hidden("#bench")
    assert page.locator("button:visible").count() == 0
    shed.path.unlink()
    shows(page, "#why", "not let in any more")
    assert state(page) == ("UNKNOWN", False)
    page.context.close()


# ---- what it looks like


def many_alerts(count: int, text: str = "the surface is only 0.3 °C above the dew point") -> str:
    said = SentenceDocument(text=text, words=text.replace("{", "").replace("}", ""), numbers={})
    now = time.time()
    active = [
        AlertDocument(
            alert="condensation",
            subject=f"L{number}",
            since=iso_utc(now - number),
            text=said,
            advised=said,
            due=iso_utc(now + 60 * number),
            meaning="",
            acknowledged=None,
        )
        for number in range(1, count + 1)
    ]
    numbers = {(each.alert, each.subject): 1000 + at for at, each in enumerate(active)}
    return str(alerts(active, numbers, Wording(), now, writes=True))


@pytest.mark.long
def test_two_hundred_alerts_can_be_read_and_acknowledged(chromium: Any, shed: Page) -> None:
    """Eight at once, the rest folded away, one key for all of them."""
    shed.process.look = {"ringing": 200}
    shed.process.look["sections"] = {**look_sections(), "alerts": many_alerts(200)}
    page = opened(chromium, shed)
    shows(page, "#waiting", "(200)")
    assert page.locator("#alerts li:visible").count() == 8
    page.click("summary")
    assert page.locator("#alerts li:visible").count() == 200
    page.wait_for_timeout(6000)
    assert page.locator("#alerts li:visible").count() == 200  # a new answer leaves it open
    shed.process.tells = [{"said": "200 acknowledged"}]
    page.click("text=Acknowledge all 200")
    shows(page, "#said", "200 acknowledged")
    assert len(told(shed)[-1].numbers) == 200
    page.context.close()


THREE = [
    ShedLineDocument(
        shed=shed,
        name=shed,
        boat="Kittiwake Nine",
        verdict=verdict,
        reason=sentence("because of the weather", Wording(), AT),
        ringing=ringing,
        deadline=ShedDeadlineDocument(due=iso_utc(AT), text="laminate again before", layer="L1 J1 cheek"),
    )
    for shed, verdict, ringing in (("creek", "unknown", 2), ("quay", "no-go", 0), ("loft", "go", 0))
]


def look_sections() -> dict[str, str]:
    from tests.page_server import look

    found: dict[str, str] = look()["sections"]
    return found


@pytest.mark.long
@pytest.mark.parametrize("width", [320, 360, PHONE["width"]])
def test_the_longest_verdict_is_on_one_line(chromium: Any, shed: Page, width: int) -> None:
    """UNKNOWN is read as a word on a small phone, not as UNKNO and WN."""
    shed.process.look["verdict"] = "unknown"
    page = opened(chromium, shed, size={"width": width, "height": 740})
    shows(page, "#word", "UNKNOWN")
    rows = page.evaluate(
        """() => { const word = document.getElementById('word'), large = getComputedStyle(word).fontSize;
                 return word.getBoundingClientRect().height / parseFloat(large); }"""
    )
    assert rows < 1.5
    page.context.close()


@pytest.mark.long
@pytest.mark.parametrize("size", [PHONE, TABLET])
def test_it_is_large_and_within_the_rules_for_everybody(
    chromium: Any, shed: Page, size: dict[str, int]
) -> None:
    """WCAG 2.2 AA by axe-core, keys of 64 px, no sideways scroll: go, unknown, a question, a refusal."""
    from axe_playwright_python.sync_playwright import Axe

    axe, options = (
        Axe(),
        {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]},
    )

    def checked(page: Any, which: str) -> None:
        found = axe.run(page, options=options).response["violations"]
        assert [(each["id"], each["nodes"][0]["html"][:200]) for each in found] == [], which
        assert page.evaluate("() => document.documentElement.scrollWidth") <= size["width"], which
        small = page.evaluate(
            """() => [...document.querySelectorAll('button, select, input, textarea, nav a, summary')]
                 .map((each) => [each.outerHTML.slice(0, 80), each.getBoundingClientRect()])
                 .filter(([, box]) => box.height > 0 && (box.height < 64 || box.width < 64))
                 .map(([name]) => name)"""
        )
        assert small == [], which

    shed.process.look["sections"] = {**look_sections(), "alerts": many_alerts(12)}
    page = opened(chromium, shed, size=size)
    shows(page, "#word", "GO")
    checked(page, "go")
    page.evaluate(
        """() => { const wrong = document.createElement('img'); wrong.id = 'wrong';
                 document.querySelector('main').append(wrong); }"""
    )
    with pytest.raises(AssertionError, match="image-alt"):
        checked(page, "control")
    page.evaluate("() => document.getElementById('wrong').remove()")
    for verdict in ("no-go", "unknown"):
        shed.process.look["verdict"] = verdict
        shows(page, "#word", verdict.upper())
        checked(page, verdict)
    shed.process.tells = [{"question": "gelled now is not expected; it was likely at 04:58"}]
    page.click("[data-key=gelled]")
    shows(page, "#question", "gelled now")
    page.click("#leave")
    page.click("[data-key=note]")
    page.click("text=Open a job")
    checked(page, "writing")
    shed.process.look = {"verdict": "go", "sections": {"sheds": "".join(sheds_list(THREE, Wording(), AT))}}
    page.reload()
    shows(page, "#sheds", "NO-GO quay")
    checked(page, "all sheds")
    page.context.clear_cookies()
    page.goto(f"http://127.0.0.1:{shed.port}/")
    shows(page, "h1", "A code is needed")
    assert axe.run(page, options=options).response["violations"] == []
    page.fill("#token", shed.secrets[TokenKind.WRITE])
    page.click("button")
    until(lambda: page.locator("#word").count() == 1)
    page.context.close()


@pytest.mark.long
def test_it_can_be_put_on_a_home_screen_and_asks_nothing_of_others(chromium: Any, shed: Page) -> None:
    """The manifest and its pictures load with the cookie; every request goes to the shed."""
    asked: list[str] = []
    page = phone(chromium, "about:blank")
    page.on("request", lambda request: asked.append(request.url))
    page.goto(f"http://127.0.0.1:{shed.port}/enter/{shed.secrets[TokenKind.VIEW]}")
    shows(page, "#word", "GO")
    protocol = page.context.new_cdp_session(page)
    found = protocol.send("Page.getAppManifest")
    assert found["errors"] == []
    manifest = json.loads(found["data"])
    assert (manifest["start_url"], manifest["display"]) == ("/", "standalone")
    for icon in manifest["icons"]:
        reply = page.evaluate(
            """async (src) => { const got = await fetch(src);
                 return [got.status, got.headers.get('content-type')]; }""",
            icon["src"],
        )
        assert reply == [200, icon["type"]]
    assert asked
    assert all(each.startswith(f"http://127.0.0.1:{shed.port}/") for each in asked if each != "about:blank")
    page.context.close()
