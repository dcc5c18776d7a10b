"""The page with everything behind it: a real daemon, the model's process, and phones that press its keys."""

import socket
import ssl
import threading
import time
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import icalendar
import pytest
from prometheus_client.openmetrics.parser import text_string_to_metric_families

from curewatch.logbook import Logbook
from curewatch.page import rules, tokens
from curewatch.page.server import MOST_OF_ONE
from curewatch.page.tokens import TokenKind
from curewatch.shed import active_alerts
from curewatch.units import HOUR
from tests.broker import PATIENCE, free_port, until
from tests.browser import RECORDER, TABLET, browser, phone, press, shows, state, word
from tests.certificates import authority, certificate
from tests.page_world import PageWorld, answers, page_world, past
from tests.running import Running, zone_at_noon

SMALL = 60.0  # resident of the daemon; 54 is the aim, and another system may count a tenth more [MB]
HOSTILE = '<img src=x onerror="pwned=1">"\'><script>pwned=1</script>&lt;b&gt; {at:moment} \u202eevil'

pytestmark = pytest.mark.long


@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    with browser() as found:
        yield found


UNHURRIED = """
if "page.answering" in what:
    from curewatch.worklog import keys
    keys.UNDO_FOR = 600.0  # s; a busy machine may need the minute for the press alone
if "ingest" in what:
    from curewatch.page import process
    process.PATIENCE = 600.0  # s; and its thirty seconds for an answer
"""


@pytest.fixture
def shed(tmp_path: Path) -> Iterator[PageWorld]:
    with page_world(tmp_path, UNHURRIED) as made:
        yield made


def ready(page: Any) -> Any:
    shows(page, "#word", "GO")
    until(lambda: page.is_enabled("[data-key=mixed]"))
    return page


def test_every_key_writes_what_the_terminal_writes(chromium: Any, shed: PageWorld) -> None:
    """Each with its line; what is not expected is asked; a minute to undo; all of one job and part."""
    page = ready(phone(chromium, shed.code()))
    page.click("[data-key=laid]")
    shows(page, "#question", "no batch is mixed that was not laid yet")
    page.click("#leave")
    for key, said in (
        ("mixed", "B1 mixed, 150 g as planned"),
        ("laid", "L1 laid from B1"),
        ("peel-ply", "peel ply on"),
        ("pot-empty", "pot of"),
    ):
        page.click(f"[data-key={key}]")
        shows(page, "#said", said)
    page.click("[data-key=pot-empty]")
    shows(page, "#said", "found it empty already")
    page.wait_for_timeout(1500)  # what is seen of a layer in the second of its mixing is refused
    for key in ("gelled", "tack-free", "firm"):
        page.click(f"[data-key={key}]")
        shows(page, "#question", f"{key} now is not expected")
        page.click("#keep")
        shows(page, "#said", key)
    page.click("[data-key=note]")
    page.fill("#words", "dry, no wind")
    page.click("text=Keep the note")
    shows(page, "#said", "note kept: dry, no wind")
    page.click("#undo")
    shows(page, "#said", "undone")
    wanted = ["batch", "layer", "peel-ply", "pot-empty", *["observation"] * 3, "note", "correction"]
    with Logbook(shed.path, read_only=True) as logbook:
        told = [each for each in logbook.entries(job="J1") if each.kind != "job-open"]
    assert [each.kind for each in told] == wanted
    assert told[1].payload["part"] == "new rudder cheek"
    assert told[-1].payload["corrects"] == told[-2].number
    shows(page, "#layers", "new rudder cheek")
    shows(page, "#lately", "note (undone)")
    page.select_option("#part", "")
    page.fill("#new-part", "tiller head")
    page.click("[data-key=mixed]")
    shows(page, "#said", "B2 mixed")
    page.context.close()


def test_a_daemon_that_is_killed_takes_its_go_with_it(chromium: Any, shed: PageWorld) -> None:
    """Within forty seconds UNKNOWN and why; started again, a new answer; a press is written once.

    The seconds are those of the page's frames: a busy machine may draw none for a while.
    """
    page = ready(phone(chromium, shed.code()))
    page.evaluate(RECORDER)
    until(lambda: page.evaluate("() => window.frames_seen.some(each => each[1] === 'GO')"))
    shed.daemon.kill()
    gone = page.evaluate("() => performance.now()")
    until(lambda: word(page) == "UNKNOWN")
    until(lambda: page.evaluate("(at) => window.frames_seen.at(-1)[0] > at", gone + 40_000.0))
    late = {shown for at, shown in page.evaluate("() => window.frames_seen") if at > gone + 40_000.0}
    assert late == {"UNKNOWN"}
    assert state(page) == ("UNKNOWN", False)
    assert "No contact" in page.inner_text("#why")
    page.click("[data-key=mixed]")
    shows(page, "#said", "sent again")
    shed.daemon.start()
    until(lambda: answers(shed.port))
    until(lambda: "not written" in (said := page.inner_text("#said")) or "B1" in said)
    if "not written" in page.inner_text("#said"):
        page.click("[data-key=mixed]")
        shows(page, "#said", "B1 mixed")
    assert len(shed.told("batch")) == 1
    ready(page)
    page.context.close()


