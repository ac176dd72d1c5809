"""Read raws by LibRaw, and by our own faster reader once it was seen to agree; in the worker."""

from __future__ import annotations

from collections.abc import Callable
from enum import Enum
from typing import Any

import numpy as np
import numpy.typing as npt

from archive.engine import dng, dngheader, rawfile

Answer = tuple[dict[str, Any], list[npt.NDArray[Any]]]

# Below this size LibRaw is quick enough, and loading the kernels costs more than they save.
_WORTHWHILE = 400_000


class _Trust(Enum):
    """What is known of the files of one camera and setting."""

    MET = 1
    PROVEN = 2
    REFUSED = 3


class ProvenReader:
    """Reads one raw after another, and learns which kinds it may read by itself.

    The first file of a camera and setting is LibRaw's alone; the second is read both ways and the answers
    compared, facts and every sample; from the third on the own reader serves, if they were equal. Whatever
    it cannot read for sure goes to LibRaw. So a sequence is quick, and the answer is LibRaw's in any case,
    except for layouts that LibRaw is known to read wrongly without saying so.
    """

    def __init__(
        self,
        usual: Callable[[bytes, bool], Answer] | None = None,
        own: Callable[[bytes, dng.Layout], Answer | None] | None = None,
    ) -> None:
        self._usual = usual or (lambda data, measured: rawfile.read(data, measured=measured))
        self._own = own or rawfile.read_own
        self._known: dict[tuple[object, ...], _Trust] = {}

    def read(self, data: bytes, *, measured: bool) -> Answer:
        """Facts and arrays of a raw file, as ``rawfile.read`` gives them.

        Raises
        ------
        UndecodableError : as ``rawfile.read``.
        """
        layout = dng.layout_of(data) if measured else None
        if layout is not None and layout.misread:
            return self._own(data, layout) or self._usual(data, measured)
        if layout is None or layout.width * layout.height < _WORTHWHILE:
            return self._usual(data, measured)
        signature = dngheader.signature(layout)
        trust = self._known.get(signature)
        if trust is _Trust.PROVEN:
            return self._own(data, layout) or self._usual(data, measured)
        answer = self._usual(data, measured)
        if trust is None:
            self._known[signature] = _Trust.MET
        elif trust is _Trust.MET:
            same = _equal(answer, self._own(data, layout))
            self._known[signature] = _Trust.PROVEN if same else _Trust.REFUSED
        return answer


def _equal(one: Answer, other: Answer | None) -> bool:
    if other is None or one[0] != other[0] or len(one[1]) != len(other[1]):
        return False
    return all(np.array_equal(first, second) for first, second in zip(one[1], other[1], strict=True))
