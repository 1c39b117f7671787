"""Decide which clocks (or log rows) are at fault, what would put them right, and apply it."""

from core.clockfaults.applying import (
    by_photo,
    corrected,
    corrected_checks,
    in_force,
    inverse,
    true_times,
)
from core.clockfaults.consequences import ChangedOutcome, changed_outcomes
from core.clockfaults.find import find_faults
from core.clockfaults.order import FileOrder, file_order
from core.clockfaults.rows import (
    ClockCorrection,
    ClockFault,
    ClockFinding,
    Neighbour,
    Proposal,
    Timeline,
)
from core.coverage.rows import Confidence

__all__ = [
    "ChangedOutcome",
    "ClockCorrection",
    "ClockFault",
    "ClockFinding",
    "Confidence",
    "FileOrder",
    "Neighbour",
    "Proposal",
    "Timeline",
    "by_photo",
    "changed_outcomes",
    "corrected",
    "corrected_checks",
    "file_order",
    "find_faults",
    "in_force",
    "inverse",
    "true_times",
]
