"""A second version of an operator, for as long as a test looks at it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from archive.engine.declaration import Family, registry
from archive.engine.declaration import operator as declared_operator
from archive.engine.operators.tone import Exposure


@contextmanager
def doubled_exposure() -> Iterator[None]:
    """Registers version 2 of exposure, which gives twice the stops it is asked for."""

    class Doubled(Exposure):
        """Scale scene light by twice the stops."""

        def __post_init__(self) -> None:
            object.__setattr__(self, "stops", 2 * self.stops)

    declared_operator("exposure", version=2, family=Family.TONE)(Doubled)
    try:
        yield
    finally:
        registry.pop(("exposure", 2), None)
