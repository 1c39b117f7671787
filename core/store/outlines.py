"""Decide how the outlines of trays are held: each as drawn, the newest of a tray is the one."""

from datetime import datetime

from sqlalchemy import Connection, func, select

from core.errors import TagError
from core.model import Outline
from core.store.tables import TRAY_OUTLINES

FARTHEST = 4.0
"""No picture is higher than so many of its widths (a judgement)."""
NARROWEST, WIDEST = 0.005, 2.0
"""Between these a tray can be told in a picture (a judgement). [picture widths]"""

_FIELDS = [TRAY_OUTLINES.c[name] for name in ("tray", "cx", "cy", "rx", "ry", "angle", "made_by")]


def outlines(connection: Connection, placement: str) -> list[Outline]:
    """Fetch the newest outline of each tray of a placement, by tray."""
    here = TRAY_OUTLINES.c.placement == placement
    newest = select(func.max(TRAY_OUTLINES.c.id)).where(here).group_by(TRAY_OUTLINES.c.tray)
    asked = select(*_FIELDS).where(TRAY_OUTLINES.c.id.in_(newest))
    found = [Outline(*cells) for cells in connection.execute(asked)]
    return sorted(found, key=lambda one: one.tray)  # servers sort letters in ways of their own


def add_outline(connection: Connection, placement: str, outline: Outline, at: datetime) -> None:
    """Hold an outline as the newest of its tray; TagError for one that lies in no picture."""
    inside = 0 <= outline.cx <= 1 and 0 <= outline.cy <= FARTHEST
    if not inside or not all(NARROWEST <= r <= WIDEST for r in (outline.rx, outline.ry)):
        raise TagError(
            f"The outline of tray {outline.tray!r} lies outside the picture, or is too small or "
            "too large to be a tray. Draw it round the tray that is seen."
        )
    row = {
        "placement": placement,
        "tray": outline.tray,
        "cx": outline.cx,
        "cy": outline.cy,
        "rx": outline.rx,
        "ry": outline.ry,
        "angle": outline.angle % 180,
        "made_by": outline.by,
        "made_at": at,
    }
    connection.execute(TRAY_OUTLINES.insert(), row)
