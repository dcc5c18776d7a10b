"""Which resin serves: each situation of the table, asked of the program."""

from pathlib import Path

import pytest

from curewatch.advice.choose.choice import Choice, Shelf, choose
from curewatch.advice.choose.need import Need, room_for_taper
from curewatch.advice.plan.geometry import RepairShape, outline, taper
from curewatch.errors import UsageError
from curewatch.jobs import FaceBelow
from curewatch.materials import load_resin, resin_names
from curewatch.materials.cloth import load_cloth

TABLE = Path(__file__).parent / "choose" / "table.md"
SHELF = ("epoxy-slow", "epoxy-laminating", "polyester-laminating", "vinyl-ester")


def situations() -> list[dict[str, str]]:
    """The rows of the table, by column."""
    lines = [line for line in TABLE.read_text(encoding="utf-8").splitlines() if line.startswith("|")]
    heads, _, *found = [[cell.strip() for cell in line.strip("|").split("|")] for line in lines]
    return [dict(zip(heads, row, strict=True)) for row in found]


def described(row: dict[str, str]) -> Need:
    return Need(
        faces=tuple(FaceBelow(each) for each in row["faces"].split(", ")),
        thickness=float(row["mm"]) / 1000,
        room=() if row["room"] == "-" else (float(row["room"]) / 1000,),
        under_water=row["water"] == "yes",
        dark=row["sun"] == "dark",
        sun=row["sun"] != "no",
        structural=row["structural"] == "yes",
    )


def answered(need: Need, names: tuple[str, ...] = SHELF) -> Choice:
    others = [load_resin(name) for name in resin_names()]
    return choose(need, Shelf([load_resin(name) for name in names], others))


@pytest.mark.parametrize("row", situations(), ids=lambda row: row["situation"])
def test_the_resin_that_serves(row: dict[str, str]) -> None:
    """The resin, what it needs besides, and what would change the answer, as the table has them."""
    names = SHELF if row["shelf"] == "-" else tuple(row["shelf"].split(", "))
    found = answered(described(row), names)
    assert (found.chosen.resin.name if found.chosen else "none") == row["resin"]
    needs = found.chosen.needs if found.chosen else ()
    wanted = [] if row["needs"] == "-" else row["needs"].split(", ")
    assert len(needs) == len(wanted)
    assert all(any(word in step for step in needs) for word in wanted), needs
    what, then = row["would change it"].split(": ")
    told = {change.what: change.then.name if change.then else "none" for change in found.changes}
    assert any(what in change and then == resin for change, resin in told.items()), told


def test_nothing_on_the_shelf_says_what_would() -> None:
    """A general-purpose epoxy under dark paint: polyester, vinyl ester and a laminating epoxy would serve."""
    found = answered(Need((FaceBelow.POLYESTER,), 0.004, dark=True, sun=True), ("epoxy-slow",))
    assert found.chosen is None
    assert {each.name for each in found.elsewhere} >= {"polyester-laminating", "epoxy-laminating"}
    assert "epoxy-fast" not in {each.name for each in found.elsewhere}


def test_the_usual_taper_is_twelve_times_the_thickness_and_area_is_lost_with_it() -> None:
    """Common practice: 12 to 1. The area lost is that of the slope, near the taper's own."""
    need = Need((FaceBelow.POLYESTER,), 0.006, room=(0.03, 0.2))
    room = need.taper
    assert (room.ratio, room.wanted) == pytest.approx((5.0, 0.072))
    slope = [((0.006 * ratio) ** 2 + 0.006**2) ** 0.5 for ratio in (5.0, 12.0)]
    assert room.lost == pytest.approx(1 - slope[0] / slope[1])
    strip = outline(RepairShape.STRIP, 1.0)
    seen_from_above = [taper(strip, 0.006, 0.001, ratio=ratio).ground_area for ratio in (5.0, 12.0)]
    assert room.lost == pytest.approx(1 - seen_from_above[0] / seen_from_above[1], abs=0.02)
    assert room_for_taper(0.006, (0.036,), both_sides=True).fits


