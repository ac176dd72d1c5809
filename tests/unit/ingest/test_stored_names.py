"""Under which names a card's files are kept."""

from __future__ import annotations

import unicodedata

import pytest

from archive.ingest.stored_names import LONGEST, escaped_original, stored_name, stored_path


@pytest.mark.parametrize(
    ("name", "kept"),
    [
        ("NOCT0412.DNG", "NOCT0412.DNG"),
        ("Nordlys på isen.jpg", "Nordlys på isen.jpg"),
        ("100%.jpg", "100%.jpg"),
        ("CON", "%43ON"),
        ("con.txt", "%63on.txt"),
        ("CONTROL.txt", "CONTROL.txt"),
        ("LPT1.log", "%4CPT1.log"),
        ("COM0", "%43OM0"),
        ("COM10", "COM10"),
        ("ascmhl", "%61scmhl"),
        ("ASCMHL", "%41SCMHL"),
        ("ascmhl.txt", "ascmhl.txt"),
        ("name.", "name%2E"),
        ("name ", "name%20"),
        (" name", "%20name"),
        ("a:b", "a%3Ab"),
        ('a<b>c"d|e?f*g\\h', "a%3Cb%3Ec%22d%7Ce%3Ff%2Ag%5Ch"),
        ("line\nbreak", "line%0Abreak"),
        ("50%:off", "50%25%3Aoff"),
        ("zero\u200bwidth", "zero%E2%80%8Bwidth"),
        ("right\u202eleft", "right%E2%80%AEleft"),
        (b"caf\xe9.jpg".decode("utf-8", "surrogateescape"), "caf%E9.jpg"),
    ],
)
def test_a_name_is_kept_or_escaped_by_rule(name: str, kept: str) -> None:
    assert stored_name(name) == kept


def test_a_long_name_is_cut_marked_and_keeps_its_ending() -> None:
    name = "é" * 125 + ".jpg"
    kept = stored_name(name)
    assert len(kept.encode()) <= LONGEST
    assert kept.endswith(".jpg")
    stem, _, mark = kept.removesuffix(".jpg").rpartition("%")
    assert len(mark) == 12
    assert name.startswith(stem)


def test_long_names_that_begin_alike_stay_apart() -> None:
    names = {stored_name("x" * 250 + f"{number}") for number in range(4)}
    assert len(names) == 4


def test_a_name_of_just_the_longest_length_is_kept() -> None:
    assert stored_name("x" * LONGEST) == "x" * LONGEST


def test_case_twins_are_told_apart_by_escaping_the_later_one() -> None:
    taken: set[str] = set()
    assert stored_path("100/IMG.JPG", taken) == "100/IMG.JPG"
    assert stored_path("100/img.jpg", taken) == "100/%69mg.jpg"
    assert stored_path("100/Img.jpg", taken) == "100/%49mg.jpg"


def test_composed_and_decomposed_names_are_told_apart() -> None:
    taken: set[str] = set()
    composed = unicodedata.normalize("NFC", "é.jpg")
    apart = unicodedata.normalize("NFD", "é.jpg")
    first, second = stored_path(composed, taken), stored_path(apart, taken)
    assert first == composed
    assert unicodedata.normalize("NFC", second).casefold() != unicodedata.normalize("NFC", first).casefold()


def test_a_path_that_is_taken_again_and_again_always_finds_a_name() -> None:
    taken: set[str] = set()
    kept = [stored_path("ab", taken) for _ in range(12)]
    assert len(set(kept)) == 12
    assert len({name.casefold() for name in kept}) == 12


def test_a_name_that_looks_escaped_does_not_collide_with_one_that_is() -> None:
    taken: set[str] = set()
    assert stored_path("a%3Ab", taken) == "a%3Ab"
    assert stored_path("a:b", taken) != "a%3Ab"


def test_a_file_never_takes_the_name_of_a_folder() -> None:
    taken: set[str] = set()
    first = stored_path("MISC/KVELV.CTG", taken)
    second = stored_path("MISC", taken)
    assert first == "MISC/KVELV.CTG"
    assert second.casefold() != "misc"


def test_a_folder_never_takes_the_name_of_a_file() -> None:
    taken: set[str] = set()
    assert stored_path("MISC", taken) == "MISC"
    path = stored_path("misc/KVELV.CTG", taken)
    assert path.partition("/")[0].casefold() != "misc"


@pytest.mark.parametrize(
    ("path", "text"),
    [
        ("DCIM/100/a.jpg", "DCIM/100/a.jpg"),
        ("100%", "100%25"),
        ("a\nb", "a%0Ab"),
        ("på/é", "på/é"),
        (b"\xff\xfe".decode("utf-8", "surrogateescape"), "%FF%FE"),
    ],
)
def test_the_card_s_own_path_is_written_reversibly(path: str, text: str) -> None:
    from urllib.parse import unquote_to_bytes

    assert escaped_original(path) == text
    assert unquote_to_bytes(text).decode("utf-8", "surrogateescape") == path
