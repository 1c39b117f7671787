"""The screens and commands of Lastbite: they ask, show, collect and tell."""

import sys
from types import TracebackType

_telling = sys.excepthook


def _tell(kind: type[BaseException], fault: BaseException, trace: TracebackType | None) -> None:
    """Tell of what nobody caught, but for Ctrl-C while the commands are loaded."""
    if not issubclass(kind, KeyboardInterrupt):
        _telling(kind, fault, trace)


sys.excepthook = _tell
