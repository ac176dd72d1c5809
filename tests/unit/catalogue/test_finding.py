"""Whatever is asked, the answer is that of a plain filter over all frames."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.builders import (
    CAMERA,
    OTHER_CAMERA,
    camera,
    delivered,
    entry,
    exposure,
    frame_id,
    ingest,
    memory_catalogue,
    own,
    rating,
    roll,
    roll_file,
    sequence_roll,
    site,
)

from archive.catalogue import finding
from archive.catalogue.finding import matching
from archive.catalogue.index import Catalogue
from archive.catalogue.query import Condition, Either, Every, Not, Tree, parse
from archive.catalogue.query_fields import FIELDS, Text, Truth, Within
from archive.errors import UsageError
from archive.exports.specs import specs
from archive.model.entry import Change

WORDS = ("river ice", "Arch", "arch", "100%", "O'Neil", "_")


def keyword(number: int, word: str, on: bool = True) -> Change:
    return Change(subjects=(frame_id(number),), layer="keyword", line=word, value=on)


@pytest.fixture(scope="module")
def catalogue() -> Catalogue:
    filled = memory_catalogue()
    north = sequence_roll(range(1, 8))
    later = [roll_file(n, seconds=40_000 + n, exposure_s=1 / 60) for n in range(20, 24)]
    bare = roll_file(30, seconds=90_000)
    bare = type(bare)(**{f: getattr(bare, f) for f in bare.__dataclass_fields__} | {"facts": None})
    filled.apply(
        [
            entry(camera(), camera("river", OTHER_CAMERA), site(), ingest(north), kind="ingest"),
            entry(
                ingest(roll([*later, bare], token="11111111", camera_id=OTHER_CAMERA, at=None)),
                kind="ingest",
                counter=2,
            ),
            entry(*(rating(n, n - 2) for n in range(1, 8)), counter=3),
            entry(
                *(keyword(n, WORDS[n % 6]) for n in range(1, 24)),
                keyword(1, "Arch", False),
                kind="keywords",
                counter=4,
            ),
            entry(own(2, exposure(0.5)), kind="recipe", counter=5),
            entry(
                Change(
                    subjects=("job:1",),
                    layer="delivered",
                    line="1",
                    value=delivered(spec=specs()[0].to_json()),
                ),
                kind="job-delivered",
                counter=6,
            ),
        ],
        lambda found: [
            entry(
                *(
                    Change(
                        subjects=(each.first,),
                        layer="sequence-number",
                        value={"night": each.night, "camera": each.camera, "number": each.number},
                    )
                    for each in found
                ),
                kind="sequence",
                counter=9,
            )
        ],
    )
    return filled


def known(catalogue: Catalogue) -> list[dict[str, Any]]:
    """All that is known of each frame, in the order they were taken."""
    frames = catalogue.frames()
    ids = [frame.id for frame in frames]
    rated = catalogue.stated_about(ids, "rating")
    words = catalogue.stated_about(ids, "keyword")
    rows = {row[0]: row for row in catalogue.dump()["frame"]}
    return sorted(
        (
            {
                "id": frame.id,
                "taken": frame.taken,
                "night": frame.night,
                "camera": {CAMERA: "north", OTHER_CAMERA: "river"}[frame.camera],
                "site": "River bend" if frame.roll == "7c1f9a2e" else None,
                "name": frame.name,
                "sequence": int(frame.sequence.split("/")[2]) if frame.sequence else None,
                "rating": rated.get((frame.id, ""), 0),
                "keyword": {word for (subject, word), on in words.items() if subject == frame.id and on},
                "exposure": frame.facts.exposure_s,
                "iso": frame.facts.iso,
                "aperture": frame.facts.f_number,
                "focal": frame.facts.focal_mm,
                "sun": rows[frame.id][-3],
                "moon": rows[frame.id][-2],
                "developed": frame.id == frame_id(2),
                "exported": frame.id == frame_id(1),
            }
            for frame in frames
        ),
        key=lambda facts: (facts["taken"], facts["id"]),
    )


def holds(tree: Tree, facts: Mapping[str, Any]) -> bool:
    """The plain filter."""
    match tree:
        case Every(parts=parts):
            return all(holds(part, facts) for part in parts)
        case Either(parts=parts):
            return any(holds(part, facts) for part in parts)
        case Not(part=part):
            return not holds(part, facts)
        case Condition(field=field, compare=compare):
            return _compared(facts[field.name], compare)


def _compared(value: Any, compare: Within | Text | Truth) -> bool:
    if isinstance(compare, Truth):
        return value == compare.yes
    if value is None:
        return False
    if isinstance(compare, Text):
        values = value if isinstance(value, set) else {value}
        same = any(v.startswith(compare.texts) if compare.start else v in compare.texts for v in values)
        return same != compare.outside
    above = compare.low is None or value > compare.low or (compare.low_in and value == compare.low)
    below = compare.high is None or value < compare.high or (compare.high_in and value == compare.high)
    return (above and below) != compare.outside


def numbers(*values: str) -> st.SearchStrategy[str]:
    single = st.tuples(st.sampled_from([":", "=", "!=", "<", "<=", ">", ">="]), st.sampled_from(values))
    spans = st.tuples(st.just(":"), st.tuples(*[st.sampled_from(["", *values])] * 2).map("..".join))
    return (single | spans.filter(lambda t: t[1] != "..")).map("".join)


def texts(*values: str) -> st.SearchStrategy[str]:
    quoted = st.sampled_from(values).map(lambda v: '"' + v.replace("\\", "\\\\").replace('"', '\\"') + '"')
    return st.tuples(st.sampled_from([":", "=", "!="]), quoted).map("".join)


ASKED: dict[str, st.SearchStrategy[str]] = {
    "night": numbers("2026-03-18", "2026-03-19", "2026-03", "2025", "2026"),
    "camera": texts("north", "river", "r*", "x' OR '1'='1", "no*"),
    "site": texts("River bend", "River*", "nowhere"),
    "name": texts("NOCT0003.DNG", "NOCT002*", "noct*", "%", "NOCT____.DNG", "N*"),
    "sequence": numbers("1", "2", "3"),
    "rating": numbers("-1", "0", "3", "4", "5"),
    "keyword": texts(*WORDS, "river*", "%", "a*", 'x") OR ("1"="1'),
    "exposure": numbers("8s", "1/60", "10", "20ms", "2min"),
    "iso": numbers("800", "3200", "99999999999999999999"),
    "aperture": numbers("2.8", "4"),
    "focal": numbers("20mm", "14"),
    "sun": numbers("-18", "-12.5", "0", "40"),
    "moon": numbers("-6", "0", "15"),
    "developed": st.sampled_from([":yes", ":no"]),
    "exported": st.sampled_from([":yes", "=no"]),
}
CONDITIONS = st.sampled_from(sorted(ASKED)).flatmap(lambda name: ASKED[name].map(lambda rest: name + rest))
QUERIES = st.recursive(
    CONDITIONS,
    lambda inner: st.one_of(
        inner.map(lambda q: f"not ({q})"),
        st.lists(inner, min_size=1, max_size=3).map(lambda q: f"({' '.join(q)})"),
        st.lists(inner, min_size=2, max_size=3).map(lambda q: f"({' or '.join(q)})"),
    ),
    max_leaves=8,
)


def test_every_field_is_asked_for_here() -> None:
    assert set(ASKED) == set(FIELDS)


@given(QUERIES)
@settings(max_examples=300, deadline=None)
@pytest.mark.slow
def test_any_query_answers_as_a_plain_filter_does(catalogue: Catalogue, query: str) -> None:
    tree = parse(query)
    expected = [facts["id"] for facts in known(catalogue) if holds(tree, facts)]
    found = matching(catalogue, tree, limit=1000)
    assert [frame.id for frame in found.frames] == expected
    assert found.count == len(expected)


ODD = st.characters(exclude_categories=())
"""With surrogates and NUL: what a shell hands on for bytes that are no text."""


@given(st.text(ODD, max_size=60) | st.lists(CONDITIONS | st.text(ODD, max_size=6)).map(" ".join))
@settings(max_examples=300, deadline=None)
@pytest.mark.slow
def test_no_text_whatever_ends_in_an_error_of_the_database(catalogue: Catalogue, typed: str) -> None:
    try:
        tree = parse(typed)
    except UsageError:
        return
    matching(catalogue, tree, limit=5)


ANSWERS: list[tuple[str, Callable[[dict[str, Any]], bool]]] = [
    ("", lambda f: True),
    # A name that was typed without capitals found nothing.
    ("name:noct0003.dng", lambda f: f["name"] == "NOCT0003.DNG"),
    ("name:Noct002*", lambda f: f["name"].startswith("NOCT002")),
    ("name!=noct0003.DNG", lambda f: f["name"] != "NOCT0003.DNG"),
    ("rating>=4", lambda f: f["rating"] >= 4),
    ("not rating>=4", lambda f: f["rating"] < 4),
    ("exposure<1", lambda f: f["exposure"] is not None and f["exposure"] < 1),
    ("not exposure<1", lambda f: f["exposure"] is None or f["exposure"] >= 1),
    ('keyword:"river ice"', lambda f: "river ice" in f["keyword"]),
    ('keyword:"100%"', lambda f: "100%" in f["keyword"]),
    ("sun<0 site:River*", lambda f: f["sun"] is not None and f["sun"] < 0),
]


@pytest.mark.parametrize(("query", "wanted"), ANSWERS, ids=[query for query, _ in ANSWERS])
def test_common_questions(catalogue: Catalogue, query: str, wanted: Callable[[dict[str, Any]], bool]) -> None:
    found = matching(catalogue, parse(query), limit=1000)
    expected = [facts["id"] for facts in known(catalogue) if wanted(facts)]
    assert [frame.id for frame in found.frames] == expected


def test_only_the_first_are_answered_and_all_are_counted_up_to_a_bound(
    catalogue: Catalogue, monkeypatch: pytest.MonkeyPatch
) -> None:
    found = matching(catalogue, parse(""), limit=3)
    assert len(found.frames) == 3
    assert found.count == len(catalogue.frames()) == 12
    monkeypatch.setattr(finding, "MOST_COUNTED", 5)
    assert matching(catalogue, parse(""), limit=3).count == 6


@pytest.mark.parametrize("limit", range(1, 13))
def test_however_few_nights_are_looked_at_together_the_answer_is_the_same(
    catalogue: Catalogue, monkeypatch: pytest.MonkeyPatch, limit: int
) -> None:
    whole = {query: matching(catalogue, parse(query), limit) for query, _ in ANSWERS}
    monkeypatch.setattr(finding, "_FIRST_LOOK", 1)
    monkeypatch.setattr(finding, "_GROWTH", 1)
    assert {query: matching(catalogue, parse(query), limit) for query, _ in ANSWERS} == whole
    monkeypatch.setattr(finding, "MOST_LOOKED_AT", 1)
    for query, told in whole.items():
        short = matching(catalogue, parse(query), limit)
        assert short.frames == told.frames
        assert short.count <= told.count
        assert short.more or short.count == told.count


def test_what_was_said_of_a_jpeg_is_found_at_the_raw_frame_it_stands_for() -> None:
    paired = memory_catalogue()
    paired.apply(
        [
            entry(camera(), site(), ingest(sequence_roll(range(1, 4))), kind="ingest"),
            entry(rating(1, 2), rating(2, 5), keyword(1, "ice"), own(1, exposure(0.5)), counter=2),
            entry(
                Change(subjects=(frame_id(1),), layer="pairing", value={"frame": frame_id(3)}),
                kind="pairing",
                counter=3,
            ),
        ]
    )
    for query in ("rating:2", "keyword:ice", "developed:yes", "not rating:0 not rating:5"):
        assert [frame.id for frame in matching(paired, parse(query), 9).frames] == [frame_id(3)], query
    paired.apply([entry(rating(3, 4), keyword(3, "ice", False), counter=4)])
    assert [frame.id for frame in matching(paired, parse("rating:4"), 9).frames] == [frame_id(3)]
    assert matching(paired, parse("keyword:ice"), 9).count == 0
