"""What people read on a terminal: tables that fit it, texts that wrap, numbers with nouns."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from itertools import zip_longest
from textwrap import fill, wrap
from typing import Any

from ledger.values.progress import Progress


def terminal_width() -> int:
    """Return the width that tables and long texts are made for: the terminal's, 80 to 160."""
    return min(160, max(80, shutil.get_terminal_size((100, 24)).columns))


def table(
    headings: Sequence[str], rows: Iterable[Sequence[Any]], right: Iterable[int] = (),
    width: int | None = None,
) -> str:  # fmt: skip
    """Return rows under headings in aligned columns; ``right`` columns are flush right.

    Where the whole is wider than ``width`` (else the terminal), the widest columns of text are
    narrowed and their cells go on over several lines. No word is broken unless it must be.
    """
    body = [[("" if cell is None else str(cell)) for cell in row] for row in rows]
    flush = set(right)
    lines = [list(headings), *body]
    widths = [max((len(row[index]) for row in lines), default=0) for index in range(len(headings))]
    _narrow(widths, flush, lines, (width or terminal_width()) - 2 * (len(widths) - 1))
    shown = []
    for row in [list(headings), ["-" * size for size in widths], *body]:
        cells = [wrap(text, size) or [""] for text, size in zip(row, widths, strict=True)]
        for part in zip_longest(*cells, fillvalue=""):
            set_out = (
                text.rjust(widths[n]) if n in flush else text.ljust(widths[n])
                for n, text in enumerate(part)
            )
            shown += ["  ".join(set_out).rstrip()]
    return "\n".join(shown)


def _narrow(widths: list[int], flush: set[int], lines: list[list[str]], room: int) -> None:
    """Take from the widest text columns what does not fit; none becomes less than its words."""
    words = [
        min(24, max((len(word) for row in lines for word in row[n].split()), default=1))
        for n in range(len(widths))
    ]
    while sum(widths) > room:
        wide = [n for n in range(len(widths)) if n not in flush and widths[n] > max(6, words[n])]
        if not wide:
            return
        widths[max(wide, key=lambda n: widths[n])] -= 1


def filled(text: str, first: str = "", rest: str = "") -> str:
    """Return a long text in lines of the terminal's width, indented; long words stay whole."""
    return fill(
        text, terminal_width(), initial_indent=first, subsequent_indent=rest,
        break_long_words=False, break_on_hyphens=False,
    )  # fmt: skip


def counted(count: int, one: str, many: str = "") -> str:
    """Return a number with its noun: 1 line, 2 lines; ``many`` where an s does not do."""
    return f"{count} {one if count == 1 else many or one + 's'}"


@contextmanager
def progress_bar(label: str) -> Iterator[Progress | None]:
    """Give a watcher that draws how far long work has come, where somebody looks on.

    The bar is drawn on standard error, and only if that is a terminal: results stay alone on
    standard output, and a script sees nothing of it.
    """
    if not sys.stderr.isatty():
        yield None
        return
    from click import progressbar

    with progressbar(length=1, label=label, file=sys.stderr) as bar:

        def tell(done: int, total: int) -> None:
            bar.length = total
            bar.update(done - bar.pos)

        yield tell
