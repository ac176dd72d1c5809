"""Which volumes lie on one physical thing: copies on one device are lost together, and count as one."""

from __future__ import annotations

import shlex
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from archive.catalogue.books import Books
from archive.errors import ArchiveError, UsageError, shown
from archive.model.entry import Change, Draft
from archive.store import userplace
from archive.store.drives import Footing, card_under, footing
from archive.store.volumes import Volume, open_volume

_LONGEST = 100


@dataclass(frozen=True, kw_only=True)
class Device:
    """What a volume lies on; ``key`` is equal for volumes on one device.

    ``counts`` is False where copies there would go with the card, or nothing is known of it. ``apart`` is
    False where it cannot be told from others: it counts when it is the only one. ``doubt`` says why.
    """

    key: str
    name: str
    declared: bool
    counts: bool = True
    apart: bool = True
    doubt: str = ""


def devices_of(
    books: Books, wanted: Iterable[str], mounted: Mapping[str, Volume], *, card: Path | None = None
) -> dict[str, Device]:
    """The device of each of these volumes.

    Volumes are on one device when their owner says so, and, whatever is declared, when they lie on one
    mounted file system or over one drive. Those whose drive is neither declared nor told by the system
    cannot be told apart. ``card`` is any folder of a card: what lies on that does not count.
    """
    volumes = sorted(wanted)
    stated = books.catalogue.layer("volume")
    named = {
        subject.removeprefix("volume:"): str(value["device"])
        for (subject, _), value in stated.items()
        if isinstance(value, dict) and value.get("device")
    }
    under = {v: on for v in volumes if v in mounted and (on := footing(mounted[v].root)) is not None}
    own = card_under(card) if card is not None else None
    one = _Groups()
    for volume in volumes:
        if volume in named:
            one.join(volume, f"name:{named[volume]}")
        if volume in under:
            one.join(volume, f"system:{under[volume].system}")
            for drive in under[volume].drives:
                one.join(volume, f"drive:{drive}")
    told = {one.of(volume) for volume in volumes if volume in named or _drives(under.get(volume))}
    found = {}
    for volume in volumes:
        name = shown(books.volume_name(volume))
        known = volume in named or volume in under
        apart = one.of(volume) in told
        on_card = own is not None and volume in under and _share(own, under[volume])
        doubt = ""
        if on_card:
            doubt = f"{name} lies on the card itself"
        elif not known:
            doubt = (
                f"which device {name} lies on is not known while it is not mounted: "
                f"say it with `{_to_type(books, volume)}`"
            )
        elif not apart:
            doubt = (
                f"which drive {name} lies on cannot be told by the system: "
                f"say it with `{_to_type(books, volume)}`"
            )
        found[volume] = Device(
            key=one.of(volume),
            name=shown(named[volume]) if volume in named else _called(name, under.get(volume)),
            declared=volume in named,
            counts=known and not on_card,
            apart=apart,
            doubt=doubt,
        )
    return found


def count(devices: Iterable[Device]) -> int:
    """How many different devices these are at the least."""
    counting = [device for device in devices if device.counts]
    apart = {device.key for device in counting if device.apart}
    return len(apart) or min(len(counting), 1)


def _drives(under: Footing | None) -> frozenset[str]:
    return under.drives if under is not None else frozenset()


def _share(card: Footing, volume: Footing) -> bool:
    return card.system == volume.system or bool(card.drives & volume.drives)


def _called(name: str, under: Footing | None) -> str:
    drives = sorted(_drives(under))
    if drives:
        return f"drive {' and '.join(drives)}"
    return f"the file system of {name}"


def _to_type(books: Books, volume: str) -> str:
    return f"noctuary volume device {shlex.quote(shown(books.volume_name(volume)))} NAME"


class _Groups:
    """Things that are the same, told in pairs."""

    def __init__(self) -> None:
        self._above: dict[str, str] = {}

    def of(self, thing: str) -> str:
        while thing in self._above:
            thing = self._above[thing]
        return thing

    def join(self, one: str, other: str) -> None:
        first, second = self.of(one), self.of(other)
        if first != second:
            self._above[max(first, second)] = min(first, second)


def other_volumes(books: Books) -> list[Volume]:
    """Volumes of this archive that lie where they were last mounted, and are not open; for reading only."""
    mine = {volume.id for volume in books.volumes}
    archive_id = books.home.mark.archive
    found = []
    for volume_id, root in userplace.remembered_mounts(archive_id).items():
        try:
            volume = open_volume(root)
        except (ArchiveError, OSError):
            continue
        if volume.mark.archive == archive_id and volume.id == volume_id and volume_id not in mine:
            found.append(volume)
    return found


def declare_device(books: Books, volume: str, device: str) -> str:
    """State what a volume lies on, as its owner calls it; gives the volume's id.

    Raises
    ------
    UsageError : for a volume that is not known, or an empty or endless name.
    """
    device = device.strip()
    if not device or len(device) > _LONGEST:
        raise UsageError(
            f"A device's name has 1 to {_LONGEST} characters.",
            hint="Nothing was changed. Call it as you would label it, such as `grey 4 TB drive`.",
        )
    volume_id, value = _volume_named(books, volume)
    if value.get("device") != device:
        change = Change(subjects=(f"volume:{volume_id}",), layer="volume", value={**value, "device": device})
        books.state(Draft(kind="volume", changes=(change,)))
    return volume_id


def _volume_named(books: Books, wanted: str) -> tuple[str, dict[str, object]]:
    known: dict[str, dict[str, object]] = {
        subject.removeprefix("volume:"): value
        for (subject, _), value in books.catalogue.layer("volume").items()
    }
    for volume in books.volumes:
        known.setdefault(volume.id, {"name": volume.name, "created": volume.mark.created})
    exact = [key for key, value in known.items() if value.get("name") == wanted]
    found = exact or [key for key in known if len(wanted) >= 8 and key.startswith(wanted)]
    if len(found) == 1:
        return found[0], known[found[0]]
    if found:
        listed = ", ".join(f"{key[:8]}" for key in sorted(found))
        raise UsageError(
            f"{len(found)} volumes are called {shown(wanted)}.",
            hint=f"Nothing was changed. Name one by the start of its id: {listed}.",
        )
    names = ", ".join(sorted(shown(str(value.get("name"))) for value in known.values()))
    raise UsageError(
        f"No volume is called {shown(wanted)}.", hint=f"Nothing was changed. Volumes here: {names}."
    )
