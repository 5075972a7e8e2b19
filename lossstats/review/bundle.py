"""A trial with its result in one file: the same bytes for the same content, opened within bounds, never run."""

from __future__ import annotations

import errno
import os
import re
import stat
import struct
import tempfile
import unicodedata
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from lossstats.conclusion.result import FOLDER
from lossstats.trial_folder.raw_files import MOST_SAMPLE_BYTES, check_name, find_link

MOST_MEMBERS = 20_000
MOST_BYTES = 4 * MOST_SAMPLE_BYTES
_TABLES = ("trial.toml", "run_sheet.csv", "plan.json", "run_sheet.html")
PICTURES = r"(?:saving|pairs|ranking|conditions|budget|levels|runs(?:_\d{1,4})?)\.png"
# What the kit writes and nothing else: another file beside the sheet would look as if it had been checked.
_RESULTS = re.compile(rf"{FOLDER}/(?:result\.json|result_sheet\.(?:html|pdf)|looks\.csv|{PICTURES})")
# The oldest time that the format knows: when a file was written is no part of its content.
_STAMP = (1980, 1, 1, 0, 0, 0)
_MODE = (stat.S_IFREG | 0o644) << 16
_CHUNK = 1 << 20
_LONGEST_STEP, _LONGEST_NAME = 255, 1024  # bytes; what every common file system takes
# Microsoft, "Naming Files, Paths, and Namespaces": characters, ends and device names that no file there can have.
_NOT_EVERYWHERE = re.compile(
    r'[:<>"|?*]|[. ]$|^ *(con|prn|aux|nul|conin\$|conout\$|(com|lpt)[0-9¹²³]) *(\.|$)', re.IGNORECASE
)
# What zipfile raises of a file that it cannot make out, a seek to before its beginning among them.
_UNREADABLE = (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError, struct.error, ValueError)


def write_bundle(folder: str | Path, target: str | Path | None = None) -> Path:
    """Put inputs, plan, result and sheet of a trial into one zip file, whole or not at all.

    Parameters
    ----------
    folder : path
        Trial folder with results/.
    target : path, optional
        The file to write; left out: the name of the folder with ``.zip``, beside it.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    FileNotFoundError
        If there is no sealed result.
    FileExistsError
        If there is a file by that name.
    ValueError
        If a file of the trial is a link, or has a name that a bundle cannot have.

    Notes
    -----
    Members stand in the order of their names, not compressed, with one fixed time and mode: the bytes do not depend
    on the machine, the clock or a version of a compressor. Other files in the folder are left out.
    """
    source = Path(folder)
    if not (source / FOLDER / "result.json").is_file():
        raise FileNotFoundError(f"{source}: found no sealed result; accepted: a folder that `lossstats analyse` wrote")
    path = Path(target) if target is not None else source.parent / f"{source.resolve().name}.zip"
    names = _members(source)
    with tempfile.NamedTemporaryFile(dir=path.parent, prefix=".bundle-", delete=False) as draft:
        work = Path(draft.name)
        try:
            with zipfile.ZipFile(draft, "w", zipfile.ZIP_STORED) as bundle:
                for name in names:
                    entry = zipfile.ZipInfo(name, _STAMP)
                    entry.external_attr = _MODE
                    entry.create_system = 3  # as written anywhere
                    bundle.writestr(entry, (source / name).read_bytes())
            os.link(work, path)  # fails where there is such a file
        except FileExistsError:
            raise FileExistsError(
                f"{path}: found such a file; accepted: a name that is not taken (rename or delete the older one)"
            ) from None
        finally:
            work.unlink()
    return path


def _members(source: Path) -> list[str]:
    files = (p for p in source.rglob("*") if p.is_file() or p.is_symlink())
    names = sorted(name for name in (p.relative_to(source).as_posix() for p in files) if _belongs(name))
    for name in names:
        if (link := find_link(source, name)) is not None:
            raise ValueError(f"{source.name}/{link}: found a symbolic link; accepted: a file in the folder itself")
    for name, wrong in _odd_names(names):
        raise ValueError(f"{source.name}, file {name!r}: found {wrong}; accepted: a name that every system can hold")
    return names


def _odd_names(names: list[str]) -> Iterator[tuple[str, str]]:
    """Names that cannot lie beside each other in one folder, or in none, and why."""
    keys = [_key(name) for name in names]
    files = set(keys)
    seen: set[str] = set()
    for name, key in zip(names, keys, strict=True):
        steps, above = name.split("/"), key.split("/")
        if max(len(step.encode()) for step in steps) > _LONGEST_STEP or len(name.encode()) > _LONGEST_NAME:
            yield f"{name[:40]}…", f"a name of {len(name)} characters"
        elif any(_NOT_EVERYWHERE.search(step) for step in steps):
            yield name, "a name that some systems cannot hold"
        elif any("/".join(above[:count]) in files for count in range(1, len(above))):
            yield name, "a file below another file"
        elif key in seen:
            yield name, "a second member of that name"
        seen.add(key)


