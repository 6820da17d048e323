"""The empty day sheet: a workbook or CSV to fill in on a screen, a page for a pen."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from openpyxl import Workbook
from openpyxl.cell import Cell
from openpyxl.cell.cell import MergedCell
from openpyxl.comments import Comment
from openpyxl.styles import Alignment, Border, Font, Side
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.properties import PageSetupProperties
from openpyxl.worksheet.worksheet import Worksheet

from ledger.values.draft import APPLICATION_HEADINGS, OBSERVATION_HEADINGS
from ledger.values.lexicon import Lexicon
from ledger.values.product import Product
from ledger.values.site import Site
from reports.column_help import APPLICATION_HELP, OBSERVATION_HELP, Help

PREPARED_LINES = 500
"""Rows with drop-down lists; a day takes a tenth of them."""

LISTS_PAGE = "lists"
"""The hidden worksheet that the drop-down lists read; reading a sheet passes it over."""

SEVERAL = frozenset({"places", "avoided", "prepared", "pests"})
"""Columns that take several words; their list offers one, and more may be written behind it."""

_TEXT = "@"
_TEMPLATE = Path(__file__).with_name("day_sheet.typ")
_FONTS = ("Libertinus Serif", "DejaVu Sans Mono")
_PEN_LINES = 9


def choices(lexicon: Lexicon, sites: Sequence[Site]) -> dict[str, tuple[str, ...]]:
    """Return what each heading's drop-down list offers, from the workspace's own names."""
    firm, words = lexicon.firm, lexicon.words

    def of(name: str) -> tuple[str, ...]:
        return tuple(word.name for word in words.lists.get(name, ()))

    people = tuple(person.key for person in firm.people)
    home = next((place for place in lexicon.places_of_law if place.id == firm.home), None)
    counties = tuple(name for name, _ in home.counties) if home else ()
    offered = {
        "applicator": people,
        "supervisor": people,
        "state": tuple(sorted({place.state for place in lexicon.places_of_law if place.state})),
        "county": counties or tuple(dict.fromkeys(r.county for r in firm.registrations)),
        "site": tuple(site.key for site in sites),
        "site kind": of("site_kind"),
        "product": tuple(dict.fromkeys(product.id for product in lexicon.products)),
        "basis": ("product", "mix"),
        "method": of("method"),
        "setting": of("setting"),
        "places": of("place"),
        "avoided": ("none present",),
        "prepared": of("preparation"),
        "pests": of("pest"),
        "equipment": tuple(tool.key for tool in firm.tools),
        "rain": ("no", "yes"),
        "notice": of("notice"),
        "condition": of("condition"),
    }
    return {heading: names for heading, names in offered.items() if names}


def day_sheet_xlsx(lexicon: Lexicon, sites: Sequence[Site], path: Path) -> None:
    """Write an empty day sheet as a workbook: headings with notes, lists, cells kept as text.

    Every cell is formatted as text, so that a spreadsheet rewrites nothing that is typed into it.
    """
    book = Workbook()
    book.remove(book.worksheets[0])
    first = book.create_sheet("applications")
    second = book.create_sheet("observations")
    lists = book.create_sheet(LISTS_PAGE)
    ranges = _write_lists(lists, choices(lexicon, sites), sites)
    _write_page(first, APPLICATION_HEADINGS, APPLICATION_HELP, ranges)
    _write_page(second, OBSERVATION_HEADINGS, OBSERVATION_HELP, ranges)
    lists.sheet_state = "hidden"
    book.properties.title = "Day sheet"
    book.properties.creator = _clean(lexicon.firm.name)
    book.save(path)


def day_sheet_csv(path: Path) -> None:
    """Write the headings of a day sheet as CSV, for an editor or another program to fill in."""
    path.write_bytes((",".join(APPLICATION_HEADINGS) + "\r\n").encode("utf-8"))


def _write_lists(
    page: Worksheet, offered: Mapping[str, Sequence[str]], sites: Iterable[Site]
) -> dict[str, str]:
    """Write one column for each list; return the range of each heading's list."""
    ranges: dict[str, str] = {}
    for column, (heading, names) in enumerate(offered.items(), 1):
        letter = get_column_letter(column)
        _put(page.cell(1, column), heading)
        for row, name in enumerate(names, 2):
            _put(page.cell(row, column), name)
        ranges[heading] = f"{LISTS_PAGE}!${letter}$2:${letter}${len(names) + 1}"
        page.column_dimensions[letter].width = 22
    beside = len(offered) + 1
    _put(page.cell(1, beside), "address of the site")
    for row, site in enumerate(sites, 2):
        address = site.address
        street = " ".join(filter(None, (address.street, address.unit)))
        _put(page.cell(row, beside), ", ".join(filter(None, (street, address.city, address.zip))))
    return ranges


