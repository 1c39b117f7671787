"""How far taggers agree: what was read, tables, kappas, alpha, undefined cases, one's own sheet."""

import warnings
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import krippendorff
import numpy as np
import pytest
from builders import laid_out, photos_at
from hypothesis import given, settings
from hypothesis import strategies as st
from sklearn.metrics import cohen_kappa_score
from statsmodels.stats import inter_rater

from core import views
from core.agreement import (
    Answered,
    Chance,
    Kappa,
    ReadVisit,
    Table,
    cohen_kappa,
    fleiss_kappa,
    group_agreement,
    krippendorff_alpha,
    landis_koch,
    pair_agreement,
    pair_agreements,
    read_visits,
    readers_of,
    sheet_of,
    sheets,
    species_agreements,
    species_said,
)
from core.agreement.many import ANOTHER_NUMBER, BOOTSTRAP, ONE_READER, UNREAD
from core.agreement.readings import UNFINISHED
from core.agreement.two import ASYMPTOTIC, CONSTANT, NEITHER, NO_SPREAD, SAME
from core.analysis.intervals import Interval, Share, Undefined
from core.model import BLANK, UNKNOWN, Tag, Where

Row = tuple[str, str] | tuple[str, str, dict[str, Any]]
"""Who says which species of a visit, and what else is said of the tag."""


def read(*rows: Sequence[Row], needed: int = 2) -> list[ReadVisit]:
    """Give one visit of four photos for each row of tags, answered and read as in a study.

    A tag lies over the whole visit, unless `first` and `last` (0 to 3) say which photos.
    """
    photos = photos_at(
        *(visit * 1000 + second for visit in range(len(rows)) for second in range(4))
    )
    made: list[Tag] = []
    for visit, row in enumerate(rows):
        for who, species, *more in row:
            values: dict[str, Any] = dict(more[0]) if more else {}
            first, last = values.pop("first", 0), values.pop("last", 3)
            where = None if species == BLANK else Where.FED
            dull = Tag(
                len(made) + 1, "P1", visit * 4 + first + 1, visit * 4 + last + 1, who, species
            )
            made.append(replace(dull, **({"where": where} | values)))
    view = views.view_of(laid_out(photos, made, needed=needed))
    return read_visits(view.visits)


def table(*rows: Sequence[int]) -> Table:
    """Give a table of two readers whose answers are a, b, c, …"""
    answers = tuple((chr(ord("a") + at),) for at in range(len(rows)))
    return Table(answers, tuple(map(tuple, rows)))


def kappa_of(*rows: Sequence[int]) -> Kappa:
    """Give Cohen's kappa where it is defined."""
    found = cohen_kappa(table(*rows))
    assert isinstance(found, Kappa)
    return found


def chance(found: Chance | Undefined) -> Chance:
    """Give an agreement beyond chance where it is defined."""
    assert isinstance(found, Chance)
    return found


# --- what was read ------------------------------------------------------------------------------


def test_a_reader_says_the_set_of_species_that_their_tags_name() -> None:
    """Two species named in one visit are one answer, whichever was tagged first."""
    one, other = read(
        [("ann", "m"), ("ann", "g", {"also": True}), ("ben", "g")],
        [("ben", "g"), ("ben", "m", {"also": True})],
    )
    assert [(reading.tagger, reading.said) for reading in one.readings] == [
        ("ann", ("g", "m")),
        ("ben", ("g",)),
    ]
    assert other.readings[0].said == ("g", "m")


def test_blank_is_said_only_where_nothing_else_is() -> None:
    """Whoever tags the first frames blank and then a gerbil has said gerbil."""
    half = {"first": 0, "last": 1}
    (mixed,) = read([("ann", BLANK, half), ("ann", "g", {"first": 2, "last": 3})])
    (empty,) = read([("ann", BLANK)])
    assert mixed.readings[0].said == ("g",)
    assert empty.readings[0].said == (BLANK,)


