"""What is said of a volume that fails."""

from __future__ import annotations

import errno

from support.disks import MemoryDisk
from support.takings import volume_in

from archive.errors import Exit
from archive.ingest.troubles import cannot_write


def test_what_is_said_of_a_volume_that_failed_names_it_and_what_is_safe() -> None:
    volume = volume_in(MemoryDisk(), "BLUE")
    error = cannot_write(volume, OSError(errno.EIO, "Input/output error"), "read back")
    assert error.message == "BLUE cannot be read back: Input/output error."
    assert "what was copied before is safe" in error.hint
    assert error.exit_code is Exit.ATTENTION
