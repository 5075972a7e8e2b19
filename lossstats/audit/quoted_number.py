"""A figure as somebody quotes it: the digits as written, and the interval that rounding makes of them."""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Literal

from lossstats.records.rendering import Record, shown
from lossstats.trial_folder.faults import quoted

Direction = Literal["less", "more", ""]


@dataclass(frozen=True)
class QuotedNumber(Record):
    """A figure as quoted.

    Attributes
    ----------
    text : str
        As written.
    value : float
        The number as written, without regard to rounding.
    low, high : float
        The true value lies between, if the figure was rounded to the last digit written; ends included.
    unit : str
        As written, or the one expected.
    direction : {"less", "more", ""}
        The word behind the figure.
    read_as : str
        How the digits were read, in words.
    wider : tuple of float or None
        The interval if the zeros before the decimal point only hold places; None where there are no such zeros.
    """

    text: str
    value: float
    low: float
    high: float
    unit: str
    direction: Direction
    read_as: str
    wider: tuple[float, float] | None
    _ends: tuple[Fraction, Fraction] = field(repr=False)
    _wider_ends: tuple[Fraction, Fraction] | None = field(repr=False)

    title = "Figure as quoted"

    @property
    def ends(self) -> tuple[Fraction, Fraction]:
        """Exact ends of the rounding interval.

        Returns
        -------
        tuple of fractions.Fraction
            Low and high.
        """
        return self._ends

    @property
    def with_unit(self) -> str:
        """The text with its unit.

        Returns
        -------
        str
            As written where the unit is written.
        """
        return self.text if not self.unit or self.unit in self.text else f"{self.text} {self.unit}"

    def read_wider(self) -> QuotedNumber:
        """The same figure, its zeros before the decimal point taken as place holders.

        Returns
        -------
        QuotedNumber
            Itself where there are no such zeros.
        """
        if self._wider_ends is None:
            return self
        low, high = self._wider_ends
        return replace(self, low=float(low), high=float(high), wider=None, _ends=(low, high), _wider_ends=None)

    def _rows(self) -> list[tuple[str, str]]:
        return [("as written", self.text), ("read as", self.read_as)]


_UNSIGNED = r"(?P<whole>\d+|\d{1,3}(?P<group>[ \u202f\u2009'’])\d{3}(?:(?P=group)\d{3})*)?(?P<rest>[.,]\d+)?"
_FIGURE = re.compile(
    rf"(?P<about>(?:about|around|roughly|ca\.?|approx\.?|≈|~)\s*)?(?P<sign>[-−+])?{_UNSIGNED}"
    r"\s*(?P<unit>%|(?!(?:less|more)\b)[^\W\d][\w/·]*)?(?:\s+(?P<word>less|more))?"
)
_MOST_DIGITS = 30
_RANGE = re.compile(r"(?P<low>.+?)\s+to\s+(?P<high>.+)")
_ACCEPTED = (
    "digits with at most one decimal sign, such as '8', '4.6 W', '4,65 W', '1 000 W', 'about 0.5 W', "
    "or ends such as '4.5 to 4.7 W'"
)


def read_quoted(name: str, text: str, *, unit: str = "W", signed: bool = False, about: bool = False) -> QuotedNumber:
    """Read a figure with the digits as written; rounding makes it an interval.

    Parameters
    ----------
    name : str
        Of the argument, for the error message.
    text : str
        Such as ``"8 W"``, ``"4.65"``, ``"4,65 W"``, ``"38 %"``, ``"50 % more"``, ``"about 0.5 W"``; or a range
        ``"4.5 to 4.7 W"``, taken as it stands, without rounding.
    unit : str, default "W"
        The unit expected; the text may leave it out, not name another one.
    signed : bool, default False
        A minus or plus sign is accepted (ends of an interval).
    about : bool, default False
        As if ``about`` stood before the figure.

    Returns
    -------
    QuotedNumber
        With the interval of half a unit of the last digit to both sides; a whole unit after ``about``.

    Raises
    ------
    TypeError
        If `text` is a number: 8 and 8.0 could not be told apart.
    ValueError
        If the text cannot be read in one way only.

    Notes
    -----
    Both ends count as possible, since 7.5 is written 8 by one rounding rule and 8.5 by another (ISO 80000-1:2009,
    annex B, knows two; from memory). A comma with three digits behind it (``1,000``) may part thousands or
    decimals, and is refused. Zeros before the decimal point (``50``, ``280``) are
    read as digits; `wider` has the interval if they only hold places. How wide ``about`` is nobody can know: twice
    the rounding is this function's reading, and a range says it better.

    Examples
    --------
    >>> figure = read_quoted("before", "8 W")
    >>> figure.low, figure.high
    (7.5, 8.5)
    >>> read_quoted("percent", "50 %", unit="%").wider
    (45.0, 55.0)
    """
    if not isinstance(text, str):
        raise TypeError(
            f"{name}: found {text!r}, a {type(text).__name__}; accepted: text with the digits as written, such as "
            "'8.0 W': how a number was rounded shows in its text only"
        )
    plain = text.strip()
    span = _RANGE.fullmatch(plain)
    if span:
        return _read_range(name, text, span, unit, signed=signed)
    match = _match(name, plain, text, unit, signed=signed)
    number, step, whole = _number(match)
    vague = about or match["about"] is not None
    reach = step if vague else step / 2
    holders = len(whole) - len(whole.rstrip("0")) if not match["rest"] and whole.strip("0") else 0
    wide = reach * 10**holders if holders else None
    sign = -1 if match["sign"] in {"-", "−"} else 1
    value = sign * number
    ends = (value - reach, value + reach)
    wider = (value - wide, value + wide) if wide is not None else None
    if not signed:  # a level, a percentage or a spread that is rounded to 0 is not below 0
        ends, wider = _not_below_zero(ends), _not_below_zero(wider) if wider else None
    return QuotedNumber(
        text=plain,
        value=float(value),
        low=float(ends[0]),
        high=float(ends[1]),
        unit=unit,
        direction=_direction(match),
        read_as=_in_words(ends, wider, unit, vague=vague),
        wider=(float(wider[0]), float(wider[1])) if wider else None,
        _ends=ends,
        _wider_ends=wider,
    )