def test_a_ruling_is_no_reading() -> None:
    """The instructor's ruling settles a visit and makes nobody a reader."""
    (visit,) = read([("ann", "g"), ("ben", "m"), ("ina", "m", {"ruling": True})])
    assert readers_of([visit]) == ["ann", "ben"]
    assert visit.settled == ("m",)
    assert visit.ruled


def test_tags_taken_back_or_replaced_are_no_reading() -> None:
    """What holds is a tagger's last word on the run."""
    replaced, taken_back = read(
        [("ann", "g"), ("ann", "m")], [("ann", "g"), ("ben", "g", {"taken_back": True})]
    )
    assert replaced.readings[0].said == ("m",)
    assert readers_of([taken_back]) == ["ann"]


@pytest.mark.parametrize(
    ("last", "readers", "unfinished"),
    [
        pytest.param(0, (), ("ann",), id="one photo of four"),
        pytest.param(1, ("ann",), (), id="two photos of four"),
    ],
)
def test_half_of_the_photos_make_a_reader(
    last: int, readers: tuple[str, ...], unfinished: tuple[str, ...]
) -> None:
    """Tags over at least half of a visit's photos are a reading, fewer are unfinished."""
    (visit,) = read([("ann", "g", {"last": last})])
    assert tuple(readers_of([visit])) == readers
    assert visit.unfinished == unfinished


def test_a_longer_run_reads_each_visit_that_it_touches() -> None:
    """A run over two visits is cut to each: its photos are those of the visit."""
    first, second = read([("ann", "g", {"last": 7})], [])
    assert first.readings[0].runs == ((1, 4),)
    assert second.readings[0].runs == ((5, 8),)


def test_an_unsure_tag_says_what_it_says() -> None:
    """A reader who is not sure has read the visit all the same, and it is known."""
    (visit,) = read([("ann", "g", {"sure": False})])
    assert visit.readings[0].said == ("g",)
    assert not visit.readings[0].sure


def test_a_visit_is_settled_when_agreed_or_ruled() -> None:
    """One reader alone, or two who differ, settle nothing."""
    agreed, single, disputed = read(
        [("ann", "g"), ("ben", "g")], [("ann", "g")], [("ann", "g"), ("ben", "m")]
    )
    assert (agreed.settled, single.settled, disputed.settled) == (("g",), None, None)
    assert not agreed.ruled


def test_one_needed_tagger_alone_settles_nothing() -> None:
    """Where one tagger is enough for an answer, it is no check of that tagger."""
    (visit,) = read([("ann", "g")], needed=1)
    assert visit.settled is None


# --- Cohen's kappa ------------------------------------------------------------------------------


def test_kappa_of_the_grant_example() -> None:
    """[[20, 5], [10, 15]] (a public tutorial's grant example): kappa 0.40; errors worked out."""
    found = kappa_of([20, 5], [10, 15])
    assert table([20, 5], [10, 15]).agreeing / 50 == 0.70
    assert found.value == pytest.approx(0.40, abs=1e-9)
    assert found.error_if_chance == pytest.approx(0.1386, abs=5e-5)
    assert found.error == pytest.approx(0.1270, abs=5e-5)


def test_kappa_of_bonnardels_example() -> None:
    """Bonnardel's note on kappa, 3 x 3: po 0.770, kappa 0.654, SE0 0.069, z 9.422, SE 0.062."""
    rows = ([25, 3, 5], [6, 32, 8], [1, 0, 20])
    found = kappa_of(*rows)
    assert table(*rows).agreeing / 100 == pytest.approx(0.770, abs=5e-4)
    assert found.value == pytest.approx(0.654, abs=5e-4)
    assert found.error_if_chance == pytest.approx(0.069, abs=5e-4)
    assert found.value / found.error_if_chance == pytest.approx(9.422, abs=5e-3)
    assert found.error == pytest.approx(0.062, abs=5e-4)


