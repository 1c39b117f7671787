"""Decide for all of time whether one placement was watching, and why or why not.

Its unwatched stretches are what `watched` and accepted rulings leave, so that they and the
verdict agree; what is set or suspected makes watched time untrusted, and nothing makes it better.
"""

from collections.abc import Collection, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta

from core.coverage.account import joined
from core.coverage.quiet import quiet_of
from core.coverage.rows import State, Stretch, StretchRuling, Suspicion, Why
from core.coverage.watching import clip, next_due, proves, watched, without
from core.model import ClockFlag, Photo, Placement, Span, true_time
from core.visits import TIMELAPSE_SLACK_S

SUSPECTED = frozenset({Why.CARD_FULL, Why.BATTERY_DEAD, Why.LENS_BLOCKED})
"""Why a stretch is in doubt until a person has looked."""
EVER = Span(datetime.min.replace(tzinfo=UTC), datetime.max.replace(tzinfo=UTC))
"""All of time: outside its placement no camera watches."""
_FROM_A_PROOF = {Why.TIMELAPSE_MISSING, Why.DEAD_AT_PICKUP, Why.AFTER_LAST}
_TO_A_PROOF = {Why.TIMELAPSE_MISSING, Why.BEFORE_FIRST}


def stretches_of(
    ordered: Sequence[Photo],
    placement: Placement,
    gap: timedelta,
    *,
    suspicions: Sequence[Suspicion] = (),
    rulings: Sequence[StretchRuling] = (),
) -> list[Stretch]:
    """Account for one placement: all of time in order, each stretch ending where the next begins.

    Suspected time is untrusted until a person rules on it; then it is unwatched where accepted,
    and where refused as if nothing had been suspected. Quiet time after a trigger is untrusted
    where it is longer than the gap: a shorter one lies inside a visit.

    Parameters
    ----------
    ordered
        All the placement's photos with a true time and their kinds, in order.
    suspicions, rulings
        What is suspected, and what people said of that; those of other placements are passed over.
    """
    start, end = placement.start or EVER.start, placement.end or EVER.end
    stay = Span(min(start, end), end)
    name = placement.placement
    mine = [one for one in suspicions if one.placement == name]
    standing = [one for one in rulings if one.placement == name and not one.taken_back]
    ruled = held(standing, mine)
    inside = _by_proofs(ordered, placement, gap, stay)
    inside = _lay(inside, _unsure(inside, ordered), {State.UNWATCHED})
    inside = _lay(inside, _accepted(ruled), set(State))
    inside = _lay(inside, _suspected(mine, ruled), {State.WATCHED})
    inside = _lay(inside, _quiet(ordered, placement, gap), {State.WATCHED})
    before = Stretch(Span(EVER.start, stay.start), State.UNWATCHED, Why.NO_CAMERA)
    after = Stretch(Span(stay.end, EVER.end), State.UNWATCHED, Why.NO_CAMERA)
    return joined([before, *inside, after])


def _by_proofs(
    ordered: Sequence[Photo], placement: Placement, gap: timedelta, stay: Span
) -> list[Stretch]:
    """Say of each part of a placement's stay why it is watched or not, as `watched` has it."""
    name, spans = placement.placement, clip(watched(ordered, placement, gap), stay)
    if not spans:
        return [Stretch(stay, State.UNWATCHED, Why.NO_PHOTO, name)]
    shown = {true_time(one): one.camera_time for one in ordered if proves(one, placement)}
    last = max(shown)
    ended = Why.AFTER_LAST if placement.working_at_pickup is not False else Why.DEAD_AT_PICKUP
    found, begun, why = [], stay.start, Why.BEFORE_FIRST
    for span in [*spans, Span(stay.end, stay.end)]:
        silence = Span(begun, span.start)
        due = _due(silence, shown.get(begun), placement.timelapse_every_min)
        found.append(Stretch(silence, State.UNWATCHED, why, name, due))
        proven = min(max(last, span.start), span.end)
        worked = Span(proven, span.end)
        found.append(Stretch(Span(span.start, proven), State.WATCHED, Why.PROVEN, name))
        found.append(Stretch(worked, State.WATCHED, Why.WORKING_AT_PICKUP, name))
        begun, why = span.end, ended if span.end >= spans[-1].end else Why.TIMELAPSE_MISSING
    return found


def _due(silence: Span, shown: datetime | None, every_min: int | None) -> str:
    """Say which time-lapse photo was the first due in a silence after a photo; empty: none."""
    if shown is None or not every_min:
        return ""
    due = next_due(shown + timedelta(seconds=TIMELAPSE_SLACK_S), every_min)
    if due - shown >= silence.end - silence.start:
        return ""
    return f"a time-lapse photo was due when the camera showed {due:%Y-%m-%d %H:%M}"


