"""A decoding process: reads a file's bytes from its input, answers with its picture, until the input ends.

Run as ``python -m archive.engine.worker ADDRESS_SPACE_BYTES [SHARED_ROOM]``, the second a descriptor.
Keeping decoders in a process of their own means that a file which crashes one, hangs it or eats memory costs
one frame; it is no sandbox.
"""

from __future__ import annotations

import os
import sys
import traceback
from collections.abc import Callable
from typing import Any, BinaryIO

from archive.engine import freed, message, ownpreview, picturefile
from archive.engine.picturefile import UndecodableError
from archive.engine.provenreader import ProvenReader
from archive.engine.sharedroom import SharedRoom
from archive.formats import container
from archive.formats.container import Kind

Answer = tuple[dict[str, Any], list[message.Array]]

_raws = ProvenReader()


def decode(data: bytes) -> Answer:
    """Facts and arrays of one file.

    Raises
    ------
    UndecodableError : it is no picture, damaged, or of an unsupported kind.
    """
    if not data:
        raise UndecodableError("the file is empty", damaged=True)
    kind = container.kind_of(data)
    if kind is None:
        raise UndecodableError("it is no picture of a kind known here", damaged=False)
    complete = container.completeness(data, kind)
    if complete.missing:
        raise UndecodableError(_shortness(kind, complete.missing), damaged=True)
    if kind is Kind.RAW:
        return _raws.read(data, measured=complete.known)
    return picturefile.read(data, kind)


def _shortness(kind: Kind, missing: int) -> str:
    if kind is Kind.JPEG:
        return "the picture data ends before the picture does"
    return f"the picture data ends {missing:,} bytes short".replace(",", "\u202f")


def _larger(data: bytes, most: int) -> int:
    """The pixels that a picture declares, where they are more than so many; else 0.

    Raws are not looked at: they are no larger here than what their decoding is allowed.
    """
    kind = container.kind_of(data)
    if kind is None or kind is Kind.RAW:
        return 0
    pixels = picturefile.declared(data, kind)
    return pixels if pixels > most else 0


def serve(
    source: BinaryIO,
    sink: BinaryIO,
    work: Callable[[bytes], Answer] = decode,
    room: SharedRoom | None = None,
) -> None:
    """Answer requests until the input ends; one for a picture larger than it allows, with its ``pixels``."""
    while (request := message.receive(source, room)) is not None:
        asked, parts = request
        data = parts[0]
        assert isinstance(data, bytes)
        try:
            if (most := asked.get("most")) is not None and (large := _larger(data, int(most))):
                message.send(sink, {"pixels": large}, [])
                continue
            facts, arrays = work(data)
            if side := asked.get("preview"):
                facts, arrays = ownpreview.added(data, facts, arrays, int(side))
        except UndecodableError as error:
            message.send(sink, {"refused": error.reason, "damaged": error.damaged}, [])
        except MemoryError:
            message.send(sink, {"lost": "decoding it needs more memory than is allowed"}, [])
        except Exception:
            message.send(sink, {"bug": traceback.format_exc()}, [])
        else:
            message.send(sink, facts, arrays, room)


def limit_memory(address_space: int) -> None:
    """Hold this process below so many bytes of address space, where the system can and lets it."""
    try:
        import resource
    except ImportError:
        return
    try:
        _, hard = resource.getrlimit(resource.RLIMIT_AS)
        wanted = address_space if hard == resource.RLIM_INFINITY else min(address_space, hard)
        resource.setrlimit(resource.RLIMIT_AS, (wanted, hard))
    except (OSError, ValueError):
        # Without a limit, decoding is as good; some systems know it and refuse it.
        return


def main(work: Callable[[bytes], Answer] = decode) -> None:
    """Serve on the process's own input and output; whatever a library prints goes to the error stream."""
    limit_memory(int(sys.argv[1]))
    freed.keep()
    sink = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    room = SharedRoom(int(sys.argv[2])) if len(sys.argv) > 2 else None
    serve(sys.stdin.buffer, sink, work, room)


if __name__ == "__main__":
    main()
