"""The pages as one HTML file: no script, nothing fetched, readable by whatever reads HTML."""

import base64
from collections.abc import Iterator
from html import escape

from curewatch import square
from curewatch.record.page import Lead, Pages, PageTable, Picture, Section
from curewatch.record.proof import shipped

# Nothing may be fetched and nothing may run, even if something slipped in.
POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"
_CLASSES = {"met": "met", "not met": "not-met", "cannot be shown": "cannot-be-shown"}


def html(pages: Pages) -> str:
    """The whole page."""
    return "\n".join(
        [
            "<!DOCTYPE html>",
            '<html lang="en">',
            "<head>",
            '<meta charset="utf-8">',
            f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            f"<title>{escape(pages.title)}: {escape(pages.subject)}</title>",
            f"<style>\n{shipped('record.css').decode()}</style>",
            "</head>",
            "<body>",
            "<main>",
            *_head(pages),
            *(line for section in pages.sections for line in _section(section)),
            *_foot(pages),
            "</main>",
            "</body>",
            "</html>",
            "",
        ]
    )


def _head(pages: Pages) -> Iterator[str]:
    yield f'<div class="eyebrow">{escape(pages.title)} · Job {escape(pages.job)}</div>'
    yield f"<h1>{escape(pages.subject)}</h1>"
    yield '<div class="head">'
    yield "<dl>"
    for name, value in pages.facts:
        yield f"<dt>{escape(name)}</dt><dd>{escape(value)}</dd>"
    yield "</dl>"
    yield "<div>"
    yield "<dl>"
    for name, outcome in pages.outcomes:
        yield f"<dt>{escape(name)}</dt><dd>{_cell(outcome)}</dd>"
    yield "</dl>"
    yield f'<p>Seal code<br><span class="code">{escape(pages.code)}</span></p>'
    yield square.svg(pages.digest).decode().strip()
    yield f"<p>{escape(pages.dated)}</p>"
    yield "</div>"
    yield "</div>"


def _foot(pages: Pages) -> Iterator[str]:
    yield f"<footer><span>Job {escape(pages.job)}</span><span>Seal code {escape(pages.code)}</span></footer>"


def _section(section: Section) -> Iterator[str]:
    yield f"<section>\n<h2>{escape(section.heading)}</h2>"
    for block in section.blocks:
        if isinstance(block, str):
            yield f"<p>{escape(block)}</p>"
        elif isinstance(block, Lead):
            yield f"<h3>{escape(block.title)}: {_cell(block.outcome)}</h3><p>{escape(block.more)}</p>"
        elif isinstance(block, PageTable):
            yield from _table(block)
        else:
            yield _figure(block)
    yield "</section>"


def _table(table: PageTable) -> Iterator[str]:
    yield '<div class="scroll"><table>'
    if any(table.head):
        yield "<tr>" + "".join(f"<th>{escape(cell)}</th>" for cell in table.head) + "</tr>"
    for row in table.rows:
        yield "<tr>" + "".join(f"<td>{_cell(cell)}</td>" for cell in row) + "</tr>"
    yield "</table></div>"


def _cell(text: str) -> str:
    known = _CLASSES.get(text)
    return f'<span class="{known}">{escape(text)}</span>' if known else escape(text)


def _figure(picture: Picture) -> str:
    if picture.file.endswith(".svg"):
        shown = picture.content.decode()
    else:
        data = base64.b64encode(picture.content).decode()
        shown = f'<img src="data:image/jpeg;base64,{data}" alt="{escape(picture.alt)}">'
    return f"<figure>{shown}<figcaption>{escape(picture.caption)}</figcaption></figure>"
