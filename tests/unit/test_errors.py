"""What a user reads when something went wrong."""

from __future__ import annotations

import pytest

from archive.errors import ArchiveError, DamagedFileError, Exit, UsageError, counted, shown


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("NOCT0412.DNG", "NOCT0412.DNG"),
        ("Nordlicht ü 夜", "Nordlicht ü 夜"),
        ("a\nb", "a\\x0ab"),
        ("\x1b[31mred", "\\x1b[31mred"),
        ("gnp.\u202egpj", "gnp.\\u202egpj"),
        ("\x7f\x9b", "\\x7f\\x9b"),
        ("\U000e0041", "\\U000e0041"),
        ("\ud800", "\\ud800"),
        (b"caf\xe9.dng", "caf\\xe9.dng"),
        ("caf\udce9.dng", "caf\\xe9.dng"),
        (b"caf\xc3\xa9.dng", "café.dng"),
    ],
)
def test_a_name_is_shown_without_anything_that_could_move_or_hide_text(name: str | bytes, text: str) -> None:
    assert shown(name) == text


def test_whatever_a_name_holds_what_is_shown_is_printable() -> None:
    assert shown("".join(map(chr, range(0x3000)))).isprintable()


def test_an_error_is_told_as_message_and_hint() -> None:
    error = ArchiveError("It broke.", hint="Mend it.")
    assert str(error) == "It broke. Mend it."
    assert str(ArchiveError("It broke.")) == "It broke."


@pytest.mark.parametrize(
    ("error", "code"),
    [
        (ArchiveError("x"), Exit.REFUSED),
        (UsageError("x"), Exit.USAGE),
        (DamagedFileError("x"), Exit.ATTENTION),
        (ArchiveError("x", exit_code=Exit.ATTENTION), Exit.ATTENTION),
    ],
)
def test_each_kind_of_error_ends_a_command_with_its_code(error: ArchiveError, code: Exit) -> None:
    assert error.exit_code is code


def test_every_exit_code_has_a_meaning_of_its_own() -> None:
    assert [int(code) for code in Exit] == [0, 1, 2, 3]
    assert len({code.meaning for code in Exit}) == 4


def test_a_number_and_its_noun_agree() -> None:
    assert [counted(n, "frame") for n in (0, 1, 2)] == ["0 frames", "1 frame", "2 frames"]
    assert [counted(n, "entry", "entries") for n in (1, 450)] == ["1 entry", "450 entries"]
