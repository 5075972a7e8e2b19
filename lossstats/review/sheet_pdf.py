"""The result sheet on A4: printed from its page by a browser that is installed, without network."""

from __future__ import annotations

import contextlib
import hashlib
import os
import re
import shutil
import signal
import subprocess
import tempfile
from pathlib import Path

from lossstats.conclusion.result import FOLDER
from lossstats.sheet.sheet import PAGE
from lossstats.sheet.sheet_page import OPENING, paragraph

PDF = "result_sheet.pdf"
BROWSERS = (
    "chromium",
    "chromium-browser",
    "google-chrome",
    "google-chrome-stable",
    "chrome",
    "msedge",
    "microsoft-edge",
)
TIMEOUT_S = 120.0
_BY_HAND = "the page prints from any browser as well (A4)"
# A page that somebody else sent may hold anything: pictures inside it and its own look, nothing else.
_POLICY = (
    '<meta http-equiv="Content-Security-Policy" content="default-src \'none\'; img-src data:; '
    "style-src 'unsafe-inline'\">\n"
)
_CLOSING = "</main>"
_TAG = re.compile(r"<\s*([a-zA-Z][^\s/>]*)")
_TAGS = """html head meta title style body header main section h1 h2 h3 p div ul li table caption thead tbody tr th td
figure img figcaption pre"""
_OPTIONS = (
    "--headless",
    "--disable-gpu",
    "--no-first-run",
    "--no-default-browser-check",
    "--disable-extensions",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--proxy-server=127.0.0.1:9",  # nobody listens there: whatever the page asks for, nothing leaves the machine
    "--no-pdf-header-footer",
)


def write_pdf(folder: str | Path, *, browser: str | Path | None = None, timeout_s: float = TIMEOUT_S) -> Path:
    """Print results/result_sheet.html of a trial to results/result_sheet.pdf, whole or not at all.

    Parameters
    ----------
    folder : path
        Trial folder with results/.
    browser : path, optional
        A browser of the Chromium family; left out: the first of `BROWSERS` on the search path.
    timeout_s : float
        Longest time for the printing, in s.

    Returns
    -------
    Path
        The PDF; an older one is replaced.

    Raises
    ------
    FileNotFoundError
        If there is no result sheet, or no browser.
    ValueError
        If the page is none that the kit wrote.
    TimeoutError
        If it takes longer than `timeout_s`.
    OSError
        If the browser gives no PDF.

    Notes
    -----
    What is printed is the page, and as its last line the SHA-256 of result.json and of the page, so that a print on
    paper can be held against the files. The browser gets a profile of its own that is gone afterwards, no network
    and no scripts. The time of printing stands in the PDF: two prints are alike in content, not in bytes.
    """
    results = Path(folder) / FOLDER
    page = results / PAGE
    if not page.is_file():
        raise FileNotFoundError(f"{page}: found no such file; accepted: a folder that `lossstats analyse` wrote")
    content = _for_print(page, results / "result.json")
    program = find_browser() if browser is None else str(browser)
    # Beside the results and not hidden: some browsers are shut out of hidden folders and of the system's own.
    work = Path(tempfile.mkdtemp(prefix="printing-", dir=results)).resolve()
    try:
        (work / PAGE).write_bytes(content)
        _print(program, work, timeout_s)
        (work / PDF).replace(results / PDF)
    finally:
        shutil.rmtree(work, ignore_errors=True)
    return results / PDF


def find_browser() -> str:
    """Find an installed browser of the Chromium family.

    Returns
    -------
    str
        Path of the program.

    Raises
    ------
    FileNotFoundError
        If there is none; it names what was looked for.
    """
    for name in BROWSERS:
        found = shutil.which(name)
        if found is not None:
            return found
    raise FileNotFoundError(
        f"{PDF}: found no browser that could print it; accepted: one of {', '.join(BROWSERS)} on the search path; "
        f"{_BY_HAND}"
    )


def _for_print(page: Path, record: Path) -> bytes:
    """The page with a policy that lets it load nothing, and with what it was printed from as its last line."""
    content = page.read_bytes()
    text = content.decode("utf-8", errors="replace")
    tags = [tag.lower() for tag in _TAG.findall(text)]
    # The kit's own two metas: character set and width of the screen; a third could lead to another page.
    strange = not set(_TAGS.split()).issuperset(tags) or tags.count("meta") != 2
    if strange or not text.startswith(OPENING) or text.count(_CLOSING) != 1:
        raise ValueError(f"{page}: found a page of another form; accepted: the page that `lossstats analyse` wrote")
    sealed = hashlib.sha256(record.read_bytes()).hexdigest() if record.is_file() else "no such file"
    own = hashlib.sha256(content).hexdigest()
    told = paragraph(f"Printed from {record.name} (SHA-256 {sealed}) and {page.name} (SHA-256 {own}).", "printed")
    start, end = text[len(OPENING) :].split(_CLOSING)
    return f"{OPENING}{_POLICY}{start}{told}\n{_CLOSING}{end}".encode()


def _print(program: str, work: Path, timeout_s: float) -> None:
    target = work / PDF
    profile = work / "profile"
    call = [program, *_OPTIONS, f"--user-data-dir={profile}", f"--print-to-pdf={target}", (work / PAGE).as_uri()]
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        call.insert(1, "--no-sandbox")  # it refuses to start otherwise
    said = _run(call, timeout_s)
    printed = target.read_bytes() if target.is_file() else b""
    if not (printed.startswith(b"%PDF-") and printed.rstrip().endswith(b"%%EOF")):
        last = said.strip().splitlines()[-1:] or ["nothing was said"]
        raise OSError(f"{program}: found no whole PDF after printing ({last[0][:300]}); {_BY_HAND}")


def _run(call: list[str], timeout_s: float) -> str:
    """What the program says; it and what it started are gone afterwards."""
    # A browser is many processes: a session of its own, so that none of them stays behind.
    with subprocess.Popen(  # noqa: S603 - a fixed list of arguments, no shell
        call, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, start_new_session=True
    ) as process:
        try:
            _, said = process.communicate(timeout=timeout_s)
        except subprocess.TimeoutExpired:
            _end(process)
            raise TimeoutError(
                f"{call[0]}: found no end of printing after {timeout_s:g} s; accepted: a browser that prints in that "
                f"time; {_BY_HAND}"
            ) from None
        except BaseException:
            _end(process)
            raise
    return said.decode("utf-8", errors="replace")


def _end(process: subprocess.Popen[bytes]) -> None:
    with contextlib.suppress(ProcessLookupError):
        if hasattr(os, "killpg"):
            os.killpg(process.pid, signal.SIGKILL)
        else:
            process.kill()
    process.communicate()
