"""A firm's workspace: the folder, its rule files, its ledger, and the clock that is handed in."""

from __future__ import annotations

import getpass
import os
import secrets
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from ledger.journal import Reader, Store, Writer, create, open_store
from ledger.rulebook.book import Book
from ledger.rulebook.reading import read_book
from ledger.rulefile import RawFile, gather, kept_files, shipped_rules
from ledger.values.finding import Fault, render_fault
from ledger.values.sealed import EntryKind, NewEntry, Sealed
from ledger.values.version import VERSION

FIRM_FILE = "useledger.toml"
LEDGER_FILE = "ledger.db"
RULES_FOLDER = "rules"
VARIABLE = "USELEDGER_WORKSPACE"

SYNCHRONISED = (
    "dropbox",
    "onedrive",
    "google drive",
    "icloud",
    "nextcloud",
    "syncthing",
    "box sync",
)

Clock = Callable[[], datetime]


class WorkspaceProblem(Exception):  # noqa: N818 - it is shown to people under this name
    """The workspace cannot be used as it stands; says what is wrong and the way out."""

    def __init__(self, what: str, way_out: str, faults: tuple[Fault, ...] = ()) -> None:
        super().__init__(f"{what}; {way_out}" if way_out else what)
        self.what = what
        self.way_out = way_out
        self.faults = faults


def now() -> datetime:
    """Return the machine's time in UTC."""
    return datetime.now(UTC)


def fresh_salt() -> bytes:
    """Return 128 fresh random bits."""
    return secrets.token_bytes(16)


def program_version() -> str:
    """Return the version of this program, as it is sealed with what it judged."""
    return VERSION


@dataclass
class Workspace:
    """An opened workspace. ``books`` keeps rulebooks of the past that this run has rebuilt.

    ``program`` is the version that judges here: sealed with each judgement, beside the rules.
    """

    root: Path
    book: Book
    store: Store
    clock: Clock
    os_user: str
    books: dict[str, Book] = field(default_factory=dict)
    program: str = field(default_factory=lambda: program_version())  # noqa: PLW0108 - tests set it

    def today(self) -> date:
        """Return the day at the firm's home, by the clock handed in."""
        return self.clock().astimezone(ZoneInfo(self.book.firm.time_zone)).date()

    def require_person(self, key: str, asked: str = "--by") -> str:
        """Return the key of a person of the workspace, or raise with the known ones.

        ``asked`` names what asked for the person, as the person at the keyboard wrote it.
        """
        person = self.book.firm.person(key)
        if person is None:
            known = ", ".join(person.key for person in self.book.firm.people)
            raise WorkspaceProblem(
                f'{asked}: "{key}" is not a person of this workspace',
                f"name one of {known} (they stand in {FIRM_FILE})",
            )
        return person.key

    def book_of(self, reader: Reader, digest: str) -> Book | None:
        """Return the rulebook with that digest, rebuilt from the kept rule texts if it is old."""
        if digest == self.book.digest:
            return self.book
        if digest not in self.books:
            for entry in reader.entries(kinds=(EntryKind.RULES,)):
                if entry.body["digest"] == digest:
                    self.books[digest] = rebuild_book(reader, entry.body["files"])
        return self.books.get(digest)


def rebuild_book(reader: Reader, files: list[Mapping[str, str]]) -> Book:
    """Return the rulebook that was in use when these kept texts were sealed."""
    texts: dict[str, bytes] = {}
    for item in files:
        data = reader.blob(item["digest"])
        if data is None:
            raise WorkspaceProblem(
                f"the kept text of the rule file {item['path']} is missing from the ledger",
                "run `useledger verify`; restore a backup if it confirms the loss",
            )
        texts[item["path"]] = data
    return read_book(kept_files(texts), lazily=True)


def sealed_entry(reader: Reader, seq: int) -> Sealed:
    """Return an entry by its number, or raise with the way out."""
    try:
        return reader.entry(seq)
    except KeyError:
        raise WorkspaceProblem(
            f"there is no entry {seq}; the newest is {reader.head.seq}",
            "find the number with useledger entries",
        ) from None


def find_root(given: str | None, start: Path | None = None) -> Path:
    """Return the workspace folder: the one given, the variable's, or the nearest above here."""
    if given is not None and not given.strip():
        raise WorkspaceProblem("--workspace names no folder", "write its path, or leave it out")
    wanted = given or os.environ.get(VARIABLE)
    if wanted:
        root = Path(wanted)
        if (root / FIRM_FILE).is_file():
            return root
        raise WorkspaceProblem(
            f"{root} is not a workspace: it has no {FIRM_FILE}",
            f"make one with `useledger init {root}`, or name another with --workspace",
        )
    here = (start or Path.cwd()).resolve()
    for folder in (here, *here.parents):
        if (folder / FIRM_FILE).is_file():
            return folder
    raise WorkspaceProblem(
        f"no workspace here: neither {here} nor a folder above it has a {FIRM_FILE}",
        "make one with `useledger init DIR`, or name one with --workspace DIR",
    )


