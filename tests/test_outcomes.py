"""One outcome a tray deployment: one tray and one camera, from photos and tags to the verdict."""

from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from builders import Night, at, stay, tray

from core.model import (
    HANDLER,
    ClockFlag,
    Condition,
    Reason,
    Status,
    TrayRole,
    Where,
)

R = Reason
D = Decimal
ON_TRAY, NEAR = Where.ON_TRAY, Where.NEAR
KEEP, CAUTION, NO_GUD = Status.KEEP, Status.CAUTION, Status.NO_GUD
DROP, ERROR, PENDING = Status.DROP, Status.ERROR, Status.PENDING
UNTOUCHED = {"food_left_g": D("10.0")}
EMPTIED = {"food_left_g": D(0)}
TWO_NIGHTS = {"picked_up": at("06:00", 1)}
BOTH_NIGHTS = {"end": at("06:30", 1)}
WET = {"condition": Condition.WET}


def case(name: str, night: Night, status: Status, reason: Reason, forager: str = "") -> Any:
    """Give one line of a table of nights."""
    return pytest.param(night, status, reason, forager, id=name)


GERBIL = stay("19:00-19:03")
CONTROL = tray("K1", tray="K1", role=TrayRole.MOISTURE_CONTROL, food_left_g=D("10.5"))

THE_FOOD = [
    case("one species fed, all watched", Night([GERBIL]), KEEP, R.CLEAN, "gerbil"),
    case("eaten, nobody came", Night([]), DROP, R.EATER_NOT_SEEN),
    case("untouched, nobody came", Night([], UNTOUCHED), NO_GUD, R.UNUSED_SEEN),
    case("untouched, visited", Night([GERBIL], UNTOUCHED), NO_GUD, R.VISITED_NOT_EATEN),
    case(
        "untouched, visited by a fox",
        Night([stay("19:00", "f", ON_TRAY)], UNTOUCHED),
        NO_GUD,
        R.VISITED_NOT_EATEN,
    ),
    case(
        "untouched, visited by an unknown",
        Night([stay("19:00", "unknown")], UNTOUCHED),
        NO_GUD,
        R.VISITED_BY_UNKNOWN,
    ),
    case(
        "untouched, a person came",
        Night([stay("19:00", "p", ON_TRAY)], UNTOUCHED),
        NO_GUD,
        R.UNUSED_PERSON,
    ),
    case("gained", Night([GERBIL], {"food_left_g": D("10.3")}), DROP, R.GAINED),
    case("emptied by one", Night([GERBIL], EMPTIED), CAUTION, R.EMPTIED_ONE, "gerbil"),
    case("emptied, nobody came", Night([], EMPTIED), DROP, R.EMPTIED_NOT_SEEN),
    case(
        "emptied, several, the last seen feeding",
        Night([GERBIL, stay("20:00", "m")], EMPTIED),
        CAUTION,
        R.EMPTIED_LAST_SEEN,
        "mouse",
    ),
    case(
        "emptied, several, none seen feeding",
        Night([stay("19:00", "g", ON_TRAY), stay("20:00", "m", ON_TRAY)], EMPTIED),
        DROP,
        R.EMPTIED_FEEDER_UNKNOWN,
    ),
    case(
        "emptied, feeding seen after the gap",
        Night([stay("21:00")], EMPTIED, alive=("20:00", "06:05")),
        CAUTION,
        R.EMPTIED_AFTER_GAP,
        "gerbil",
    ),
    case(
        "emptied, no feeding seen after the gap",
        Night([stay("21:00", "g", ON_TRAY)], EMPTIED, alive=("20:00", "06:05")),
        DROP,
        R.EMPTIED_GAP,
    ),
    case(
        "emptied, unwatched after the visit",
        Night([GERBIL], EMPTIED, alive=("17:35",)),
        DROP,
        R.GAP_AFTER_LAST,
    ),
]

