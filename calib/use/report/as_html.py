"""A view as a fragment of HTML: no scripts, no styles, no addresses; whoever puts it in a page styles its classes."""

from html import escape

from calib.use.report.layout import clean, sentence
from calib.use.report.view import Grid, Section, View


def html_of(view: View) -> str:
    """The view as one <section>: the kilos, a table, lines, findings, the rest behind <details>."""
    parts = [f'<p class="kilos">{_text(view.kilos)}</p>']
    parts += [_grid(view.grid)] if view.grid else []
    parts += [f"<p>{_text(line)}</p>" for line in (*view.lines, *view.after)]
    if view.findings:
        items = "".join(
            f'<li data-code="{_text(f.code)}">{_text(sentence(f.text))} <strong>{_text(f.do)}</strong></li>'
            for f in view.findings
        )
        parts.append(f'<ul class="findings">{items}</ul>')
    parts += [_section(section) for section in view.sections]
    return f'<section class="answer">{"".join(parts)}</section>'


def _section(section: Section) -> str:
    body = _grid(section.grid) if section.grid else ""
    body += f"<pre>{escape(section.picture)}</pre>" if section.picture else ""
    body += "".join(f"<p>{_text(note)}</p>" for note in section.notes)
    if not section.title:
        return body
    return f'<details class="{_text(section.name)}"><summary>{_text(section.title)}</summary>{body}</details>'


def _grid(grid: Grid) -> str:
    head = "".join(f'<th scope="col">{_text(cell)}</th>' if cell else "<td></td>" for cell in grid.headers)
    rows = "".join("<tr>" + "".join(f"<td>{_text(cell)}</td>" for cell in row) + "</tr>" for row in grid.rows)
    table = f"<table><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>"
    return f'<div class="wide" tabindex="0">{table}</div>'


def _text(words: str) -> str:
    return escape(clean(words), quote=True)
