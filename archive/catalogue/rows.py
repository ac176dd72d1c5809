"""The catalogue's tables. Rows have no behaviour and never leave this package."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

from sqlalchemy import BigInteger, Dialect, Index, String, Text, TypeDecorator
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


_MILLISECOND = timedelta(milliseconds=1)


def milliseconds(moment: datetime | None) -> int | None:
    """A moment as it is kept; ValueError for one without zone."""
    if moment is None:
        return None
    if moment.tzinfo is None:
        raise ValueError("a time without zone cannot be catalogued")
    return (moment - _EPOCH) // _MILLISECOND


def instant(kept: int) -> datetime:
    """The moment that is kept as so many milliseconds."""
    return _EPOCH + timedelta(milliseconds=kept)


class Instant(TypeDecorator[datetime]):
    """A moment kept as whole milliseconds since 1970 UTC; naive times are refused."""

    impl = BigInteger
    cache_ok = True

    def process_bind_param(self, value: datetime | None, _dialect: Dialect) -> int | None:
        return milliseconds(value)

    def process_result_value(self, value: Any, _dialect: Dialect) -> datetime | None:
        return None if value is None else instant(value)


class Base(DeclarativeBase):
    """Ids and documents are text; every column is filled unless it says otherwise."""

    type_annotation_map = {datetime: Instant, int: BigInteger}  # noqa: RUF012 - read by SQLAlchemy


class MarkRow(Base):
    """Something to remember about the catalogue itself."""

    __tablename__ = "mark"
    name: Mapped[str] = mapped_column(String(40), primary_key=True)
    value: Mapped[str] = mapped_column(String(80))


class EntryRow(Base):
    """One journal entry that was applied."""

    __tablename__ = "entry"
    id: Mapped[str] = mapped_column(String(80), primary_key=True)
    name: Mapped[str] = mapped_column(String(120), unique=True)
    counter: Mapped[int]
    kind: Mapped[str] = mapped_column(String(40))
    time: Mapped[str] = mapped_column(String(20))
    writer: Mapped[str] = mapped_column(String(64))
    previous: Mapped[str | None] = mapped_column(String(80))
    person: Mapped[str] = mapped_column(Text)


class FaultRow(Base):
    """One entry or hash list that is set aside, and why; ``place`` is ``journal`` or a volume's id."""

    __tablename__ = "fault"
    place: Mapped[str] = mapped_column(String(64), primary_key=True)
    name: Mapped[str] = mapped_column(String(400), primary_key=True)
    message: Mapped[str] = mapped_column(Text)


class JournalFolderRow(Base):
    """One folder of a volume's journal, whose entries were all taken in; ``mark`` tells if it was changed.

    ``entries`` are names, a line each; ``others`` a list of what is no entry and of the folders below.
    """

    __tablename__ = "journal_folder"
    volume: Mapped[str] = mapped_column(String(40), primary_key=True)
    path: Mapped[str] = mapped_column(String(400), primary_key=True)
    mark: Mapped[str] = mapped_column(String(120))
    entries: Mapped[str] = mapped_column(Text)
    others: Mapped[str] = mapped_column(Text)


class StatementRow(Base):
    """The winning register value of a (subject, layer, line)."""

    __tablename__ = "statement"
    subject: Mapped[str] = mapped_column(String(120), primary_key=True)
    layer: Mapped[str] = mapped_column(String(40), primary_key=True)
    line: Mapped[str] = mapped_column(String(200), primary_key=True)
    counter: Mapped[int]
    entry: Mapped[str] = mapped_column(String(80))
    value: Mapped[str] = mapped_column(Text)
    __table_args__ = (Index("statement_by_layer", "layer"),)


class RecipeRow(Base):
    """One recipe document, stored once for all frames that share it."""

    __tablename__ = "recipe"
    key: Mapped[str] = mapped_column(String(80), primary_key=True)
    document: Mapped[str] = mapped_column(Text)


class VersionRow(Base):
    """One recipe version as it applies to one frame."""

    __tablename__ = "version"
    frame: Mapped[str] = mapped_column(String(50), primary_key=True)
    layer: Mapped[str] = mapped_column(String(40), primary_key=True)
    line: Mapped[str] = mapped_column(String(200), primary_key=True)
    entry: Mapped[str] = mapped_column(String(80), primary_key=True)
    counter: Mapped[int]
    time: Mapped[str] = mapped_column(String(20))
    person: Mapped[str] = mapped_column(Text)
    recipe: Mapped[str] = mapped_column(String(80))
    in_sequence: Mapped[bool]
    selection: Mapped[str | None] = mapped_column(String(100))
    note: Mapped[str] = mapped_column(Text)


