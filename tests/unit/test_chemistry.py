"""A chemistry is one value: the rooms ask what it is like, and none asks its name."""

import ast
from importlib.resources import files
from pathlib import Path

import pytest

from curewatch.advice.judge import cautions
from curewatch.advice.judge.cautions import Caution
from curewatch.advice.plan import mixing
from curewatch.cli.main import run
from curewatch.materials import load_resin, resin_names
from curewatch.materials.chemistry import CHEMISTRIES, Chemistry
from curewatch.materials.cloth import load_cloth

ROOT = Path(str(files("curewatch")))
MADE_UP = Chemistry(  # invented: dosed with peroxide, without styrene
    "saltmarsh ester",
    dosed=True,
    amine=False,
    styrene=False,
    wet_out=3.0,
    energy_spread=5e3,
    usual_cost=2.0,
    lives_under_water=True,
    archetype="polyester-laminating",
)


def _names_asked(source: str) -> list[str]:
    """Names of chemistries that a comparison, a table or a choice of this source spells."""
    if not any(name in source for name in CHEMISTRIES):
        return []
    tree = ast.parse(source)
    asked = (
        inside
        for node in ast.walk(tree)
        if isinstance(node, ast.Compare | ast.Dict | ast.Set | ast.Subscript | ast.MatchValue)
        for inside in ast.walk(node)
    )
    return [one.value for one in asked if isinstance(one, ast.Constant) and one.value in CHEMISTRIES]


def test_no_room_asks_the_name_of_a_chemistry() -> None:
    """Only the file of the chemistries spells them; the comparison of before is found, too."""
    assert _names_asked('styrene = () if kind == "epoxy" else (1,)') == ["epoxy"]
    found = {
        str(path.relative_to(ROOT)): _names_asked(path.read_text(encoding="utf-8"))
        for path in ROOT.rglob("*.py")
    }
    assert {path: names for path, names in found.items() if names} == {}


def test_every_chemistry_has_an_archetype_of_its_own_kind() -> None:
    """What fills a maker's sheet is of the sheet's chemistry; each generic resin has its section."""
    for chemistry in CHEMISTRIES.values():
        assert load_resin(chemistry.archetype).chemistry is chemistry
    for resin in map(load_resin, resin_names()):
        assert (resin.dose is not None) == resin.chemistry.dosed == (resin.mix is None)
        assert resin.chemistry.amine or not resin.blush.amine_factor


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A made-up chemistry is one value and one resin; nothing else is told of it."""
    monkeypatch.setitem(CHEMISTRIES, MADE_UP.name, MADE_UP)
    text = (ROOT / "materials/resins/polyester-laminating.toml").read_text(encoding="utf-8")
    text = text.replace('name = "polyester-laminating"', 'name = "saltmarsh"')
    own = tmp_path / "resins"
    own.mkdir()
    (own / "saltmarsh.toml").write_text(
        text.replace('kind = "polyester"', 'kind = "saltmarsh ester"'), encoding="utf-8"
    )
    (tmp_path / "curewatch.toml").write_text('[resin]\nfolder = "resins"\n', encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return own


def test_a_made_up_chemistry_is_followed_everywhere(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Mixing, cautions, wetting out and the commands take it from its value alone."""
    resin = load_resin("saltmarsh", folder)
    said = cautions.for_layup(resin.chemistry)
    assert Caution.PEROXIDE.value in said
    assert Caution.STYRENE.value not in said
    assert Caution.HEAT_STYRENE.value not in cautions.for_heating(resin.chemistry)
    assert mixing.of_resin(resin).added == "peroxide"
    cloth = load_cloth("stitched-biaxial")
    assert cloth.wet_out_time(resin.chemistry) == 3 * cloth.wet_out
    for command in (
        ["resin", "show", "saltmarsh"],
        ["cure", "--resin", "saltmarsh", "--temperature", "20", "--json"],
    ):
        with pytest.raises(SystemExit) as stop:
            run(command)
        assert stop.value.code == 0
        assert "saltmarsh" in capsys.readouterr().out
