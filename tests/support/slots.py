"""Two cards of a camera with two slots: the JPEG of each exposure on one, its raw file on the other."""

from __future__ import annotations

from datetime import datetime, timedelta
from fractions import Fraction
from pathlib import Path

from support.cards import BEGIN, put, tiny_card
from support.exif_bytes import tiff


def raw_bytes(
    number: int, taken: datetime, *, serial: str = "000417", model: str = "One", exposure_s: int = 8
) -> bytes:
    """A raw file's header and some bytes of its own; no decoder makes a picture of it."""
    image = {271: "Invented", 272: model, 254: 0}
    exif = {
        0x9003: taken.strftime("%Y:%m:%d %H:%M:%S"),
        0x829A: Fraction(exposure_s),
        0x829D: Fraction(28, 10),
        0x8827: 3200,
        0x920A: Fraction(20),
        0xA431: serial,
    }
    return tiff(image, exif) + number.to_bytes(4, "big") * 8


def raw_card(
    card: Path,
    frames: int = 6,
    *,
    serial: str = "000417",
    model: str = "One",
    begin: datetime = BEGIN,
    first: int = 1,
    cadence_s: float = 10,
) -> Path:
    """The raw card that belongs to :func:`support.cards.tiny_card`."""
    for position in range(frames):
        taken = begin + timedelta(seconds=position * cadence_s)
        data = raw_bytes(first + position, taken, serial=serial, model=model)
        put(card, f"DCIM/100NOCTU/NOCT{first + position:04d}.DNG", data, modified=taken)
    return card


def both_cards(folder: Path, frames: int = 6) -> tuple[Path, Path]:
    """The JPEG card and the raw card of the same exposures."""
    return tiny_card(folder / "jpeg", frames), raw_card(folder / "raw", frames)
