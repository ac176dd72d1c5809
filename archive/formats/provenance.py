"""Provenance inside a made file: an XMP packet (ISO 16684-1) that says what it was made from.

Ids are opaque and compared byte for byte; no path, position or name of a computer is ever written. A
packet fits a JPEG: beyond ``MAX_INPUTS`` inputs it holds only their number and the digest of their list,
and the archive's journal holds the list itself.
"""

from __future__ import annotations

import io
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import BinaryIO
from xml.etree import ElementTree
from xml.etree.ElementTree import Element

from archive.errors import DamagedFileError
from archive.formats import carriers, markup
from archive.formats.markup import Node
from archive.model.identity import derived_key

MAX_PACKET = 65502
MAX_INPUTS = 200

_NAMESPACES = {
    "rdf": "http://www.w3.org/1999/02/22-rdf-syntax-ns#",
    "dc": "http://purl.org/dc/elements/1.1/",
    "xmp": "http://ns.adobe.com/xap/1.0/",
    "xmpMM": "http://ns.adobe.com/xap/1.0/mm/",
    "stRef": "http://ns.adobe.com/xap/1.0/sType/ResourceRef#",
    "stEvt": "http://ns.adobe.com/xap/1.0/sType/ResourceEvent#",
    "noctuary": "urn:noctuary:provenance:1",
}
_TEXTS = {
    "title": ("dc:title", "rdf:Alt"),
    "caption": ("dc:description", "rdf:Alt"),
    "creator": ("dc:creator", "rdf:Seq"),
    "rights": ("dc:rights", "rdf:Alt"),
}
_BEGIN = '<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>\n'
_END = '\n<?xpacket end="r"?>'


@dataclass(frozen=True, kw_only=True)
class Step:
    """One event in a file's history: a past-tense verb, when, by what tool, with what."""

    action: str
    when: str
    agent: str | None = None
    instance_id: str | None = None
    parameters: str | None = None


@dataclass(frozen=True, kw_only=True)
class Provenance:
    """What a packet says.

    ``derived_from`` are (document id, instance id) of the inputs, empty where ``inputs`` says that there
    were too many to list; ``inputs_digest`` is then the digest of their list.
    """

    document_id: str | None
    instance_id: str | None
    original_document_id: str | None = None
    derived_from: tuple[tuple[str, str], ...] = ()
    inputs: int = 0
    inputs_digest: str | None = None
    created: str | None = None
    tool: str | None = None
    history: tuple[Step, ...] = ()
    rating: int | None = None
    title: str | None = None
    caption: str | None = None
    creator: str | None = None
    rights: str | None = None


def inputs_digest(derived_from: Sequence[tuple[str, str]]) -> str:
    """The digest that stands for a list of inputs too long for a packet."""
    return derived_key("inputs", *([document, instance] for document, instance in derived_from))


def packet(
    *,
    document_id: str,
    instance_id: str,
    derived_from: Sequence[tuple[str, str]],
    created: str,
    tool: str,
    history: Sequence[Step] | None = None,
    rating: int | None = None,
    texts: Mapping[str, str] | None = None,
) -> bytes:
    """The packet of a made file; the same values always give the same bytes, at most ``MAX_PACKET``.

    Parameters
    ----------
    derived_from : (document id, instance id) of each input, in order.
    created : ISO 8601 time.
    tool : name and version of the program.
    history : None stands for one event, the file's creation.
    rating : -1 rejected, 0 unrated, 1 to 5.
    texts : title, caption, creator, rights, written as Dublin Core has them (ISO 16684-1; the properties
        of the IPTC Core of these names, its description being the caption).

    Raises
    ------
    ValueError : for a rating outside the standard's, or values that are too long for any packet.
    """
    if rating is not None and rating not in range(-1, 6):
        raise ValueError(f"rating: {rating} is outside -1 to 5")
    if history is None:
        history = (Step(action="created", when=created, agent=tool, instance_id=instance_id),)
    for listed in (len(derived_from) <= MAX_INPUTS, False):
        description = Element("rdf:Description", {"rdf:about": ""})
        _text(description, "xmp:CreateDate", created)
        _text(description, "xmp:CreatorTool", tool)
        if rating is not None:
            _text(description, "xmp:Rating", str(rating))
        _texts(description, texts or {})
        _text(description, "xmpMM:DocumentID", document_id)
        _text(description, "xmpMM:InstanceID", instance_id)
        _inputs(description, derived_from, listed=listed)
        _history(description, history)
        data = _wrapped(description)
        if len(data) <= MAX_PACKET:
            return data
    raise ValueError(f"a packet of {len(data)} bytes does not fit: at most {MAX_PACKET} are allowed")


