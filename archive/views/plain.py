"""Results as plain values: what ``--json`` prints."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Mapping
from datetime import date, datetime
from enum import Enum
from fractions import Fraction
from pathlib import PurePath
from typing import Any


def plain(value: Any) -> Any:
    """A result as dictionaries, lists, strings and numbers."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple, set, frozenset)):
        return [plain(item) for item in value]
    if isinstance(value, (datetime, date)):
        return value.isoformat()
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, Fraction):
        return f"{value.numerator}/{value.denominator}"
    if isinstance(value, PurePath):
        return str(value)
    return value


def print_json(value: Any) -> None:
    print(json.dumps(plain(value), indent=2, ensure_ascii=True))
