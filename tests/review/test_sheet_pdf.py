"""The sheet as PDF: whole or not at all, by a browser that is there, and plain words where there is none.

Most tests put a small program in the place of the browser; the last ones ask an installed Chromium.
"""

import hashlib
import os
import re
import shutil
import struct
import sys
import zlib
from pathlib import Path

import drawn_results as drawn
import pytest

from lossstats.cli import main
from lossstats.review import sheet_pdf
from lossstats.review.sheet_pdf import BROWSERS, find_browser, write_pdf

PAGE, PDF = "result_sheet.html", "result_sheet.pdf"
PRINTS = """
target = next(a for a in sys.argv if a.startswith("--print-to-pdf=")).partition("=")[2]
open(target, "wb").write(b"%PDF-1.4\\n" + " ".join(sys.argv).encode() + b"\\n%%EOF\\n")
"""


@pytest.fixture(scope="module")
def saved(tmp_path_factory):
    folder = tmp_path_factory.mktemp("printed") / "trial"
    folder.mkdir()
    drawn.result("description").save(folder)
    return folder


@pytest.fixture
def folder(saved, tmp_path):
    return Path(shutil.copytree(saved, tmp_path / "my trial"))


def program(tmp_path, body, name="chromium"):
    """A program in the place of the browser."""
    path = tmp_path / "bin" / name
    path.parent.mkdir(exist_ok=True)
    path.write_text(f"#!{sys.executable}\nimport sys, time, os\n{body}", encoding="utf-8")
    path.chmod(0o755)
    return path


def files(folder):
    return sorted(path.name for path in (folder / "results").iterdir())


def test_prints_beside_the_page_and_leaves_nothing_else(folder, tmp_path, monkeypatch):
    before = files(folder)
    monkeypatch.setenv("PATH", str(program(tmp_path, PRINTS).parent))
    written = write_pdf(folder)
    assert written == folder / "results" / PDF
    assert files(folder) == sorted([*before, PDF])
    call = written.read_bytes().decode()
    assert "--headless" in call and "--no-pdf-header-footer" in call and "--proxy-server=127.0.0.1:9" in call
    profile = re.search(r"--user-data-dir=(\S.*?) --print", call)[1]
    assert not Path(profile).exists()
    assert ("--no-sandbox" in call) == (os.geteuid() == 0)


def test_an_older_pdf_is_replaced_only_by_a_whole_one(folder, tmp_path):
    old = folder / "results" / PDF
    old.write_bytes(b"old")
    broken = program(tmp_path, PRINTS.replace("\\n%%EOF\\n", ""))
    with pytest.raises(
        OSError, match=r"chromium: found no whole PDF after printing \(nothing was said\); the page prints"
    ):
        write_pdf(folder, browser=broken)
    assert old.read_bytes() == b"old"
    write_pdf(folder, browser=program(tmp_path, PRINTS))
    assert old.read_bytes().startswith(b"%PDF-")
    assert not [name for name in files(folder) if name.startswith("printing")]


def test_what_the_browser_said_last_is_passed_on(folder, tmp_path):
    fails = program(tmp_path, 'print("one\\nno display", file=sys.stderr); sys.exit(3)')
    with pytest.raises(OSError, match=r"found no whole PDF after printing \(no display\)"):
        write_pdf(folder, browser=fails)
    assert PDF not in files(folder)


def test_printing_that_never_ends_is_ended_with_all_it_started(folder, tmp_path):
    child = tmp_path / "child"
    body = f'if os.fork() == 0:\n    open({str(child)!r}, "w").write(str(os.getpid()))\ntime.sleep(60)\n'
    with pytest.raises(TimeoutError, match=r"chromium: found no end of printing after 1 s; accepted: a browser that"):
        write_pdf(folder, browser=program(tmp_path, body), timeout_s=1.0)
    status = Path("/proc") / child.read_text() / "status"
    assert not status.is_file() or "State:\tZ" in status.read_text()  # its new parent may not have looked yet
    assert files(folder).count(PDF) == 0 and not [name for name in files(folder) if name.startswith("printing")]


