"""Decide in which words the numbers under a figure are told."""

from core.analysis.choice import Alternative, Choice, Measure
from core.analysis.intervals import ALPHA, Interval, Undefined
from core.analysis.ranks import SignedRank
from core.plural import many
from core.sensitivity import Says

UNIT = {
    Measure.GRAMS: "g",
    Measure.GRAMS_PER_LITRE: "g/L",
    Measure.ITEMS: "items",
    Measure.PROPORTION: "of what was put in",
}
SMALL_P = 0.001
FEW_DIGITS = 3
FEWEST = {Alternative.TWO_SIDED: "six", Alternative.GREATER: "five", Alternative.LESS: "five"}
"""So many differences of one sign can bring p below 0.05: 2 / 2^n, one-sided 1 / 2^n."""


ANYBODY = "whoever fed last"
WHOLE = 0.0005
"""A level this near to a whole percent is written as that."""


def asked_of(choice: Choice) -> dict[str, str]:
    """Give what a choice asks, by name, as it stands under figures and in their rows."""
    return {
        "density of": choice.forager.name if choice.forager else ANYBODY,
        "measure": str(choice.measure),
        "compared": f"{choice.first or '?'} minus {choice.second or '?'}",
        "season": ", ".join(choice.seasons) or "all",
    }


def level_text(level: float) -> str:
    """Write the level of an interval: whole percents as such, `96.1%` where it is not one."""
    percent = level * 100
    return f"{percent:.0f}%" if abs(percent - round(percent)) < WHOLE * 100 else f"{percent:.1f}%"


def number(value: float) -> str:
    """Write a number with three digits that count, and no more behind the point than that."""
    text = f"{value:.{FEW_DIGITS}g}"
    return f"{float(text):,.6f}".rstrip("0").rstrip(".") if "e" in text else text


def p_text(p: float) -> str:
    """Write a p with two digits that count; below 0.001 as that."""
    return f"p < {SMALL_P}" if p < SMALL_P else f"p = {p:.2g}"


def interval_text(interval: Interval | Undefined) -> str:
    """Write an interval with the level that it really reaches, or why there is none."""
    if isinstance(interval, Undefined):
        return f"no interval ({interval.why})"
    low, high = number(interval.low), number(interval.high)
    return f"{level_text(interval.level)} interval {low} to {high}"


def difference(test: SignedRank | Undefined, choice: Choice) -> str:
    """Say the Hodges-Lehmann difference with its sign in words, its interval and p."""
    if isinstance(test, Undefined):
        return f"No difference is told: {test.why}."
    size = f"{number(abs(float(test.estimate)))} {UNIT[choice.measure]}"
    more = f"{size} more left in {choice.first} than in {choice.second}"
    less = f"{size} less left in {choice.first} than in {choice.second}"
    said = more if test.estimate > 0 else less
    if test.estimate == 0:
        said = f"no difference between {choice.first} and {choice.second}"
    p = f"no p ({test.p.why})" if isinstance(test.p, Undefined) else p_text(test.p.p)
    p += ", of different foragers" * bool(test.mixed)
    return (
        f"Hodges-Lehmann difference: {said} ({interval_text(test.interval)}; {p}; "
        f"n = {many(test.n, 'difference')})."
    )


def says_in_words(says: Says, choice: Choice) -> str:
    """Name the microhabitats in what the pairs say."""
    if says in {Says.FIRST, Says.SECOND}:
        more, less = choice.first, choice.second
        if says is Says.SECOND:
            more, less = less, more
        return f"more is left in {more} than in {less}"
    return str(says)


def what_can_be_said(test: SignedRank | Undefined, choice: Choice) -> str:
    """Say what so many pairs can show and what they cannot; no p is read as 'no effect'."""
    if isinstance(test, Undefined):
        return (
            f"These trays cannot compare the microhabitats: {test.why}. What they do show is how "
            "many trays were used, and by whom where a camera saw it."
        )
    if test.mixed:
        return test.mixed
    least = f"{test.smallest_p:.2g}"
    if not test.ranked:
        said = many(test.n, "difference is", "differences are")
        return (
            f"{said} zero, so there is nothing to rank and no p: as far as can be weighed, as "
            f"much was left in {choice.first} as in {choice.second}."
        )
    if isinstance(test.p, Undefined):
        said = many(test.ranked, "difference is", "differences are")
        zeros = f" (of {test.n}, {test.zeros} zero)" if test.zeros else ""
        return (
            f"{said}{zeros} too few for a test: even if all "
            f"pointed the same way, p could not be below {least}. This is no sign that there is "
            f"no difference. Set out more stations, or put several classes together: "
            f"{FEWEST[test.alternative]} differences that are not zero are the least. Shares of "
            "trays used and single trays can be told."
        )
    if test.p.p < ALPHA:
        return (
            f"{test.n} differences speak against chance ({p_text(test.p.p)}). They say which "
            f"microhabitat had more left, here and in these nights; not why."
        )
    return (
        f"{test.n} differences do not tell a difference from chance ({p_text(test.p.p)}; the "
        f"least that so many could reach is {least}). That is not the same as no difference: see "
        f"how wide the interval is ({interval_text(test.interval)} {UNIT[choice.measure]})."
    )
