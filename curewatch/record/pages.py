"""The pages of a record as plain data, put together from their parts. Pure; no layout.

Both forms on paper and on screen are laid out from this one value, so they cannot say different
things. Every text from outside goes through ``words.shown``.
"""

from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

import numpy as np
from msgspec.structs import replace

from curewatch.answers.document import spoken
from curewatch.logbook.sealing import Seal
from curewatch.record import page_claims, page_first, page_limits, page_shed, page_troubles, page_work
from curewatch.record.account import LONGEST, Account
from curewatch.record.page import Pages, Section
from curewatch.record.words import RecordWords, named, shown, span
from curewatch.units import DAY
from curewatch.wording import Wording, counted


def pages(account: Account, reader: Wording | None = None) -> Pages:
    """The account as it is to be read, in the reader's units; times are the shed's."""
    words = _words(account, reader or Wording())
    job = account.job
    return Pages(
        title="Cure record",
        subject=shown(job.title or job.name, 120),
        job=named(job.name, 60),
        code="",
        digest="",
        facts=tuple(_facts(account, words)),
        outcomes=tuple((one.title, spoken(one.outcome)) for one in page_first.chosen(account)),
        sections=tuple(section for section in _sections(account, words) if section.blocks),
        at=account.end,
    )


class OutsideSeal(NamedTuple):
    """What stands on the pages and was not known before the seal."""

    dated: str  # who dated it
    readings: int  # in the record
    entries: int  # in full

    @property
    def carried(self) -> str:
        """The counts, as check.sh and verify say them."""
        return f"{self.readings:,} readings, {self.entries:,} entries"


def sealed(
    said: Pages, seal: Seal, beside: OutsideSeal, account: Account, reader: Wording | None = None
) -> Pages:
    """The pages with the seal that was made after them, and how to check it."""
    how = Section(
        "How to check this record",
        tuple(page_claims.checking(seal, beside.dated, beside.carried, _words(account, reader or Wording()))),
    )
    return said._replace(
        code=seal.code, digest=seal.digest, dated=beside.dated, sections=(*said.sections, how)
    )


def _words(account: Account, reader: Wording) -> RecordWords:
    here = replace(reader, zone=account.zone)
    days = np.append(np.arange(account.start, account.end, DAY), account.end)
    offsets = {here.local(float(at)).utcoffset() for at in days}
    return RecordWords(here, clocks_change=len(offsets) > 1)


def _sections(account: Account, words: RecordWords) -> Iterator[Section]:
    yield Section("In short", tuple(_summary(account, words)))
    yield Section("Deviations and signatures", tuple(page_first.deviations(account, words)))
    yield Section("What was done", tuple(page_work.work(account, words)))
    yield Section("What the shed went through", tuple(page_shed.climate(account, words)))
    yield Section("How it cured", tuple(page_shed.cure(account, words)))
    yield Section("Limits and whether they were met", tuple(page_limits.rules(account, words)))
    yield Section("Sensors", tuple(page_limits.sensors(account, words)))
    yield Section("Alerts, and what was done", tuple(page_troubles.alerts(account, words)))
    yield Section("Gaps, clocks, rejections and corrections", tuple(page_troubles.blemishes(account, words)))
    yield Section("Photographs", tuple(page_work.photographs(account, words)))
    yield Section("Cautions, and what this record does not claim", tuple(page_claims.claims(account, words)))


def _facts(account: Account, words: RecordWords) -> Iterator[tuple[str, str]]:
    opened = account.job.opened.payload
    shed = dict(account.setting.get("shed", {}))
    yield "Boat", shown(opened.get("boat") or shed.get("boat") or "–", 80)
    if opened.get("hin"):
        yield "HIN", shown(opened["hin"], 40)
    if opened.get("place"):
        yield "Place", shown(opened["place"], 200)
    yield "Shed", shown(shed.get("name") or "–", 80)
    yield "Work", shown(opened.get("what") or "–", 300)
    yield "Resin system", shown(_resin_titles(account), 300)
    yield "Substrate", shown(_substrate(opened, shed), 80)
    yield "By", shown(", ".join(_people(account)) or "not said", 120)
    yield "Opened", words.full(account.job.opened.at)
    closed = account.job.closed
    yield ("So far until", words.full(account.end)) if closed is None else ("Closed", words.full(closed.at))
    first, last = account.start < account.job.opened.at, closed is not None and account.end > closed.at
    if account.start > account.job.opened.at:
        yield "Looked at", f"the last {LONGEST / DAY:.0f} days, from {words.full(account.start)}"
    elif first or last:
        yield "Told of", f"{words.full(account.start)} to {words.full(account.end)}"
    yield "Times", f"{account.zone.key} local time" + (", with offset" if words.clocks_change else "")
    yield "Units", f"{words.units}; the attached files: SI and UTC"


def _resin_titles(account: Account) -> str:
    """Every resin that was laid, as its file calls it; else the one that the job was opened for."""
    laid = dict.fromkeys(
        f"{course.resin.title} ({course.resin.name})" for course in account.courses if course.resin
    )
    return "; ".join(laid) or str(account.job.opened.payload.get("resin") or "–")


def _substrate(opened: Mapping[str, Any], shed: Mapping[str, Any]) -> str:
    name = opened.get("substrate") or shed.get("substrate") or "–"
    thickness = opened.get("thickness") or shed.get("thickness")
    return f"{name}, {thickness * 1000:g} mm" if isinstance(thickness, int | float) else str(name)


def _people(account: Account) -> list[str]:
    named = (str(one.payload["by"]) for one in account.job.told if one.payload.get("by"))
    return list(dict.fromkeys(named))


def _summary(account: Account, words: RecordWords) -> Iterator[str]:
    yield from page_first.reasons(account, words)
    inside = account.measured.time >= account.start
    total = int(inside.sum())
    unknown = int(np.isnan(account.measured.margin[inside]).sum())
    readings = sum(one.readings for one in account.heard)
    state = "The job is closed" if account.closed else "The job is still open; this is its record so far"
    layers = counted(len(account.courses), "layer")
    sensors = counted(sum(one.readings > 0 for one in account.heard), "sensor")
    yield (
        f"{state}. It lasted {span(account.end - account.start)}, with {layers} and "
        f"{readings:,} readings of {sensors} in that time. "
        + (
            "The margin of the surface over the dew point is known for every minute of it."
            if not unknown and total
            else f"The margin of the surface over the dew point is known for {total - unknown:,} of "
            f"{total:,} minutes; for the other {unknown:,} this record shows nothing."
        )
    )
    if account.measured.surface_estimated:
        yield "No probe was taped to the work: its temperature is estimated from the air and the substrate."
    late = sum(bool(one.payload.get("given_afterwards")) for one in account.job.told)
    if late:
        told = "1 entry was" if late == 1 else f"{late} entries were"
        yield f"{told} told afterwards: each with when."
    raised = sum(one.payload.get("happening") == "raised" for one in account.alerts())
    if raised:
        told = "1 alert was" if raised == 1 else f"{raised} alerts were"
        yield f"{told} raised."
    if account.disorder:
        yield "Stamps run backwards in places: see “Gaps, clocks, rejections and corrections”."