WHO_CAME = [
    case("only near", Night([stay("19:00", "g", NEAR)]), DROP, R.EATER_NOT_SEEN),
    case("only blanks", Night([stay("19:00-19:09", "blank")]), DROP, R.EATER_NOT_SEEN),
    case("only our staff", Night([stay("19:00", HANDLER)]), DROP, R.EATER_NOT_SEEN),
    case("only a person", Night([stay("19:00", "p", ON_TRAY)]), DROP, R.PERSONS_ONLY),
    case(
        "a person and an animal",
        Night([GERBIL, stay("20:00", "p", ON_TRAY)]),
        CAUTION,
        R.PERSON_ON_TRAY,
        "gerbil",
    ),
    case(
        "a person passing by",
        Night([GERBIL, stay("20:00", "p", NEAR)]),
        KEEP,
        R.CLEAN,
        "gerbil",
    ),
    case("a fox that looks", Night([stay("19:00", "f", ON_TRAY)]), DROP, R.NOT_A_FORAGER),
    case("a fox that feeds", Night([stay("19:00", "f")]), KEEP, R.CLEAN, "fox"),
    case(
        "a fox that looks beside a feeder",
        Night([GERBIL, stay("20:00", "f", ON_TRAY)]),
        KEEP,
        R.CLEAN,
        "gerbil",
    ),
    case(
        "feeding not seen",
        Night([stay("19:00", "g", ON_TRAY)]),
        CAUTION,
        R.FEEDING_NOT_SEEN,
        "gerbil",
    ),
    case(
        "several, the last that fed owns",
        Night([GERBIL, stay("20:00", "m")]),
        CAUTION,
        R.SEVERAL_LAST_FED,
        "mouse",
    ),
    case(
        "the last that came did not feed",
        Night([GERBIL, stay("20:00", "m", ON_TRAY)]),
        CAUTION,
        R.SEVERAL_LAST_FED,
        "gerbil",
    ),
    case(
        "two in one visit, the later end owns",
        Night([stay("19:00-19:05", "g"), stay("19:02-19:04", "m")]),
        CAUTION,
        R.SEVERAL_LAST_FED,
        "gerbil",
    ),
    case(
        "two in one visit with the same end",
        Night([stay("19:00-19:05", "g"), stay("19:02-19:05", "m")]),
        DROP,
        R.LAST_FEEDER_UNKNOWN,
    ),
    case("only an unknown", Night([stay("19:00", "unknown")]), DROP, R.ONLY_UNIDENTIFIED),
    case(
        "an unknown earlier",
        Night([stay("19:00", "unknown"), stay("20:00")]),
        CAUTION,
        R.UNIDENTIFIED_EARLIER,
        "gerbil",
    ),
    case(
        "an unknown last",
        Night([GERBIL, stay("20:00", "unknown")]),
        DROP,
        R.LAST_UNIDENTIFIED,
    ),
]

THE_TAGS = [
    case("untagged", Night([GERBIL, stay("20:00", "")]), PENDING, R.UNTAGGED),
    case(
        "untagged outside the window", Night([GERBIL, stay("17:50", "")]), KEEP, R.CLEAN, "gerbil"
    ),
    case(
        "taggers differ",
        Night([GERBIL, stay("19:00-19:03", "m", tagger="bob")]),
        PENDING,
        R.DISPUTED,
    ),
    case(
        "one says near and one on the tray",
        Night([GERBIL, stay("19:00-19:03", "g", NEAR, tagger="bob")]),
        PENDING,
        R.DISPUTED,
    ),
    case(
        "fed against on the tray is held as on the tray",
        Night([GERBIL, stay("19:00-19:03", "g", ON_TRAY, tagger="bob")]),
        CAUTION,
        R.FEEDING_NOT_SEEN,
        "gerbil",
    ),
    case(
        "ruled",
        Night(
            [
                GERBIL,
                stay("19:00-19:03", "m", tagger="bob"),
                stay("19:00-19:03", "m", tagger="eve", ruling=True),
            ]
        ),
        KEEP,
        R.CLEAN,
        "mouse",
    ),
    case(
        "ruled to be unknown",
        Night([GERBIL, stay("19:00-19:03", "unknown", tagger="eve", ruling=True)]),
        DROP,
        R.ONLY_UNIDENTIFIED,
    ),
    case("only unsure", Night([stay("19:00", "g", sure=False)]), PENDING, R.UNSURE),
    case(
        "one tagger of two",
        Night([GERBIL], settings={"taggers_needed": 2}),
        PENDING,
        R.MORE_TAGGERS,
    ),
    case("a species not in the list", Night([stay("19:00", "z")]), PENDING, R.SPECIES_UNLISTED),
]

