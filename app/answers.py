"""Decide in which tables and words the analysis is told; no Streamlit, no terminal."""

from collections.abc import Sequence

from core.analysis.censored import CensoredModel, Group, Ratio
from core.analysis.intervals import Interval, Share, Undefined
from core.analysis.ledger import Ledger
from core.analysis.mixed import MixedModel
from core.analysis.pairs import Pairs
from core.analysis.ranks import SignedRank
from core.analysis.rates import VisitRate, VisitRates
from core.analysis.used import Summary, UsedTrays
from core.analysis.whole import Analysis
from core.model import Status
from core.plots.words import UNIT, counted, difference, number, p_text, says_in_words
from core.sensitivity import Sensitivity, Setting

Line = dict[str, str]
ALL_TRAYS = "all trays"


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
        f"Food was gone from {all_used} trays; of {known} the forager is confirmed. What follows "
        "takes all of them by their mass, whoever ate: it is how much somebody left, not the "
        "giving-up density of a species, and never goes into the numbers above."
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
            "only bounded": "; ".join(f"{n} {tells}" for tells, n in one.bounded),
        }
        for one in used
    ]


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
            "number": "not told" if isinstance(p, Undefined) else f"p = {p.p:.3g}",
            "how": p.why if isinstance(p, Undefined) else str(p.method),
        },
        {
            "what": "smallest p",
            "number": f"{test.smallest_p:.2g}",
            "how": f"that {counted(test.ranked, 'difference')} can reach",
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
    return f"{found.level:.1%} interval {number(found.low)} to {number(found.high)} ({found.how})"


def mixed_lines(found: MixedModel | Undefined) -> list[Line]:
    """Give the mixed model on its scale, with the shares of the variance."""
    if isinstance(found, Undefined):
        return [{"what": "mixed model", "number": "not fitted", "how": found.why}]
    choice = found.choice
    lines = [
        {"what": "trays", "number": str(found.n),
         "how": f"{found.left_out} only bounded, left out; scale: {found.scale}"},
        {"what": f"{choice.first} minus {choice.second}", "number": number(found.effect),
         "how": f"{_interval(found.interval)}; {p_text(found.p)}, "
                f"{counted(found.spare, 'degree')} of freedom"},
        {"what": f"{choice.second}", "number": number(found.baseline), "how": "mean"},
    ]  # fmt: skip
    lines += [
        {"what": f"variance of {one.name}", "number": f"{one.share:.1%}",
         "how": f"{number(one.variance)}, {one.levels} levels"}
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
    told = "; ".join(f"{n} {tells}" for tells, n in one.tells)
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
    """Say which trays have no rate; empty when all have."""
    if not found.left_out:
        return ""
    listed = "; ".join(f"{n} because {why}" for why, n in found.left_out)
    return f"Left out of the rates: {listed}."


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
        f"{counted(answer.densities, 'density', 'densities')}. "
        f"{difference(answer.test, found.choice)}"
    )


def asked(analysis: Analysis) -> str:
    """Say of whom and of what the numbers are, with the settings behind them."""
    choice, own = analysis.choice, analysis.settings
    who = choice.forager.name if choice.forager else "whoever fed last"
    within = "from controls" if own.tolerance is None else f"{own.tolerance:f} g"
    return (
        f"Density of {who}, {choice.measure}, {choice.first or '?'} minus {choice.second or '?'}; "
        f"n = {analysis.ledger.n} study trays, {analysis.ledger.analysed} with a value. "
        f"Gap {own.gap.total_seconds():g} s, tolerance {within}, taggers needed "
        f"{own.taggers_needed}, stations by {choice.station_by}, "
        f"{'nights averaged' if choice.average_nights else 'each night by itself'}, "
        f"{choice.alternative} test, model on the scale {choice.scale}."
    )
