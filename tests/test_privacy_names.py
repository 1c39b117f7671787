"""What stands for the names of people and sites that are not told."""

import re
import unicodedata

import pytest

from core.privacy import pseudonym

SECRET = b"the study's own"


def test_the_form_is_the_one_of_the_standards_example() -> None:
    """Camtrap DP 1.0.2's example names its classifiers so, with seven digits; here are ten."""
    assert re.fullmatch(r"anonymized:[0-9a-f]{10}", pseudonym("Nomvula", SECRET))


def test_it_is_an_hmac_of_the_name() -> None:
    """RFC 4231, test case 2: key `Jefe`, data `what do ya want for nothing?`, SHA-256."""
    assert pseudonym("what do ya want for nothing?", b"Jefe") == "anonymized:5bdcc146bf"


@pytest.mark.parametrize(
    "spelled",
    [
        "zoë müller",
        "  Zoë   Müller ",
        "ZOË MÜLLER",
        unicodedata.normalize("NFD", "Zoë Müller"),
    ],
)
def test_spellings_of_one_person_have_one(spelled: str) -> None:
    """As in the list of people, where case and blanks make nobody else."""
    assert pseudonym(spelled, SECRET) == pseudonym("Zoë Müller", SECRET)


def test_people_and_studies_are_told_apart() -> None:
    """Another name, or another study's secret, gives another one."""
    assert len({pseudonym(name, SECRET) for name in ("Ike", "Ike B", "Lerato")}) == 3
    assert pseudonym("Ike", SECRET) != pseudonym("Ike", b"another study's")


@pytest.mark.parametrize("name", ["", "anonymized:3c6f2a1", "anonymized:3c6f2a1b9"])
def test_nothing_and_a_pseudonym_stay(name: str) -> None:
    """So that export, reading back and export give the same tables."""
    assert pseudonym(name, SECRET) == name


@pytest.mark.parametrize("name", ["anonymized:", "anonymized:Ike", "anonymized:123", "Ike"])
def test_a_name_cannot_pass_for_one(name: str) -> None:
    """What only begins like a pseudonym may be a name."""
    assert pseudonym(name, SECRET) not in {name, ""}
