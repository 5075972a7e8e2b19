"""Raw files of a trial folder: names that stay inside it, bounded reading, plain text or not."""

from __future__ import annotations

import os
import re
import stat
from pathlib import Path

from lossstats.trial_folder.faults import Fault, FaultList, quoted

MOST_SAMPLE_BYTES = 512 * 1024 * 1024
MOST_TABLE_BYTES = 1024 * 1024
LONGEST_LINE = 64 * 1024
# Left by file managers on systems where no leading point hides a file.
_OF_THE_SYSTEM = frozenset({"thumbs.db", "desktop.ini"})
_BYTE_ORDER_MARK = b"\xef\xbb\xbf"


def check_name(name: str) -> str | None:
    """Say what is wrong with the name of a sample file, if anything is.

    Parameters
    ----------
    name : str
        As written in run_sheet.csv.

    Returns
    -------
    str or None
        What is wrong, in words; None for a name such as ``samples/r01.csv``.

    Examples
    --------
    >>> check_name("samples/r01.csv")
    >>> check_name("samples/../../secret.csv")
    'a path out of the folder'
    """
    if not name.isprintable() or "\\" in name:
        return "a backslash or a character that cannot be printed"
    if name.startswith(("/", "~")) or name[1:2] == ":":
        return "an absolute path"
    parts = name.split("/")
    if ".." in parts:
        return "a path out of the folder"
    if "." in parts or "" in parts:
        return "a path with an empty step"
    if parts[0] != "samples" or len(parts) < 2:
        return "a file outside samples/"
    return None


def find_link(folder: Path, name: str) -> str | None:
    """Find the first step of a name that is a symbolic link.

    Parameters
    ----------
    folder : Path
        The trial folder.
    name : str
        A name inside it.

    Returns
    -------
    str or None
        The step that is a link; None if there is none.
    """
    parts = name.split("/")
    for count in range(1, len(parts) + 1):
        step = "/".join(parts[:count])
        if os.path.islink(f"{folder}/{step}"):  # noqa: PTH114 - a third of the time of Path, once for every file
            return step
    return None


def read_bytes(folder: Path, name: str, faults: FaultList, *, most: int) -> bytes | None:
    """Read one file of a trial folder; it is opened for reading only.

    Parameters
    ----------
    folder : Path
        The trial folder.
    name : str
        A name inside it, already checked.
    faults : FaultList
        Takes what is wrong: no file, a link, no plain file, too large, not readable.
    most : int
        Largest size accepted, in bytes; larger files are not opened.

    Returns
    -------
    bytes or None
        The content; None if there was a fault.
    """
    if (link := find_link(folder, name)) is not None:
        target = (folder / link).readlink()
        faults.add(f"a symbolic link, {link} to {quoted(str(target))}", "a file that lies in the trial folder itself")
        return None
    path = folder / name
    try:
        info = path.stat()
        if not stat.S_ISREG(info.st_mode):
            faults.add("no plain file", "a plain text file")
        elif info.st_size > most:
            faults.add(f"{info.st_size:_} bytes".replace("_", " "), f"at most {most // 1024 // 1024} MiB")
        else:
            return path.read_bytes()
    except FileNotFoundError:
        faults.add("no such file", "a file in the trial folder by this name")
    except OSError as error:
        faults.add(f"a file that cannot be read ({error.strerror})", "a file that may be read")
    return None


def find_unnamed(folder: Path, named: set[str]) -> list[Fault]:
    """Find files below samples/ that nothing names; hidden ones, and what a file manager leaves, are passed over.

    Parameters
    ----------
    folder : Path
        The trial folder.
    named : set of str
        Sample files that the run sheet names.

    Returns
    -------
    list of Fault
        One a file, or a linked folder.
    """
    faults = []
    for place, folders, files in os.walk(folder / "samples"):
        folders.sort()
        links = [name for name in folders if (Path(place) / name).is_symlink()]
        inside = Path(place).relative_to(folder).as_posix()
        for name in sorted([*files, *links]):
            file = f"{inside}/{name}".encode("utf-8", "backslashreplace").decode()
            if file not in named and not name.startswith(".") and name.casefold() not in _OF_THE_SYSTEM:
                accepted = "every file in one row"
                faults.append(Fault(file, None, None, "a file that run_sheet.csv does not name", accepted))
    return faults


def check_text(data: bytes, faults: FaultList, *, byte_order_mark: bool = False, footer: bool = False) -> bytes | None:
    r"""Check that a file is whole, plain text with one kind of line end.

    Parameters
    ----------
    data : bytes
        Content of the file.
    faults : FaultList
        Takes what is wrong.
    byte_order_mark : bool, default False
        Whether a leading byte-order mark is accepted (and taken off).
    footer : bool, default False
        Whether the last line is none of numbers, so that it may lack its line end; one that begins with a number may
        not.

    Returns
    -------
    bytes or None
        The content with lines ended by ``\n``; None if its lines cannot be told apart.

    Notes
    -----
    A last line that does not end is a sign of a file cut short, and is a fault.
    """
    if not data:
        faults.add("an empty file", "a header line and rows")
        return None
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        faults.add("text in UTF-16", "text in UTF-8; save the log again in that encoding")
        return None
    if b"\0" in data:
        faults.add("a binary file (it has zero bytes)", "plain text")
        return None
    if data.startswith(_BYTE_ORDER_MARK):
        if not byte_order_mark:
            faults.add(
                "a byte-order mark", "UTF-8 without one (sample files: or encoding = 'utf-8-sig' in [log])", line=1
            )
        data = data[3:]
    if b"\r" in data:
        _check_line_ends(data, faults)
        data = data.replace(b"\r\n", b"\n")
    if not data.endswith(b"\n"):
        last = data[max(data.rfind(b"\n") + 1, len(data) - LONGEST_LINE) :]
        if not footer or re.match(rb"[-+]?\d", last.strip()):
            faults.add(
                f"a last line without a line end, {quoted(last)}",
                "a file that was not cut short",
                line=data.count(b"\n") + 1,
            )
        data += b"\n"
    return data


def _check_line_ends(data: bytes, faults: FaultList) -> None:
    pairs, feeds, returns = data.count(b"\r\n"), data.count(b"\n"), data.count(b"\r")
    if pairs == feeds == returns:
        return
    if returns > pairs:
        odd, found = re.search(rb"\r(?!\n)", data), "a carriage return inside a line"
        position = odd.start() if odd else 0
    else:
        plain = re.search(rb"(?<!\r)\n", data)
        # The line where the second kind first appears.
        position, found = max(data.find(b"\r\n"), plain.start() if plain else 0), "mixed line ends"
    line = data.count(b"\n", 0, position) + 1
    faults.add(found, r"one kind of line end throughout, \n or \r\n", line=line)
