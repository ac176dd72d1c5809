"""What is made: specs, jobs, derivatives and where they came from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from archive.model.identity import EntryId, FileKey, FrameId, PixelKey, derived_key

WRITTEN = ("title", "caption", "creator", "rights")
"""Texts of frames that are written into what is made of them, in this order."""
Texts = tuple[tuple[str, str], ...]
"""Names of texts, of those in ``WRITTEN``, and what they say."""


@dataclass(frozen=True, kw_only=True)
class PixelSpec:
    """The part of a spec that decides pixels.

    ``fit`` is the box (width, height) in pixels that the picture is made to fit in, never enlarged;
    None keeps the full size. ``bits`` per channel 8 or 16; ``space`` the output colour space
    (``srgb``); ``even`` crops to even sides, which 4:2:0 movies need.
    """

    fit: tuple[int, int] | None
    bits: int = 8
    space: str = "srgb"
    even: bool = False

    def to_json(self) -> dict[str, Any]:
        return {
            "fit": list(self.fit) if self.fit else None,
            "bits": self.bits,
            "space": self.space,
            "even": self.even,
        }

    @staticmethod
    def from_json(document: Mapping[str, Any]) -> PixelSpec:
        fit = document["fit"]
        return PixelSpec(
            fit=(fit[0], fit[1]) if fit else None,
            bits=document["bits"],
            space=document["space"],
            even=document["even"],
        )


@dataclass(frozen=True, kw_only=True)
class Spec:
    """A named export specification.

    ``product`` is ``still``, ``set`` or ``movie``; ``container`` ``jpeg``, ``tiff``, ``png`` or
    ``mp4``; ``encoder`` its settings; ``rate`` frames per second as a rational, movies only;
    ``private`` drops position, serial numbers and owner from what leaves the house.
    """

    name: str
    product: str
    container: str
    pixels: PixelSpec
    encoder: Mapping[str, Any]
    rate: Fraction | None = None
    private: bool = True

    def to_json(self) -> dict[str, Any]:
        return {
            "name": self.name,
            "product": self.product,
            "container": self.container,
            "pixels": self.pixels.to_json(),
            "encoder": dict(self.encoder),
            "rate": [self.rate.numerator, self.rate.denominator] if self.rate else None,
            "private": self.private,
        }

    @staticmethod
    def from_json(document: Mapping[str, Any]) -> Spec:
        rate = document["rate"]
        return Spec(
            name=document["name"],
            product=document["product"],
            container=document["container"],
            pixels=PixelSpec.from_json(document["pixels"]),
            encoder=dict(document["encoder"]),
            rate=Fraction(rate[0], rate[1]) if rate else None,
            private=document["private"],
        )


@dataclass(frozen=True, kw_only=True)
class Origin:
    """One edge of lineage: from a derivative to a frame and the versions it was developed with.

    ``effective`` is the SHA-256 of the effective recipe's canonical form.
    """

    frame: FrameId
    versions: tuple[EntryId, ...]
    effective: str
    pixel_key: PixelKey


@dataclass(frozen=True, kw_only=True)
class Derivative:
    """A file that was made, and everything it was made from; ``path`` is below the volume.

    ``texts`` are those that were written into it.
    """

    job: str
    path: str
    size: int
    digest: str
    spec: Spec
    file_key: FileKey
    origins: tuple[Origin, ...]
    made: str
    document_id: str
    instance_id: str
    texts: Texts = ()


def pixel_key(
    inputs: list[str], effective: Mapping[str, Any], lens: str | None, pixels: PixelSpec, generation: int
) -> PixelKey:
    """All that a rendered picture is a function of, with its inputs in order."""
    return PixelKey(derived_key("render", inputs, effective, lens, pixels.to_json(), generation))


def file_key(pixel_keys: list[PixelKey], spec: Spec, texts: Texts = ()) -> FileKey:
    """The pixel keys in order, how they are encoded, and what is written into the file."""
    document = spec.to_json()
    # A file without texts keeps the key that it had before there were any.
    said = [dict(texts)] if texts else []
    return FileKey(derived_key("file", list(pixel_keys), document, *said))
