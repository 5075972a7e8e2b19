"""A tiny valid trial folder as text, for the tests to break: 3 articles, 2 conditions, 6 runs of 30 samples."""

from __future__ import annotations

from pathlib import Path

TOML = """\
[trial]
question = "Does a wash pay?"

[comparison]
before = "dusty"
after = "cleaned"
design = "paired"
difference_that_matters = 0.2

[readings]
resolution = 0.001
"""
HEADER = "run,start,role,article,condition,mount,file,remarks\n"
RUNS = [
    ("r01", "08:00", "K01", "dusty"),
    ("r02", "08:10", "K02", "dusty"),
    ("r03", "08:20", "K03", "dusty"),
    ("r04", "08:30", "K01", "cleaned"),
    ("r05", "08:40", "K02", "cleaned"),
    ("r06", "08:50", "K03", "cleaned"),
]


def row(index: int, run: int = 1) -> str:
    """Row number `index` (its time in s) of a run, without line end; it stands in line index + 2."""
    return f"{index},{7 + 0.001 * ((7 * index + 3 * run) % 11):.3f}"


def samples(run: int = 1) -> str:
    return "time_s,loss_W\n" + "".join(row(index, run) + "\n" for index in range(30))


def sheet() -> str:
    lines = [
        f"{run},2031-03-03T{clock}:00+01:00,test,{article},{condition},1,samples/{run}.csv,\n"
        for run, clock, article, condition in RUNS
    ]
    return HEADER + "".join(lines)


def write(folder: Path) -> Path:
    (folder / "samples").mkdir(parents=True)
    put(folder, "trial.toml", TOML)
    put(folder, "run_sheet.csv", sheet())
    for number in range(1, 7):
        put(folder, f"samples/r{number:02d}.csv", samples(number))
    return folder


def put(folder: Path, name: str, content: str | bytes) -> None:
    (folder / name).write_bytes(content.encode() if isinstance(content, str) else content)


def swap(folder: Path, name: str, old: str, new: str) -> None:
    """Replace text that stands in the file exactly once."""
    content = (folder / name).read_bytes()
    assert content.count(old.encode()) == 1, (name, old)
    put(folder, name, content.replace(old.encode(), new.encode()))
