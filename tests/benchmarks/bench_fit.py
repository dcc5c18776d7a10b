"""How long a full fit to a maker's sheet takes: the printed form, nine statements, two of them pots."""

import time
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory

from curewatch.materials import load_resin
from curewatch.materials.maker_sheet import form_text, read_maker_sheet
from curewatch.model.fit.sheet_fit import fit

RUNS = 5


def main() -> None:
    """Print the table."""
    with TemporaryDirectory() as folder:
        file = Path(folder) / "sheet.toml"
        file.write_text(form_text(), encoding="utf-8")
        sheet = read_maker_sheet(file)
    base = load_resin(sheet.based_on)
    wall, own = [], []
    for _ in range(RUNS):
        begun, spent = time.perf_counter(), time.process_time()
        fit(sheet, base)
        wall.append(time.perf_counter() - begun)
        own.append(time.process_time() - spent)
    print(f"{'full fit, 9 statements':<28}{'wall':>10}{'processor':>12}")
    print(f"{'first (imports scipy)':<28}{wall[0]:>9.2f}s{own[0]:>11.2f}s")
    print(f"{'median of the rest':<28}{median(wall[1:]):>9.2f}s{median(own[1:]):>11.2f}s")


if __name__ == "__main__":
    main()
