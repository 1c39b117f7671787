"""Decide which files a card folder holds and what each file's header says: its time, above all.

The only reader of image metadata. True times are decided in `clocks`, copies in the workspace.
"""

from core.cards.folders import FoundFile, find_files
from core.cards.headers import ReadFile, content_hash, read_file
from core.cards.many import read_files
from core.cards.times import ExifTime, exif_time

__all__ = [
    "ExifTime",
    "FoundFile",
    "ReadFile",
    "content_hash",
    "exif_time",
    "find_files",
    "read_file",
    "read_files",
]
