"""A lot is learnt from the temperature of the layer itself, its own heat in it."""

from pathlib import Path

import pytest

from curewatch.jobs import Layer, layer_as_plain
from curewatch.logbook import Entry, Logbook
from curewatch.materials import load_resin
from curewatch.model.fit.evidence import Evidence
from curewatch.model.fit.learning import learn
from curewatch.shed import learnt
from curewatch.shed.look import Look
from curewatch.units import HOUR, MINUTE
from tests.unit.test_look import configured, readings

NOW = 1_794_999_600.0  # UTC [s]
THICK = Layer("L1", NOW - 50 * MINUTE, "epoxy-fast", thickness=2.4e-3, part="stern")
UPPER = Layer("L2", NOW - 20 * MINUTE, "epoxy-fast", thickness=2.4e-3, part="stern")


@pytest.mark.parametrize("layers", [(THICK,), (THICK, UPPER)], ids=["alone", "on a warm one"])
def test_a_layer_that_gels_when_told_teaches_nothing(layers: tuple[Layer, ...], tmp_path: Path) -> None:
    """A rate within 3 %. The control: from the path of its surface the lot comes out a fifth faster."""
    laid, resin = layers[-1], load_resin("epoxy-fast")
    with Logbook(tmp_path / "log.sqlite") as logbook:
        seen = [each for each in readings(NOW + 2 * HOUR, "bench", "hull") if each.time <= NOW]
        seen += readings(NOW, "bench", "hull")
        entries = [Entry("layer", layer_as_plain(each), each.started) for each in layers]
        logbook.append(sorted(set(seen), key=lambda each: each.time), entries=entries)
        look = Look(logbook, configured(tmp_path / "log.sqlite"), NOW)
        (running,) = (each for each in look.running if each.layer.layer == laid.layer)
        assert running.progress is not None
        (gel,) = (each.likely for each in running.progress.timeline if each.name == "gel")
        assert gel is not None
        asked = look.about(laid)
        paths = (
            learnt.own_history(laid, gel, look.situation, asked),
            learnt.history(laid, gel, look.situation, asked.substrate),
        )
    factors = []
    for path in paths:
        assert path is not None
        found = Evidence("gelled", gel - laid.started, path, None, None, layer=laid.layer)
        factors.append(learn(resin, found).factor)
    assert factors[0] == pytest.approx(1.0, abs=0.05)
    assert factors[1] > 1.2
