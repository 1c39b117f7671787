"""Decide how a number of things is said: `1 tag`, `2 tags`."""


def many(number: int, thing: str, several: str = "") -> str:
    """Say how many; `several` where it is not the thing with an s."""
    return f"{number} {thing if number == 1 else several or thing + 's'}"
