"""Time stamps of a logger in a form that the user states: day and month are never told apart by looking."""

from __future__ import annotations

import functools
import re
from collections.abc import Callable
from datetime import datetime, timedelta, timezone

_OFFSET = r"Z|[+-]\d\d:?\d\d"
# One digit or two where a sign stands on either side, as `datetime.strptime` takes them; two where none does.
_SHORT = {"%d": "day", "%m": "month", "%H": "hour", "%I": "half"}
_FIXED = {
    "%Y": r"(?P<year>\d{4})",
    "%y": r"(?P<short>\d\d)",
    "%M": r"(?P<minute>\d\d)",
    "%S": r"(?P<second>\d\d)",
    "%f": r"(?P<fraction>\d{1,6})",
    "%p": r"(?P<noon>[AaPp][Mm])",
    "%z": f"(?P<offset>{_OFFSET})",
}
_NEEDED = (("%Y", "%y"), ("%m",), ("%d",), ("%H", "%I"), ("%M",))
ACCEPTED = (
    "%d, %m, %Y (or %y, years 2000 to 2099), %H (or %I with %p), %M, and where the stamp has them %S, %f (digits after "
    "the decimal sign), %z (offset), each once, with the signs between them: %d.%m.%Y %H:%M:%S"
)


def wrong_form(form: str) -> str | None:
    """Say what is wrong with the form of a stamp, if anything is.

    Parameters
    ----------
    form : str
        Such as ``%d.%m.%Y %H:%M:%S``.

    Returns
    -------
    str or None
        What is wrong, in words.

    Examples
    --------
    >>> wrong_form("%d.%m.%Y %H:%M:%S")
    >>> wrong_form("%d.%m. %H:%M")
    'no %Y or %y'
    """
    found = [part for part in _parts(form) if part.startswith("%")]
    for part in found:
        if part not in _SHORT and part not in _FIXED:
            return f"the part {part}"
        if found.count(part) > 1:
            return f"{part} more than once"
    for either in _NEEDED:
        if sum(part in found for part in either) != 1:
            return f"{'both' if set(either) <= set(found) else 'no'} {' or '.join(either)}"
    if ("%I" in found) != ("%p" in found):
        return "one of %I and %p without the other"
    if "%f" in found and "%S" not in found:
        return "%f without %S"
    return None


def parse_offset(text: str) -> timezone | None:
    """Read an offset from UTC.

    Parameters
    ----------
    text : str
        ``+01:00``, ``-0530`` or ``Z``.

    Returns
    -------
    timezone or None
        None if the text is anything else.
    """
    if not re.fullmatch(_OFFSET, text, re.ASCII):
        return None
    if text == "Z":
        return timezone.utc  # noqa: UP017 - the same type in every branch
    minutes = 60 * int(text[1:3]) + int(text[-2:])
    if minutes >= 24 * 60 or int(text[-2:]) > 59:
        return None
    return timezone(timedelta(minutes=-minutes if text[0] == "-" else minutes))


@functools.lru_cache(maxsize=16)
def stamp_reader(form: str, offset: str | None) -> Callable[[str], datetime | None]:
    """Make the reader of stamps of one form.

    Parameters
    ----------
    form : str
        A form in which `wrong_form` finds nothing.
    offset : str or None
        Offset from UTC of stamps that hold none.

    Returns
    -------
    callable
        Takes a text, gives an aware datetime, or None where the text is not of the form or no such moment is.

    Notes
    -----
    `datetime.strptime` takes any number of blanks for one, months by the language of the machine, and an offset with
    seconds; a stamp that was cut short can pass it. Here the text is of the form or it is refused.

    Examples
    --------
    >>> stamp_reader("%d.%m.%Y %H:%M:%S", "+01:00")("03.04.2031 09:10:00").isoformat()
    '2031-04-03T09:10:00+01:00'
    """
    pattern = re.compile(_pattern(form), re.ASCII)
    zone = None if offset is None else parse_offset(offset)

    def read(text: str) -> datetime | None:
        match = pattern.fullmatch(text)
        if match is None:
            return None
        found = match.groupdict()
        here = parse_offset(found["offset"]) if "offset" in found else zone
        year = int(found["year"]) if "year" in found else 2000 + int(found["short"])
        month, day, minute, second = (int(found.get(name) or 0) for name in ("month", "day", "minute", "second"))
        hour = _hour(found)
        if here is None or hour is None or not 1900 <= year < 2200:
            return None
        fraction = int(found.get("fraction", "0").ljust(6, "0"))
        try:
            return datetime(year, month, day, hour, minute, second, fraction, here)
        except ValueError:
            return None

    return read


def _parts(form: str) -> list[str]:
    # Directives of two characters, and what stands between them one by one.
    return re.findall(r"%.|%$|[^%]", form, re.DOTALL)


def _pattern(form: str) -> str:
    parts = _parts(form)
    pieces = []
    for k, part in enumerate(parts):
        if part in _SHORT:
            beside = parts[max(k - 1, 0) : k] + parts[k + 1 : k + 2]
            digits = r"\d\d" if any(other.startswith("%") or other.isdigit() for other in beside) else r"\d\d?"
            pieces.append(f"(?P<{_SHORT[part]}>{digits})")
        else:
            pieces.append(_FIXED.get(part) or re.escape(part))
    return "".join(pieces)


def _hour(found: dict[str, str]) -> int | None:
    if "hour" in found:
        return int(found["hour"])
    half = int(found["half"])
    return half % 12 + 12 * (found["noon"].lower() == "pm") if 1 <= half <= 12 else None
