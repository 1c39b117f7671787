"""Decide how a length of time is put into words, and what could have been missed in a stretch."""

from collections.abc import Sequence
from datetime import datetime, timedelta

from core.coverage.rows import State, Stretch, Why
from core.model import Span

_UNITS = ((86_400, "d"), (3600, "h"), (60, "min"), (1, "s"))


def length(time: timedelta) -> str:
    """Put a length of time into words, in its two largest units: `6 h 50 min`; the rest is cut."""
    left = round(time.total_seconds())
    parts = []
    for size, unit in _UNITS:
        many, left = divmod(left, size)
        parts.append((many, unit))
    first = next((at for at, (many, _) in enumerate(parts) if many), len(parts) - 1)
    told = [f"{many} {unit}" for many, unit in parts[first : first + 2] if many]
    return " ".join(told) or "0 s"


def could_be_missed(stretch: Stretch, last_on_tray: datetime | None) -> str:
    """Say which visits could have been missed in a stretch; empty where it was watched.

    Parameters
    ----------
    last_on_tray
        True time of the last photo of the last on-tray visit in the window; None: there was none.
    """
    these = length(stretch.span.end - stretch.span.start)
    if stretch.state is State.WATCHED:
        return ""
    if stretch.why is Why.QUIET:
        return f"A visit that began and ended in these {these} could have been missed."
    meaning = _meaning(last_on_tray, [stretch.span])
    if stretch.why is Why.CLOCK:
        return (
            f"Photos of these {these} may belong to another time, so any visit could have been "
            f"missed; {meaning}."
        )
    if stretch.state is State.UNTRUSTED:
        return f"If {stretch.why}, any visit in these {these} was missed; {meaning}."
    return f"Any visit in these {these} could have been missed; {meaning}."


def _meaning(last_on_tray: datetime | None, spans: Sequence[Span]) -> str:
    """Say what a missed visit would change: the count, or the last feeder too."""
    if last_on_tray is None:
        return "none was seen on the tray, so one may have been all there was"
    if all(span.end <= last_on_tray for span in spans):
        return "the last one on the tray was seen later, so only the count is a minimum"
    return "it may have come after the last one seen, and then another animal fed last"


def summary(window: Span, stretches: Sequence[Stretch], last_on_tray: datetime | None) -> str:
    """Say for a whole window what was not watched and what could have been missed there."""
    lost = [one for one in stretches if one.state is not State.WATCHED]
    if not lost:
        return (
            "Every moment was watched. An animal that did not trigger the camera can still have "
            "been missed."
        )
    whole = length(window.end - window.start)
    totals = [
        f"{length(total)} {words}"
        for state, words in ((State.UNWATCHED, "not watched"), (State.UNTRUSTED, "not trusted"))
        if (total := sum((_span(one) for one in lost if one.state is state), timedelta(0)))
    ]
    sentences = [f"Of {whole}, {' and '.join(totals)}."]
    silent = [one for one in lost if one.why is not Why.QUIET]
    if silent:
        longest = length(max(_span(one) for one in silent))
        many = f"{len(silent)} stretches (the longest {longest})" if silent[1:] else longest
        meaning = _meaning(last_on_tray, [one.span for one in silent])
        sentences.append(f"Any visit in {many} could have been missed; {meaning}.")
    blind = [one for one in lost if one.why is Why.QUIET]
    if blind:
        longest = length(max(_span(one) for one in blind))
        times = "once" if len(blind) == 1 else f"{len(blind)} times"
        sentences.append(
            f"The camera stayed quiet {times} after a trigger: visits shorter than {longest} "
            "could have been missed there."
        )
    return " ".join(sentences)


def _span(stretch: Stretch) -> timedelta:
    return stretch.span.end - stretch.span.start
