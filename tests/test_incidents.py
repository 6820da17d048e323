"""Incidents: recorded as they were, the caution first, the clocks of the place where read."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, date, datetime, time
from fractions import Fraction

import pytest
from click.testing import CliRunner

from ledger.audit import Topic
from ledger.cli import main
from ledger.flow.audit_scope import Scope
from ledger.flow.auditing import audit
from ledger.flow.incidents import IncidentWish, list_incidents, record_incident
from ledger.flow.recording import record_sheet
from ledger.flow.workspace import WorkspaceProblem
from ledger.rulebook.model import Incident, Read
from ledger.values.amount import Quantity
from ledger.values.finding import RuleRef
from tests.day_sheets import sheet
from tests.workspaces import SetClock, sample_workspace

DAY = date(2026, 1, 14)


@pytest.fixture
def firm(tmp_path):
    return sample_workspace(tmp_path / "firm", clock=SetClock(datetime(2026, 1, 22, 3, tzinfo=UTC)))


def wish(**more):
    fields = {
        "kind": "spill", "day": DAY, "at": time(10, 20), "by": "renner",
        "what": "M. Okafor's jar broke", "done": "swept up and bagged", **more,
    }  # fmt: skip
    return IncidentWish(**fields)


def with_law(firm, **more):
    """Give the firm's home a duty on spills: invented, in the shape of the rule files."""
    ref = RuleRef("jurisdictions/us-ca.toml", 7, "incident[1]", "an invented section")
    rule = Incident(
        "spill", "report a spill", Quantity(Fraction(24), "h"), "the agency", "within a day", ref,
        Read.REGULATION, (Quantity(Fraction(1), "lb"), Quantity(Fraction(1), "gal")),
    )  # fmt: skip
    files = tuple(
        replace(file, incidents=(replace(rule, **more),) if file.id == "us-ca" else ())
        for file in firm.book.jurisdictions
    )
    firm.book = replace(firm.book, jurisdictions=files)


def test_what_people_say_stands_in_the_private_part_only(firm):
    done = record_incident(firm, wish(people="M. Okafor, dust in the eye", where="the kitchen"))
    assert "Okafor" not in done.entry.text
    assert "kitchen" not in done.entry.text
    assert json.loads(done.entry.private)["people"] == "M. Okafor, dust in the eye"


def test_without_a_law_on_file_it_says_so(firm):
    files = tuple(replace(file, incidents=()) for file in firm.book.jurisdictions)
    firm.book = replace(firm.book, jurisdictions=files)
    record_incident(firm, wish())
    (item,) = [one for one in audit(firm, Scope()).items if one.topic is Topic.INCIDENTS]
    assert "law not read for us-ca" in item.text
    assert not item.owed


@pytest.mark.parametrize(
    ("amount", "reached"),
    [("17 oz", True), ("", None), ("1.5 lb", True), ("2 gal", True), ("1 lb", None)],
)
def test_a_threshold_is_reached_only_above_it_and_untold_is_not_under_it(firm, amount, reached):
    """A weight says nothing of the threshold in gallons: under the one in pounds, untold."""
    with_law(firm)
    assert record_incident(firm, wish(amount=amount)).clocks[0].reached is reached


def test_under_every_threshold_is_not_reached_and_no_threshold_always_is(firm):
    with_law(firm, more_than=(Quantity(Fraction(1), "lb"),))
    assert record_incident(firm, wish(amount="3 oz")).clocks[0].reached is False
    with_law(firm, more_than=())
    assert record_incident(firm, wish()).clocks[0].reached is True


def test_a_clock_of_hours_runs_from_the_time_of_day(firm):
    with_law(firm)
    assert "by 10:20 on 15 January 2026" in record_incident(firm, wish()).clocks[0].ends
    unknown = record_incident(firm, wish(at=None)).clocks[0].ends
    assert "counted from its beginning" in unknown


def test_a_site_gives_the_place_of_law_and_the_scope(firm):
    record_sheet(firm, "day.csv", sheet({}), "renner")
    done = record_incident(firm, wish(site="S0001"))
    assert (done.entry.body["jurisdiction"], done.entry.body["county"]) == ("us-ca", "Placer")
    shown = audit(firm, Scope(site="S0001")).items
    assert any(one.topic is Topic.INCIDENTS for one in shown)
    other = audit(firm, Scope(product_key="99999-12")).items
    assert not any(one.topic is Topic.INCIDENTS for one in other)


def test_what_says_too_little_is_refused(firm):
    for more in ({"what": " "}, {"done": ""}, {"day": date(2027, 1, 1)}, {"amount": "some"},
                 {"site": "S9999"}):  # fmt: skip
        with pytest.raises(WorkspaceProblem):
            record_incident(firm, wish(**more))
    assert list_incidents(firm) == ()


def test_the_command_says_the_caution_first_with_the_numbers_to_call(firm):
    at = ["--workspace", str(firm.root)]
    given = ["record", "property-damage", "--on", "2026-01-14", "--what", "a stain", "--done", "x"]
    done = CliRunner().invoke(main, ["incident", *given, "--by", "renner", *at])
    assert done.exit_code == 0, done.output
    first = done.stderr.splitlines()
    assert "911" in first[0]
    # poisonhelp.hrsa.gov; EPA publication 9285.1-04 for the National Response Center
    assert "1-800-222-1222" in first[1]
    assert "1-800-424-8802" in first[2]
    assert "property damage" in done.stdout
    listed = CliRunner().invoke(main, ["incident", "--json", *at])
    assert [one["incident"] for one in json.loads(listed.stdout)] == ["property damage"]
    bad = ["record", "leak", "--on", "2026-01-14", "--what", "a", "--done", "x", "--by", "renner"]
    assert CliRunner().invoke(main, ["incident", *bad, *at]).exit_code == 2
