"""Decide what a study's settings are, their defaults, and how `study.toml` is read.

A setting that the file leaves out takes its default; a setting that it misspells is a fault.
"""

import difflib
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from enum import StrEnum
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

from core.errors import StudyError
from core.people import SignIn

FILE_NAME = "study.toml"


class FeederRule(StrEnum):
    """Whose a density is where several species were on the tray."""

    LAST = "last"
    """The last that fed."""
    SINGLE = "single"
    """Nobody's: only trays of one species are kept."""
    TIME = "time"
    """The one that was on the tray longest, of those seen feeding where any was."""


SAMPLING_DESIGNS = (
    "simpleRandom", "systematicRandom", "clusteredRandom", "experimental", "targeted",
    "opportunistic",
)  # fmt: skip
CONTRIBUTOR_ROLES = (
    "contact", "principalInvestigator", "rightsHolder", "publisher", "contributor",
)  # fmt: skip
"""The words of Camtrap DP 1.0.2 for how places were chosen and for what somebody did."""
_ADDRESS = re.compile(r"[^@\s]+@[^@\s]+\.[^@\s]+")
PRECISIONS_DEG = tuple(Decimal(step) for step in ("1", "0.1", "0.01", "0.001", "0.0001"))
"""Grids to which places are rounded. [degrees]"""
SENSITIVE_DEG = PRECISIONS_DEG[:4]
"""Those for sensitive species: 0.001, 0.01 and 0.1 for low, medium and high sensitivity, 1 where
a place should be withheld but for the region (Chapman 2020, doi 10.15468/doc-5jp4-5g10)."""


@dataclass(frozen=True, slots=True)
class Contributor:
    """Somebody who is named with the data that are given away."""

    name: str
    role: str = ""
    email: str = ""


@dataclass(frozen=True, slots=True)
class Sharing:
    """What is said of the study, and how closely, where its data are given to others."""

    title: str = ""
    description: str = ""
    sampling_design: str = ""
    contributors: tuple[Contributor, ...] = ()
    licence_data: str = ""
    licence_media: str = ""
    place_precision: Decimal = Decimal("0.001")
    sensitive_precision: Decimal = Decimal("0.1")
    """Grid of all places; and of all where the species list has a sensitive one. [degrees]"""


@dataclass(frozen=True, slots=True)
class Settings:
    """The numbers and names that a study is decided with."""

    name: str
    timezone: ZoneInfo
    gap: timedelta = timedelta(seconds=120)
    """Longer than this between two photos starts a new visit (example value of a published
    guide; not a standard for trays)."""
    scale_step: Decimal = Decimal("0.1")
    """The scale's smallest step, and the smallest mass that can be told from none. [g]"""
    tolerance: Decimal | None = None
    """How far left and start may differ and still mean nobody fed. [g] None: from controls."""
    feeder: FeederRule = FeederRule.LAST
    moisture_corrected: bool = True
    """Whether food left is put right by the moisture controls."""
    sifting_corrected: bool = True
    """Whether food left is put right by the sift controls."""
    item_mass: Decimal | None = None
    """Mean mass of one item (seed), to tell grams as items and items as grams. [g]"""
    taggers_needed: int = 1
    database: str = ""
    """Address of a database server; empty: `lastbite.db` in the study folder."""
    sign_in: SignIn = SignIn.NAME
    instructors: tuple[str, ...] = ()
    """Names (code) or accounts (oidc, header) that are instructors from the start."""
    header: str = ""
    """Header in which a reverse proxy says who it is, for `SignIn.HEADER`."""
    trusted: tuple[str, ...] = ("127.0.0.1",)
    """Addresses of the proxies whose header is believed."""
    address: str = ""
    """Where the class reaches the pages; empty: on this computer only."""
    sharing: Sharing = Sharing()


