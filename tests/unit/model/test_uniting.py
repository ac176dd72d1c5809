"""Exit codes of a uniting and of a look into the journal."""

from __future__ import annotations

import pytest

from archive.errors import Exit
from archive.model.uniting import JournalView, UniteReport


@pytest.mark.parametrize(
    ("done", "faults", "code"),
    [(True, (), Exit.DONE), (True, ("one",), Exit.ATTENTION), (False, ("one",), Exit.REFUSED)],
)
def test_what_was_only_looked_at_is_refused_and_faults_need_someone(
    done: bool, faults: tuple[str, ...], code: Exit
) -> None:
    report = UniteReport(
        other="x", same_archive=done, done=done, entries=1, kinds=(), persons=(), faults=faults
    )
    assert report.exit_code is code


def test_what_is_noticed_needs_nobody() -> None:
    assert JournalView(entries=1, lines=(), faults=(), noticed=("a clock",)).exit_code is Exit.DONE
    assert JournalView(entries=1, lines=(), faults=("lost",), noticed=()).exit_code is Exit.ATTENTION
