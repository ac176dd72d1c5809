"""What the gallery shows of the demo's night: which frames, and the places in them worth a close look."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import groupby

from archive.demo import cards, night

_SIZE, _SEED, _NIGHT = (1620, 1080), 20260318, 90
_SIDE_24_MP = 6000
_RAYS, _STARS, _RIDGE = "aurora rays", "stars in dark sky", "a ridge against the sky"
_HUT, _TREES, _SNOW = "a hut with lit windows", "trees before snow", "snow and bare ice"
_NORTH = {_RIDGE: (0.53, 0.61), _TREES: (0.193, 0.70), _HUT: (0.746, 0.765), _SNOW: (0.68, 0.885)}


@dataclass(frozen=True, kw_only=True)
class Exhibit:
    """A raw file of the demo's night.

    ``file`` is its place on its card; ``places`` are what is looked at closely, as shares of the upright
    picture's width and height, and ``stops`` how much they are brightened. ``photosites`` is how many pixels
    long the sensor is that has photosites as small as this frame's; None for one of the frame's own size.
    """

    camera: str
    file: int
    title: str
    places: Mapping[str, tuple[float, float]]
    stops: float = 0.0
    photosites: int | None = None

    @property
    def told(self) -> str:
        """How it was taken."""
        plan = next(plan for plan in night.CAMERAS if plan.name == self.camera)
        taken = night.exposures(plan, _NIGHT)[self.file].settings
        told = (
            f"simulated, camera {self.camera}, file {self.file}, {taken.exposure_s} s, "
            f"f/{float(taken.f_number):g}, ISO {taken.iso}"
        )
        return f"{told}, grain of a 24-megapixel sensor" if self.photosites else told


EXHIBITS = (
    Exhibit(
        camera="north", file=1, title="A test at ISO 6400", stops=1.5, photosites=_SIDE_24_MP,
        places={_STARS: (0.37, 0.59), _RAYS: (0.515, 0.47), **_NORTH},
    ),
    Exhibit(
        camera="north", file=11, title="A quiet arc",
        places={_STARS: (0.55, 0.555), _RAYS: (0.52, 0.37), **_NORTH},
    ),
    Exhibit(
        camera="north", file=43, title="The outburst",
        places={_STARS: (0.47, 0.56), _RAYS: (0.525, 0.45), **_NORTH},
    ),
    Exhibit(
        camera="north", file=80, title="What is left of it",
        places={_STARS: (0.475, 0.49), _RAYS: (0.236, 0.30), **_NORTH},
    ),
    Exhibit(
        camera="river", file=37, title="Over the river",
        places={
            _STARS: (0.88, 0.148), _RAYS: (0.72, 0.53), _RIDGE: (0.22, 0.66),
            _TREES: (0.83, 0.735), _HUT: (0.02, 0.735), _SNOW: (0.40, 0.80),
        },
    ),
)  # fmt: skip


def raw_files(exhibits: tuple[Exhibit, ...]) -> Iterator[bytes]:
    """The exhibits' files in their order; each is made when it is asked for."""
    for camera, of_camera in groupby(exhibits, lambda each: each.camera):
        group = tuple(of_camera)
        yield from cards.raw_files(
            camera, [each.file for each in group], seed=_SEED, size=_SIZE, frames=_NIGHT,
            photosites={each.file: each.photosites for each in group if each.photosites},
        )  # fmt: skip