class BuildsOnRow(Base):
    """For one frame, ``entry`` replaces ``older``."""

    __tablename__ = "builds_on"
    frame: Mapped[str] = mapped_column(String(50), primary_key=True)
    layer: Mapped[str] = mapped_column(String(40), primary_key=True)
    line: Mapped[str] = mapped_column(String(200), primary_key=True)
    older: Mapped[str] = mapped_column(String(80), primary_key=True)
    entry: Mapped[str] = mapped_column(String(80), primary_key=True)


class ContestRow(Base):
    """A frame's layer and line of which more than one version is current."""

    __tablename__ = "contest"
    frame: Mapped[str] = mapped_column(String(50), primary_key=True)
    layer: Mapped[str] = mapped_column(String(40), primary_key=True)
    line: Mapped[str] = mapped_column(String(200), primary_key=True)


class SelectionFrameRow(Base):
    """One frame of a selection, in its place."""

    __tablename__ = "selection_frame"
    selection: Mapped[str] = mapped_column(String(100), primary_key=True)
    position: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    frame: Mapped[str] = mapped_column(String(50))
    milliseconds: Mapped[int]


class RollRow(Base):
    """One roll, as its ingest entry tells it."""

    __tablename__ = "roll"
    id: Mapped[str] = mapped_column(String(40), primary_key=True)
    folder: Mapped[str] = mapped_column(String(400), unique=True)
    camera: Mapped[str] = mapped_column(String(80), index=True)
    night: Mapped[str] = mapped_column(String(10))
    site: Mapped[str | None] = mapped_column(String(80))
    card: Mapped[str | None] = mapped_column(Text)
    counter: Mapped[int]
    entry: Mapped[str] = mapped_column(String(80))


class FileRow(Base):
    """One file of a roll."""

    __tablename__ = "file"
    roll: Mapped[str] = mapped_column(String(40), primary_key=True)
    path: Mapped[str] = mapped_column(String(1000), primary_key=True)
    size: Mapped[int]
    digest: Mapped[str] = mapped_column(String(50), index=True)
    role: Mapped[str] = mapped_column(String(20))
    modified: Mapped[str] = mapped_column(String(40))
    original: Mapped[str | None] = mapped_column(Text)
    facts: Mapped[str | None] = mapped_column(Text)
    companion_of: Mapped[str | None] = mapped_column(String(50), index=True)


class FrameRow(Base):
    """One frame as it stands after clocks, sites, corrected facts and sequences; altitudes in degrees.

    ``developed`` and ``exported`` tell whether a recipe applies to it, and whether something was made of it;
    ``facts`` are only there where they were corrected, its file has them else.
    """

    __tablename__ = "frame"
    id: Mapped[str] = mapped_column(String(50), primary_key=True)
    camera: Mapped[str] = mapped_column(String(80))
    roll: Mapped[str] = mapped_column(String(40))
    path: Mapped[str] = mapped_column(String(1000))
    name: Mapped[str] = mapped_column(String(300), index=True)
    role: Mapped[str] = mapped_column(String(20))
    taken: Mapped[datetime]
    time_source: Mapped[str] = mapped_column(String(10))
    night: Mapped[str] = mapped_column(String(10))
    sequence: Mapped[str | None] = mapped_column(String(120))
    position: Mapped[int | None]
    exposure_s: Mapped[float | None]
    f_number: Mapped[float | None]
    iso: Mapped[int | None]
    focal_mm: Mapped[float | None]
    rating: Mapped[int]
    developed: Mapped[bool]
    exported: Mapped[bool]
    sun: Mapped[float | None]
    moon: Mapped[float | None]
    facts: Mapped[str | None] = mapped_column(Text)
    __table_args__ = (
        Index("frame_by_roll", "roll"),
        Index("frame_by_camera", "camera", "taken"),
        Index("frame_by_night", "night", "camera", "taken"),
        Index("frame_by_sequence", "sequence", "position"),
    )


class FrameKeywordRow(Base):
    """One keyword that a frame has now."""

    __tablename__ = "frame_keyword"
    frame: Mapped[str] = mapped_column(String(50), primary_key=True)
    word: Mapped[str] = mapped_column(String(200), primary_key=True)
    __table_args__ = ({"sqlite_with_rowid": False},)


class PairRow(Base):
    """A file that is said to belong to a frame that came in apart; ``counts`` while that frame is held."""

    __tablename__ = "pair"
    companion: Mapped[str] = mapped_column(String(50), primary_key=True)
    frame: Mapped[str | None] = mapped_column(String(50), index=True)
    counts: Mapped[bool]
    counter: Mapped[int]
    entry: Mapped[str] = mapped_column(String(80))