TEMPLATE = """\
# Settings of this study. Change a value, save, and run the command again.

[study]
name = "{name}"
# The zone in which the logs write their times (an IANA name).
timezone = "{timezone}"

[visits]
# Photos of one camera that are more than this many seconds apart belong to two visits.
gap_s = 120

[food]
# The smallest step of the scale, in grams. Food left at or below it counts as "emptied".
scale_step_g = 0.1
# How far start and left may differ, in grams, and still mean that nobody fed. Left out:
# mean loss + 2 SD of at least three sift controls, else two scale steps.
# tolerance_g = 0.2
# Whether the food left is put right by the moisture controls.
correct_moisture = true
# Whether it is put right by the sift controls.
correct_sifting = true
# Mean mass of one item (seed), in grams, to tell grams as items and items as grams.
# item_mass_g = 0.005

[rules]
# Whose a density is where several species were on the tray: "last" (the last that fed),
# "single" (nobody's: such trays are dropped) or "time" (the one that was on it longest).
feeder = "last"

[tags]
# How many taggers have to agree before a visit counts, unless the instructor has ruled.
taggers_needed = 1

[people]
# How people say who they are: "name" (they choose it, no passwords: a computer of your own),
# "code" (a name and the class code), "oidc" (accounts of your university) or "header" (a reverse
# proxy signs them in). All but "name" are for a class server: see the README.
sign_in = "name"
# Names (code) or accounts (oidc, header) that are instructors from the start.
# instructors = ["botha@example.org"]
# The header in which the proxy says who it is, and the proxy's own addresses (header).
# header = "X-Forwarded-User"
# trusted = ["127.0.0.1"]
# Where the class reaches the pages, through a proxy on this computer.
# address = "https://trays.example.org"

[export]
# What `lastbite export` says of the study: a title, a few sentences, how places were chosen
# (simpleRandom, systematicRandom, clusteredRandom, experimental, targeted or opportunistic),
# who is to be named (role: contact, principalInvestigator, rightsHolder, publisher or
# contributor; the contact is whom people ask), and the licences of tables and pictures (both or
# none).
# title = "Trays under and beside bushes, winter 2026"
# description = "What rodents left in paired trays."
# sampling_design = "experimental"
# contributors = [{{ name = "A. Example", role = "contact", email = "a@example.org" }}]
# licence_data = "CC0-1.0"
# licence_media = "CC-BY-4.0"
# To how many degrees all places are rounded; 0.001 is about 110 m.
place_precision_deg = 0.001
# To how many where the species list has a sensitive species: 0.1 for high, 0.01 for medium,
# 0.001 for low sensitivity, 1 where only the region may be known.
sensitive_precision_deg = 0.1
"""

MOST = 1_000_000
"""No setting makes sense beyond this (ours)."""

KNOWN = {
    "study": {"name", "timezone", "database"},
    "visits": {"gap_s"},
    "food": {
        "scale_step_g",
        "tolerance_g",
        "correct_moisture",
        "correct_sifting",
        "item_mass_g",
    },
    "rules": {"feeder"},
    "tags": {"taggers_needed"},
    "people": {"sign_in", "instructors", "header", "trusted", "address"},
    "export": {
        "title",
        "description",
        "sampling_design",
        "contributors",
        "licence_data",
        "licence_media",
        "place_precision_deg",
        "sensitive_precision_deg",
    },
}


def zone(name: str) -> ZoneInfo:
    """Give the IANA zone of that name; StudyError with the likely name otherwise."""
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        near = difflib.get_close_matches(name, available_timezones(), n=1, cutoff=0.6)
        hint = f" Did you mean {near[0]!r}?" if near else ""
        raise StudyError(
            f"Time zone {name!r} is not known.{hint} "
            "Give an IANA name such as 'Africa/Johannesburg'."
        ) from None


