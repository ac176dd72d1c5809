from __future__ import annotations

import pytest

from archive.errors import Exit
from archive.model.erasing import EraseAnswer


@pytest.mark.parametrize("yes, code", [(True, Exit.DONE), (False, Exit.ATTENTION)])
def test_only_a_yes_ends_with_the_code_of_done(yes: bool, code: Exit) -> None:
    answer = EraseAnswer(
        source="CARD",
        may_erase=yes,
        checked="2026-03-19T06:15:02Z",
        files=1,
        size=1,
        wanted=2,
        within_s=0,
        card_grade="direct",
        evidence=(),
        lacking=(),
        ignored=(),
    )
    assert answer.exit_code is code
