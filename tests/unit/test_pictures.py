"""The pictures of the README: small, self-contained, and marked as invented."""

from pathlib import Path

import pytest
from PIL import Image

from tests import pictures

LARGEST = 300_000  # bytes


def test_each_picture_is_small_and_shown_by_the_readme() -> None:
    """None costs a slow line much, and none lies there unused."""
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    for picture in pictures.PICTURES.iterdir():
        assert picture.stat().st_size < LARGEST, picture.name
        assert f"(recordings/pictures/{picture.name})" in readme, picture.name


@pytest.mark.long
def test_the_pictures_are_made_by_their_command(tmp_path: Path) -> None:
    """The board names its verdict and asks nothing of the network; the record is a picture of two pages."""
    pictures.board_picture(tmp_path / "board.svg")
    drawn = (tmp_path / "board.svg").read_text(encoding="utf-8")
    assert "INVENTED" in drawn.replace("&#160;", " ")
    assert "Saltmarsh" in drawn
    assert "http" not in drawn.replace("http://www.w3.org/2000/svg", "")
    pictures.record_picture(tmp_path / "record-page.png")
    with (
        Image.open(tmp_path / "record-page.png") as made,
        Image.open(pictures.PICTURES / "record-page.png") as kept,
    ):
        assert made.size == kept.size
