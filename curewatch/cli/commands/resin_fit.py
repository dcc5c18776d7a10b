"""``curewatch resin fit``: from a maker's sheet to a resin system."""

from pathlib import Path
from typing import Annotated

import typer

from curewatch.cli.options import ConfigOption, JsonOption, PlainOption, UnitsOption, common_settings

app = typer.Typer(add_completion=False)
SHOWN_AT = (298.15, 293.15, 283.15)  # K
MARKS = ("working_time", "gel", "tack_free", "firm")
SHOWN_FOR = 14 * 86400.0  # s


@app.command()
def fit(
    sheet: Annotated[
        Path | None,
        typer.Argument(metavar="SHEET.toml", help="The sheet, typed into our form.", show_default=False),
    ] = None,
    *,
    out: Annotated[
        Path | None,
        typer.Option("--output", metavar="FILE", help="Write the resin to this .toml.", show_default=False),
    ] = None,
    replace: Annotated[bool, typer.Option("--replace", help="Write over that file.")] = False,
    form: Annotated[bool, typer.Option("--template", help="Print the form, every key explained.")] = False,
    config: ConfigOption = None,
    units: UnitsOption = None,
    plain: PlainOption = False,
    as_json: JsonOption = False,
) -> None:
    """A resin system from a maker's sheet, typed into our form: one statement is enough for a wide band.

    Shows how well each statement is met, which two contradict each other, and what is unknown.

    Example: curewatch resin fit --template
    """
    from curewatch.answers.resin_fit import resin_fit_document
    from curewatch.cli import terminal
    from curewatch.cli.screens import resin_fit as screen
    from curewatch.errors import UsageError
    from curewatch.materials.maker_sheet import base_of, form_text, read_maker_sheet
    from curewatch.materials.resin_writer import as_toml
    from curewatch.model.film.ensemble import band, milestone_times
    from curewatch.model.film.film import constant
    from curewatch.model.fit.sheet_fit import fit as fitted

    if form:
        typer.echo(form_text(), nl=False)
        return
    if sheet is None:
        raise UsageError("no sheet given; `curewatch resin fit --template > sheet.toml` gives the form")
    if out is not None and out.exists() and not replace:
        raise UsageError(f"{out}: found a file of that name. Use another name, or --replace")
    configuration, wording = common_settings(config, units)
    read = read_maker_sheet(sheet)
    base = base_of(read, configuration.resin.folder)
    found = fitted(read, base)
    if out is not None:
        heading = (
            f"Fitted to {read.source} by `curewatch resin fit`; what it leaves open is that of {base.name}."
        )
        _write(out, as_toml(found.resin, read.based_on, found.changed, heading))
    films = []
    for at in SHOWN_AT:
        times = milestone_times(found.resin, constant(at, SHOWN_FOR), duration=SHOWN_FOR)
        films.append((at, {name: band(times[name][0]) for name in MARKS}))
    answer = resin_fit_document(read, found, films)
    if as_json:
        terminal.print_json(answer)
    else:
        terminal.print_lines(screen.lines(answer, wording), plain=plain)
    if out is not None:
        terminal.note(f"written: {out}. Try `curewatch resin show {out}`")
    elif not as_json:
        terminal.note("not written; --output FILE.toml writes it, and --resin FILE.toml then uses it")


def _write(path: Path, text: str) -> None:
    from curewatch.errors import UsageError, reason

    try:
        path.write_text(text, encoding="utf-8")
    except OSError as trouble:
        raise UsageError(f"{path}: {reason(trouble)}; choose a place that can be written") from None
