"""Pieces of the page: escaped, and left out where there is nothing to show."""

from lossstats.sheet_page import STYLE, bullets, page, paragraph, picture, section, table


def test_text_stays_text_in_every_piece():
    bad = '<script>"&'
    safe = "&lt;script&gt;&quot;&amp;"
    for made in (
        section(bad, "x"),
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