def read_interval(name: str, text: str | tuple[str, str], *, unit: str = "W") -> tuple[QuotedNumber, QuotedNumber]:
    """Read the two ends of a quoted interval, each with its rounding.

    Parameters
    ----------
    name : str
        Of the argument, for the error message.
    text : str or pair of str
        ``"0.2 to 0.8 W"``, ``"-1 to 12 %"`` or the two ends.
    unit : str, default "W"
        The unit expected where none is written.

    Returns
    -------
    tuple of QuotedNumber
        Lower and upper end.

    Raises
    ------
    ValueError
        If the text cannot be read, or the ends are out of order.
    """
    if isinstance(text, str):
        span = _RANGE.fullmatch(text.strip())
        if span is None:
            raise ValueError(
                f"{name}: found {quoted(text)}; accepted: two ends with 'to' between, such as '0.2 to 0.8 {unit}'"
            )
        text = (span["low"], span["high"])
    if len(text) != 2:
        raise ValueError(f"{name}: found {len(text)} ends; accepted: two")
    low, high = (
        read_quoted(f"{name}, {end} end", part, unit=unit, signed=True)
        for end, part in zip(("lower", "upper"), text, strict=True)
    )
    if low.value > high.value:
        raise ValueError(f"{name}: found {quoted(low.text)} before {quoted(high.text)}; accepted: the lower end first")
    return low, high


def _match(name: str, plain: str, text: str, unit: str, *, signed: bool) -> re.Match[str]:
    match = _FIGURE.fullmatch(plain)
    if match is None or (match["whole"] is None and match["rest"] is None):
        raise ValueError(f"{name}: found {quoted(text)}; accepted: {_ACCEPTED}")
    if sum(map(str.isdecimal, plain)) > _MOST_DIGITS:
        raise ValueError(f"{name}: found {quoted(text)}; accepted: at most {_MOST_DIGITS} digits")
    rest = match["rest"] or ""
    whole = match["whole"] or ""
    if rest.startswith(",") and len(rest) == 4 and len(whole) <= 3 and whole.strip("0"):
        raise ValueError(
            f"{name}: found {quoted(text)}, where the comma may part thousands or decimals; accepted: "
            f"'{whole}{rest[1:]}' for the one, '{whole}.{rest[1:]}' for the other"
        )
    if match["sign"] and not signed:
        raise ValueError(
            f"{name}: found {quoted(text)} with a sign, which may mean a saving or a fall; accepted: no sign, and "
            "the word 'less' or 'more' behind the figure where it matters"
        )
    if match["unit"] not in {None, unit}:
        raise ValueError(f"{name}: found {quoted(text)} in {quoted(match['unit'])}; accepted: {unit}, or no unit")
    return match


def _direction(match: re.Match[str]) -> Direction:
    return "more" if match["word"] == "more" else "less" if match["word"] else ""


def _number(match: re.Match[str]) -> tuple[Fraction, Fraction, str]:
    """The number, one unit of its last digit, and the digits before the decimal sign."""
    whole = "".join(filter(str.isdecimal, match["whole"] or "0"))
    decimals = (match["rest"] or ".")[1:]
    step = Fraction(1, 10 ** len(decimals))
    return Fraction(int(whole + decimals)) * step, step, whole


def _read_range(name: str, text: str, span: re.Match[str], unit: str, *, signed: bool) -> QuotedNumber:
    low, high = (read_quoted(name, span[end], unit=unit, signed=signed) for end in ("low", "high"))
    ends = (_written(name, low), _written(name, high))
    if ends[0] > ends[1]:
        raise ValueError(f"{name}: found {quoted(text)}; accepted: the lower end first")
    middle = float((ends[0] + ends[1]) / 2)
    words = f"{_short(ends[0])} to {_short(ends[1])} {unit}, as it stands"
    return QuotedNumber(
        text.strip(), middle, float(ends[0]), float(ends[1]), unit, high.direction, words, None, ends, None
    )


def _written(name: str, figure: QuotedNumber) -> Fraction:
    match = _FIGURE.fullmatch(figure.text)
    if match is None or match["about"]:
        raise ValueError(
            f"{name}: found {quoted(figure.text)} as an end of a range; accepted: digits, such as '4.5 to 4.7'"
        )
    return (-1 if match["sign"] in {"-", "−"} else 1) * _number(match)[0]


def _not_below_zero(ends: tuple[Fraction, Fraction]) -> tuple[Fraction, Fraction]:
    return max(ends[0], Fraction(0)), ends[1]


def _in_words(
    ends: tuple[Fraction, Fraction], wider: tuple[Fraction, Fraction] | None, unit: str, *, vague: bool
) -> str:
    words = f"{_short(ends[0])} to {_short(ends[1])} {unit}".rstrip()
    if vague:
        words += ", a whole unit of the last digit to both sides for 'about'"
    if wider is not None:
        words += f" (zeros read as digits; {_short(wider[0])} to {_short(wider[1])} if they only hold places)"
    return words


def _short(value: Fraction) -> str:
    """A fraction with a power of ten below, in full."""
    places = 0
    while (value * 10**places).denominator != 1:
        places += 1
    return shown(float(value), places)