@pytest.mark.parametrize(
    ("rows", "kappa"),
    [
        # A statistics package's example data; the value is worked out.
        pytest.param(([44, 5, 1], [7, 20, 3], [9, 5, 6]), 0.49153, id="three answers"),
        # Worked out by hand: both tables agree on 90 of 100 visits.
        pytest.param(([47, 5], [5, 43]), 0.79968, id="both answers common"),
        pytest.param(([85, 5], [5, 5]), 0.44444, id="one answer rare"),
    ],
)
def test_kappa_of_more_tables(rows: Sequence[Sequence[int]], kappa: float) -> None:
    """A rare answer makes kappa low at the same share of agreement."""
    assert kappa_of(*rows).value == pytest.approx(kappa, abs=5e-6)


@settings(deadline=None)
@given(st.lists(st.tuples(st.integers(0, 2), st.integers(0, 2)), min_size=2, max_size=60))
def test_kappa_is_that_of_another_library(pairs: list[tuple[int, int]]) -> None:
    """scikit-learn gives the same kappa for whatever two readers said."""
    said = sorted({answer for pair in pairs for answer in pair})
    rows = [[pairs.count((one, other)) for other in said] for one in said]
    found = cohen_kappa(table(*rows))
    if isinstance(found, Undefined):
        assert len(said) == 1
        return
    expected = cohen_kappa_score([one for one, _ in pairs], [other for _, other in pairs])
    assert found.value == pytest.approx(expected, abs=1e-12)


def test_the_interval_of_kappa_is_asymptotic_and_says_so() -> None:
    """0.40 -/+ 1.96 standard errors of 0.1270: 0.151 to 0.649."""
    interval = kappa_of([20, 5], [10, 15]).interval
    assert isinstance(interval, Interval)
    assert (interval.low, interval.high) == pytest.approx((0.1511, 0.6489), abs=5e-5)
    assert (interval.how, interval.level) == (ASYMPTOTIC, 0.95)


def test_the_interval_of_kappa_stays_inside_its_range() -> None:
    """No kappa is above 1 or below -1, so no interval is: 0.6 -/+ 1.96 x 0.253 is cut."""
    for rows, ends in ((([4, 1], [1, 4]), (0.1042, 1.0)), (([1, 4], [4, 1]), (-1.0, -0.1042))):
        interval = kappa_of(*rows).interval
        assert isinstance(interval, Interval)
        assert (interval.low, interval.high) == pytest.approx(ends, abs=5e-5)


def test_two_readers_of_one_answer_have_no_kappa() -> None:
    """Both say gerbil of everything: agreement is whole, kappa is neither 1 nor 0."""
    found = cohen_kappa(table([12]))
    assert found == Undefined(SAME, 12)


def test_two_readers_without_a_common_visit_have_no_kappa() -> None:
    """An empty table is said to be empty."""
    found = cohen_kappa(Table((), ()))
    assert isinstance(found, Undefined)
    assert found.why == "the two read no visit in common"


@pytest.mark.parametrize("rows", [([10, 5], [0, 0]), ([10, 0], [5, 0]), ([0, 0], [7, 3])])
def test_a_reader_who_always_says_the_same_makes_kappa_zero(rows: Sequence[Sequence[int]]) -> None:
    """Kappa is then 0 whatever the other says, and no interval is given; nothing is warned."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        found = kappa_of(*rows)
    assert found.value == 0
    assert found.interval == Undefined(CONSTANT, sum(map(sum, rows)))


def test_whole_agreement_has_a_kappa_of_one_without_an_interval() -> None:
    """The asymptotic error is zero, which says nothing: the share's interval is the honest one."""
    found = kappa_of([10, 0], [0, 5])
    assert (found.value, found.error) == (1.0, 0.0)
    assert found.interval == Undefined(NO_SPREAD, 15)


@pytest.mark.parametrize(
    ("kappa", "word"),
    [
        # Landis & Koch 1977; which band an edge falls into is from memory.
        (-0.01, "poor"), (0.0, "slight"), (0.20, "slight"), (0.21, "fair"), (0.40, "fair"),
        (0.41, "moderate"), (0.61, "substantial"), (0.64, "substantial"), (0.81, "almost perfect"),
        (1.0, "almost perfect"), (1.0000000000000002, "almost perfect"),
    ],
)  # fmt: skip
def test_words_for_a_kappa(kappa: float, word: str) -> None:
    """The bands of Landis & Koch."""
    assert landis_koch(kappa) == word


