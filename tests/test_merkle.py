"""The Merkle tree against a second, recursive computation and against published vectors."""

from __future__ import annotations

import hashlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.merkle import (
    Tree,
    check_consistency,
    check_inclusion,
    consistency_proof,
    inclusion_proof,
    leaf,
)

# The eight inputs and the roots that the tests of certificate transparency logs use for RFC 6962
# (tree hashing is the same in RFC 9162). From memory, and borne out by the definition below.
INPUTS = [
    b"", b"\x00", b"\x10", b"\x20\x21", b"\x30\x31", b"\x40\x41\x42\x43",
    b"\x50\x51\x52\x53\x54\x55\x56\x57",
    b"\x60\x61\x62\x63\x64\x65\x66\x67\x68\x69\x6a\x6b\x6c\x6d\x6e\x6f",
]  # fmt: skip
ROOTS = {
    0: "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    1: "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    2: "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    3: "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    4: "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    5: "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    6: "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    7: "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    8: "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
}


def defined_root(lines: list[bytes]) -> bytes:
    """The definition of RFC 9162, section 2.1.1, word for word."""
    if not lines:
        return hashlib.sha256().digest()
    if len(lines) == 1:
        return hashlib.sha256(b"\x00" + lines[0]).digest()
    k = 1
    while k * 2 < len(lines):
        k *= 2
    return hashlib.sha256(b"\x01" + defined_root(lines[:k]) + defined_root(lines[k:])).digest()


def grown(lines: list[bytes]) -> Tree:
    tree = Tree()
    for line in lines:
        tree.add(line)
    return tree


@pytest.mark.parametrize("size", sorted(ROOTS))
def test_published_roots(size: int) -> None:
    assert grown(INPUTS[:size]).root == ROOTS[size]


@pytest.mark.parametrize("size", [*range(40), 64, 65, 127])
def test_the_root_is_the_defined_one(size: int) -> None:
    lines = [str(number).encode() for number in range(size)]
    assert grown(lines).root == defined_root(lines).hex()


@given(st.lists(st.binary(max_size=9), max_size=70), st.data())
def test_a_tree_goes_on_from_its_peaks(lines: list[bytes], data: st.DataObject) -> None:
    cut = data.draw(st.integers(0, len(lines)))
    first = grown(lines[:cut])
    tree = Tree(first.size, first.peaks)
    for line in lines[cut:]:
        tree.add(line)
    assert (tree.root, tree.size) == (defined_root(lines).hex(), len(lines))


@pytest.mark.parametrize(
    ("size", "peaks"), [(1, []), (3, ["00" * 32]), (-1, []), (1, ["00"]), (0, ["00" * 32])]
)
def test_peaks_that_do_not_fit_the_size_are_refused(size: int, peaks: list[str]) -> None:
    with pytest.raises(ValueError, match="peak"):
        Tree(size, peaks)


@pytest.mark.parametrize("size", range(1, 18))
def test_every_line_is_proved_and_no_other(size: int) -> None:
    lines = [str(number).encode() for number in range(size)]
    leaves = [leaf(line) for line in lines]
    root = defined_root(lines)
    for index in range(size):
        path = inclusion_proof(leaves, index)
        assert check_inclusion(leaves[index], index, size, path, root)
        assert not check_inclusion(leaf(b"another"), index, size, path, root)
        assert not check_inclusion(leaves[index], index, size, path, leaf(b"another"))
        for other in range(size + 2):
            if other != index:
                assert not check_inclusion(leaves[index], other, size, path, root)
        if path:
            assert not check_inclusion(leaves[index], index, size, path[:-1], root)
        assert not check_inclusion(leaves[index], index, size, (*path, root), root)


@pytest.mark.parametrize("size", range(1, 18))
def test_every_beginning_is_proved_and_no_other(size: int) -> None:
    lines = [str(number).encode() for number in range(size)]
    leaves = [leaf(line) for line in lines]
    whole = (size, defined_root(lines))
    for first in range(1, size + 1):
        path = consistency_proof(leaves, first)
        old = (first, defined_root(lines[:first]))
        assert check_consistency(old, whole, path)
        assert not check_consistency((first, leaf(b"another")), whole, path)
        assert not check_consistency(old, (size, leaf(b"another")), path)
        assert not check_consistency((first + 1, old[1]), whole, path)
        if path:
            assert not check_consistency(old, whole, path[:-1])
            assert not check_consistency(old, whole, (leaf(b"x"), *path[1:]))
        assert not check_consistency(old, whole, (*path, old[1]))


def test_a_changed_past_has_no_consistency_proof() -> None:
    lines = [str(number).encode() for number in range(11)]
    old = (5, defined_root(lines[:5]))
    lines[2] = b"changed"
    leaves = [leaf(line) for line in lines]
    path = consistency_proof(leaves, 5)
    assert not check_consistency(old, (11, defined_root(lines)), path)


def test_proofs_of_nothing_are_refused() -> None:
    with pytest.raises(ValueError, match="not in a tree"):
        inclusion_proof([], 0)
    with pytest.raises(ValueError, match="not the beginning"):
        consistency_proof([leaf(b"x")], 2)
    assert not check_consistency((0, b""), (1, leaf(b"x")), ())
