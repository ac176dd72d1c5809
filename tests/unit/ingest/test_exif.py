from __future__ import annotations

import io
import shutil
import struct
import subprocess
from datetime import datetime
from fractions import Fraction

import pytest
from support.exif_bytes import FAR, box, movie, tiff
from support.samples import SAMPLES, needs_samples, sample_files

from archive.ingest.exif import CLOCK_UNKNOWN, read_facts
from archive.model.capture import CaptureFacts

DATE, DIGITIZED, CHANGED = 0x9003, 0x9004, 0x0132
SUBSEC, OFFSET = 0x9291, 0x9011
SINCE_1904 = int((datetime(2026, 3, 18, 23, 30, 15) - datetime(1904, 1, 1)).total_seconds())


def facts(data: bytes) -> CaptureFacts:
    return read_facts(io.BytesIO(data), "NOCT0001.DNG")


def exif(**given: object) -> CaptureFacts:
    return facts(tiff({}, {int(tag[1:], 16): value for tag, value in given.items()}))  # type: ignore[misc]


def test_every_fact_of_a_full_header_is_read() -> None:
    found = facts(
        tiff(
            {0x010F: "Northlight", 0x0110: "N-7", 0x0112: 6},
            {
                DATE: "2026:03:18 23:30:15",
                SUBSEC: "04",
                OFFSET: "+01:00",
                0x829A: Fraction(8),
                0x829D: Fraction(14, 10),
                0x8827: 3200,
                0x920A: Fraction(20),
                0xA002: 6000,
                0xA003: 4000,
                0xA431: "N7-0042",
                0xA434: "20 mm f/1.4",
            },
            {0x1D: "2026:03:18", 0x07: [(22, 1), (30, 1), (1504, 100)]},
        )
    )
    assert found == CaptureFacts(
        taken="2026-03-18T23:30:15.04",
        taken_from="original",
        offset="+01:00",
        gps_utc="2026-03-18T22:30:15.040000Z",
        exposure_s=8.0,
        f_number=1.4,
        iso=3200,
        focal_mm=20.0,
        make="Northlight",
        model="N-7",
        serial="N7-0042",
        lens="20 mm f/1.4",
        orientation=6,
        width=6000,
        height=4000,
    )


@pytest.mark.parametrize(
    ("digits", "taken"),
    [
        ("04", "2026-03-18T23:30:15.04"),
        ("4", "2026-03-18T23:30:15.4"),
        ("00", "2026-03-18T23:30:15.00"),
        ("890", "2026-03-18T23:30:15.890"),
        ("5  ", "2026-03-18T23:30:15.5"),
        ("   ", "2026-03-18T23:30:15"),
        ("x", "2026-03-18T23:30:15"),
    ],
)
def test_sub_second_digits_are_a_fraction(digits: str, taken: str) -> None:
    assert exif(x9003="2026:03:18 23:30:15", x9291=digits).taken == taken


@pytest.mark.parametrize("written", ["    :  :     :  :  ", "", "                   ", "0000:00:00 00:00:00"])
def test_a_blank_date_is_none_and_told(written: str) -> None:
    found = exif(x9003=written)
    assert (found.taken, found.taken_from) == (None, None)
    assert found.faults == ("the date is blank: the camera's clock was not set",)


@pytest.mark.parametrize(
    "written", ["2026:13:18 23:30:15", "2026:02:30 00:00:00", "2026:03:18 25:00:00", "yesterday", "2026"]
)
def test_an_impossible_date_is_none_and_told(written: str) -> None:
    found = exif(x9003=written)
    assert found.taken is None
    assert "impossible date" in found.faults[0]


@pytest.mark.parametrize("year", ["1980", "1989", "2038", "2099"])
def test_an_implausible_date_is_kept_and_told(year: str) -> None:
    found = exif(x9003=f"{year}:01:01 00:00:10")
    assert found.taken == f"{year}-01-01T00:00:10"
    assert "implausible date" in found.faults[0]


def test_a_plausible_wrong_date_is_kept_as_read() -> None:
    assert exif(x9003="1994:01:02 15:52:32") == CaptureFacts(
        taken="1994-01-02T15:52:32", taken_from="original"
    )


