"""The demonstration: an invented evening, really computed, told in lines."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

from curewatch.cli.commands.demo import demo_configuration, recording_file
from curewatch.cli.evening import LAYERS
from curewatch.daemon.edges.recording import open_recording
from tests.broker import PATIENCE
from tests.terminal import environment


def test_the_recording_is_found_wherever_the_package_lies() -> None:
    """It speaks of all three sensors of the demonstration's shed, and the layers fall into its hours."""
    recording = open_recording(recording_file())
    assert recording.span.end - recording.span.start == pytest.approx(8 * 3600)
    assert set(demo_configuration().sensors) == {"bench", "hull", "yard"}
    assert all(recording.span.start < layer.started < recording.span.end for layer in LAYERS)


@pytest.mark.long
def test_an_evening_is_told_from_go_to_no_go(tmp_path: Path) -> None:
    """Go, the pot, the next layer, peel ply, no-go with its reason, what to try next; in 80 columns."""
    shown = subprocess.run(
        [sys.executable, "-m", "curewatch", "demo"],
        cwd=tmp_path,
        env=environment(tmp_path),
        capture_output=True,
        text=True,
        timeout=PATIENCE,
        check=True,
    )
    assert shown.stderr == ""
    story = [
        r"INVENTED",
        r"\d\d:\d\d ! GO: ",
        r"go now with epoxy-fast",
        r"rudder cheek, L1 is laid",
        r"rudder cheek, L1: la(y the next layer|minate again)",
        r"rudder cheek, L2 is laid",
        r"rudder cheek, L2: blush is likely",
        r"\d\d:\d\d ! NO-GO: [^!]*(surface may sweat|surface\s+(is too )?near the dew\s+point)",
        r"rudder cheek, L2: condensation",
        r"rudder cheek, L2: not fit for the next\s+layer",
        r"1,443 readings .* chain\s+unbroken",
        r"Try next:\n  curewatch \S+ .*\n  curewatch \S+ .*\n  curewatch \S+ ",
    ]
    assert re.search(".*?".join(story), shown.stdout, re.DOTALL), shown.stdout
    assert max(map(len, shown.stdout.splitlines())) <= 80
    assert "\x1b" not in shown.stdout
    assert list(tmp_path.iterdir()) == []
