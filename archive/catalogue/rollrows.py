"""A roll's ingest statement as rows, checked on the way: what passes can be stored and read back."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from typing import Any

from archive.catalogue.inserting import Stored
from archive.catalogue.limits import LARGEST, LONGEST, check_facts, check_moment, check_text, check_texts
from archive.journal.current import Statement
from archive.model.capture import Role
from archive.model.identity import is_frame_id

_NAME = 300
"""Characters of a file's name, the last part of its path."""
_TOKEN = re.compile("[0-9a-f]{8}", re.ASCII)
_ROLES = frozenset(str(role) for role in Role)
_ENCODE = json.JSONEncoder(ensure_ascii=False).encode


def roll_rows(statement: Statement) -> tuple[Stored, list[Stored]]:
    """The row of the roll that an ingest states, and the rows of its files, in the order of their columns.

    Raises
    ------
    LookupError, TypeError, ValueError, AttributeError, OverflowError : when the value cannot be read.
    """
    value = statement.value
    token = statement.subject.removeprefix("roll:")
    check_texts(value, "folder", "camera", "night")
    if not _TOKEN.fullmatch(token) or not value["folder"].endswith(f"-{token}"):
        raise ValueError("a roll's folder does not end in its id")
    check_text(value["site"] or "", LONGEST["site"])
    check_text(value["card"] or "")
    files = [_file_row(token, file) for file in value["files"]]
    if len({file[1] for file in files}) != len(files):
        raise ValueError("a roll lists a path twice")
    place = (token, value["folder"], value["camera"], value["night"], value["site"], value["card"])
    return (*place, statement.counter, statement.entry), files


def _file_row(roll: str, file: Mapping[str, Any]) -> Stored:
    check_texts(file, "path", "modified")
    path, size, digest, role = file["path"], int(file["size"]), file["digest"], file["role"]
    check_text(path.rpartition("/")[2], _NAME)
    if role not in _ROLES:
        raise ValueError(f"{role!r} is no role of a file")
    if not is_frame_id(digest) or not 0 <= size <= LARGEST:
        raise ValueError(f"impossible digest or size of {path}")
    companion_of, original = file.get("companion_of"), file.get("original")
    if companion_of is not None and not is_frame_id(companion_of):
        raise ValueError(f"{path} belongs to no frame")
    check_text(original or "")
    check_moment(file["modified"])
    facts = _ENCODE(check_facts(file["facts"])) if "facts" in file else None
    return (roll, path, size, digest, role, file["modified"], original, facts, companion_of)
