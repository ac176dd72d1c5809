"""The story that the demo tells: scenes of commands, each as it would be typed."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from archive.demo.cards import DemoNight
from archive.demo.looks import FIRST_LOOK, SECOND_LOOK
from archive.model.listing import SequenceLine
from archive.store.userplace import cache_folder
from archive.store.volumes import open_volume
from archive.workspace import open_archive


def _nothing() -> None:
    """The usual end of a scene."""


@dataclass(frozen=True, kw_only=True)
class Scene:
    """A heading, a sentence, and the commands of one scene; ``after`` is done when they have run.

    Commands are made when the scene begins, because they name what earlier scenes found.
    """

    title: str
    text: str = ""
    commands: Callable[[], Sequence[list[str]]]
    after: Callable[[], None] = _nothing


def tell(folder: Path, night: DemoNight) -> Iterator[Scene]:
    """The scenes in order.

    Parameters
    ----------
    folder : holds ``cards/`` already; ``archive/`` and ``pictures/`` are made beside it.
    """
    archive = folder / "archive"
    pictures = folder / "pictures"
    at = ["--archive", str(archive)]
    site = night.site

    def listed() -> list[SequenceLine]:
        with open_archive(archive) as workspace:
            return workspace.sequences()

    def sequence(camera: str) -> SequenceLine:
        return max((line for line in listed() if line.camera == camera), key=lambda line: line.frames)

    def best() -> str:
        line = sequence("north")
        return f"{line.address}#{round(line.frames * 0.56)}"

    def some() -> str:
        line = sequence("north")
        return f"{line.address}#{line.frames // 2}..{min(line.frames, line.frames // 2 + 31)}"

    def made(spec: str) -> list[Path]:
        with open_archive(archive) as workspace:
            paths = workspace.made_by(spec)
        return [archive / path for path in paths]

    yield Scene(
        title="A new archive, and the place",
        commands=lambda: [
            ["new", str(archive), "--name", "BLUE"],
            [
                "site",
                "add",
                site.name,
                f"--latitude={site.latitude:g}",
                f"--longitude={site.longitude:g}",
                f"--elevation={site.elevation_m:g}",
                f"--zone={site.zone}",
                *at,
            ],
        ],
    )
    yield Scene(
        title="Dawn: both cards are taken in",
        text="Every file is read once, written, read back from the drive and compared; then recorded.",
        commands=lambda: [
            ["ingest", str(card.folder), "--site", site.name, "--camera", name, "--card", card.name, *at]
            for name, card in zip(("north", "river"), night.cards, strict=True)
        ],
    )
    yield Scene(
        title="The same card again",
        text="What is held already is recognised by its bytes.",
        commands=lambda: [["ingest", str(night.cards[0].folder), "--site", site.name, *at]],
    )
    yield Scene(
        title="What the night was", commands=lambda: [["nights", *at], ["sequences", night.night, *at]]
    )
    yield Scene(
        title="A clock that was wrong",
        text=f"The river camera's clock was {night.clock_error_s:g} s slow, as a photographed clock shows. "
        "Listings move; no picture changes.",
        commands=lambda: [
            ["clock", "river", "--reads", night.clock_photo[0], "--true", night.clock_photo[1], *at],
            ["sequences", night.night, *at],
        ],
    )
    pictures.mkdir(parents=True, exist_ok=True)
    yield Scene(
        title="One frame is developed",
        text="The master is not touched; the recipe is a version in the journal.",
        commands=lambda: [
            ["rate", best(), "--rating", "5", *at],
            ["recipe", "set", best(), *FIRST_LOOK, "--note", "first look", *at],
            ["preview", best(), "--to", str(pictures / "before-and-after.jpg"), *at],
        ],
    )
    yield Scene(
        title="Its recipe is carried over the sequence",
        commands=lambda: [["recipe", "carry", best(), "--to", sequence("north").address, *at]],
    )
    yield Scene(
        title="A still, a frame set and a movie",
        commands=lambda: [
            ["export", best(), "--spec", "still-web", *at],
            ["export", best(), "--spec", "still-print", *at],
            ["export", some(), "--spec", "set-hd", *at],
            ["export", sequence("north").address, "--spec", "movie-hd", *at],
        ],
        after=lambda: _keep(made("still-web")[-1:], pictures, "client-favourite-final(2)"),
    )
    yield Scene(
        title="A change of mind",
        text="A little darker and cooler. Nothing is lost: what was made before is stale now, and says why.",
        commands=lambda: [
            ["recipe", "set", best(), *SECOND_LOOK, "--note", "closer to what it felt like", *at],
            ["recipe", "history", best(), *at],
            ["recipe", "carry", best(), "--to", sequence("north").address, *at],
            ["stale", *at],
        ],
    )
    yield Scene(
        title="Made again",
        commands=lambda: [["regenerate", "--current", *at], ["stale", *at]],
        after=lambda: _keep_all(made("still-web"), made("movie-hd"), pictures),
    )
    yield Scene(
        title="Years later: where does this file come from?",
        text="Someone sends back a picture under another name.",
        commands=lambda: [["lineage", str(next(pictures.glob("client-favourite*"))), *at]],
    )
    yield Scene(
        title="Is everything still what it was?",
        commands=lambda: [["audit", *at]],
        after=lambda: _lose_catalogue(archive),
    )
    yield Scene(
        title="The catalogue is lost, and made anew",
        text="It was only an index: hash lists and journal hold everything.",
        commands=lambda: [["rebuild", *at], ["nights", *at]],
    )


def _keep(files: Sequence[Path], pictures: Path, name: str) -> None:
    for file in files:
        shutil.copyfile(file, pictures / f"{name}{file.suffix}")


def _keep_all(stills: Sequence[Path], movies: Sequence[Path], pictures: Path) -> None:
    _keep(stills[-1:], pictures, "still")
    _keep(movies[-1:], pictures, "movie")


def _lose_catalogue(archive: Path) -> None:
    place = cache_folder(open_volume(archive).mark.archive)
    for file in place.glob("catalogue.sqlite*"):
        file.unlink()
