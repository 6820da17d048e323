"""The parts of an .xlsx file (ECMA-376) that a day sheet needs, read exactly and within limits.

A stored number stays the decimal text that the file holds; no binary fraction is made of it.
Sizes are looked at before anything is unpacked, references before anything is counted up to them.
"""

from __future__ import annotations

import posixpath
import re
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache, lru_cache
from io import BytesIO
from xml.etree import ElementTree as ET

MAX_PARTS = 2_000
MAX_PART_BYTES = 64 * 1024 * 1024
MAX_UNPACKED_BYTES = 256 * 1024 * 1024
MAX_ROW, MAX_COLUMN = 1_048_576, 16_384
MAX_CELLS = 1_000_000
"""Some thirty thousand full lines: a workbook is held whole, and more is handed in as CSV."""
MAX_CHARACTERS = 64 * 1024 * 1024
"""All cells together; one long text may be referred to by very many cells."""
MAX_MERGES = 10_000

BUILT_IN_FORMATS = {
    9: "0%", 10: "0.00%", 11: "0.00E+00", 48: "##0.0E+0",
    14: "m/d/yy", 15: "d-mmm-yy", 16: "d-mmm", 17: "mmm-yy",
    18: "h:mm AM/PM", 19: "h:mm:ss AM/PM", 20: "h:mm", 21: "h:mm:ss", 22: "m/d/yy h:mm",
    45: "mm:ss", 46: "[h]:mm:ss", 47: "mm:ss.0",
    **dict.fromkeys((*range(27, 37), *range(50, 59)), "m/d/yy"),
}  # fmt: skip
"""Number formats that a file names by number only (ECMA-376 part 1, 18.8.30)."""

_REFERENCE = re.compile(r"\$?([A-Z]{1,3})\$?([0-9]{1,7})$")
_ESCAPED = re.compile(r"_x([0-9A-Fa-f]{4})_")
_SAVE_AS = "save it as .xlsx or as CSV and hand that in"


class Unreadable(Exception):  # noqa: N818 - a reason for a fault; it never leaves the intake
    """Why a file cannot be read: code, what is wrong, the way out. Becomes a fault."""

    def __init__(self, code: str, what: str, way_out: str = _SAVE_AS) -> None:
        super().__init__(what)
        self.code, self.what, self.way_out = code, what, way_out


@dataclass(frozen=True, slots=True)
class RawCell:
    """One stored cell. ``kind`` is the file's own: n number, text, b, e error, d ISO date.

    ``column`` counts from 0; ``format`` is the number format; ``formula`` is None without one.
    """

    address: str
    column: int
    kind: str
    value: str
    format: str = ""
    formula: str | None = None


@dataclass(frozen=True, slots=True)
class RawRow:
    """One stored row: its number (from 1), whether it is hidden, its cells."""

    number: int
    hidden: bool
    cells: tuple[RawCell, ...]


@dataclass(frozen=True, slots=True)
class Merge:
    """A merged range; rows from 1, columns from 0, ends included."""

    top: int
    left: int
    bottom: int
    right: int


@dataclass(frozen=True, slots=True)
class Page:
    """One worksheet: its name, part, whether it is hidden."""

    name: str
    part: str
    hidden: bool


@dataclass(frozen=True, slots=True)
class Grid:
    """What a worksheet holds, in order of rows."""

    rows: tuple[RawRow, ...]
    merges: tuple[Merge, ...]


@cache
def column_letters(column: int) -> str:
    """Return the letters of a column counted from 0: 0 is A, 26 is AA."""
    letters, left = "", column + 1
    while left:
        left, digit = divmod(left - 1, 26)
        letters = chr(65 + digit) + letters
    return letters


@cache
def column_number(letters: str) -> int:
    """Return the column of its letters, counted from 0."""
    number = 0
    for letter in letters:
        number = number * 26 + ord(letter) - 64
    return number - 1


