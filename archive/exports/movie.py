"""Many pictures → one H.264 movie, BT.709 done right, the same bytes for the same pictures."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path
from types import TracebackType
from typing import Any

import av
import av.error
import numpy as np
import numpy.typing as npt

from archive.errors import ArchiveError, shown

# ITU-T H.273: BT.709 primaries, transfer and matrix; limited range.
_BT709, _LIMITED = 1, 1
# x264's own slicing of work changes its decisions: fixed numbers give fixed bytes on any machine.
_REPEATABLE = "threads=4:lookahead-threads=1:cpu-independent=1"
_SETTINGS = {"crf": "18", "preset": "medium"}


class MovieWriter:
    """Writes pictures into a movie: ``with MovieWriter(...) as movie: movie.add(picture)``.

    The file is complete when the block ends; when it ends with an error it is no movie and its maker removes
    it.

    Parameters
    ----------
    path : where to write; the caller publishes it afterwards.
    width, height : pixels, even. rate : frames per second, exact.
    encoder : ``crf`` (0 to 51, lower is better and larger), ``preset`` (speed against size); other names are
    refused.

    Raises
    ------
    ArchiveError : odd sides, an impossible rate or setting, or the encoder failed.
    """

    def __init__(
        self, path: Path, *, width: int, height: int, rate: Fraction, encoder: Mapping[str, Any]
    ) -> None:
        settings = {**_SETTINGS, **{name: str(value) for name, value in encoder.items()}}
        unknown = sorted(set(settings) - set(_SETTINGS))
        if unknown:
            raise ArchiveError(
                f"The movie encoder has no setting {', '.join(unknown)}.",
                hint=f"Nothing was written; it has {', '.join(_SETTINGS)}.",
            )
        if width < 2 or height < 2 or width % 2 or height % 2:
            raise ArchiveError(
                f"A movie of {width} × {height} pixels cannot be made.",
                hint="Nothing was written; both sides must be even.",
            )
        if rate <= 0:
            raise ArchiveError(
                f"A movie cannot run at {rate} frames a second.", hint="Nothing was written; 25 is usual."
            )
        self._path, self._width, self._height = path, width, height
        self._count = 0
        self._tick = 1 / rate
        options = {**settings, "profile": "high", "x264-params": _REPEATABLE}
        try:
            self._container = av.open(
                str(path), "w", format="mp4", options={"movflags": "+faststart+write_colr"}
            )
            stream = self._container.add_stream("libx264", rate=rate, options=options)
            stream.width, stream.height, stream.pix_fmt = width, height, "yuv420p"
            stream.time_base = 1 / rate
            context = stream.codec_context
            context.time_base = 1 / rate
            context.color_primaries = context.color_trc = context.colorspace = _BT709
            context.color_range = _LIMITED
            self._stream = stream
        except (av.error.FFmpegError, ValueError, OSError) as error:
            raise self._failed(error) from error

    def __enter__(self) -> MovieWriter:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if error is None:
            self.close()
            return
        try:
            self._container.close()
        except (av.error.FFmpegError, ValueError, OSError):
            return

    def add(self, picture: npt.NDArray[np.uint8]) -> None:
        """Append one picture: uint8, (height, width, 3), sRGB values, which the movie carries as BT.709.

        Raises
        ------
        ArchiveError : it has another size or kind than the movie, or the encoder failed.
        """
        if picture.shape != (self._height, self._width, 3) or picture.dtype != np.uint8:
            raise ArchiveError(
                f"A picture of {picture.dtype} and shape {picture.shape} does not fit "
                f"a movie of {self._width} × {self._height}.",
                hint="The movie was not finished; render all of its frames with one specification.",
            )
        try:
            frame = av.VideoFrame.from_ndarray(np.ascontiguousarray(picture), format="rgb24")
            frame = frame.reformat(
                format="yuv420p",
                src_colorspace="ITU709",
                dst_colorspace="ITU709",
                src_color_range="JPEG",
                dst_color_range="MPEG",
            )
            # The stream's own time base becomes the container's once its header is written.
            frame.pts, frame.time_base = self._count, self._tick
            frame.colorspace, frame.color_range = _BT709, _LIMITED
            self._container.mux(self._stream.encode(frame))
        except (av.error.FFmpegError, ValueError, OSError) as error:
            raise self._failed(error) from error
        self._count += 1

    def close(self) -> None:
        """Finish the file.

        Raises
        ------
        ArchiveError : no picture was added, or the encoder failed.
        """
        try:
            if self._count:
                self._container.mux(self._stream.encode(None))
            self._container.close()
        except (av.error.FFmpegError, ValueError, OSError) as error:
            raise self._failed(error) from error
        if not self._count:
            raise ArchiveError(
                "A movie needs at least one picture.",
                hint="Nothing was published; no frame could be rendered.",
            )

    def _failed(self, error: Exception) -> ArchiveError:
        return ArchiveError(
            f"The movie {shown(self._path.name)} could not be written: {error}.",
            hint="No master and no other file was changed; run the job again, it starts this movie anew.",
        )
