"""Decide which lines of the species, camera, clock and tag logs are rows, and what is wrong else.

The tray log is read in `traylog`. Whether the study has a placement, photo or species that a tag
names is decided where the study is known.
"""

import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from functools import partial
from itertools import pairwise
from zoneinfo import ZoneInfo

from core import traylog
from core.errors import Problem
from core.model import (
    ANSWERS_WITHOUT_SPECIES,
    BLANK,
    HANDLER,
    ClockCheck,
    Placement,
    Species,
    SpeciesRole,
    Where,
)
from core.sheets import (
    Column,
    RowReader,
    Sheet,
    accepted,
    camera_text,
    camera_time_cell,
    choice_cell,
    clock_cell,
    degrees_cell,
    header_line,
    key_cell,
    local_text,
    name_cell,
    plain_text,
    positive_cell,
    read_rows,
    repeated,
    shown,
    time_cell,
    whole_cell,
    yes_no_cell,
    yes_no_text,
)
from core.traylog import read_trays, tray_cells

__all__ = [
    "COLUMNS",
    "LogKind",
    "TagLine",
    "clock_cells",
    "placement_cells",
    "read_cameras",
    "read_clocks",
    "read_species",
    "read_trays",
    "species_cells",
    "tag_lines",
    "template",
    "tray_cells",
]

MINUTES_OF_A_DAY = 1_440
LONGEST_QUIET_S = 86_400
MOST_ANIMALS = 999
MOST_UNCERTAIN_M = 1_000_000
"""Larger numbers are slips of the pen (ours). [min], [s], [animals], [m]"""


class LogKind(StrEnum):
    """The five logs that people write."""

    SPECIES = "species"
    CAMERAS = "cameras"
    CLOCKS = "clocks"
    TRAYS = "trays"
    TAGS = "tags"


COLUMNS: Mapping[LogKind, tuple[Column, ...]] = {
    LogKind.SPECIES: (
        Column("key", True, "the one keystroke that tags it"),
        Column("name", True, "the name that is shown and exported"),
        Column("scientific_name", False, "such as Rhabdomys pumilio"),
        Column("role", True, f"{', '.join(SpeciesRole)}"),
        Column("sensitive", False, "yes: its places are not to be published; blank: no", "boolean"),
    ),
    LogKind.CAMERAS: (
        Column("placement", True, "id of one camera at one place for a stretch of time"),
        Column("camera", True, "the camera's own name or number"),
        Column("trays", True, "the trays in view, ; between"),
        Column("start", True, "when the camera was set up: YYYY-MM-DD HH:MM", "datetime"),
        Column("end", True, "when it was taken down: YYYY-MM-DD HH:MM", "datetime"),
        Column(
            "clock", False, "what its clock is set to: +02:00, UTC or a zone; blank: as at start"
        ),
        Column("working_at_pickup", False, "yes or no; blank: not looked at", "boolean"),
        Column("timelapse_every_min", False, "minutes between time-lapse photos [min]", "integer"),
        Column("quiet_s", False, "seconds that the camera rests after a trigger [s]", "integer"),
        Column("latitude", False, "north is positive [decimal degrees]", "number"),
        Column("longitude", False, "east is positive [decimal degrees]", "number"),
        Column("uncertainty_m", False, "how far the place may be off [m]", "number"),
    ),
    LogKind.CLOCKS: (
        Column("placement", True, "the placement whose clock was checked"),
        Column("camera_showed", True, "what the camera showed, without an offset", "datetime"),
        Column("true_time", True, "the true time at that moment: YYYY-MM-DD HH:MM:SS", "datetime"),
        Column("photo", False, "file name of the photo that shows it"),
    ),
    LogKind.TRAYS: traylog.COLUMNS,
    LogKind.TAGS: (
        Column("placement", True, "the placement whose photos are tagged"),
        Column("first_photo", True, "file name of the run's first photo"),
        Column("last_photo", True, "file name of the run's last photo"),
        Column("tagger", True, "who says so"),
        Column("species", True, f"a species key, or {', '.join(ANSWERS_WITHOUT_SPECIES)}"),
        Column("count", False, "how many at once", "integer"),
        Column("where", False, f"{', '.join(Where)}; empty for {BLANK} and {HANDLER}"),
        Column("sure", False, "yes or no; blank: yes", "boolean"),
        Column("tray", False, "which tray, when the camera watches several"),
        Column("ruling", False, "yes for the instructor's ruling; blank: no", "boolean"),
        Column(
            "also", False, "yes where it is another species in the same run; blank: no", "boolean"
        ),
        Column("comment", False, "anything else"),
    ),
}


