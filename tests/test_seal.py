"""The canonical line, the salted text and the seal code."""

from __future__ import annotations

import hashlib
import json
import shutil
import subprocess
import unicodedata
from pathlib import Path
from typing import Any

import pytest
import rfc8785
from hypothesis import example, given
from hypothesis import strategies as st

from ledger import seal
from ledger.seal import (
    LARGEST,
    canonical,
    encode,
    plain,
    read_seal,
    read_seal_code,
    salted,
    seal_code,
    seal_of,
)

GOLDEN = Path(__file__).parents[1] / "fixtures" / "golden"

TEXT = st.text(st.characters(exclude_categories=("Cs", "Cc"))).map(
    lambda text: unicodedata.normalize("NFC", text)
)
WHOLE = st.integers(-LARGEST, LARGEST)
VALUES = st.recursive(
    st.none() | WHOLE | TEXT,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(TEXT, inner, max_size=4),
    max_leaves=20,
)


def standard(value: object) -> str:
    return seal._standard_writer(value)


@given(VALUES)
@example({"\U0001f600": 1, "\uffee": 2})
@example({"\u20ac": 1, "r": 2, "1": 3, "\u00f6": 4, "\U0001d11e": 5, "\uff21": 6})
def test_canonical_bytes_are_those_of_rfc_8785(value: Any) -> None:
    # The rfc8785 package is an independent implementation of the standard.
    assert canonical(value) == rfc8785.dumps(value)


@given(VALUES)
def test_every_writer_gives_the_same_bytes(value: Any) -> None:
    pytest.importorskip("orjson", reason="only the standard writer is installed")
    assert canonical(value) == canonical(value, write=standard)


@given(VALUES)
def test_a_value_comes_back_from_its_canonical_bytes(value: Any) -> None:
    assert json.loads(canonical(value)) == value


@pytest.mark.parametrize(
    ("value", "why"),
    [
        (True, "no canonical form"), ([False], "no canonical form"), (0.5, "no canonical form"),
        (float("nan"), "no canonical form"), ((1,), "no canonical form"),
        (b"x", "no canonical form"), ({1: "x"}, "not text"), (LARGEST + 1, "outside"),
        (-LARGEST - 1, "outside"), ("two\nlines", "control"), ("tab\t", "control"),
        ({"key\x00": 1}, "control"), ("\x7f", "control"), ("\x85", "control"),
        ("\\\n", "control"), ("e\u0301", "form C"), ({"e\u0301": 1}, "form C"),
        ("\ud800", "surrogate"), ({"\udcff": None}, "surrogate"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("write", [None, standard])
def test_what_has_no_canonical_form_is_refused(value: Any, why: str, write: Any) -> None:
    with pytest.raises(ValueError, match=why):
        canonical(value, write)


@pytest.mark.parametrize("text", ["\\n", '"\\u0007"', "C:\\new\\table", "\\\\u", '\\"'])
def test_a_backslash_of_the_text_is_no_control_character(text: str) -> None:
    assert json.loads(canonical(text)) == text


@given(st.text() | st.text(st.characters(categories=("Cs", "Cc"))))
def test_plain_text_can_always_be_sealed_and_is_left_alone_once_plain(text: str) -> None:
    once = plain(text)
    assert canonical({"k": [once]})
    assert plain(once) == once


def test_plain_keeps_what_was_there_visible() -> None:
    assert plain({"na\u0301me": ["a\nb", "\x7f", "\udc80", 3, None]}) == {
        "n\u00e1me": ["a\u240ab", "\u2421", "\ufffd", 3, None]
    }


def test_golden_lines_keep_their_bytes_and_seals() -> None:
    """The vectors were written with form 1 and must never change; a new form adds its own."""
    vectors = json.loads((GOLDEN / "form-1.json").read_text(encoding="utf-8"))
    assert len(vectors) >= 8
    for vector in vectors:
        data = encode(vector["line"])
        assert data.decode("utf-8") == vector["canonical"]
        assert data == rfc8785.dumps(vector["line"])
        assert seal_of(data) == vector["seal"]


@pytest.mark.skipif(shutil.which("sha256sum") is None, reason="coreutils are not installed")
def test_a_line_proves_itself_with_sha256sum() -> None:
    vector = json.loads((GOLDEN / "form-1.json").read_text(encoding="utf-8"))[0]
    said = subprocess.run(
        ["sha256sum"], input=vector["canonical"].encode(), capture_output=True, check=True
    )
    assert said.stdout.split()[0].decode() == vector["seal"]


@pytest.mark.parametrize("change", [{"form": 2}, {"form": None}, {"extra": 1}, {"body": ...}])
def test_a_line_of_another_form_or_with_other_keys_is_refused(change: dict[str, Any]) -> None:
    line = json.loads((GOLDEN / "form-1.json").read_text(encoding="utf-8"))[0]["line"]
    for key, value in change.items():
        if value is ...:
            del line[key]
        else:
            line[key] = value
    with pytest.raises(ValueError, match="form"):
        encode(line)


def test_the_salted_digest_is_sha_256_of_salt_and_text() -> None:
    salt = bytes(range(16))
    assert salted("é", salt) == hashlib.sha256(salt + b"\xc3\xa9").hexdigest()
    assert salted("é", bytes(16)) != salted("é", salt)
    with pytest.raises(ValueError, match="16 bytes"):
        salted("é", b"short")


@given(st.binary(min_size=32, max_size=32))
def test_a_seal_code_gives_the_first_128_bits_back(raw: bytes) -> None:
    code = seal_code(raw.hex())
    assert [len(group) for group in code.split("-")] == [5, 5, 5, 5, 6, 1]
    assert read_seal_code(code).value == raw.hex()[:32]
    assert read_seal(code).value == raw.hex()[:32]


def test_a_known_seal_code() -> None:
    """Worked by hand: 1 is the digit 1 and the remainder 1; 2^128 - 1 begins with a 7."""
    assert seal_code("0" * 31 + "1" + "f" * 32) == "00000-00000-00000-00000-000001-1"
    assert seal_code("f" * 64).startswith("7ZZZZ-ZZZZZ-ZZZZZ-ZZZZZ-ZZZZZZ-")


def test_a_seal_code_is_read_as_people_type_it() -> None:
    value = hashlib.sha256(b"typed").hexdigest()
    code = seal_code(value)
    spoken = code.lower().replace("0", "o").replace("1", "l").replace("-", " ")
    assert read_seal_code(f"  {spoken}\n").value == value[:32]
    assert read_seal_code(code.replace("1", "I").replace("-", "\u2013")).value == value[:32]
    assert read_seal(value.upper()).value == value


@pytest.mark.parametrize("seed", range(6))
def test_every_single_mistyped_character_is_noticed(seed: int) -> None:
    code = seal_code(hashlib.sha256(bytes([seed])).hexdigest()).replace("-", "")
    for place, right in enumerate(code):
        for wrong in "0123456789ABCDEFGHJKMNPQRSTVWXYZ*~$=U":
            if wrong != right:
                reading = read_seal_code(code[:place] + wrong + code[place + 1 :])
                assert reading.value is None
                assert reading.faults[0].code == "SEAL-CODE"


@pytest.mark.parametrize("text", ["", "ABC", "0" * 26, "0" * 28, "f" * 63, "Z" * 27])
def test_what_is_no_seal_code_says_so(text: str) -> None:
    reading = read_seal(text)
    assert reading.value is None
    assert "compare it with the paper" in reading.faults[0].way_out
