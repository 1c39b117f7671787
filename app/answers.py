"""Decide in which tables and words the analysis is told; no Streamlit, no terminal."""

from collections.abc import Sequence
from decimal import Decimal

from core.analysis.censored import INDEPENDENT, CensoredModel, Group, Ratio
from core.analysis.intervals import Interval, Share, Undefined
from core.analysis.ledger import Ledger
from core.analysis.mixed import MixedModel
from core.analysis.pairs import Pairs
from core.analysis.ranks import SignedRank
from core.analysis.rates import VisitRate, VisitRates
from core.analysis.scales import SHARES
from core.analysis.told import BOUNDS, VALUED, Tells, Told
from core.analysis.used import Summary, UsedTrays
from core.analysis.whole import Analysis
from core.exports import tables
from core.exports.tables import number_text
from core.model import Species, Status
from core.plots.flow import SHORT
from core.plots.look import Figure
from core.plots.steadiness import in_a_clause
from core.plots.words import (
    ANYBODY,
    UNIT,
    difference,
    interval_text,
    number,
    p_text,
    says_in_words,
    what_can_be_said,
)
from core.plural import many
from core.sensitivity import FEEDERS, Sensitivity, Setting

Line = dict[str, str]
ALL_TRAYS = "all trays"
EXACT = 4
"""Digits behind the point of values that somebody checks."""
MIXED = ", of different foragers: no p of microhabitats"
EACH_TRAY = f"Caution: {INDEPENDENT}."
"""Goes with shares of trays and with visit rates, too."""


def headline(analysis: Analysis, others: Sensitivity | None = None) -> str:
    """Say in front of everything what so many pairs can show, and how far it hangs on settings."""
    said = what_can_be_said(analysis.test, analysis.choice)
    mixed = not isinstance(analysis.test, Undefined) and analysis.test.mixed
    clause = "" if others is None or mixed else in_a_clause(others)
    return f"{said} {clause}".strip()


def ledger_lines(found: Ledger) -> list[Line]:
    """Give the way from all trays to those with a value; the lines add up to the first."""
    lines = [
        {"status": "set out", "reason": "study trays in the tray log", "tells": "",
         "trays": str(found.n)}
    ]  # fmt: skip
    lines += [
        {"status": str(line.status), "reason": str(line.reason), "tells": str(line.tells),
         "trays": str(line.count)}
        for line in found.lines
    ]  # fmt: skip
    lines.append({"status": "analysed", "reason": "trays with a value of the density asked for",
                  "tells": "", "trays": str(found.analysed)})  # fmt: skip
    return lines


def mass_alone(confirmed: Analysis, found: Analysis) -> str:
    """Say what an analysis by mass alone is, and what it is not; empty where it adds no tray."""
    status = confirmed.ledger.by_status()
    known, all_used = status[Status.KEEP] + status[Status.CAUTION], found.used[0].used
    if all_used <= known:
        return ""
    return (
        f"Food was gone from {many(all_used, 'tray')}; of {known} the forager is confirmed. "
        "What follows takes all of them by their mass, whoever ate: it is how much somebody left, "
        "not the giving-up density of a species, and never goes into the numbers above."
    )


def mass_says_more(confirmed: Analysis, found: Analysis) -> str:
    """Point to the analysis by mass where densities with a forager cannot be compared."""
    if not isinstance(confirmed.test, Undefined) or isinstance(found.test, Undefined):
        return ""
    return " By mass alone, whoever ate, microhabitats are compared further down."


def used_lines(used: Sequence[UsedTrays]) -> list[Line]:
    """Give the share of trays used and the density where they were, always both."""
    return [
        {
            "microhabitat": one.microhabitat or ALL_TRAYS,
            "trays": str(one.n),
            "used": str(one.used),
            "not used": str(one.unused),
            "not known": str(sum(n for _, n in one.unknown)),
            "share used": _share(one.share),
            "density where used": _summary(one.gud, UNIT[one.choice.measure]),
        }
        for one in used
    ]


def used_notes(used: Sequence[UsedTrays]) -> list[str]:
    """Say what the table of trays used leaves open: bounds, who was not seen, what is not known."""
    notes = ((one.microhabitat or ALL_TRAYS, _open(one)) for one in used)
    return [*(f"{name}: {'; '.join(told)}." for name, told in notes if told), EACH_TRAY]


def _open(one: UsedTrays) -> list[str]:
    found = []
    if one.bounded:
        bounds = many(sum(n for _, n in one.bounded), "density", "densities")
        found.append(f"{bounds} only bounded ({_shortly(one.bounded)})")
    if one.unseen:
        found.append(f"{one.unseen} used by the mass alone, nobody seen")
    if one.unknown:
        reasons = "; ".join(f"{n} {why}" for why, n in one.unknown)
        found.append(f"not known of {sum(n for _, n in one.unknown)} ({reasons})")
    return found


