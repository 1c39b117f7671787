"""Decide how it is put into words how far taggers agree; no Streamlit, no terminal."""

from collections.abc import Mapping, Sequence

from core import agreement
from core.agreement import Chance, GroupAgreement, Kappa, MixUp, PairAgreement, Said, Sheet
from core.analysis.intervals import Share, Undefined
from core.exports.tables import name_of
from core.model import Species
from core.plural import many

SCHEME = "Landis & Koch 1977; other schemes use other words"
LEAST_FOR_A_WORD = 10
"""Below so many visits a number stands without its word: it may be almost any (a judgement)."""
Names = Mapping[str, Species]


def said(answer: Said, species: Names) -> str:
    """Say an answer: names of species, or `named` and `not named` where one is asked for."""
    return " + ".join(name_of(key, species) for key in answer)


def share(found: Share | Undefined) -> str:
    """Write a share with its interval: `8 of 9, 89 % (57 to 98 %)`; or why there is none."""
    if isinstance(found, Undefined):
        return undefined(found)
    low, high = found.interval.low * 100, found.interval.high * 100
    return f"{found.part} of {found.n}, {_percent(found.share)} ({low:.0f} to {high:.0f} %)"


def percent(found: float | Undefined) -> str:
    """Write a share without an interval."""
    return undefined(found) if isinstance(found, Undefined) else _percent(found)


def _percent(found: float) -> str:
    return f"{found * 100:.0f} %"


def right(sheet: Sheet) -> str:
    """Say how often a reader was right: of what an instructor ruled, since nothing else is known.

    What the class agreed on has no interval: its readers settled it themselves.
    """
    lines = [
        "Right: not known yet, no visit of these was ruled."
        if isinstance(sheet.right, Undefined)
        else f"Right, where an instructor ruled: {share(sheet.right)}."
    ]
    if sheet.agreed:
        lines.append(f"The same as the class agreed on: {sheet.same} of {sheet.agreed}.")
    if sheet.unsettled:
        lines.append(f"Not settled yet: {many(sheet.unsettled, 'visit')}.")
    return "\n".join(lines)


def nothing_mixed_up(sheet: Sheet) -> str:
    """Say of a sheet without mix-ups what that means."""
    if isinstance(sheet.right, Undefined):
        return "Nothing differs from what the class agreed on."
    return "Nothing was mixed up."


def undefined(found: Undefined) -> str:
    """Say why a number cannot be told."""
    return f"not defined: {found.why}"


def interval(found: Chance | Kappa | Undefined) -> str:
    """Write the interval of an agreement, or why there is none."""
    if isinstance(found, Undefined):
        return ""
    if isinstance(found.interval, Undefined):
        return f"none: {found.interval.why}"
    return f"{found.interval.low:.2f} to {found.interval.high:.2f}"


def chance(found: Chance | Kappa | Undefined, visits: int) -> str:
    """Write an agreement beyond chance: the number first, then the band; or why there is none.

    Over few visits it has no band.
    """
    if isinstance(found, Undefined):
        return undefined(found)
    word = f", {agreement.landis_koch(found.value)}" if visits >= LEAST_FOR_A_WORD else ""
    return f"{found.value:.2f}{word}"


def _cell(found: Chance | Kappa | Undefined, visits: int) -> str:
    """Write an agreement so that it fits a cell; `reasons` has why there is none."""
    return "not defined" if isinstance(found, Undefined) else chance(found, visits)


def _interval_cell(found: Chance | Kappa | Undefined) -> str:
    if not isinstance(found, Undefined) and isinstance(found.interval, Undefined):
        return "none"
    return interval(found)


def pair_line(pair: PairAgreement) -> dict[str, str | int]:
    """Give two readers in one line of a table; `reasons` has what does not fit there."""
    return {
        "readers": f"{pair.first} and {pair.second}",
        "visits": pair.n,
        "same answer": share(pair.agreement),
        "Cohen's kappa": _cell(pair.kappa, pair.n),
        "95 % of kappa": _interval_cell(pair.kappa),
        "left out": sum(count for _, count in pair.left_out),
    }


