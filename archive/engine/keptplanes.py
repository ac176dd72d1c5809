"""Planes of the pictures that are being worked on: a change of tone or colour need not begin at the sensor.

They hold exactly what the passes before them made, so a picture made from them is the same to the bit. They
are kept twice, before and after noise is taken away, and the gains that even out the corners beside them.
The frame that they were made from is not held by them; when it goes, they go.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Hashable
from typing import Any
from weakref import ReferenceType

import numpy as np
import numpy.typing as npt

Planes = npt.NDArray[np.float32]
Light = tuple[Planes, float]
"""Balanced camera light, and the offset that makes its square root equally noisy; or gains, and 0."""

LIMIT = 512 << 20
# Nobody goes back to every strength that a slider passed; memory that is given back is soon used again, where
# new memory costs as much time as the noise.
_ALIKE = 3


class KeptPlanes:
    """The planes last used, of ``limit`` bytes in all at most; may be shared by threads."""

    def __init__(self, limit: int = LIMIT) -> None:
        self._limit = limit
        self._lock = threading.Lock()
        self._planes: OrderedDict[Hashable, tuple[Light, Hashable, ReferenceType[Any] | None]] = OrderedDict()

    def get(self, key: Hashable) -> Light | None:
        """The planes kept, which cannot be written, or None."""
        with self._lock:
            if key not in self._planes:
                return None
            self._planes.move_to_end(key)
            return self._planes[key][0]

    def put(
        self,
        key: Hashable,
        light: Light,
        kind: Hashable = None,
        source: ReferenceType[Any] | None = None,
    ) -> None:
        """Keep these planes, and let go of the longest unused ones where there are too many.

        They cannot be written from now on, kept or not. Of one ``kind``, as is one picture with its noise
        reduced in different ways, a few are kept only. ``source`` is what they were made from; once nobody
        else holds it, they are let go of.
        """
        light[0].flags.writeable = False
        with self._lock:
            for each in [
                each for each, (_, _, of) in self._planes.items() if of is not None and of() is None
            ]:
                del self._planes[each]
            if light[0].nbytes > self._limit:
                return
            self._planes[key] = light, kind, source
            self._planes.move_to_end(key)
            alike = [
                each for each, (_, other, _) in self._planes.items() if kind is not None and other == kind
            ]
            for each in alike[:-_ALIKE]:
                del self._planes[each]
            while sum(light[0].nbytes for light, _, _ in self._planes.values()) > self._limit:
                self._planes.popitem(last=False)
