"""The layup plan in words: the answer, the section, what it takes, the batches, the sessions."""

from collections.abc import Iterator

from curewatch.answers.document import moment, spoken
from curewatch.answers.layup import LayupDocument, LayupSessionDocument
from curewatch.cli.screens import section
from curewatch.cli.screens.lines import WIDTH, LineGroup, fitting, wrapped
from curewatch.units import kilogram_from_gram
from curewatch.wording import Wording, counted, dosed

EVENING = 16 * 3600.0  # s: what begins within this is said to be tonight


def lines(plan: LayupDocument, wording: Wording, width: int = WIDTH, *, why: bool = False) -> list[str]:
    """The plan in ten lines; with ``why`` cautions, section, amounts, ratio and sessions whole."""
    return [*first(plan, wording), *(behind(plan, wording, width) if why else [])]


def first(plan: LayupDocument, wording: Wording) -> list[str]:
    """When, the cautions, the cut, the amounts, and each session with its batches."""
    sessions = [] if plan.schedule is None else plan.schedule.sessions
    steps = [
        LineGroup(brief_session(plan, number, session, wording), 1 if number == 1 else 3)
        for number, session in enumerate(sessions, start=1)
    ]
    groups = [
        LineGroup(wrapped(answer(plan, wording), "", "  "), 0),
        LineGroup(wrapped(plan.caution_brief), 0),
        LineGroup(wrapped(" ".join(below(plan))), 1),
        LineGroup(wrapped(plan.short_scarf[:1].upper() + plan.short_scarf[1:]), 0),
        LineGroup(wrapped(plan.backing), 1),
        LineGroup(repair(plan), 2),
        LineGroup(_amounts(plan, wording), 1),
        *steps,
        LineGroup(_leaving(plan), 0),
        LineGroup(["  All, with the card to pin up: --why, --card FILE"], 2),
    ]
    return fitting(groups)


def behind(plan: LayupDocument, wording: Wording, width: int) -> list[str]:
    """The cautions whole, the section, the materials, how it is mixed, and the sessions."""
    return [
        "",
        "Cautions",
        *(line for caution in minded(plan, wording) for line in wrapped(caution)),
        "",
        *section.characters(plan, width),
        "",
        *takes(plan, wording),
        *_mixing(plan, wording),
        *_sessions(plan, wording),
    ]


def below(plan: LayupDocument) -> list[str]:
    """What the face below asks for, and that nobody measured it."""
    return [f"{each}." for each in (*plan.below.remarks, *plan.below.remedies)]


def _amounts(plan: LayupDocument, wording: Wording) -> list[str]:
    """Cloth, and resin with what is mixed into it."""
    what, say = added(plan), wording.stated
    mass = plan.peroxide_g if what == "peroxide" else plan.hardener_g
    dose = (
        f" ({dosed(plan.ratio.peroxide_percent, assumed=plan.ratio.peroxide_assumed)})"
        if what == "peroxide"
        else ""
    )
    return wrapped(
        f"{counted(len(plan.layers), 'layer')} of {plan.cloth.title}; {plan.resin}: "
        f"{say(plan.resin_g, 'g')} resin and {say(mass, 'g')} {what}{dose}."
    )


def brief_session(
    plan: LayupDocument, number: int, session: LayupSessionDocument, wording: Wording
) -> list[str]:
    """One session: when, which layers, the batches."""
    which = f"layer{_numbers(session.layers)}, {session.side}"
    head = f"{number}. {when(session, wording, moment(plan.at))}: {which}"
    if session.batches is None:
        return wrapped(f"{head}; {too_slow(plan)}.")
    say = wording.stated
    batch, part = say(session.batch_mass_g, "g"), say(session.resin_g, "g")
    return wrapped(
        f"{head}; {full_batches(session)} x {batch} ({part} resin, {added(plan)} until {batch})"
        f"{last_batch(plan, session, wording)}, spread within {say(session.use_within_min, 'min')}."
    )


