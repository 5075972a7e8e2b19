"""Speed beside what a user would pick: `python tests/benchmarks/run.py` writes table.md.

Needs the extra `test`. Ours and the peer run in turns in one process; the ratio is peer over ours of
neighbours in time, so that a busy neighbour slows both. Before timing, each row checks that both give the same.
"""

from __future__ import annotations

import importlib
import importlib.metadata
import os
import platform
import statistics
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
_SHORTEST_S = 0.02  # each timing repeats a call until it has lasted so long


def main() -> None:
    lines = [
        machine(),
        "",
        "| path | peer | peer time | ours | ratio min / median / max | target |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    for file in sorted(HERE.glob("*_rows.py")):
        for row in importlib.import_module(file.stem).rows():
            if not row.agree():
                raise SystemExit(f"{row.name}: ours and {row.peer_name} do not agree")
            lines.append(line(row))
            print(lines[-1], flush=True)
    (HERE / "table.md").write_text("\n".join(lines) + "\n", encoding="utf-8")


def machine() -> str:
    cpuinfo = Path("/proc/cpuinfo")
    models = (
        [text for text in cpuinfo.read_text().splitlines() if text.startswith("model name")] if cpuinfo.exists() else []
    )
    model = models[0].split(":")[1].strip() if models else platform.processor()
    versions = ", ".join(
        f"{name} {importlib.metadata.version(name)}" for name in ("numpy", "scipy", "statsmodels", "arch")
    )
    return f"{model}, {os.cpu_count()} cores, CPython {platform.python_version()}, {versions}."


def line(row: Any) -> str:
    if row.peer is None:
        times = [seconds(row.ours) for _ in range(row.pairs)]
        return f"| {row.name} | | | {shown(statistics.median(times))} | | {row.target} |"
    pairs = [(seconds(row.peer), seconds(row.ours)) for _ in range(row.pairs)]
    ratios = sorted(peer / ours for peer, ours in pairs)
    spread = " / ".join(
        f"{r:.2g}" if r < 10 else f"{r:,.0f}".replace(",", " ")
        for r in (ratios[0], statistics.median(ratios), ratios[-1])
    )
    spread = spread if row.pairs > 1 else f"{spread.split(' / ')[0]} (once)"
    peer, ours = (shown(statistics.median(times)) for times in zip(*pairs, strict=True))
    return f"| {row.name} | {row.peer_name} | {peer} | {ours} | {spread} | {row.target} |"


def seconds(call: Callable[[], Any]) -> float:
    start, calls = time.perf_counter(), 0
    while True:
        call()
        calls += 1
        passed = time.perf_counter() - start
        if passed > _SHORTEST_S:
            return passed / calls


def shown(time_s: float) -> str:
    return f"{time_s:.3g} s" if time_s >= 1 else f"{time_s * 1e3:.3g} ms"


if __name__ == "__main__":
    main()
