"""Values of a query's answer as JSON and back: no code can travel with them, unlike pickle.

What JSON has (text, numbers, true, false, null, lists) goes as it is. Everything else is an object
with one key that says what it is: ``{"date": "2026-03-01"}``.
"""

from __future__ import annotations

import base64
import json
from collections.abc import Callable, Mapping
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any

_DECODE: Mapping[str, Callable[[Any], Any]] = {
    "date": date.fromisoformat,
    "datetime": datetime.fromisoformat,
    "time": time.fromisoformat,
    "timedelta": lambda parts: timedelta(*parts),
    "decimal": Decimal,
    "bytes": base64.b64decode,
    "struct": lambda pairs: {
        key if isinstance(key, str | int | float) else str(key): value for key, value in pairs
    },
}


def _special(value: Any) -> Any:
    """What JSON has no word for; a decimal without a fraction (a sum of integers) is an integer."""
    if isinstance(value, Decimal):
        whole = value.is_finite() and value.as_tuple().exponent == 0
        return int(value) if whole else {"decimal": str(value)}
    if isinstance(value, datetime | date | time):
        return {type(value).__name__: value.isoformat()}
    if isinstance(value, timedelta):
        return {"timedelta": [value.days, value.seconds, value.microseconds]}
    if isinstance(value, bytes):
        return {"bytes": base64.b64encode(value).decode()}
    return str(value)


def plain(value: Any) -> Any:
    """The value in words of JSON."""
    if value is None or isinstance(value, str | bool | int | float):
        return value
    if isinstance(value, list | tuple):
        return [plain(one) for one in value]
    if isinstance(value, dict):
        return {"struct": [[plain(key), plain(one)] for key, one in value.items()]}
    return _special(value)


def _told(pairs: dict[str, Any]) -> Any:
    ((kind, value),) = pairs.items()
    return _DECODE[kind](value)


def write_cells(value: Any) -> str:
    """JSON text of a value, or of lists of values."""
    return json.dumps(plain(value), ensure_ascii=True, separators=(",", ":"))


def read_cells(text: str | bytes) -> Any:
    """The value that ``write_cells`` wrote; tuples come back as lists."""
    return json.loads(text, object_hook=_told)
