"""The printable sheet: every run with its boxes, nothing loaded, text stays text."""

import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest
from planned import planned

from lossstats.planning.plan_sheet import plan_page
from lossstats.run_plan.run_order import lay_out_runs
from lossstats.sheet.sheet_record import CAUTIONS
from lossstats.trial_folder.plan_file import seal_plan


def page(settings):
    order = lay_out_runs(settings)
    plan = seal_plan(settings, order)
    return order, plan, plan_page(settings, order, plan)


@pytest.fixture(scope="module")
def sheet():
    return page(
        planned(
            "controls", "K01 K02 K03 K04 C01", controls="C01", one_way=True, wash_hours=2, dry_hours=14,
            zero_first=True, comparison={"difference_that_matters": 0.25},
        )
    )  # fmt: skip


def test_every_run_has_its_time_and_three_boxes(sheet):
    order, _, html = sheet
    for run in order.runs:
        (row,) = re.findall(rf'<tr[^>]*><th scope="row">{run.run}</th>.*?</tr>', html)
        assert f"{run.start:%H:%M}–{run.end:%H:%M}" in row
        assert row.count('class="box') == 3
        assert (run.article or "zero run") in row
        assert not run.condition or run.condition in row


def test_days_cautions_and_what_is_confounded(sheet):
    order, _, html = sheet
    assert html.count("Bench day ") == len(order.bench_days) == 3
    assert "Bench day 1 of 3: Monday 2031-03-03, UTC+01:00" in html
    for line in (*CAUTIONS, *order.confounded, *order.notes):
        assert line in html
    assert "difference that matters 0.25 W" in html
    assert "Invented." in html


def test_the_hash_is_whole_once_and_in_the_margin_of_every_page(sheet):
    _, plan, html = sheet
    assert f"SHA-256 {plan.sha256}" in html
    assert f'@bottom-left {{ content: "plan {plan.sha256[:16]}"' in html


def test_washing_is_listed_for_every_article_but_the_controls(sheet):
    _, _, html = sheet
    part = html.partition("Between the conditions")[2]
    assert sorted(re.findall(r'<th scope="row">(\w+)</th>', part)) == ["K01", "K02", "K03", "K04"]
    assert "Washing 2 h within the working hours, drying 14 h by night and day." in part


def test_drying_without_washing_is_told_as_such():
    html = page(planned(one_way=True, wash_hours=0, dry_hours=14))[2]
    assert "No time for washing, drying 14 h by night and day." in html
    assert "Washing 0 h" not in html


def test_no_washing_no_table_and_the_way_back_is_told():
    assert "Between the conditions" not in page(planned(one_way=True))[2]
    assert "back to the condition before 30 h." in page(planned("crossover", dry_hours=2, back_hours=30))[2]


def test_without_a_difference_it_says_so():
    assert "no difference that matters was fixed" in page(planned(one_way=True))[2]


class Tags(HTMLParser):
    def __init__(self):
        super().__init__()
        self.open, self.seen = [], []

    def handle_starttag(self, tag, attrs):
        self.seen.append((tag, dict(attrs)))
        if tag not in ("meta", "br", "img"):
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag


def test_text_stays_text_and_nothing_is_loaded():
    settings = planned("independent", ("<b>K1</b>", "K&2", '"K3"', "K4"), reference="<script>alert(1)</script>")
    settings = replace(settings, trial=replace(settings.trial, question="a < b </title><script>", note="<i>"))
    _, _, html = page(settings)
    tags = Tags()
    tags.feed(html)
    assert tags.open == []
    names = {tag for tag, _ in tags.seen}
    assert not names & {"script", "b", "i", "img", "link", "iframe"}
    assert not [a for _, a in tags.seen if {"src", "href", "onclick"} & set(a)]
    assert "url(" not in html
    assert "&lt;b&gt;K1&lt;/b&gt;" in html
