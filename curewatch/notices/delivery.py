"""Sending what is due to every receiver, and noting it: the work of one short-lived process.

Each receiver is served by a thread of its own, so that one that hangs holds no other up. Law: sent, then
noted. Whatever kills this process in between, the notice is sent again.
"""

import queue
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Any, NamedTuple

from curewatch.advice.alert.alerts import event_as_plain
from curewatch.configuration import Configuration
from curewatch.errors import CurewatchError
from curewatch.logbook import LogbookStore, open_logbook
from curewatch.notices import outbox, services
from curewatch.notices.addresses import ADDRESSES, COMMAND, read_addresses
from curewatch.notices.command import run_command
from curewatch.notices.lines import body_of, text_of
from curewatch.notices.outbox import Notice, QuietHours, Receiver
from curewatch.notices.request import Delivered, DeliveryRequest
from curewatch.wording import Wording, wording

LONGEST = 40.0  # for all receivers together, or what the command may take [s]
NO_ANSWER = "no answer in time"


class Letter(NamedTuple):
    """A notice in words."""

    text: str  # one line
    body: str
    document: Mapping[str, Any]  # for a program


Send = Callable[[Letter], str]  # what went wrong; empty if nothing did


def receivers(configuration: Configuration) -> tuple[dict[Receiver, Send], dict[str, str]]:
    """Everybody who is told, and why others cannot be."""
    settings, found = configuration.notices, dict[Receiver, Send]()
    if settings.command:
        found[Receiver(COMMAND, told_of_ends=True)] = lambda letter: run_command(
            settings.command, letter.document, settings.timeout_s
        )
    if settings.addresses_file is None:
        return found, {}
    try:
        services.library()
        for name, address in read_addresses(settings.addresses_file).items():
            found[Receiver(name)] = _to(address)
    except CurewatchError as trouble:
        return found, {ADDRESSES: str(trouble)}
    return found, {}


def deliver(asked: DeliveryRequest) -> Delivered:
    """Send what is due and note it."""
    settings = asked.configuration
    words = wording(settings.zone, configured=settings.shed.units)
    hours = settings.notices.quiet_hours
    quiet = None if hours is None else QuietHours(*hours, settings.zone)
    everybody, troubles = receivers(settings)
    done = Delivered(troubles=troubles)
    due: dict[Receiver, Notice] = {}
    with open_logbook(asked.logbook) as logbook:
        written = outbox.read(logbook)
        for receiver in everybody:
            if receiver.name in asked.resting:
                continue
            notice, look_at = outbox.due(written, receiver, asked.at, quiet)
            if notice is not None:
                due[receiver] = notice
            done.look_at = min((at for at in (done.look_at, look_at) if at is not None), default=None)
        several = settings.shed.name if settings.label else ""
        letters = {to: letter(notice, words, asked.at, several) for to, notice in due.items()}
        for receiver, trouble in tried(letters, everybody, max(LONGEST, settings.notices.timeout_s + 5.0)):
            if trouble:
                done.troubles[receiver.name] = trouble
                continue
            _note(logbook, receiver, due[receiver], letters[receiver], asked.at)
            done.sent.append(receiver.name)
    return done


def letter(notice: Notice, words: Wording, now: float, shed: str = "") -> Letter:
    """A notice in words; for a program with the alerts as the logbook has them, texts by ``words``."""
    text = text_of(notice, words, now, shed)
    document = {
        "text": text,
        "urgent": notice.urgent,
        "again": notice.again,
        "alerts": [event_as_plain(event) | _said(event, words, now) for event in notice.events],
    }
    return Letter(text, body_of(notice, words, now, text), document)


def tried(
    letters: Mapping[Receiver, Letter], everybody: Mapping[Receiver, Send], longest: float
) -> Iterator[tuple[Receiver, str]]:
    """Each receiver with what went wrong, as they answer; one that hangs is left behind in its thread."""
    answers: queue.Queue[tuple[Receiver, str]] = queue.Queue()
    for receiver, letter in letters.items():
        arguments = (receiver, everybody[receiver], letter, answers)
        threading.Thread(target=_try, args=arguments, name=receiver.name, daemon=True).start()
    waiting, end = set(letters), time.monotonic() + longest
    while waiting:
        try:
            receiver, trouble = answers.get(timeout=max(0.0, end - time.monotonic()))
        except queue.Empty:
            break
        waiting.discard(receiver)
        yield receiver, trouble
    yield from ((receiver, NO_ANSWER) for receiver in waiting)


def _try(
    receiver: Receiver, send: Send, letter: Letter, answers: "queue.Queue[tuple[Receiver, str]]"
) -> None:
    try:
        trouble = send(letter)
    except Exception as fault:  # noqa: BLE001 - a fault of a service's code is this receiver's trouble alone
        trouble = f"could not be sent: {type(fault).__name__}"  # its words may hold the address
    answers.put((receiver, trouble))


def _note(logbook: LogbookStore, to: Receiver, notice: Notice, sent: Letter, at: float) -> None:
    logbook.write(outbox.entry_of(notice, to.name, sent.text, at))


def _to(address: str) -> Send:
    return lambda letter: services.send(address, letter.text, letter.body)


def _said(event: Any, words: Wording, now: float) -> dict[str, str]:
    return {"text": words.say(event.text, now), "advised": words.say(event.advised, now)}


def tell_all(
    everybody: Mapping[Receiver, Send], text: str, *, urgent: bool = False
) -> Iterable[tuple[str, str]]:
    """A line to everybody now, that nothing notes: each name with what went wrong."""
    document = {"text": text, "urgent": urgent, "again": False, "alerts": []}
    letters = {receiver: Letter(text, "", document) for receiver in everybody}
    for receiver, trouble in tried(letters, everybody, LONGEST):
        yield receiver.name, trouble
