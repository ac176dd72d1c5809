"""The pages of the gallery: plain HTML with relative links, readable from any folder."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape
from urllib.parse import quote

_STYLE = """
:root { color-scheme: dark; }
body { margin: 0; background: #14171a; color: #d8dcdf; font: 16px/1.5 Georgia, "Times New Roman", serif; }
main, header, footer { max-width: 1500px; margin: 0 auto; padding: 1.2rem 1.6rem; }
h1 { font-weight: normal; font-size: 1.9rem; margin: .4rem 0 0; }
h2 { font-weight: normal; font-size: 1.25rem; margin: 2.4rem 0 .2rem; padding-top: 1rem; }
h2 { border-top: 1px solid #30363b; }
p { margin: .2rem 0 .8rem; color: #9aa3aa; }
a { color: #b9d2e0; }
.row { display: grid; grid-template-columns: repeat(auto-fit, minmax(300px, 1fr)); gap: 1rem; }
figure { margin: 0; }
.exact { display: flex; flex-wrap: wrap; }
.exact img { width: auto; max-width: 100%; }
img { display: block; width: 100%; height: auto; background: #000; }
figcaption { font-size: .88rem; color: #9aa3aa; padding: .35rem 0; }
code { font-size: .92em; color: #cfd6da; }
"""


@dataclass(frozen=True, kw_only=True)
class Row:
    """One operator: its pictures as (label, file) pairs, weakest first.

    ``note`` says what they were made of, where it is not the frame as it is; ``exact`` ones are shown pixel
    by pixel.
    """

    name: str
    title: str
    pictures: tuple[tuple[str, str], ...]
    note: str = ""
    exact: bool = False


@dataclass(frozen=True, kw_only=True)
class Shot:
    """One frame of the gallery; files are relative to the index page."""

    key: str
    title: str
    note: str
    before: str
    after: str
    rows: tuple[Row, ...]


def index(shots: Sequence[Shot]) -> str:
    """The first page: every frame after its recipe, each leading to its own page."""
    tiles = "".join(
        f'<figure><a href="{quote(shot.key)}.html"><img src="{quote(shot.after)}" alt="" loading="lazy"></a>'
        f'<figcaption><a href="{quote(shot.key)}.html">{escape(shot.title)}</a> · {escape(shot.note)}'
        "</figcaption></figure>"
        for shot in shots
    )
    return _page(
        "What every operator does",
        "Each frame before and after a recipe, then with one operator at a time: low, mid and high.",
        f'<div class="row">{tiles}</div>',
    )


def shot_page(shot: Shot) -> str:
    """The page of one frame."""
    parts = [
        "<h2>Before and after</h2><p>No recipe, and the demo's first look.</p>",
        _row([("before", shot.before), ("after", shot.after)]),
    ]
    for row in shot.rows:
        told = f"{row.title}. {row.note}".rstrip()
        parts.append(f"<h2><code>{escape(row.name)}</code></h2><p>{escape(told)}</p>")
        parts.append(_row(row.pictures, exact=row.exact))
    return _page(shot.title, f'{escape(shot.note)} · <a href="index.html">all frames</a>', "".join(parts))


def _row(pictures: Iterable[tuple[str, str]], *, exact: bool = False) -> str:
    figures = "".join(
        f'<figure><a href="{quote(file)}"><img src="{quote(file)}" alt="{escape(label)}" loading="lazy"></a>'
        f"<figcaption>{escape(label)}</figcaption></figure>"
        for label, file in pictures
    )
    return f'<div class="row{" exact" * exact}">{figures}</div>'


def _page(title: str, lead: str, body: str) -> str:
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(title)} · Noctuary</title><style>{_STYLE}</style></head>\n<body>"
        f"<header><h1>{escape(title)}</h1><p>{lead}</p></header>\n<main>{body}</main>\n"
        "<footer><p>Made by <code>noctuary gallery</code>.</p></footer></body></html>\n"
    )
