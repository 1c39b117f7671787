"""Decide what is asked of a study's outcomes together, and how long the answer is known.

What outcomes say is decided in `analysis`, how far that hangs on settings in `sensitivity`.
"""

import difflib
import hashlib
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar, cast
from zoneinfo import ZoneInfo

from core import chain, food, views
from core.analysis.bymass import by_mass
from core.analysis.choice import (
    Alternative,
    Choice,
    Measure,
    folded,
    in_order,
    night_of,
    owners,
    proposed,
)
from core.analysis.daylight import Daylight, by_the_sun, places_of
from core.analysis.scales import Scale
from core.analysis.whole import Analysis, analyse
from core.clockbook import Clockbook
from core.errors import StudyError
from core.exports import longtable, tables
from core.kept import Kept, looking_for_no_garbage
from core.model import Outcome, Placement, Species, TrayDeployment, TrayRole
from core.outcomes import was_there
from core.sensitivity import Sensitivity, grid_of, sensitivity
from core.settings import Settings
from core.store import Database, data_version
from core.watchbook import Watchbook
from core.windows import window_of

SEASON = "season"
"""A column of the tray log of people's own that names the season of a tray."""
T = TypeVar("T")
MOST_KNOWN = 16
"""Of so many questions the answer is known."""


@dataclass(frozen=True, slots=True)
class Question:
    """What somebody wants to know of a study."""

    forager: str = ""
    """Key of a species; empty: whoever fed last."""
    sides: tuple[str, str] | None = None
    """Two microhabitats; None: those with most trays."""
    seasons: tuple[str, ...] = ()
    """Empty: all."""
    measure: Measure | None = None
    """None: items where most food was counted, else grams."""
    scale: Scale = Scale.RAW
    """Of the mixed model."""
    average_nights: bool = True
    """Whether the nights of a station become one difference before ranking."""
    alternative: Alternative = Alternative.TWO_SIDED
    """What the signed-rank test speaks for."""


