"""Decide what an archive of a study holds, and whether one is whole.

A zip of plain files: a text that says how to read them, the settings, the logs, what came out, all
rows of the study as lines of text, and a checksum of each. The same study gives the same bytes.
"""

from core.archive.packing import Packed, pack
from core.archive.unpacking import Unpacked, differing, unpack

__all__ = ["Packed", "Unpacked", "differing", "pack", "unpack"]
