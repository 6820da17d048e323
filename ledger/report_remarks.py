"""What is said under a use report: what was counted, rounded, left out, or could not be told."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from ledger.rulebook.form_model import Form
from ledger.values.rounding import exact_text, fixed, shows
from ledger.values.summary import Remark, Summary, UseLine

CANNOT_TELL = "cannot tell"
_WHAT = {"lines": "one line of a day sheet (one product put down by one method)", "visits":
         "one visit on which the product was used"}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Synergist:
    """An ingredient that a label marks as a synergist, in one line; pounds None if untold."""

    line: UseLine
    name: str
    pounds: Fraction | None


@dataclass(frozen=True, slots=True)
class Doubts:
    """What a summary does not hold itself: synergists, lines without a label, strange counties."""

    synergists: tuple[Synergist, ...] = ()
    unread: tuple[UseLine, ...] = ()
    unregistered: tuple[str, ...] = ()


def remarks(summary: Summary, form: Form, doubts: Doubts) -> tuple[Remark, ...]:
    """Return every remark of a summary: first what concerns a line, then how the form counts."""
    return (
        *_left_out(summary),
        *_untold(summary),
        *(_unread(line) for line in doubts.unread),
        *(_synergist(item, summary.pound_places) for item in doubts.synergists),
        *_lines(summary),
        *(
            Remark(
                f"{county}: work was done in this county, and the firm file names no registration "
                f"there for {summary.period.year}.",
                county=county,
            )
            for county in doubts.unregistered
        ),
        *_method(form),
        *(Remark(text) for text in form.remarks),
    )


def _left_out(summary: Summary) -> Iterator[Remark]:
    for line in summary.left_out:
        applications = "" if line.applications is None else f", applications: {line.applications}"
        yield Remark(
            f"{line.product}: {fixed(line.total, summary.places)} {line.unit}{applications}. "
            "In the ledger, and by its class not on a line of this report.",
            county=line.county,
        )


def _untold(summary: Summary) -> Iterator[Remark]:
    for line in summary.lines:
        if line.pounds is None:
            yield Remark(
                f"{line.product}, {line.registration or 'no registration number'}: pounds "
                f"{CANNOT_TELL}; it is measured, and neither its label nor the form says what it "
                "weighs. Pounds of its ingredients are not in any total.",
                county=line.county,
            )
        if line.applications is None:
            yield Remark(
                f"{line.product}: number of applications {CANNOT_TELL}; the form counts visits.",
                county=line.county,
            )
    for use in summary.ingredients:
        if use.pounds is None:
            least = fixed(use.known, summary.pound_places)
            yield Remark(
                f"{use.ingredient}: pounds {CANNOT_TELL}, at least {least} lb.", county=use.county
            )


def _unread(line: UseLine) -> Remark:
    return Remark(
        f"{line.product}: a label behind this line could not be read, so its active ingredients "
        "are not all told.",
        county=line.county,
    )


def _synergist(item: Synergist, places: int) -> Remark:
    pounds = CANNOT_TELL if item.pounds is None else f"{fixed(item.pounds, places)} lb"
    return Remark(
        f"{item.name} in {item.line.product} is a synergist by its label ({pounds}) and not "
        "counted among the active ingredients.",
        county=item.line.county,
    )


def _lines(summary: Summary) -> Iterator[Remark]:
    for line in summary.lines:
        if line.total and not shows(line.total, summary.places):
            yield Remark(
                f"{line.product}: more than nothing was used, {exact_text(line.total)} "
                f"{line.unit} exactly, which the places of this report do not show.",
                county=line.county,
            )
        if len(line.labels) > 1:
            yield Remark(
                f"{line.product}: {len(line.labels)} versions of the label are behind this line; "
                "ingredients are worked out by each.",
                county=line.county,
            )


def _method(form: Form) -> Iterator[Remark]:
    mark = "" if form.counts_read.decides else f" ({form.counts_read})"
    yield Remark(f"One application is {_WHAT[form.counts]}{mark}.")
    yield Remark(
        f"Totals are added exactly and rounded once, half to even, to {form.places} decimal "
        "places; no text read asks for another rounding."
    )
