"""Queries that nothing can answer are told before frames are looked at, and no other is taken for one."""

from __future__ import annotations

import pytest
from sqlalchemy import event
from support.builders import memory_catalogue

from archive.catalogue.contradicting import contradictory
from archive.catalogue.finding import matching
from archive.catalogue.query import parse


@pytest.mark.parametrize(
    "query",
    [
        "rating:4 and rating:5",
        "rating>4 rating<5",
        "not (rating>=-1)",
        "rating:6",
        "rating:0 not rating:0",
        "rating!=0 rating:0",
        "not (rating:4 or rating!=4)",
        "iso:1600 camera:north iso:3200",
        "exposure>10s (exposure<=1/60 or exposure<10 moon<0)",
        "not not (focal:14 focal:20)",
    ],
)
def test_a_query_that_no_frame_can_answer_asks_for_none(query: str) -> None:
    """They took a quarter of a second and more in a million frames."""
    catalogue = memory_catalogue()
    asked: list[str] = []
    event.listen(catalogue.engine, "before_cursor_execute", lambda *told: asked.append(told[2]))
    assert matching(catalogue, parse(query), 50).count == 0
    assert asked == []


@pytest.mark.parametrize(
    "query",
    [
        "",
        "rating>3 rating<5",
        "rating:4 or rating:5",
        "not (iso>=0)",
        "exposure>1 exposure<1.0000001",
        "iso>9007199254740992 iso<9007199254740994",
        "rating:4 or rating:5 rating:4",
        "not (rating:4 iso:100)",
        "sun<-30 or sun>40 sun<40",
        "keyword:a keyword:b",
        "night:2026 night:2027",
        " ".join(["exposure:1"] * 41 + ["exposure:2"]),
    ],
)
def test_what_some_frame_might_answer_or_is_not_looked_into_is_asked(query: str) -> None:
    assert not contradictory(parse(query))
