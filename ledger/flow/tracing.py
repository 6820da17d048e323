"""One entry's whole story: the nine steps, recomputed, from the cell to the report line."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from ledger.flow.file_names import row_of
from ledger.flow.inspecting import (
    differences_of,
    judge_anew,
    judgements_of,
    judges_of,
    program_of,
    read_again,
    reason_of,
)  # fmt: skip
from ledger.flow.judging import booked
from ledger.flow.lines import BOOKED
from ledger.flow.periods import line_of_entry
from ledger.flow.plain_story import said_by
from ledger.flow.workspace import Workspace, sealed_entry
from ledger.inspection import Difference
from ledger.journal import Reader
from ledger.seal import salted, seal_code, seal_of
from ledger.values.finding import Finding, render_finding
from ledger.values.rounding import exact_text
from ledger.values.sealed import EntryKind, Sealed


@dataclass(frozen=True)
class Step:
    """One step of an entry's story: its number, its name, what it shows, line by line."""

    number: int
    name: str
    lines: tuple[str, ...]
    differences: tuple[Difference, ...] = ()


@dataclass(frozen=True)
class Trace:
    """The nine steps of one entry, recomputed, with every difference from what was sealed."""

    entry: Sealed
    versions: tuple[Sealed, ...]
    steps: tuple[Step, ...]

    @property
    def differences(self) -> tuple[Difference, ...]:
        """Every difference of every step."""
        return tuple(item for step in self.steps for item in step.differences)


def trace(workspace: Workspace, seq: int) -> Trace:
    """Return the whole story of an entry, recomputed from kept cells and kept rules."""
    with workspace.store.reading() as reader:
        return story(workspace, reader, sealed_entry(reader, seq))


def story(workspace: Workspace, reader: Reader, entry: Sealed) -> Trace:
    """Return the story of an entry; one that is no application tells its own few steps."""
    if entry.kind not in BOOKED:
        return Trace(entry, reader.versions(entry.seq), tuple(_plain(reader, entry)))
    return Trace(entry, reader.versions(entry.seq), tuple(_steps(workspace, reader, entry)))


def _plain(reader: Reader, entry: Sealed) -> Iterator[Step]:
    yield Step(1, "what it says", tuple(said_by(entry)))
    yield _seal_step(reader, entry)
    if entry.kind is EntryKind.HELD:
        after = reader.referring(entry.seq)
        lines = [
            f"entry {later.seq}: {later.kind}, {reason_of(later)}".rstrip(", ") for later in after
        ]
        yield Step(6, "what became of it", tuple(lines) or ("it is still held",))


def _steps(workspace: Workspace, reader: Reader, entry: Sealed) -> Iterator[Step]:
    use = booked(entry).use
    cells = dict(json.loads(entry.private)["cells"]) if entry.private else {}
    yield _read_step(workspace, reader, entry, cells)
    record, sealed_findings, found = judge_anew(workspace, reader, entry)
    amount = f"{exact_text(use.used.fraction)} {use.used.unit} of undiluted product"
    marks = " (worked out from the mix)" if use.used.derived else ""
    start = f" {use.start.isoformat('minutes')}" if use.start else ""
    normalised = (
        f"{use.date}{start} at site {use.site} in {use.county}, {use.jurisdiction}",
        f"{use.product_name} ({use.product_key}), label {use.label[:16]}",
        f"{use.amount.text} -> {amount}{marks}",
        f"by {use.applicator} {use.licence}".rstrip()
        + (f", supervised by {use.supervisor} {use.supervisor_licence}" if use.supervisor else ""),
    )
    yield Step(2, "normalised", normalised, record)
    label, law = _by_family(sealed_findings)
    label_again, law_again = _by_family(found)
    unjudged = _unjudged(entry)
    for number, name, then, now in (
        (3, "checked against the label", label, label_again),
        (4, "checked against the law of the place", law, law_again),
    ):
        differences = differences_of(then, now)
        judges = (judges_of(workspace, reader, entry.seq),) if differences else ()
        yield Step(number, name, (*(unjudged or _shown(then)), *judges), differences)
    yield _seal_step(reader, entry)
    yield Step(6, "closed", tuple(_closes(reader, entry)) or ("the day is not closed since",))
    yield from _later_steps(workspace, reader, entry)


