"""Decide what codes say that people show to a camera: draw them, find them, and propose."""

from core.codes.drawing import (
    CLOCK_MODULES,
    QUIET,
    ClockTable,
    Modules,
    clock_table,
    modules_of,
)
from core.codes.looking import photos_to_look_at
from core.codes.offers import (
    Ground,
    Offer,
    Settled,
    findings,
    in_force,
    key_of,
    offers,
    open_contradictions,
    time_of,
)
from core.codes.proposals import (
    ClockProposal,
    Contradiction,
    Edge,
    EdgeProposal,
    HandlerProposal,
    Proposals,
    TrayProposal,
    proposals,
)
from core.codes.reading import BUDGET_S, METHOD, Found, Reading, read_codes, read_photo
from core.codes.texts import ClockCode, Code, TrayCode, code_of, text_of

__all__ = [
    "BUDGET_S",
    "CLOCK_MODULES",
    "METHOD",
    "QUIET",
    "ClockCode",
    "ClockProposal",
    "ClockTable",
    "Code",
    "Contradiction",
    "Edge",
    "EdgeProposal",
    "Found",
    "Ground",
    "HandlerProposal",
    "Modules",
    "Offer",
    "Proposals",
    "Reading",
    "Settled",
    "TrayCode",
    "TrayProposal",
    "clock_table",
    "code_of",
    "findings",
    "in_force",
    "key_of",
    "modules_of",
    "offers",
    "open_contradictions",
    "photos_to_look_at",
    "proposals",
    "read_codes",
    "read_photo",
    "text_of",
    "time_of",
]