def test_the_next_date_stands_in_for_an_impossible_one() -> None:
    found = facts(tiff({CHANGED: "2026:03:19 01:02:03"}, {DATE: "0000:00:00 00:00:00"}))
    assert (found.taken, found.taken_from) == ("2026-03-19T01:02:03", "changed")
    assert exif(x9004="2026:03:18 23:30:15").taken_from == "digitized"


def test_a_date_in_the_first_directory_only_is_found() -> None:
    found = facts(tiff({DATE: "1994:01:02 15:52:32", 0x829A: Fraction(1, 30)}))
    assert (found.taken, found.exposure_s) == ("1994-01-02T15:52:32", 1 / 30)


@pytest.mark.parametrize(
    ("written", "offset", "faults"),
    [
        ("+01:00", "+01:00", 0),
        ("-09:30", "-09:30", 0),
        ("Z", "+00:00", 0),
        ("", None, 0),
        ("   :  ", None, 1),
        ("+25:00", None, 1),
        ("CET", None, 1),
    ],
)
def test_offsets_from_utc_are_read_when_they_can_be(written: str, offset: str | None, faults: int) -> None:
    found = exif(x9003="2026:03:18 23:30:15", x9011=written)
    assert (found.offset, len(found.faults)) == (offset, faults)


def test_the_offset_of_the_file_counts_only_while_the_file_is_unedited() -> None:
    plain = {DATE: "2026:03:18 23:30:15", 0x9010: "+01:00"}
    assert facts(tiff({CHANGED: "2026:03:18 23:30:15"}, plain)).offset == "+01:00"  # type: ignore[arg-type]
    assert facts(tiff({CHANGED: "2026:03:20 10:00:00"}, plain)).offset is None  # type: ignore[arg-type]


@pytest.mark.parametrize("value", [(0, 0), (0, 1), (5, 0), 0])
def test_nothing_over_nothing_is_unknown(value: object) -> None:
    assert exif(x829A=value, x829D=value, x920A=value, x8827=0) == CaptureFacts()


def test_a_number_that_cannot_be_is_left_out_and_told() -> None:
    found = exif(x829D=(205, 1024))
    assert found == CaptureFacts(faults=("implausible f-number 0.2002",))


@pytest.mark.parametrize(
    ("given", "iso"),
    [
        ({"x8827": 800}, 800),
        ({"x8827": [800, 0]}, 800),
        ({"x8827": 65535, "x8830": 2, "x8832": 102400}, 102400),
        ({"x8827": 65535, "x8830": 3, "x8833": 204800}, 204800),
        ({"x8832": 102400, "x8833": 409600}, 102400),
        ({"x8827": 65535}, 65535),
        ({"x8827": 0, "x8833": 100}, 100),
    ],
)
def test_sensitivity_beyond_sixteen_bits_comes_from_the_longer_fields(
    given: dict[str, object], iso: int
) -> None:
    assert exif(**given).iso == iso


@pytest.mark.parametrize(
    ("written", "cleaned"),
    [
        ("NORTHLIGHT CORP.      ", "NORTHLIGHT CORP."),
        ("  N\t7  ", "N 7"),
        ("", None),
        ("    ", None),
        ("----", None),
        ("N\x1b[2J7", "N [2J7"),
        ("Nörd", "Nörd"),
        (12336, None),
    ],
)
def test_makes_are_stripped_of_padding_and_controls(written: str | int, cleaned: str | None) -> None:
    assert facts(tiff({0x010F: written, 0x0110: written})).make == cleaned


def test_gps_without_a_fix_or_without_a_date_gives_no_time() -> None:
    date = "2026:03:18"
    assert facts(tiff({}, {}, {0x1D: date, 0x07: [(0, 0)] * 3})).gps_utc is None
    assert facts(tiff({}, {}, {0x1D: date, 0x07: [(25, 1), (0, 1), (0, 1)]})).gps_utc is None
    assert facts(tiff({}, {}, {0x1D: date})).gps_utc is None
    assert facts(tiff({}, {}, {0x07: [(2, 1), (0, 1), (0, 1)]})).gps_utc is None
    assert facts(tiff({}, {}, {0x1D: date, 0x07: [(2, 1), (5, 1), (7, 1)]})).gps_utc == "2026-03-18T02:05:07Z"


