"""START-HERE.html: what a stranger who finds a volume needs to know, in one page without links."""

from __future__ import annotations

from html import escape

from archive.formats.volume import VolumeMark

NAME = "START-HERE.html"

_PAGE = """<!doctype html>
<html lang="en">
<meta charset="utf-8">
<meta name="viewport" content="width=device-width">
<title>A night archive: start here</title>
<style>
body {{ font: 17px/1.55 Georgia, serif; max-width: 44rem; margin: 3rem auto; padding: 0 1.2rem;
       color: #1c2330; background: #f7f5ef; }}
h1 {{ font-weight: normal; font-size: 2rem; }} h2 {{ font-size: 1.15rem; margin-top: 2rem; }}
code {{ font: 0.88em/1.4 ui-monospace, monospace; background: #e9e5da; padding: 0.1em 0.3em; }}
td {{ vertical-align: top; padding: 0.35rem 1rem 0.35rem 0; }} td:first-child {{ white-space: nowrap; }}
</style>
<h1>This folder is one volume of a photographer's night archive.</h1>
<p>It holds photographs of the night sky exactly as the cameras wrote them, the record of what was
decided about them, and pictures made from them. Every file can be read without the program that
keeps it, which is called Noctuary.</p>
<table>
<tr><td><code>masters/</code><td>The camera files, by night and roll. They are read-only and are never
changed. <code>ascmhl/</code> in each roll is its hash list (the open standard ASC MHL 2.0): any tool
for that standard can tell whether a file is still what the camera wrote.
<tr><td><code>finished/</code><td>Pictures finished in other software. Irreplaceable, like masters.
<tr><td><code>journal/</code><td>One small JSON text for each decision: sites, cameras, ratings,
development recipes, exports. They are never edited; a later one takes an earlier one back.
<tr><td><code>survey/</code><td>Measurements and previews of the rolls. They can be made again.
<tr><td><code>exports/</code><td>Pictures and movies made from masters and recipes. They can be made again.
<tr><td><code>incoming/</code><td>Unfinished work. Leave it to the program.
<tr><td><code>volume.json</code><td>Which archive this is (<code>{archive}</code>) and which of its
volumes (<code>{volume}</code>, “{name}”, made {created}).
<tr><td><code>FORMATS.md</code><td>Every format on this volume, described so that another program could be
written to read it.
</table>
<h2>If you have inherited this</h2>
<p>Copy the whole folder to another drive before anything else, and do not edit, rename or move what is
in <code>masters/</code>, <code>finished/</code> and <code>journal/</code>. Other volumes of the same
archive carry the same archive number in their <code>volume.json</code>; together they may hold more
than each of them alone.</p>
</html>
"""


def start_here(mark: VolumeMark) -> bytes:
    """The page for one volume."""
    return _PAGE.format(
        archive=escape(mark.archive),
        volume=escape(mark.volume),
        name=escape(mark.name),
        created=escape(mark.created),
    ).encode()