def _read_step(workspace: Workspace, reader: Reader, entry: Sealed, cells: dict[str, str]) -> Step:
    lines = [f"{row_of(entry)}, sheet {entry.body['sheet'][:16]}"]
    lines += [f"{heading}: {text}" for heading, text in cells.items()]
    if entry.kind is EntryKind.AMENDMENT:
        lines.append(f"amended: {reason_of(entry)} (by {entry.by})")
        return Step(1, "read", tuple(lines))
    if entry.private is None:
        return Step(1, "read", (*lines, "the texts were disposed of"))
    kept = read_again(workspace, reader, entry)
    if kept is None:
        return Step(1, "read", (*lines, "the sheet's bytes are not kept any more"))
    differences = tuple(
        Difference(f"cell {heading}", cells.get(heading, ""), kept.get(heading, ""))
        for heading in sorted({*cells, *kept})
        if cells.get(heading, "") != kept.get(heading, "") and entry.body["clears"] is None
    )
    return Step(1, "read", tuple(lines), differences)


def _unjudged(entry: Sealed) -> tuple[str, ...]:
    """Return why an entry is not judged again, or nothing."""
    if entry.body.get("carried"):
        return ("carried over from records kept elsewhere: counted, not judged here",)
    if entry.private is None:
        return ("its texts were disposed of: what was found then stands, nothing is judged again",)
    return ()


def _by_family(findings: Sequence[Finding]) -> tuple[list[Finding], list[Finding]]:
    """Part findings into those of the label (with practice and people) and those of the law."""
    label = [finding for finding in findings if not _of_law(finding)]
    return label, [finding for finding in findings if _of_law(finding)]


def _of_law(finding: Finding) -> bool:
    return any(rule.file.startswith("jurisdictions/") for rule in finding.rules)


def _shown(findings: list[Finding]) -> tuple[str, ...]:
    return tuple(render_finding(finding, "sealed") for finding in findings) or ("nothing found",)


def _seal_step(reader: Reader, entry: Sealed) -> Step:
    lines = [
        f"entry {entry.seq}, sealed {entry.at} by {entry.by or 'the program'} ({entry.os_user})",
        f"seal {entry.seal}",
        f"after {entry.prev or 'nothing: the first entry'}",
    ]
    for judgement, findings in judgements_of(reader, entry.seq):
        lines.append(
            f"judged by entry {judgement.seq} ({judgement.body['because']}), rules "
            f"{judgement.body['rules'][:16]}, {program_of(judgement)}: "
            f"{len(findings) or 'no'} finding" + ("" if len(findings) == 1 else "s")
        )
    versions = reader.versions(entry.seq)
    if len(versions) > 1:
        chain = ", ".join(f"{version.seq} {version.kind}" for version in versions)
        lines.append(f"versions: {chain}")
    return Step(5, "appended and sealed", tuple(lines), tuple(_broken_seals(reader, entry)))


def _broken_seals(reader: Reader, entry: Sealed) -> Iterator[Difference]:
    """Yield every seal about this entry that does not come out again from what is kept."""
    for what, sealed in (
        ("seal", entry),
        *((f"seal of judgement {item.seq}", item) for item in reader.judgements(entry.seq)),
    ):
        again = seal_of(sealed.text.encode())
        if again != sealed.seal:
            yield Difference(what, sealed.seal, again)
    before = reader.entry(entry.seq - 1).seal if entry.seq > 1 else ""
    if before != entry.prev:
        yield Difference("seal of the entry before", entry.prev, before)
    after = next(reader.entries(since_seq=entry.seq), None)
    if after is not None and after.prev != entry.seal:
        yield Difference("seal that the next entry holds", after.prev, entry.seal)
    digest = json.loads(entry.text)["private"]
    kept = next(reader.privates(entry.seq - 1), None)
    if digest is not None and kept is not None and kept[0] == entry.seq:
        again = salted(kept[2], kept[1])
        if again != digest:
            yield Difference("digest of the private text", digest, again)


def _closes(reader: Reader, entry: Sealed) -> Iterator[str]:
    for close in reader.closes(entry.body["date"]):
        if close.body["applicator"] in {None, entry.body["applicator"]} and close.seq > entry.seq:
            yield f"entry {close.seq}: tree size {close.body['size']}, {seal_code(close.seal)}"
    if entry.body["late"] is not None:
        yield f"late: the day was closed already by entry {entry.body['late']}"


def _later_steps(workspace: Workspace, reader: Reader, entry: Sealed) -> Iterator[Step]:
    summed, filed = line_of_entry(workspace, reader, entry)
    yield Step(7, "summed", summed)
    yield Step(8, "filed", filed)
    newest = reader.newest_version(entry.seq)
    state = (
        "current" if newest.seq == entry.seq else f"replaced by entry {newest.seq} ({newest.kind})"
    )
    yield Step(9, "inspected", (f"this version is {state}",))