def _texts(parent: Element, texts: Mapping[str, str]) -> None:
    for name, (tag, kind) in _TEXTS.items():
        if text := texts.get(name):
            words = ElementTree.SubElement(_container(parent, tag, kind), "rdf:li")
            if kind == "rdf:Alt":
                words.set("xml:lang", "x-default")
            words.text = _clean(text)


def _inputs(parent: Element, derived_from: Sequence[tuple[str, str]], *, listed: bool) -> None:
    if len(derived_from) == 1:
        _text(parent, "xmpMM:OriginalDocumentID", derived_from[0][0])
        _reference(ElementTree.SubElement(parent, "xmpMM:DerivedFrom"), derived_from[0])
    elif derived_from and listed:
        bag = _container(parent, "xmpMM:Ingredients", "rdf:Bag")
        for pair in derived_from:
            _reference(ElementTree.SubElement(bag, "rdf:li"), pair)
    elif derived_from:
        _text(parent, "noctuary:InputCount", str(len(derived_from)))
        _text(parent, "noctuary:InputsDigest", inputs_digest(derived_from))


def _history(parent: Element, history: Sequence[Step]) -> None:
    if not history:
        return
    events = _container(parent, "xmpMM:History", "rdf:Seq")
    for step in history:
        event = ElementTree.SubElement(events, "rdf:li", {"rdf:parseType": "Resource"})
        _text(event, "stEvt:action", step.action)
        _text(event, "stEvt:when", step.when)
        for name, value in (
            ("instanceID", step.instance_id),
            ("softwareAgent", step.agent),
            ("parameters", step.parameters),
        ):
            if value:
                _text(event, f"stEvt:{name}", value)


def _reference(parent: Element, pair: tuple[str, str]) -> None:
    parent.set("rdf:parseType", "Resource")
    _text(parent, "stRef:documentID", pair[0])
    _text(parent, "stRef:instanceID", pair[1])


def _container(parent: Element, name: str, kind: str) -> Element:
    return ElementTree.SubElement(ElementTree.SubElement(parent, name), kind)


def _text(parent: Element, name: str, text: str) -> None:
    ElementTree.SubElement(parent, name).text = _clean(text)


def _clean(text: str) -> str:
    return "".join(char if char == "\n" or markup.writable(char) else " " for char in text)


def _wrapped(description: Element) -> bytes:
    used = {node.tag.partition(":")[0] for node in description.iter()} | {"rdf"}
    for prefix in sorted(used - {"rdf"}):
        description.set(f"xmlns:{prefix}", _NAMESPACES[prefix])
    meta = Element("x:xmpmeta", {"xmlns:x": "adobe:ns:meta/"})
    ElementTree.SubElement(meta, "rdf:RDF", {"xmlns:rdf": _NAMESPACES["rdf"]}).append(description)
    return (_BEGIN + ElementTree.tostring(meta, encoding="unicode") + _END).encode()


