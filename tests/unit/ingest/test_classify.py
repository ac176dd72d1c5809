from __future__ import annotations

from pathlib import PurePosixPath

import pytest
from support.exif_bytes import box, tiff
from support.samples import SAMPLES, needs_samples, sample_files

from archive.ingest.classify import classify
from archive.model.capture import Role

JPEG = b"\xff\xd8\xff\xe1" + bytes(60)
TIFF = tiff({0x100: 10})
MOVIE = box(b"ftyp", b"mp42\0\0\0\0")


def role(path: str, head: bytes = b"") -> Role:
    found, reason = classify(PurePosixPath(path), head)
    assert (reason is None) == (found is not Role.LITTER)
    return found


@pytest.mark.parametrize(
    ("path", "head", "expected"),
    [
        ("DCIM/100NOCTU/NOCT0001.DNG", TIFF, Role.RAW),
        ("DCIM/100NOCTU/NOCT0001.dng", b"", Role.RAW),
        ("DCIM/100NOCTU/NOCT0001.NEF", b"MM\0*" + bytes(60), Role.RAW),
        ("DCIM/100NOCTU/NOCT0001.CR3", box(b"ftyp", b"crx \0\0\0\0"), Role.RAW),
        ("DCIM/100NOCTU/NOCT0001.GPR", TIFF, Role.RAW),
        ("DCIM/100NOCTU/NOCT0001.ARQ", TIFF, Role.RAW),
        ("DCIM/100NOCTU/NOCT0001.JPG", JPEG, Role.PICTURE),
        ("DCIM/100NOCTU/NOCT0001.jpeg", JPEG, Role.PICTURE),
        ("DCIM/100NOCTU/NOCT0001.HEIC", box(b"ftyp", b"heic\0\0\0\0"), Role.PICTURE),
        ("DCIM/100NOCTU/NOCT0001.HIF", box(b"ftyp", b"heix\0\0\0\0"), Role.PICTURE),
        ("DCIM/100NOCTU/NOCT0001.TIFF", TIFF, Role.PICTURE),
        ("DCIM/100NOCTU/NOCT0001.tif", b"", Role.PICTURE),
        ("DCIM/100NOCTU/NOCT0001.PNG", b"\x89PNG\r\n\x1a\n", Role.PICTURE),
        ("DCIM/100NOCTU/NOCT0001.MOV", box(b"moov"), Role.CLIP),
        ("DCIM/100NOCTU/NOCT0001.mp4", MOVIE, Role.CLIP),
        ("DCIM/100NOCTU/NOCT0001.INSV", MOVIE, Role.CLIP),
        ("PRIVATE/AVCHD/BDMV/STREAM/00000.MTS", b"", Role.CLIP),
        ("DCIM/100NOCTU/NOCT0001.AVI", b"RIFF\0\0\0\0AVI ", Role.CLIP),
        ("DCIM/100NOCTU/NOCT0001.WAV", b"RIFF\0\0\0\0WAVE", Role.SOUND),
        ("DCIM/100NOCTU/NOCT0001.M4A", MOVIE, Role.SOUND),
        ("DCIM/100NOCTU/NOCT0001.AAC", b"", Role.SOUND),
        ("DCIM/100NOCTU/NOCT0001.THM", JPEG, Role.SIDECAR),
        ("DCIM/100NOCTU/NOCT0001.XMP", b"<x:xmpmeta", Role.SIDECAR),
        ("DCIM/100NOCTU/NOCT0001.LRV", MOVIE, Role.SIDECAR),
        ("DCIM/100NOCTU/NOCT0001.SRT", b"1\n", Role.SIDECAR),
        ("DCIM/100NOCTU/track.gpx", b"<gpx", Role.SIDECAR),
        ("DCIM/CANONMSC/M0100.CTG", b"", Role.HOUSEKEEPING),
        ("MISC/AUTPRINT.MRK", b"[HDR]", Role.HOUSEKEEPING),
        ("MISC/version.txt", b"{", Role.HOUSEKEEPING),
        ("PRIVATE/SONY/SONYCARD.IND", b"", Role.HOUSEKEEPING),
        ("PRIVATE/M4ROOT/MEDIAPRO.XML", b"<?xml", Role.HOUSEKEEPING),
        ("PRIVATE/AVCHD/BDMV/INDEX.BDM", b"INDX", Role.HOUSEKEEPING),
        ("NIKON001.DSC", b"", Role.HOUSEKEEPING),
        ("notes.txt", b"clouds at 2", Role.UNKNOWN),
        ("DCIM/100NOCTU/NOCT0001", b"", Role.UNKNOWN),
        ("DCIM/100NOCTU/NOCT0001.QQQ", b"what", Role.UNKNOWN),
        ("masters.csv", b"a,b", Role.UNKNOWN),
    ],
)
def test_each_file_has_the_role_that_its_name_and_bytes_say(path: str, head: bytes, expected: Role) -> None:
    assert role(path, head) is expected


