"""The decision table: 140 cells of food x visits x coverage, and every reason there is."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from itertools import product

import pytest
from builders import REASONS_OF, case, there

from core.coverage import Cover
from core.food import Food
from core.forager import COLUMNS, TABLE, Cell, Circumstances, Evidence, Seen, decide
from core.model import Condition, Reason, Status
from core.settings import FeederRule

# The decision table (a judgement of the method, no source), with what comes before it: review
# unfinished (VP) and a missing mass (T?) wait, whatever else; VM here is "the last
# feeder is identified", an emptied tray shows no feeding.
EXPECTED = """
food visits  C1       C2       C3       C0
T1   V0      drop     drop     drop     drop
T1   V1      keep     caution  drop     error
T1   VN      caution  caution  drop     error
T1   VU      drop     drop     drop     error
T1   VM      caution  caution  drop     error
T1   VH      drop     drop     drop     error
T1   VP      pending  pending  pending  pending
T2   V0      drop     drop     drop     drop
T2   V1      caution  drop     drop     error
T2   VN      drop     drop     drop     error
T2   VU      drop     drop     drop     error
T2   VM      drop     drop     drop     error
T2   VH      drop     drop     drop     error
T2   VP      pending  pending  pending  pending
T0   V0      no_gud   no_gud   no_gud   no_gud
T0   V1      no_gud   no_gud   no_gud   error
T0   VN      no_gud   no_gud   no_gud   error
T0   VU      no_gud   no_gud   no_gud   error
T0   VM      no_gud   no_gud   no_gud   error
T0   VH      no_gud   no_gud   no_gud   error
T0   VP      pending  pending  pending  pending
T3   V0      drop     drop     drop     drop
T3   V1      drop     drop     drop     error
T3   VN      drop     drop     drop     error
T3   VU      drop     drop     drop     error
T3   VM      drop     drop     drop     error
T3   VH      drop     drop     drop     error
T3   VP      pending  pending  pending  pending
T?   V0      pending  pending  pending  pending
T?   V1      pending  pending  pending  error
T?   VN      pending  pending  pending  error
T?   VU      pending  pending  pending  error
T?   VM      pending  pending  pending  error
T?   VH      pending  pending  pending  error
T?   VP      pending  pending  pending  pending
"""


def cells() -> Iterator[tuple[Food, Seen, Cover, Status]]:
    """Give the cells of the table written out above."""
    header, *lines = EXPECTED.strip().splitlines()
    covers = [Cover(word) for word in header.split()[2:]]
    for line in lines:
        food, seen, *statuses = line.split()
        for cover, status in zip(covers, statuses, strict=True):
            yield Food(food), Seen(seen), cover, Status(status)


CELLS = [pytest.param(*cell, id=" ".join(cell[:3])) for cell in cells()]


def without_evidence(cell: Cell) -> Status:
    """Read a cell as the totals count it: the last feeder identified, no feeding seen."""
    if cell.milder and cell.asks is Evidence.LAST_FEEDER_NAMED:
        return cell.milder.status
    return cell.verdict.status


@pytest.mark.parametrize(("food", "seen", "cover", "expected"), CELLS)
def test_every_cell_of_the_table(food: Food, seen: Seen, cover: Cover, expected: Status) -> None:
    """Food x visits x coverage gives the status written out above."""
    assert without_evidence(TABLE[food, seen][COLUMNS.index(cover)]) is expected


@pytest.mark.parametrize(("food", "seen", "cover", "expected"), CELLS)
def test_every_cell_through_the_whole_rule(
    food: Food, seen: Seen, cover: Cover, expected: Status
) -> None:
    """With nothing special about it, a tray gets its cell's status, and one sentence with it."""
    decision = decide(case(food, seen, cover))
    assert decision.status is expected
    assert decision.reason in REASONS_OF[expected]


def test_the_totals_of_the_table() -> None:
    """140 cells, one status each, and one single keep: T1 V1 C1."""
    counted = Counter(without_evidence(cell) for row in TABLE.values() for cell in row)
    assert counted == {
        Status.DROP: 50,
        Status.PENDING: 39,
        Status.ERROR: 25,
        Status.NO_GUD: 19,
        Status.CAUTION: 6,
        Status.KEEP: 1,
    }
    assert set(TABLE) == set(product(Food, Seen))
    assert tuple(Cover) == COLUMNS
    assert sum(counted.values()) == 140


