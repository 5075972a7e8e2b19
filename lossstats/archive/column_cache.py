"""Columns of sample files kept on disk, found again by the digest of the file's content and never without it."""

from __future__ import annotations

import hashlib
import json
import os
import secrets
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lossstats.trial_folder.samples import Samples
from lossstats.trial_folder.settings import BenchModelKeys, LogKeys, ReadingsKeys

# Changed with every change of what the reader takes or gives: whatever was kept before is then read anew.
_RULES = 1


class ColumnCache:
    """Columns of sample files that were read once, kept in a folder of their own.

    Parameters
    ----------
    folder : path
        Holds the kept columns; made when the first are kept. It may be deleted at any time.

    Notes
    -----
    An entry is found by the SHA-256 of the content of the sample file together with the rules it was read by, so a
    file that changed by a byte, or is read by another column map, is read anew. The entry names both digests and that
    of its own numbers, and is used only where all three fit; else it is ignored and written anew. Only files without a
    fault are kept. What is saved is the parsing: the file is read and its digest taken each time.
    """

    def __init__(self, folder: str | os.PathLike[str]) -> None:
        self.folder = Path(folder)

    def find(
        self, sha256: str, log: LogKeys, readings: ReadingsKeys, model: BenchModelKeys | None = None
    ) -> Samples | None:
        """Find the columns of just these bytes under just these rules.

        Parameters
        ----------
        sha256 : str
            Digest of the content of the file, taken anew.
        log, readings, model : LogKeys, ReadingsKeys, BenchModelKeys or None
            What the file is read by.

        Returns
        -------
        Samples or None
            None where there are none, or something is wrong with them.
        """
        form = _digest_of_rules(log, readings, model)
        numbers, note = self._paths(sha256, form)
        try:
            told = json.loads(note.read_bytes())
            table = np.load(numbers, allow_pickle=False)
            if (
                told["content"] != sha256
                or told["rules"] != form
                or told["numbers"] != _digest(table, told["first_stamp"])
            ):
                return None
            stamp = None if told["first_stamp"] is None else datetime.fromisoformat(told["first_stamp"])
        except Exception:  # noqa: BLE001 - a spoilt entry fails in any way, tokenize.TokenError in numpy's reader among them
            return None
        if table.shape[0] != 2 + len(log.other):
            return None
        table.flags.writeable = False
        return Samples(table[0], table[1], dict(zip(log.other, table[2:], strict=True)), stamp)

    def keep(
        self, sha256: str, samples: Samples, log: LogKeys, readings: ReadingsKeys, model: BenchModelKeys | None = None
    ) -> None:
        """Keep the columns of a file without a fault; a folder that cannot be written to is no reason to stop.

        Parameters
        ----------
        sha256 : str
            Digest of the content of the file.
        samples : Samples
            What was read from it.
        log, readings, model : LogKeys, ReadingsKeys, BenchModelKeys or None
            What it was read by.
        """
        form = _digest_of_rules(log, readings, model)
        table = np.stack([samples.time_s, samples.values, *samples.operating_point.values()])
        stamp = None if samples.first_stamp is None else samples.first_stamp.isoformat()
        told = {"content": sha256, "rules": form, "numbers": _digest(table, stamp), "first_stamp": stamp}
        numbers, note = self._paths(sha256, form)
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            _write(numbers, table)
            _write(note, told)
        except OSError:
            return

    def _paths(self, sha256: str, form: str) -> tuple[Path, Path]:
        name = hashlib.sha256(f"{sha256} {form}".encode()).hexdigest()
        return self.folder / f"{name}.npy", self.folder / f"{name}.json"


def _digest_of_rules(*settings: Any) -> str:
    # Settings are frozen dataclasses of plain values: their repr tells them apart.
    return hashlib.sha256(repr((_RULES, settings)).encode()).hexdigest()


def _digest(table: NDArray[np.float64], stamp: str | None) -> str:
    if (
        not isinstance(table, np.ndarray)
        or table.ndim != 2
        or table.dtype != np.float64
        or not table.flags.c_contiguous
    ):
        raise ValueError("kept columns: found another kind of array; accepted: rows of 64 bit floats")
    found = hashlib.sha256(f"{table.shape} {stamp}".encode())
    found.update(table.data)
    return found.hexdigest()


def _write(path: Path, content: Any) -> None:
    # Whole or not at all, so that two processes may keep the same columns at the same time.
    draft = path.with_name(f".{path.name}.{secrets.token_hex(4)}")
    try:
        with draft.open("xb") as stream:
            if isinstance(content, np.ndarray):
                np.save(stream, content, allow_pickle=False)
            else:
                stream.write(json.dumps(content).encode())
        draft.replace(path)
    finally:
        draft.unlink(missing_ok=True)
