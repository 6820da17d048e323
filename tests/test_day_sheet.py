"""The empty day sheet: complete, safe from a spreadsheet's rewriting, and readable when filled."""

from __future__ import annotations

import io
import re
from datetime import date
from pathlib import Path

import openpyxl
import pypdf
import pytest

from ledger.intake import read_sheet
from ledger.values.draft import APPLICATION_HEADINGS, OBSERVATION_HEADINGS, Draft
from ledger.values.firm import Firm, Person, Tool
from ledger.values.lexicon import Lexicon, PlaceOfLaw, Word, Words
from ledger.values.product import Formulation, Product, ProductClass
from ledger.values.site import Address, Site
from reports.column_help import APPLICATION_HELP, OBSERVATION_HELP
from reports.day_sheet import PREPARED_LINES, choices, day_sheet_pdf, day_sheet_xlsx

FIXTURES = Path(__file__).parent.parent / "fixtures"


def lexicon(name: str = "Calloway Home Pest Care", product: str = "ridgeline-dust") -> Lexicon:
    firm = Firm(
        name, "PR 99031", "", "Auburn", "CA", "95603", "us-ca", "America/Los_Angeles",
        True, "1 in N", "structural",
        people=(Person("renner", "Tobias Renner"), Person("marsh", "Odile Marsh")),
        tools=(Tool("duster-a", "bulb duster"),),
    )  # fmt: skip
    words = Words(
        {
            "method": (Word("crack and crevice"), Word("void")),
            "setting": (Word("indoor"), Word("at structure"), Word("outdoor")),
            "site_kind": (Word("dwelling"),),
            "place": (Word("door frame"), Word("siding seam")),
            "pest": (Word("ants"), Word("spiders")),
            "preparation": (Word("food covered"),),
            "notice": (Word("before"), Word("after"), Word("both")),
            "condition": (Word("gap"),),
        }
    )
    products = (
        Product(product, "Ridgeline Crevice Dust", "99999-11", Formulation.DUST,
                ProductClass.GENERAL, False, ()),
        Product("ridgeline-sc", "Ridgeline Residual Concentrate", "99999-21", Formulation.LIQUID,
                ProductClass.GENERAL, True, ()),
        Product("hearth-mint", "Hearth Mint Spray", None, Formulation.LIQUID,
                ProductClass.MINIMUM_RISK, False, ()),
    )  # fmt: skip
    places = (PlaceOfLaw("us-ca", "CA", "California", "America/Los_Angeles", (("Placer", "31"),)),)
    return Lexicon(firm, words, products, places)


SITES = (
    Site("S0001", Address("118 TOLLHOUSE LN", "", "AUBURN", "CA", "95603"), "Placer", "us-ca",
         "dwelling", "America/Los_Angeles"),
)  # fmt: skip


@pytest.fixture
def written(tmp_path: Path) -> Path:
    path = tmp_path / "day.xlsx"
    day_sheet_xlsx(lexicon(), SITES, path)
    return path


def filled(path: Path, rows: list[dict[str, object]]) -> bytes:
    book = openpyxl.load_workbook(path)
    page = book["applications"]
    for row, cells in enumerate(rows, 2):
        for heading, value in cells.items():
            page.cell(row, APPLICATION_HEADINGS.index(heading) + 1).value = value
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def test_every_heading_stands_in_order_with_a_note_and_an_example(written: Path):
    book = openpyxl.load_workbook(written)
    assert book.sheetnames == ["applications", "observations", "lists"]
    assert book["lists"].sheet_state == "hidden"
    for title, headings in (
        ("applications", APPLICATION_HEADINGS), ("observations", OBSERVATION_HEADINGS),
    ):  # fmt: skip
        page = book[title]
        assert tuple(cell.value for cell in page[1]) == headings
        for cell in page[1]:
            assert cell.comment is not None, cell.value
            meaning, example = cell.comment.text.split("\n\nExample: ")
            assert len(meaning) > 10
            assert example
        assert page.freeze_panes == "B2"
        assert page.page_setup.orientation == "landscape"
        assert page.print_title_rows == "$1:$1"
    assert tuple(APPLICATION_HELP) == APPLICATION_HEADINGS
    assert tuple(OBSERVATION_HELP) == OBSERVATION_HEADINGS


def test_nothing_that_is_typed_can_be_rewritten(written: Path):
    page = openpyxl.load_workbook(written)["applications"]
    for row in (2, 3, PREPARED_LINES + 1):
        assert {cell.number_format for cell in page[row]} == {"@"}
    assert len(page[2]) == len(APPLICATION_HEADINGS)


def test_drop_down_lists_offer_the_workspaces_own_names(written: Path):
    book = openpyxl.load_workbook(written)
    page, lists = book["applications"], book["lists"]
    offered: dict[str, list[str]] = {}
    for rule in page.data_validations.dataValidation:
        heading = page.cell(1, openpyxl.utils.cell.coordinate_to_tuple(
            str(rule.sqref).split(":")[0])[1]).value  # fmt: skip
        assert rule.type == "list"
        assert rule.errorStyle == "warning", "other spellings are read, so none is forbidden"
        sheet, cells = rule.formula1.split("!")
        assert sheet == "lists"
        offered[heading] = [cell[0].value for cell in lists[cells.replace("$", "")]]
    expected = {h: list(v) for h, v in choices(lexicon(), SITES).items() if h in offered}
    assert offered == expected
    assert offered["product"] == ["ridgeline-dust", "ridgeline-sc", "hearth-mint"]
    assert offered["applicator"] == offered["supervisor"] == ["renner", "marsh"]
    assert offered["site"] == ["S0001"]
    assert offered["county"] == ["Placer"]
    assert offered["pests"] == ["ants", "spiders"]
    assert offered["equipment"] == ["duster-a"]
    texts = [cell.value for row in lists.iter_rows() for cell in row]
    assert "118 TOLLHOUSE LN, AUBURN, 95603" in texts


