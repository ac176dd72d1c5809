"""A first night with the Python API: an archive, a card, a recipe, a picture, and the way back.

Run it with ``python examples/first_night.py NEW-FOLDER``. It makes its own small card.
"""

import sys
from pathlib import Path

import archive
from archive.demo.cards import write_cards
from archive.workspace import new_archive


def main(folder: Path) -> Path:
    night = write_cards(folder / "cards", size=(192, 128), frames=12)
    new_archive(folder / "archive", name="BLUE")
    with archive.open_archive(folder / "archive", person="me") as home:
        site = home.statements.add_site(
            night.site.name,
            night.site.latitude,
            night.site.longitude,
            night.site.elevation_m,
            night.site.zone,
        )
        for card in night.cards:
            (report,) = home.ingest.take([card.folder], site=site, camera_name=card.camera)
            print(f"{card.name}: {report.copied} files copied, {len(report.failed)} failed")
        sequence = max(home.sequences(), key=lambda line: line.frames)
        frame = f"{sequence.address}#{sequence.frames // 2}"
        home.recipes.set(frame, ["exposure.stops=0.7", "contrast.amount=0.1"])
        home.recipes.carry(frame, sequence.address)
        made = home.exports.export(frame, "still-web").files[0]
        picture = home.root / made.path
        answer = home.exports.lineage(str(picture))
        print(f"{picture.name} was made from {answer.inputs[0].master}")
    return picture


if __name__ == "__main__":
    main(Path(sys.argv[1]))