@dataclass(frozen=True, slots=True)
class TagLine:
    """One line of the tag log, before anybody knows whether the study has what it names."""

    line: int
    placement: str
    first_photo: str
    last_photo: str
    """File names as written, `/` between the parts."""
    tagger: str
    species: str
    """A species key, or `blank`, `unknown`, `handler`."""
    count: int | None = None
    where: Where | None = None
    sure: bool = True
    tray: str = ""
    ruling: bool = False
    also: bool = False
    comment: str = ""


def template(kind: LogKind) -> str:
    """Give an empty log of that kind: its header as a line of CSV."""
    return header_line(COLUMNS[kind])


def _names(kind: LogKind) -> tuple[str, ...]:
    return tuple(column.name for column in COLUMNS[kind])


def _required(kind: LogKind) -> tuple[str, ...]:
    return tuple(column.name for column in COLUMNS[kind] if column.required)


# --- species ---------------------------------------------------------------------------------


def read_species(sheet: Sheet) -> list[Species]:
    """Read the species list, in its order; LogError with every fault and its line."""
    kind = LogKind.SPECIES
    rows, problems = read_rows(sheet, _required(kind), COLUMNS[kind], _species)
    keys = [(number, row.key) for number, row in rows if row.key]
    names = [(number, row.name) for number, row in rows if row.name]
    problems += repeated("key", keys, any_case=True)
    problems += repeated("name", names, any_case=True)
    return accepted(sheet, rows, problems)


def species_cells(species: Species) -> dict[str, str]:
    """Write a species as cells that read back the same."""
    return {
        "key": species.key,
        "name": species.name,
        "scientific_name": species.scientific_name,
        "role": species.role.value,
        "sensitive": "yes" if species.sensitive else "",
    } | dict(species.extra)


def _species(row: RowReader) -> Species:
    row.need("key", "Give the one keystroke that tags the species.")
    row.need("name", "Give the name that is shown.")
    row.need("role", f"Write one of: {', '.join(SpeciesRole)}.")
    return Species(
        key=row.cell("key", key_cell, ""),
        name=row.cell("name", _species_name, ""),
        role=row.cell("role", partial(choice_cell, choices=SpeciesRole), SpeciesRole.OTHER),
        scientific_name=row.cell("scientific_name", name_cell, ""),
        sensitive=row.cell("sensitive", yes_no_cell, False),
        extra=row.rest(_names(LogKind.SPECIES)),
    )


def _species_name(text: str) -> str | Problem:
    if text.casefold() in ANSWERS_WITHOUT_SPECIES:
        return Problem("is an answer that every study has. Give the species another name.")
    return name_cell(text)


# --- cameras ---------------------------------------------------------------------------------


def read_cameras(sheet: Sheet, zone: ZoneInfo) -> list[Placement]:
    """Read the camera log, in its order; times without an offset are local to `zone`.

    A blank required cell loads, but for the placement's id. LogError with every fault.
    """
    kind = LogKind.CAMERAS
    rows, problems = read_rows(
        sheet, _required(kind), COLUMNS[kind], partial(_placement, zone=zone)
    )
    ids = [(number, row.placement) for number, row in rows if row.placement]
    problems += repeated("placement", ids)
    return accepted(sheet, rows, problems)


def placement_cells(placement: Placement, zone: ZoneInfo) -> dict[str, str]:
    """Write a placement as cells that read back the same, times local to `zone`."""
    return {
        "placement": placement.placement,
        "camera": placement.camera,
        "trays": "; ".join(placement.trays),
        "start": local_text(placement.start, zone),
        "end": local_text(placement.end, zone),
        "clock": placement.clock,
        "working_at_pickup": yes_no_text(placement.working_at_pickup),
        "timelapse_every_min": plain_text(placement.timelapse_every_min),
        "quiet_s": plain_text(placement.quiet_s),
        "latitude": plain_text(placement.latitude),
        "longitude": plain_text(placement.longitude),
        "uncertainty_m": plain_text(placement.uncertainty_m),
    } | dict(placement.extra)


