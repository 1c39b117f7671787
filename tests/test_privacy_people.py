"""Whom a study knows by name, and where a text names them or a place, in any spelling."""

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.privacy import (
    looked_for,
    parts_of,
    people_finder,
    people_of,
    places_finder,
    pseudonym,
)

PEOPLE = people_finder(looked_for(["Thandi Mokoena", "Piet van Wyk", "Zoë Müller", "李雷", "Ike"]))
PLACES = places_finder(["Grosse Höhle", "Müller Höhle", "MH", "Den/A", "GrosserStein"])


@pytest.mark.parametrize(
    ("cell", "names"),
    [
        ("Jo Kim und Piet Maas", ("Jo Kim", "Piet Maas")),
        ("Jo Kim and Piet Maas", ("Jo Kim", "Piet Maas")),
        ("Jo Kim en Piet Maas", ("Jo Kim", "Piet Maas")),
        ("Jo Kim et Piet Maas", ("Jo Kim", "Piet Maas")),
        ("Jo Kim y Piet Maas", ("Jo Kim", "Piet Maas")),
        ("Jo Kim e Piet Maas", ("Jo Kim", "Piet Maas")),
        ("Jo Kim i Piet Maas", ("Jo Kim", "Piet Maas")),
        ("Jo Kim og Piet Maas", ("Jo Kim", "Piet Maas")),
        ("Jo Kim, Piet Maas; Ann & Bo + Cy/Di|Ed", ("Jo Kim", "Piet Maas", "Ann", "Bo", "Cy", "Di", "Ed")),  # noqa: E501
        ("Ana E. Lopez", ("Ana E. Lopez",)),
        ("Anders  Ensor", ("Anders Ensor",)),
        ("", ()),
    ],
)  # fmt: skip
def test_several_people_stand_in_one_cell(cell: str, names: tuple[str, ...]) -> None:
    """Between them stand signs, or `and` in the languages of the field; an initial is no `and`."""
    assert people_of(cell) == names


def test_parts_that_name_somebody_are_looked_for() -> None:
    """Words of three letters or more; neither `van` nor what people are is anybody's name."""
    assert list(parts_of("Piet van Wyk")) == ["Piet", "Wyk"]
    assert list(parts_of("Jo O'Brien-Li")) == ["O'Brien"]
    assert list(parts_of("student 3")) == []
    assert list(parts_of("botha@example.org")) == ["botha"]


@pytest.mark.parametrize(
    ("text", "pieces"),
    [
        ("Hirse von Thandi Mokoena", ("Thandi Mokoena",)),
        ("THANDI was late, Mokoena was not", ("THANDI", "Mokoena")),
        ("Thandi's tray", ("Thandi's",)),
        ("ThandiMokoena_3", ("ThandiMokoena",)),
        ("card_thandi2", ("thandi",)),
        ("cardThandi", ("Thandi",)),
        (unicodedata.normalize("NFD", "bei Zoë"), (unicodedata.normalize("NFD", "Zoë"),)),
        ("Zoe Mueller", ("Zoe Mueller",)),
        ("ZOE MULLER", ("ZOE MULLER",)),
        ("李雷来晚了", ("李雷",)),
        ("sand van die duin", ()),
        ("spike, Ikea, wykship", ()),
        ("anonymized-ike1234567 and anonymized:0123456789", ("ike",)),
        ("", ()),
    ],
)
def test_people_are_found_as_whole_words(text: str, pieces: tuple[str, ...]) -> None:
    """In capitals or not, with accents or without, as a digit, a dash or a capital parts words."""
    assert PEOPLE.found(text) == pieces


@pytest.mark.parametrize(
    "text",
    [
        "Grosse Höhle", "grosse-höhle-1", "GrosseHöhle-2", "GROSSE_HOEHLE", "Große Höhle",
        "grossehohle", "x/Grosse  Höhle/y", "Grosse%20Hoehle", "grosser-stein", "Grosser Stein",
        unicodedata.normalize("NFD", "Müller Höhle"), "MuellerHoehle3", "MH-1", "T_MH", "mh1",
        "Den/A/IMG.JPG", "PGrosseHöhlen",
    ],
)  # fmt: skip
def test_places_are_found_in_ids_of_any_spelling(text: str) -> None:
    """Blanks, dashes, underscores and nothing count alike between the parts of a name."""
    assert PLACES.found(text)


@pytest.mark.parametrize("text", ["MHX", "TMH", "Grosse/Höhle", "Grosse Halle", "P1/DCIM/IMG.JPG"])
def test_other_words_are_no_places(text: str) -> None:
    """Two letters are a name only alone, and no name goes over the end of a folder."""
    assert PLACES.found(text) == ()


def test_only_the_name_is_replaced() -> None:
    """What stands round it stays, with its accents as they are stored."""
    text = unicodedata.normalize("NFD", "né_Müller Höhle_né.JPG")
    told = PLACES.replaced(text, lambda _: "X")
    assert told == unicodedata.normalize("NFD", "né_X_né.JPG")
    assert PLACES.replaced("P1", lambda _: "X") == "P1"
    assert places_finder(["", "-", "A"]).replaced("A-1", lambda _: "X") == "A-1"


@given(st.text(max_size=60))
def test_any_text_is_searched(text: str) -> None:
    """Pieces are parts of the text as it is, and nothing else of it changes."""
    for finder in (PEOPLE, PLACES):
        assert finder.replaced(text, lambda piece: piece) == text
        assert all(piece in text for piece in finder.found(text))


@given(
    st.text(st.characters(codec="utf-8", categories=["Lu", "Ll", "Nd"]), min_size=3, max_size=12),
    st.sampled_from(["NFC", "NFD"]),
    st.sampled_from([str, str.lower, str.casefold]),
)
def test_any_name_is_found_in_its_other_spellings(name: str, form: str, letters: type[str]) -> None:
    """Whatever the script, both ways to store accents and small letters are the same name."""
    spelled = unicodedata.normalize(form, letters(unicodedata.normalize("NFC", name)))  # type: ignore[arg-type]
    assert places_finder([name]).found(f"- {spelled} -"), spelled


@given(st.text(max_size=30), st.binary(min_size=1, max_size=8))
def test_a_pseudonym_names_nobody(name: str, secret: bytes) -> None:
    """Its letters are no name, so that what is told stays told alike."""
    finder = people_finder(["abe", "fae", "ade", "abcd"])
    assert finder.found(pseudonym("x" + name, secret)) == ()
