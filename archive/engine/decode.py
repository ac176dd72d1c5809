"""Master bytes → scene data, through decoding processes that may crash, hang or run out of memory."""

from __future__ import annotations

import errno
import os
import queue
import subprocess
import sys
import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import TracebackType
from typing import Any

import numpy as np
import numpy.typing as npt

from archive.engine import answers, colour, memory, message
from archive.engine.sharedroom import SharedRoom
from archive.errors import ArchiveError, DamagedFileError, shown

Floats = npt.NDArray[np.float64]

TIME_LIMIT_S = 120.0
MEMORY_LIMIT = 6 << 30
# -P: modules are never taken from the current directory, which may be a card's.
WORKER = (sys.executable, "-P", "-m", "archive.engine.worker")
_SAFE = "The master itself is untouched and was not changed."


@dataclass(frozen=True, kw_only=True, eq=False)
class CameraColour:
    """What a camera's colours mean.

    to_srgb : float64, (3, 3): balanced camera colour → linear sRGB (D65); rows sum to 1.
    as_shot, daylight : float64, (3,): multipliers that balance camera colour, smallest 1.
    """

    to_srgb: Floats
    as_shot: Floats
    daylight: Floats

    def multipliers_for(self, white: colour.Chromaticity) -> Floats:
        """Multipliers, smallest 1, that make a light of this chromaticity neutral."""
        camera_white = (
            np.linalg.solve(self.to_srgb, colour.XYZ_TO_SRGB @ colour.xyz_of(white)) / self.daylight
        )
        gains = 1 / np.maximum(camera_white, 1e-3)
        return np.asarray(gains / gains.min())


@dataclass(frozen=True, kw_only=True, eq=False)
class Decoded:
    """One master's scene data, not yet developed.

    pixels : a mosaic, uint16, (height, width), as the sensor counted, visible area only; or a picture,
        float32, (height, width, 3), linear light, 1.0 = clipping.
    pattern : a mosaic's channel (0 red, 1 green, 2 blue) at row 0 column 0, 0 1, 1 0, 1 1; None for a
    picture.
    black : counts without light at those four places; ``white`` counts at clipping.
    camera : what the colours mean; None when they are linear sRGB already.
    orientation : EXIF value 1 to 8, how the picture is to be turned; pixels are as stored.
    aspect : width of a sample divided by its height.
    noise : what a raw file itself says of its noise: variance per light, 1.0 = clipping, and at none.
    iso : the sensitivity that a raw file states; 0 where it states none.
    sensor : facts for people: source, width, height, …
    preview : the picture that the camera put into its raw file, where it was asked for and suits.
    """

    pixels: npt.NDArray[np.uint16] | npt.NDArray[np.float32]
    pattern: tuple[int, int, int, int] | None = None
    black: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
    white: float = 1.0
    camera: CameraColour | None = None
    orientation: int = 1
    aspect: float = 1.0
    noise: tuple[float, float] | None = None
    iso: float = 0.0
    sensor: Mapping[str, Any] = field(default_factory=dict)
    preview: Decoded | None = None

    @property
    def is_mosaic(self) -> bool:
        return self.pattern is not None


@dataclass(frozen=True, kw_only=True)
class _Loss:
    """What became of a process, in words; whether it ended by itself, which need not be its file's fault."""

    what: str
    ended: bool


class _Worker:
    """One decoding process, the pipe to it and the memory shared with it."""

    def __init__(self, command: Sequence[str], memory_limit: int) -> None:
        self.room = SharedRoom.made()
        self._is_steady = True
        shared = [self.room.descriptor] if self.room else []
        self.process = subprocess.Popen(
            [*command, str(memory_limit), *map(str, shared)], pass_fds=shared,
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, env=_environment(),
            # Ctrl-C is for the parent to answer; a worker ends when its pipe does.
            start_new_session=True,
        )  # fmt: skip

    @property
    def is_fit(self) -> bool:
        """Whether it can be asked: it answered whatever it was asked before, and still runs."""
        return self._is_steady and self.process.poll() is None

    def ask(
        self, data: bytes, time_limit: float, request: Mapping[str, Any]
    ) -> tuple[dict[str, Any], list[Any]] | _Loss:
        """The answer, or what became of the process.

        Raises
        ------
        MemoryError : here is no room for the file or its answer.
        """
        late = threading.Event()

        def stop() -> None:
            late.set()
            self.process.kill()

        self._is_steady = False
        timer = threading.Timer(time_limit, stop)
        timer.start()
        answer, ended = None, True
        try:
            assert self.process.stdin is not None and self.process.stdout is not None
            message.send(self.process.stdin, dict(request), [data], self.room)
            answer = message.receive(self.process.stdout, self.room)
        except (OSError, EOFError) as error:
            if isinstance(error, OSError) and error.errno == errno.ENOMEM:
                raise MemoryError from error
        except ValueError:
            ended = False
        finally:
            timer.cancel()
            # It may be ending the process at this moment.
            timer.join()
        self._is_steady = answer is not None and not late.is_set()
        if answer is not None:
            return answer
        self.stop()
        if late.is_set():
            return _Loss(what=f"decoding it took longer than {time_limit:g} s", ended=False)
        return _Loss(what=f"the decoder crashed on it ({_ending(self.process.returncode)})", ended=ended)

    def stop(self) -> None:
        self.process.kill()
        for pipe in (self.process.stdin, self.process.stdout):
            if pipe is not None:
                try:
                    pipe.close()
                except OSError:
                    continue
        self.process.wait()
        if self.room is not None:
            self.room.close()
            self.room = None