def _shortly(bounded: Sequence[tuple[Tells, int]]) -> str:
    return "; ".join(f"{n} {SHORT[tells]}" for tells, n in bounded)


def left_lines(used: Sequence[UsedTrays]) -> list[Line]:
    """Give the same by mass alone: what is left there is no density of a species."""
    told = {"density where used": "food left where used"}
    return [{told.get(k, k): v for k, v in line.items()} for line in used_lines(used)]


def _share(found: Share | Undefined) -> str:
    if isinstance(found, Undefined):
        return f"not told: {found.why}"
    low, high = found.interval.low, found.interval.high
    return f"{found.share:.0%} ({found.interval.how} {low:.0%} to {high:.0%}, n = {found.n})"


def _summary(found: Summary | Undefined, unit: str) -> str:
    if isinstance(found, Undefined):
        return f"not told: {found.why}"
    spread = "" if found.sd is None else f", SD {number(found.sd)}"
    return (
        f"mean {number(found.mean)} {unit}{spread}, median {number(found.median)} "
        f"({number(found.lowest)} to {number(found.highest)}), n = {found.n}"
    )


def pair_lines(pairs: Pairs | Undefined, test: SignedRank | Undefined) -> list[Line]:
    """Give the numbers of the paired comparison, each with what it means."""
    if isinstance(pairs, Undefined):
        return [{"what": "pairs", "number": "none", "how": pairs.why}]
    nights = "nights of a station averaged" if pairs.choice.average_nights else "each night counts"
    lines = [
        {"what": "pairs", "number": str(len(pairs.made)), "how": "a value on both sides"},
        {"what": "pairs lost", "number": str(len(pairs.lost)), "how": "why stands below"},
    ]
    if isinstance(test, Undefined):
        return [*lines, {"what": "difference", "number": "not told", "how": test.why}]
    unit = UNIT[pairs.choice.measure]
    p = test.p
    lines += [
        {"what": "differences", "number": str(test.n), "how": nights},
        {"what": "of them zero", "number": str(test.zeros), "how": "not ranked"},
        {
            "what": "Hodges-Lehmann difference",
            "number": f"{number(float(test.estimate))} {unit}",
            "how": f"{pairs.choice.first} minus {pairs.choice.second}; {_interval(test.interval)}",
        },
        {
            "what": "signed ranks",
            "number": f"W+ {test.w_plus:g}, W- {test.w_minus:g}",
            "how": f"{test.alternative}, {test.tied} tied",
        },
        {
            "what": "p",
            "number": "not told" if isinstance(p, Undefined) else p_text(p.p),
            "how": p.why if isinstance(p, Undefined) else f"{p.method}{MIXED * bool(test.mixed)}",
        },
        {
            "what": "smallest p",
            "number": f"{test.smallest_p:.2g}",
            "how": f"that {many(test.ranked, 'difference')} can reach",
        },
    ]
    return lines


def lost_lines(pairs: Pairs | Undefined) -> list[Line]:
    """Give each lost pair with why it was lost."""
    if isinstance(pairs, Undefined):
        return []
    return [
        {
            "station": one.station, "night": str(one.night or ""),
            "deployments": ", ".join(one.deployments), "why": "; ".join(one.why),
        }
        for one in pairs.lost
    ]  # fmt: skip


def _interval(found: Interval | Undefined) -> str:
    if isinstance(found, Undefined):
        return f"no interval: {found.why}"
    return f"{interval_text(found)} ({found.how})"


def _interval_and_p(found: MixedModel) -> str:
    if isinstance(found.p, Undefined):
        return f"no interval and no p: {found.p.why}"
    return f"{_interval(found.interval)}; {p_text(found.p)}"


def mixed_lines(found: MixedModel | Undefined) -> list[Line]:
    """Give the mixed model on its scale, with the shares of the variance."""
    if isinstance(found, Undefined):
        return [{"what": "mixed model", "number": "not fitted", "how": found.why}]
    choice = found.choice
    of = ", of the share eaten" if found.scale in SHARES else ""
    lines = [
        {"what": "trays", "number": str(found.n),
         "how": f"{found.left_out} only bounded, left out; scale: {found.scale}"},
        {"what": f"{choice.first} minus {choice.second}{of}", "number": number(found.effect),
         "how": f"{_interval_and_p(found)}, "
                f"{many(found.spare, 'degree')} of freedom"},
        {"what": f"{choice.second}{of}", "number": number(found.baseline), "how": "mean"},
    ]  # fmt: skip
    lines += [
        {"what": f"variance of {one.name}", "number": f"{one.share:.1%}",
         "how": f"{number(one.variance)}, {many(one.levels, 'level')}"}
        for one in found.components
    ]  # fmt: skip
    return lines + [{"what": "caution", "number": "", "how": words} for words in found.warnings]