def test_own_prices_decide_before_the_usual_ones() -> None:
    """Where the polyester is the dearer one, epoxy is chosen; the cost is mass times price."""
    hole = outline(RepairShape.ROUND, 0.12)
    need = Need((FaceBelow.POLYESTER,), 0.006, hole=hole)
    resins = [load_resin(name) for name in ("epoxy-slow", "polyester-laminating")]
    cloth = load_cloth("stitched-biaxial")
    dear = choose(need, Shelf(resins, prices={"epoxy-slow": 10.0, "polyester-laminating": 40.0}, cloth=cloth))
    assert dear.chosen is not None
    assert dear.chosen.resin.name == "epoxy-slow"
    assert dear.chosen.mass is not None
    assert dear.chosen.cost == pytest.approx(10.0 * dear.chosen.mass)
    usual = choose(need, Shelf(resins, prices={"epoxy-slow": 10.0}, cloth=cloth))
    assert usual.chosen is not None
    assert usual.chosen.resin.name == "polyester-laminating"


def test_a_load_that_comes_too_soon_is_a_demand_missed() -> None:
    """A late lot must carry in time; unknown where nothing is known of the shed."""
    need = Need((FaceBelow.POLYESTER,), 0.004, loaded_after=24 * 3600.0)
    resins = [load_resin(name) for name in ("epoxy-slow", "polyester-laminating")]
    after = {"epoxy-slow": 20 * 3600.0, "polyester-laminating": 30 * 3600.0}
    found = choose(need, Shelf(resins, carries_after=lambda resin: after[resin.name]))
    assert found.chosen is not None
    assert found.chosen.resin.name == "epoxy-slow"
    assert any(change.then and change.then.name == "polyester-laminating" for change in found.changes)
    unknown = choose(need, Shelf(resins))
    assert {row.meets.value for each in unknown.candidates for row in each.rows if row.demand == "load"} == {
        "not-known"
    }


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"faces": ()}, "found nothing"),
        ({"thickness": 0.0}, "found 0 mm"),
        ({"thickness": 0.2}, "found 200 mm"),
        ({"room": (-0.01,)}, "less than nothing"),
        ({"faces": (FaceBelow.TIMBER, FaceBelow.PRIMED)}, "bare and primed"),
        ({"under_water": True, "sun": True}, "under water and in the sun"),
    ],
)
def test_a_description_that_contradicts_itself_is_refused(wrong: dict[str, object], said: str) -> None:
    """In one sentence: what was found, what to use."""
    usual: dict[str, object] = {"faces": (FaceBelow.POLYESTER,), "thickness": 0.006}
    with pytest.raises(UsageError, match=said):
        Need(**(usual | wrong))  # type: ignore[arg-type]


def test_the_trades_rules_of_cost_and_wetting_out() -> None:
    """Common practice, no source: epoxy costs about four times as much and wets out half as fast."""
    epoxy, polyester = (load_resin(name).chemistry for name in ("epoxy-slow", "polyester-laminating"))
    assert epoxy.usual_cost / polyester.usual_cost == 4.0
    assert epoxy.wet_out / polyester.wet_out == 2.0
    cloth = load_cloth("stitched-biaxial")
    assert cloth.wet_out_time(epoxy) == 2.0 * cloth.wet_out_time(polyester)
    hole = outline(RepairShape.ROUND, 0.12)
    prices = {"epoxy-slow": 24.0, "polyester-laminating": 6.0}
    resins = [load_resin(name) for name in prices]
    found = choose(Need((FaceBelow.POLYESTER,), 0.006, hole=hole), Shelf(resins, prices=prices, cloth=cloth))
    costs = {each.resin.name: each.cost for each in found.candidates}
    assert costs["epoxy-slow"] == pytest.approx(4.0 * costs["polyester-laminating"], rel=0.15)