def test_the_sample_day_filled_into_the_template_is_read_as_it_was(written: Path):
    text = (FIXTURES / "samples" / "day-2026-01-14.csv").read_bytes()
    expected = read_sheet("day.csv", text, month_first=True).drafts
    data = filled(written, [dict(draft.typed) for draft in expected])
    read = read_sheet("day.xlsx", data, month_first=True)
    assert (read.faults, read.remarks, read.observations) == ((), (), ())

    def told(draft: Draft) -> dict[str, str]:
        return {heading: cell.text for heading, cell in draft.cells.items()}

    assert [told(draft) for draft in read.drafts] == [told(draft) for draft in expected]
    assert all(draft.faults == () for draft in read.drafts)


def test_a_spreadsheet_that_stores_values_all_the_same_is_read(written: Path):
    line = {"date": date(2026, 1, 14), "zip": 95603, "applicator": "renner", "product": "x",
            "address": "118 Tollhouse Lane", "amount": "1/2 oz"}  # fmt: skip
    (draft,) = read_sheet("day.xlsx", filled(written, [line]), month_first=True).drafts
    assert draft.faults == ()
    assert (draft.text("date"), draft.text("zip")) == ("2026-01-14", "95603")


def test_an_empty_template_handed_in_says_so(written: Path):
    read = read_sheet("day.xlsx", written.read_bytes(), month_first=True)
    assert [fault.code for fault in read.faults] == ["SHEET-NO-LINES"]


def test_names_that_look_like_formulas_or_hold_odd_signs_stay_text(tmp_path: Path):
    path = tmp_path / "day.xlsx"
    day_sheet_xlsx(lexicon("Odd\x07 & <Sons>", product="=1+1"), (), path)
    book = openpyxl.load_workbook(path)
    cells = [cell for row in book["lists"].iter_rows() for cell in row if cell.value == "=1+1"]
    assert [cell.data_type for cell in cells] == ["s"]
    day_sheet_pdf(lexicon("Odd\x07 & <Sons> #let *x*", product="=1+1"), tmp_path / "day.pdf")
    assert "#let *x*" in pypdf.PdfReader(tmp_path / "day.pdf").pages[0].extract_text()


def test_a_workspace_without_anything_gives_a_sheet_all_the_same(tmp_path: Path):
    firm = Firm("", "", "", "", "", "", "", "", True, "", "")
    bare = Lexicon(firm, Words({}), ())
    day_sheet_xlsx(bare, (), tmp_path / "day.xlsx")
    day_sheet_pdf(bare, tmp_path / "day.pdf")
    assert openpyxl.load_workbook(tmp_path / "day.xlsx")["applications"]["A1"].value == "line"
    assert len(pypdf.PdfReader(tmp_path / "day.pdf").pages) == 2


def test_the_page_for_a_pen(tmp_path: Path):
    path = tmp_path / "day.pdf"
    day_sheet_pdf(lexicon(), path)
    document = pypdf.PdfReader(path)
    front, back = document.pages
    assert front.mediabox.width > front.mediabox.height
    assert (float(front.mediabox.width), float(front.mediabox.height)) == (792, 612), "US letter"
    text = " ".join(front.extract_text().split())
    for needed in (
        "Calloway Home Pest Care", "PR 99031", "Date", "Applicator", "Supervisor", "product, lot",
        "amount", "places", "avoided", "extent", "label in hand", "protective equipment",
        "people and animals out", "power off", "Emergency first", "Poison Help", "Signature",
    ):  # fmt: skip
        assert needed in text, needed
    behind = " ".join(back.extract_text().split())
    for needed in (
        "ridgeline-dust",
        "99999-21",
        "none needed",
        "Tobias Renner",
        "duster-a",
        "ants",
    ):
        assert needed in behind, needed
    assert document.trailer["/Root"]["/MarkInfo"]["/Marked"]


def test_a_firm_named_in_another_script_gets_its_page(tmp_path: Path):
    path = tmp_path / "day.pdf"
    day_sheet_pdf(lexicon("Каллоуэй 害虫"), path)
    assert len(pypdf.PdfReader(path).pages) == 2


def test_the_page_is_black_on_white(tmp_path: Path):
    path = tmp_path / "day.pdf"
    day_sheet_pdf(lexicon(), path)
    for page in pypdf.PdfReader(path).pages:
        content = page.get_contents()
        assert content is not None
        colours = re.findall(r"([\d.]+) ([\d.]+) ([\d.]+) (?:sc|scn|rg|SC|SCN|RG)\b",
                             content.get_data().decode("latin-1"))  # fmt: skip
        assert all(len(set(colour)) == 1 for colour in colours), "greys only"


def test_the_same_workspace_gives_the_same_page(tmp_path: Path):
    day_sheet_pdf(lexicon(), tmp_path / "a.pdf")
    day_sheet_pdf(lexicon(), tmp_path / "b.pdf")
    assert (tmp_path / "a.pdf").read_bytes() == (tmp_path / "b.pdf").read_bytes()