def _environment() -> dict[str, str]:
    """What a decoding process sees: this package, one thread, and memory in large pages.

    Frames are tens of megabytes, each written once: in small pages, first touching them is a quarter of the
    decoding.
    """
    roots = [str(Path(__file__).parents[2]), *filter(None, [os.environ.get("PYTHONPATH")])]
    tunables = [*filter(None, [os.environ.get("GLIBC_TUNABLES")]), "glibc.malloc.hugetlb=1"]
    return {
        **os.environ,
        "OMP_NUM_THREADS": "1",
        "OPENBLAS_NUM_THREADS": "1",
        "GLIBC_TUNABLES": ":".join(tunables),
        "PYTHONPATH": os.pathsep.join(roots),
    }


def _ending(code: int | None) -> str:
    if code is not None and code < 0:
        return f"signal {-code}"
    return f"exit code {code}"


class DecoderPool:
    """Decodes masters in up to ``workers`` processes at a time; may be shared by threads.

    Processes start when first needed and are restarted after one is lost.

    Parameters
    ----------
    time_limit : seconds one file may take. memory_limit : bytes of address space one process may use.
    command : how a process is started; the memory limit is added to it.
    memory_there : bytes there are for frames, in all processes; None for what the system tells.
    """

    def __init__(
        self,
        workers: int,
        *,
        time_limit: float = TIME_LIMIT_S,
        memory_limit: int = MEMORY_LIMIT,
        command: Sequence[str] = WORKER,
        memory_there: int | None = None,
    ) -> None:
        self._time_limit = time_limit
        self._memory_limit = memory_limit
        self._command = tuple(command)
        self._idle: queue.LifoQueue[_Worker | None] = queue.LifoQueue()
        self._slots = max(1, workers)
        there = memory_there if memory_there is not None else memory.usable()
        self._room = memory.Room(memory=there, frames=self._slots)
        # Held while a frame that is large for the memory is decoded.
        self._large = threading.Lock()
        for _ in range(self._slots):
            self._idle.put(None)

    def __enter__(self) -> DecoderPool:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Wait for files being decoded, then end every process."""
        for _ in range(self._slots):
            worker = self._idle.get()
            if worker is not None:
                worker.stop()

    def _asked(self, data: bytes, request: Mapping[str, Any]) -> tuple[dict[str, Any], list[Any]] | _Loss:
        """A process's answer; where one that met other files before ends, another is asked once more."""
        worker = self._idle.get()
        try:
            if worker is not None and worker.is_fit:
                answer = worker.ask(data, self._time_limit, request)
                if not isinstance(answer, _Loss) or not answer.ended:
                    return answer
            if worker is not None:
                worker.stop()
                worker = None
            worker = _Worker(self._command, self._memory_limit)
            return worker.ask(data, self._time_limit, request)
        finally:
            if worker is not None and not worker.is_fit:
                worker.stop()
                worker = None
            self._idle.put(worker)

    def decode(self, data: bytes, name: str, *, orientation: int | None = None, preview: int = 0) -> Decoded:
        """Decode one master.

        Parameters
        ----------
        data : the whole file. name : what to call it in errors.
        orientation : EXIF value that replaces the file's own.
        preview : with the camera's own preview, if it shows the frame whole and so many pixels long.

        Raises
        ------
        DamagedFileError : the file is cut or broken, or its decoder crashed, hung or ran out of memory.
        ArchiveError : the file is no picture, of a kind that is not supported, or too large to be developed
            with the memory there is.
        """
        request = {"preview": preview}
        share = self._room.share_of_pixels(len(data))
        try:
            facts, arrays = self._answer(data, name, request if share is None else request | {"most": share})
            if not isinstance(pixels := facts.get("pixels"), int):
                return self._believed(data, name, facts, arrays, orientation)
            self._refuse_larger(data, name, pixels, "picture")
            with self._large:
                return self._believed(data, name, *self._answer(data, name, request), orientation)
        except MemoryError as error:
            raise _too_large(name, "") from error

    def _answer(self, data: bytes, name: str, request: Mapping[str, Any]) -> tuple[dict[str, Any], list[Any]]:
        """What a process answers that neither was lost nor refused the file."""
        answer = self._asked(data, request)
        if isinstance(answer, _Loss):
            raise _lost(name, answer.what)
        facts, arrays = answer
        if "bug" in facts:
            told = "\n".join(shown(line) for line in str(facts["bug"]).splitlines())
            raise RuntimeError(f"decoding {shown(name)} failed:\n{told}")
        if "lost" in facts:
            raise _lost(name, shown(str(facts["lost"])))
        if "refused" in facts:
            raise _refusal(name, facts)
        return facts, arrays

    def _believed(
        self, data: bytes, name: str, facts: dict[str, Any], arrays: list[Any], orientation: int | None
    ) -> Decoded:
        """The scene data of an answer that holds what decoders promise."""
        try:
            answers.check(facts, arrays)
        except ValueError as error:
            raise _lost(name, f"the decoder's answer is none, {error}") from error
        rows, columns = arrays[0].shape[:2]
        self._refuse_larger(data, name, rows * columns, facts["layout"])
        own = facts.get("preview")
        if own is None:
            return _decoded(facts, arrays, orientation)
        decoded = _decoded(facts, arrays[: facts["arrays"]], orientation)
        # Turned as the frame is: what such a preview says of itself is not always true.
        return replace(decoded, preview=_decoded(own, arrays[facts["arrays"] :], decoded.orientation))

    def _refuse_larger(self, data: bytes, name: str, pixels: int, layout: str) -> None:
        """Raise an ArchiveError where there is not the memory to develop a frame of so many pixels."""
        there, wanted = self._room.memory, self._room.wanted(pixels, layout, len(data))
        if there is not None and wanted > there:
            told = f"{pixels / 1e6:.0f} million pixels take up to {wanted / 1e9:.1f} GB"
            raise _too_large(name, f": {told}, and there are {there / 1e9:.1f} GB for frames")


