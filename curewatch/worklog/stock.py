"""What is left in the tins: what was counted, less what every batch told since took out of them."""

from datetime import datetime, time
from typing import NamedTuple

from curewatch.advice.judge.question import Question
from curewatch.advice.plan import mixing
from curewatch.configuration import Configuration
from curewatch.logbook import EntryKind, LogbookStore
from curewatch.materials.resin import Resin
from curewatch.phrases import Phrase, Said, phrase
from curewatch.worklog import telling
from curewatch.worklog.job import told


class Stock(NamedTuple):
    """Of one resin. Below 0: more was mixed than was counted."""

    resin: float  # [kg]
    added: float  # hardener or peroxide [kg]
    added_name: str

    def short(self, resin: float, added: float) -> Phrase | None:
        """What is missing for so much [kg]; None where it is enough."""
        lacks = [
            phrase(f"{{{name}:mass}} of {what}", **{name: needed - there})
            for name, what, needed, there in (
                ("resin_short", "resin", resin, self.resin),
                ("added_short", self.added_name, added, self.added),
            )
            if needed > there
        ]
        if not lacks:
            return None
        both = "{one} and {two}" if len(lacks) > 1 else "{one}"
        return phrase(f"Stock: short of {both}", one=lacks[0], two=lacks[-1])

    @property
    def said(self) -> Phrase:
        words = f"left in the tins: {{resin_left:mass}} of resin, {{added_left:mass}} of {self.added_name}"
        return phrase(words, resin_left=max(0.0, self.resin), added_left=max(0.0, self.added))


def short_for_batch(logbook: LogbookStore | None, configuration: Configuration, question: Question) -> Said:
    """What the tins lack for the batch that is asked about; nothing where it is enough or nobody counted."""
    there = stock(logbook, configuration, question.resin)
    if there is None or question.batch_mass is None:
        return ""
    resin = question.batch_mass / (1.0 + mixing.of_resin(question.resin, question.peroxide_percent).usual)
    return there.short(resin, question.batch_mass - resin) or ""


def stock(logbook: LogbookStore | None, configuration: Configuration, resin: Resin) -> Stock | None:
    """What is left of a resin now; None where nobody counted it."""
    tin = configuration.stock.get(resin.name)
    if tin is None:
        return None
    since = datetime.combine(tin.counted, time(), configuration.zone).timestamp()
    entries = () if logbook is None else logbook.entries((EntryKind.BATCH, EntryKind.CORRECTION))
    used = [
        each.payload
        for each in told(entries)
        if each.kind == EntryKind.BATCH
        and each.at >= since
        and each.payload.get("resin") == resin.name
        and not each.payload.get("withdrawn")
    ]
    return Stock(
        tin.resin_g / 1000 - sum(float(payload["resin_mass"]) for payload in used),
        tin.added_g / 1000 - sum(telling.added_mass(payload) for payload in used),
        resin.chemistry.added,
    )
