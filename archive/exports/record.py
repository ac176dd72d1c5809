"""An export job on record: begun, its outputs in batches, ended; or found unfinished and gone on with."""

from __future__ import annotations

import time
from dataclasses import dataclass
from types import TracebackType
from typing import Any

from archive.catalogue.books import Books
from archive.catalogue.lineage import derivatives
from archive.errors import ArchiveError
from archive.exports.make import MadeBytes, Marks
from archive.exports.plan import Plan, PlannedFile
from archive.formats.provenance import find_packet, read_packet
from archive.model.entry import Change, Draft
from archive.model.identity import new_token
from archive.model.product import Spec
from archive.store.digest import digest_bytes
from archive.store.durable import read_bytes

_BATCH = 64
_SECONDS = 10.0


@dataclass(frozen=True, kw_only=True)
class Job:
    """One run of a spec over frames; ``made`` is the time written into every file of it."""

    id: str
    made: str


def unfinished(books: Books, plan: Plan) -> Job | None:
    """The job of this very plan that was begun and never ended."""
    ended = {subject for subject, _ in books.catalogue.layer("job-ended")}
    for (subject, _), value in books.catalogue.layer("job").items():
        if subject not in ended and value["plan"] == plan.key:
            return Job(id=subject.removeprefix("job:"), made=value["made"])
    return None


def begin_or_resume(books: Books, plan: Plan) -> Job:
    """The unfinished job of this very plan, or a new one."""
    left = unfinished(books, plan)
    if left is not None:
        return left
    job = Job(id=new_token(), made=time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime()))
    value = {"spec": plan.spec.to_json(), "plan": plan.key, "outputs": len(plan.files), "made": job.made}
    books.state(
        Draft(kind="job-started", changes=(Change(subjects=(f"job:{job.id}",), layer="job", value=value),))
    )
    return job


class Recorder:
    """Puts outputs on record in batches of at most 64 files or 10 seconds."""

    def __init__(self, books: Books, job: Job, spec: Spec) -> None:
        self._books = books
        self._job = job
        self._spec = spec
        self._waiting: list[dict[str, Any]] = []
        self._effective: dict[str, Any] = {}
        self._since = time.monotonic()

    def __enter__(self) -> Recorder:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.flush()

    def marks(self, file: PlannedFile) -> Marks:
        """What this job writes into a file about itself."""
        return Marks(
            document_id=file.document_id, instance_id=file.instance_id(self._job.id), made=self._job.made
        )

    def made_here(self, file: PlannedFile) -> bool:
        """The file at the planned path carries the id that only this job gives to only this file."""
        with self._books.home.disk.open(file.path) as stream:
            found = find_packet(stream)
        if found is None:
            return False
        try:
            return read_packet(found).instance_id == file.instance_id(self._job.id)
        except ArchiveError:
            return False

    def same_bytes(self, file: PlannedFile) -> MadeBytes | None:
        """A sound file of the same key that was made before: copying it is as good as rendering."""
        for derivative in derivatives(self._books.catalogue, file_key=file.file_key):
            try:
                data = read_bytes(self._books.home.disk, derivative.path)
            except (OSError, ArchiveError):
                continue
            if digest_bytes(data) == derivative.digest:
                return MadeBytes(
                    data=data,
                    digest=derivative.digest,
                    document_id=derivative.document_id,
                    instance_id=derivative.instance_id,
                )
        return None

    def delivered(
        self, file: PlannedFile, *, digest: str, size: int, ids: tuple[str, str] | None = None
    ) -> None:
        """Put one published file on record; ``ids`` are those inside it, if another job made its bytes."""
        document_id, instance_id = ids or (file.document_id, file.instance_id(self._job.id))
        self._effective |= {item.effective_key: item.effective.to_json() for item in file.inputs}
        self._waiting.append(
            {
                "path": file.path,
                "size": size,
                "digest": digest,
                "file_key": file.file_key,
                "document_id": document_id,
                "instance_id": instance_id,
                **({"texts": dict(file.texts)} if file.texts else {}),
                "inputs": [
                    {
                        "frame": item.frame.id,
                        "pixel_key": item.pixel_key,
                        "effective": item.effective_key,
                        "versions": list(item.versions),
                    }
                    for item in file.inputs
                ],
            }
        )
        if len(self._waiting) >= _BATCH or time.monotonic() - self._since > _SECONDS:
            self.flush()

    def flush(self) -> None:
        """Write what waits."""
        self._since = time.monotonic()
        if not self._waiting:
            return
        value = {
            "spec": self._spec.to_json(),
            "made": self._job.made,
            "effective": self._effective,
            "outputs": self._waiting,
        }
        change = Change(subjects=(f"job:{self._job.id}",), layer="delivered", line=new_token(8), value=value)
        self._books.state(Draft(kind="job-delivered", changes=(change,)))
        self._waiting, self._effective = [], {}

    def end(self, *, failed: list[str]) -> None:
        """The job is over: what is to be made of the same plan later is a new job."""
        self.flush()
        change = Change(subjects=(f"job:{self._job.id}",), layer="job-ended", value={"failed": failed})
        self._books.state(Draft(kind="job-ended", changes=(change,)))