def read_packet(data: bytes) -> Provenance:
    """What an XMP packet says about its file's origin, whoever wrote it.

    Raises
    ------
    DamagedFileError : when it is no well-formed XMP, or holds entities.
    """
    root = markup.read(data.rstrip(b"\0 "), "XMP packet", limit=carriers.MAX_PACKET)
    rdf = next((node for node in _below(root) if node.tag == _tag("rdf:RDF")), None)
    if rdf is None:
        raise DamagedFileError("The XMP packet holds no description.", hint=markup.LEFT_ALONE)
    about = list(rdf.all("Description"))
    source = _first(about, "xmpMM:DerivedFrom")
    references = [source] if source else list(_items(_first(about, "xmpMM:Ingredients")))
    derived = tuple(_read_reference(node) for node in references[: MAX_INPUTS * 10])
    counted = _value(about, "noctuary:InputCount") or ""
    return Provenance(
        document_id=_value(about, "xmpMM:DocumentID"),
        instance_id=_value(about, "xmpMM:InstanceID"),
        original_document_id=_value(about, "xmpMM:OriginalDocumentID"),
        derived_from=derived,
        inputs=int(counted)
        if counted.isascii() and counted.isdigit() and len(counted) < 10
        else len(derived),
        inputs_digest=_value(about, "noctuary:InputsDigest"),
        created=_value(about, "xmp:CreateDate"),
        tool=_value(about, "xmp:CreatorTool"),
        history=tuple(_steps(_first(about, "xmpMM:History"))),
        rating=_rating(_value(about, "xmp:Rating")),
        title=_said(about, "title"),
        caption=_said(about, "caption"),
        creator=_said(about, "creator"),
        rights=_said(about, "rights"),
    )


def _tag(name: str) -> str:
    prefix, _, local = name.partition(":")
    return f"{{{_NAMESPACES[prefix]}}}{local}"


def _below(node: Node) -> Iterator[Node]:
    yield node
    for child in node.children:
        yield from _below(child)


def _first(holders: Sequence[Node], name: str) -> Node | None:
    tag = _tag(name)
    return next((child for holder in holders for child in holder.children if child.tag == tag), None)


def _value(holders: Sequence[Node], name: str) -> str | None:
    """A simple property, written as an element or in short as an attribute."""
    node = _first(holders, name)
    if node is not None:
        return node.text.strip() or None
    tag = _tag(name)
    return next((holder.attributes[tag] for holder in holders if tag in holder.attributes), None)


def _said(holders: Sequence[Node], name: str) -> str | None:
    """A text: the first of its languages, all of several creators, or a value that was written plainly."""
    tag, kind = _TEXTS[name]
    words = [node.text for node in _items(_first(holders, tag))]
    if not words:
        return _value(holders, tag)
    return words[0] if kind == "rdf:Alt" else "; ".join(words)


def _items(node: Node | None) -> Iterator[Node]:
    for container in node.children if node is not None else ():
        yield from container.all("li")


def _fields(node: Node) -> list[Node]:
    """Where a structure's fields may stand: in the node itself, or in a description inside it."""
    return [node, *node.all("Description")]


def _read_reference(node: Node) -> tuple[str, str]:
    holders = _fields(node)
    return _value(holders, "stRef:documentID") or "", _value(holders, "stRef:instanceID") or ""


def _steps(node: Node | None) -> Iterator[Step]:
    for item in _items(node):
        holders = _fields(item)
        yield Step(
            action=_value(holders, "stEvt:action") or "",
            when=_value(holders, "stEvt:when") or "",
            agent=_value(holders, "stEvt:softwareAgent"),
            instance_id=_value(holders, "stEvt:instanceID"),
            parameters=_value(holders, "stEvt:parameters"),
        )


def _rating(text: str | None) -> int | None:
    """XMP's rating is a closed choice of real numbers; others are none."""
    try:
        number = float(text) if text is not None else None
    except ValueError:
        return None
    return int(number) if number in range(-1, 6) and number is not None else None


def find_packet(source: bytes | BinaryIO) -> bytes | None:
    """The XMP packet inside a JPEG, PNG, TIFF, MP4, MOV or bare XMP file; None when there is none."""
    return carriers.packet_in(io.BytesIO(source) if isinstance(source, bytes) else source)


def mp4_uuid_box(xmp: bytes) -> bytes:
    """The box that carries a packet in an MP4 file: append it to the file, at top level."""
    return (24 + len(xmp)).to_bytes(4, "big") + b"uuid" + carriers.MP4_UUID + xmp
