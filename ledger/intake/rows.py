"""What both kinds of sheet share: headings, rows, and the visit that repeats downwards."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches

from ledger.intake.restore import Restored, restore_zip, tidy
from ledger.values.draft import (
    APPLICATION_HEADINGS,
    OBSERVATION_HEADINGS,
    VISIT_COLUMNS,
    VISIT_IDENTITY,
    Draft,
)
from ledger.values.finding import Fault
from ledger.values.origin import Cell, Origin

MAX_ROWS = 100_000
"""More rows than a firm writes in years; a longer sheet is refused before it fills the memory."""

LONGEST_HEADING = 200
"""No heading is nearly as long; the rest of such a text is not looked at."""

MAX_FAULTS_OF_HEADINGS = 40
"""A file that is no day sheet could have thousands of headings; the first ones say enough."""


@dataclass(frozen=True, slots=True)
class Layout:
    """The headings of one kind of sheet: known, needed, and those that repeat downwards."""

    known: tuple[str, ...]
    needed: tuple[str, ...]
    identity: tuple[str, ...]
    repeats: tuple[str, ...]


APPLICATIONS = Layout(
    APPLICATION_HEADINGS, ("date", "applicator", "product", "amount"), VISIT_IDENTITY, VISIT_COLUMNS
)
OBSERVATIONS = Layout(
    OBSERVATION_HEADINGS, ("date", "condition"), ("date", "address", "site"),
    ("date", "address", "site"),
)  # fmt: skip
PLACE_HEADINGS = ("address", "site")


@dataclass(frozen=True, slots=True)
class Row:
    """One non-blank row before the visit is repeated.

    ``shifted`` says that its cells may stand under the wrong headings, so that nothing may be
    repeated from it unsaid.
    """

    origin: Origin
    cells: Mapping[str, Cell] = field(hash=False)
    typed: Mapping[str, str] = field(hash=False)
    faults: tuple[Fault, ...] = ()
    shifted: bool = False


def fold_heading(text: str) -> str:
    """Return a heading as headings are compared: lower case, without any space."""
    return "".join(tidy(text[:LONGEST_HEADING]).casefold().split())


_SPELT = {
    layout.known: {fold_heading(heading): heading for heading in layout.known}
    for layout in (APPLICATIONS, OBSERVATIONS)
}


def count_known(texts: Iterable[str], layout: Layout = APPLICATIONS) -> int:
    """Return how many of the texts are headings of that layout."""
    spelt = _SPELT[layout.known]
    return sum(fold_heading(text) in spelt for text in texts)


def read_headings(
    texts: Sequence[str], layout: Layout, place: Callable[[int], Origin]
) -> tuple[dict[int, str], tuple[Fault, ...]]:
    """Return heading by column index (from 0), and every fault of the header line at once.

    ``place(index)`` tells where the heading of that column stands.
    """
    filled = [index for index, text in enumerate(texts) if fold_heading(text)]
    known = count_known(texts, layout)
    if known < 2 or known * 3 < len(filled):
        first = tidy(texts[filled[0]][:LONGEST_HEADING])[:40] if filled else ""
        return {}, (
            Fault(
                "SHEET-NO-HEADER", place(filled[0] if filled else 0),
                f"the first line is not a header line (it begins with {first!r})",
                f"put the headings first: {', '.join((*layout.needed, 'address'))} and so on",
            ),
        )  # fmt: skip
    spelt = _SPELT[layout.known]
    columns: dict[int, str] = {}
    faults: list[Fault] = []
    for index in filled:
        heading = spelt.get(fold_heading(texts[index]))
        if heading is None:
            faults.append(_unknown(tidy(texts[index][:LONGEST_HEADING])[:60], layout, place(index)))
        elif heading in columns.values():
            faults.append(
                Fault(
                    "SHEET-HEADING-TWICE", place(index), f"the heading {heading!r} stands twice",
                    "keep one of the two columns",
                )
            )  # fmt: skip
        else:
            columns[index] = heading
    faults.extend(_absent(set(columns.values()), layout, place(0)))
    return columns, tuple(faults[:MAX_FAULTS_OF_HEADINGS])


def _unknown(text: str, layout: Layout, origin: Origin) -> Fault:
    spelt = _SPELT[layout.known]
    near = get_close_matches(fold_heading(text), spelt, n=1, cutoff=0.5)
    hint = f"did you mean {spelt[near[0]]!r}? " if near else ""
    return Fault(
        "SHEET-HEADING", origin, f"unknown heading {text!r}",
        f"{hint}Rename the column or leave it out; the headings are: {', '.join(layout.known)}",
    )  # fmt: skip


def _absent(present: set[str], layout: Layout, origin: Origin) -> list[Fault]:
    missing = [heading for heading in layout.needed if heading not in present]
    if not present.intersection(PLACE_HEADINGS):
        missing.append("address (or site)")
    if not missing:
        return []
    where = Origin(origin.file, origin.row, None, None, origin.page)
    return [
        Fault(
            "SHEET-HEADING-MISSING", where,
            f"the header line lacks: {', '.join(missing)}", "add the columns",
        )
    ]  # fmt: skip


def no_lines(name: str) -> Fault:
    """Return the fault of a sheet that has headings and nothing below them."""
    return Fault(
        "SHEET-NO-LINES", Origin(name), "the sheet has no lines below its headings",
        "fill in the sheet and save it before handing it in",
    )  # fmt: skip


def too_many_rows(name: str) -> Fault:
    """Return the fault of a sheet with more rows than are read."""
    return Fault(
        "SHEET-TOO-LARGE", Origin(name), f"the sheet has more than {MAX_ROWS} lines",
        "hand it in as several sheets",
    )  # fmt: skip


def as_fault(restored: Restored, origin: Origin) -> Fault | None:
    """Return the doubt about a cell as a fault that names the cell, or None without a doubt."""
    if not restored.doubt:
        return None
    named = f"cell {origin.cell}: {restored.doubt}" if origin.cell else restored.doubt
    return Fault(restored.code, origin, named, restored.way_out)


def settle(rows: Iterable[Row], layout: Layout) -> tuple[Draft, ...]:
    """Return the rows as drafts, see :func:`settled`."""
    return tuple(settled(rows, layout))


def settled(rows: Iterable[Row], layout: Layout) -> Iterator[Draft]:
    """Yield the rows as drafts: ZIP zeros put back, blank visit columns filled from above.

    A row belongs to the visit above when each identity cell that it fills equals the one above
    (spaces at the ends and case ignored). What is repeated keeps its origin.
    """
    first, above = True, _Above({}, {}, None)
    for row in rows:
        cells, faults = _with_zip(row, above.cells)
        bad: dict[str, Origin] = {f.origin.column: f.origin for f in faults if f.origin.column}
        shifted = row.origin if row.shifted else None
        if not first and _same_visit(cells, above.cells, layout):
            repeated = [h for h in layout.repeats if h not in row.cells]
            faults += _doubts_above(row.origin, repeated, above)
            shifted = shifted or above.shifted
            for heading in repeated:
                if heading in above.cells:
                    cells[heading] = above.cells[heading]
                if heading in above.bad:
                    bad[heading] = above.bad[heading]
        yield Draft(row.origin, cells, row.typed, faults)
        first, above = False, _Above(cells, bad, shifted)


@dataclass(frozen=True, slots=True)
class _Above:
    """The line above, as far as it is repeated: cells, its unreadable ones, whether shifted."""

    cells: Mapping[str, Cell]
    bad: Mapping[str, Origin]
    shifted: Origin | None


def _same_visit(cells: Mapping[str, Cell], above: Mapping[str, Cell], layout: Layout) -> bool:
    for heading in layout.identity:
        here = cells.get(heading)
        if here is not None and not _equal(here, above.get(heading)):
            return False
    return True


def _equal(one: Cell, other: Cell | None) -> bool:
    if other is None:
        return False
    return one.text == other.text or _as_compared(one.text) == _as_compared(other.text)


def _as_compared(text: str) -> str:
    return text.strip().casefold()


def _with_zip(row: Row, above: Mapping[str, Cell]) -> tuple[dict[str, Cell], tuple[Fault, ...]]:
    """Return the row's cells and faults after the zeros of its ZIP code are put back."""
    cells = dict(row.cells)
    typed = cells.get("zip")
    if typed is None or any(fault.origin.column == "zip" for fault in row.faults):
        return cells, row.faults
    state = cells.get("state") or above.get("state")
    restored = restore_zip(typed.text, state.text if state else "")
    if restored.how:
        cells["zip"] = Cell(restored.text, typed.origin, restored.how)
    fault = as_fault(restored, typed.origin)
    return cells, (*row.faults, fault) if fault else row.faults


def _doubts_above(here: Origin, repeated: Sequence[str], above: _Above) -> tuple[Fault, ...]:
    """Return why this line cannot rest on what it repeats, if the line above is in doubt."""
    if above.shifted is not None:
        return (
            Fault(
                "CELL-REPEATED", here,
                f"the blank visit columns repeat line {above.shifted.row}, whose cells may stand"
                " under the wrong headings",
                f"put line {above.shifted.row} right, or fill in the visit on this line",
            ),
        )  # fmt: skip
    return tuple(
        Fault(
            "CELL-REPEATED", Origin(here.file, here.row, heading, None, here.page),
            f"repeats {from_.cell or f'line {from_.row}'}, which could not be read",
            "put that cell right, or fill in this one",
        )
        for heading in repeated
        if (from_ := above.bad.get(heading)) is not None
    )  # fmt: skip
