"""The same work as last time, asked for by the words that ``due`` prints; and the tools for it."""

from __future__ import annotations

import shlex
from datetime import date
from fractions import Fraction

import pytest

from ledger.checks.say import exactly
from ledger.deadlines import Sort
from ledger.flow.due import what_is_due
from ledger.flow.preparing import Prepared, prepare
from ledger.flow.recording import record_sheet
from ledger.preparing.wish import AGAIN
from tests.cases import q
from tests.cli_use import use
from tests.day_sheets import sheet
from tests.plans import texts
from tests.workspaces import sample_workspace

NEW = {"product": "ridgeline-dust", "site": "S0001", "applicator": "renner", "date": "2026-07-20"}


@pytest.fixture
def firm(tmp_path):
    made = sample_workspace(tmp_path / "firm")
    lines = (
        {"date": "2026-01-05", "pests": "spiders", "extent": "90 ft", "avoided": "none present"},
        {"date": "2026-01-15", "prepared": "fans off", "equipment": "duster-a"},
        {"date": "2026-01-15", "start": "10:00", "end": "10:30", "method": "void",
         "setting": "indoor", "places": "wall void", "extent": "6 voids", "amount": "0.2 oz"},
    )  # fmt: skip
    for number, line in enumerate(lines):
        (done,) = record_sheet(made, f"{number}.csv", sheet(line), "renner").outcomes
        assert done.line.state == "booked"
    return made


def planned(firm, **said):
    found = prepare(firm, NEW | {name.replace("_", " "): text for name, text in said.items()})
    assert isinstance(found, Prepared), found
    return found.plan


def test_the_same_again_is_the_work_of_the_newest_line_that_agrees_with_what_was_said(firm):
    made = planned(firm, setting="at structure", **{AGAIN: "yes"})
    assert (made.use.method, made.use.places) == (
        "crack and crevice",
        ("door frame",),
    )
    assert (made.use.pests, made.use.extent.text) == (("ants",), "100 ft")
    assert made.use.equipment == "duster-a"
    told = texts(made, "On file")
    assert "extent: 100 ft, as recorded here on 2026-01-15 (--extent says another)" in told
    spiders = planned(firm, pests="spiders", **{AGAIN: "yes"})
    assert spiders.use.extent.text == "90 ft"
    assert planned(firm, **{AGAIN: "yes"}).use.extent.text == "6 voids"  # the newest of all


def test_what_was_said_stays_and_what_that_day_alone_knew_is_asked_anew(firm):
    made = planned(firm, setting="at structure", extent="40 ft", **{AGAIN: "yes"})
    assert (made.use.extent.text, made.use.places) == ("40 ft", ())  # no such work was done
    assert "nothing like it was done here before: --again takes nothing" in texts(made, "On file")
    made = planned(firm, setting="at structure", **{AGAIN: "yes"})
    assert (made.use.avoided_said, made.use.prepared, made.use.weather.wind) == ("blank", (), None)


def test_without_being_asked_no_place_and_no_pest_is_taken(firm):
    made = planned(firm)
    assert (made.use.places, made.use.pests, made.use.extent.text) == ((), (), "")
    none = planned(firm, product="marsh-gel", **{AGAIN: "yes"})
    assert none.use.places == ()
    assert any("--again takes nothing" in text for text in texts(none, "On file"))


def test_the_command_that_due_prints_plans_the_same_work(firm):
    revisits = [
        item for item in what_is_due(firm, date(2026, 7, 20), 0) if item.sort is Sort.REVISIT
    ]
    commands = [item.command for item in revisits]
    assert commands == [
        f'useledger prepare 99999-11 --at S0001 --applicator renner --setting "{setting}" --again'
        for setting in ("at structure", "indoor")
    ]
    root = firm.root
    firm.store.close()
    first, second = (
        use(*shlex.split(text)[1:], "--date", "2026-07-20", root=root) for text in commands
    )
    assert first.out.startswith("ALLOWED")
    assert "crack and crevice; at structure; door frame; 100 ft" in first.out
    assert second.out.startswith("CANNOT TELL")  # what of the moving air, this time?
    assert "--avoided" in second.out


def test_a_plan_blames_no_spacing_on_an_amount_that_nobody_asked_about(firm):
    made = planned(firm, setting="at structure", **{AGAIN: "yes"})
    assert not any("gave a puff every" in text for text in texts(made, "Advice"))
    asked = planned(firm, setting="at structure", amount="0.1 oz", **{AGAIN: "yes"})
    assert any("by its weighing duster-a gave" in text for text in texts(asked, "Advice"))
    counted = planned(firm, setting="at structure", amount="20 puffs", **{AGAIN: "yes"})
    assert any("by the count of its puffs duster-a" in text for text in texts(counted, "Advice"))


def test_the_customers_paper_can_be_that_of_the_same_work(firm):
    firm.store.close()
    done = use(
        "notice", "--before", "ridgeline-dust", "--at", "S0001", "--applicator", "renner",
        "--setting", "indoor", "--again", "--date", "2026-07-20", "--json", root=firm.root,
    )  # fmt: skip
    lines = {item["heading"]: item["texts"] for item in done.json["lines"]}
    assert (lines["Where"], lines["Against"]) == (["wall void"], ["ants"])
    assert ".;" not in done.err
    assert "leaves open: " in done.err


def test_a_mix_is_exact_where_its_digits_end():
    assert exactly(q(15, "mL")) == "exactly 15 mL"
    assert exactly(q("7.3934", "mL")) == "exactly 7.3934 mL"
    assert exactly(q(Fraction(1, 3), "fl oz")) == "about 0.3333 fl oz"


# --- the tools -----------------------------------------------------------------------------------


def test_tools_are_listed_with_their_newest_weighing_and_its_age(firm, monkeypatch):
    monkeypatch.setenv("COLUMNS", "160")  # so that no cell is broken
    firm.store.close()
    path = firm.root / "useledger.toml"
    text = path.read_text(encoding="utf-8")
    newer = '[[tool.calibration]]\non = 2026-06-01\nproduct = "ridgeline-dust"\ngives = "0.12 g"\n'
    first = text.index("[[tool.calibration]]")
    path.write_text(text[:first] + newer + 'per = "puff"\n\n' + text[first:], encoding="utf-8")

    def row(on):
        rows = use("people", "tools", "--on", on, "--json", root=firm.root).json["tools"]
        return next(row for row in rows if row["key"] == "duster-a")

    assert (row("2026-05-31")["gives"], row("2026-06-01")["gives"]) == (
        "0.11 g a puff", "0.12 g a puff",
    )  # fmt: skip
    assert row("2027-06-01")["state"] == "holds"  # a year to the day
    assert row("2027-06-02")["state"] == "older than a year: weigh it again"
    assert row("2026-01-01")["state"] == "not weighed yet"
    shown = use("people", "tools", "--on", "2026-06-01", root=firm.root)
    assert shown.code == 0
    assert "0.12 g a puff" in shown.out
    assert "no calibration" in shown.out
    path.write_text(text[: text.index("[[tool]]")], encoding="utf-8")
    assert "write it as [[tool]]" in use("people", "tools", root=firm.root).out


def test_a_label_is_told_with_how_long_it_lasts(firm):
    firm.store.close()
    shown = use("rules", "show", "ridgeline-dust", root=firm.root)
    assert "lasts 6 to 8 months (common practice, no source)" in shown.out
