"""Ending unfinished ingests whose cards are gone: what lies proven is listed and stated, the rest is told."""

from __future__ import annotations

from pathlib import Path

from archive.ingest.card import Card
from archive.ingest.carrying import conclude, copy
from archive.ingest.planning import make_plan
from archive.ingest.setting import Outcome, Setting

_NO_CARD = Card(source=Path(), files=(), ignored=(), failed=())


def close_unfinished(setting: Setting) -> Outcome:
    """List and state what lies of every unfinished ingest, and forget their records.

    Nothing is copied and nothing published is removed. Files that lie on some volumes only are listed there
    and told as failed, like those that lie nowhere.

    Raises
    ------
    ArchiveError : when no volume can be written.
    """
    plan = make_plan(_NO_CARD, setting, close_all=True)
    total = sum(errand.size for errand in plan.errands)
    done = 0

    def progressed(count: int) -> None:
        nonlocal done
        done += count
        setting.progress("Reading back what lies there", done, total)

    copy(plan, setting, progressed)
    return conclude(plan, setting)