def full_batches(session: LayupSessionDocument) -> int:
    """How many are alike."""
    return (session.batches or 0) - (session.last_batch_g is not None)


def last_batch(plan: LayupDocument, session: LayupSessionDocument, wording: Wording) -> str:
    """A last batch that is smaller, or nothing."""
    if session.last_batch_g is None:
        return ""
    whole, resin = (wording.stated(each, "g") for each in (session.last_batch_g, session.last_resin_g))
    return f", then one of {whole} ({resin} resin, {added(plan)} until {whole})"


def _leaving(plan: LayupDocument) -> list[str]:
    """How the last session that must be left is left; each has it with --why."""
    sessions = [] if plan.schedule is None else plan.schedule.sessions
    leave = next((session.leave for session in reversed(sessions) if session.leave), "")
    return wrapped(f"{leave}.") if leave else []


def too_slow(plan: LayupDocument) -> str:
    """What to do where no batch lasts."""
    slower = "a slower hardener" if added(plan) == "hardener" else "less peroxide"
    return f"no batch lasts until it is spread: {slower}, a cooler shed or more hands"


def answer(plan: LayupDocument, wording: Wording) -> str:
    """What can be done tonight, first."""
    count, now = len(plan.layers), moment(plan.at)
    wrong = {"fails": "NO-GO", "unknown": "UNKNOWN"}.get(plan.below.status)
    if wrong is not None:
        return f"{wrong}   {plan.below.remarks[0]}"
    if plan.schedule is None:
        return f"UNKNOWN WHEN   {count} layers; the amounts below hold, the times need fresh readings"
    sessions = plan.schedule.sessions
    tonight = [session for session in sessions if moment(session.start) - now <= EVENING]
    done = sum(len(session.layers) for session in tonight)
    if done == count:
        return f"ALL {count} LAYERS   {_span(tonight, wording, now)}"
    if done:
        rest = "the rest finds no start in 48 h"
        if len(sessions) > len(tonight):
            rest = f"the rest from {wording.moment(moment(sessions[len(tonight)].start), now)}"
        return f"PART TONIGHT   {done} of {count} layers, {_span(tonight, wording, now)}; {rest}"
    if sessions:
        return f"NOT TONIGHT   first start {wording.moment(moment(sessions[0].start), now)}"
    return "NO START in the coming 48 hours: `curewatch windows` shows what forbids it"


def _span(sessions: list[LayupSessionDocument], wording: Wording, now: float) -> str:
    return wording.span(moment(sessions[0].start), moment(sessions[-1].end), now)


def when(session: LayupSessionDocument, wording: Wording, now: float) -> str:
    """From its start to its end."""
    return _span([session], wording, now)


def repair(plan: LayupDocument) -> list[str]:
    hole = plan.hole
    size = f"{hole.length_mm:.0f}"
    if hole.shape != "round":
        size += f" x {hole.width_mm:.0f}"
    sides = "one side" if plan.sides == 1 else "both sides"
    return wrapped(
        f"{hole.shape} hole of {size} mm in {plan.thickness_mm:g} mm of laminate on {plan.substrate}: "
        f"scarf {plan.scarf_ratio:g} to 1 from {sides}, {plan.scarf_mm:.0f} mm each way"
    )


def added(plan: LayupDocument) -> str:
    """What is mixed into the resin."""
    return "peroxide" if plan.hardener_g is None else "hardener"