def test_a_leap_second_carries_over() -> None:
    found = facts(tiff({}, {}, {0x1D: "2016:12:31", 0x07: [(23, 1), (59, 1), (60, 1)]}))
    assert found.gps_utc == "2017-01-01T00:00:00Z"


@pytest.mark.parametrize(("value", "faults"), [(0, 0), (9, 1), (255, 1)])
def test_an_orientation_outside_one_to_eight_is_unknown(value: int, faults: int) -> None:
    found = facts(tiff({0x0112: value}))
    assert (found.orientation, len(found.faults)) == (None, faults)


@pytest.mark.parametrize("version", [0, 1])
def test_a_movie_tells_its_time_but_not_its_zone(version: int) -> None:
    assert facts(movie(SINCE_1904, version=version)) == CaptureFacts(
        taken="2026-03-18T23:30:15", taken_from="embedded", faults=(CLOCK_UNKNOWN,)
    )


def test_a_movie_without_a_time_has_none() -> None:
    assert facts(movie(0)) == CaptureFacts()
    assert facts(box(b"ftyp", b"isom") + box(b"moov", box(b"mvhd", b"\0\0"))) == CaptureFacts()


def test_a_movie_time_no_calendar_holds_is_told() -> None:
    assert facts(movie(2**63, version=1)).faults == ("impossible date in the movie header",)


def test_raw_headers_inside_other_containers_are_found() -> None:
    inner = tiff({0x010F: "Northlight"}, {DATE: "2026:03:18 23:30:15"})
    block = b"\0TTW" + struct.pack(">I", len(inner)) + inner
    assert facts(b"\0MRM" + struct.pack(">I", len(block)) + block).make == "Northlight"
    first, second = tiff({0x010F: "Northlight"}), tiff({DATE: "2026:03:18 23:30:15", 0x8827: 800})
    uuid = bytes.fromhex("85c0b687820f11e08111f4ce462b6a48")
    parts = box(b"uuid", uuid + box(b"CMT1", first) + box(b"CMT2", second))
    found = facts(box(b"ftyp", b"crx \0\0\0\0") + box(b"moov", parts))
    assert (found.make, found.taken, found.iso) == ("Northlight", "2026-03-18T23:30:15", 800)


@pytest.mark.parametrize(
    "data",
    [b"", b"\xff", b"plain text, no picture", bytes(4096), b"FOVb" + bytes(100), b"II\x1a\0\0\0HEAPCCDR"],
)
def test_unknown_containers_have_no_facts_and_no_fault(data: bytes) -> None:
    assert facts(data) == CaptureFacts()


def test_a_directory_that_points_at_itself_ends() -> None:
    data = bytearray(tiff({0x010F: "N"}, {DATE: "2026:03:18 23:30:15", 0x8769: 8}))
    assert facts(bytes(data)).make == "N"


def test_a_field_that_claims_four_gigabytes_reads_no_more_than_allowed() -> None:
    entry = struct.pack("<HHII", 0x010F, 2, 0xFFFFFFFF, 40)
    directory = struct.pack("<H", 1) + entry + struct.pack("<I", 0)
    assert facts(b"II*\0" + struct.pack("<I", 8) + directory + b"N" * FAR).make == "N" * 200


@pytest.mark.parametrize("length", range(0, 400, 13))
def test_a_header_cut_anywhere_raises_nothing(length: int) -> None:
    whole = tiff({0x010F: "Northlight"}, {DATE: "2026:03:18 23:30:15", 0x829A: Fraction(8)})
    compact = whole[:length] if length < 200 else whole[: FAR + length - 200]
    assert isinstance(facts(compact), CaptureFacts)


@needs_samples
@pytest.mark.samples
def test_every_sample_gives_facts_or_a_fault_and_never_raises() -> None:
    for path in sample_files():
        with path.open("rb") as stream:
            found = read_facts(stream, path.name)
        assert CaptureFacts.from_json(found.to_json()) == found
        assert found.taken is None or datetime.fromisoformat(found.taken)


