"""Planes of the pictures that are being worked on: a change of tone or colour need not begin at the sensor.

They hold exactly what the passes before them made, so a picture made from them is the same to the bit. They
are kept twice, before and after noise is taken away, and the gains that even out the corners beside them.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Hashable

import numpy as np
import numpy.typing as npt

Planes = npt.NDArray[np.float32]
Light = tuple[Planes, float]
"""Balanced camera light, and the offset that makes its square root equally noisy; or gains, and 0."""

LIMIT = 512 << 20


class KeptPlanes:
    """The planes last used, of ``limit`` bytes in all at most; may be shared by threads."""

    def __init__(self, limit: int = LIMIT) -> None:
        self._limit = limit
        self._lock = threading.Lock()
        self._planes: OrderedDict[Hashable, Light] = OrderedDict()

    def get(self, key: Hashable) -> Light | None:
        """The planes kept, which cannot be written, or None."""
        with self._lock:
            if key in self._planes:
                self._planes.move_to_end(key)
            return self._planes.get(key)

    def put(self, key: Hashable, light: Light) -> None:
        """Keep these planes, and let go of the longest unused ones where there are too many.

        They cannot be written from now on, kept or not.
        """
        light[0].flags.writeable = False
        if light[0].nbytes > self._limit:
            return
        with self._lock:
            self._planes[key] = light
            self._planes.move_to_end(key)
            while sum(planes.nbytes for planes, _ in self._planes.values()) > self._limit:
                self._planes.popitem(last=False)