class Workbook:
    """An opened .xlsx file. Every method raises ``Unreadable`` for what it cannot read."""

    def __init__(self, data: bytes) -> None:
        self._zip = zipfile.ZipFile(BytesIO(data))
        self._names = {info.filename: info for info in self._zip.infolist()}
        _refuse_by_parts(self._zip.infolist())
        main, home = self._main_part()
        root = self._tree(main)
        self.epoch_1904 = any(
            node.get("date1904") in {"1", "true"} for node in _all(root, "workbookPr")
        )
        targets = self._relations(main, home)
        self.pages = tuple(
            Page(node.get("name", ""), targets[key], node.get("state", "visible") != "visible")
            for node in _all(root, "sheet")
            if (key := _attribute(node, "id")) in targets
        )
        self._strings = self._shared_strings(home)
        self._formats = self._cell_formats(home)

    def grid(self, page: Page) -> Grid:
        """Read one worksheet."""
        rows: list[RawRow] = []
        merges: list[Merge] = []
        number = cells = characters = 0
        data: ET.Element | None = None
        for event, node in ET.iterparse(BytesIO(self._part(page.part)), ("start", "end")):  # noqa: S314 - see _part
            name = _local(node)
            if event == "start":
                data = node if name == "sheetData" else data
            elif name == "row":
                number = _whole(node.get("r"), number + 1, MAX_ROW)
                row = self._row(node, number)
                cells += len(row.cells)
                characters += sum(len(cell.value) for cell in row.cells)
                if cells > MAX_CELLS or characters > MAX_CHARACTERS:
                    raise _too_large(f"worksheet {page.name!r} holds too much text")
                if row.cells:
                    rows.append(row)
                node.clear()
                if data is not None:
                    data.clear()
            elif name == "mergeCell":
                merges.append(_merge(node.get("ref", "")))
                if len(merges) > MAX_MERGES:
                    raise _too_large(f"worksheet {page.name!r} has too many merged cells")
        rows.sort(key=lambda row: row.number)
        return Grid(tuple(rows), tuple(merges))

    def _row(self, node: ET.Element, number: int) -> RawRow:
        cells: list[RawCell] = []
        column = -1
        for child in node:
            if _local(child) != "c":
                continue
            column += 1
            if found := _REFERENCE.match(child.get("r", "")):
                column = column_number(found[1])
            if column >= MAX_COLUMN:
                raise _too_large("a worksheet is wider than a spreadsheet can be")
            cell = self._cell(child, f"{column_letters(column)}{number}", column)
            if cell is not None:
                cells.append(cell)
        return RawRow(number, node.get("hidden") in {"1", "true"}, tuple(cells))

    def _cell(self, node: ET.Element, address: str, column: int) -> RawCell | None:
        kind = node.get("t", "n")
        parts = {_local(child): child for child in node}
        formula = (parts["f"].text or "") if "f" in parts else None
        value = (parts["v"].text or "") if "v" in parts else ""
        if kind == "inlineStr":
            kind, value = "text", _text(parts["is"]) if "is" in parts else ""
        elif kind == "str":
            kind, value = "text", _unescape(value)
            formula = formula if value else None  # a formula that says "" leaves its cell blank
        elif kind == "s" and value:
            kind, value = "text", self._strings[_whole(value, 0, len(self._strings) - 1, least=0)]
        if not value and formula is None:
            return None
        style = _whole(node.get("s"), 0, len(self._formats), least=0)
        format_ = self._formats[style] if style < len(self._formats) else ""
        return RawCell(address, column, kind, value, format_, formula)

    def _main_part(self) -> tuple[str, str]:
        main = "xl/workbook.xml"
        if "_rels/.rels" in self._names:
            for node in _all(self._tree("_rels/.rels"), "Relationship"):
                if node.get("Type", "").endswith("/officeDocument"):
                    main = posixpath.normpath(node.get("Target", main)).lstrip("/")
        return main, posixpath.dirname(main)

    def _relations(self, main: str, home: str) -> dict[str, str]:
        """Return the worksheets of the workbook part, by relation."""
        part = posixpath.join(home, "_rels", posixpath.basename(main) + ".rels")
        return {
            node.get("Id", ""): posixpath.normpath(
                posixpath.join("/", home, node.get("Target", ""))
            ).lstrip("/")
            for node in _all(self._tree(part), "Relationship")
            if node.get("Type", "").endswith("/worksheet")
        }

    def _shared_strings(self, home: str) -> tuple[str, ...]:
        part = posixpath.join(home, "sharedStrings.xml")
        if part not in self._names:
            return ()
        return tuple(_text(node) for node in _all(self._tree(part), "si"))

    def _cell_formats(self, home: str) -> tuple[str, ...]:
        part = posixpath.join(home, "styles.xml")
        if part not in self._names:
            return ()
        root = self._tree(part)
        own = {
            node.get("numFmtId", ""): node.get("formatCode", "") for node in _all(root, "numFmt")
        }
        return tuple(
            own.get(key) or BUILT_IN_FORMATS.get(_whole(key, 0, 1_000_000, least=0), "")
            for group in _all(root, "cellXfs")
            for node in _all(group, "xf")
            for key in (node.get("numFmtId", "0"),)
        )

    def _tree(self, part: str) -> ET.Element:
        return ET.fromstring(self._part(part))  # noqa: S314 - see _part

    def _part(self, name: str) -> bytes:
        """Return a part's bytes; one with a document type (a bomb of entities) is refused."""
        if name not in self._names:
            raise Unreadable("SHEET-DAMAGED", f"the workbook lacks its part {name}")
        info = self._names[name]
        with self._zip.open(info) as stream:
            # Read up to the size that was looked at: a part may unpack to more than it says.
            data = stream.read(info.file_size)
            if stream.read(1):
                raise Unreadable("SHEET-DAMAGED", f"the part {name} is longer than it says")
        for coding in ("ascii", "utf-16-le", "utf-16-be"):
            if "<!DOCTYPE".encode(coding) in data:
                raise Unreadable("SHEET-DAMAGED", f"the part {name} declares a document type")
        return data