def _lost(name: str, what: str) -> DamagedFileError:
    return DamagedFileError(
        f"{shown(name)} could not be decoded: {what}.",
        hint=f"{_SAFE} Other frames are not affected; check this file with an audit.",
    )


def _too_large(name: str, why: str) -> ArchiveError:
    return ArchiveError(
        f"{shown(name)} is too large to be developed with the memory there is{why}.",
        hint=f"{_SAFE} Other frames are not affected; develop this one where there is more memory, or raise "
        "the limit that this program was started with, if it has one.",
    )


def _refusal(name: str, facts: Mapping[str, Any]) -> ArchiveError:
    # Thousands are parted by a space that is not printable for all.
    why = "\u202f".join(shown(part) for part in str(facts["refused"]).split("\u202f"))
    if facts.get("damaged"):
        return DamagedFileError(
            f"{shown(name)} is damaged: {why}.",
            hint=f"{_SAFE} Audit its roll; if another copy is whole, repair this one from it.",
        )
    return ArchiveError(
        f"{shown(name)} cannot be developed: {why}.",
        hint=f"{_SAFE} It stays in the archive like any other file; develop its JPEG twin if there is one.",
    )


def _decoded(facts: Mapping[str, Any], arrays: list[Any], orientation: int | None) -> Decoded:
    camera = facts.get("camera")
    meaning = (
        CameraColour(
            to_srgb=np.array(camera["to_srgb"], np.float64),
            as_shot=np.array(camera["as_shot"], np.float64),
            daylight=np.array(camera["daylight"], np.float64),
        )
        if camera
        else None
    )
    turned = orientation if orientation is not None and 1 <= orientation <= 8 else int(facts["orientation"])
    if facts["layout"] == "picture":
        return Decoded(pixels=answers.picture_light(*arrays), orientation=turned, sensor=facts["sensor"])
    noise = (float(told[0]), float(told[1])) if (told := facts["noise"]) else None
    iso = float(facts["iso"])
    if facts["layout"] == "mosaic":
        pattern, black = facts["pattern"], facts["black"]
        return Decoded(
            pixels=arrays[0],
            pattern=(int(pattern[0]), int(pattern[1]), int(pattern[2]), int(pattern[3])),
            black=(black[0], black[1], black[2], black[3]),
            white=float(facts["white"]),
            camera=meaning,
            orientation=turned,
            aspect=float(facts["aspect"]),
            noise=noise,
            iso=iso,
            sensor=facts["sensor"],
        )
    # LibRaw has already stretched samples that are not square.
    return Decoded(
        pixels=answers.linear_light(arrays[0], facts["black"], facts["white"]),
        camera=meaning, orientation=turned, noise=noise, iso=iso, sensor=facts["sensor"],
    )  # fmt: skip
