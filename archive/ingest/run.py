"""Cards taken in, one or several at a time: planned, copied, listed, stated. A rerun completes the rest."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path

from archive.errors import ArchiveError
from archive.ingest.card import Card
from archive.ingest.carrying import conclude, copy, safe_so_far
from archive.ingest.planning import Plan, make_plan, read_source
from archive.ingest.setting import Outcome, Setting
from archive.ingest.side_by_side import device_of, fitting, has_twin
from archive.ingest.stages import wait_for
from archive.ingest.unfinished import unfinished_on

_STAGE = "Copying and reading back"


def ingest_card(source: Path, setting: Setting) -> Outcome:
    """Take everything off one card that the archive does not hold yet.

    Order of durability: masters, hash list, journal; the caller brings the catalogue up afterwards.

    Raises
    ------
    UsageError : for a source that is no folder, or a camera name that cannot be given.
    ArchiveError : when a volume has no room or no volume can be written.
    """
    ((_, outcome),) = take_cards([source], lambda: setting)
    if isinstance(outcome, ArchiveError):
        raise outcome
    return outcome


def take_cards(
    sources: Sequence[Path],
    setting: Callable[[], Setting],
    *,
    device: Callable[[Path], int] = device_of,
) -> Iterator[tuple[Path, Outcome | ArchiveError]]:
    """Take in cards; gives what became of each, in the order they were named.

    Cards that lie on different devices are copied at the same time. One that fails does not stop the
    others. ``setting`` is asked anew before each card: it is to know what the cards before it brought.
    """
    left = list(sources)
    while left:
        first = setting()
        # What was interrupted is brought to its end first, by each card alone.
        alone = bool(unfinished_on(first.volumes))
        sizes = [device(source) for source in left]
        count = 1 if alone else fitting(sizes)
        taken = _together(left[:count], setting)
        left = left[len(taken) :]
        yield from taken


def _together(
    sources: Sequence[Path], setting: Callable[[], Setting]
) -> list[tuple[Path, Outcome | ArchiveError]]:
    """Take in as many of some cards as share no file, at the same time."""
    cards: list[tuple[Path, Card | ArchiveError]] = []
    for source in sources:
        try:
            card = read_source(source, setting())
        except ArchiveError as error:
            cards.append((source, error))
            continue
        others = [each for _, each in cards if isinstance(each, Card)]
        if has_twin(card, others):
            # Which of two equal files is the one held can only be told one after the other.
            break
        cards.append((source, card))
    plans: list[tuple[Path, Plan | ArchiveError, Setting]] = []
    made: list[Plan] = []
    try:
        for source, read in cards:
            here = setting()
            flying = frozenset(each.record.id for plan in made for each in plan.unfinished)
            here = replace(here, in_flight=flying)
            if isinstance(read, ArchiveError):
                plans.append((source, read, here))
                continue
            try:
                plan = make_plan(read, here, made)
            except ArchiveError as error:
                plans.append((source, error, here))
                continue
            made.append(plan)
            plans.append((source, plan, here))
        _copy_all([(plan, here) for _, plan, here in plans if isinstance(plan, Plan)])
        results: list[tuple[Path, Outcome | ArchiveError]] = []
        for source, planned, here in plans:
            try:
                result = conclude(planned, here) if isinstance(planned, Plan) else planned
            except ArchiveError as error:
                result = error
            results.append((source, result))
        return results
    except BaseException as error:
        if not isinstance(error, Exception):
            error.add_note(
                safe_so_far([(plan.errands, {v.id: v.name for v in plan.volumes}) for plan in made])
            )
        raise


def _copy_all(plans: Sequence[tuple[Plan, Setting]]) -> None:
    """Copy one plan here, several each in a thread of its own; one progress for all."""
    if not plans:
        return
    total = sum(errand.size for plan, _ in plans for errand in plan.errands)
    done = 0
    guard = threading.Lock()
    show = plans[0][1].progress

    def progressed(count: int) -> None:
        nonlocal done
        with guard:
            done += count
            show(_STAGE, done, total)

    if len(plans) == 1:
        copy(*plans[0], progressed)
        return
    stopping = threading.Event()
    errors: list[BaseException] = []

    def one(plan: Plan, setting: Setting, ended: threading.Event) -> None:
        try:
            copy(plan, setting, progressed)
        except BaseException as error:
            errors.append(error)
        finally:
            ended.set()

    def checkpoint() -> None:
        if stopping.is_set():
            raise _StoppedHereError

    begun: list[threading.Event] = []
    try:
        for number, (plan, here) in enumerate(plans, 1):
            ended = threading.Event()
            arguments = plan, replace(here, engine=replace(here.engine, checkpoint=checkpoint)), ended
            # A daemon: a second Ctrl-C must be able to end the program while a drive hangs.
            thread = threading.Thread(target=one, args=arguments, name=f"card {number}", daemon=True)
            begun.append(ended)
            _begin(thread, ended)
        for ended in begun:
            wait_for(ended)
    except BaseException:
        stopping.set()
        for ended in begun:
            wait_for(ended)
        raise
    if errors:
        raise errors[0]


def _begin(thread: threading.Thread, ended: threading.Event) -> None:
    try:
        thread.start()
    except BaseException:
        # Interrupted before the thread came to life, nobody else would say that it has ended.
        if thread.ident is None:
            ended.set()
        raise


class _StoppedHereError(BaseException):
    """The run is being stopped: a card's thread is to leave its work."""
