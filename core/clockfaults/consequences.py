"""Decide how to say what would become of the trays if a clock were put right."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from core.model import Outcome


@dataclass(frozen=True, slots=True)
class ChangedOutcome:
    """A tray deployment whose outcome is another one before and after."""

    deployment: str
    before: Outcome | None
    after: Outcome | None
    """None where there is no such deployment."""
    words: tuple[str, ...]
    """What changes, a few words each: status, forager, visits."""

    def __str__(self) -> str:
        """Say it in one line."""
        return f"{self.deployment}: {', '.join(self.words)}"


def changed_outcomes(before: Sequence[Outcome], after: Sequence[Outcome]) -> list[ChangedOutcome]:
    """List the trays whose status, reason, forager or visits change, in the order of the log.

    A tray that stays as it is, or differs only in minutes or shares watched, is not listed.
    """
    was = {one.deployment.deployment: one for one in before}
    becomes = {one.deployment.deployment: one for one in after}
    found = []
    for name in dict.fromkeys([*was, *becomes]):
        words = tuple(_differences(was.get(name), becomes.get(name)))
        if words:
            found.append(ChangedOutcome(name, was.get(name), becomes.get(name), words))
    return found


def _differences(was: Outcome | None, now: Outcome | None) -> Iterator[str]:
    if was is None or now is None:
        yield "is new" if was is None else "is gone"
        return
    if was.status is not now.status:
        yield f"{was.status} becomes {now.status} ({now.reason})"
    elif was.reason is not now.reason:
        yield f"{now.status} stays, now because {now.reason}"
    if was.forager != now.forager:
        yield f"forager {was.forager or 'none'} becomes {now.forager or 'none'}"
    for name, old, new in (
        ("visits", was.visits, now.visits),
        ("visits of all animals", was.visits_all, now.visits_all),
        ("visits still to be answered", was.unanswered, now.unanswered),
    ):
        if old != new:
            yield f"{name} {old} become {new}"