def read(path: Path) -> Settings:
    """Read `study.toml`; StudyError with the line or the setting at fault."""
    try:
        text = path.read_text(encoding="utf-8-sig")
        tables = tomllib.loads(text, parse_float=Decimal)
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as fault:
        raise StudyError(f"{path} cannot be read as settings: {fault}. Mend that line.") from None
    _refuse_unknown(path, tables)
    study = tables.get("study", {})
    if not study.get("timezone"):
        raise StudyError(f'{path} names no time zone. Add timezone = "…" under [study].')
    parts = ("visits", "food", "rules", "tags")
    visits, food, rules, tags = (tables.get(part, {}) for part in parts)
    try:
        timezone = zone(str(study["timezone"]))
    except StudyError as fault:
        raise StudyError(f"{path}: {fault}") from None
    return Settings(
        name=str(study.get("name", path.parent.name)),
        timezone=timezone,
        gap=timedelta(seconds=float(_number(path, "visits.gap_s", visits.get("gap_s", 120)))),
        scale_step=_number(path, "food.scale_step_g", food.get("scale_step_g", Decimal("0.1"))),
        tolerance=_optional(path, "food.tolerance_g", food.get("tolerance_g")),
        feeder=FeederRule(_one_of(path, "rules.feeder", rules.get("feeder", "last"), FeederRule)),
        moisture_corrected=_switch(path, "food.correct_moisture", food.get("correct_moisture")),
        sifting_corrected=_switch(path, "food.correct_sifting", food.get("correct_sifting")),
        item_mass=(
            _number(path, "food.item_mass_g", food["item_mass_g"])
            if "item_mass_g" in food
            else None
        ),
        taggers_needed=_whole(path, "tags.taggers_needed", tags.get("taggers_needed", 1)),
        database=str(study.get("database", "")),
        **_people(path, tables.get("people", {})),
        sharing=_sharing(path, tables.get("export", {})),
    )


def _sharing(path: Path, given: Mapping[str, Any]) -> Sharing:
    """Read what is told with data that are given away; licences stand both or not at all."""
    texts: dict[str, Any] = {
        name: _text(path, f"export.{name}", given.get(name, ""))
        for name in ("title", "description", "licence_data", "licence_media")
    }
    if bool(texts["licence_data"]) is not bool(texts["licence_media"]):
        raise StudyError(
            f"{path}: [export] has a licence of the {'tables' if texts['licence_data'] else ''}"
            f"{'pictures' if texts['licence_media'] else ''} alone. Write licence_data and "
            "licence_media, or neither."
        )
    design = given.get("sampling_design", "")
    if design and design not in SAMPLING_DESIGNS:
        raise StudyError(
            f"{path}: export.sampling_design = {design!r} is none of: "
            f"{', '.join(SAMPLING_DESIGNS)}. Write one of them."
        )
    return Sharing(
        **texts,
        sampling_design=design,
        contributors=_contributors(path, given.get("contributors", [])),
        place_precision=_grid(path, "place_precision_deg", given, PRECISIONS_DEG),
        sensitive_precision=_grid(path, "sensitive_precision_deg", given, SENSITIVE_DEG),
    )


def _grid(path: Path, name: str, given: Mapping[str, Any], known: tuple[Decimal, ...]) -> Decimal:
    value = given.get(name, Decimal("0.1" if known is SENSITIVE_DEG else "0.001"))
    if isinstance(value, bool) or not isinstance(value, int | Decimal) or value not in known:
        raise StudyError(
            f"{path}: export.{name} = {value} is none of: {', '.join(map(str, known))}. "
            "Write one of them."
        )
    return next(step for step in known if step == value)


def _contributors(path: Path, given: object) -> tuple[Contributor, ...]:
    """Read who is named: each needs a name, may have a role of the standard's and an address."""
    people: list[Any] = given if isinstance(given, list) else [given]
    for one in people:
        if not isinstance(one, dict) or not str(one.get("name", "")).strip():
            raise StudyError(
                f"{path}: export.contributors has {one!r}, who has no name. Write them like "
                '[{ name = "A. Example", role = "contact" }].'
            )
        unknown = set(one) - {"name", "role", "email"}
        if unknown or one.get("role", "") not in ("", *CONTRIBUTOR_ROLES):
            raise StudyError(
                f"{path}: export.contributors: {one!r} may have a name, an email and a role, one "
                f"of: {', '.join(CONTRIBUTOR_ROLES)}. Mend it."
            )
        email = one.get("email", "")
        if not isinstance(email, str) or (email and not _ADDRESS.fullmatch(email)):
            raise StudyError(
                f"{path}: export.contributors: {email!r} is no email address. Write one, or none."
            )
    return tuple(
        Contributor(one["name"].strip(), one.get("role", ""), one.get("email", ""))
        for one in people
    )