# --- two readers over visits --------------------------------------------------------------------

CLASS: list[list[Row]] = [
    [("ann", "g"), ("ben", "g"), ("cat", "g")],
    [("ann", "g"), ("ben", "m"), ("cat", "g")],
    [("ann", "m"), ("ben", "m")],
    [("ann", UNKNOWN), ("ben", "g"), ("cat", BLANK)],
    [("ann", "g")],
    [("ben", "g", {"last": 0}), ("ann", "g"), ("cat", "m")],
    [],
]


def test_the_table_says_who_said_what() -> None:
    """Rows are the first reader's answers, columns the second's."""
    found = pair_agreement(read(*CLASS), "ann", "ben")
    assert found.table.answers == (("g",), ("m",), (UNKNOWN,))
    assert found.table.counts == ((1, 1, 0), (0, 1, 0), (1, 0, 0))
    assert found.n == 4


def test_percent_agreement_has_a_wilson_interval() -> None:
    """Two of four visits: 0.5, Wilson's interval 0.150 to 0.850 (worked out by its formula)."""
    found = pair_agreement(read(*CLASS), "ann", "ben").agreement
    assert isinstance(found, Share)
    assert (found.part, found.n, found.share) == (2, 4, 0.5)
    assert (found.interval.low, found.interval.high) == pytest.approx((0.1500, 0.8500), abs=5e-5)


def test_visits_left_out_are_counted_with_why() -> None:
    """Each visit that not both read is counted once, by what is missing."""
    found = pair_agreement(read(*CLASS), "ann", "ben")
    assert dict(found.left_out) == {UNFINISHED: 1, "not read by ben": 1, NEITHER: 1}
    assert found.n + sum(count for _, count in found.left_out) == len(CLASS)


def test_two_who_share_no_visit_are_told_so() -> None:
    """Nothing in common: no share, no kappa, words for both."""
    found = pair_agreement(read([("ann", "g")], [("ben", "g")]), "ann", "ben")
    assert isinstance(found.agreement, Undefined)
    assert isinstance(found.kappa, Undefined)
    assert dict(found.left_out) == {"not read by ben": 1, "not read by ann": 1}


def test_pairs_are_those_with_a_common_visit() -> None:
    """Every two readers with a visit in common, those with most visits first."""
    rows: list[list[Row]] = [*CLASS, [("dan", "g")]]
    found = [(one.first, one.second) for one in pair_agreements(read(*rows))]
    assert found == [("ann", "ben"), ("ann", "cat"), ("ben", "cat")]


def test_one_species_by_itself() -> None:
    """For one species, whatever else was said is `not named`."""
    found = pair_agreement(read(*CLASS), "ann", "ben", "m")
    assert found.table.answers == (("named",), ("not named",))
    assert found.table.counts == ((1, 0), (1, 2))
    assert found.species == "m"


def test_another_species_in_the_visit_does_not_hide_the_one_asked_for() -> None:
    """Gerbil and mouse against gerbil: they differ as a whole, and agree on the gerbil."""
    seen = read([("ann", "g"), ("ann", "m", {"also": True}), ("ben", "g")])
    whole, gerbil = (pair_agreement(seen, "ann", "ben", key).agreement for key in ("", "g"))
    assert isinstance(whole, Share)
    assert isinstance(gerbil, Share)
    assert (whole.part, gerbil.part) == (0, 1)


# --- many readers -------------------------------------------------------------------------------

PSYCHIATRY = [
    [0, 0, 0, 0, 14], [0, 2, 6, 4, 2], [0, 0, 3, 5, 6], [0, 3, 9, 2, 0], [2, 2, 8, 1, 1],
    [7, 7, 0, 0, 0], [3, 2, 6, 3, 0], [2, 5, 3, 2, 2], [6, 5, 2, 1, 0], [0, 2, 2, 3, 7],
]  # fmt: skip
"""Ten subjects, fourteen raters, five answers: the usual worked example, from memory."""

