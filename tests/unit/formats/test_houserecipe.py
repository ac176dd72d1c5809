from __future__ import annotations

import json

import pytest
from support.builders import step

from archive.errors import ArchiveError, DamagedFileError
from archive.formats import houserecipe
from archive.model.recipe import FinishItem, HouseRecipe

RECIPE = HouseRecipe(
    name="Faint arc",
    about="no moon",
    base=(step("exposure", stops=0.9),),
    finish=(FinishItem(id="sharpness-1", on=False, step=step("sharpness", amount=0.25)),),
)
DOCUMENT = json.loads(houserecipe.encode(RECIPE))


def read(**changed: object) -> HouseRecipe:
    return houserecipe.decode(json.dumps({**DOCUMENT, **changed}).encode(), "arc.json")


def test_a_document_is_read_as_it_was_written_and_people_can_read_it() -> None:
    assert read() == RECIPE
    assert houserecipe.encode(RECIPE).decode().startswith('{\n  "type": "noctuary-house-recipe"')


def test_what_may_be_left_out_is_nothing() -> None:
    bare = {key: DOCUMENT[key] for key in ("type", "format", "name", "base")}
    found = houserecipe.decode(json.dumps(bare).encode(), "arc.json")
    assert (found.about, found.finish) == ("", None)
    item = {key: value for key, value in DOCUMENT["finish"][0].items() if key != "on"}
    assert read(finish=[item]).finish[0].on  # type: ignore[index]


@pytest.mark.parametrize(
    "changed",
    [{"type": "noctuary-volume"}, {"name": ""}, {"name": "x" * 61}, {"base": None},
     {"base": [{"operator": 1}]},
     {"base": [*DOCUMENT["base"], *DOCUMENT["base"]]}, {"finish": [*DOCUMENT["finish"], *DOCUMENT["finish"]]},
     {"base": [{"operator": "exposure", "version": 0, "values": {}}]},
     {"base": [{"operator": "exposure", "version": 1, "values": {"stops": [1]}}]}, {"format": 0}],
)  # fmt: skip
def test_a_document_that_is_none_is_refused_by_name(changed: dict[str, object]) -> None:
    with pytest.raises(DamagedFileError, match=r"arc\.json"):
        read(**changed)


def test_a_newer_or_an_endless_document_is_refused() -> None:
    with pytest.raises(ArchiveError, match="newer release"):
        read(format=2)
    with pytest.raises(DamagedFileError, match="larger than any house recipe"):
        houserecipe.decode(b" " * (houserecipe.MOST + 1), "arc.json")