TWICE = """
if "page.answering" in what:
    from msgspec.structs import replace
    from curewatch.page import telling
    from curewatch.shed import active_alerts
    def acknowledge(place, numbers):
        found = [replace(each.alert, acknowledged=None) for each in active_alerts.numbered(place.logbook)]
        active_alerts.acknowledge(place.logbook, found, None, place.now, place.words)
        return "acknowledged"
    telling._acknowledge = acknowledge
"""


@pytest.mark.parametrize(("defect", "times"), [("", 1), (TWICE, 2)])
def test_two_phones_see_each_other(chromium: Any, tmp_path: Path, defect: str, times: int) -> None:
    """What one tells the other shows; an alert that both acknowledge is acknowledged once.

    The control does not look whether it is acknowledged: it is found by its second entry.
    """
    with page_world(tmp_path, UNHURRIED + defect) as shed:
        two_phones(chromium, shed, times)


def two_phones(chromium: Any, shed: PageWorld, times: int) -> None:
    one, other = (ready(phone(chromium, shed.code(), **more)) for more in ({}, {"size": TABLET}))
    shows(one, "#alerts", "go now")
    shows(other, "#alerts", "go now")
    for each in (one, other):
        each.evaluate("() => document.querySelector('[data-acknowledge]').click()")
    for each in (one, other):
        until(lambda each=each: "cknowledged" in each.inner_text("#said"))
        shows(each, "#alerts", "acknowledged:")
    assert [each["happening"] for each in shed.told("alert")].count("acknowledged") == times
    one.click("[data-key=mixed]")
    shows(one, "#said", "B1 mixed")
    other.click("[data-key=mixed]")
    shows(other, "#said", "B2 mixed")
    shows(one, "#lately", "batch B2")
    for each in (one, other):
        each.context.close()


def test_hostile_names_stay_names_on_every_place(chromium: Any, tmp_path: Path) -> None:
    """Shed, boat, job, part, note, lot: shown as they are, and none becomes an element or runs."""
    name = HOSTILE.replace("\\", "\\\\").replace('"', '\\"')
    with page_world(tmp_path, UNHURRIED, name=name, title=HOSTILE[:120]) as shed:
        page = phone(chromium, shed.code())
        troubles: list[str] = []
        page.on("dialog", lambda said: troubles.append(said.message))
        page.on("console", lambda said: troubles.append(said.text))
        ready(page)
        page.select_option("#part", "")
        page.fill("#new-part", HOSTILE[:40])
        for key in ("mixed", "laid", "gelled"):
            page.wait_for_timeout(1500)  # what is seen of a layer in the second of its mixing is refused
            press(page, key)
        page.click("[data-key=note]")
        page.fill("#words", HOSTILE)
        page.click("text=Keep the note")
        shows(page, "#said", "note kept")
        shows(page, "#layers", "<img src=x onerror")
        shows(page, "#place-name", "<img src=x onerror")
        assert page.evaluate("() => window.pwned") is None
        assert page.locator("img, script:not([src]), iframe, [onerror]").count() == 0
        assert "\u202e" not in page.inner_text("body")
        assert troubles == []
        page.evaluate("(text) => { document.getElementById('layers').innerHTML = text; }", HOSTILE)
        assert page.locator("img").count() == 1  # the control: unescaped, it would be one
        page.context.close()


def fetched(address: str, context: ssl.SSLContext | None = None, **lines: str) -> bytes:
    asked = urllib.request.Request(
        address, headers={name.replace("_", "-"): text for name, text in lines.items()}
    )
    with urllib.request.urlopen(asked, timeout=PATIENCE, context=context) as reply:
        found: bytes = reply.read()
        return found


