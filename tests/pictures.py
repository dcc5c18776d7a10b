"""The pictures of the README, made from the demonstration's world: `python -m tests.pictures`.

The board is drawn by the program's own screen and written as SVG, with a font of whoever looks at it; the
pages are those of a record that the program wrote, made small. Both say that they are invented.
"""

import subprocess
import tempfile
from io import BytesIO, StringIO
from pathlib import Path

from PIL import Image, ImageDraw, ImageFont
from rich.console import Console
from rich.terminal_theme import TerminalTheme

from curewatch.answers.gathering import gather
from curewatch.cli.screens.board import board
from curewatch.clock import utc_from_iso
from curewatch.logbook import Logbook
from curewatch.record import writing
from curewatch.units import DAY
from curewatch.wording import wording
from tests import demo_world, record_world
from tests.browser import browser
from tests.page_evening import page_evening

PICTURES = Path(__file__).parents[1] / "recordings" / "pictures"
MOMENT = utc_from_iso("2026-10-17T18:36:40Z")  # of the demonstration's evening
COLUMNS, ROWS = 120, 32
INK = TerminalTheme(
    (19, 26, 30),
    (224, 230, 226),
    [
        (19, 26, 30),
        (232, 104, 82),
        (120, 196, 120),
        (226, 182, 92),
        (110, 164, 214),
        (190, 140, 200),
        (110, 196, 196),
        (224, 230, 226),
    ],
)
FRAME = """<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" \
role="img" aria-label="The board of an invented evening">
<style>
.{unique_id}-matrix {{ font-family: "DejaVu Sans Mono", Menlo, Consolas, monospace; \
font-size: {char_height}px; line-height: {line_height}px; }}
{styles}
</style>
<defs><clipPath id="{unique_id}-clip-terminal">
<rect x="0" y="0" width="{terminal_width}" height="{terminal_height}"/></clipPath>{lines}</defs>
<rect width="{width}" height="{height}" fill="#131a1e"/>
<g transform="translate(9, 22)" clip-path="url(#{unique_id}-clip-terminal)">
{backgrounds}
<g class="{unique_id}-matrix">
{matrix}
</g>
</g>
</svg>
"""


def board_picture(target: Path) -> None:
    """The board at a moment of the demonstration's evening."""
    with tempfile.TemporaryDirectory() as folder:
        found, path = demo_world.evening_until(MOMENT, Path(folder))
        with Logbook(path, read_only=True) as logbook:
            state = gather(logbook, found, MOMENT, "INVENTED for the demonstration")
    words = wording(found.zone, "C,g,24h", {})
    console = Console(
        record=True, width=COLUMNS, file=StringIO(), force_terminal=True, color_system="truecolor"
    )
    for row in board(state, MOMENT, words, COLUMNS, ROWS):
        console.print(row, soft_wrap=True)
    target.write_text(
        console.export_svg(title="", theme=INK, code_format=FRAME, unique_id="board"), encoding="utf-8"
    )


def record_picture(target: Path, pages: tuple[int, ...] = (1, 3), width: int = 620) -> None:
    """Pages of the record of the invented job, side by side."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        record_world.fill(folder / "logbook.sqlite")
        with Logbook(folder / "logbook.sqlite") as logbook:
            written = writing.write(logbook, record_world.JOB, folder, at=record_world.OPENED + 4 * DAY)
        sheets = [_page(written.pdf, page, width, folder) for page in pages]
    gap, height = 16, max(sheet.height for sheet in sheets)
    whole = Image.new("RGB", (len(sheets) * (width + gap) + gap, height + 2 * gap + 24), (203, 208, 204))
    for place, sheet in enumerate(sheets):
        whole.paste(sheet, (gap + place * (width + gap), gap))
    words = "INVENTED for the demonstration: no such shed, boat, job or person."
    ImageDraw.Draw(whole).text(
        (gap, height + gap + 8), words, fill=(40, 50, 48), font=ImageFont.load_default(size=17)
    )
    whole.quantize(48).save(target, optimize=True)


SHOWN = ("fit for the first layer", "the window closes soon", "the damp comes")  # of the evening on a phone


def page_picture(target: Path) -> None:
    """The page on a phone, three times in the demonstration's evening; needs chromium and playwright."""
    with (
        tempfile.TemporaryDirectory() as name,
        browser() as found,
        page_evening(Path(name), found) as evening,
    ):
        taken = dict.fromkeys(SHOWN, b"")
        for moment in evening.play():
            if moment in taken:
                evening.phone.evaluate("() => scrollTo(0, 0)")
                taken[moment] = evening.phone.screenshot()
            if all(taken.values()):
                break
    shown = [Image.open(BytesIO(each)).convert("RGB") for each in taken.values()]
    gap, (width, height) = 16, shown[0].size
    whole = Image.new("RGB", (len(shown) * (width + gap) + gap, height + 56), (203, 208, 204))
    for place, each in enumerate(shown):
        whole.paste(each, (gap + place * (width + gap), gap))
    words = "INVENTED for the demonstration: no such shed, boat or job."
    font = ImageFont.load_default(size=17)
    ImageDraw.Draw(whole).text((gap, height + 26), words, fill=(40, 50, 48), font=font)
    whole.quantize(48).save(target, optimize=True)


def _page(pdf: Path, page: int, width: int, folder: Path) -> Image.Image:
    made = folder / f"page-{page}"
    options = ["-png", "-singlefile", "-f", str(page), "-l", str(page), "-scale-to-x", str(width)]
    subprocess.run(["pdftoppm", *options, "-scale-to-y", "-1", str(pdf), str(made)], check=True)
    with Image.open(made.with_suffix(".png")) as image:
        return image.convert("RGB")


def main() -> None:
    """All pictures, in their place."""
    PICTURES.mkdir(exist_ok=True)
    board_picture(PICTURES / "board.svg")
    record_picture(PICTURES / "record-page.png")
    page_picture(PICTURES / "page.png")
    for made in sorted(PICTURES.iterdir()):
        print(f"{made.relative_to(PICTURES.parents[1])}  {made.stat().st_size / 1000:.0f} kB")


if __name__ == "__main__":
    main()
