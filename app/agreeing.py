"""Decide how it is put into words how far taggers agree; no Streamlit, no terminal."""

from collections.abc import Mapping, Sequence

from core import agreement
from core.agreement import Chance, GroupAgreement, Kappa, MixUp, PairAgreement, Said, Sheet
from core.analysis.intervals import Share, Undefined
from core.exports.tables import name_of
from core.model import Species

SCHEME = "Landis & Koch 1977; other schemes use other words"
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


def of_ruled(found: Share | Undefined) -> str:
    """Write the share of what an instructor ruled; often there is none of it yet."""
    return "none of these was ruled yet" if isinstance(found, Undefined) else share(found)


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


def chance(found: Chance | Kappa | Undefined) -> str:
    """Write an agreement beyond chance: the number first, then the band; or why there is none."""
    if isinstance(found, Undefined):
        return undefined(found)
    return f"{found.value:.2f}, {agreement.landis_koch(found.value)}"


def pair_line(pair: PairAgreement) -> dict[str, str | int]:
    """Give two readers in one line of a table."""
    return {
        "readers": f"{pair.first} and {pair.second}",
        "visits": pair.n,
        "same answer": share(pair.agreement),
        "Cohen's kappa": chance(pair.kappa),
        "95 % of kappa": interval(pair.kappa),
        "left out": left_out(pair.left_out),
    }


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
        "species": name_of(found.species, species) if found.species else "whole answers",
        "visits": found.n,
        "same answer": percent(found.agreement),
        "named too by the other": percent(found.together) if found.species else "",
        "Krippendorff's alpha": chance(found.alpha),
        "95 % of alpha": interval(found.alpha),
        "Fleiss' kappa": chance(found.kappa),
        "95 % of Fleiss": interval(found.kappa),
        "readers a visit": found.readers_each or "",
        "left out": left_out((*found.left_out, *found.left_out_of_kappa)),
    }


def left_out(reasons: Sequence[tuple[str, int]]) -> str:
    """Say which visits do not count."""
    return "; ".join(f"{count} {why}" for why, count in reasons)


def sheet_lines(sheet: Sheet, species: Names) -> list[dict[str, str]]:
    """Give how often a reader said what was settled, by what was settled."""
    return [
        {"settled as": said(answer, species), "said so": f"{right} of {of}"}
        for answer, right, of in sheet.by_answer
    ]


def mix_up(one: MixUp, species: Names) -> str:
    """Say what was said in place of what."""
    times = "once" if one.visits == 1 else f"{one.visits} times"
    return f"{times}: said {said(one.said, species)}, settled as {said(one.settled, species)}"
