from __future__ import annotations

import io
import shutil
import subprocess
from pathlib import Path
from xml.etree import ElementTree

import pytest
from PIL import Image
from support.exif_bytes import movie

from archive.errors import DamagedFileError
from archive.formats.provenance import (
    MAX_INPUTS,
    MAX_PACKET,
    Provenance,
    Step,
    find_packet,
    inputs_digest,
    mp4_uuid_box,
    packet,
    read_packet,
)

CREATED = "2026-03-19T07:00:00Z"
TOOL = "Noctuary 0.1.0"
FRAME = ("xxh128:" + "a" * 32, "xxh128:" + "b" * 32)


def made(inputs: list[tuple[str, str]], **given: object) -> bytes:
    values = {"document_id": "d1", "instance_id": "i1", "created": CREATED, "tool": TOOL}
    return packet(derived_from=inputs, **(values | given))  # type: ignore[arg-type]


def frames(count: int) -> list[tuple[str, str]]:
    return [(f"xxh128:{number:032x}", f"xxh128:{number:032x}") for number in range(count)]


def wrapped(description: str) -> bytes:
    return (
        '<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF '
        'xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#" '
        'xmlns:xmp="http://ns.adobe.com/xap/1.0/" xmlns:xmpMM="http://ns.adobe.com/xap/1.0/mm/" '
        'xmlns:stRef="http://ns.adobe.com/xap/1.0/sType/ResourceRef#" '
        f'xmlns:dc="http://purl.org/dc/elements/1.1/">{description}</rdf:RDF></x:xmpmeta>'
    ).encode()


def test_a_still_names_the_one_frame_it_was_made_from() -> None:
    assert read_packet(made([FRAME], rating=4, texts={"title": "River & <ice>"})) == Provenance(
        document_id="d1",
        instance_id="i1",
        original_document_id=FRAME[0],
        derived_from=(FRAME,),
        inputs=1,
        created=CREATED,
        tool=TOOL,
        history=(Step(action="created", when=CREATED, agent=TOOL, instance_id="i1"),),
        rating=4,
        title="River & <ice>",
    )


def test_texts_are_written_as_dublin_core_has_them_and_read_back() -> None:
    texts = {
        "title": "Ice & arc",
        "caption": "Seen\nfrom the river",
        "creator": "Ingrid Ås",
        "rights": "© 2026",
    }
    data = made([FRAME], texts=texts)
    read = read_packet(data)
    assert {name: getattr(read, name) for name in texts} == texts
    root = ElementTree.fromstring(data[data.index(b"<x:xmpmeta") : data.rindex(b"<?xpacket")])
    names = {"rdf": "http://www.w3.org/1999/02/22-rdf-syntax-ns#", "dc": "http://purl.org/dc/elements/1.1/"}
    language = "{http://www.w3.org/XML/1998/namespace}lang"
    # ISO 16684-1, Dublin Core namespace: these three are language alternatives, creator an ordered array.
    for path, text in (("title/rdf:Alt", texts["title"]), ("description/rdf:Alt", texts["caption"]),
                       ("rights/rdf:Alt", texts["rights"])):  # fmt: skip
        (item,) = root.findall(f".//dc:{path}/rdf:li", names)
        assert (item.text, item.get(language)) == (text, "x-default")
    (item,) = root.findall(".//dc:creator/rdf:Seq/rdf:li", names)
    assert (item.text, item.get(language)) == (texts["creator"], None)
    assert made([FRAME], texts={}) == made([FRAME])


def test_several_creators_and_plain_values_of_other_programs_are_read() -> None:
    creators = "<dc:creator><rdf:Seq><rdf:li>A</rdf:li><rdf:li>B</rdf:li></rdf:Seq></dc:creator>"
    read = read_packet(wrapped(f'<rdf:Description rdf:about="" dc:rights="R">{creators}</rdf:Description>'))
    assert (read.creator, read.rights, read.caption) == ("A; B", "R", None)


def test_a_movie_names_its_frames_in_order() -> None:
    read = read_packet(made(frames(MAX_INPUTS)))
    assert read.derived_from == tuple(frames(MAX_INPUTS))
    assert (read.inputs, read.inputs_digest, read.original_document_id) == (MAX_INPUTS, None, None)


def test_too_many_frames_are_counted_and_pointed_at() -> None:
    inputs = frames(MAX_INPUTS + 1)
    read = read_packet(made(inputs))
    assert (read.derived_from, read.inputs) == ((), MAX_INPUTS + 1)
    assert read.inputs_digest == inputs_digest(inputs)
    assert inputs_digest(inputs) != inputs_digest(inputs[::-1])


@pytest.mark.parametrize("count", [0, 1, 2, MAX_INPUTS, MAX_INPUTS + 1, 100_000])
def test_a_packet_always_fits_a_jpeg(count: int) -> None:
    assert len(made(frames(count))) <= MAX_PACKET


def test_long_ids_give_way_to_a_count_before_a_packet_grows_too_large() -> None:
    inputs = [("d" * 400 + str(number), "i") for number in range(MAX_INPUTS)]
    assert read_packet(made(inputs)).inputs == MAX_INPUTS
    assert read_packet(made(inputs)).derived_from == ()