NO = np.nan
OBSERVERS = np.array([
    [1, 2, 3, 3, 2, 1, 4, 1, 2, NO, NO, NO],
    [1, 2, 3, 3, 2, 2, 4, 1, 2, 5, NO, 3],
    [NO, 3, 3, 3, 2, 3, 4, 2, 2, 5, 1, NO],
    [1, 2, 3, 3, 2, 4, 4, 1, 2, 5, 1, NO],
])  # fmt: skip
"""Krippendorff's own example of four observers and twelve units, from memory."""


def counted(said: np.ndarray[Any, np.dtype[np.float64]]) -> np.ndarray[Any, Any]:
    """Turn observers x units into units x answers, counted."""
    answers = np.unique(said[~np.isnan(said)])
    return np.array(
        [[(said[:, at] == one).sum() for one in answers] for at in range(said.shape[1])]
    )


def test_fleiss_kappa_of_the_usual_example() -> None:
    """Kappa 0.210 (from memory), as statsmodels gives it."""
    found = chance(fleiss_kappa(np.array(PSYCHIATRY, dtype=float)))
    assert found.value == pytest.approx(0.210, abs=5e-4)
    assert found.value == pytest.approx(inter_rater.fleiss_kappa(np.array(PSYCHIATRY)), abs=1e-12)
    assert (found.n, found.readings) == (10, 140)


def test_krippendorffs_alpha_of_his_example() -> None:
    """Alpha for names 0.743 (from memory); the unit that one observer saw counts for nothing."""
    found = chance(krippendorff_alpha(counted(OBSERVERS).astype(float)))
    assert found.value == pytest.approx(0.743, abs=5e-4)
    assert (found.n, found.readings) == (11, 40)


@settings(deadline=None)
@given(
    st.lists(
        st.lists(st.sampled_from([NO, 1.0, 2.0, 3.0]), min_size=3, max_size=3),
        min_size=2,
        max_size=25,
    )
)
def test_alpha_is_that_of_another_library(units: list[list[float]]) -> None:
    """The krippendorff package gives the same alpha, missing values and all."""
    said = np.array(units).T
    paired = said[:, (~np.isnan(said)).sum(axis=0) > 1]
    found = krippendorff_alpha(counted(said).astype(float))
    if len(np.unique(paired[~np.isnan(paired)])) < 2:
        assert isinstance(found, Undefined)
    else:
        expected = krippendorff.alpha(reliability_data=said, level_of_measurement="nominal")
        assert chance(found).value == pytest.approx(expected, abs=1e-12)


@settings(deadline=None)
@given(st.lists(st.lists(st.integers(0, 2), min_size=3, max_size=3), min_size=2, max_size=25))
def test_fleiss_is_that_of_another_library(visits_said: list[list[int]]) -> None:
    """statsmodels gives the same kappa for three readers a visit."""
    counts = np.array([[row.count(answer) for answer in range(3)] for row in visits_said])
    found = fleiss_kappa(counts.astype(float))
    if isinstance(found, Undefined):
        assert found.why == SAME
        assert (counts > 0).any(axis=0).sum() == 1
    else:
        assert found.value == pytest.approx(inter_rater.fleiss_kappa(counts), abs=1e-12)


def test_bootstrap_intervals_are_the_same_every_time_and_say_how() -> None:
    """A fixed seed: the interval holds the value, and a second run gives the same."""
    counts = np.array(PSYCHIATRY, dtype=float)
    one, other = chance(fleiss_kappa(counts)), chance(fleiss_kappa(counts))
    assert one == other
    assert isinstance(one.interval, Interval)
    assert one.interval.how == BOOTSTRAP
    assert one.interval.low < one.value < one.interval.high