THE_WINDOW = [
    case("starts at set-out", Night([stay("18:00-18:05")]), KEEP, R.CLEAN, "gerbil"),
    case("cut at set-out", Night([stay("17:59-18:05")]), CAUTION, R.CUT_AT_SET_OUT, "gerbil"),
    case("half before set-out", Night([stay("17:55-18:05")]), CAUTION, R.CUT_AT_SET_OUT, "gerbil"),
    case("more than half before", Night([stay("17:54-18:05")]), ERROR, R.BEFORE_SET_OUT),
    case("all before set-out", Night([stay("17:50-17:59")]), DROP, R.EATER_NOT_SEEN),
    case("ends before pick-up", Night([stay("05:50-05:59")]), KEEP, R.CLEAN, "gerbil"),
    case(
        "running at pick-up", Night([stay("05:50-06:00")]), CAUTION, R.RUNNING_AT_PICKUP, "gerbil"
    ),
    case("all after pick-up", Night([stay("06:00-06:03")]), DROP, R.EATER_NOT_SEEN),
    case(
        "one night, by the study's zone",
        Night(
            [GERBIL],
            {"set_out": at("18:30"), "picked_up": at("19:30", 1)},
            {"working_at_pickup": True, "end": at("20:00", 1)},
        ),
        KEEP,
        R.CLEAN,
        "gerbil",
    ),
    case(
        "two midnights, by the study's zone (UTC+5)",
        Night(
            [GERBIL],
            {"set_out": at("18:30"), "picked_up": at("19:30", 1)},
            {"working_at_pickup": True, "end": at("20:00", 1)},
            settings={"timezone": ZoneInfo("Asia/Karachi")},
        ),
        CAUTION,
        R.BLEND_OF_NIGHTS,
        "gerbil",
    ),
    case(
        "a blend of nights",
        Night([GERBIL, stay("06:05", HANDLER, day=1)], TWO_NIGHTS, BOTH_NIGHTS),
        CAUTION,
        R.BLEND_OF_NIGHTS,
        "gerbil",
    ),
]

THE_CAMERA = [
    case("died after the visit", Night([GERBIL], alive=("17:35",)), DROP, R.GAP_AFTER_LAST),
    case(
        "working at pick-up",
        Night([GERBIL], camera={"working_at_pickup": True}, alive=("17:35",)),
        KEEP,
        R.CLEAN,
        "gerbil",
    ),
    case(
        "not working at pick-up",
        Night([GERBIL], camera={"working_at_pickup": False}, alive=("17:35",)),
        DROP,
        R.GAP_AFTER_LAST,
    ),
    case(
        "set up late",
        Night([GERBIL], alive=("18:30", "06:05")),
        CAUTION,
        R.COUNT_IS_MINIMUM,
        "gerbil",
    ),
    case(
        "set up late, several came",
        Night([GERBIL, stay("20:00", "m")], alive=("18:30", "06:05")),
        CAUTION,
        R.SEVERAL_COUNT_IS_MINIMUM,
        "mouse",
    ),
    case(
        "time-lapse photos as due",
        Night(
            [stay("00:00", ""), stay("04:00", ""), stay("05:00-05:03")],
            {"set_out": at("20:00")},
            {"timelapse_every_min": 240},
            alive=("20:00", "06:05"),
        ),
        KEEP,
        R.CLEAN,
        "gerbil",
    ),
    case(
        "a time-lapse photo missing before the visit",
        Night(
            [stay("04:00", ""), stay("05:00-05:03")],
            {"set_out": at("20:00")},
            {"timelapse_every_min": 240},
            alive=("20:00", "06:05"),
        ),
        CAUTION,
        R.COUNT_IS_MINIMUM,
        "gerbil",
    ),
    case(
        "a time-lapse photo missing after the visit",
        Night([GERBIL], camera={"timelapse_every_min": 720}),
        DROP,
        R.GAP_AFTER_LAST,
    ),
    case(
        "no proof of life at all but the visit",
        Night([GERBIL], UNTOUCHED, alive=()),
        NO_GUD,
        R.VISITED_NOT_EATEN,
    ),
    case(
        "outside its start",
        Night([GERBIL], camera={"start": at("19:30")}, alive=("19:30", "06:05")),
        ERROR,
        R.OUTSIDE_PLACEMENT,
    ),
    case(
        "outside its end",
        Night([stay("05:00-05:02")], camera={"end": at("05:01")}, alive=("17:35",)),
        ERROR,
        R.OUTSIDE_PLACEMENT,
    ),
    case(
        "up to its end, which is closed",
        Night([stay("05:00-05:02")], camera={"end": at("05:02")}, alive=("17:35",)),
        DROP,
        R.GAP_AFTER_LAST,
    ),
    case("a clock nobody trusts", Night([GERBIL], flag=ClockFlag.TWICE), ERROR, R.NOT_COVERED),
    case(
        "quiet for longer than the gap",
        Night([GERBIL], camera={"quiet_s": 121}),
        CAUTION,
        R.SHORT_VISITS_MISSED,
        "gerbil",
    ),
    case("quiet for the gap", Night([GERBIL], camera={"quiet_s": 120}), KEEP, R.CLEAN, "gerbil"),
    case("no placement", Night([], camera={"trays": ("T9",)}), DROP, R.EATEN_UNWATCHED),
    case(
        "no placement, untouched",
        Night([], UNTOUCHED, camera={"trays": ("T9",)}),
        NO_GUD,
        R.UNUSED_BY_MASS,
    ),
]

