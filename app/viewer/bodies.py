"""Decide which bodies of requests can be read, and say of the others what is wrong."""

import json
from collections.abc import Mapping
from typing import Any, TypeGuard

from core.errors import LastbiteError

LARGEST = 1_000_000
"""A judgement: some thousand acts. [bytes]"""
LARGEST_NUMBER = 2**63 - 1
"""The largest that a database holds."""
SHOWN = 60
"""So many letters of a wrong value are repeated."""


class BodyError(LastbiteError):
    """A request says something else than it may."""


def read_body(raw: bytes) -> Mapping[str, Any]:
    """Read a body that has to be one JSON object."""
    try:
        said = json.loads(raw.decode("utf-8"))
    except (ValueError, RecursionError):
        raise BodyError("The request is no JSON. Load the page again.") from None
    return as_object(said, "The request")


def as_object(value: object, what: str) -> Mapping[str, Any]:
    """Give a value that has to be an object."""
    if not isinstance(value, dict):
        raise BodyError(f"{what} is {_shown(value)}, not an object. Load the page again.")
    return value


def whole(said: Mapping[str, Any], name: str, least: int = 0) -> int:
    """Give a field that has to be a whole number."""
    value = said.get(name)
    if not _is_whole(value) or value < least:
        raise BodyError(
            f"`{name}` is {_shown(value)}, not a whole number from {least} on. Load the page again."
        )
    return value


def pair(value: object) -> tuple[int, int]:
    """Give a value that has to be the ids of a run's first and last photo."""
    if not isinstance(value, list) or len(value) != 2 or not all(map(_is_whole, value)):  # noqa: PLR2004
        raise BodyError(
            f"A run is {_shown(value)}, not the ids of its first and its last photo. "
            "Load the page again."
        )
    return value[0], value[1]


def number(said: Mapping[str, Any], name: str) -> float:
    """Give a field that has to be a finite number."""
    value = said.get(name)
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < 1e6:  # noqa: PLR2004
        raise BodyError(f"`{name}` is {_shown(value)}, not a number. Load the page again.")
    return float(value)


def text(said: Mapping[str, Any], name: str, longest: int = 200) -> str:
    """Give a field that has to be a text; empty where it is left out."""
    value = said.get(name, "")
    if not isinstance(value, str) or not _is_written(value):
        raise BodyError(f"`{name}` is {_shown(value)}, not a text. Load the page again.")
    if len(value) > longest:
        raise BodyError(
            f"`{name}` has {len(value)} letters, {longest} are possible. Make it shorter."
        )
    return value


def flag(said: Mapping[str, Any], name: str, default: bool) -> bool:
    """Give a field that has to be true or false."""
    value = said.get(name, default)
    if not isinstance(value, bool):
        raise BodyError(f"`{name}` is {_shown(value)}, not true or false. Load the page again.")
    return value


def several(said: Mapping[str, Any], name: str) -> list[Any]:
    """Give a field that has to be a list; an empty one where it is left out."""
    value = said.get(name, [])
    if not isinstance(value, list):
        raise BodyError(f"`{name}` is {_shown(value)}, not a list. Load the page again.")
    return value


def _is_whole(value: object) -> TypeGuard[int]:
    if not isinstance(value, int) or isinstance(value, bool):
        return False
    return 0 <= value <= LARGEST_NUMBER


def _is_written(value: str) -> bool:
    """Say whether every letter of a text can be stored: no halves of letters, no zeros."""
    return "\0" not in value and not any("\ud800" <= letter <= "\udfff" for letter in value)


def _shown(value: object) -> str:
    words = ascii(value) if isinstance(value, str) else json.dumps(value)
    return words if len(words) <= SHOWN else f"{words[:SHOWN]}…"
