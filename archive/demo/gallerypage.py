"""The pages of the gallery: plain HTML with relative links, readable from any folder."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from urllib.parse import quote

_STYLE = """
:root { color-scheme: dark light; --paper: #14171a; --ink: #d8dcdf; --soft: #9aa3aa; --link: #b9d2e0;
  --line: #30363b; }
@media (prefers-color-scheme: light) {
  :root { --paper: #e9eaeb; --ink: #1c2124; --soft: #4c555b; --link: #144c6b; --line: #b9bfc3; } }
body { margin: 0; background: var(--paper); color: var(--ink);
  font: 16px/1.5 Georgia, "Times New Roman", serif; overflow-wrap: anywhere; }
main, header, footer { max-width: 1500px; margin: 0 auto; padding: 1.2rem 1.6rem; }
h1 { font-weight: normal; font-size: 1.9rem; margin: .4rem 0 0; }
h2 { font-weight: normal; font-size: 1.25rem; margin: 2.4rem 0 .2rem; padding-top: 1rem;
  border-top: 1px solid var(--line); }
h3 { font-weight: normal; font-size: 1rem; margin: 1rem 0 .3rem; }
p { margin: .2rem 0 .8rem; color: var(--soft); max-width: 48rem; }
a { color: var(--link); }
a:focus-visible { outline: 3px solid var(--link); outline-offset: 2px; }
nav a { display: inline-block; margin-right: .9rem; padding: .15rem 0; }
.row { display: grid; grid-template-columns: repeat(auto-fit, minmax(min(300px, 100%), 1fr)); gap: 1rem; }
figure { margin: 0; }
.close { display: flex; flex-wrap: wrap; }
.close figure { max-width: 100%; }
.close img { image-rendering: pixelated; }
img { display: block; max-width: 100%; height: auto; background: #000; }
figcaption { font-size: .88rem; color: var(--soft); padding: .35rem 0; }
code { font-size: .92em; color: inherit; }
"""


@dataclass(frozen=True, kw_only=True)
class Picture:
    """A picture's label, its file relative to the index page, and its size in pixels."""

    label: str
    file: str
    width: int
    height: int


@dataclass(frozen=True, kw_only=True)
class Series:
    """Pictures to see side by side, weakest first: close looks at one place, or of the whole frame ("")."""

    pictures: tuple[Picture, ...]
    place: str = ""


@dataclass(frozen=True, kw_only=True)
class Row:
    """Pictures of one ``operator``, or of a whole recipe (""); ``note`` says more of them than the title."""

    title: str
    series: tuple[Series, ...]
    operator: str = ""
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class Shot:
    """One frame of the gallery; its first row is of its recipe, before and after."""

    key: str
    title: str
    note: str
    rows: tuple[Row, ...]

    @property
    def after(self) -> Picture:
        return self.rows[0].series[0].pictures[-1]


def index(shots: Sequence[Shot]) -> str:
    """The first page: every frame after its recipe, each leading to its own page."""
    tiles = "".join(
        f'<figure><a href="{quote(shot.key)}.html">{_image(shot.after, f"{shot.title}, after")}</a>'
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
    names = [escape(row.operator) for row in shot.rows if row.operator]
    links = "".join(f'<a href="#{name}">{name}</a> ' for name in names)
    parts = [f'<nav aria-label="Operators">{links}</nav>']
    for row in shot.rows:
        if row.operator:
            name, told = escape(row.operator), f"{row.title}. {row.note}".rstrip()
            parts.append(f'<h2 id="{name}"><code>{name}</code></h2><p>{escape(told)}</p>')
        else:
            parts.append(f"<h2>{escape(row.title)}</h2><p>{escape(row.note)}</p>")
        parts += [_series(row.operator or shot.title, series) for series in row.series]
    return _page(shot.title, f'{escape(shot.note)} · <a href="index.html">all frames</a>', "".join(parts))


def _series(of: str, series: Series) -> str:
    heading = f"<h3>{escape(series.place)}</h3>" if series.place else ""
    at = f", {series.place}" if series.place else ""
    figures = "".join(
        f'<figure><a href="{quote(each.file)}">{_image(each, f"{of}, {each.label}{at}")}</a>'
        f"<figcaption>{escape(each.label)}</figcaption></figure>"
        for each in series.pictures
    )
    return f'{heading}<div class="row{" close" if series.place else ""}">{figures}</div>'


def _image(picture: Picture, alt: str) -> str:
    return (
        f'<img src="{quote(picture.file)}" alt="{escape(alt)}" width="{picture.width}" '
        f'height="{picture.height}" loading="lazy">'
    )


def _page(title: str, lead: str, body: str) -> str:
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(title)} · Noctuary</title><style>{_STYLE}</style></head>\n<body>"
        f"<header><h1>{escape(title)}</h1><p>{lead}</p></header>\n<main>{body}</main>\n"
        "<footer><p>Made by <code>noctuary gallery</code>.</p></footer></body></html>\n"
    )