def censored_lines(found: CensoredModel | Undefined) -> list[Line]:
    """Give the densities with the bounds weighed in, beside the naive answer."""
    if isinstance(found, Undefined):
        return [{"what": "bounds weighed in", "number": "not fitted", "how": found.why}]
    unit = UNIT[found.choice.measure]
    lines = [_group(one, unit) for one in (found.first, found.second)]
    ratio = f"{found.choice.first} / {found.choice.second}"
    lines.append({"what": f"ratio {ratio}", **_ratio(found.ratio)})
    naive = found.naive
    told = (
        {"number": "not told", "how": naive.why} if isinstance(naive, Undefined) else _ratio(naive)
    )
    lines.append({"what": "the same, every bound taken for a value", **told})
    return lines + [{"what": "caution", "number": "", "how": words} for words in found.warnings]


def _group(one: Group, unit: str) -> Line:
    naive = one.naive_mean
    beside = naive.why if isinstance(naive, Undefined) else f"{number(naive)} {unit}"
    told = _shortly(one.tells)
    return {
        "what": f"geometric mean, {one.microhabitat}",
        "number": f"{number(one.geometric_mean)} {unit}",
        "how": f"n = {one.n}: {told}; naive: {beside}",
    }


def _ratio(found: Ratio) -> Line:
    return {"number": number(found.ratio), "how": f"{_interval(found.interval)}, n = {found.n}"}


def rate_lines(found: VisitRates) -> list[Line]:
    """Give how often animals came, by watched hours."""
    lines = [_rate(one) for one in found.rates]
    ratio = found.ratio
    words = (
        f"not told: {ratio.why}"
        if isinstance(ratio, Undefined)
        else f"{number(ratio.ratio)} ({_interval(ratio.interval)})"
    )
    sides = found.choice.sides or ("first", "second")
    lines.append({"microhabitat": f"{sides[0]} / {sides[1]}", "trays": "", "visits": "",
                  "watched hours": "", "visits an hour": words})  # fmt: skip
    return lines


def _rate(one: VisitRate) -> Line:
    told = one.rate
    words = (
        f"not told: {told.why}"
        if isinstance(told, Undefined)
        else f"{number(told)} ({_interval(one.interval)})"
    )
    return {
        "microhabitat": one.microhabitat or ALL_TRAYS,
        "trays": str(one.trays),
        "visits": str(one.visits),
        "watched hours": number(one.watched_h),
        "visits an hour": words,
    }


def left_out_of_rates(found: VisitRates) -> str:
    """Say which trays have no rate, and that their answered stays are drawn; with the caution."""
    if not found.left_out:
        return EACH_TRAY
    listed = "; ".join(f"{n} because {why}" for why, n in found.left_out)
    return (
        f"Left out of the rates: {listed}. What is answered of their visits is in the figure of "
        f"visits by the sun all the same. {EACH_TRAY}"
    )


def step_lines(found: Sensitivity) -> list[Line]:
    """Give what one other choice on each axis does to the answer and to the trays."""
    return [
        {
            "choice": str(step.axis),
            "is": step.value + (" (own)" if step.is_own else ""),
            "densities": str(step.answer.densities),
            "says": says_in_words(step.answer.says, found.choice),
            "the same": ""
            if step.is_own
            else "yes"
            if step.answer.says is found.own.says
            else "NO",
            "trays that change": ", ".join(one.deployment for one in step.trays) or "none",
        }
        for step in found.steps
    ]


def unsteady_lines(found: Sensitivity) -> list[Line]:
    """Give the trays that come out differently under some setting, the unsteadiest first."""
    shaky = [one for one in found.trays if one.same < len(found.found)]
    return [
        {
            "deployment": one.outcome.deployment.deployment,
            "own": f"{one.outcome.status}{f', {one.outcome.forager}' * bool(one.outcome.forager)}",
            "the same in": f"{one.same} of {len(found.found)} settings",
            "hangs on": ", ".join(one.axes) or "several choices together",
        }
        for one in sorted(shaky, key=lambda one: one.same)
    ]


def at_setting(found: Sensitivity, setting: Setting) -> str:
    """Say what comes out under one setting of the grid."""
    answer = found.at(setting)
    same = "the same as" if answer.says is found.own.says else "NOT the same as"
    said = says_in_words(answer.says, found.choice)
    return (
        f"{said[0].upper()}{said[1:]}: {same} under the study's own settings. "
        f"{many(answer.densities, 'density', 'densities')}. "
        f"{difference(answer.test, found.choice)}"
    )


