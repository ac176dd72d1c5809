"""Every file of a card, accounted for: what became of it, and what the card's own hash lists say of it."""

from __future__ import annotations

from archive.errors import shown
from archive.ingest.card_history import check_histories
from archive.ingest.planning import Plan
from archive.model.results import TakenFile
from archive.store.volumes import MASTERS


def account(plan: Plan) -> None:
    """Put down in a plan's outcome which bytes the archive has now, once everything was copied.

    Files that were held already have no ``kept`` place here: where they lie is the catalogue's to say.
    """
    read = {**plan.digests}
    read |= {e.name: e.digest for e in plan.errands if e.digest is not None and not e.left}
    plan.outcome.histories = check_histories(plan.card, read)
    brought = {
        errand.name: errand
        for rolls in plan.rolls.values()
        for roll in rolls
        for _, errand in roll.pieces
        if errand.sound and not errand.left
    }
    for file in plan.card.files:
        digest = read.get(file.path)
        errand = brought.get(file.path)
        if digest is None or not (errand or file.path in plan.digests):
            continue
        plan.outcome.taken.append(
            TakenFile(
                path=shown(file.path),
                size=file.size,
                digest=digest,
                state="copied" if errand and errand.copied else "held",
                kept=errand.target.removeprefix(f"{MASTERS}/") if errand else "",
            )
        )