def _people(path: Path, given: Mapping[str, Any]) -> dict[str, Any]:
    """Read how people sign in; a server's ways need their settings to be whole."""
    way = _one_of(path, "people.sign_in", given.get("sign_in", SignIn.NAME), SignIn)
    texts = {
        name: _text(path, f"people.{name}", given.get(name, "")) for name in ("header", "address")
    }
    lists = {name: _texts(path, name, given.get(name, [])) for name in ("instructors", "trusted")}
    if way == SignIn.HEADER and not texts["header"]:
        raise StudyError(
            f"{path}: people.header is missing. Name the header that your proxy sets, such as "
            '"X-Forwarded-User".'
        )
    if texts["address"] and not texts["address"].startswith(("https://", "http://")):
        raise StudyError(
            f"{path}: people.address = {texts['address']!r} is no address. Write it whole, such "
            'as "https://trays.example.org".'
        )
    kept = {name: value for name, value in (texts | lists).items() if value}
    return {"sign_in": SignIn(way), **kept}


def _one_of(path: Path, name: str, value: object, known: type[StrEnum]) -> str:
    if not isinstance(value, str) or value not in set(known):
        raise StudyError(
            f"{path}: {name} = {value!r} is none of: {', '.join(known)}. Write one of them."
        )
    return value


def _switch(path: Path, name: str, value: object) -> bool:
    if value is not None and not isinstance(value, bool):
        raise StudyError(f"{path}: {name} = {value!r} is neither true nor false. Write one.")
    return value is not False


def _text(path: Path, name: str, value: object) -> str:
    if not isinstance(value, str):
        raise StudyError(f"{path}: {name} = {value!r} is no text. Write it in quotes.")
    return value.strip()


def _texts(path: Path, name: str, value: object) -> tuple[str, ...]:
    if not isinstance(value, list):
        raise StudyError(f'{path}: people.{name} is no list. Write it like ["one", "two"].')
    return tuple(_text(path, f"people.{name}", one) for one in value)


def _refuse_unknown(path: Path, tables: dict[str, object]) -> None:
    for section, values in tables.items():
        if section in KNOWN and not isinstance(values, dict):
            raise StudyError(f"{path}: {section} is a section. Write [{section}] on its own line.")
        if section not in KNOWN or not isinstance(values, dict):
            raise StudyError(_unknown(path, f"[{section}]", [f"[{known}]" for known in KNOWN]))
        for name in values:
            if name not in KNOWN[section]:
                raise StudyError(_unknown(path, name, KNOWN[section]))


def _unknown(path: Path, name: str, known: object) -> str:
    names = sorted(str(one) for one in known)  # type: ignore[attr-defined]
    near = difflib.get_close_matches(name, names, n=1)
    hint = f"Did you mean {near[0]!r}?" if near else f"Known are: {', '.join(names) or 'none'}."
    return f"{path} has a setting {name!r} that is not known. {hint}"


def _number(path: Path, name: str, value: object) -> Decimal:
    number = isinstance(value, int | Decimal) and not isinstance(value, bool)
    if not number or not Decimal(str(value)).is_finite() or not 0 < Decimal(str(value)) <= MOST:
        shown = f'"{value}"' if isinstance(value, str) else value
        raise StudyError(
            f"{path}: {name} = {shown} is no number above zero and up to {MOST:,}. "
            "Write one, without quotes."
        )
    return Decimal(str(value))


def _optional(path: Path, name: str, value: object) -> Decimal | None:
    if value is None:
        return None
    if value == 0 and not isinstance(value, bool):
        return Decimal(0)
    return _number(path, name, value)


def _whole(path: Path, name: str, value: object) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or value < 1:
        raise StudyError(f"{path}: {name} = {value!r} is no whole number from 1. Write one.")
    return value