def _placement(row: RowReader, zone: ZoneInfo) -> Placement:
    row.need("placement", "Give every row its own id.")
    delimiter = row.sheet.delimiter
    whole = partial(whole_cell, delimiter=delimiter)
    degrees = partial(degrees_cell, delimiter=delimiter)
    uncertain = partial(positive_cell, high=MOST_UNCERTAIN_M, delimiter=delimiter)
    uncertainty = row.cell("uncertainty_m", uncertain, None)
    read = Placement(
        placement=row.cell("placement", name_cell, ""),
        camera=row.cell("camera", name_cell, ""),
        trays=row.cell("trays", _trays, ()),
        start=row.cell("start", partial(time_cell, zone=zone), None),
        end=row.cell("end", partial(time_cell, zone=zone), None),
        clock=row.cell("clock", clock_cell, ""),
        working_at_pickup=row.cell("working_at_pickup", yes_no_cell, None),
        timelapse_every_min=row.cell(
            "timelapse_every_min",
            partial(whole, low=1, high=MINUTES_OF_A_DAY, what="minutes"),
            None,
        ),
        quiet_s=row.cell(
            "quiet_s", partial(whole, low=0, high=LONGEST_QUIET_S, what="seconds"), None
        ),
        latitude=row.cell("latitude", partial(degrees, most=90), None),
        longitude=row.cell("longitude", partial(degrees, most=180), None),
        uncertainty_m=None if uncertainty is None else float(uncertainty),
        extra=row.rest(_names(LogKind.CAMERAS)),
    )
    if read.start and read.end and read.start >= read.end:
        row.refuse(
            f"Placement {read.placement!r} starts at {local_text(read.start, zone)}, not before "
            f"it ends at {local_text(read.end, zone)}. Mend or swap the times."
        )
    return read


def _trays(text: str) -> tuple[str, ...] | Problem:
    trays = tuple(part.strip() for part in text.split(";") if part.strip())
    if _looks_like_a_list(text):
        listed = "; ".join(part.strip() for part in text.split(","))
        return Problem(f"looks like several trays. Write a semicolon between: {listed}.")
    twice = [tray for place, tray in enumerate(trays) if tray in trays[:place]]
    if twice:
        return Problem(f"names tray {twice[0]!r} twice. Write every tray once.")
    faults = [fault for fault in map(name_cell, trays) if isinstance(fault, Problem)]
    return faults[0] if faults else trays


def _looks_like_a_list(text: str) -> bool:
    """Say whether commas stand between names of one shape: `T1,T2`, `Tray 1, Tray 2`."""
    parts = [part.strip() for part in text.split(",")]
    if ";" in text or len(parts) == 1 or not all(parts):
        return False
    shapes = {re.sub(r"[0-9]+", "0", part) for part in parts}
    return len(shapes) == 1 or all(len(part.split()) == 1 for part in parts)


# --- clocks ----------------------------------------------------------------------------------


def read_clocks(sheet: Sheet, zone: ZoneInfo, parted: Collection[str] = ()) -> list[ClockCheck]:
    """Read the clock log, in its order; true times without an offset are local to `zone`.

    Checks of one placement must run forward together, but not those of placements that are
    `parted` by corrections. LogError with every fault and its line.
    """
    kind = LogKind.CLOCKS
    rows, problems = read_rows(sheet, _required(kind), COLUMNS[kind], partial(_check, zone=zone))
    checks = [
        (row.placement, row.camera_showed, row.true_time, number)
        for number, row in rows
        if row.placement and row.camera_showed
    ]
    pairs = [(number, f"{one} at {camera_text(showed)}") for one, showed, _, number in checks]
    problems += repeated("placement and camera_showed", pairs)
    problems += _running_back([check for check in checks if check[0] not in parted], zone)
    return accepted(sheet, rows, problems)


