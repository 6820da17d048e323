"""Step 5, the seal: the canonical line of an entry, its digest, the chain and the seal code.

Form 1. An entry is one line of JSON with these keys and no others: ``at`` (UTC, six decimals,
``Z``), ``body``, ``by``, ``form`` (1), ``kind``, ``ledger`` (id of the ledger), ``os_user``,
``prev`` (seal of the entry before; empty for the first), ``private`` (digest of the salted
private text, or null), ``refers``, ``replaces`` (sequence numbers or null), ``seq``.
The line is RFC 8785 over text, integers within +-(2^53 - 1), null, lists, and objects with text
keys; floats and booleans are refused (a yes or no is 1 or 0). Text is in normal form C, without
control characters (C0, DEL, C1) and without lone surrogates. The seal is SHA-256 of the line's
UTF-8 bytes, without a line end: ``printf %s "$line" | sha256sum`` proves it.

The private text may be any such text; it is JSON itself, so that a line break inside it stands
as the escape ``\\n``. Its digest is ``SHA-256(salt || UTF-8 of the text)`` with 16 random bytes.
The people's version of this page is ``ledger/journal/FORM.md``.
"""

from __future__ import annotations

import hashlib
import json
import re
import unicodedata
from collections.abc import Callable, Mapping
from typing import Any

from ledger.merkle import (
    Tree,
    check_consistency,
    check_inclusion,
    consistency_proof,
    inclusion_proof,
    leaf,
    tree_root,
)
from ledger.values.finding import Fault
from ledger.values.origin import Origin
from ledger.values.reading import Reading

__all__ = [
    "FORM",
    "FORM_KEYS",
    "LARGEST",
    "SALT_BYTES",
    "Tree",
    "canonical",
    "check_consistency",
    "check_inclusion",
    "consistency_proof",
    "encode",
    "inclusion_proof",
    "is_plainly_written",
    "leaf",
    "plain",
    "plain_text",
    "read_json",
    "read_line",
    "read_seal",
    "read_seal_code",
    "salted",
    "seal_code",
    "seal_of",
    "tree_root",
]

LARGEST = 2**53 - 1
"""The largest integer that every JSON reader keeps exactly (RFC 8785, section 3.2.2.3)."""

FORM = 1
"""The form that new entries are written in."""

FORM_KEYS: Mapping[int, frozenset[str]] = {
    1: frozenset(
        ("at", "body", "by", "form", "kind", "ledger", "os_user", "prev", "private", "refers",
         "replaces", "seq")
    ),
}  # fmt: skip

SALT_BYTES = 16

_UNWANTED = re.compile("[\x00-\x1f\x7f-\x9f\ud800-\udfff]")
_ESCAPED = re.compile(r"(?<!\\)(?:\\\\)*\\[bfnrtu]")
_BEYOND = re.compile("[\U00010000-\U0010ffff]")

_encode_json = json.JSONEncoder(
    ensure_ascii=False, allow_nan=False, sort_keys=True, separators=(",", ":")
).encode


def _standard_writer(value: object) -> str:
    return _encode_json(value)


def _best_writer() -> Callable[[object], str]:
    """Return orjson's writer where it is installed: the same text, three times as fast."""
    try:
        import orjson  # noqa: PLC0415 - optional, and only wanted if it is there
    except ImportError:
        return _standard_writer
    return lambda value: orjson.dumps(value, option=orjson.OPT_SORT_KEYS).decode("utf-8")


_write: Callable[[object], str] = _best_writer()


def canonical(value: object, write: Callable[[object], str] | None = None) -> bytes:
    """Return the canonical JSON bytes of a value; raise ValueError for what has none.

    ``write`` is the JSON writer to use (for tests; all give the same bytes).
    """
    _refuse_types(value)
    try:
        text = (write or _write)(value)
        data = text.encode("utf-8")
    except (UnicodeEncodeError, TypeError) as error:
        raise ValueError("text with a lone surrogate has no canonical form") from error
    if not text.isascii():
        if not unicodedata.is_normalized("NFC", text):
            raise ValueError("text must be in Unicode normal form C")
        if _BEYOND.search(text):
            # Such a key sorts by UTF-16 units in RFC 8785 and by code point in every writer.
            value = _sorted_keys(value)
            text = json.dumps(value, ensure_ascii=False, separators=(",", ":"))
            data = text.encode("utf-8")
    clean = text.isprintable() if text.isascii() else not _UNWANTED.search(text)
    if not clean or ("\\" in text and _ESCAPED.search(text)):
        raise ValueError("text must not hold control characters")
    return data


