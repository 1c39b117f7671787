"""Decide which pictures are not for the public: those that show people, or may.

Packages for others and reports ask this one rule.
"""

from collections.abc import Mapping

from core.model import BLANK, AnsweredVisit, Species, SpeciesRole


def is_private(key: str, species: Mapping[str, Species]) -> bool:
    """Say whether a picture of what a tag names is never public.

    People and their cars are not, nor what nobody could name, which may be a person; nor is our
    own people's work. `blank` is public.
    """
    if key == BLANK:
        return False
    listed = species.get(key)
    return listed is None or listed.role is SpeciesRole.PERSON


def shows_people(answered: AnsweredVisit, species: Mapping[str, Species]) -> bool:
    """Say whether people may be on the photos of a visit.

    They may where anybody said so of any of them, also where others hold something else, and
    where no answer is held.
    """
    said = {tag.species for tag in answered.answer.tags}
    return not answered.answer.held or any(is_private(key, species) for key in said)