def clock_cells(check: ClockCheck, zone: ZoneInfo) -> dict[str, str]:
    """Write a clock check as cells that read back the same, the true time local to `zone`."""
    return {
        "placement": check.placement,
        "camera_showed": camera_text(check.camera_showed),
        "true_time": local_text(check.true_time, zone),
        "photo": check.photo,
    } | dict(check.extra)


def _check(row: RowReader, zone: ZoneInfo) -> ClockCheck:
    row.need("placement", "Name the placement whose clock was checked.")
    return ClockCheck(
        placement=row.cell("placement", name_cell, ""),
        camera_showed=row.cell("camera_showed", camera_time_cell, None),
        true_time=row.cell("true_time", partial(time_cell, zone=zone), None),
        photo=row.cell("photo", _file, ""),
        extra=row.rest(_names(LogKind.CLOCKS)),
    )


def _running_back(
    checks: Sequence[tuple[str, datetime | None, datetime | None, int]], zone: ZoneInfo
) -> Iterator[Problem]:
    """Name the neighbours of a placement whose true times do not follow the camera's."""
    whole = sorted(
        (one, showed, true, number) for one, showed, true, number in checks if showed and true
    )
    for (one, showed, true, number), (other, next_showed, next_true, next_number) in pairwise(
        whole
    ):
        if one != other or showed == next_showed or true < next_true:
            continue
        how = "stands still" if true == next_true else "runs back"
        yield Problem(
            f"The true time of placement {one!r} {how} while its camera goes on: line {number} "
            f"has {camera_text(showed)} = {local_text(true, zone)}, line {next_number} has "
            f"{camera_text(next_showed)} = {local_text(next_true, zone)}. Mend one of the lines, "
            "or use two placements where the clock was set anew between them.",
            max(number, next_number),
        )


# --- tags ------------------------------------------------------------------------------------


def tag_lines(sheet: Sheet) -> tuple[list[TagLine], list[Problem]]:
    """Read the tag log with the faults of its cells, so that all faults can be told at once.

    A cell at fault is blank in its line. LogError where a column is missing.
    """
    kind = LogKind.TAGS
    rows, problems = read_rows(sheet, _required(kind), COLUMNS[kind], _tag)
    return [row for _, row in rows], problems


def _tag(row: RowReader) -> TagLine:
    for column in _required(LogKind.TAGS):
        row.need(column, "A tag needs it; fill it in or remove the line.")
    count = partial(
        whole_cell, low=1, high=MOST_ANIMALS, what="a count", delimiter=row.sheet.delimiter
    )
    read = TagLine(
        line=row.line.number,
        placement=row.cell("placement", name_cell, ""),
        first_photo=row.cell("first_photo", _file, ""),
        last_photo=row.cell("last_photo", _file, ""),
        tagger=row.cell("tagger", name_cell, ""),
        species=row.cell("species", _answer, ""),
        count=row.cell("count", count, None),
        where=row.cell("where", partial(choice_cell, choices=Where), None),
        sure=row.cell("sure", yes_no_cell, True),
        tray=row.cell("tray", name_cell, ""),
        ruling=row.cell("ruling", yes_no_cell, False),
        also=row.cell("also", yes_no_cell, False),
        comment=row.text("comment"),
    )
    if read.species:
        _judge_where(row, read.species)
    return read


def _judge_where(row: RowReader, species: str) -> None:
    """Refuse an animal or person without a place, and a place without either."""
    written = row.text("where")
    if species in {BLANK, HANDLER} and written:
        row.refuse(f"where is {shown(written)} but the species is {species!r}. Empty the cell.")
    if species not in {BLANK, HANDLER} and not written:
        row.refuse(f"where is blank for species {species!r}. Write one of: {', '.join(Where)}.")


def _answer(text: str) -> str | Problem:
    word = text.lower()
    if word in ANSWERS_WITHOUT_SPECIES:
        return word
    key = key_cell(text)
    return name_cell(text) if isinstance(key, Problem) else key


def _file(text: str) -> str | Problem:
    name = name_cell(text)
    return name if isinstance(name, Problem) else name.replace("\\", "/")