# Source of the expected values: exiftool 12.57 on the same files; it refuses two header fragments,
# exif-no-tz.jpg and the RAF, and was given the EXIF block cut out of them.
SAMPLE_FACTS = [
    ("jpeg/canon-eos-rp/_MG_0635.JPG", "2020-02-18T08:56:13.29", "-07:00", 0.01, 2.8, 100),
    ("jpeg/LYR-Sony-111220_200933.jpg", "2020-12-11T20:09:13", None, 4.0, None, 16000),
    ("jpeg/Bushnell Trophy HD Aggressor 119775C firmware BS685BWYx08237.jpg",
     "2015-08-03T04:30:58", None, None, 2.8, 100),
    ("jpeg/nikon-d90/DSC_0003.JPG", "2021-06-25T10:32:57.00", None, 1 / 125, 1.8, None),
    ("raw/kodak-dc120/P003908.KDC", "1994-01-02T15:52:32", None, 0.00364, 4.0, None),
    ("raw/colorchart.dng", None, None, None, None, None),
    ("raw/gopro-hero7/GOPR8513.GPR", "2020-10-28T08:55:25", None, 1 / 240, 2.8, 255),
    ("raw/canon-powershot-g2/CRW_0313.CRW", None, None, None, None, None),
    ("raw/canon-powershot-g2/CRW_0313.THM", "2022-01-20T08:15:52", None, 1 / 50, 4.0, None),
    ("movie/IMG_3616.HEIC", "2020-04-17T10:04:38.890", "-06:00", 1 / 40, 1.8, 320),
    ("broken/exif-no-tz.jpg", "2023-07-09T20:36:33.616", None, 0.009997, 1.75, 454),
    ("broken/endless_loop.jpg", "2009-05-09T15:42:01.98", None, 1 / 3200, 6.3, 800),
    ("broken/canon-r6.cr3", "2025-09-06T20:24:47.72", "-08:00", 1 / 100, 2.8, 25600),
    ("broken/fujifilm_x_t1_01.raf.meta", "2014-01-30T12:49:13", None, 0.4, 8.0, 200),
    ("broken/Minolta.mrw", "2004-11-18T23:14:58", None, 0.2, 2.8, 64),
    ("broken/fixture-sony-zv-e10.arw", "2021-07-24T14:23:06.583", "-07:00", 1 / 160, 18.0, 100),
]  # fmt: skip


@needs_samples
@pytest.mark.samples
@pytest.mark.parametrize(("name", "taken", "offset", "exposure", "aperture", "iso"), SAMPLE_FACTS)
def test_samples_give_the_values_an_independent_reader_gives(
    name: str,
    taken: str | None,
    offset: str | None,
    exposure: float | None,
    aperture: float | None,
    iso: int | None,
) -> None:
    assert SAMPLES is not None
    with (SAMPLES / name).open("rb") as stream:
        found = read_facts(stream, name)
    assert (found.taken, found.offset, found.iso) == (taken, offset, iso)
    assert found.exposure_s == (exposure and pytest.approx(exposure))
    assert found.f_number == (aperture and pytest.approx(aperture))


@needs_samples
@pytest.mark.samples
@pytest.mark.slow
@pytest.mark.skipif(shutil.which("exiftool") is None, reason="no independent reader is installed")
def test_dates_of_all_samples_agree_with_the_independent_reader() -> None:
    assert SAMPLES is not None
    compared = 0
    for path in sample_files():
        with path.open("rb") as stream:
            found = read_facts(stream, path.name)
        if found.taken_from != "original" or found.taken is None:
            continue
        told = subprocess.run(
            ["exiftool", "-s3", "-DateTimeOriginal", "-d", "%Y-%m-%dT%H:%M:%S", str(path)],
            capture_output=True,
            text=True,
            timeout=60,
        ).stdout.strip()
        if told:
            assert found.taken[:19] == told[:19], path.name
            compared += 1
    assert compared >= 45
