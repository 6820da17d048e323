"""A CSV day sheet -> drafts. One bad line never hides its neighbours."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import count, islice

from ledger.intake.lines import Lines
from ledger.intake.restore import (
    MAX_CELL_CHARACTERS,
    NUMBER_COLUMNS,
    Restored,
    restore_text,
    tidy,
)
from ledger.intake.rows import (
    APPLICATIONS,
    MAX_ROWS,
    Row,
    as_fault,
    count_known,
    no_lines,
    read_headings,
    settled,
    too_many_rows,
)
from ledger.values.draft import Draft
from ledger.values.finding import Fault
from ledger.values.origin import Cell, Origin

MAX_LINES_OF_A_CELL = 200
"""A quoted cell may run over lines, but not over a whole file."""

MAX_COLUMNS = 500
"""Cells of a line that are told apart; a day sheet has some thirty-five."""

DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab"}

_TO_DELIMITER = {sign: re.compile(rf"[ ]*(?:{re.escape(sign)}|$)") for sign in DELIMITERS}
_ENDS_IN_NUMBER = re.compile(r"(?<![\d.])\d{1,3}$")
_THOUSANDS = re.compile(r"\d{3}(?!\d)")
_SAYS = re.compile(r'[^,;"\s\ufeff\u200b]')
_SEPARATOR_LINE = re.compile(r"sep=([,;\t])$", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class CsvRead:
    """What a CSV file gave: drafts, faults of the file, remarks."""

    drafts: tuple[Draft, ...] = ()
    faults: tuple[Fault, ...] = ()
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Record:
    """One record: its first line (from 1), its cells, and why its last cell is not trusted."""

    line: int
    cells: Sequence[str]
    quote: str = ""

    @property
    def blank(self) -> bool:
        """Whether no cell says anything."""
        return not self.quote and not any(cell and tidy(cell) for cell in self.cells)


@dataclass(frozen=True, slots=True)
class OpenCsv:
    """A CSV file whose header line is understood; its rows are read when they are asked for.

    ``faults`` refuse the file; ``after`` is the index of the first line below the headings.
    """

    text: str = ""
    after: int = 0
    reader: _RowReader | None = None
    wide: int = 0
    faults: tuple[Fault, ...] = ()
    remarks: tuple[str, ...] = ()

    def _records(self) -> Iterator[Record]:
        assert self.reader is not None  # nobody reads on in a refused file
        lines = Lines(self.text)
        for record in _records(lines, self.after, self.reader.delimiter, self.wide):
            lines.release(record.line - 1)
            if not record.blank:
                yield record

    def count(self) -> int:
        """Return how many lines that say something stand below the headings."""
        return 0 if self.faults else sum(1 for _ in self._records())

    def drafts(self) -> Iterator[Draft]:
        """Yield the lines as drafts, from the first on, each time this is called."""
        if self.reader is not None:
            yield from settled(map(self.reader.row, self._records()), APPLICATIONS)


def read_csv(name: str, data: bytes, *, month_first: bool) -> CsvRead:
    """Read the bytes of a CSV file whole."""
    opened = open_csv(name, data, month_first=month_first)
    if opened.faults:
        return CsvRead(faults=opened.faults, remarks=opened.remarks)
    drafts = tuple(islice(opened.drafts(), MAX_ROWS + 1))
    if len(drafts) > MAX_ROWS:
        return CsvRead(faults=(too_many_rows(name),))
    if not drafts:
        return CsvRead(faults=(no_lines(name),), remarks=opened.remarks)
    return CsvRead(drafts, (), opened.remarks)


def open_csv(name: str, data: bytes, *, month_first: bool) -> OpenCsv:
    """Read the header line of a CSV file; every fault of it comes out at once."""
    text, remark = decode(data)
    if text is None:
        return OpenCsv(faults=(Fault("SHEET-ENCODING", Origin(name), remark, _SAVE_ANEW),))
    remarks = [remark] if remark else []
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    lines = Lines(text)
    start, said = _header_line(lines)
    if start is None:
        return OpenCsv(faults=(_empty(name),))
    delimiter = said or _delimiter(lines[start])
    if delimiter != ",":
        remarks.append(f"the cells are separated by {DELIMITERS[delimiter]}s, read so")
    header = _record(lines, start, delimiter, 0)
    if header.quote:
        fault = Fault(
            "ROW-QUOTE", Origin(name, header.line), f"header line: {header.quote}", _QUOTE_WAY_OUT
        )
        return OpenCsv(faults=(fault,))
    columns, faults = read_headings(
        header.cells,
        APPLICATIONS,
        lambda i: Origin(name, header.line, tidy(header.cells[i][:200])[:60]),
    )
    if faults:
        return OpenCsv(faults=faults, remarks=tuple(remarks))
    after = start + 1 + sum(cell.count("\n") for cell in header.cells)
    reader = _row_reader(name, columns, delimiter, month_first)
    return OpenCsv(text, after, reader, len(header.cells), (), tuple(remarks))


_SAVE_ANEW = "save the sheet as CSV UTF-8 or as .xlsx"
_COMMA_WAY_OUT = 'put a cell that contains a comma in quotes: "3 ft high; 1,000 sq ft"'
_QUOTE_WAY_OUT = "close the quote, or write the cell without quotes"


def _empty(name: str) -> Fault:
    return Fault("SHEET-EMPTY", Origin(name), "the file is empty", "hand in the filled day sheet")


def decode(data: bytes) -> tuple[str | None, str]:
    """Return the text and a remark (how it was read), or None and why it cannot be read."""
    try:
        if data[:2] in {b"\xff\xfe", b"\xfe\xff"}:
            text, remark = data.decode("utf-16"), "read as UTF-16"
        elif data[:3] == b"\xef\xbb\xbf":
            text, remark = data.decode("utf-8-sig"), ""
        else:
            text, remark = _plain(data)
    except UnicodeDecodeError as problem:
        line = data.count(b"\n", 0, problem.start) + 1
        return None, f"the characters cannot be read from line {line} on"
    if "\x00" in text:
        line = text.count("\n", 0, text.index("\x00")) + 1
        return None, f"line {line} contains a NUL byte; this is not a text file"
    junk = sum(text.count(chr(code)) for code in range(1, 32) if code not in {9, 10, 11, 12, 13})
    if junk * 20 > len(text):
        return None, "the file is full of control characters; this is not a text file"
    return text, remark


def _plain(data: bytes) -> tuple[str, str]:
    try:
        return data.decode("utf-8"), ""
    except UnicodeDecodeError:
        remark = "not UTF-8: read as Windows-1252; look at accents and fractions"
        return data.decode("cp1252"), remark


def _header_line(lines: Lines) -> tuple[int | None, str]:
    """Return the index of the first line that says something, and a delimiter said before it."""
    said = ""
    for index in range(len(lines)):
        line = lines[index]
        if found := _SEPARATOR_LINE.match(line[:9].strip(" \ufeff")):
            said = found[1]
        elif _SAYS.search(line):
            return index, said
    return None, said


def _delimiter(header: str) -> str:
    """Return the delimiter under which the line has most known headings; comma on a tie."""
    known = {sign: count_known(_unquoted(header, sign)) for sign in DELIMITERS}
    return max(known, key=lambda sign: known[sign])


def _unquoted(line: str, delimiter: str) -> list[str]:
    return [cell.strip(' "') for cell in line.split(delimiter, MAX_COLUMNS)]


def _records(lines: Lines, start: int, delimiter: str, columns: int) -> Iterator[Record]:
    index, end = start, len(lines)
    while index < end:
        text = lines[index]
        if '"' not in text:  # nearly every line: one record, cut at its delimiters
            index += 1
            yield Record(index, text.split(delimiter, MAX_COLUMNS))
            continue
        record = _record(lines, index, delimiter, columns)
        yield record
        index += 1 + (0 if record.quote else sum(cell.count("\n") for cell in record.cells))


def _record(lines: Lines, index: int, delimiter: str, columns: int) -> Record:
    """Return the record that begins on that line.

    Where a quote is not closed as it should be, the line alone is returned, its last cell being
    the rest of the line, so that the next lines are read for themselves.
    """
    text, last, cells, at = lines[index], index, list[str](), 0
    if '"' not in text:
        return Record(index + 1, text.split(delimiter, MAX_COLUMNS))
    while True:
        if len(cells) == MAX_COLUMNS:
            return Record(index + 1, [*cells, text[at:].split("\n")[0]], "too many cells")
        opens = at
        while text[opens : opens + 1] == " ":
            opens += 1
        if text[opens : opens + 1] != '"':
            end = text.find(delimiter, at)
            cells.append(text[at:] if end < 0 else text[at:end])
            if end < 0:
                return Record(index + 1, cells)
            at = end + 1
            continue
        quoted = _quoted(lines, last, text, opens, delimiter)
        if isinstance(quoted, str):
            return Record(index + 1, [*cells, text[at:].split("\n")[0]], quoted)
        if _swallowed(quoted.cell, delimiter, columns):
            why = "a quote is opened and closed only in another line's cells"
            return Record(index + 1, [*cells, text[at:].split("\n")[0]], why)
        cells.append(quoted.cell)
        text, last, at = quoted.text, quoted.last, quoted.end
        if at > len(text):
            return Record(index + 1, cells)


@dataclass(frozen=True, slots=True)
class _Quoted:
    """A quoted cell, the text read so far, its last line, and where the next cell begins."""

    cell: str
    text: str
    last: int
    end: int


def _quoted(lines: Lines, last: int, text: str, opens: int, delimiter: str) -> _Quoted | str:
    """Return the quoted cell that opens there, or what is wrong with its quotes."""
    limit = min(len(lines) - 1, last + MAX_LINES_OF_A_CELL)
    seek = opens + 1
    while True:
        close = text.find('"', seek)
        if close < 0:
            if last == limit or len(text) - opens > MAX_CELL_CHARACTERS:
                return "a quote is opened and never closed"
            seek, last = len(text), last + 1
            text = f"{text}\n{lines[last]}"
        elif text[close + 1 : close + 2] == '"':
            seek = close + 2
        elif ends := _TO_DELIMITER[delimiter].match(text, close + 1):
            end = ends.end() if ends[0].endswith(delimiter) else len(text) + 1
            return _Quoted(text[opens + 1 : close].replace('""', '"'), text, last, end)
        else:
            return "a quote stands where the cell does not end"


def _swallowed(cell: str, delimiter: str, columns: int) -> bool:
    """Whether a quoted cell over several lines is in truth lines with a quote gone astray.

    Such a cell holds as many delimiters as a line has; no person writes so many in one cell.
    """
    return "\n" in cell and columns > 0 and cell.count(delimiter) >= max(columns - 1, 12)


def _restore(heading: str, raw: str, month_first: bool) -> Restored | None:
    """Return a cell as it was most likely typed; None where it is blank."""
    return restore_text(heading, raw, month_first=month_first) if tidy(raw) else None


_SHORT = 200
"""Longer cells are not kept: they do not come again, and a few would fill the memory."""
_restored_before = lru_cache(maxsize=65536)(_restore)


@dataclass(frozen=True, slots=True)
class _RowReader:
    """Turns records into rows under the headings of one file.

    ``headings`` are the same in their order, None where a column has none. ``numbers`` are the
    columns in which a comma can cut a number in two, ``width`` how many columns from the first on
    have a heading.
    """

    name: str
    columns: Mapping[int, str]
    headings: tuple[str | None, ...]
    delimiter: str
    month_first: bool
    numbers: tuple[int, ...]
    width: int

    def row(self, record: Record) -> Row:
        """Return the record as a row, with the faults of its cells and of the row as a whole."""
        cells: dict[str, Cell] = {}
        typed: dict[str, str] = {}
        faults: list[Fault] = []
        name, line, month_first = self.name, record.line, self.month_first
        for heading, raw in zip(self.headings, record.cells, strict=False):
            if not raw or heading is None:
                continue
            restore = _restored_before if len(raw) <= _SHORT else _restore
            restored = restore(heading, raw, month_first)
            if restored is None:
                continue
            origin = Origin(name, line, heading)
            typed[heading] = raw
            cells[heading] = Cell(restored.text, origin, restored.how)
            if restored.doubt and (fault := as_fault(restored, origin)):
                faults.append(fault)
        shifts = self._shifts(record)
        return Row(Origin(name, line), cells, typed, (*faults, *shifts), bool(shifts))

    def _origin(self, record: Record, index: int) -> Origin:
        return Origin(self.name, record.line, self.columns.get(index))

    def _shifts(self, record: Record) -> list[Fault]:
        """Return every reason to think that cells stand under the wrong headings."""
        faults = []
        if record.quote:
            where = self._origin(record, len(record.cells) - 1)
            faults.append(Fault("ROW-QUOTE", where, record.quote, _QUOTE_WAY_OUT))
        extra: list[str] = []
        if len(record.cells) > self.width:
            beyond = [c for i, c in enumerate(record.cells) if c and i not in self.columns]
            extra = [text for cell in beyond if (text := tidy(cell[:MAX_CELL_CHARACTERS]))]
        if extra:
            faults.append(
                Fault(
                    "ROW-TOO-WIDE", Origin(self.name, record.line),
                    f"text without a heading: {' | '.join(extra)[:200]}", _COMMA_WAY_OUT,
                )
            )  # fmt: skip
        if self.delimiter == ",":
            cells = record.cells
            for index in self.numbers:
                one, other = cells[index : index + 2] if index + 1 < len(cells) else ("", "")
                if one and other and _is_split(one, other):
                    what = f"a number seems to be cut at its comma: {one.strip()},{other.strip()}"
                    faults.append(
                        Fault("ROW-SPLIT", self._origin(record, index), what[:200], _COMMA_WAY_OUT)
                    )
        return faults


def _row_reader(
    name: str, columns: Mapping[int, str], delimiter: str, month_first: bool
) -> _RowReader:
    numbers = tuple(i for i, heading in columns.items() if heading in NUMBER_COLUMNS)
    width = next(index for index in count() if index not in columns)
    headings = tuple(columns.get(index) for index in range(max(columns, default=-1) + 1))
    return _RowReader(name, columns, headings, delimiter, month_first, numbers, width)


def _is_split(one: str, other: str) -> bool:
    """Whether two cells look like ``1,000 sq ft`` written without quotes."""
    return bool(_ENDS_IN_NUMBER.search(one) and _THOUSANDS.match(other))
