"""Print how long a report of many tray deployments takes, without pictures and sensitivity.

The outcomes of `bench_analysis.py`, already worked out; libraries already imported.
Goal: under 5 s for 5,000 tray deployments.

    python tests/benchmarks/bench_report.py [DEPLOYMENTS]
"""

import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from benchmarks.bench_analysis import DEPLOYMENTS, study
from builders import SETTINGS, SPECIES, camera

from app.foodwords import readings_of
from app.report import Material, Wanted, page
from app.reportwords import Facts
from core.agreement import group_agreement
from core.analysis.choice import proposed
from core.analysis.whole import analyse

GOAL_S = 5.0


def main() -> None:
    """Lay the report out twice, and time the second time."""
    outcomes = study(int(sys.argv[1]) if len(sys.argv) > 1 else DEPLOYMENTS)
    trays = [one.deployment for one in outcomes]
    facts = Facts(trays, [camera()], SETTINGS, taggers=2, corrections=0, checks=0,
                  agreed=group_agreement([]), ruled=0, sensitive=False,
                  readings=readings_of(trays, outcomes, SETTINGS))  # fmt: skip
    choice = proposed(outcomes, SETTINGS.timezone, SPECIES["g"])
    material = Material(
        facts=facts,
        outcomes=outcomes,
        choice=choice,
        by_mass=analyse(outcomes, choice, SPECIES, SETTINGS),
        species=SPECIES,
        tray_places={one.tray: (-33.9, 19.0) for one in trays},
        checksums={},
        seasons={one.deployment: "2026-03" for one in trays},
        picture_of=lambda _photo: "none",
    )
    page(material, Wanted())
    start, busy = time.perf_counter(), time.process_time()
    made = page(material, Wanted())
    took, busy = time.perf_counter() - start, time.process_time() - busy
    print(f"{len(outcomes)} tray deployments, {len(made) / 1e6:.1f} MB")  # noqa: T201
    print(f"{took:.2f} s, {busy:.2f} s of one core; goal: under {GOAL_S:g} s")  # noqa: T201


if __name__ == "__main__":
    main()