def test_the_bootstrap_covers_what_it_should() -> None:
    """Of 200 classes of 60 visits, near 95 % of the intervals hold the true alpha of 0.49.

    Two readers are right with chance 0.85 each on two answers of even odds: they agree with
    0.85^2 + 0.15^2 = 0.745, so alpha is (0.745 - 0.5) / 0.5 = 0.49.
    """
    draw = np.random.default_rng(7)
    held = 0
    for _ in range(200):
        truth = draw.integers(0, 2, 60)
        wrong = draw.random((2, 60)) > 0.85
        said = truth ^ wrong
        counts = np.column_stack([(said == answer).sum(axis=0) for answer in (0, 1)])
        interval = chance(krippendorff_alpha(counts.astype(float))).interval
        assert isinstance(interval, Interval)
        held += interval.low <= 0.49 <= interval.high
    assert 0.90 <= held / 200 <= 0.99


def test_whole_agreement_of_many_has_no_bootstrap_interval() -> None:
    """Every draw of the visits gives 1: that is no interval."""
    found = chance(krippendorff_alpha(np.array([[3.0, 0], [0, 3], [3, 0], [0, 3]])))
    assert found.value == 1
    assert isinstance(found.interval, Undefined)


def test_one_visit_has_no_interval() -> None:
    """There is nothing to draw from one visit."""
    found = chance(krippendorff_alpha(np.array([[2.0, 1]])))
    assert isinstance(found.interval, Undefined)


def test_all_of_one_answer_is_undefined_for_many() -> None:
    """Chance alone would agree as well."""
    counts = np.array([[3.0], [3.0]])
    assert krippendorff_alpha(counts) == Undefined(SAME, 2)
    assert fleiss_kappa(counts) == Undefined(SAME, 2)


def test_a_class_at_once() -> None:
    """Agreement, alpha and Fleiss' kappa of one class, each over its own visits.

    Worked out: visits 1-4 and 6 have two readers or more; their pairs agree 3/3, 1/3, 1/1, 0/3
    and 0/1, on average 0.4667.
    """
    found = group_agreement(read(*CLASS))
    assert found.readers == ("ann", "ben", "cat")
    assert found.n == 5
    assert found.agreement == pytest.approx((1 + 1 / 3 + 1 + 0 + 0) / 5)
    assert chance(found.alpha).n == 5
    assert dict(found.left_out) == {ONE_READER: 1, UNREAD: 1}


def test_fleiss_takes_the_visits_with_the_usual_number_of_readers() -> None:
    """Three visits have three readers, two have two: those two are left out of kappa and said."""
    found = group_agreement(read(*CLASS))
    assert found.readers_each == 3
    assert chance(found.kappa).n == 3
    assert found.left_out_of_kappa == ((ANOTHER_NUMBER, 2),)


def test_of_two_usual_numbers_the_larger_is_taken() -> None:
    """One visit of two readers, one of three: kappa is of the three."""
    found = group_agreement(read(CLASS[0], CLASS[2]))
    assert found.readers_each == 3


def test_one_reader_alone_agrees_with_nobody() -> None:
    """A class of one: everything is said in words, nothing is a number."""
    found = group_agreement(read([("ann", "g")], [("ann", "m")]))
    assert (found.n, found.readers, found.readers_each) == (0, (), 0)
    for part in (found.agreement, found.alpha, found.kappa, found.together):
        assert isinstance(part, Undefined)
    assert found.left_out == ((ONE_READER, 2),)


def test_no_visit_at_all() -> None:
    """A study without visits has no agreement and no error."""
    found = group_agreement([])
    assert isinstance(found.alpha, Undefined)
    assert pair_agreements([]) == []
    assert species_agreements([]) == []


def test_each_species_by_itself() -> None:
    """Every species that somebody named has its own agreement; blank has none.

    Worked out for the mouse: named once beside two others (visit 2), twice by two (visit 3) and
    once beside one other (visit 6): 5 neighbours, of which 2 named it too.
    """
    seen = read(*CLASS)
    assert species_said(seen) == ["g", "m", UNKNOWN]
    by_species = {one.species: one for one in species_agreements(seen)}
    assert by_species["m"].together == pytest.approx(2 / 5)
    assert by_species["m"].agreement == pytest.approx((1 + 1 / 3 + 1 + 1 + 0) / 5)


