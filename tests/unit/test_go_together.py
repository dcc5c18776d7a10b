"""An option that would have no effect is refused by name, and nothing is done."""

import re
import shlex
from pathlib import Path

import pytest

from curewatch.cli.commands.manual import every_command
from curewatch.cli.go_together import BARS, NEEDS
from curewatch.cli.main import run
from curewatch.errors import UsageError
from curewatch.worklog.quality import require_its_own

ALONE = [  # what was typed, the option that would be passed over, what it wants
    ("cure --resin epoxy-slow --temperature 12 --shape tray", "--shape", "--mass"),
    ("cure --resin epoxy-slow --temperature 12 --shape cup", "--shape", "--mass"),
    ("cure --resin epoxy-slow --temperature 12 --rest '20 min'", "--rest", "--humidity"),
    ("cure --resin epoxy-slow --temperature 12 --carbon-dioxide 900", "--carbon-dioxide", "--humidity"),
    ("cure --resin epoxy-slow --temperature 12 --on foam", "--on", "--thickness"),
    ("windows --window 2", "--window", "--calendar"),
    ("choose --on polyester --thickness 6mm --width 20mm", "--width", "--length"),
    ("choose --on polyester --thickness 6mm --shape oval", "--shape", "--length"),
    ("choose --on polyester --thickness 6mm --colour dark", "--colour", "--place"),
    ("choose --on polyester --thickness 6mm --sides both", "--sides", "--room or --length"),
    ("resin fit sheet.toml --replace", "--replace", "--output"),
    ("sensor check bench --over '2 h'", "--over", "--beside"),
    ("simulate --count 1 --file - --topic shed/{sensor}", "--topic", "--broker"),
    ("alerts --by Alder", "--by", "--acknowledge"),
    ("heads --output new.json --roots roots.pem", "--roots", "--check"),
]
BESIDE = [
    ("resin fit --template --output new.toml", "--template", "--output"),
    ("resin fit sheet.toml --template", "--template", "SHEET.toml"),
    ("setup --example --output new.toml", "--example", "--output"),
    ("page --list --kind write", "--list", "--kind"),
    ("page --list --revoke 1", "--list", "--revoke"),
    ("page --revoke 1 --name phone", "--revoke", "--name"),
    ("simulate --evening --seed 7 --count 1 --file -", "--evening", "--seed"),
    ("logbook prepare shed.url --show", "--show", "FILE"),
    ("sensor check bench --beside yard --salt NaCl", "--beside", "--salt"),
    ("observe --undo --layer L1", "--undo", "--layer"),
    ("observe --undo --at 12:00", "--undo", "--at"),
    ("layer --close L1 --mass 100g", "--close", "--mass"),
]


@pytest.fixture(autouse=True)
def in_an_empty_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No configuration and no logbook of the machine that runs the tests."""
    monkeypatch.chdir(tmp_path)
    for name in ("HOME", "XDG_CONFIG_HOME", "XDG_DATA_HOME"):
        monkeypatch.setenv(name, str(tmp_path))
    monkeypatch.delenv("CUREWATCH_CONFIG", raising=False)
    monkeypatch.setenv("LC_ALL", "C")


def typed(capsys: pytest.CaptureFixture[str], line: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as left:
        run(shlex.split(line))
    said = capsys.readouterr()
    return int(left.value.code or 0), said.out, said.err


@pytest.mark.quick
@pytest.mark.parametrize(("line", "option", "wanted"), ALONE)
def test_one_that_wants_another_is_refused(
    line: str, option: str, wanted: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """It says which, and what goes with it; nothing is shown or written."""
    said = f"curewatch: {option}: found without {wanted}, so it has no effect. Give {wanted}, too\n"
    assert typed(capsys, line) == (2, "", said)
    assert not list(tmp_path.iterdir())


@pytest.mark.quick
@pytest.mark.parametrize(("line", "option", "other"), BESIDE)
def test_one_beside_which_another_is_nothing_is_refused(
    line: str, option: str, other: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """It says both; nothing is shown or written."""
    said = f"curewatch: {option}: found with {other}, which has no effect then. Leave one out\n"
    assert typed(capsys, line) == (2, "", said)
    assert not list(tmp_path.iterdir())


@pytest.mark.quick
def test_each_rule_names_options_that_there_are() -> None:
    """A name that no command has would refuse nothing."""
    commands = dict(every_command())
    for full_name, rules in (*NEEDS.items(), *BARS.items()):
        there = {option for each in commands[full_name].params for option in each.opts}
        there |= {str(each.metavar).strip("[]") for each in commands[full_name].params}
        for option, others in rules.items():
            assert {option, *others} <= there, full_name


@pytest.mark.quick
def test_a_layer_that_is_closed_takes_who_when_and_a_few_words() -> None:
    """Each other option of its command is refused, also one that comes later."""
    command = dict(every_command())["layer"]
    there = {each.opts[0] for each in command.params}
    heeded = {"--close", "--by", "--text", "--ago", "--at", "--config", "--shed", "--units", "--json"}
    assert there - heeded == {*BARS["layer"]["--close"], "--running"}  # which is refused beside all


@pytest.mark.quick
def test_a_default_and_the_environment_are_no_option_that_was_typed(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """`cure` has a shape of the pot though nobody typed one; units may come from the environment."""
    monkeypatch.setenv("CUREWATCH_UNITS", "F")
    assert typed(capsys, "cure --resin epoxy-slow --temperature 12C --hours 4")[0] == 0
    together = "cure --resin epoxy-slow --temperature 12C --hours 4 --mass 100g --shape tray --json"
    assert typed(capsys, together)[0] == 0


@pytest.mark.quick
@pytest.mark.parametrize("units", ["C,F", "g, oz", "24h,12h,F", "F,oz,c"])
def test_two_units_of_a_pair_are_refused(units: str, capsys: pytest.CaptureFixture[str]) -> None:
    """The last one would win, and a bare number would be read in it."""
    status, out, err = typed(capsys, f"air 12 80 --units '{units}'")
    assert (status, out) == (2, "")
    assert f"--units: found {units!r}. Use one of each pair: C or F, g or oz, 24h or 12h" in err


@pytest.mark.quick
def test_a_price_of_no_resin_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    """A mistyped name would leave the resin without its price."""
    status, out, err = typed(capsys, "choose --on polyester --thickness 6mm --price epoxy-slwo=25")
    assert (status, out) == (2, "")
    assert "--price: found 'epoxy-slwo', which is no resin here. Use epoxy-" in err


@pytest.mark.quick
@pytest.mark.parametrize(
    ("told", "said"),
    [
        ({"check": "coin tap", "arm": 0.12}, "--arm: found one for the check coin tap, which has none"),
        ({"check": "barcol", "value": 40.0, "load": 2.0}, "--load: found one for the check barcol"),
        ({"check": "thickness", "readings": [4.1], "value": 3.0}, "--value: found one for the check thick"),
        ({"check": "barcol", "value": 40.0, "readings": [40.0, 43.0]}, "beside --readings"),
    ],
)
def test_what_a_quality_check_has_no_use_for_is_refused(told: dict[str, object], said: str) -> None:
    """A load in kilograms stood behind a hardness in the record."""
    with pytest.raises(UsageError, match=re.escape(said)):
        require_its_own(told)
    require_its_own({"check": "peel coupon", "load": 2.0, "arm": 0.12, "passed": True})
    require_its_own({"check": "barcol", "readings": [40.0, 43.0], "required": 38.0})
