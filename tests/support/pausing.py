"""Programs that are held at a chosen call until a test lets them go on: to overlap, or be interrupted."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path

from support.commands import surroundings

_SCRIPT = """
import importlib, sys
from pathlib import Path
where, mark, gate = sys.argv[1:4]
del sys.argv[1:4]
module, _, name = where.partition(":")
owner = importlib.import_module(module)
real = getattr(owner, name)

def held(*arguments, **options):
    reached = Path(gate + ".reached")
    if mark in repr(arguments) and not reached.exists():
        reached.touch()
        # Opening a pipe to read waits until someone opens it to write.
        open(gate, "rb").close()
    return real(*arguments, **options)

setattr(owner, name, held)
from archive.views.cli.app import main
main()
"""


class Held:
    """A command that waits at a call of ``where`` (``module:function``), the first that gets ``mark``.

    It has come there when this is made; RuntimeError if it ends before.
    """

    def __init__(
        self, words: Sequence[str | Path], folder: Path, *, where: str, place: Path, mark: str = ""
    ) -> None:
        self._gate = place / f"gate-{where.rpartition(':')[2]}-{len(list(place.iterdir()))}"
        os.mkfifo(self._gate)
        self.process = subprocess.Popen(
            [sys.executable, "-c", _SCRIPT, where, mark, str(self._gate), *map(str, words)],
            cwd=folder,
            env=surroundings(),
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            start_new_session=True,
        )
        reached = Path(f"{self._gate}.reached")
        while not reached.exists():
            if self.process.poll() is not None:
                raise RuntimeError(f"it ended before it came there: {self.process.communicate()}")
            time.sleep(0.01)

    def let_go(self) -> None:
        """Let it go on."""
        with self._gate.open("wb"):
            pass

    def ended(self) -> tuple[int, str, str]:
        """Its code, and what it said, once it has ended."""
        out, err = self.process.communicate(timeout=120)
        return self.process.returncode, out, err
