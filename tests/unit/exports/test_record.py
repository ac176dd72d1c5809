from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from support.exports import SEQUENCE, Studio, studio

from archive.catalogue.resolve import find
from archive.engine.foundation import current_foundation
from archive.exports import record
from archive.exports.plan import Plan, make_plan
from archive.exports.record import Recorder, begin_or_resume
from archive.exports.specs import spec_named


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Studio]:
    made = studio(tmp_path_factory.mktemp("record"))
    yield made
    made.workspace.close()


def plan(place: Studio, spec: str) -> Plan:
    found = find(place.workspace.books.catalogue, SEQUENCE)
    return make_plan(
        place.workspace.books, found.frames, found.sequence, spec_named(spec), current_foundation()
    )


def test_an_unfinished_job_is_taken_up_and_an_ended_one_is_not(place: Studio) -> None:
    books, wanted = place.workspace.books, plan(place, "set-hd")
    job = begin_or_resume(books, wanted)
    assert begin_or_resume(books, wanted) == job
    other = begin_or_resume(books, plan(place, "movie-hd"))
    assert other.id != job.id
    Recorder(books, job, wanted.spec).end(failed=[])
    assert begin_or_resume(books, wanted).id != job.id


def test_outputs_are_recorded_in_batches_and_the_rest_at_the_end(
    place: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(record, "_BATCH", 4)
    books, wanted = place.workspace.books, plan(place, "set-hd")
    before = place.entries("job-delivered")
    with Recorder(books, begin_or_resume(books, wanted), wanted.spec) as recorder:
        for file in wanted.files:
            recorder.delivered(file, digest="xxh128:" + "0" * 32, size=1)
        assert place.entries("job-delivered") == before + 1
    assert place.entries("job-delivered") == before + 2
    assert sorted(place.workspace.made_by("set-hd")) == sorted(file.path for file in wanted.files)


def test_only_the_job_itself_recognises_its_file(place: Studio, tmp_path: Path) -> None:
    report = place.export(f"{SEQUENCE}#1", "still-web")
    books = place.workspace.books
    found = find(books.catalogue, f"{SEQUENCE}#1")
    (file,) = make_plan(books, found.frames, None, spec_named("still-web"), current_foundation()).files
    assert report.job is not None
    maker = Recorder(books, record.Job(id=report.job, made=""), file.spec)
    stranger = Recorder(books, record.Job(id="f" * 32, made=""), file.spec)
    assert maker.made_here(file)
    assert not stranger.made_here(file)
