"""Small true values for tests: ids, recipes, entries in their written form, rolls, a catalogue in memory."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

import xxhash
from sqlalchemy import create_engine
from sqlalchemy.pool import StaticPool

from archive.catalogue.index import Catalogue
from archive.catalogue.rows import Base
from archive.formats import entry as entry_format
from archive.model.capture import CaptureFacts, Role, Roll, RollFile, Selection
from archive.model.entry import OWN, SELECTION, SHARED, Change, Entry
from archive.model.identity import EntryId, FrameId
from archive.model.recipe import FinishItem, Foundation, OperatorValues, Ramp, Recipe, Value
from archive.model.roll import VolumeProof, roll_value

WRITER = "b7d1c0ffee0123456789abcdef012345"
CAMERA = "camera:3f2a9c1d7be04865"
OTHER_CAMERA = "camera:00aa11bb22cc33dd"
SITE = "site:river-bend"
FOUNDATION = Foundation(decoder="libraw", demosaic="directional-1", matrix="camera-1", generation=1)
STARTED = datetime(2026, 3, 18, 22, 0, 0, tzinfo=UTC)


def frame_id(number: int) -> FrameId:
    """The id of an invented frame."""
    return FrameId("xxh128:" + xxhash.xxh3_128_hexdigest(f"frame {number}".encode()))


def entry_id(number: int) -> EntryId:
    """The id of an entry that is nowhere held."""
    return EntryId("sha256:" + hashlib.sha256(f"entry {number}".encode()).hexdigest())


def step(name: str, **values: Value) -> OperatorValues:
    return OperatorValues(name=name, version=1, values=values)


def recipe(
    *base: OperatorValues,
    finish: Sequence[FinishItem] | None = None,
    ramps: Sequence[Ramp] = (),
    foundation: Foundation = FOUNDATION,
) -> Recipe:
    return Recipe(
        foundation=foundation,
        base=base,
        finish=None if finish is None else tuple(finish),
        ramps=tuple(ramps),
    )


def exposure(stops: float) -> Recipe:
    """A recipe of one operator."""
    return recipe(step("exposure", stops=stops))


def selection(*numbers: int, cadence_ms: int = 10_000) -> Selection:
    return Selection(
        frames=tuple(frame_id(number) for number in numbers),
        milliseconds=tuple(index * cadence_ms for index in range(len(numbers))),
    )


def entry(
    *changes: Change,
    kind: str = "rating",
    counter: int = 1,
    time: str = "2026-03-19T06:15:02Z",
    writer: str = WRITER,
    previous: EntryId | None = None,
    person: str = "Ingrid",
) -> Entry:
    """An entry as a reader gets it: written, and read again."""
    made, data = entry_format.encode(
        kind=kind,
        counter=counter,
        time=time,
        writer=writer,
        previous=previous,
        person=person,
        changes=tuple(changes),
    )
    return entry_format.decode(data, made.name)


def rating(number: int, value: int) -> Change:
    return Change(subjects=(frame_id(number),), layer="rating", value=value)


def own(
    number: int,
    developed: Recipe,
    *,
    builds_on: Sequence[EntryId] = (),
    in_sequence: bool = False,
    note: str = "",
    line: str = "main",
) -> Change:
    return Change(
        subjects=(frame_id(number),),
        layer=OWN,
        line=line,
        builds_on=tuple(builds_on),
        value={"recipe": developed.to_json(), "in_sequence": in_sequence, "note": note},
    )


def shared(
    chosen: Selection, developed: Recipe, *, builds_on: Sequence[EntryId] = ()
) -> tuple[Change, Change]:
    """A selection and the version that its frames share."""
    return (
        Change(subjects=(chosen.id,), layer=SELECTION, value=chosen.to_json()),
        Change(
            subjects=(chosen.id,),
            layer=SHARED,
            line="main",
            builds_on=tuple(builds_on),
            value={"recipe": developed.to_json(), "in_sequence": True, "note": ""},
        ),
    )


def site(zone: str = "Europe/Oslo", longitude: float = 18.9) -> Change:
    return Change(
        subjects=(SITE,),
        layer="site",
        value={
            "name": "River bend",
            "latitude": 69.6,
            "longitude": longitude,
            "elevation_m": 40,
            "zone": zone,
        },
    )


def camera(name: str = "north", camera_id: str = CAMERA) -> Change:
    return Change(
        subjects=(camera_id,),
        layer="camera",
        value={"name": name, "make": "Invented", "model": "One", "serial": "000417"},
    )


def roll_file(number: int, *, seconds: float, exposure_s: float = 8) -> RollFile:
    """A raw master taken so many seconds after ``STARTED``."""
    moment = STARTED + timedelta(seconds=seconds)
    return RollFile(
        path=f"100NOCTU/NOCT{number:04d}.DNG",
        size=1000 + number,
        digest=frame_id(number),
        role=Role.RAW,
        modified=moment.isoformat(timespec="milliseconds"),
        facts=CaptureFacts(
            taken=moment.replace(tzinfo=None).isoformat(),
            taken_from="original",
            offset="+00:00",
            exposure_s=exposure_s,
            f_number=2.8,
            iso=3200,
            focal_mm=20,
        ),
    )


def roll(
    files: Sequence[RollFile], *, token: str = "7c1f9a2e", camera_id: str = CAMERA, at: str | None = SITE
) -> Roll:
    return Roll(
        id=token,
        folder=f"2026-03-18/north-{token}",
        camera=camera_id,
        night="2026-03-18",
        site=at,
        card="A07",
        files=tuple(files),
    )


def ingest(held: Roll) -> Change:
    """The statement that an ingest makes about a roll."""
    proofs = (VolumeProof(volume="0a1b2c3d4e5f60718293a4b5c6d7e8f9", grade="direct"),)
    value = roll_value(
        held, started="2026-03-19T06:01:50+00:00", ended="2026-03-19T06:02:11+00:00", volumes=proofs
    )
    return Change(subjects=(f"roll:{held.id}",), layer="ingest", value=value)


def sequence_roll(numbers: Sequence[int], *, cadence_s: float = 10, token: str = "7c1f9a2e") -> Roll:
    """A roll whose frames follow each other at a steady cadence."""
    return roll([roll_file(n, seconds=i * cadence_s) for i, n in enumerate(numbers)], token=token)


def memory_catalogue() -> Catalogue:
    """An empty catalogue that vanishes with its last reference."""
    engine = create_engine("sqlite://", poolclass=StaticPool, connect_args={"check_same_thread": False})
    Base.metadata.create_all(engine)
    return Catalogue(engine)


def delivered(
    *, path: str = "exports/a.jpg", counter_free: Mapping[str, Any] | None = None, spec: Mapping[str, Any]
) -> dict[str, Any]:
    """The value of one delivered batch with one output of frame 1."""
    from archive.model.identity import canonical, sha256_id
    from archive.model.recipe import EffectiveRecipe

    document = EffectiveRecipe(foundation=FOUNDATION, base=(step("exposure", stops=0.5),)).to_json()
    key = sha256_id(canonical(document))
    output: dict[str, Any] = {
        "path": path,
        "size": 17,
        "digest": frame_id(900),
        "file_key": entry_id(901),
        "document_id": "xmp.did:1",
        "instance_id": "xmp.iid:1",
        "inputs": [
            {"frame": frame_id(1), "pixel_key": entry_id(902), "effective": key, "versions": [entry_id(3)]}
        ],
    }
    output |= counter_free or {}
    return {
        "spec": dict(spec),
        "made": "2026-03-20T10:00:00Z",
        "effective": {key: document},
        "outputs": [output],
    }


class FakeClock:
    """A clock that goes on by ``tick`` at each look."""

    def __init__(self, start: datetime = STARTED, tick: timedelta = timedelta(seconds=1)) -> None:
        self.moment = start
        self.tick = tick

    def __call__(self) -> datetime:
        now = self.moment
        self.moment += self.tick
        return now
