"""Checking a packet or a proof without the ledger: sums, seals, chain, private texts, inclusion."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from ledger.merkle import check_inclusion
from ledger.seal import encode, leaf, read_seal, salted, seal_of
from ledger.values.finding import Fault
from ledger.values.origin import Origin

SUMS = "SHA256SUMS"
_SUM = re.compile(r"([0-9a-f]{64})  (.+)")
WAY_OUT = "ask for the packet again, and compare its seal codes with those on paper"


@dataclass(frozen=True)
class PacketProof:
    """What checking found: files and entries that were proved, entries beyond the newest close.

    ``witnesses`` are the given seal codes that an entry of the packet has.
    """

    files: int
    entries: int
    proved: int
    beyond: int
    privates: int
    problems: tuple[Fault, ...]
    witnesses: tuple[str, ...] = ()

    @property
    def ok(self) -> bool:
        """Whether everything is as it was sealed, and there is something."""
        return self.entries > 0 and not self.problems


def check_packet(files: Mapping[str, bytes], codes: Sequence[str] = ()) -> PacketProof:
    """Check the files of a packet by path."""
    check = _Check()
    check.sums(files)
    lines = check.lines(files)
    about = check.about(files)
    check.chain(lines, whole=about.get("whole") == 1, head=about.get("head"))
    privates = check.privates(files, lines, redacted=about.get("redacted") == 1)
    proved, beyond = check.inclusion(lines, about)
    seen = check.witnesses(lines, codes)
    return PacketProof(
        len(files), len(lines), proved, beyond, privates, tuple(check.problems), seen
    )


def check_proof(proof: Mapping[str, Any], codes: Sequence[str] = ()) -> PacketProof:
    """Check a proof of one entry as ``prove`` writes it."""
    check = _Check()
    lines: dict[int, tuple[str, dict[str, Any]]] = {}
    try:
        for part in (proof["entry"], proof["close"]):
            check.line(part["line"], lines, "proof")
            if seal_of(part["line"].encode("utf-8")) != part["seal"]:
                check.say("PACKET-SEAL", "proof", f"the seal of entry {part['seq']} is another one")
        seq = proof["entry"]["seq"]
        if proof["index"] != seq - 1 or proof["close"]["seq"] not in lines:
            check.say("PACKET-PROOF", "proof", "the index is not that of the entry")
        paths = {str(seq): proof["path"]}
        about = {"close": proof["close"]["seq"], "paths": paths, "beyond": []}
        proved, _ = check.inclusion(lines, about, only=(seq,))
    except (KeyError, TypeError, AttributeError):
        check.say("PACKET-PROOF", "proof", "it does not have the parts of a proof")
        proved = 0
    seen = check.witnesses(lines, codes)
    return PacketProof(1, len(lines), proved, 0, 0, tuple(check.problems), seen)


class _Check:
    """The problems found so far."""

    def __init__(self) -> None:
        self.problems: list[Fault] = []

    def say(self, code: str, file: str, what: str, row: int | None = None) -> None:
        """Note a problem of a file."""
        self.problems.append(Fault(code, Origin(file, row), what, WAY_OUT))

    def sums(self, files: Mapping[str, bytes]) -> None:
        """Check the sum of every file; none may be missing and none may be beside the list."""
        listed: dict[str, str] = {}
        for line in files.get(SUMS, b"").decode("utf-8", "replace").splitlines():
            found = _SUM.fullmatch(line)
            if found is None:
                self.say("PACKET-SUMS", SUMS, f"a line that is no sum: {line[:80]!r}")
            else:
                listed[found[2]] = found[1]
        for name in sorted({*listed, *files} - {SUMS}):
            if name not in listed:
                self.say("PACKET-FILE", name, "is not listed: it was put in later")
            elif name not in files:
                self.say("PACKET-FILE", name, "is listed and not there")
            elif hashlib.sha256(files[name]).hexdigest() != listed[name]:
                self.say("PACKET-FILE", name, "was changed")

    def lines(self, files: Mapping[str, bytes]) -> dict[int, tuple[str, dict[str, Any]]]:
        """Return the entries' lines by number, each with what it says, after checking them."""
        name = "journal/lines.jsonl"
        found: dict[int, tuple[str, dict[str, Any]]] = {}
        texts = files.get(name, b"").decode("utf-8", "replace").split("\n")
        for row, text in enumerate(filter(None, texts), start=1):
            self.line(text, found, name, row)
        seals = [f"{seq} {seal_of(text.encode())}" for seq, (text, _) in found.items()]
        if files.get("journal/seals.txt", b"").decode("utf-8", "replace").split("\n")[:-1] != seals:
            self.say("PACKET-SEAL", "journal/seals.txt", "the seals are not those of the lines")
        return found

    def line(
        self, text: str, found: dict[int, tuple[str, dict[str, Any]]], name: str, row: int = 1
    ) -> None:
        """Add a line if it is canonical, else note it."""
        try:
            line = json.loads(text)
            good = encode(line) == text.encode("utf-8") and line["seq"] not in found
        except (ValueError, KeyError, AttributeError, TypeError, RecursionError):
            good = False
        if good:
            found[line["seq"]] = (text, line)
        else:
            self.say("PACKET-LINE", name, "not the canonical line of an entry", row)

    def about(self, files: Mapping[str, bytes]) -> dict[str, Any]:
        """Return what the packet says of itself."""
        try:
            about = json.loads(files.get("journal/packet.json", b""))
        except (ValueError, RecursionError):
            about = None
        if not isinstance(about, dict):
            self.say("PACKET-ABOUT", "journal/packet.json", "is missing or cannot be read")
            return {}
        return about

    def chain(
        self, lines: Mapping[int, tuple[str, dict[str, Any]]], *, whole: bool, head: object
    ) -> None:
        """Check that neighbours follow one another, and that a whole packet has every entry."""
        for seq, (_, line) in lines.items():
            before = lines.get(seq - 1)
            if before and line["prev"] != seal_of(before[0].encode("utf-8")):
                self.say("PACKET-CHAIN", "journal/lines.jsonl", f"entry {seq} does not follow")
        if len({line["ledger"] for _, line in lines.values()}) > 1:
            self.say("PACKET-CHAIN", "journal/lines.jsonl", "entries of more than one ledger")
        if (
            whole
            and isinstance(head, dict)
            and sorted(lines) != list(range(1, int(head.get("seq", 0)) + 1))
        ):
            self.say(
                "PACKET-CHAIN", "journal/lines.jsonl", "entries of the whole ledger are missing"
            )

    def privates(
        self, files: Mapping[str, bytes], lines: Mapping[int, tuple[str, dict[str, Any]]],
        *, redacted: bool,
    ) -> int:  # fmt: skip
        """Check the private texts against the digests in the lines; return how many there are."""
        name, count = "journal/private.jsonl", 0
        for text in files.get(name, b"").decode("utf-8", "replace").split("\n"):
            if not text:
                continue
            try:
                item = json.loads(text)
                digest = salted(item["text"], bytes.fromhex(item["salt"]))
                good = lines[item["seq"]][1]["private"] == digest
            except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
                good = False
            count += 1
            if not good:
                self.say("PACKET-PRIVATE", name, "a private text is not the one sealed", count)
        if redacted and count:
            self.say("PACKET-PRIVATE", name, "names are withheld and the texts are there")
        return count

    def inclusion(
        self, lines: Mapping[int, tuple[str, dict[str, Any]]], about: Mapping[str, Any],
        only: Sequence[int] | None = None,
    ) -> tuple[int, int]:  # fmt: skip
        """Check every path against the root in the close's own line; return proved and beyond."""
        beyond, paths = about.get("beyond") or [], about.get("paths") or {}
        close = lines.get(about.get("close") or 0)
        if close is None or close[1]["kind"] != "close":
            if paths or about.get("close"):
                self.say("PACKET-PROOF", "journal/packet.json", "the line of the close is missing")
            return 0, len(lines)
        body = close[1]["body"]
        proved = 0
        for seq in lines if only is None else only:
            if seq > body["size"]:
                continue  # sealed after the close, and counted as such
            if _guarded(lambda seq=seq: _included(lines[seq][0], seq, body, paths)):  # type: ignore[misc]
                proved += 1
            else:
                self.say(
                    "PACKET-PROOF", "journal/packet.json", f"entry {seq} is not under the root"
                )
        return proved, len(beyond)

    def witnesses(
        self, lines: Mapping[int, tuple[str, dict[str, Any]]], codes: Sequence[str]
    ) -> tuple[str, ...]:
        """Return the given codes that an entry has; note the others."""
        seals = {seal_of(text.encode("utf-8")) for text, _ in lines.values()}
        found = []
        for code in codes:
            reading = read_seal(code)
            self.problems += reading.faults
            if reading.value is None:
                continue
            if any(seal.startswith(reading.value) for seal in seals):
                found.append(code)
            else:
                self.say("PACKET-WITNESS", "seal", f'no entry here has the seal "{code}"')
        return tuple(found)


def _included(text: str, seq: int, body: Mapping[str, Any], paths: Mapping[str, Any]) -> bool:
    path = [bytes.fromhex(step) for step in paths[str(seq)]]
    root = bytes.fromhex(body["root"])
    return check_inclusion(leaf(text.encode("utf-8")), seq - 1, body["size"], path, root)


def _guarded(check: Callable[[], bool]) -> bool:
    try:
        return check()
    except (KeyError, ValueError, TypeError):
        return False