THE_LOG = [
    case("no mass at the start", Night([GERBIL], {"food_start_g": None}), PENDING, R.MASS_MISSING),
    case("no mass left", Night([GERBIL], {"food_left_g": None}), PENDING, R.MASS_MISSING),
    case("no set-out", Night([GERBIL], {"set_out": None}), PENDING, R.TIME_MISSING),
    case("no pick-up", Night([GERBIL], {"picked_up": None}), PENDING, R.TIME_MISSING),
    case(
        "neither mass nor time",
        Night([GERBIL], {"food_left_g": None, "set_out": None}),
        PENDING,
        R.MASS_MISSING,
    ),
    case("no tray", Night([GERBIL], {"tray": ""}), PENDING, R.TRAY_MISSING),
    case(
        "a blank cell in the camera log",
        Night([GERBIL], camera={"camera": ""}),
        PENDING,
        R.PLACEMENT_INCOMPLETE,
    ),
    *(
        case(f"{condition}", Night([GERBIL], {"condition": condition}), DROP, reason)
        for condition, reason in (
            (Condition.KNOCKED, R.KNOCKED),
            (Condition.FLOODED, R.FLOODED),
            (Condition.SPILLED, R.SPILLED),
            (Condition.ANTS, R.ANTS),
        )
    ),
    case("wet, no controls", Night([GERBIL], WET), DROP, R.WET_UNCORRECTED),
    case("wet, controls", Night([GERBIL], WET, more=[CONTROL]), CAUTION, R.WET_CORRECTED, "gerbil"),
    case(
        "other",
        Night([GERBIL], {"condition": Condition.OTHER}),
        CAUTION,
        R.CONDITION_OTHER,
        "gerbil",
    ),
    case(
        "overlapping windows",
        Night([GERBIL], more=[tray("D2", set_out=at("05:59"), picked_up=at("18:00", 1))]),
        ERROR,
        R.WINDOWS_OVERLAP,
    ),
    case(
        "a pre-bait window overlaps too",
        Night(
            [GERBIL],
            more=[tray("B1", set_out=at("17:00"), picked_up=at("18:01"), role=TrayRole.PREBAIT)],
        ),
        ERROR,
        R.WINDOWS_OVERLAP,
    ),
    case(
        "touching windows",
        Night([GERBIL], more=[tray("D2", set_out=at("06:00"), picked_up=at("18:00", 1))]),
        KEEP,
        R.CLEAN,
        "gerbil",
    ),
]

CASES = [*THE_FOOD, *WHO_CAME, *THE_TAGS, *THE_WINDOW, *THE_CAMERA, *THE_LOG]


@pytest.mark.parametrize(("night", "status", "reason", "forager"), CASES)
def test_cases(night: Night, status: Status, reason: Reason, forager: str) -> None:
    """Each case settled gives its status, reason and owner."""
    found = night.outcome()
    assert (found.status, found.reason, found.forager) == (status, reason, forager)
    assert (found.gud is not None) == (status in {KEEP, CAUTION})
