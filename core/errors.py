"""Decide how a fault that a person can put right is worded: the thing, the value, the way out.

The tree:

LastbiteError
    StudyError      the study folder, its settings or its database
    LogError        a log that people wrote: every fault of it, each with its line
    CardError       a card folder or a photo on it
    ClockError      a camera clock that cannot be corrected
    TagError        a tag that names something the study does not have
    CodeError       a code for the camera that cannot be made
    AnalysisError   a number that a scale or an equation of the analysis has no answer for
    PeopleError     somebody who may not do what they ask for, or who cannot be told from others
    PackageError    a file of a package that cannot be read, or leads out of its folder
    CellError       a cell of a package that does not hold what its column asks for

A bug stays a plain Python error and keeps its traceback.
"""

from collections.abc import Sequence
from dataclasses import dataclass


class LastbiteError(Exception):
    """Something a person can put right; its text is all they are shown."""


class StudyError(LastbiteError):
    """The study folder, its settings or its database cannot be used as they are."""


class CardError(LastbiteError):
    """A card folder cannot be scanned, moved or forgotten as asked."""


class ClockError(LastbiteError):
    """A camera clock cannot be corrected."""


class TagError(LastbiteError):
    """A tag names something that the study does not have."""


class CodeError(LastbiteError):
    """A code for the camera, of the time or of a tray, cannot be made."""


class AnalysisError(LastbiteError):
    """A number that a scale or an equation of the analysis has no answer for."""


class PeopleError(LastbiteError):
    """Somebody may not do what they ask for, or cannot be told from somebody else."""


@dataclass(frozen=True, slots=True)
class Problem:
    """One fault in what people gave us."""

    message: str
    """Thing, value and way out, one sentence or two."""
    line: int | None = None
    """Line of the log as a spreadsheet numbers it, the header being line 1; None for the whole."""

    def __str__(self) -> str:
        """Put the line in front, when there is one."""
        return self.message if self.line is None else f"line {self.line}: {self.message}"


class LogError(LastbiteError):
    """A log was refused whole; `problems` lists every fault, each with its line."""

    def __init__(self, log: str, problems: Sequence[Problem]) -> None:
        self.log = log
        self.problems = tuple(problems)
        many = f"{len(self.problems)} faults" if len(self.problems) != 1 else "one fault"
        listed = "\n".join(f"  {problem}" for problem in self.problems)
        super().__init__(f"{log} was not loaded: {many}, nothing was changed.\n{listed}")
