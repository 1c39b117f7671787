"""Decide where the cards of an archive lie: nowhere, until a person here points to them.

What an archive says is believed no more than any text that came from elsewhere: no folder of this
computer, and no share of a network, is looked at for it. It is kept, in a form that leads to no
folder, and stands in an archive of the study as it was.
"""

import json
import re
from collections.abc import Iterable, Iterator
from pathlib import Path
from urllib.parse import unquote

ELSEWHERE = "/elsewhere:/"
"""Behind the study's folder: nothing is ever made there, and no Windows has such a name."""
LONGEST, LONGEST_PART = 2_000, 255
"""What any system takes for a path, and for one part of it (ours). [characters, bytes]"""
_LEADING = re.compile(r'[%\\:*?"<>|\x00-\x1f\x7f]|(?<=\.)\.|\.(?=\.)')
"""What leads somewhere, or means something to some system."""


def elsewhere(study: Path, folder: str, card: int) -> str:
    """Give what stands for the folder of a card that came without its photos.

    Below the folder of the study, so that no other is met; `card` stands for one that is too long.
    """
    told = _LEADING.sub(lambda sign: f"%{ord(sign[0]):02X}", folder)
    parts = (len(part.encode("utf-8", "surrogatepass")) for part in told.split("/"))
    if len(told) > LONGEST or max(parts) > LONGEST_PART:
        told = str(card)
    return f"{study}{ELSEWHERE}{told}"


def as_packed(rows: Iterable[str]) -> Iterator[str]:
    """Give the rows of the cards, the names of their columns first, as they were once packed."""
    given = iter(rows)
    header = next(given)
    at = json.loads(header).index("folder")
    yield header
    for line in given:
        cells = json.loads(line)
        _, mark, told = cells[at].partition(ELSEWHERE)
        if mark:
            cells[at] = unquote(told, errors="surrogatepass")
            yield json.dumps(cells, ensure_ascii=False, separators=(",", ":")) + "\n"
        else:
            yield line
