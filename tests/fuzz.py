"""Coverage-guided fuzzing of what reads strangers' bytes: sheets, lines, amounts, rule files.

Not a test by itself: ``python -m tests.fuzz sheet -max_total_time=300`` runs one target with
atheris (``pip install atheris``), beginning with good inputs (``seeds``). A reader may refuse
anything, as faults; what it may never do is raise, or take more than a few seconds. What a run
finds becomes a case of ``test_hostile.py``.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ledger.values.draft import Draft

SECONDS = 10
"""The longest that one small input may take, of the processor: a busy machine is no fault."""


def read_any_sheet(data: bytes) -> None:
    """Read bytes as a day sheet and normalise every line of it."""
    from ledger.intake import read_sheet

    sheet = read_sheet("fuzz.csv", data, month_first=True)
    assert isinstance(sheet.drafts, tuple)
    for draft in sheet.drafts:
        normalise(draft)


def read_any_line(data: bytes) -> None:
    """Read bytes as the cells of one line, beside good ones, and normalise it.

    Each row of the text is a cell: its first character says which heading, the rest stands there.
    """
    from ledger.values.draft import APPLICATION_HEADINGS
    from tests.lines import draft

    text = data.decode("utf-8", "replace")
    headings = tuple(APPLICATION_HEADINGS)
    rows = [row for row in text.split("\n") if row]
    normalise(draft({headings[ord(row[0]) % len(headings)]: row[1:] for row in rows}))


def normalise(draft: Draft) -> None:
    """Normalise a line among the invented firm's words: understood, or held with its faults."""
    from ledger.normalise.line import normalise_line
    from ledger.seal import canonical
    from ledger.values.body import application_body, application_from
    from tests.lines import LEXICON, UNITS, finder

    found = normalise_line(draft, LEXICON, UNITS, finder())
    assert found.application is not None or found.faults
    if found.application is not None:
        body, private = application_body(found.application)
        canonical(body)
        assert application_from(body, private) == found.application


def read_any_amount(data: bytes) -> None:
    """Read bytes as a number and as an amount of a dust."""
    from ledger.numbers import read_number, read_quantity
    from ledger.values.origin import Origin
    from tests.lines import UNITS

    text = data.decode("utf-8", "surrogateescape")
    origin = Origin("fuzz", 1)
    number = read_number(text, origin)
    assert (number.value is None) == bool(number.faults)
    quantity = read_quantity(text, UNITS, origin)
    assert (quantity.value is None) == bool(quantity.faults)


def read_any_rules(data: bytes) -> None:
    """Read bytes as a label file among the shipped files."""
    from ledger.rulebook.reading import read_book
    from ledger.rulefile import kept_files

    read_book(kept_files({"labels/fuzz.toml": data}))


TARGETS: dict[str, Callable[[bytes], None]] = {
    "sheet": read_any_sheet,
    "line": read_any_line,
    "amount": read_any_amount,
    "rules": read_any_rules,
}


def timed(target: Callable[[bytes], None]) -> Callable[[bytes], None]:
    """Return the target with a limit of time, as a failure."""

    def run(data: bytes) -> None:
        begun = time.process_time()
        target(data)
        assert time.process_time() - begun < SECONDS, "too slow"

    return run


def seeds(name: str) -> tuple[bytes, ...]:
    """Return good inputs of a target, to begin with: chance alone finds no heading."""
    from ledger.rulefile import shipped_rules
    from ledger.values.draft import APPLICATION_HEADINGS
    from tests.day_sheets import GOOD, sheet
    from tests.lines import CELLS

    headings = tuple(APPLICATION_HEADINGS)
    letters = {heading: chr(32 + (at - 32) % len(headings)) for at, heading in enumerate(headings)}
    cells = "\n".join(letters[heading] + text for heading, text in CELLS.items())
    amounts = ("0.5 oz", "1/2 oz", "\u00bd oz", "1 lb 10 oz", "1-1/2 pt", "212.4 g - 198.1 g")
    found: dict[str, tuple[bytes, ...]] = {
        "sheet": (sheet(GOOD), sheet(GOOD, {"amount": "10 mph"}, headings=tuple(GOOD))),
        "line": (cells.encode(), *(f"{letter} 1/2".encode() for letter in letters.values())),
        "amount": tuple(text.encode() for text in amounts),
        "rules": tuple(file.read_bytes() for file in (shipped_rules() / "labels").glob("*.toml")),
    }
    return found[name]


def main() -> None:
    """Run the target named first; everything after it goes to the fuzzer."""
    import atheris

    name = sys.argv.pop(1)
    with atheris.instrument_imports(include=["ledger"]):
        import ledger.intake.csv_file
        import ledger.intake.spreadsheet
        import ledger.normalise.line
        import ledger.numbers
        import ledger.rulebook.reading
        import ledger.rulefile  # noqa: F401

        first = seeds(name)
    with tempfile.TemporaryDirectory() as folder:
        for number, data in enumerate(first):
            (Path(folder) / str(number)).write_bytes(data)
        atheris.Setup([*sys.argv, folder], timed(TARGETS[name]))
        atheris.Fuzz()


if __name__ == "__main__":
    main()
