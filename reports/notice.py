"""A notice as it is handed out: text, one page to print, and a page for a message or a screen."""

from __future__ import annotations

import textwrap
from dataclasses import asdict
from html import escape
from typing import Any

from ledger.notice import Notice
from reports.sheet import Column, Sheet, plain

WIDTH = 80
_NAME = 14
SIGNED = ("Given to", "By", "Day")
CAUTION = (
    "The label of each product and the law of the place come first. Ask for the label, which the"
    " firm has with it."
)


def notice_text(notice: Notice, seal: str = "") -> str:
    """Return the notice as plain text, 80 letters wide."""
    lines = [notice.title.upper(), ""]
    for what, value in notice.about:
        lines += _wrapped(what, value)
    for item in notice.lines:
        lines += ["", item.heading]
        for text in item.texts:
            lines += textwrap.wrap(text, WIDTH, initial_indent="  ", subsequent_indent="  ")
    for words in (*notice.statements, *notice.cautions, CAUTION):
        lines += ["", *textwrap.wrap(words, WIDTH)]
    lines += ["", *(f"{field}: ______________________________" for field in SIGNED)]
    if seal:
        lines += ["", f"Ledger seal {seal}"]
    return plain("\n".join(lines))


def _wrapped(what: str, value: str) -> list[str]:
    first, rest = f"{what:<{_NAME}}", " " * _NAME
    return textwrap.wrap(value, WIDTH, initial_indent=first, subsequent_indent=rest) or [first]


def notice_sheet(notice: Notice, seal: str = "") -> Sheet:
    """Return the notice as a sheet of one page."""
    said = (
        *((item.heading, item.texts) for item in notice.lines),
        ("Statement of the law", notice.statements),
        ("Please", notice.cautions),
    )
    rows = tuple(
        (heading if place == 0 else "", text)
        for heading, texts in said
        for place, text in enumerate(texts)
    )
    seals = (("Ledger seal", seal),) if seal else ()
    return Sheet(
        name=f"notice {notice.when} the job",
        title=notice.title,
        about=(*notice.about, *seals),
        columns=(Column("What"), Column("It is")),
        rows=rows,
        signature=SIGNED,
        caution=CAUTION,
    )


_PAGE = """\
<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<title>{title}</title>
<style>
body {{ font: 12pt/1.4 serif; color: #000; background: #fff; max-width: 42em; margin: 2em auto; }}
dt {{ font-weight: bold; margin-top: .6em; }}
dd {{ margin: 0 0 0 1em; }}
footer {{ font-size: 10pt; margin-top: 1.5em; }}
</style>
</head>
<body>
<main>
<h1>{title}</h1>
<p>{about}</p>
<dl>
{lines}
</dl>
{words}
</main>
<footer>{seal}</footer>
</body>
</html>
"""


def notice_html(notice: Notice, seal: str = "") -> str:
    """Return the notice as a page of HTML that needs nothing else; every text is escaped."""
    about = "<br>\n".join(
        f"{escape(what)} {escape(value)}".strip() for what, value in notice.about if value
    )
    lines = "\n".join(
        f"<dt>{escape(item.heading)}</dt>" + "".join(f"<dd>{escape(t)}</dd>" for t in item.texts)
        for item in notice.lines
    )
    said = (*notice.statements, *notice.cautions, CAUTION)
    words = "\n".join(f"<p>{escape(text)}</p>" for text in said)
    return plain(
        _PAGE.format(
            title=escape(notice.title), about=about, lines=lines, words=words,
            seal=f"Ledger seal {escape(seal)}" if seal else "",
        )
    )  # fmt: skip


def notice_values(notice: Notice) -> dict[str, Any]:
    """Return the notice as plain values for JSON."""
    values = asdict(notice)
    values["about"] = [{"what": what, "value": value} for what, value in notice.about]
    return values
