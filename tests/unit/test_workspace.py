from __future__ import annotations

from pathlib import Path

import pytest
from support.cards import archive_in
from support.exports import SEQUENCE, studio

from archive.errors import ArchiveError
from archive.workspace import describe_operators, list_specs, locate, new_archive, new_volume, open_archive


def test_a_volume_of_another_archive_is_refused(tmp_path: Path) -> None:
    new_archive(tmp_path / "a")
    new_archive(tmp_path / "b")
    with pytest.raises(ArchiveError, match="volume of another archive"):
        open_archive(tmp_path / "a", also=[tmp_path / "b"])


def test_a_new_folder_becomes_a_further_volume_and_the_same_twice_is_one(tmp_path: Path) -> None:
    first = new_archive(tmp_path / "a")
    with open_archive(tmp_path / "a", also=[tmp_path / "b", tmp_path / "b", tmp_path / "a"]) as workspace:
        assert [volume.root.name for volume in workspace.books.volumes] == ["a", "b"]
    assert new_volume(tmp_path / "c", first.mark.archive).mark.archive == first.mark.archive


def test_one_frame_tells_its_whole_story(tmp_path: Path) -> None:
    place = studio(tmp_path)
    workspace = place.workspace
    workspace.recipes.set(f"{SEQUENCE}#2", ["exposure.stops=0.5"])
    place.export(f"{SEQUENCE}#2", "still-web")
    workspace.statements.rate([f"{SEQUENCE}#2"], 5)
    story = workspace.story("NOCT0002.JPG")
    assert story.line.address == f"{SEQUENCE}#2"
    assert (story.line.rating, story.line.versions, story.line.zone) == (5, 1, "Europe/Oslo")
    assert [name for name, _ in story.copies] == ["BLUE"]
    assert len(story.recipe) == 1
    assert [made.spec.name for made in story.made] == ["still-web"]
    assert workspace.sequence(SEQUENCE).frames == 6
    assert workspace.nights()[0].frames == 6
    workspace.close()


def test_a_master_on_a_volume_that_is_not_mounted_says_where_it_was_seen(tmp_path: Path) -> None:
    place = studio(tmp_path)
    frame = place.workspace.frame("NOCT0002.JPG")
    place.workspace.close()
    with open_archive(place.root, also=[tmp_path / "b"]) as workspace:
        workspace.statements.rate([SEQUENCE], 1)
    place.root.rename(tmp_path / "unplugged")
    with open_archive(tmp_path / "b") as workspace:
        with pytest.raises(ArchiveError, match="last seen on BLUE"):
            workspace.books.master_bytes(frame)
        workspace.custody.rebuild(lambda *_: None)
        with pytest.raises(ArchiveError, match="last seen on BLUE"):
            workspace.books.master_bytes(frame)


def test_a_volume_that_was_named_before_is_found_read_and_kept_up_to_date(tmp_path: Path) -> None:
    place = studio(tmp_path)
    frame = place.workspace.frame("NOCT0002.JPG")
    place.workspace.close()
    with open_archive(place.root, also=[tmp_path / "b"]):
        pass
    with open_archive(tmp_path / "b") as workspace:
        assert [volume.root for volume in workspace.books.volumes] == [tmp_path / "b"]
        assert [volume.root for volume in workspace.books.beside] == [place.root]
        assert workspace.books.master_bytes(frame) == place.master("NOCT0002.JPG").read_bytes()
        made = workspace.statements.rate([SEQUENCE], 3)
        assert workspace.custody.audit(lambda *_: None).volumes == ("b", "BLUE")
    assert len(made) == 6
    assert place.entries("rating") == 1
    journals = [
        sorted(p.name for p in (root / "journal").rglob("*.json")) for root in (place.root, tmp_path / "b")
    ]
    assert journals[0] == journals[1]


def test_a_volume_that_cannot_get_the_journal_does_not_stand_in_the_way(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    place = studio(tmp_path)
    place.workspace.close()
    with open_archive(place.root, also=[tmp_path / "b"]):
        pass

    def refused(*_: object, **__: object) -> None:
        raise ArchiveError("BLUE cannot be written: read-only.")

    with open_archive(tmp_path / "b") as workspace:
        workspace.statements.rate([SEQUENCE], 3)
        monkeypatch.setattr("archive.catalogue.books.unite", refused)
    assert "could not be brought up to date: BLUE cannot be written" in capsys.readouterr().err
    monkeypatch.undo()


def test_a_catalogue_that_cannot_be_opened_is_given_up_by_a_rebuild(tmp_path: Path) -> None:
    place = studio(tmp_path)
    database = Path(str(place.workspace.books.catalogue.engine.url.database))
    place.workspace.close()
    database.write_bytes(b"no database at all" * 1000)
    with pytest.raises(ArchiveError, match="catalogue is damaged"):
        open_archive(place.root)
    with open_archive(place.root, anew=True) as workspace:
        assert workspace.custody.rebuild(lambda *_: None).frames == 6


def test_a_closed_workspace_can_be_opened_again(tmp_path: Path) -> None:
    archive_in(tmp_path / "a").close()
    with open_archive(tmp_path / "a") as workspace:
        assert [site.name for site in workspace.books.catalogue.sites()] == ["River bend"]


def test_what_lies_below_can_be_had_from_here(tmp_path: Path) -> None:
    assert locate(new_archive(tmp_path / "a").root / "masters") == tmp_path / "a"
    assert [each.name for each in describe_operators("exposure")] == ["exposure"]
    assert {spec.name for spec in list_specs()} >= {"still-web", "movie-hd"}
    with pytest.raises(ArchiveError, match="There is no archive in"):
        open_archive(tmp_path)