def takes(plan: LayupDocument, wording: Wording) -> list[str]:
    """What to have on the bench."""
    cloth, say, what = plan.cloth, wording.stated, added(plan)
    mass, volume = (
        (plan.peroxide_g, plan.peroxide_ml) if what == "peroxide" else (plan.hardener_g, plan.hardener_ml)
    )
    parts = f"resin {say(plan.resin_g, 'g')} ({say(plan.resin_ml, 'ml')}), "
    parts += f"{what} {say(mass, 'g')} ({say(volume, 'ml')})"
    layers = f"{len(plan.layers)} layers of {cloth.title}, {say(cloth.areal_mass_g_per_m2, 'g/m2')}"
    ground = f"ground area {plan.ground_area_m2:.3f} m²"
    return [
        "Materials",
        *wrapped(f"{layers}, {plan.layer_thickness_mm:.2f} mm each when cured"),
        f"  cloth {cloth.area_m2:.3f} m², {say(cloth.mass_g, 'g')}; {ground}",
        f"  mixed {plan.resin} {say(plan.mixed_g, 'g')}, with {plan.waste_percent:.0f} % waste",
        f"  {parts}",
    ]


def _mixing(plan: LayupDocument, wording: Wording) -> list[str]:
    ratio, step = plan.ratio, wording.weighed(kilogram_from_gram(plan.scale_step_g))
    allowed = f"allowed {ratio.lowest_per_100:.1f} to {ratio.highest_per_100:.1f}"
    return [
        f"  by mass: {ratio.text}; {allowed}",
        *wrapped(f"({spoken(ratio.tag)}: {ratio.source})"),
        f"  smallest batch on a scale of {step} steps: {wording.stated(plan.smallest_batch_g, 'g')}",
    ]


def _sessions(plan: LayupDocument, wording: Wording) -> Iterator[str]:
    made = plan.schedule
    if made is None:
        return
    yield ""
    peak = made.peak_temperature_c
    heat = "" if peak is None else f", they then reach {wording.peak(peak)}"
    yield f"Sessions (at most {made.layers_in_one_go} layers in one go{heat})"
    for number, session in enumerate(made.sessions, start=1):
        yield from session_lines(plan, number, session, wording)
    if made.left_over:
        which = f"layer{_numbers(made.left_over)} find{'s' if len(made.left_over) == 1 else ''}"
        yield f"  not scheduled: {which} no start in the coming 48 hours"
    yield from wrapped(f"Forecast used: {made.basis}")


def _numbers(numbers: list[int]) -> str:
    """Behind ``layer``: `` 3``, or ``s 3 to 5``."""
    first, last = numbers[0], numbers[-1]
    return f" {first}" if first == last else f"s {first} to {last}"


def session_lines(
    plan: LayupDocument, number: int, session: LayupSessionDocument, wording: Wording
) -> Iterator[str]:
    """One session: when, what, how it bonds, what to weigh."""
    now, say = moment(plan.at), wording.stated
    which = f"layer{_numbers(session.layers)}, {session.side}"
    yield from wrapped(f"{number}. {when(session, wording, now)}: {which}; bond {session.bond_text}")
    if session.batches is None:
        yield f"     {too_slow(plan)}"
        return
    batch = say(session.batch_mass_g, "g")
    bears = f"({say(session.scale_lowest_g, 'g')} to {say(session.scale_highest_g, 'g')})"
    resin = f"{say(session.resin_g, 'g')} resin, then {added(plan)} until {batch} {bears}"
    yield from wrapped(
        f"{full_batches(session)} x {batch}: {resin}{last_batch(plan, session, wording)}", "     ", "       "
    )
    use, kicks = (say(each, "min") for each in (session.use_within_min, session.pot_life_min))
    yield f"     each spread within {use}; left in its cup it kicks after {kicks}"
    if session.too_small_for_scale:
        yield "     too small a batch for this scale: use a finer one"
    if session.bond != "mechanical" and session.next_from and session.next_before:
        yield (
            f"     next layer from {wording.moment(moment(session.next_from), now)}, "
            f"before {wording.moment(moment(session.next_before), now)}"
        )
        yield from [f"     {session.remark}"] if session.remark else []
    yield from wrapped(f"{session.leave}.", "     ", "     ") if session.leave else []


def minded(plan: LayupDocument, wording: Wording) -> tuple[str, ...]:
    """The cautions, in the reader's units; they stand before the steps they protect."""
    return tuple(wording.retold(caution) for caution in plan.cautions)
