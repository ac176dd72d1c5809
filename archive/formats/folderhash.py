"""Digests of a hash list: which forms there are, and the two hashes of a folder.

ASC MHL specification 1.0: *content* says that the same bytes lie below a folder whatever their
names, *structure* that names and places are the same too.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

import xxhash

FORMATS = ("c4", "md5", "sha1", "xxh128", "xxh3", "xxh64")

_HEX_DIGITS = {"md5": 32, "sha1": 40, "xxh128": 32, "xxh3": 16, "xxh64": 16}
_C4 = re.compile("c4[1-9A-HJ-NP-Za-km-z]{88}")
_HEX = re.compile("[0-9a-fA-F]+")


def is_digest(kind: str, digest: str) -> bool:
    """Whether ``digest`` is a possible value of a hash list's format ``kind``."""
    if kind == "c4":
        return _C4.fullmatch(digest) is not None
    return len(digest) == _HEX_DIGITS.get(kind) and _HEX.fullmatch(digest) is not None


def folder_hashes(
    digests: Mapping[str, str], empty_folders: Iterable[str] = ()
) -> dict[str, tuple[str, str]]:
    """The content and structure hash of every folder, ``''`` being the root.

    ``digests`` holds the XXH3-128 of each file by its path. A list hash is the XXH3-128 of the
    binary digests sorted by their text. Content takes the digests of files and the content hashes
    of folders; structure hashes each name followed by the file's digest or the folder's structure.
    """
    inside: dict[str, dict[str, str | None]] = {"": {}}

    def folder(path: str) -> dict[str, str | None]:
        if path not in inside:
            inside[path] = {}
            parent, _, name = path.rpartition("/")
            folder(parent)[name] = None
        return inside[path]

    for path, digest in digests.items():
        parent, _, name = path.rpartition("/")
        folder(parent)[name] = digest
    for path in empty_folders:
        folder(path)
    found: dict[str, tuple[str, str]] = {}
    for path in sorted(inside, key=_depth, reverse=True):
        content, structure = [], []
        for name, own in inside[path].items():
            below = f"{path}/{name}" if path else name
            of_content, of_structure = (own, own) if own is not None else found[below]
            content.append(of_content)
            structure.append(xxhash.xxh3_128_hexdigest(name.encode() + bytes.fromhex(of_structure)))
        found[path] = (_list_hash(content), _list_hash(structure))
    return found


def _depth(path: str) -> int:
    return path.count("/") + 1 if path else 0


def _list_hash(digests: list[str]) -> str:
    return xxhash.xxh3_128_hexdigest(b"".join(bytes.fromhex(digest) for digest in sorted(digests)))
