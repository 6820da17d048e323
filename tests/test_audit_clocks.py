"""The clocks that begin when a record is written: copies to customers, handing it over."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from ledger.audit import Item, Weight
from ledger.flow.audit_scope import Scope
from ledger.flow.auditing import audit
from ledger.flow.noticing_after import Handing, give_after
from ledger.flow.recording import record_sheet
from ledger.flow.workspace import Workspace, read_rules
from ledger.notice import Extra
from tests.day_sheets import sheet
from tests.workspaces import SetClock, sample_workspace

RESTRICTED = {
    "product": "granite-powder", "amount": "1 oz", "method": "void", "setting": "indoor",
    "places": "wall void", "prepared": "void closed", "pests": "mice", "extent": "6 voids",
    "date": "2026-01-20",
}  # fmt: skip
COPY = "restricted-copy"
# 7 USC 136i-1(c), read in the statute's text: within 30 days of the application, a copy to the
# person for whom it was made. 20 January and 30 days is the end of 19 February, in California.
LAST = datetime(2026, 2, 20, 7, 59, tzinfo=UTC)
AFTER = datetime(2026, 2, 20, 8, 1, tzinfo=UTC)


@pytest.fixture
def firm(tmp_path: Path) -> Workspace:
    return sample_workspace(tmp_path / "firm", clock=SetClock(datetime(2026, 1, 22, 3, tzinfo=UTC)))


def at(firm: Workspace, moment: datetime) -> None:
    firm.clock.moment = moment  # type: ignore[attr-defined]


def about_copies(firm: Workspace) -> list[Item]:
    return [item for item in audit(firm, Scope()).items if item.name.endswith(COPY)]


def book(firm: Workspace, **changes: str) -> int:
    done = record_sheet(firm, "day.csv", sheet({**RESTRICTED, **changes}), "renner")
    return done.outcomes[0].seq or 0


def give(firm: Workspace, seq: int, state: str = "given") -> None:
    handing = Handing(state, "by hand")
    give_after(firm, str(seq), (Extra(), handing), lambda made: b"a page", "renner")


def test_a_copy_not_given_in_thirty_days_is_a_breach_that_stays_owed(firm: Workspace) -> None:
    seq = book(firm)
    at(firm, LAST)
    assert about_copies(firm) == []
    at(firm, AFTER)
    (item,) = about_copies(firm)
    assert (item.name, item.weight) == (f"not-given-{COPY}", Weight.BREACH)
    assert (item.entry, item.to_do, item.rules[0].file) == (
        seq, True, "jurisdictions/us-federal.toml",
    )  # fmt: skip
    assert f"useledger notice --after {seq}" in item.way_out
    give(firm, seq)
    (item,) = about_copies(firm)
    assert (item.name, item.to_do) == (f"late-{COPY}", False)
    assert "2026-02-20 00:0" in item.text


@pytest.mark.parametrize("state", ["given", "refused", "waived"])
def test_a_copy_given_or_refused_in_time_is_in_time_for_ever(firm: Workspace, state: str) -> None:
    seq = book(firm)
    at(firm, datetime(2026, 2, 1, 12, tzinfo=UTC))
    give(firm, seq, state)
    at(firm, AFTER)
    assert about_copies(firm) == []


def test_the_day_sheets_own_word_and_other_products_owe_no_copy(firm: Workspace) -> None:
    book(firm, notice="both")
    record_sheet(firm, "other.csv", sheet({"date": "2026-01-20", "line": "2"}), "renner")
    at(firm, AFTER)
    assert about_copies(firm) == []


HAND_OVER = """
[[deadline]]
name = "to-business"
what = "hand the record in"
within = "5 business days"
source = "{source}"
about = "handover"
who = "the applicator"
to = "the business"

[[deadline]]
name = "to-school"
what = "give the record"
within = "2 business days"
source = "{source}"
about = "handover"
who = "the applicator"
to = "the school district"

[[deadline]]
name = "to-agency"
what = "tell the agency"
within = "2 business days"
source = "{source}"
about = "notice"
who = "the firm"
to = "the department"

[[deadline]]
name = "on-demand"
what = "show the record"
within = "1 day"
source = "{source}"
about = "request"
counted_from = "request"
who = "the firm"
to = "the department"
"""


def test_handing_over_is_judged_where_the_ledger_can_see_it(firm: Workspace) -> None:
    path = firm.root / "rules" / "jurisdictions" / "us-ca.toml"
    path.parent.mkdir(exist_ok=True)
    shipped = Path(__file__).parents[1] / "rules" / "jurisdictions" / "us-ca.toml"
    path.write_text(shipped.read_text() + HAND_OVER.format(source="fumigation"))
    firm.book = read_rules(firm.root)  # type: ignore[misc]
    assert firm.book.faults == ()
    at(firm, datetime(2026, 1, 28, 12, tzinfo=UTC))
    book(firm)
    found = {item.name: item.weight for item in audit(firm, Scope()).items}
    # Sealed on Wednesday the 28th; five business days after Tuesday the 20th end with the 27th.
    assert found["late-to-business"] is Weight.BREACH
    assert found["not-given-to-school"] is Weight.BREACH
    assert found["not-known-to-agency"] is Weight.UNKNOWN
    assert not [name for name in found if "on-demand" in name]