@pytest.mark.parametrize(
    ("path", "head", "expected"),
    [
        ("a.NEF", JPEG, Role.PICTURE),
        ("a.JPG", MOVIE, Role.CLIP),
        ("a.MOV", JPEG, Role.PICTURE),
        ("a.txt", JPEG, Role.PICTURE),
        ("a.JPG", b"FUJIFILMCCD-RAW 0201", Role.RAW),
        ("a.JPG", tiff({0xC612: b"\x01\x04\0\0"}), Role.RAW),
        ("a.TIF", tiff({0xFE: 1, 0x14A: 70000}), Role.RAW),
        ("a.TIF", tiff({0x106: 32803}), Role.RAW),
        ("a.TIF", tiff({0xFE: 1}), Role.PICTURE),
        ("a.dat", b"II*\0\x10\0\0\0CR\x02\0" + bytes(50), Role.RAW),
        ("a.CRM", box(b"ftyp", b"crx \0\0\0\0"), Role.CLIP),
        ("a.bin", (b"\x47" + bytes(187)) * 4, Role.CLIP),
        ("a.bin", bytes(4) + (b"\x47" + bytes(191)) * 4, Role.CLIP),
    ],
)  # fmt: skip
def test_bytes_outweigh_an_extension_that_lies(path: str, head: bytes, expected: Role) -> None:
    assert role(path, head) is expected


@pytest.mark.parametrize(
    ("path", "words"),
    [
        ("DCIM/100NOCTU/._NOCT0001.DNG", "macOS resource data"),
        (".DS_Store", "macOS folder settings"),
        ("DCIM/.DS_Store", "macOS folder settings"),
        (".Spotlight-V100/Store-V2/a/b.db", "macOS search index"),
        (".Trashes/501/NOCT0001.DNG", "macOS trash"),
        (".fseventsd/0000", "macOS change log"),
        ("System Volume Information/IndexerVolumeGuid", "Windows volume data"),
        ("$RECYCLE.BIN/S-1-5/desktop.ini", "Windows recycle bin"),
        ("DCIM/Thumbs.db", "Windows thumbnail cache"),
        ("DCIM/desktop.ini", "Windows folder settings"),
        (".Trash-1000/files/a.JPG", "Linux trash"),
        ("lost+found/#1234", "file-system repair folder"),
        ("LOST.DIR/1", "file-system repair folder"),
    ],
)
def test_litter_is_told_with_its_reason(path: str, words: str) -> None:
    assert classify(PurePosixPath(path), b"\0\x05\x16\x07") == (Role.LITTER, words)


def test_a_real_picture_whose_name_looks_like_litter_is_kept() -> None:
    assert role("DCIM/100NOCTU/._NOCT0001.JPG", JPEG) is Role.PICTURE


def test_a_tiff_whose_directory_lies_outside_the_head_is_judged_by_its_name() -> None:
    assert role("a.TIF", b"II*\0\xff\xff\xff\x7f") is Role.PICTURE
    assert role("a.ARW", b"II*\0\xff\xff\xff\x7f") is Role.RAW


@needs_samples
@pytest.mark.samples
def test_every_sample_has_the_role_of_its_kind() -> None:
    assert SAMPLES is not None
    by_content = {
        "broken/ARW.exif": Role.RAW,
        "broken/fujifilm_x_t1_01.raf.meta": Role.RAW,
        "broken/crash-2acf142a7186e47bf635df3a862bdbedf53b458a.fuzzed": Role.CLIP,
        "broken/crash-47ae7948576b1dbadb888160907f012c554630af.fuzzed": Role.CLIP,
    }
    by_suffix = {
        **dict.fromkeys((".crw", ".kdc", ".dng", ".gpr", ".arw", ".cr2", ".cr3"), Role.RAW),
        **dict.fromkeys((".rw2", ".mrw", ".nef", ".x3f", ".raf"), Role.RAW),
        **dict.fromkeys((".jpg", ".heic", ".heif", ".tiff"), Role.PICTURE),
        **dict.fromkeys((".mov", ".mp4"), Role.CLIP),
        ".thm": Role.SIDECAR,
    }
    checked = 0
    for path in sample_files():
        name = path.relative_to(SAMPLES).as_posix()
        expected = by_content.get(name) or by_suffix[path.suffix.lower()]
        with path.open("rb") as stream:
            assert role(name, stream.read(65536)) is expected, name
        checked += 1
    assert checked >= 70