def _key(name: str) -> str:
    """A name as file systems tell names apart that pass over capitals and the composition of letters."""
    return unicodedata.normalize("NFC", unicodedata.normalize("NFD", name).casefold())


def _belongs(name: str) -> bool:
    """Whether a trial has such a file; hidden ones and steps upward do not belong."""
    hidden = any(part.startswith(".") for part in name.split("/"))
    return not hidden and (name in _TABLES or bool(_RESULTS.fullmatch(name)) or check_name(name) is None)


@contextmanager
def opened(path: str | Path) -> Iterator[Path]:
    """Lay a bundle out in a temporary folder for as long as it is looked at.

    Parameters
    ----------
    path : path
        The zip file.

    Yields
    ------
    Path
        Trial folder, named as the bundle; gone afterwards.

    Raises
    ------
    ValueError
        If it is no zip file, or a member has a name that no trial has, is a link, is compressed, comes twice, is too
        large, or is not what the directory of the file says. Nothing stays laid out then.
    OSError
        If the file is missing or may not be read, or there is no room to lay it out.

    Notes
    -----
    Names are held against what a trial consists of, so no path leads out of the folder. Sizes and counts are bounded
    before anything is written, and again while it is. Nothing in a bundle is executed or evaluated.
    """
    file = Path(path)
    with tempfile.TemporaryDirectory(prefix="lossstats-") as place:
        folder = Path(place) / (re.sub(r"[^A-Za-z0-9._-]", "_", file.stem).lstrip(".") or "trial")
        folder.mkdir()
        try:
            with zipfile.ZipFile(file) as bundle:
                for entry in _checked(bundle, file.name):
                    _lay_out(bundle, entry, folder / entry.filename, file.name)
        except _RefusedError:
            raise
        except _UNREADABLE as error:
            raise _unreadable(file, error) from None
        except OSError as error:
            if error.errno == errno.EINVAL:
                raise _unreadable(file, error) from None
            raise OSError(error.errno, f"found that it cannot be laid out: {error.strerror}", str(file)) from None
        yield folder


class _RefusedError(ValueError):
    """A zip file that can be read, and is none that the kit wrote."""


def _unreadable(file: Path, error: Exception) -> ValueError:
    accepted = "a file that `lossstats bundle` wrote"
    return ValueError(f"{file.name}: found no readable zip file ({error}); accepted: {accepted}")


def _checked(bundle: zipfile.ZipFile, name: str) -> list[zipfile.ZipInfo]:
    entries = bundle.infolist()
    if len(entries) > MOST_MEMBERS:
        raise _RefusedError(f"{name}: found {len(entries)} members; accepted: at most {MOST_MEMBERS}")
    wrong = [(entry.filename, found) for entry in entries if (found := _wrong(entry))]
    for member, found in [*wrong, *_odd_names([entry.filename for entry in entries])]:
        raise _RefusedError(f"{name}, member {member!r}: found {found}; accepted: what `lossstats bundle` wrote")
    total = sum(entry.file_size for entry in entries)
    if total > MOST_BYTES:
        raise _RefusedError(f"{name}: found {total} bytes in all; accepted: at most {MOST_BYTES}")
    return entries


def _wrong(entry: zipfile.ZipInfo) -> str:
    """What is wrong with one member by itself; empty if nothing is."""
    if not _belongs(entry.filename) or entry.filename != entry.orig_filename:
        return "a name that no file of a trial has"
    if stat.S_IFMT(entry.external_attr >> 16) not in (0, stat.S_IFREG):
        return "a link or another thing that is no plain file"
    if entry.compress_type != zipfile.ZIP_STORED:
        return "compressed content"  # never written, and so never unpacked: no bomb, no error of a decompressor
    if entry.file_size > MOST_SAMPLE_BYTES:
        return f"{entry.file_size} bytes, where {MOST_SAMPLE_BYTES} are allowed"
    return ""


def _lay_out(bundle: zipfile.ZipFile, entry: zipfile.ZipInfo, path: Path, name: str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    written = 0
    with bundle.open(entry) as source, path.open("xb") as target:
        while chunk := source.read(_CHUNK):
            written += len(chunk)
            if written > entry.file_size:
                found = f"more than the {entry.file_size} bytes that the directory of the file states"
                raise _RefusedError(f"{name}, member {entry.filename!r}: found {found}; accepted: that size")
            target.write(chunk)
    if written < entry.file_size:
        found = f"{written} bytes, where the directory of the file states {entry.file_size}"
        raise _RefusedError(f"{name}, member {entry.filename!r}: found {found}; accepted: that size")