@pytest.mark.parametrize(
    ("given_", "status", "reason"),
    [
        pytest.param(
            case(
                Food.EMPTIED,
                Seen.ONE,
                Cover.GAP_BEFORE,
                who=there(Seen.ONE, feeding_seen=True),
                fed_after_gap=True,
            ),
            Status.CAUTION,
            Reason.EMPTIED_AFTER_GAP,
            id="T2 V1 C2, feeding seen after the gap",
        ),
        pytest.param(
            case(Food.EMPTIED, Seen.ONE, Cover.GAP_BEFORE, who=there(Seen.ONE, feeding_seen=True)),
            Status.DROP,
            Reason.EMPTIED_GAP,
            id="T2 V1 C2, feeding seen before the gap only",
        ),
        pytest.param(
            case(Food.EMPTIED, Seen.SEVERAL, who=there(Seen.SEVERAL, feeding_seen=True)),
            Status.CAUTION,
            Reason.EMPTIED_LAST_SEEN,
            id="T2 VN C1, the last was seen feeding",
        ),
        pytest.param(
            case(Food.EMPTIED, Seen.SOME_UNKNOWN, who=there(Seen.SOME_UNKNOWN, feeding_seen=True)),
            Status.CAUTION,
            Reason.EMPTIED_LAST_SEEN,
            id="T2 VM C1, the last was seen feeding and is named",
        ),
        pytest.param(
            case(
                Food.EMPTIED,
                Seen.SOME_UNKNOWN,
                who=there(Seen.SOME_UNKNOWN, feeding_seen=True, owner=None),
            ),
            Status.DROP,
            Reason.EMPTIED_FEEDER_UNKNOWN,
            id="T2 VM C1, the last that fed has no name",
        ),
        *(
            pytest.param(
                case(
                    Food.PART_EATEN,
                    Seen.SOME_UNKNOWN,
                    cover,
                    who=there(Seen.SOME_UNKNOWN, feeding_seen=True, owner=None),
                ),
                Status.DROP,
                Reason.LAST_UNIDENTIFIED,
                id=f"T1 VM {cover}, the last that fed has no name",
            )
            for cover in (Cover.WHOLE, Cover.GAP_BEFORE)
        ),
    ],
)
def test_cells_that_ask_the_photos(given_: Circumstances, status: Status, reason: Reason) -> None:
    """Seven cells depend on what the photos show."""
    decision = decide(given_)
    assert (decision.status, decision.reason) == (status, reason)


# --- every reason ---------------------------------------------------------------


def every_case() -> Iterator[Circumstances]:
    """Give each cell with and without its evidence, each fault, and each special case."""
    for food, seen, cover in product(Food, Seen, Cover):
        dull = case(food, seen, cover)
        yield dull
        for owner, fed in product((None, dull.company.owner), (True, False)):
            who = replace(dull.company, owner=owner, feeding_seen=fed)
            yield replace(dull, company=who, fed_after_gap=fed)
            yield replace(dull, company=replace(who, owner=None, last_feeder_tied=True))
        yield replace(dull, company=replace(dull.company, bystanders=True))
    yield case(cut_at_set_out=True)
    yield case(running_at_pickup=True)
    yield case(quiet_too_long=True)
    yield case(watch_doubted=True)
    yield case(clock_doubted=True)
    yield case(overlaps=True)
    yield case(outside_placement=True)
    yield case(mostly_before=True)
    yield case(nights=2)
    for persons, after in ((True, False), (False, True)):
        yield case(who=there(Seen.ONE, feeding_seen=True, persons=persons, came_after=after))
    for rule in FeederRule:
        yield case(who=there(Seen.SEVERAL, feeding_seen=True, rule=rule))
    for condition, controls in product(Condition, (0, 1)):
        yield case(condition=condition, moisture_controls=controls)
    for reason in REASONS_OF[Status.PENDING]:
        yield case(missing=(reason,))
        yield case(waits_for=(reason,))


def test_every_reason_can_be_given() -> None:
    """No reason stands in the model that no tray could ever get."""
    given_ = {decide(one).reason for one in every_case()}
    assert [reason.name for reason in Reason if reason not in given_] == []