def test_the_calendar_and_the_metrics_stand_at_the_same_address(chromium: Any, shed: PageWorld) -> None:
    """Kept libraries read both; when a time moves the event keeps its UID."""
    feed = shed.code(TokenKind.CALENDAR).replace("/enter/", "/calendar/") + ".ics"

    def events(key: Callable[[Any], str] = lambda each: str(each["UID"])) -> dict[str, Any]:
        calendar = icalendar.Calendar.from_ical(fetched(feed))
        return {key(each): each for each in calendar.walk("VEVENT")}

    def changes(each: Any) -> str:
        return f"{each['SUMMARY']} {each['DTSTART'].dt}"

    page = ready(phone(chromium, shed.code()))
    for key in ("mixed", "laid"):
        page.click(f"[data-key={key}]")
        shows(page, "#said", key)
    before = until(lambda: len(found := events()) >= 4 and found)
    changing = set(events(changes))
    assert any("Layup window" in str(each["SUMMARY"]) for each in before.values())
    deadline = next(each for each in before.values() if "laminate again before" in str(each["SUMMARY"]))
    assert "L1 J1 new rudder cheek" in str(deadline["SUMMARY"])
    page.wait_for_timeout(1500)  # what is seen of a layer in the second of its mixing is refused
    page.click("[data-key=gelled]")
    shows(page, "#question", "not expected")
    page.click("#keep")
    shows(page, "#said", "gelled")
    uid = str(deadline["UID"])
    moved = until(
        lambda: (found := events().get(uid)) and found["DTSTART"].dt != deadline["DTSTART"].dt and found
    )
    assert moved["DTSTART"].dt < deadline["DTSTART"].dt
    deadlines = {each for each in before if "Layup window" not in str(before[each]["SUMMARY"])}
    assert deadlines <= set(events())
    windows_apart = {each for each in changing if "Layup window" not in each}
    assert not windows_apart <= set(events(changes))  # the control
    secret = shed.code(TokenKind.VIEW).rpartition("/")[2]
    text = fetched(f"{shed.address}/metrics", Authorization=f"Bearer {secret}").decode()
    families = {each.name: each for each in text_string_to_metric_families(text)}
    assert {"curewatch_verdict", "curewatch_readings", "curewatch_margin_kelvins"} <= set(families)
    page.context.close()


@contextmanager
def over_tls(folder: Path) -> Iterator[PageWorld]:
    authority(folder, "yard")
    certificate(folder, "shed", "yard")
    more = f'certificate_file = "{folder}/shed.pem"\nkey_file = "{folder}/shed.key"\n'
    with page_world(folder, more=more) as shed:
        yield shed


def test_with_a_certificate_of_the_users_it_is_tls(chromium: Any, tmp_path: Path) -> None:
    """The cookie goes over TLS alone; who speaks plainly is not answered; the daemon stays small.

    The control has no certificate: there the same request over plain HTTP is answered.
    """
    with over_tls(tmp_path) as shed:
        code = shed.code()
        page = ready(phone(chromium, code, ignore_https_errors=True))
        (cookie,) = page.context.cookies()
        assert (cookie["secure"], cookie["httpOnly"], cookie["sameSite"]) == (True, True, "Strict")
        context = ssl.create_default_context(cafile=str(tmp_path / "yard.pem"))
        held = f"{rules.cookie_name(shed.port)}={code.rpartition('/')[2]}"
        assert b'"verdict":"go"' in fetched(f"{shed.address}/look", context, Cookie=held)
        assert not answers_plainly(shed, held)
        page.context.close()
        until(lambda: shed.daemon.resident() <= SMALL)
        assert code.rpartition("/")[2] not in shed.daemon.text()
    (tmp_path / "plain").mkdir()
    with page_world(tmp_path / "plain") as shed:
        page = ready(phone(chromium, code := shed.code()))
        assert page.context.cookies()[0]["secure"] is False
        assert answers_plainly(shed, f"{rules.cookie_name(shed.port)}={code.rpartition('/')[2]}")
        page.context.close()


def answers_plainly(shed: PageWorld, cookie: str, wanted: bytes = b'"verdict"') -> bool:
    """Whether a request over plain HTTP gets the verdict; not while the page says that it is busy."""
    try:
        return wanted in fetched(f"http://127.0.0.1:{shed.port}/look", Cookie=cookie)
    except OSError:
        return False


UNLIMITED = """
if "ingest" in what:
    from curewatch.page import server
    server.MOST = server.MOST_OF_ONE = 100_000
"""