def _refuse_types(value: object) -> None:
    """Raise ValueError where a value is of a type, or an integer of a size, without a form."""
    if isinstance(value, dict):
        for key in value:
            if not isinstance(key, str):
                raise ValueError(f"the key {key!r} is not text")  # noqa: TRY004 - one error
        value = list(value.values())
    if isinstance(value, list):
        for item in value:
            kind = type(item)
            if kind is str or item is None or (kind is int and -LARGEST <= item <= LARGEST):
                continue
            _refuse_types(item)
    elif value is None or isinstance(value, str):  # a word of a closed list is text, too
        return
    elif isinstance(value, bool) or not isinstance(value, int):
        what = f"{value!r} ({type(value).__name__})"
        raise ValueError(f"{what} has no canonical form")
    elif not -LARGEST <= value <= LARGEST:
        raise ValueError(f"{value} is outside +-(2^53 - 1)")


def _sorted_keys(value: object) -> object:
    if isinstance(value, dict):
        keys = sorted(value, key=lambda key: key.encode("utf-16-be"))
        return {key: _sorted_keys(value[key]) for key in keys}
    if isinstance(value, list):
        return [_sorted_keys(item) for item in value]
    return value


def plain_text(text: str) -> str:
    """Return text as it may be sealed: normal form C, what cannot be printed made visible.

    A control character becomes its picture (U+2400 and on), a lone surrogate and a C1 control
    U+FFFD, so that a strange file name never keeps a true record out of the ledger.
    """
    if _UNWANTED.search(text):
        text = _UNWANTED.sub(_picture, text)
    return text if text.isascii() else unicodedata.normalize("NFC", text)


def _picture(match: re.Match[str]) -> str:
    code = ord(match.group())
    if code < 0x20:
        return chr(0x2400 + code)
    return "\u2421" if code == 0x7F else "\ufffd"


def plain(value: object) -> Any:  # noqa: ANN401 - JSON in, the same shape of JSON out
    """Return a JSON-like value with every text, keys included, made plain."""
    if isinstance(value, str):
        return plain_text(value)
    if isinstance(value, dict):
        return {plain_text(key) if isinstance(key, str) else key: plain(item)
                for key, item in value.items()}  # fmt: skip
    if isinstance(value, list):
        return [plain(item) for item in value]
    return value


def encode(line: Mapping[str, Any]) -> bytes:
    """Return the canonical bytes of an entry's line, by its own form.

    Encoders of old forms stay for ever. Raises ValueError for an unknown form or other keys.
    """
    form = line.get("form")
    keys = FORM_KEYS.get(form) if isinstance(form, int) else None
    if keys is None:
        raise ValueError(f"form {form!r} is not known to this version")
    if line.keys() != keys:
        raise ValueError(f"form {form} has the keys {', '.join(sorted(keys))} and no others")
    return canonical(dict(line))


# A value that is no text begins after a colon, comma or bracket. Without digits a decimal has its
# point or its exponent there, and a true or a false its first letter. A text may hold the same:
# then the texts are taken out, and what is left is looked at.
_ONE = bytes.maketrans(b",[eEtf", b"::....")
_IN_NUMBERS = b"-0123456789"
_DOUBTFUL = b":."
_TIME = len('{"at":"T::.Z"')
"""How long the beginning of a line is without digits; the time in it looks like a decimal."""
_A_TEXT = re.compile(rb'"(?:[^"\\]|\\.)*"')
_NO_WHOLE = re.compile(rb"[.eEtf]")


def _has_whole_numbers_only(data: bytes) -> bool:
    if _DOUBTFUL not in data.translate(_ONE, _IN_NUMBERS)[_TIME:]:
        return True
    return not _NO_WHOLE.search(_A_TEXT.sub(b"", data))


def is_plainly_written(data: bytes) -> bool:
    """Say whether the texts of some JSON are written as in a canonical line; False: cannot tell.

    What every reader of JSON refuses, and what no writer writes, is not looked for.
    """
    other = b"\\" in data and data.count(b"\\") != data.count(b'\\"')
    if other and _ESCAPED.search(str(data, "utf-8")):
        return False
    if data.isascii():
        return b"\x7f" not in data
    text = str(data, "utf-8")
    return (
        not _UNWANTED.search(text)
        and not _BEYOND.search(text)  # such a key sorts in a way of its own
        and unicodedata.is_normalized("NFC", text)
    )


def _read_slowly(_text: str, data: bytes) -> dict[str, Any]:
    line = json.loads(data)
    if not isinstance(line, dict) or encode(line) != data or not isinstance(line["body"], dict):
        raise ValueError("not a canonical line")
    return line