def _write_page(
    page: Worksheet, headings: Sequence[str], help_: Mapping[str, Help], ranges: Mapping[str, str]
) -> None:
    """Write the header line of one worksheet and prepare the lines below it."""
    for column, heading in enumerate(headings, 1):
        said = help_[heading]
        letter = get_column_letter(column)
        cell = page.cell(1, column)
        _put(cell, heading)
        cell.font = Font(bold=True)
        cell.border = Border(bottom=Side("thin"))
        cell.alignment = Alignment(vertical="bottom", wrap_text=True)
        note = Comment(f"{said.meaning}\n\nExample: {said.example}", "Day sheet")
        note.width, note.height = 260, 130
        cell.comment = note
        page.column_dimensions[letter].width = said.width
        page.column_dimensions[letter].number_format = _TEXT
        for row in range(2, PREPARED_LINES + 2):
            page.cell(row, column).number_format = _TEXT
        if heading in ranges:
            _offer(page, heading, f"{letter}2:{letter}{PREPARED_LINES + 1}", ranges[heading])
    page.row_dimensions[1].height = 30
    page.freeze_panes = "B2"
    page.print_title_rows = "1:1"
    page.print_title_cols = "A:A"
    page.page_setup.orientation = "landscape"
    page.page_setup.paperSize = page.PAPERSIZE_LETTER
    page.page_setup.fitToWidth = 3 if len(headings) > 12 else 1
    page.page_setup.fitToHeight = 0
    page.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
    page.print_options.gridLines = True
    if page.oddFooter is not None:  # a worksheet may be without one, says its type
        page.oddFooter.center.text = "Page &P of &N"


def _offer(page: Worksheet, heading: str, cells: str, names: str) -> None:
    """Offer a list in those cells. It never forbids: other spellings are read as well."""
    rule = DataValidation(type="list", formula1=names, allow_blank=True)
    rule.showErrorMessage = heading not in SEVERAL
    rule.errorStyle = "warning"
    rule.errorTitle = f"Not in the list: {heading}"
    rule.error = "The list does not have this. Keep it if it is right; it will be looked at."
    rule.add(cells)
    page.add_data_validation(rule)


def _put(cell: Cell | MergedCell, text: str) -> None:
    """Set a cell's text; a text that begins with = stays a text and becomes no formula."""
    cell.value = _clean(text)
    cell.data_type = "s"
    cell.number_format = _TEXT


def _clean(text: str) -> str:
    """Return the text without control characters, which no workbook can hold."""
    return "".join(c if c.isprintable() else " " for c in text)


def day_sheet_pdf(lexicon: Lexicon, path: Path) -> None:
    """Write an empty day sheet for a pen: a landscape page, and how to fill it in on the back."""
    import typst  # noqa: PLC0415 - a large library, wanted only where a page is set

    template = _TEMPLATE.read_bytes()
    given = {"sheet": json.dumps(_pen_sheet(lexicon))}
    try:
        made = typst.compile(
            template, format="pdf", sys_inputs=given, timestamp=0, ignore_system_fonts=True,
            pdf_standards="ua-1",
        )  # fmt: skip
    except typst.TypstError:
        # The faces inside the library lack a letter of a name, which the standard refuses. The
        # computer's own faces may have it, and a page without it is better than none.
        made = typst.compile(template, format="pdf", sys_inputs=given, timestamp=0)
    path.write_bytes(made)


def _pen_sheet(lexicon: Lexicon) -> dict[str, Any]:
    firm = lexicon.firm
    offered = choices(lexicon, ())
    return {
        "fonts": list(_FONTS),
        "firm": _clean(firm.name),
        "licence": _clean(firm.licence),
        "telephone": _clean(firm.telephone),
        "lines": _PEN_LINES,
        "products": [_product(product) for product in _newest(lexicon.products)],
        "people": [[_clean(person.key), _clean(person.name)] for person in firm.people],
        "tools": [[_clean(tool.key), _clean(tool.kind)] for tool in firm.tools],
        "words": [
            [heading, [_clean(name) for name in offered[heading]]]
            for heading in ("method", "setting", "site kind", "prepared", "pests")
            if heading in offered
        ],
        "help": [
            [heading, said.meaning, said.example]
            for heading, said in APPLICATION_HELP.items()
            if heading in _EXPLAINED
        ],
    }


_EXPLAINED = (
    "end",
    "amount",
    "basis",
    "dilution",
    "places",
    "avoided",
    "prepared",
    "extent",
    "lot",
    "notice",
)
"""What cannot be guessed from the heading; the back of the page has room for these."""


def _newest(products: Iterable[Product]) -> list[Product]:
    """Return one product for each id, the last one given."""
    return list({product.id: product for product in products}.values())


def _product(product: Product) -> list[str]:
    kind = f"{product.formulation}, {'weighed' if product.weighed else 'measured'}"
    return [
        _clean(product.id), _clean(product.registration or "none needed"), _clean(product.name),
        f"{kind}; {'diluted' if product.diluted else 'as sold'}", _clean(product.signal_word),
    ]  # fmt: skip
