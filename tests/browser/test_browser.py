"""The notebooks as an analyst meets them: a working copy, in JupyterLab, in a real browser, in both themes.

Run on request: ``pytest -m browser tests/browser``. The pictures lie in the temporary folder that the run names.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from lossstats import analyse

pytestmark = pytest.mark.browser

LIMIT_MS = 120_000
KINDS = ("*_find_the_settled_level", "*_compare_*", "*_state_*")
WRONG = ":is([data-mime-type$='jupyter.error'], [data-mime-type$='jupyter.stderr'])"
DONE = """wrong => {
  const prompts = [...document.querySelectorAll('.jp-CodeCell .jp-InputArea-prompt')].map(p => p.textContent.trim());
  const kernel = document.querySelector('.jp-Notebook-ExecutionIndicator');
  const failed = document.querySelector(wrong);
  return failed || (prompts.length && prompts.every(p => /^\\[\\d+\\]:$/.test(p)) && kernel?.dataset.status === 'idle');
}"""
# Contrast of text by WCAG 2.1: relative luminance, and the ratio that criterion 1.4.3 asks to be 4.5 or more.
FAINT = """() => {
  const channels = text => text.match(/[\\d.]+/g).map(Number);
  const linear = c => (c /= 255) <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4;
  const luminance = ([r, g, b]) => 0.2126 * linear(r) + 0.7152 * linear(g) + 0.0722 * linear(b);
  const over = (top, base) => { const a = top[3] ?? 1; return [0, 1, 2].map(i => a * top[i] + (1 - a) * base[i]); };
  const behind = element => {
    const layers = [];
    for (let e = element; e; e = e.parentElement) layers.push(channels(getComputedStyle(e).backgroundColor));
    return layers.reverse().reduce((base, layer) => over(layer, base), [255, 255, 255]);
  };
  const faint = [];
  for (const e of document.querySelectorAll('.jp-OutputArea-output :is(td, th, caption, pre, p, em)')) {
    if (!e.textContent.trim()) continue;
    const back = behind(e), front = over(channels(getComputedStyle(e).color), back);
    const [low, high] = [luminance(front), luminance(back)].sort((a, b) => a - b);
    const ratio = (high + 0.05) / (low + 0.05);
    if (ratio < 4.5) faint.push(`${ratio.toFixed(1)} ${e.tagName} ${e.textContent.trim().slice(0, 40)}`);
  }
  return faint;
}"""


def chosen(lab: Any) -> list[str]:
    """One notebook of each kind."""
    found = [sorted((lab.folder / "notebooks").glob(f"{kind}.ipynb"))[:1] for kind in KINDS]
    return [path.name for paths in found for path in paths]


@pytest.fixture
def page(browser: Any, lab: Any) -> Iterator[Any]:
    opened = browser.new_page(viewport={"width": 1300, "height": 1000})
    opened.set_default_timeout(LIMIT_MS)
    opened.asked_elsewhere = []
    opened.on(
        "request",
        lambda r: None if r.url.startswith((lab.base, "data:", "blob:")) else opened.asked_elsewhere.append(r.url),
    )
    yield opened
    opened.close()


def show(page: Any, lab: Any, name: str) -> None:
    page.goto(f"{lab.base}/lab/workspaces/{Path(name).stem}/tree/notebooks/{name}?token={lab.token}&reset")
    page.wait_for_selector(".jp-NotebookPanel .jp-CodeCell")
    # The status bar waits for the kernel's first answer; the indicator of the notebook says idle before that, and
    # cells that are run without a kernel stay empty.
    page.locator(".jp-StatusBar-TextItem", has_text=re.compile(r"\| Idle$")).wait_for()


def run_all(page: Any) -> None:
    page.locator(".jp-NotebookPanel .jp-Notebook").first.click(position={"x": 5, "y": 5})
    page.locator(".lm-MenuBar-itemLabel", has_text=re.compile("^Run$")).click()
    page.locator("[data-command='runmenu:run-all']").click()
    page.wait_for_function(DONE, arg=WRONG)


def choose_theme(page: Any, name: str) -> None:
    page.locator(".lm-MenuBar-itemLabel", has_text=re.compile("^Settings$")).click()
    page.locator(".lm-Menu-itemLabel", has_text=re.compile("^Theme$")).hover()
    page.locator(".lm-Menu-itemLabel", has_text=re.compile(f"^{name}$")).click()
    light = "false" if "Dark" in name else "true"
    page.wait_for_selector(f"body[data-jp-theme-light={light}]", state="attached")


def take_picture(page: Any, path: Path) -> None:
    """The whole notebook, not only what is in view."""
    last = "[...document.querySelectorAll('.jp-Cell')].at(-1)"
    scrolled = "document.querySelector('.jp-WindowedPanel-outer')"
    height = page.evaluate(f"() => {last}.getBoundingClientRect().bottom + {scrolled}.scrollTop")
    page.set_viewport_size({"width": 1300, "height": min(int(height) + 50, 16_000)})
    page.evaluate(f"() => {scrolled}.scrollTo(0, 0)")
    page.locator(".jp-NotebookPanel").screenshot(path=path)
    page.set_viewport_size({"width": 1300, "height": 1000})


def shown(page: Any) -> str:
    texts = page.locator(".jp-OutputArea-output").all_text_contents()
    return " ".join(" ".join(texts).split())


def test_notebooks_run_in_a_browser_and_are_readable_in_both_themes(
    page: Any, lab: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    statement = " ".join(str(analyse(lab.folder).statement).split())
    stated = []
    for name in chosen(lab):
        show(page, lab, name)
        run_all(page)
        assert page.locator(WRONG).all_text_contents() == [], name
        assert page.locator(".jp-OutputArea-output img").count() >= 2, name
        stated += [name] if statement in shown(page) else []
        for theme in ("JupyterLab Dark", "JupyterLab Light"):
            choose_theme(page, theme)
            assert page.evaluate(FAINT) == [], (name, theme)
            take_picture(page, tmp_path / f"{Path(name).stem}_{theme.split()[1].lower()}.png")
    assert stated, "no notebook shows the statement"
    assert page.asked_elsewhere == []
    with capsys.disabled():
        print(f"\npictures: {tmp_path}")


@pytest.mark.parametrize(
    ("style", "faint"),
    [
        ("color: #767676; background: #fff", 0),  # 4.54 to 1, the classic limit on white
        ("color: #787878; background: #fff", 1),
        ("color: #ddd; background: #111", 0),
        ("color: #222; background: #111", 1),
        ("color: rgba(0, 0, 0, 0.3); background: #fff", 1),
        ("color: #fff; background: rgba(0, 0, 0, 0.1)", 1),
    ],
)
def test_faint_text_is_seen(browser: Any, style: str, faint: int) -> None:
    opened = browser.new_page()
    opened.set_content(f'<body style="background: #fff"><div class="jp-OutputArea-output"><pre style="{style}">x</pre>')
    found = opened.evaluate(FAINT)
    opened.close()
    assert len(found) == faint
