from __future__ import annotations

import pytest

from archive.errors import UsageError
from archive.exports.specs import ENDINGS, spec_named, specs


def test_every_spec_is_found_by_its_own_name_and_has_an_ending() -> None:
    names = [spec.name for spec in specs()]
    assert len(set(names)) == len(names)
    for spec in specs():
        assert spec_named(spec.name) is spec
        assert spec.container in ENDINGS


def test_every_product_has_a_spec() -> None:
    assert {spec.product for spec in specs()} == {"still", "set", "movie"}


def test_an_unknown_spec_is_refused_with_those_there_are() -> None:
    with pytest.raises(UsageError) as caught:
        spec_named("still\x1bweb")
    assert "still\\x1bweb" in caught.value.message
    assert "still-web, still-print, set-hd, movie-hd" in caught.value.hint