def reasons(found: PairAgreement | GroupAgreement) -> list[str]:
    """Say why numbers are missing from a line of a table, and which visits do not count there."""
    numbers: list[tuple[str, Chance | Kappa | Undefined]]
    if isinstance(found, PairAgreement):
        numbers = [("Cohen's kappa", found.kappa)]
    else:
        numbers = [("Krippendorff's alpha", found.alpha), ("Fleiss' kappa", found.kappa)]
    told = [line for name, one in numbers if (line := _reason(name, one))]
    without = _all_left_out(found)
    return [*told, *([f"Left out: {left_out(without)}."] if without else [])]


def _reason(name: str, found: Chance | Kappa | Undefined) -> str:
    if isinstance(found, Undefined):
        return f"{name} is {undefined(found)}."
    if isinstance(found.interval, Undefined):
        return f"{name} has no interval: {found.interval.why}."
    return ""


def _all_left_out(found: PairAgreement | GroupAgreement) -> tuple[tuple[str, int], ...]:
    if isinstance(found, PairAgreement):
        return found.left_out
    of_fleiss = ((f"{why} (Fleiss' kappa only)", count) for why, count in found.left_out_of_kappa)
    return (*found.left_out, *of_fleiss)


def group_reasons(found: Sequence[GroupAgreement], species: Names) -> list[str]:
    """Say the reasons of several lines, each once, with the lines that it is about."""
    about: dict[str, list[str]] = {}
    for one in found:
        for line in reasons(one):
            about.setdefault(line, []).append(_of_what(one, species))
    every = len(found)
    return [
        line if len(names) == every else f"{', '.join(names)}: {line}"
        for line, names in about.items()
    ]


def _of_what(found: GroupAgreement, species: Names) -> str:
    return name_of(found.species, species) if found.species else "whole answers"


def cross_table(pair: PairAgreement, species: Names) -> list[dict[str, str | int]]:
    """Lay out what the second said (columns) when the first said what (rows)."""
    names = [said(one, species) for one in pair.table.answers]
    corner = f"{pair.first} ↓ {pair.second} →"
    return [
        {corner: name, **dict(zip(names, counts, strict=True))}
        for name, counts in zip(names, pair.table.counts, strict=True)
    ]


def group_line(found: GroupAgreement, species: Names) -> dict[str, str | int]:
    """Give all readers in one line, over whole answers or one species."""
    return {
        "species": _of_what(found, species),
        "visits": found.n,
        "same answer": percent(found.agreement),
        "named too by the other": percent(found.together) if found.species else "",
        "Krippendorff's alpha": _cell(found.alpha, found.alpha.n),
        "95 % of alpha": _interval_cell(found.alpha),
        "Fleiss' kappa": _cell(found.kappa, found.kappa.n),
        "95 % of Fleiss": _interval_cell(found.kappa),
        "readers a visit": found.readers_each or "",
        "left out": sum(count for _, count in found.left_out),
    }


def left_out(reasons: Sequence[tuple[str, int]]) -> str:
    """Say which visits do not count."""
    return "; ".join(f"{count} {why}" for why, count in reasons)


def sheet_lines(sheet: Sheet, species: Names) -> list[dict[str, str]]:
    """Give how often a reader said what was settled: apart where ruled, and where agreed."""
    return [
        {
            "settled as": said(one.settled, species),
            "said so where ruled": _of(one.right, one.ruled),
            "said so where agreed": _of(one.same, one.agreed),
        }
        for one in sheet.by_answer
    ]


def _of(part: int, whole: int) -> str:
    return f"{part} of {whole}" if whole else ""


def mix_up(one: MixUp, species: Names) -> str:
    """Say what was said in place of what."""
    times = "once" if one.visits == 1 else f"{one.visits} times"
    return f"{times}: said {said(one.said, species)}, settled as {said(one.settled, species)}"