class SequenceRow(Base):
    """One sequence; ``key`` is ``NIGHT/CAMERA/NUMBER`` with the camera's id."""

    __tablename__ = "sequence"
    key: Mapped[str] = mapped_column(String(120), primary_key=True)
    night: Mapped[str] = mapped_column(String(10), index=True)
    camera: Mapped[str] = mapped_column(String(80))
    number: Mapped[int]
    first: Mapped[datetime]
    last: Mapped[datetime]
    frames: Mapped[int]
    missed: Mapped[int]
    cadence_s: Mapped[float]
    site: Mapped[str | None] = mapped_column(String(80))
    __table_args__ = (Index("sequence_by_camera", "camera", "first"),)


class NightCameraRow(Base):
    """What the frames of one camera in one night have in common: how many, from when to when, between what.

    Of each thing that can be asked of a frame the least and the greatest value, none where no frame has it;
    ``sites`` counts the sites of its rolls, with nowhere as one.
    """

    __tablename__ = "night_camera"
    night: Mapped[str] = mapped_column(String(10), primary_key=True)
    camera: Mapped[str] = mapped_column(String(80), primary_key=True)
    first: Mapped[datetime] = mapped_column(index=True)
    last: Mapped[datetime]
    frames: Mapped[int]
    sequences: Mapped[int]
    developed: Mapped[int]
    exported: Mapped[int]
    sites: Mapped[int]
    site: Mapped[str | None] = mapped_column(String(80))
    name_low: Mapped[str] = mapped_column(String(300))
    name_high: Mapped[str] = mapped_column(String(300))
    number_low: Mapped[int | None]
    number_high: Mapped[int | None]
    rating_low: Mapped[int]
    rating_high: Mapped[int]
    exposure_s_low: Mapped[float | None]
    exposure_s_high: Mapped[float | None]
    f_number_low: Mapped[float | None]
    f_number_high: Mapped[float | None]
    iso_low: Mapped[int | None]
    iso_high: Mapped[int | None]
    focal_mm_low: Mapped[float | None]
    focal_mm_high: Mapped[float | None]
    sun_low: Mapped[float | None]
    sun_high: Mapped[float | None]
    moon_low: Mapped[float | None]
    moon_high: Mapped[float | None]


class NightWordRow(Base):
    """A keyword that a frame of a camera in a night has."""

    __tablename__ = "night_word"
    night: Mapped[str] = mapped_column(String(10), primary_key=True)
    camera: Mapped[str] = mapped_column(String(80), primary_key=True)
    word: Mapped[str] = mapped_column(String(200), primary_key=True)
    __table_args__ = ({"sqlite_with_rowid": False},)


class HoldingRow(Base):
    """One file that a volume's own hash lists say it holds."""

    __tablename__ = "holding"
    volume: Mapped[str] = mapped_column(String(40), primary_key=True)
    folder: Mapped[str] = mapped_column(String(400), primary_key=True)
    path: Mapped[str] = mapped_column(String(1000), primary_key=True)
    digest: Mapped[str] = mapped_column(String(50), index=True)
    size: Mapped[int]


class ChainRow(Base):
    """The state of a roll's hash-list chain when it was last read; another state means: read it again."""

    __tablename__ = "chain"
    volume: Mapped[str] = mapped_column(String(40), primary_key=True)
    folder: Mapped[str] = mapped_column(String(400), primary_key=True)
    state: Mapped[str] = mapped_column(String(80))


class EffectiveRow(Base):
    """One effective recipe that something was made with."""

    __tablename__ = "effective"
    key: Mapped[str] = mapped_column(String(80), primary_key=True)
    document: Mapped[str] = mapped_column(Text)


class DerivativeRow(Base):
    """One file that was made; ``path`` is below the volume."""

    __tablename__ = "derivative"
    job: Mapped[str] = mapped_column(String(40), primary_key=True)
    path: Mapped[str] = mapped_column(String(1000), primary_key=True)
    size: Mapped[int]
    digest: Mapped[str] = mapped_column(String(50), index=True)
    spec: Mapped[str] = mapped_column(Text)
    file_key: Mapped[str] = mapped_column(String(80), index=True)
    made: Mapped[str] = mapped_column(String(20))
    document_id: Mapped[str] = mapped_column(String(80), index=True)
    instance_id: Mapped[str] = mapped_column(String(80), index=True)
    texts: Mapped[str | None] = mapped_column(Text)
    counter: Mapped[int]
    entry: Mapped[str] = mapped_column(String(80))


class OriginRow(Base):
    """One edge of lineage: a derivative's input, in order."""

    __tablename__ = "origin"
    job: Mapped[str] = mapped_column(String(40), primary_key=True)
    path: Mapped[str] = mapped_column(String(1000), primary_key=True)
    position: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    frame: Mapped[str] = mapped_column(String(50), index=True)
    pixel_key: Mapped[str] = mapped_column(String(80), index=True)
    effective: Mapped[str] = mapped_column(String(80))
    versions: Mapped[str] = mapped_column(Text)