def test_without_a_browser_the_message_names_what_was_looked_for(folder, tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(
        FileNotFoundError, match=r"result_sheet.pdf: found no browser that could print it; accepted: one of"
    ):
        find_browser()
    before = files(folder)
    assert main(["sheet", str(folder)]) == 1
    told = capsys.readouterr().err
    assert all(name in told for name in BROWSERS) and "the page prints from any browser" in told
    assert files(folder) == before


def test_the_first_name_on_the_path_is_taken(tmp_path, monkeypatch):
    last = program(tmp_path, PRINTS, "google-chrome")
    monkeypatch.setenv("PATH", str(last.parent))
    assert find_browser() == str(last)
    assert find_browser() != str(program(tmp_path, PRINTS, "chromium"))


def test_a_folder_without_a_sheet_is_named(tmp_path):
    with pytest.raises(
        FileNotFoundError, match=r"results.result_sheet.html: found no such file; accepted: a folder that"
    ):
        write_pdf(tmp_path)


@pytest.mark.parametrize(
    "inside",
    [
        "<script>1</script>",
        '<meta http-equiv="refresh" content="0;url=file:///">',
        '<IFRAME src="file:///">',
        "< link>",
        "<svg/onload=1>",
        "</main>",
    ],
)
def test_a_page_that_the_kit_did_not_write_is_not_opened(folder, tmp_path, inside):
    path = folder / "results" / PAGE
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("<h2>Runs</h2>", f"<h2>Runs</h2>{inside}"), encoding="utf-8")
    with pytest.raises(ValueError, match=r"result_sheet.html: found a page of another form; accepted: the page that"):
        write_pdf(folder, browser=program(tmp_path, PRINTS))
    assert PDF not in files(folder)


def test_what_is_printed_is_the_page_with_a_policy_and_the_digests(folder, tmp_path):
    seen = tmp_path / "seen.html"
    copies = f'import shutil, urllib.parse\nshutil.copy(urllib.parse.unquote(sys.argv[-1].removeprefix("file://")), {str(seen)!r})\n'
    write_pdf(folder, browser=program(tmp_path, copies + PRINTS))
    printed, page = seen.read_text(encoding="utf-8"), (folder / "results" / PAGE).read_bytes()
    record = (folder / "results" / "result.json").read_bytes()
    policy = re.search(r"<meta http-equiv=.*\n", printed)[0]
    assert "default-src 'none'; img-src data:" in policy and printed.index(policy) < printed.index("<title>")
    told = re.search(r'<p class="printed">(.*?)</p>\n', printed)
    assert hashlib.sha256(record).hexdigest() in told[1] and hashlib.sha256(page).hexdigest() in told[1]
    assert printed.replace(policy, "").replace(told[0], "").encode() == page


real = pytest.mark.skipif(not any(map(shutil.which, BROWSERS)), reason="no Chromium is installed")


@real
def test_an_installed_chromium_prints_a4(folder, capsys):
    assert main(["sheet", str(folder)]) == 0
    pdf = folder / "results" / PDF
    assert capsys.readouterr().out == f"written: {pdf}\n"
    content = pdf.read_bytes()
    boxes = {tuple(map(float, box.split())) for box in re.findall(rb"/MediaBox \[([^\]]*)\]", content)}
    assert boxes and all(abs(w - 595) < 2 and abs(h - 842) < 2 for _, _, w, h in boxes)
    assert content.count(b"/Subtype /Image") >= 4


@real
def test_a_page_cannot_load_a_file_beside_it(folder, monkeypatch):
    """A picture from a file is let in by the tags, and still is not in the PDF."""
    path = folder / "results" / PAGE
    rows = b"\0" + b"\xff\x00\x00" * 37
    pieces = (
        (b"IHDR", struct.pack(">IIBBBBB", 37, 23, 8, 2, 0, 0, 0)),
        (b"IDAT", zlib.compress(rows * 23)),
        (b"IEND", b""),
    )
    chunks = [struct.pack(">I", len(d)) + kind + d + struct.pack(">I", zlib.crc32(kind + d)) for kind, d in pieces]
    (folder / "results" / "other.png").write_bytes(b"\x89PNG\r\n\x1a\n" + b"".join(chunks))
    text = path.read_text(encoding="utf-8")
    # The copy that is printed lies one folder deeper.
    path.write_text(text.replace("<h2>Runs</h2>", '<h2>Runs</h2><img src="../other.png" alt="">'), encoding="utf-8")
    assert b"/Width 37" not in write_pdf(folder).read_bytes()
    monkeypatch.setattr(sheet_pdf, "_POLICY", "")
    assert b"/Width 37" in write_pdf(folder).read_bytes()
