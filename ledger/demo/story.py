"""What the demonstration does after handing the sheets in, and what it means to show."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

from ledger.values.finding import Kind


@dataclass(frozen=True, slots=True)
class Mending:
    """A line to be put right: which one, the new values by heading, why, and who says so."""

    sheet: str
    line: str
    changes: Mapping[str, str] = field(hash=False)
    because: str
    by: str


@dataclass(frozen=True, slots=True)
class Teaching:
    """A training, and the first lines that its person works under a supervisor's eyes.

    ``on`` is the day of the training, recorded by ``by``; ``work`` the day whose lines the
    ``trainer`` signs off the same evening.
    """

    person: str
    on: date
    trainer: str
    title: str
    topics: tuple[str, ...]
    by: str
    work: date
    note: str


@dataclass(frozen=True, slots=True)
class Intended:
    """A finding that the month was written to give: which line, its kind, what it shows."""

    sheet: str
    line: str
    kind: Kind
    shows: str


@dataclass(frozen=True, slots=True)
class DemoStory:
    """The plot of the demonstration.

    ``teach`` is a training and the work signed off after it. ``fix`` is the held line and its
    cure, ``amend`` the booked line with a slip of the pen and its correction. ``period`` is the
    month that is filed, ``idle`` the month and county without work. ``intended`` lists every
    breach, missing and unknown finding of the month before the amendment, none more.
    """

    teach: Teaching
    fix: Mending
    amend: Mending
    period: str
    idle: tuple[str, str]
    intended: tuple[Intended, ...]


_SLIP = "day-2026-01-26-renner.csv"


def story() -> DemoStory:
    """Return the plot: a trainee, one held line, one amendment, findings, one idle county."""
    return DemoStory(
        teach=Teaching(
            person="aster",
            on=date(2026, 1, 5),
            trainer="renner",
            title="Before the first job: labels, baits, gloves and washing",
            topics=("reading a label", "keeping baits from food", "gloves and washing"),
            by="calloway",
            work=date(2026, 1, 9),
            note="stood beside, and went through the placements with the trainee",
        ),
        fix=Mending(
            sheet="day-2026-01-22-renner.csv",
            line="2",
            changes={"amount": "1.5 oz"},
            because="a dust is weighed: the container on the shop's scale is 1.5 oz lighter",
            by="renner",
        ),
        amend=Mending(
            sheet=_SLIP,
            line="2",
            changes={"amount": "0.25 oz"},
            because="slip of the pen: the duster was filled once, 2.5 oz was meant to be 0.25 oz",
            by="renner",
        ),
        period="2026-01",
        idle=("2026-02", "Nevada"),
        intended=(
            Intended("day-2026-01-13-marsh.csv", "1", Kind.BREACH, "3 lb of granules on 800 sq ft"),
            Intended(
                "day-2026-01-20-renner.csv", "1", Kind.BREACH, "dusted again after eight days"
            ),
            Intended(
                "day-2026-01-21-renner.csv", "1", Kind.UNKNOWN, "the length of the gap not said"
            ),
            Intended(_SLIP, "2", Kind.BREACH, "2.5 oz in 8 voids, a slip of the pen"),
        ),
    )