def read_rules(root: Path | None, *, whole: bool = False) -> Book:
    """Return the rulebook of a workspace (or of the shipped files alone).

    ``whole`` reads also what nobody may ask for: the law of every place, every report form.
    """
    firm_file = root / FIRM_FILE if root else None
    folder = root / RULES_FOLDER if root else None
    gathered = gather(shipped_rules(), folder, firm_file)
    # The shipped labels are invented examples; a firm's products are its own label files only.
    return read_book(
        [file for file in gathered.files if not (root and file.shipped and file.family == "label")],
        lazily=not whole,
    )


def database_url(root: Path, book: Book) -> str:
    """Return where the ledger is: the firm file's database, or the workspace's own file."""
    return book.firm.database or f"sqlite:///{(root / LEDGER_FILE).resolve()}"


def open_workspace(
    given: str | None = None,
    clock: Clock = now,
    salts: Callable[[], bytes] = fresh_salt,
    *,
    proving: bool = False,
) -> Workspace:
    """Open an existing workspace; raise ``WorkspaceProblem`` with the way out if that fails.

    ``proving`` opens a ledger whose guard is broken as well, to prove what is left of it.
    """
    root = find_root(given)
    book = read_rules(root)
    refuse_broken_firm(book)
    if not book.firm.database and not (root / LEDGER_FILE).is_file():
        raise WorkspaceProblem(
            f"{root} has no ledger ({LEDGER_FILE} is gone)",
            "restore a backup of it; `useledger init` makes a new one only in a new folder",
        )
    url = database_url(root, book)
    store = open_store(url, clock=clock, salts=salts, proving=proving)
    return Workspace(root, book, store, clock, os_user())


def refuse_broken_firm(book: Book) -> None:
    """Raise when the firm file or a closed list cannot be read: no line can be booked without."""
    vital = (FIRM_FILE, "units.toml", "words.toml")
    faults = tuple(fault for fault in book.faults if fault.origin.file.endswith(vital))
    if faults:
        shown = "\n".join(render_fault(fault) for fault in faults)
        raise WorkspaceProblem(f"the workspace's own file has faults:\n{shown}", "", faults)


def os_user() -> str:
    """Return the operating system's user, stored beside every author."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):  # a container without a user entry
        return f"uid {os.getuid()}" if hasattr(os, "getuid") else "unknown"


def make_workspace(
    root: Path,
    firm_text: str,
    clock: Clock = now,
    salts: Callable[[], bytes] = fresh_salt,
) -> Workspace:
    """Make a new workspace in ``root`` with this firm file and an empty ledger."""
    if (root / FIRM_FILE).exists() or (root / LEDGER_FILE).exists():
        raise WorkspaceProblem(
            f"{root} already is a workspace", "name another folder; nothing was changed"
        )
    if root.exists() and not root.is_dir():
        raise WorkspaceProblem(f"{root} is a file", "name a new or an empty folder")
    if root.exists() and any(root.iterdir()):
        raise WorkspaceProblem(f"{root} is not empty", "name a new or an empty folder")
    data = firm_text.encode("utf-8")
    shipped = gather(shipped_rules(), None, None).files
    own = RawFile("firm", FIRM_FILE, data, shipped=False)
    refuse_broken_firm(read_book([*shipped, own], lazily=True))
    for family in ("labels", "jurisdictions", "practice", "forms"):
        (root / RULES_FOLDER / family).mkdir(parents=True, exist_ok=True)
    (root / FIRM_FILE).write_text(firm_text, encoding="utf-8")
    book = read_rules(root)
    store = create(database_url(root, book), firm=book.firm.name, clock=clock, salts=salts)
    return Workspace(root, book, store, clock, os_user())


def warnings_about(root: Path) -> tuple[str, ...]:
    """Return what is risky about where the workspace lies."""
    path = str(root.resolve()).casefold()
    found = [name for name in SYNCHRONISED if name in path]
    network = path.startswith(("\\\\", "//")) or _on_network(root)
    notes: list[str] = []
    if found:
        notes.append(
            f"{root} lies in a synchronised folder ({found[0]}): two copies of a ledger cannot be "
            "joined again; keep the workspace on a local disk and synchronise backups instead"
        )
    if network:
        notes.append(
            f"{root} lies on a network drive, where file locks cannot be trusted: keep it on a "
            "local disk, or use a PostgreSQL server for many people"
        )
    return tuple(notes)


def _on_network(root: Path) -> bool:
    """Say whether the mount that holds ``root`` is of a network file system (Linux only)."""
    mounts = Path("/proc/mounts")
    if not mounts.exists():
        return False
    best, kind = "", ""
    resolved = str(root.resolve())
    for line in mounts.read_text(encoding="utf-8", errors="replace").splitlines():
        parts = line.split()
        if len(parts) > 2 and resolved.startswith(parts[1]) and len(parts[1]) >= len(best):
            best, kind = parts[1], parts[2]
    return kind in {"nfs", "nfs4", "cifs", "smb3", "smbfs", "fuse.sshfs", "9p", "afs"}


def seal_rules(writer: Writer, book: Book) -> None:
    """Keep the rule texts in use and seal their digest, once per rulebook."""
    for entry in writer.entries(kinds=(EntryKind.RULES,)):
        if entry.body["digest"] == book.digest:
            return
    files = [
        {"path": path, "digest": writer.keep("rule text", data)}
        for path, data in sorted(book.texts.items())
    ]
    writer.append(NewEntry(EntryKind.RULES, {"digest": book.digest, "files": files}))
