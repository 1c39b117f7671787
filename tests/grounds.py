"""An invented study in memory with all that its outcomes are made of, for the sensitivity.

25 sites with a tray in the open and one under a bush, 10 nights, 100 photos a tray and night:
500 tray deployments, 50,000 photos, with pauses around every gap of the grid and two taggers.
"""

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from decimal import Decimal
from random import Random

from builders import NOON, SETTINGS, SPECIES, at, camera, tag_of, tray

from core import views
from core.chain import PlacementGround, Study
from core.clockfaults import ClockCorrection, ClockFault
from core.model import ClockCheck, Condition, Photo, Tag, TrayDeployment, TrayRole, Where

SITES, NIGHTS, A_NIGHT = 25, 10, 100


def study(
    nights: int = NIGHTS,
    sites: int = SITES,
    *,
    seed: int = 1,
    messy: bool = False,
    checked: bool = False,
) -> Study:
    """Make the study, the same for a seed; `messy`: everything that can go wrong now and then.

    `checked`: each clock that was not corrected lags by some seconds, which a check puts right.
    """
    draw = Random(seed)
    trays = [
        _tray(site, microhabitat, night, draw)
        for site in range(sites)
        for microhabitat in ("open", "bush")
        for night in range(nights)
    ]
    names = list(dict.fromkeys(one.tray for one in trays))
    places = [
        _place(name, (name,), nights, trays, draw, messy=messy, lag=3 * at + 1 if checked else 0)
        for at, name in enumerate(names)
    ]
    if messy:
        trays = [_mishap(one, draw) for one in trays]
        controls = [
            tray(f"C{at}", tray="C", role=TrayRole.SIFT_CONTROL, food_left_g=Decimal(left))
            for at, left in enumerate(("9.9", "9.8", "9.85"))
        ]
        places[0] = _place(names[0], (names[0], names[1]), nights, trays, draw, messy=True)
        places.append(_place("second", (names[-1],), nights, trays, draw, messy=True))
        return Study([*trays, *controls], SPECIES, SETTINGS, places)
    return Study(trays, SPECIES, SETTINGS, places)


def _mishap(one: TrayDeployment, draw: Random) -> TrayDeployment:
    chance = draw.random()
    if chance < 0.1:
        return replace(one, condition=draw.choice(list(Condition)))
    if chance < 0.15:
        return replace(one, food_left_g=None)
    if chance < 0.2:
        return replace(one, picked_up=None)
    if chance < 0.3 and one.picked_up:
        return replace(one, picked_up=one.picked_up + timedelta(hours=13))
    return replace(one, food_left_g=Decimal("9.9")) if chance < 0.45 else one


def _tray(site: int, microhabitat: str, night: int, draw: Random) -> TrayDeployment:
    left = 3.0 + 0.8 * (microhabitat == "open") + draw.gauss(0, 1.2)
    chance = draw.random()
    left = draw.choice((9.6, 9.7, 9.85)) if chance < 0.1 else 0.1 if chance < 0.15 else left
    name = f"S{site:02}-{microhabitat}"
    return tray(
        f"{name}-{night:02}", tray=name, site=f"S{site:02}", microhabitat=microhabitat,
        set_out=at("18:00", night), picked_up=at("06:00", night),
        food_left_g=Decimal(f"{min(max(left, 0.3), 9.9):.2f}"),
    )  # fmt: skip


def _place(
    name: str,
    watches: tuple[str, ...],
    nights: int,
    trays: list[TrayDeployment],
    draw: Random,
    *,
    messy: bool,
    lag: int = 0,
) -> PlacementGround:
    start, end = at("17:30"), at("06:30", nights - 1)
    logged = camera(name, trays=watches, start=start, end=end, working_at_pickup=True)
    if messy:
        logged = replace(
            logged,
            working_at_pickup=draw.random() < 0.7,
            timelapse_every_min=draw.choice((None, None, 60)),
            quiet_s=draw.choice((None, None, 45, 200)),
        )
    photos: list[Photo] = []
    tags: list[Tag] = []
    corrected = draw.random() < 0.1
    behind = timedelta(hours=1) if corrected else timedelta(seconds=lag)
    for night in range(nights):
        for run in _runs(night, draw):
            ids = range(len(photos) + 1, len(photos) + 1 + len(run))
            photos += [
                Photo(id_, name, f"IMG_{id_:05}.JPG", (moment - behind).replace(tzinfo=None))
                for id_, moment in zip(ids, run, strict=True)
            ]
            if messy and draw.random() < 0.06:
                tags += _messy_tags(name, watches, ids, len(tags), draw)
            else:
                tags += _tags(name, ids[0], ids[-1], len(tags), draw)
    corrections: tuple[ClockCorrection, ...] = ()
    if corrected:
        corrections = (
            ClockCorrection(name, ClockFault.ONE_HOUR, 3600, by="ann", made_at=NOON, number=1),
        )
    showed = ClockCheck(name, (at("17:30") - behind).replace(tzinfo=None), at("17:30"))
    checks = [showed] if lag and not corrected else []
    base, without = (
        views.base_of(name, logged, known, photos, SETTINGS.timezone, SPECIES, trays, some)
        for known, some in ((checks, corrections), ((), ()))
    )
    return PlacementGround(base, without if corrections or checks else base, tuple(tags))


def _runs(night: int, draw: Random) -> Iterator[list[datetime]]:
    """Give runs of photos that one animal stayed for, with pauses of every length inside."""
    begin = at("18:20", night)
    for _ in range(8):
        begin += timedelta(minutes=draw.uniform(20, 60))
        moments = [begin]
        for _ in range(A_NIGHT // 8):
            pause = draw.choice((1, 2, 5, 5, 10, 20, 20, 40, 40, 80, 180))
            moments.append(moments[-1] + timedelta(seconds=pause))
        yield [moment.replace(microsecond=0) for moment in moments]


def _tags(name: str, first: int, last: int, made: int, draw: Random) -> list[Tag]:
    species = "m" if draw.random() < 0.15 else "g"
    where = Where.FED if draw.random() < 0.8 else Where.ON_TRAY
    who = ("ann",) if draw.random() < 0.2 else ("ann", "ben")
    return [
        tag_of(first, last, number=made + at, placement=name, tagger=one, species=species,
               where=where, made_at=NOON)
        for at, one in enumerate(who, start=1)
    ]  # fmt: skip


def _messy_tags(
    name: str, watches: tuple[str, ...], ids: range, made: int, draw: Random
) -> list[Tag]:
    """Give tags as a class makes them: parts of runs, doubts, disputes, rulings, two species."""
    found: list[Tag] = []
    for who in draw.choice((("ann",), ("ann", "ben"), ("ann", "ben", "cy"), ())):
        for _ in range(draw.choice((1, 1, 1, 2))):
            whole = draw.random() < 0.7
            first, last = sorted(draw.sample(ids, 2)) if not whole else (ids[0], ids[-1])
            species = draw.choice(
                ("g", "g", "g", "g", "m", "f", "p", "unknown", "blank", "handler")
            )
            found.append(
                tag_of(
                    first, last, number=made + len(found) + 1, placement=name, tagger=who,
                    species=species, count=draw.choice((None, 1, 2)), sure=draw.random() < 0.9,
                    where=draw.choice((Where.FED, Where.FED, Where.ON_TRAY, Where.NEAR)),
                    tray=draw.choice(("", watches[0])) if len(watches) > 1 else "",
                    ruling=draw.random() < 0.1, also=draw.random() < 0.3, made_at=NOON,
                )
            )  # fmt: skip
    return found