def _unsure(stretches: Sequence[Stretch], ordered: Sequence[Photo]) -> list[Stretch]:
    """Give the unwatched time that photos of an unsure hour may belong to."""
    flagged = [one for one in ordered if one.clock_flag in {ClockFlag.TWICE, ClockFlag.NEVER}]
    found = []
    for one in stretches:
        span = one.span
        there = [photo for photo in flagged if span.start <= true_time(photo) <= span.end]
        if one.state is State.UNWATCHED and there:
            start = span.start if one.why in _FROM_A_PROOF else true_time(there[0])
            end = span.end if one.why in _TO_A_PROOF else true_time(there[-1])
            said = str(there[0].clock_flag)
            found.append(Stretch(Span(start, end), State.UNWATCHED, Why.CLOCK, one.placement, said))
    return found


def held(rulings: Sequence[StretchRuling], suspicions: Sequence[Suspicion]) -> list[StretchRuling]:
    """Give rulings with the stretches that they are of now.

    A ruling is of photos that somebody looked at. Where the same photos are suspected of the same,
    it holds for that stretch as it is now, whatever clock correction came since; else for the
    stretch as it was then.
    """
    now = {(one.placement, one.why, one.look_at): one.span for one in suspicions}
    return [
        replace(one, span=now.get((one.placement, one.why, one.look_at), one.span))
        for one in rulings
    ]


def _accepted(ruled: Sequence[StretchRuling]) -> list[Stretch]:
    """Give the time that people took away; where rulings for one cause meet, the later holds."""
    found: list[Stretch] = []
    for ruling in sorted(ruled, key=lambda one: one.number):
        found = [
            replace(one, span=part)
            for one in found
            for part in (without(one.span, [ruling.span]) if one.why is ruling.why else [one.span])
        ]
        if ruling.accepted:
            said = "; ".join(filter(None, [f"accepted by {ruling.by}", ruling.because]))
            why, name = ruling.why, ruling.placement
            found.append(Stretch(ruling.span, State.UNWATCHED, why, name, said))
    return found


def _suspected(suspicions: Sequence[Suspicion], ruled: Sequence[StretchRuling]) -> list[Stretch]:
    """Give the time that is suspected and that nobody has ruled on yet."""
    return [
        Stretch(part, State.UNTRUSTED, one.why, one.placement, "; ".join(one.evidence))
        for one in suspicions
        for part in without(one.span, [r.span for r in ruled if r.why is one.why])
    ]


def _quiet(ordered: Sequence[Photo], placement: Placement, gap: timedelta) -> list[Stretch]:
    found = quiet_of(ordered, placement.quiet_s)
    name, set_to = placement.placement, f"{placement.quiet_s} s of quiet after"
    return [
        Stretch(span, State.UNTRUSTED, Why.QUIET, name, f"{set_to} {file}")
        for span, file in zip(found.blind, found.after, strict=True)
        if span.end - span.start > gap
    ]


def _lay(
    stretches: Sequence[Stretch], over: Sequence[Stretch], onto: Collection[State]
) -> list[Stretch]:
    """Lay stretches over those of some states; where two of `over` overlap, the earlier shows."""
    over = sorted(over, key=lambda one: one.span.start)
    found: list[Stretch] = []
    first = 0
    for one in stretches:
        while first < len(over) and over[first].span.end <= one.span.start:
            first += 1
        cursor, at = one.span.start, first
        while one.state in onto and at < len(over) and over[at].span.start < one.span.end:
            start = max(cursor, over[at].span.start)
            end = min(one.span.end, over[at].span.end)
            if start < end:
                found.append(replace(one, span=Span(cursor, start)))
                found.append(replace(over[at], span=Span(start, end)))
                cursor = end
            at += 1
        found.append(replace(one, span=Span(cursor, one.span.end)))
    return found


def doubted(stretches: Sequence[Stretch]) -> list[Span]:
    """Give the stretches that are suspected and that nobody has ruled on."""
    return [one.span for one in stretches if one.state is State.UNTRUSTED and one.why in SUSPECTED]


def without_accepted(spans: Sequence[Span], stretches: Sequence[Stretch]) -> list[Span]:
    """Take from watched stretches what a person accepted to be unwatched.

    So the verdict follows a ruling, and nothing else that is told here: untrusted time counts as
    watched, and the tray is a caution. Suspected time stays so until somebody has looked; the
    quiet time after a trigger stays so, since it follows every visit, the last one too.
    """
    gone = [one.span for one in stretches if one.state is State.UNWATCHED and one.why in SUSPECTED]
    if not gone:
        return list(spans)
    found: list[Span] = []
    for span in spans:
        if span.start == span.end:
            found += [] if any(one.start <= span.start < one.end for one in gone) else [span]
        else:
            found += without(span, gone)
    return found


def with_clock_in_doubt(stretches: Sequence[Stretch], said: str) -> list[Stretch]:
    """Give the stretches of a placement against whose clock something clear speaks.

    What would be watched is untrusted: its photos may belong to another time.

    Parameters
    ----------
    said
        More about the doubt, in words; may be empty.
    """
    return joined(
        [
            replace(one, state=State.UNTRUSTED, why=Why.CLOCK, said=said)
            if one.state is State.WATCHED
            else one
            for one in stretches
        ]
    )
