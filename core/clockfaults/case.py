"""Decide what of a placement is held together while its clock is examined."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from core.clockfaults import words
from core.clockfaults.ground import Ground, ground_of
from core.clockfaults.light import Light, light_of
from core.clockfaults.rows import ClockCorrection, ClockFault, Proposal, Seconds, Timeline
from core.clockfaults.series import (
    Check,
    Piece,
    Series,
    calendar,
    checks_of,
    offset_s,
    pieces_of,
    series_of,
)

Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Case:
    """One placement's photos in file order, cut into pieces, beside the logs and the light."""

    line: Timeline
    series: Series
    pieces: Sequence[Piece]
    ground: Ground | None
    checks: Sequence[Check]
    light: Light | None

    @property
    def offset(self) -> int:
        """Give the clock's offset from UTC at the placement's start. [s]"""
        start = self.line.placement.start
        if start is None:
            first = int(self.series.shown.min()) if len(self.series) else 0
            return offset_s(self.series.zone, calendar(first))
        local = start.astimezone(self.series.zone).replace(tzinfo=None)
        return offset_s(self.series.zone, local)

    def light_at(self, times: Seconds, mask: Mask) -> Light | None:
        """Give the light of some photos, at the times of all of them; None where not known."""
        return None if self.light is None else self.light.at(times, mask)

    def checks_in(self, mask: Mask) -> list[Check]:
        """Give the checks that belong to some of the photos, by what they showed."""
        found = [check for check in self.checks if mask[check.place]]
        return sorted(found, key=lambda check: check.nominal)

    def place_of(self, piece: Piece) -> Mask:
        """Give the mask of a piece's photos."""
        mask = np.zeros(len(self.series), dtype=bool)
        mask[piece.places] = True
        return mask

    def file(self, place: int) -> str:
        """Give the name of a photo's file, below the card folder."""
        wanted = int(self.series.ids[place])
        return next(photo.file for photo in self.line.photos if photo.id == wanted)

    def ends(self, mask: Mask) -> tuple[int | None, int | None]:
        """Give the ids that open and close some photos; None twice for the whole card."""
        if mask.all():
            return None, None
        places = np.flatnonzero(mask)
        return int(self.series.ids[places[0]]), int(self.series.ids[places[-1]])

    def corrections(self, kind: ClockFault, shift: int, mask: Mask) -> tuple[ClockCorrection, ...]:
        """Give the correction rows that shift some photos: one for each run of neighbours."""
        name = self.line.placement.placement
        why = f"{kind}: {words.proposal(kind, shift)}"
        if mask.all():
            return (ClockCorrection(name, kind, shift, why=why),)
        edges = np.flatnonzero(np.diff(np.concatenate(([False], mask, [False])).astype(np.int8)))
        ids = self.series.ids
        return tuple(
            ClockCorrection(name, kind, shift, int(ids[first]), int(ids[end - 1]), why)
            for first, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)
        )

    def proposal(
        self,
        kind: ClockFault,
        shift: int,
        mask: Mask,
        *,
        bounds: tuple[int, int] | None = None,
        explains: int = 0,
        edges: int = 0,
    ) -> Proposal:
        """Give the proposal to shift some photos by a constant time [s], known between bounds."""
        low, high = bounds or (None, None)
        return Proposal(
            kind,
            words.proposal(kind, shift),
            self.corrections(kind, shift, mask),
            None if kind is ClockFault.DAY_MONTH_EACH else shift,
            low,
            high,
            explains,
            edges,
            0 if self.ground is None else self.ground.times_people_came,
        )


def case_of(line: Timeline) -> Case:
    """Lay out what is known of a placement."""
    series = series_of(line)
    return Case(
        line=line,
        series=series,
        pieces=pieces_of(series),
        ground=ground_of(line.placement, line.trays),
        checks=checks_of(line, series),
        light=light_of(series, line.infrared, line.sun_height),
    )
