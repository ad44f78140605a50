"""The one error that means: what was given is wrong, and here is what to change."""

from __future__ import annotations

from collections.abc import Iterable

__all__ = ["InputError"]


class InputError(Exception):
    """Wrong input: a file, a key, a value or an option.

    Parameters
    ----------
    messages
        One line each; every line names the thing, its value, the limit and the remedy.
        All that is wrong is told at once.  What cannot be printed is shown by its code.
    """

    def __init__(self, messages: Iterable[str]) -> None:
        self.messages: list[str] = [_in_one_line(message) for message in messages]
        super().__init__(self.messages)

    def __str__(self) -> str:
        return "\n".join(self.messages)


def _in_one_line(message: str) -> str:
    return "".join(sign if sign.isprintable() else repr(sign)[1:-1] for sign in message)