def test_what_cannot_fit_at_all_is_refused() -> None:
    with pytest.raises(ValueError, match="does not fit"):
        made([FRAME], texts={"title": "t" * MAX_PACKET})
    with pytest.raises(ValueError, match="rating: 6"):
        made([FRAME], rating=6)


def test_the_same_values_have_the_same_bytes() -> None:
    assert made(frames(3)) == made(frames(3))


def test_control_characters_become_blanks() -> None:
    assert read_packet(made([], texts={"title": "a\x00b\x1bc"})).title == "a b c"


def test_a_given_history_is_kept_in_order() -> None:
    steps = (
        Step(action="created", when=CREATED),
        Step(action="resized", when="2026-03-20T00:00:00Z", agent="x", parameters="1920 wide"),
    )
    assert read_packet(made([FRAME], history=steps)).history == steps
    assert read_packet(made([FRAME], history=())).history == ()


def test_the_short_form_of_other_writers_is_read() -> None:
    read = read_packet(
        wrapped(
            '<rdf:Description rdf:about="" xmpMM:DocumentID="d" xmpMM:InstanceID="i" xmp:Rating="-1.0">'
            '<xmpMM:DerivedFrom stRef:documentID="p" stRef:instanceID="q"/></rdf:Description>'
            '<rdf:Description rdf:about="" xmp:CreatorTool="other"><dc:title><rdf:Alt>'
            '<rdf:li xml:lang="x-default">T</rdf:li></rdf:Alt></dc:title></rdf:Description>'
        )
    )
    assert (read.document_id, read.instance_id, read.rating) == ("d", "i", -1)
    assert (read.derived_from, read.tool, read.title) == ((("p", "q"),), "other", "T")


def test_structures_in_a_description_of_their_own_are_read() -> None:
    inner = '<rdf:li><rdf:Description stRef:documentID="p"/></rdf:li>'
    bag = f"<xmpMM:Ingredients><rdf:Bag>{inner}</rdf:Bag></xmpMM:Ingredients>"
    assert read_packet(wrapped(f"<rdf:Description>{bag}</rdf:Description>")).derived_from == (("p", ""),)


@pytest.mark.parametrize("rating", ["7", "nan", "inf", "2.5", "good", ""])
def test_a_rating_outside_the_standard_is_none(rating: str) -> None:
    read = read_packet(wrapped(f'<rdf:Description xmp:Rating="{rating}"/>'))
    assert read.rating is None


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"<x/>",
        b"<?xpacket begin=''?>",
        made([FRAME])[:-60],
        b"<!DOCTYPE x [<!ENTITY a 'aaaa'>]>" + wrapped("<rdf:Description>&a;</rdf:Description>"),
        b"<a>" * 500,
    ],
)
def test_hostile_and_broken_packets_are_refused(data: bytes) -> None:
    with pytest.raises(DamagedFileError):
        read_packet(data)


def test_padding_after_a_packet_does_no_harm() -> None:
    assert read_packet(made([FRAME]) + b" " * 100 + b"\0").document_id == "d1"


def test_a_packet_survives_a_jpeg_written_and_read_by_an_independent_library() -> None:
    out = io.BytesIO()
    Image.new("RGB", (4, 3)).save(out, "JPEG", xmp=made([FRAME]))
    assert Image.open(io.BytesIO(out.getvalue())).info["xmp"] == made([FRAME])
    assert find_packet(out.getvalue()) == made([FRAME])
    assert find_packet(out) == made([FRAME])


def test_a_box_appended_to_a_movie_is_found_and_changes_nothing_before_it() -> None:
    film = movie(3_856_000_000)
    box = mp4_uuid_box(made(frames(5)))
    assert int.from_bytes(box[:4], "big") == len(box)
    assert find_packet(film) is None
    assert find_packet(film + box) == made(frames(5))


@pytest.mark.skipif(shutil.which("exiftool") is None, reason="no independent reader is installed")
@pytest.mark.parametrize("carrier", ["jpeg", "mp4", "xmp"])
def test_an_independent_reader_finds_the_same_ids(tmp_path: Path, carrier: str) -> None:
    xmp = made([FRAME], rating=5)
    path = tmp_path / f"a.{carrier}"
    if carrier == "jpeg":
        Image.new("RGB", (4, 3)).save(path, "JPEG", xmp=xmp)
    else:
        path.write_bytes(movie(3_856_000_000) + mp4_uuid_box(xmp) if carrier == "mp4" else xmp)
    tags = [
        "DocumentID",
        "InstanceID",
        "OriginalDocumentID",
        "DerivedFromDocumentID",
        "Rating",
        "CreatorTool",
        "HistoryAction",
    ]
    told = subprocess.run(
        ["exiftool", "-s3", *(f"-XMP:{tag}" for tag in tags), str(path)],
        capture_output=True,
        text=True,
        timeout=60,
    ).stdout.split("\n")
    assert told[:7] == ["d1", "i1", FRAME[0], FRAME[0], "5", TOOL, "created"]
