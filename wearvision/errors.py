"""Everything that can go wrong, on one page.

One root, a few children. Each carries what is wrong, the value that was got, and what to do next; the command
line turns it into one line on stderr and the exit code of its class. An expected failure of a measurement is
not an error but a value: see `wearvision.quantity.Unmeasured`.

    WearvisionError
    +-- UsageError      exit 2   the call's words are off
    +-- BadInput        exit 3   a file, a value or a fact cannot be used
    +-- NeedsPerson     exit 4   a photo to retake, a reading to take, a choice to make
    +-- BrokenRecord    exit 5   the ledger, a blob or a rubric digest does not hold together
"""

from __future__ import annotations

from typing import ClassVar


class WearvisionError(Exception):
    """Root of the family.

    Parameters
    ----------
    what : str
        What is wrong, one plain sentence without a full stop.
    got : object, optional
        The value that was met; left out of the message when `None`.
    do : str, optional
        What to do next, one plain sentence without a full stop.
    """

    exit_code: ClassVar[int] = 1

    def __init__(self, what: str, *, got: object = None, do: str = "") -> None:
        self.what, self.got, self.do = what, got, do
        super().__init__(self.line())

    def line(self) -> str:
        """The whole message on one line."""
        got = "" if self.got is None else f" (got {self.got!r})"
        text = f"{self.what}{got}; {self.do}" if self.do else f"{self.what}{got}"
        return " ".join(text.split())

    def __reduce__(self) -> tuple[object, ...]:
        return (_rebuild, (type(self), self.what, self.got, self.do))


class UsageError(WearvisionError):
    """The words of the call do not fit together."""

    exit_code: ClassVar[int] = 2


class BadInput(WearvisionError):
    """A file, a value or a stated fact cannot be used."""

    exit_code: ClassVar[int] = 3


class NeedsPerson(WearvisionError):
    """Only a person can take the next step: retake a photo, take a reading, choose."""

    exit_code: ClassVar[int] = 4


class BrokenRecord(WearvisionError):
    """A stored record does not hold together."""

    exit_code: ClassVar[int] = 5


def _rebuild(kind: type[WearvisionError], what: str, got: object, do: str) -> WearvisionError:
    return kind(what, got=got, do=do)