def _best_reader() -> Callable[[str, bytes], dict[str, Any]]:
    """Return the reader of lines that orjson makes possible where it is installed."""
    try:
        import orjson  # noqa: PLC0415 - optional, and only wanted if it is there
    except ImportError:
        return _read_slowly
    loads, dumps = orjson.loads, orjson.dumps
    option = orjson.OPT_SORT_KEYS | orjson.OPT_STRICT_INTEGER

    def read(text: str, data: bytes) -> dict[str, Any]:
        # Written again as it was read it comes out the same: so there are no spaces, no key twice,
        # none out of order. What that does not show (decimals, controls, normal form) is looked
        # for, and where it may be the slow reader decides.
        line = loads(data)
        if dumps(line, option=option) != data or line.keys() != FORM_KEYS.get(line["form"]):
            raise ValueError("not a canonical line")
        usual = type(line["at"]) is str and type(line["body"]) is dict
        if usual and is_plainly_written(data) and _has_whole_numbers_only(data):
            return line  # type: ignore[no-any-return] # a dict, or keys() would have failed
        return _read_slowly(text, data)

    return read


read_line: Callable[[str, bytes], dict[str, Any]] = _best_reader()
"""Return what a line says, given as text and as its bytes, if it is canonical in a known form.

An error of any kind (ValueError, TypeError, LookupError, AttributeError, RecursionError) says that
it may not be, never what is wrong; ``encode`` of what ``json`` reads says that.
"""


def _best_json() -> Callable[[str | bytes], Any]:
    """Return orjson's reader where it is installed: twice as fast."""
    try:
        import orjson  # noqa: PLC0415 - as above
    except ImportError:
        return json.loads
    loads = orjson.loads

    def read(text: str | bytes) -> Any:  # noqa: ANN401 - whatever the JSON says
        try:
            return loads(text)
        except ValueError:
            return json.loads(text)  # it takes more, and its word on what is wrong is the known one

    return read


read_json: Callable[[str | bytes], Any] = _best_json()
"""Return what some JSON of the ledger's own says; ValueError where it is none."""


def seal_of(data: bytes) -> str:
    """Return the seal of an entry's canonical bytes: SHA-256 as 64 hex digits."""
    return hashlib.sha256(data).hexdigest()


def salted(text: str, salt: bytes) -> str:
    """Return ``SHA-256(salt || UTF-8 of the text)`` as hex; the salt is 16 bytes."""
    if len(salt) != SALT_BYTES:
        raise ValueError(f"a salt has {SALT_BYTES} bytes, this one has {len(salt)}")
    return hashlib.sha256(salt + text.encode("utf-8")).hexdigest()


# The alphabet and the check symbols of Crockford's base 32
# (https://www.crockford.com/base32.html; alphabet and check from memory).
_DIGITS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
_CHECKS = _DIGITS + "*~$=U"
_VALUE = {digit: value for value, digit in enumerate(_DIGITS)} | {"O": 0, "I": 1, "L": 1}
_CHECK_VALUE = {sign: value for value, sign in enumerate(_CHECKS)} | {"O": 0, "I": 1, "L": 1}
_CODE_DIGITS = 26
_GROUPS = ((0, 5), (5, 10), (10, 15), (15, 20), (20, 26), (26, 27))
_BETWEEN = re.compile(r"[\s\-\u2010-\u2015\u2212]+")


def seal_code(seal: str) -> str:
    """Return the first 128 bits of a seal for paper: 26 characters in groups and a check sign."""
    number = int(seal[:32], 16)
    digits = "".join(_DIGITS[number >> shift & 31] for shift in range(125, -1, -5))
    code = digits + _CHECKS[number % 37]
    return "-".join(code[start:end] for start, end in _GROUPS)


def read_seal_code(text: str) -> Reading[str]:
    """Read a seal code as a person types it; the value is the seal's first 32 hex digits.

    Case, hyphens and spaces do not matter; O reads as 0, I and L as 1. Fault codes: SEAL-CODE.
    """
    signs = _BETWEEN.sub("", text).upper()
    if len(signs) != _CODE_DIGITS + 1:
        return _no_code(
            text, f"has {len(signs)} characters without hyphens; a code has 26 and a check sign"
        )
    number = 0
    for place, sign in enumerate(signs[:_CODE_DIGITS], start=1):
        if sign not in _VALUE:
            return _no_code(text, f'"{sign}" (character {place}) does not occur in a seal code')
        number = number << 5 | _VALUE[sign]
    check = _CHECK_VALUE.get(signs[-1])
    if check != number % 37 or number >> 128:
        return _no_code(text, "a character is mistyped: the check sign at the end does not fit")
    return Reading(f"{number:032x}")


def read_seal(text: str) -> Reading[str]:
    """Read a kept seal: a seal code (32 hex digits are returned) or 64 hex digits of a seal."""
    signs = _BETWEEN.sub("", text).lower()
    if re.fullmatch(r"[0-9a-f]{64}", signs):
        return Reading(signs)
    return read_seal_code(text)


def _no_code(text: str, what: str) -> Reading[str]:
    fault = Fault(
        "SEAL-CODE", Origin(file="seal"), f'"{text.strip()}": {what}',
        "compare it with the paper character by character",
    )  # fmt: skip
    return Reading(None, (fault,))