def _refuse_by_parts(infos: list[zipfile.ZipInfo]) -> None:
    """Raise for a package that is too large, locked, or another kind of file."""
    names = {info.filename for info in infos}
    if len(infos) > MAX_PARTS:
        raise _too_large(f"the file is packed of {len(infos)} parts")
    sizes = [info.file_size for info in infos]
    if sum(sizes) > MAX_UNPACKED_BYTES or max(sizes, default=0) > MAX_PART_BYTES:
        raise _too_large(f"the file unpacks to {sum(sizes)} bytes")
    if any(info.flag_bits & 1 for info in infos):
        raise Unreadable("SHEET-LOCKED", "the file is protected by a password")
    if any(name.endswith("vbaProject.bin") for name in names):
        raise Unreadable("SHEET-MACROS", "the workbook contains macros, which are not accepted")
    if "mimetype" in names:
        raise Unreadable("SHEET-FORMAT", "this is an OpenDocument file")
    if not any(name.endswith("workbook.xml") for name in names):
        raise Unreadable("SHEET-FORMAT", "this is a packed file, but not an .xlsx workbook")


def _too_large(what: str) -> Unreadable:
    return Unreadable(
        "SHEET-TOO-LARGE", f"{what}; that is no day sheet",
        "copy the lines into a new workbook, or save the worksheet as CSV",
    )  # fmt: skip


def _whole(text: str | None, otherwise: int, most: int, *, least: int = 1) -> int:
    """Return a whole number of the file, or ``otherwise`` where none is given."""
    if text is None:
        return otherwise
    if not (text.isascii() and text.isdigit() and len(text) < 9 and least <= int(text) <= most):
        raise Unreadable("SHEET-DAMAGED", f"the workbook holds a wrong number: {text[:20]!r}")
    return int(text)


def _merge(reference: str) -> Merge:
    ends = [_REFERENCE.match(end) for end in reference.split(":")]
    if len(ends) != 2 or not ends[0] or not ends[1]:
        raise Unreadable("SHEET-DAMAGED", f"the merged range {reference[:40]!r} is none")
    first, last = ends[0], ends[1]
    return Merge(int(first[2]), column_number(first[1]), int(last[2]), column_number(last[1]))


def _local(node: ET.Element) -> str:
    return _bare_name(node.tag) if isinstance(node.tag, str) else ""


@lru_cache(maxsize=1_000)
def _bare_name(tag: str) -> str:
    return tag.rpartition("}")[2]


def _all(root: ET.Element, name: str) -> Iterator[ET.Element]:
    return (node for node in root.iter() if _local(node) == name)


def _attribute(node: ET.Element, name: str) -> str:
    """Return an attribute in a name space (``r:id``) by its local name."""
    return next((v for k, v in node.attrib.items() if k.rpartition("}")[2] == name), "")


def _text(node: ET.Element) -> str:
    """Return the text of a string item, rich runs joined, reading aids left out."""
    parts: list[str] = []
    for child in node:
        name = _local(child)
        if name == "t":
            parts.append(child.text or "")
        elif name == "r":
            parts.extend(grand.text or "" for grand in child if _local(grand) == "t")
    return _unescape("".join(parts))


def _unescape(text: str) -> str:
    """Return the characters that a file writes as ``_x000D_`` (ECMA-376 part 1, 22.9.2.19)."""
    return _ESCAPED.sub(lambda found: chr(int(found[1], 16)), text) if "_x" in text else text
