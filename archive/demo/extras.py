"""What else lies on cards: a JPEG twin, a sound note, a clip, housekeeping, operating systems' litter."""

from __future__ import annotations

import io
import struct
import wave
from datetime import datetime
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import rawpy
from numpy.typing import NDArray
from PIL import Image, TiffImagePlugin

from archive.demo.noise import fractal
from archive.demo.rawfile import Body, Shot

_CLIP_RATE = 24


def jpeg(picture: NDArray[np.uint8], *, quality: int = 88) -> bytes:
    """A baseline JPEG without any metadata."""
    out = io.BytesIO()
    Image.fromarray(picture).save(out, "JPEG", quality=quality, subsampling=2)
    return out.getvalue()


def twin(raw: bytes, body: Body, shot: Shot) -> bytes:
    """The JPEG a camera writes beside a raw file, developed from that very file, with the same facts."""
    with rawpy.imread(io.BytesIO(raw)) as opened:
        picture = opened.postprocess(use_camera_wb=True, no_auto_bright=True, output_bps=8)
    exif = Image.Exif()
    exif.update({271: body.make, 272: body.model, 274: 1, 305: f"{body.model} firmware 1.0", 306: shot.taken})
    inner: dict[int, Any] = {
        33434: TiffImagePlugin.IFDRational(shot.exposure_s),
        33437: TiffImagePlugin.IFDRational(shot.f_number),
        34855: shot.iso,
        36864: b"0232",
        36867: shot.taken,
        36868: shot.taken,
        36880: shot.offset,
        36881: shot.offset,
        36882: shot.offset,
        37386: TiffImagePlugin.IFDRational(Fraction(body.focal_mm)),
        37520: shot.subsec,
        37521: shot.subsec,
        37522: shot.subsec,
        42033: body.serial,
        42035: body.make,
        42036: body.lens,
    }
    exif.get_ifd(0x8769).update(inner)
    out = io.BytesIO()
    Image.fromarray(picture).save(out, "JPEG", quality=90, subsampling=1, exif=exif.tobytes())
    return out.getvalue()


def sound_note(seconds: float, seed: int) -> bytes:
    """Wind over a microphone as a WAV file: 16-bit PCM, one channel, 8000 samples a second."""
    rate = 8000
    time = np.arange(int(seconds * rate)) / rate
    gusts = 0.55 + 0.45 * fractal(time * 1.7, 0 * time, seed % 89 + 0.5, octaves=3)
    rumble = fractal(time * 160, 0 * time + 3.7, seed % 89 + 7.5, octaves=4, gain=0.72)
    samples = np.clip(gusts * rumble * 9000, -32767, 32767).astype("<i2")
    out = io.BytesIO()
    with wave.open(out, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(rate)
        file.writeframes(samples.tobytes())
    return out.getvalue()


def clip(path: Path, pictures: list[NDArray[np.uint8]], taken: datetime, frames: int = 30) -> None:
    """A short H.264 clip that drifts through the pictures, sRGB uint8 (H, W, 3) with even sides."""
    height, width, _ = pictures[0].shape
    options = {"fflags": "+bitexact", "movflags": "+faststart"}
    with av.open(str(path), "w", format="mov", options=options) as container:
        container.metadata["creation_time"] = taken.strftime("%Y-%m-%dT%H:%M:%S.000000Z")
        stream = container.add_stream("libx264", rate=_CLIP_RATE)
        stream.width, stream.height, stream.pix_fmt = width, height, "yuv420p"
        stream.codec_context.thread_count = 1
        stream.options = {"crf": "23", "preset": "veryfast", "flags": "+bitexact"}
        for index in range(frames):
            place = index / (frames - 1) * (len(pictures) - 1)
            low = min(int(place), len(pictures) - 2)
            mix = pictures[low] * (1 - (place - low)) + pictures[low + 1] * (place - low)
            frame = av.VideoFrame.from_ndarray(np.round(mix).astype(np.uint8), format="rgb24")
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))


def housekeeping(body: Body, first: str, last: str) -> bytes:
    """The small index a camera keeps for itself below ``MISC``."""
    lines = ["[CARD]", f"BODY={body.model}", f"SERIAL={body.serial}", f"FIRST={first}", f"LAST={last}"]
    return ("\r\n".join(lines) + "\r\n").encode("ascii")


def desktop_store() -> bytes:
    """A ``.DS_Store`` as a desktop leaves it: its header, and nothing of interest."""
    return struct.pack(">I4sIIII", 1, b"Bud1", 0x1000, 0x800, 0x1000, 0).ljust(4096, b"\0")


def resource_fork() -> bytes:
    """A ``._`` companion file: an AppleDouble header (RFC 1740) with an empty Finder-information entry."""
    head = struct.pack(">II16sH", 0x00051607, 0x00020000, b"Mac OS X".ljust(16), 1)
    return (head + struct.pack(">III", 9, 38, 32)).ljust(70, b"\0")


def volume_marker(serial: str) -> bytes:
    """An ``IndexerVolumeGuid``: a made-up identifier in braces, UTF-16."""
    digits = serial.encode().hex().ljust(32, "0")[:32].upper()
    parts = (digits[:8], digits[8:12], digits[12:16], digits[16:20], digits[20:])
    return ("{" + "-".join(parts) + "}").encode("utf-16-le")
