"""Coverage-guided fuzzing of what reads strangers' bytes: sheets, amounts, rule files.

Not a test by itself: ``python -m tests.fuzz sheet -max_total_time=300`` runs one target with
atheris (``pip install atheris``). A reader may refuse anything, as faults; what it may never do is
raise, or take more than a few seconds. What a run finds becomes a case of
``test_hostile.py``.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable

SECONDS = 10
"""The longest that one small input may take."""


def read_any_sheet(data: bytes) -> None:
    """Read bytes as a day sheet and normalise every line of it."""
    from ledger.intake import read_sheet

    sheet = read_sheet("fuzz.csv", data, month_first=True)
    assert isinstance(sheet.drafts, tuple)


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
    "amount": read_any_amount,
    "rules": read_any_rules,
}


def timed(target: Callable[[bytes], None]) -> Callable[[bytes], None]:
    """Return the target with a limit of time, as a failure."""

    def run(data: bytes) -> None:
        begun = time.monotonic()
        target(data)
        assert time.monotonic() - begun < SECONDS, "too slow"

    return run


def main() -> None:
    """Run the target named first; everything after it goes to the fuzzer."""
    import atheris

    name = sys.argv.pop(1)
    with atheris.instrument_imports(include=["ledger"]):
        import ledger.intake.csv_file
        import ledger.numbers
        import ledger.rulebook.reading
        import ledger.rulefile  # noqa: F401
    atheris.Setup(sys.argv, timed(TARGETS[name]))
    atheris.Fuzz()


if __name__ == "__main__":
    main()
