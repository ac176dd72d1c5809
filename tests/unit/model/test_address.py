"""What people type, taken apart."""

from __future__ import annotations

import pytest

from archive.errors import Exit, UsageError
from archive.model.address import Address, parse_address


@pytest.mark.parametrize(
    ("text", "night", "camera", "number", "first", "last"),
    [
        ("2026-03-18", "2026-03-18", None, None, None, None),
        ("2026-03-18/north", "2026-03-18", "north", None, None, None),
        ("2026-03-18/north/2", "2026-03-18", "north", 2, None, None),
        ("2026-03-18/north/2#137", "2026-03-18", "north", 2, 137, 137),
        ("2026-03-18/north/2#40..410", "2026-03-18", "north", 2, 40, 410),
        ("2026-03-18/north/2#7..7", "2026-03-18", "north", 2, 7, 7),
        ("2026-03-18/river cam/12", "2026-03-18", "river cam", 12, None, None),
        ("  2026-03-18/north/2  ", "2026-03-18", "north", 2, None, None),
    ],
)
def test_a_place_is_taken_apart(
    text: str, night: str, camera: str | None, number: int | None, first: int | None, last: int | None
) -> None:
    wanted = Address(
        text=text.strip(), night=night, camera=camera, number=number, first=first, last=last, name=None
    )
    assert parse_address(text) == wanted


def test_a_camera_file_name_is_a_name_and_starts_no_id() -> None:
    assert parse_address("NOCT0412.DNG") == Address(text="NOCT0412.DNG", name="NOCT0412.DNG")


@pytest.mark.parametrize("text", ["7c1f9a2e", "xxh128:7c1f9a2e", "0" * 32, "xxh128:" + "ab" * 16])
def test_eight_or_more_digits_may_start_an_id_and_may_still_be_a_name(text: str) -> None:
    address = parse_address(text)
    assert address.digits == text.removeprefix("xxh128:")
    assert address.name == text


@pytest.mark.parametrize("text", ["7c1f9a2", "0" * 33, "7C1F9A2E", "sha256:7c1f9a2e", "7c1f9a2g"])
def test_what_is_too_short_too_long_or_no_lower_case_hexadecimal_starts_no_id(text: str) -> None:
    assert parse_address(text).digits is None


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "A frame needs a name"),
        ("   ", "A frame needs a name"),
        ("2026-03-18#5", "names no sequence to count them in"),
        ("2026-03-18/north#5", "names no sequence to count them in"),
        ("2026-03-18/north/2#0", "frames count from 1"),
        ("2026-03-18/north/2#9..3", "the first before the last"),
        ("2026-03-18/north/1#1..99999999999999999999", "further than any sequence does"),
        ("2026-03-18/north/1#1..1" + "0" * 5000, "further than any sequence does"),
        ("2026-03-18/north/99999999999999999999", "further than any sequence does"),
    ],
)
def test_a_wrong_address_is_refused_with_an_example(text: str, message: str) -> None:
    with pytest.raises(UsageError, match=message) as caught:
        parse_address(text)
    assert caught.value.exit_code is Exit.USAGE
    assert "2026-03-18/north" in caught.value.hint or "NIGHT/CAMERA" in caught.value.hint


@pytest.mark.parametrize(
    "text",
    [
        "2026-3-18/north/2",
        "2026-03-18/north/\u0663",
        "2026-03-18/north/two",
        "2026-03-18/north/2#",
        "18/north",
    ],
)
def test_what_is_almost_a_place_is_looked_up_as_a_name(text: str) -> None:
    address = parse_address(text)
    assert address.night is None
    assert address.name == text