def asked(analysis: Analysis) -> str:
    """Say of whom and of what the numbers are, with the settings behind them."""
    choice = analysis.choice
    who = choice.forager.name if choice.forager else ANYBODY
    when = f", {choice.when}" if choice.when else ""
    return (
        f"Density of {who}, {choice.measure}, {choice.first or '?'} minus {choice.second or '?'}"
        f"{when}; n = {many(analysis.ledger.n, 'study tray')}, {analysis.ledger.analysed} with "
        f"a value. {settings_asked(analysis)}."
    )


def settings_asked(analysis: Analysis) -> str:
    """Say which settings the numbers stand on."""
    choice, own = analysis.choice, analysis.settings
    counted_only = analysis.counted == analysis.ledger.n > 0
    from_controls = own.tolerance is None or counted_only
    within = "from controls" if from_controls else f"{own.tolerance:f} g"
    return (
        f"Gap {own.gap.total_seconds():g} s, tolerance {within}, several species: "
        f"{FEEDERS[own.feeder]}, taggers needed {own.taggers_needed}, stations by "
        f"{choice.station_by}, "
        f"{'nights averaged' if choice.average_nights else 'each night by itself'}, "
        f"{choice.alternative} test, model on the scale {choice.scale}"
    )


def clocks_asked(checks: int, corrections: int) -> str:
    """Say how far the times of cameras were put right."""
    made = many(corrections, "correction") if corrections else "no correction"
    return f"Clocks: {many(checks, 'check') if checks else 'no check'}, {made} accepted."


def shown_first(foragers: Sequence[Species], key: str) -> str:
    """Say why this forager is shown where nobody asked; empty where there is no other."""
    if len(foragers) < 2 or foragers[0].key != key:  # noqa: PLR2004
        return ""
    return (
        f"Shown first: {foragers[0].name}, of which there is most to compare. Others can be asked "
        f"for, and {ANYBODY}."
    )


def tray_lines(owned: Sequence[Told], told: Sequence[Told], pairs: Pairs | Undefined) -> list[Line]:
    """Give each tray that has an owner: its density in the measure, and in which pair it is.

    Parameters
    ----------
    owned, told
        What each tray tells of its own owner, and of the forager that is asked for.
    """
    made = () if isinstance(pairs, Undefined) else pairs.made
    place = {side.name: at for at, one in enumerate(made, 1) for side in (one.first, one.second)}
    return [
        {
            "deployment": one.name, "site": one.outcome.deployment.site,
            "night": str(one.night or ""), "microhabitat": one.outcome.deployment.microhabitat,
            "owner": one.outcome.forager, "at least": _exact(one.low) * (one.tells in BOUNDS),
            "at most": _exact(one.high) * (one.tells in BOUNDS), "density": _exact(one.value),
            "here": "" if asked.value is not None else str(asked.tells),
            "caution": str(one.outcome.reason) * (one.outcome.status is Status.CAUTION),
            "pair": str(place.get(one.name, "")),
        }
        for one, asked in zip(owned, told, strict=True)
        if one.outcome.status in VALUED
    ]  # fmt: skip


def made_lines(pairs: Pairs | Undefined) -> list[Line]:
    """Give each pair with both densities, their owners, and the difference that is ranked."""
    if isinstance(pairs, Undefined):
        return []
    first, second = pairs.choice.first, pairs.choice.second
    return [
        {
            "pair": str(number), "station": one.station, "night": str(one.night),
            f"{first}: tray": one.first.name, f"{first}: density": _exact(one.first.value),
            f"{first}: owner": one.first.outcome.forager,
            f"{second}: tray": one.second.name, f"{second}: density": _exact(one.second.value),
            f"{second}: owner": one.second.outcome.forager, "difference": _exact(one.difference),
        }
        for number, one in enumerate(pairs.made, start=1)
    ]  # fmt: skip


def rows_text(made: Figure, settings: str = "") -> str:
    """Give the rows behind a figure as CSV, each with what it is of and the settings behind it."""
    whole = {**made.asked, **({"settings": settings} if settings else {})}
    names = list(dict.fromkeys([*(made.rows[0] if made.rows else ()), *whole])) or ["empty"]
    rows = (
        {name: "" if (v := {**whole, **row}.get(name)) is None else str(v) for name in names}
        for row in made.rows
    )
    return "".join(tables.csv_text(names, rows))


def _exact(value: Decimal | None) -> str:
    return number_text(value, EXACT)
