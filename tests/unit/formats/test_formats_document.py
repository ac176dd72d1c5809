"""The document that describes the formats, held against the code that reads them."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

import archive
from archive.errors import Exit
from archive.formats import entry, houserecipe, incoming, survey, volume
from archive.journal import current
from archive.model.entry import OWN, SELECTION, SHARED
from archive.model.identity import canonical, derived_key
from archive.model.recipe import EffectiveRecipe

PACKAGE = Path(archive.__file__).parent
TEXT = (PACKAGE / "formats" / "FORMATS.md").read_text(encoding="utf-8")
FENCE = re.compile(
    r"^```json example=(?P<kind>\S+)(?: name=(?P<name>\S+))?(?: key=(?P<key>\S+))?\n(?P<body>.*?)\n```$",
    re.MULTILINE | re.DOTALL,
)
LAYER = re.compile(r"\blayer=\"([a-z-]+)\"")


@dataclass(frozen=True, kw_only=True)
class Example:
    """One fenced document."""

    kind: str
    name: str | None
    key: str | None
    data: bytes


EXAMPLES = [
    Example(kind=match["kind"], name=match["name"], key=match["key"], data=match["body"].encode())
    for match in FENCE.finditer(TEXT)
]


def _volume(example: Example) -> None:
    mark = volume.decode(example.data)
    assert volume.encode(mark) == example.data


def _entry(example: Example) -> None:
    assert example.name is not None
    read = entry.decode(example.data, example.name)
    list(current.versions(read))
    again, data = entry.encode(
        kind=read.kind,
        counter=read.counter,
        time=read.time,
        writer=read.writer,
        previous=read.previous,
        person=read.person,
        changes=read.changes,
        essential=read.essential,
    )
    assert (again, data) == (read, example.data)


def _incoming(example: Example) -> None:
    assert incoming.encode(incoming.decode(example.data, "example")) == example.data


def _proven(example: Example) -> None:
    assert incoming.encode_proven(*incoming.decode_proven(example.data, "example")) == example.data


def _effective(example: Example) -> None:
    document = json.loads(example.data)
    assert EffectiveRecipe.from_json(document).to_json() == document
    assert example.key == "sha256:" + hashlib.sha256(example.data).hexdigest()


def _derived(example: Example) -> None:
    kind, *parts = json.loads(example.data)
    assert example.key == "sha256:" + hashlib.sha256(example.data).hexdigest()
    assert example.key == derived_key(kind, *parts)


def _survey(example: Example) -> None:
    assert example.name is not None
    assert survey.encode(survey.decode(example.data, example.name)) == (example.name, example.data)


def _house_recipe(example: Example) -> None:
    recipe = houserecipe.decode(example.data, "example")
    assert houserecipe.decode(houserecipe.encode(recipe), "again") == recipe


CHECKS: dict[str, Callable[[Example], None]] = {
    "house-recipe": _house_recipe,
    "volume": _volume,
    "entry": _entry,
    "incoming": _incoming,
    "proven": _proven,
    "effective": _effective,
    "derived": _derived,
    "survey": _survey,
}


def test_every_fenced_block_of_json_is_an_example_of_a_known_kind() -> None:
    assert len(EXAMPLES) == len(re.findall("^```json", TEXT, re.MULTILINE))
    assert {example.kind for example in EXAMPLES} == CHECKS.keys()


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda e: f"{e.kind}-{e.name or e.key or ''}"[:40])
def test_an_example_is_canonical_and_is_read_as_what_it_says(example: Example) -> None:
    assert canonical(json.loads(example.data)) == example.data
    CHECKS[example.kind](example)


def test_the_examples_hold_an_own_a_shared_and_an_ingest_entry() -> None:
    layers = {
        change["layer"]
        for example in EXAMPLES
        if example.kind == "entry"
        for change in json.loads(example.data)["changes"]
    }
    assert {OWN, SHARED, SELECTION, "ingest", "card"} <= layers


def test_the_shared_example_follows_the_own_example() -> None:
    own, shared = (
        next(e for e in EXAMPLES if e.kind == "entry" and f'"layer":"{layer}"'.encode() in e.data)
        for layer in (OWN, SHARED)
    )
    assert json.loads(shared.data)["previous"] == "sha256:" + hashlib.sha256(own.data).hexdigest()


def test_the_table_of_exit_codes_is_the_enumeration() -> None:
    section = TEXT.partition("## 11. Exit codes")[2].partition("\n## ")[0]
    table = re.findall(r"^\| (\d+) \| (.+) \|$", section, re.MULTILINE)
    assert table == [(str(int(code)), code.meaning) for code in Exit]


def _layers_in_code() -> dict[str, str]:
    found = dict.fromkeys((OWN, SHARED, SELECTION), "archive/model/entry.py")
    for path in sorted(PACKAGE.rglob("*.py")):
        found |= {layer: str(path) for layer in LAYER.findall(path.read_text(encoding="utf-8"))}
    return found


@pytest.mark.parametrize("layer", sorted(_layers_in_code()))
def test_every_layer_that_the_code_writes_is_described(layer: str) -> None:
    section = TEXT.partition("### Layers")[2].partition("\n### ")[0]
    rows = [row.split("|")[2] for row in section.splitlines() if row.startswith("| `")]
    assert any(f"`{layer}`" in row for row in rows), f"{layer} of {_layers_in_code()[layer]}"


def test_the_document_describes_format_1_of_every_document() -> None:
    assert (volume.FORMAT, entry.FORMAT, incoming.FORMAT) == (1, 1, 1)
    assert "Format 1, release 0.1" in TEXT
