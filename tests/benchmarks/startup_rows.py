"""Start-up: importing the package, and the help of the command, each in a process of its own."""

import subprocess
import sys
from collections.abc import Iterator

from timed_row import TimedRow


def started(*arguments: str) -> None:
    subprocess.run([sys.executable, *arguments], check=True, capture_output=True)


def always() -> bool:
    return True


def rows() -> Iterator[TimedRow]:
    yield TimedRow(
        "`import lossstats`, whole process",
        "`import numpy`",
        lambda: started("-c", "import lossstats"),
        lambda: started("-c", "import numpy"),
        always,
        "≥ 0.77 (at most 1.3 numpy)",
    )
    yield TimedRow(
        "`lossstats --help`, whole process",
        "bare interpreter",
        lambda: started("-m", "lossstats", "--help"),
        lambda: started("-c", "pass"),
        always,
        "at most 60 ms more",
    )
