"""What is wrong with a trial folder: one fault a place, all of them in one error."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

MOST_PER_FILE = 20
# A file with more faults is another kind of file than it should be: reading on would only take time.
ENOUGH = 1000
_LONGEST_SHOWN = 60


@dataclass(frozen=True)
class Fault:
    """One fault: where it is, what was found there, what would be accepted.

    Attributes
    ----------
    file : str
        Name of the file in the trial folder.
    line : int or None
        Line of the file, counted from 1; None where the fault belongs to the file as a whole.
    column : int, str or None
        Column number, or the place in words, such as ``"column 2 (loss_W)"`` or ``"key comparison.design"``.
    found : str
        What was found.
    accepted : str
        What would be accepted.

    Examples
    --------
    >>> print(Fault("samples/r03.csv", 17, "column 2 (loss_W)", "'nan'", "a finite decimal number such as 6.985"))
    samples/r03.csv, line 17, column 2 (loss_W): found 'nan'; accepted: a finite decimal number such as 6.985
    """

    file: str
    line: int | None
    column: int | str | None
    found: str
    accepted: str

    def __str__(self) -> str:
        place = self.file
        if self.line is not None:
            place += f", line {self.line}"
        if self.column is not None:
            place += f", column {self.column}" if isinstance(self.column, int) else f", {self.column}"
        # What is accepted may be a table to copy, of several lines.
        accepted = "\n".join(map(on_one_line, self.accepted.split("\n")))
        return on_one_line(f"{place}: found {self.found}") + f"; accepted: {accepted}"


class TrialError(ValueError):
    """A trial folder that cannot be used as it is.

    Parameters
    ----------
    faults : iterable of Fault
        Every fault that was found.

    Attributes
    ----------
    faults : tuple of Fault
        The same, in the order of the files.
    """

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        count = len(self.faults)
        head = "1 fault in the trial folder" if count == 1 else f"{count} faults in the trial folder"
        super().__init__("\n".join([f"{head}:", *(f"  {fault}" for fault in self.faults)]))

    def __reduce__(self) -> tuple[type[TrialError], tuple[tuple[Fault, ...]]]:
        return TrialError, (self.faults,)


class FaultList:
    """The faults of one file as they are found; after the first twenty they are only counted.

    Parameters
    ----------
    file : str
        Name of the file in the trial folder.
    most : int, default 20
        Faults that are kept in words.

    Attributes
    ----------
    stopped : bool
        Set by a reader that gave up, so that the count is a lower bound.
    """

    def __init__(self, file: str, most: int = MOST_PER_FILE) -> None:
        self.file = file
        self._most = most
        self._kept: list[Fault] = []
        self._count = 0
        self.stopped = False

    def __len__(self) -> int:
        return self._count

    def add(self, found: str, accepted: str, *, line: int | None = None, column: int | str | None = None) -> None:
        """Note one fault.

        Parameters
        ----------
        found : str
            What was found.
        accepted : str
            What would be accepted.
        line : int, optional
            Line, from 1.
        column : int or str, optional
            Column number, or the place in words.
        """
        self._count += 1
        if len(self._kept) < self._most:
            self._kept.append(Fault(self.file, line, column, found, accepted))

    def listed(self) -> list[Fault]:
        """List the faults in words, and how many more there are.

        Returns
        -------
        list of Fault
            At most ``most`` + 1 entries.
        """
        more = self._count - len(self._kept)
        if not more:
            return list(self._kept)
        found = f"{'at least ' * self.stopped}{more} more fault{'s' * (more > 1)}"
        rest = Fault(self.file, None, None, found, f"none; the first {len(self._kept)} are listed")
        return [*self._kept, rest]


def on_one_line(text: str) -> str:
    r"""Show text with every character that cannot be printed as an escape: none moves a cursor or turns a line about.

    Parameters
    ----------
    text : str
        Any text.

    Returns
    -------
    str
        The text itself where all of it can be printed.

    Examples
    --------
    >>> print(on_one_line("samples/r01\n.csv"))
    samples/r01\n.csv
    """
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() else repr(c)[1:-1] for c in text)


def quoted(text: str | bytes) -> str:
    r"""Show what was found, in quotation marks, on one line, cut where it is long.

    Parameters
    ----------
    text : str or bytes
        The text as found; bytes that are no UTF-8 are shown as escapes.

    Returns
    -------
    str
        For example ``"'1_000'"``.

    Examples
    --------
    >>> quoted("6.98\t"), quoted(b"abc")
    ("'6.98\\t'", "'abc'")
    """
    if isinstance(text, bytes):
        text = text[: 4 * _LONGEST_SHOWN].decode("utf-8", "backslashreplace")
    if len(text) > _LONGEST_SHOWN:
        return repr(text[:_LONGEST_SHOWN]) + " …"
    return repr(text)