class Analysisbook:
    """What the outcomes of a study say together."""

    def __init__(
        self,
        database: Database,
        settings: Settings,
        kept: Kept,
        outcomes: Callable[[], list[Outcome]],
        placements: Callable[[], list[Placement]],
        watching: Watchbook,
        clocks: Clockbook,
    ) -> None:
        self._database = database
        self._settings = settings
        self._kept = kept
        self._outcomes = outcomes
        self._placements = placements
        self._watching = watching
        self._clocks = clocks
        self._known: dict[tuple[object, ...], object] = {}

    # --- what can be asked -----------------------------------------------------------------

    def foragers(self) -> list[Species]:
        """Give the species that own a density, who has most pairs to compare first."""
        listed = {one.name: one for one in self._species().values()}
        names = owners(self._outcomes(), self._settings.timezone)
        return [listed[name] for name in names if name in listed]

    def microhabitats(self) -> list[str]:
        """Give the microhabitats of the study trays, each as it was first written."""
        names = (one.deployment.microhabitat for one in self._outcomes())
        written: dict[str, str] = {}
        for name in names:
            written.setdefault(folded(name), name)
        return [name for fold, name in written.items() if fold]

    def seasons(self) -> list[str]:
        """Give the seasons of the study trays: a `season` column of the log, else the months."""
        zone = self._settings.timezone
        names = {season_of(one.deployment, zone) for one in self._outcomes()}
        return sorted(names, key=in_order)

    def question(
        self, forager: str, sides: tuple[str, str] | None, seasons: tuple[str, ...]
    ) -> Question:
        """Make a question of what somebody typed; a forager goes by its key or name.

        StudyError, with the likely name, for what the study does not have.
        """
        keys = {folded(word): one.key for one in self._species().values()
                for word in (one.scientific_name, one.name, one.key) if folded(word)}  # fmt: skip
        named = [one.name for one in self._species().values()]
        asked = folded(forager)
        if asked:
            _refuse_unknown("species", forager, named, keys)
        for side in sides or ():
            _refuse_unknown("microhabitat", side, self.microhabitats())
        for season in seasons:
            _refuse_unknown("season", season, self.seasons())
        return Question(keys[asked] if asked else "", sides, seasons)

    # --- what is answered ------------------------------------------------------------------

    def outcomes(self, question: Question) -> list[Outcome]:
        """Give the outcomes of the seasons that are asked for."""
        zone = self._settings.timezone
        return [
            one
            for one in self._outcomes()
            if not question.seasons or season_of(one.deployment, zone) in question.seasons
        ]

    def choice(self, question: Question) -> Choice:
        """Give what the analysis is asked, filled in from the trays where a question is open."""
        forager = self._species().get(question.forager)
        own = proposed(self.outcomes(question), self._settings.timezone, forager)
        first, second = question.sides or (own.first, own.second)
        return replace(
            own,
            first=first,
            second=second,
            measure=question.measure or own.measure,
            scale=question.scale,
            average_nights=question.average_nights,
            alternative=question.alternative,
            seasons=question.seasons,
            item_mass=self._settings.item_mass,
        )

    def trays(self, question: Question) -> list[TrayDeployment]:
        """Give the tray log without the study trays of other seasons."""
        with self._database.read() as connection:
            log = self._kept.logs(connection).trays
        asked = {one.deployment.deployment for one in self.outcomes(question)}
        return [one for one in log if one.role is not TrayRole.STUDY or one.deployment in asked]

    def placements(self, question: Question) -> list[Placement]:
        """Give the placements that may have stood at a tray that is asked for, in its window."""
        if not question.seasons:
            return self._placements()
        asked = [one.deployment for one in self.outcomes(question)]
        return [
            place
            for place in self._placements()
            if any(tray.tray in place.trays and was_there(place, window_of(tray)) for tray in asked)
        ]

    def analyse(self, question: Question) -> Analysis:
        """Give everything that the outcomes say to a question."""
        return self._once(
            ("analyse", question),
            lambda: analyse(
                self.outcomes(question), self.choice(question), self._species(), self._settings
            ),
        )

    def by_mass(self, question: Question) -> Analysis:
        """Give what the trays say by their mass alone, whoever ate: no density of a species."""
        asked = replace(question, forager="")
        return self._once(("by mass", asked), lambda: self._by_mass(asked))

    def _by_mass(self, question: Question) -> Analysis:
        outcomes = self.outcomes(question)
        with self._database.read() as connection:
            trays = self._kept.logs(connection).trays
        controls = food.controls_of(trays, self._settings.timezone)
        readings = {
            one.deployment.deployment: food.read_food(one.deployment, controls, self._settings)
            for one in outcomes
        }
        choice = self.choice(question)
        return analyse(by_mass(outcomes, readings), choice, self._species(), self._settings)

    def daylight(self, question: Question) -> Daylight:
        """Give at what height of the sun animals came."""
        places = places_of(self._placements())
        return self._once(
            ("daylight", question),
            lambda: by_the_sun(self.outcomes(question), places, self.choice(question)),
        )

    def sensitivity(self, question: Question) -> Sensitivity:
        """Work the study out under every setting of a grid: seconds the first time."""
        return self._once(("sensitivity", question), lambda: self._over_the_grid(question))

    def _over_the_grid(self, question: Question) -> Sensitivity:
        study = self.study(question)
        grid = grid_of(self._settings, corrected=study.corrected, weighed=study.weighed)
        with looking_for_no_garbage():
            return sensitivity(study, grid, self.choice(question))

    def checksums(self) -> dict[str, str]:
        """Give the SHA-256 of the tables of outcomes, by the command that writes them."""
        zone, mass = self._settings.timezone, self._settings.item_mass
        outcomes = self._outcomes()
        wide = (tables.outcome_row(one, zone) for one in outcomes)
        known = self._species()
        long = (row for one in outcomes for row in longtable.long_rows(one, zone, mass, known))
        return {
            "lastbite outcomes STUDY --csv FILE": _sha256(tables.OUTCOME_COLUMNS, wide),
            "lastbite outcomes STUDY --long FILE": _sha256(longtable.LONG_COLUMNS, long),
        }

    def long_rows(self) -> Iterator[tables.Row]:
        """Give the tidy table of outcomes: one number a row."""
        zone, mass, known = self._settings.timezone, self._settings.item_mass, self._species()
        for one in self._outcomes():
            yield from longtable.long_rows(one, zone, mass, known)

    def study(self, question: Question) -> chain.Study:
        """Give what outcomes are worked out from; trays of other seasons are no study trays."""
        asked = {one.deployment.deployment for one in self.outcomes(question)}
        with self._database.read() as connection:
            logs = self._kept.logs(connection)
            trays = [
                one
                if one.role is not TrayRole.STUDY or one.deployment in asked
                else replace(one, role=TrayRole.PREBAIT)
                for one in logs.trays
            ]
        places = [self._ground(name) for name in logs.placements]
        return chain.Study(trays, self._species(), self._settings, places)

    def _ground(self, name: str) -> chain.PlacementGround:
        layout, _ = self._kept.layout(name, self._settings.gap)
        base, without = layout.base, layout.base
        with self._database.read() as connection:
            checks = self._kept.logs(connection).checks_of(name)
        if base.corrections or checks:
            without = views.base_of(
                name, base.placement, (), base.timed.photos, self._settings.timezone,
                base.species, base.trays,
            )  # fmt: skip
        view = self._kept.view(name, self._settings.gap)
        return chain.PlacementGround(
            base=base,
            uncorrected=without,
            tags=tuple(layout.standing.tags()),
            stretches=self._watching.stretches(view),
            clock_doubted=self._clocks.in_doubt(name),
        )

    def _species(self) -> dict[str, Species]:
        with self._database.read() as connection:
            return dict(self._kept.species(connection))

    def _once(self, key: tuple[object, ...], work: Callable[[], T]) -> T:
        with self._database.read() as connection:
            version = data_version(connection)
        key = (version, self._watching.mark(), *key)
        if key not in self._known:
            newest = [*self._known.items()][1 - MOST_KNOWN :]
            self._known = dict(newest) | {key: work()}
        return cast("T", self._known[key])


def _refuse_unknown(kind: str, name: str, known: Sequence[str], also: Collection[str] = ()) -> None:
    """Refuse a name that is none of the known; capitals and blanks do not matter."""
    if folded(name) in {*map(folded, known), *also}:
        return
    near = difflib.get_close_matches(name, known, n=1)
    hint = f" Did you mean {near[0]!r}?" if near else ""
    listed = ", ".join(map(repr, known)) or "none"
    raise StudyError(f"The study has no {kind} {name!r}.{hint} Known are: {listed}.")


def _sha256(columns: Sequence[str], rows: Iterable[tables.Row]) -> str:
    digest = hashlib.sha256()
    for line in tables.csv_text(columns, rows):
        digest.update(line.encode())
    return digest.hexdigest()


def season_of(deployment: TrayDeployment, zone: ZoneInfo) -> str:
    """Give the season of a tray: what the log's own column says, else year and month of its night.

    Empty where neither is known.
    """
    named = next((v for k, v in deployment.extra.items() if folded(k) == SEASON and v.strip()), "")
    if named:
        return " ".join(named.split())
    night = night_of(deployment, zone)
    return f"{night:%Y-%m}" if night else ""
