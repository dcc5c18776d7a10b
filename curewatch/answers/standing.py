"""Which alerts stand: the active ones of the logbook, without a go that no longer holds.

A daemon that died clears nothing. So where one tells of a go, and no daemon can have looked since, a look is
made. Alerts of other kinds stand until somebody sees that their cause is gone.
"""

from curewatch.advice.alert.alerts import AlertKind
from curewatch.configuration import Configuration
from curewatch.logbook import LogbookStore
from curewatch.shed.active_alerts import NumberedAlert, numbered
from curewatch.units import MINUTE

TELLS_GO = {AlertKind.GO_NOW, AlertKind.TONIGHT}  # no daemon may run any more that would clear them
LOOKS = 15 * MINUTE  # s, a daemon that hears anything looks as often


def standing(logbook: LogbookStore, configuration: Configuration, now: float) -> tuple[NumberedAlert, ...]:
    """The active alerts; of those that tell of a go, those that a look at the shed now leaves.

    A daemon that hears something has looked itself, within a minute of what is told.
    """
    found = numbered(logbook)
    go = [each.alert for each in found if each.alert.key.kind in TELLS_GO]
    if not go:
        return found
    from curewatch.answers.last_look import PASSED_OVER

    heard = max((each.latest for each in logbook.sensors().values()), default=-LOOKS)
    told = logbook.entries(start=min(each.since for each in go))
    same = all(each.kind in PASSED_OVER for each in told)
    if same and now - heard < LOOKS and all(each.due is None or now < each.due for each in go):
        return found
    from curewatch.shed.look import Look  # the model

    left = Look(logbook, configuration, now).alerts
    stand = (each for each in found if each.alert.key.kind not in TELLS_GO or each.alert.key in left)
    return tuple(
        each._replace(alert=left[each.alert.key]) if each.alert.key.kind in TELLS_GO else each
        for each in stand
    )