# --- one's own sheet ----------------------------------------------------------------------------

SETTLED_CLASS: list[list[Row]] = [
    [("ann", "g"), ("ben", "g")],
    [("ann", "g"), ("ben", "m"), ("ina", "m", {"ruling": True})],
    [("ann", "g"), ("ina", "m", {"ruling": True})],
    [("ann", BLANK), ("ben", "g"), ("ina", "g", {"ruling": True})],
    [("ann", "m"), ("ben", "g")],
    [("ben", "g")],
]


def test_a_sheet_says_what_one_mixes_up_with_the_photos() -> None:
    """Ann took two mice for gerbils, and missed a gerbil: those runs are hers to look at."""
    sheet = sheet_of(read(*SETTLED_CLASS), "ann")
    assert [(one.said, one.settled, one.visits, one.runs) for one in sheet.mix_ups] == [
        (("g",), ("m",), 2, (("P1", 5, 8), ("P1", 9, 12))),
        ((BLANK,), ("g",), 1, (("P1", 13, 16),)),
    ]


def test_a_sheet_counts_what_was_settled() -> None:
    """Of three ruled visits none was right; the one that was agreed on is counted apart."""
    sheet = sheet_of(read(*SETTLED_CLASS), "ann")
    assert isinstance(sheet.right, Share)
    assert (sheet.right.part, sheet.right.n) == (0, 3)
    assert (sheet.same, sheet.agreed) == (1, 1)
    assert sheet.by_answer == (
        Answered(("g",), right=0, ruled=1, same=1, agreed=1),
        Answered(("m",), right=0, ruled=2, same=0, agreed=0),
    )
    assert sheet.unsettled == 1


def test_where_nobody_ruled_nothing_is_known_to_be_right() -> None:
    """Two who agree settle a visit themselves: that they agree with it is no share of right."""
    sheet = sheet_of(read(*[[("ann", "g"), ("ben", "g")]] * 20), "ann")
    assert isinstance(sheet.right, Undefined)
    assert (sheet.same, sheet.agreed) == (20, 20)


def test_of_a_ruled_visit_the_ruling_alone_says_what_is_right() -> None:
    """Three who agree and were overruled were all wrong; nothing of it counts as agreed."""
    row: list[Row] = [(who, "g") for who in ("ann", "ben", "zoe")]
    sheet = sheet_of(read([*row, ("ina", "m", {"ruling": True})]), "zoe")
    assert isinstance(sheet.right, Share)
    assert (sheet.right.part, sheet.right.n, sheet.agreed) == (0, 1, 0)


def test_a_mix_up_of_several_runs_is_one_visit() -> None:
    """Two tags over one visit that both say gerbil are one mistake with two runs."""
    halves: list[Row] = [("ann", "g", {"last": 1}), ("ann", "g", {"first": 2})]
    (mix_up,) = sheet_of(read([*halves, ("ina", "m", {"ruling": True})]), "ann").mix_ups
    assert mix_up.visits == 1
    assert mix_up.runs == (("P1", 1, 2), ("P1", 3, 4))


def test_a_sheet_of_somebody_who_read_nothing() -> None:
    """No visit, no share, no error."""
    sheet = sheet_of(read(*SETTLED_CLASS), "zoe")
    assert isinstance(sheet.right, Undefined)
    assert (sheet.mix_ups, sheet.unsettled) == ((), 0)


def test_every_reader_has_a_sheet() -> None:
    """All at once they are the same as one by one, those with most visits first."""
    seen = read(*SETTLED_CLASS)
    assert [one.tagger for one in sheets(seen)] == ["ann", "ben"]
    assert sheets(seen) == [sheet_of(seen, "ann"), sheet_of(seen, "ben")]
