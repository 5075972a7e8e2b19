"""Pieces of the page: escaped, and left out where there is nothing to show."""

import pytest

from lossstats.sheet.sheet_page import (
    ROWS_KEPT_TOGETHER,
    STYLE,
    bullets,
    page,
    paragraph,
    picture,
    safe,
    section,
    subsection,
    table,
)


def test_text_stays_text_in_every_piece():
    bad = '<script>"&'
    safe = "&lt;script&gt;&quot;&amp;"
    for made in (
        section(bad, "x"),
        subsection(bad, "x"),
        paragraph(bad),
        bullets([bad]),
        table(bad, [bad], [[bad]]),
        picture(b"", bad, bad),
        page(bad, "", []),
    ):
        assert "<script" not in made
        assert safe in made


def test_nothing_makes_no_empty_section():
    assert section("Notes", bullets([]), paragraph("")) == ""


def test_numbers_are_set_flush_right_under_their_heads():
    made = table("t", ("a", "b"), [("x", "1.5")], numbers=(1,), kind="small")
    assert '<th class="n" scope="col">b</th>' in made
    assert '<td class="n">1.5</td>' in made
    assert '<th scope="row">x</th>' in made
    assert made.startswith('<div class="wide small"')


def test_style_serves_print_narrow_and_dark_and_loads_nothing():
    for part in ("@page", "size: A4", "prefers-color-scheme: dark", "@media screen and (max-width"):
        assert part in STYLE
    assert "url(" not in STYLE and "@import" not in STYLE and "<" not in STYLE


@pytest.mark.parametrize("code", [0x1B, 0x85, 0x200E, 0x200F, 0x202A, 0x202E, 0x2066, 0x2069])
def test_marks_that_turn_or_break_the_reading_are_shown(code):
    assert safe(f"4{chr(code)}2 W") == f"4[U+{code:04X}]2 W"
    assert f"[U+{code:04X}]" in table("t", ["a"], [[chr(code)]])


def test_letters_of_any_script_and_line_ends_stay():
    text = "שרשרת K01\n鎖 \tΩ é"
    assert safe(text) == text


def test_a_long_table_may_go_over_pages_and_a_short_one_not():
    assert 'class="wide"' in table("t", ["a"], [["x"]] * ROWS_KEPT_TOGETHER)
    assert 'class="wide long"' in table("t", ["a"], [["x"]] * (ROWS_KEPT_TOGETHER + 1))
    assert ".wide:not(.long)" in STYLE.partition("@media print")[2]


def test_no_heading_stands_over_nothing():
    assert subsection("Departures", "") == ""
