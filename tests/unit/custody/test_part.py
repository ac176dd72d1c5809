from __future__ import annotations

import shutil
from pathlib import Path

from support.exports import SEQUENCE, studio

from archive.store.userplace import cache_folder


def quiet(*_: object) -> None:
    pass


def test_a_rebuild_gives_every_table_back_as_it_was(tmp_path: Path) -> None:
    place = studio(tmp_path)
    workspace = place.workspace
    workspace.recipes.set(f"{SEQUENCE}#1", ["exposure.stops=0.5"])
    workspace.recipes.carry(f"{SEQUENCE}#1", SEQUENCE)
    workspace.statements.rate([SEQUENCE], 4)
    workspace.statements.set_clock(
        workspace.statements.camera_named("one"), reads="2026-03-18T22:00:00", true="2026-03-18T22:01:12"
    )
    place.export(SEQUENCE, "set-hd")
    workspace.custody.audit(quiet)
    before = workspace.books.catalogue.dump()
    report = workspace.custody.rebuild(quiet)
    after = workspace.books.catalogue.dump()
    assert after.keys() == before.keys()
    for table in before:
        assert after[table] == before[table], table
    assert (report.rolls, report.frames, report.sequences, report.faults) == (1, 6, 1, ())
    workspace.close()


def test_a_deleted_catalogue_is_made_anew_by_whatever_comes_next(tmp_path: Path) -> None:
    place = studio(tmp_path)
    place.workspace.statements.rate([SEQUENCE], 4)
    before = place.workspace.books.catalogue.dump()
    archive_id = place.workspace.books.home.mark.archive
    place.workspace.close()
    shutil.rmtree(cache_folder(archive_id))
    again = place.reopened()
    assert again.workspace.books.catalogue.dump() == before
    again.workspace.close()