@pytest.mark.parametrize("defect", ["", UNLIMITED])
def test_a_flood_and_slow_clients_leave_the_readings_alone(tmp_path: Path, defect: str) -> None:
    """Hundreds of connections that send slowly: the daemon keeps every reading, small, and answers again.

    Eight of one address have a thread at a time. The control has no limits: there each has one.
    """
    with page_world(tmp_path, defect) as shed:
        cookie = f"{rules.cookie_name(shed.port)}={shed.code().rpartition('/')[2]}"
        before = threads(shed)
        with flood(shed.port):
            shed.daemon.waits_for(shed.daemon.readings("bench") + 8, "bench")
            if defect:
                until(lambda: threads(shed) - before > MOST_OF_ONE + 2)
            most = max(threads(shed) for _ in range(20) if not time.sleep(0.1))
            peak = shed.daemon.peak()
        assert defect or most - before <= MOST_OF_ONE + 2  # a child that is asked has one, too
        if not defect:
            assert peak <= SMALL
            until(lambda: answers_plainly(shed, cookie, b'"verdict":"go"'))


def threads(shed: PageWorld) -> int:
    """How many the daemon has."""
    assert shed.daemon.process is not None
    return len(list(Path(f"/proc/{shed.daemon.process.pid}/task").iterdir()))


@contextmanager
def flood(port: int) -> Iterator[None]:
    """Three that open fifty connections each, send the begin of a request, wait, and begin anew."""
    ended = threading.Event()

    def one() -> None:
        while not ended.is_set():
            far = []
            for _ in range(50):
                with suppress(OSError):
                    far.append(socket.create_connection(("127.0.0.1", port), 1.0))
                    far[-1].sendall(b"GET /look HTTP/1.1\r\nA: " + b"x" * 9000)
            ended.wait(2.0)
            for each in far:
                each.close()

    floods = [threading.Thread(target=one) for _ in range(3)]
    for each in floods:
        each.start()
    yield
    ended.set()
    for each in floods:
        each.join()


def test_several_sheds_have_one_page(chromium: Any, tmp_path: Path) -> None:
    """It leads into each and back; what is told there stands in that logbook alone; no old go on either."""
    port = free_port()
    creek = '[sheds.creek.sensors.bench]\nrole = "air"\n[sheds.creek.sensors.hull]\nrole = "surface"\n'
    zone = f'[shed]\nzone = "{zone_at_noon()}"\n'
    resin = '[resin]\nname = "epoxy-slow"\nbatch_mass_g = 150.0\n'
    with Logbook(tmp_path / "creek.sqlite") as logbook:
        logbook.append(past(time.time(), 14 * HOUR))
    quiet = "[alerts]\ngo_now = false\n"  # a shed that rings would come first, once its daemon has looked
    settings = f"{zone}{resin}{quiet}[page]\non = true\nport = {port}\n{creek}[sheds.quay]\n"
    with Running(tmp_path, settings) as daemon:
        daemon.start()
        until(lambda: answers(port))
        secret = tokens.issue(tokens.tokens_path(daemon.path), TokenKind.WRITE, "", time.time())[1]
        page = phone(chromium, f"http://127.0.0.1:{port}/enter/{secret}")
        shows(page, "#why", "2 sheds: ")
        shows(page, "#sheds", "GO creek")
        assert word(page) == "UNKNOWN"  # the quay's
        assert page.inner_text("#sheds").index("quay") < page.inner_text("#sheds").index("creek")
        assert not page.is_visible("#bench")
        page.click("text=GO creek")
        shows(page, "#word", "GO")
        until(lambda: page.is_visible("#opening"))
        page.fill("#of-title", "rudder cheek")
        page.click("text=Open this job")
        shows(page, "#said", "job J1 opened: rudder cheek")
        press(page, "mixed")
        page.click("#to-sheds")
        shows(page, "#sheds", "GO creek")
        with Logbook(tmp_path / "creek.sqlite", read_only=True) as logbook:
            assert [each.kind for each in logbook.entries(job="J1")] == ["job-open", "batch"]
        with Logbook(tmp_path / "quay.sqlite", read_only=True) as logbook:
            assert not logbook.entries(job="J1")
        daemon.kill()
        shows(page, "#why", "No contact")
        assert state(page) == ("UNKNOWN", False)
        page.context.close()


def test_an_alert_acknowledged_on_the_page_is_acknowledged_everywhere(chromium: Any, shed: PageWorld) -> None:
    """The same entry as from the terminal; a phone that only looks has no key for it."""
    looks = phone(chromium, shed.code(TokenKind.VIEW))
    shows(looks, "#alerts", "go now")
    assert looks.locator("[data-acknowledge]").count() == 0
    page = ready(phone(chromium, shed.code()))
    page.click("[data-acknowledge]")
    shows(page, "#said", "acknowledged")
    shows(looks, "#alerts", "acknowledged:")
    with Logbook(shed.path, read_only=True) as logbook:
        assert all(each.acknowledged for each in active_alerts.active(logbook).values())
    for each in (looks, page):
        each.context.close()
