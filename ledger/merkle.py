"""The Merkle tree of RFC 9162 (section 2.1): one root for any number of lines, and its proofs.

A leaf is ``SHA-256(0x00 || line)``, a node ``SHA-256(0x01 || left || right)``, and a tree of n
lines splits at the largest power of two below n. The root of no lines is SHA-256 of nothing.
An inclusion proof shows that one line is in a root; a consistency proof shows that an older root
is the beginning of a newer one. Both need some twenty hashes and no ledger.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence


def leaf(line: bytes) -> bytes:
    """Return the 32-byte hash of a leaf."""
    return hashlib.sha256(b"\x00" + line).digest()


def node(left: bytes, right: bytes) -> bytes:
    """Return the 32-byte hash of an inner node."""
    return hashlib.sha256(b"\x01" + left + right).digest()


class Tree:
    """A tree that grows by lines and remembers only its peaks.

    The peaks are the roots of the full subtrees that the size's binary digits name, largest
    first: all that is needed to go on from a sealed close without reading what lies before it.
    """

    def __init__(self, size: int = 0, peaks: Iterable[str] = ()) -> None:
        """Take up a tree of ``size`` lines by its peaks (hex); raise ValueError if they misfit."""
        self.size = size
        self._peaks = [bytes.fromhex(peak) for peak in peaks]
        if size < 0 or len(self._peaks) != size.bit_count():
            raise ValueError(f"a tree of {size} lines has {size.bit_count()} peaks")
        if any(len(peak) != hashlib.sha256().digest_size for peak in self._peaks):
            raise ValueError("a peak is 64 hex digits")

    def add(self, line: bytes) -> None:
        """Add one line."""
        self.add_leaf(leaf(line))

    def add_leaf(self, digest: bytes) -> None:
        """Add one line by its leaf hash."""
        carry = digest
        rest = self.size
        while rest & 1:
            carry = node(self._peaks.pop(), carry)
            rest >>= 1
        self._peaks.append(carry)
        self.size += 1

    def add_blocks(self, blocks: Iterable[tuple[int, bytes]]) -> None:
        """Add whole subtrees as ``blocks_of`` gives them; ValueError where one does not fit."""
        for height, digest in blocks:
            if self.size & ((1 << height) - 1):
                raise ValueError(f"a subtree of {1 << height} lines does not fit at {self.size}")
            carry, rest = digest, self.size >> height
            while rest & 1:
                carry = node(self._peaks.pop(), carry)
                rest >>= 1
            self._peaks.append(carry)
            self.size += 1 << height

    def copy(self) -> Tree:
        """Return a tree that grows by itself from here."""
        other = Tree()
        other.size, other._peaks = self.size, list(self._peaks)
        return other

    @property
    def peaks(self) -> tuple[str, ...]:
        """The peaks as hex, largest first."""
        return tuple(peak.hex() for peak in self._peaks)

    @property
    def root(self) -> str:
        """The root as hex."""
        if not self._peaks:
            return hashlib.sha256(b"").hexdigest()
        root = self._peaks[-1]
        for peak in reversed(self._peaks[:-1]):
            root = node(peak, root)
        return root.hex()


def blocks_of(start: int, leaves: Sequence[bytes]) -> tuple[tuple[int, bytes], ...]:
    """Return the full subtrees of a stretch of leaf hashes that begins after ``start`` lines.

    They come in order, each with its height (0 is one line) and root. With them the stretch is
    added to the tree before it (``Tree.add_blocks``) without its lines: so stretches can be hashed
    apart from each other and joined afterwards.
    """
    blocks: list[tuple[int, bytes]] = []
    sha256, done = hashlib.sha256, 0
    while done < len(leaves):
        height = (len(leaves) - done).bit_length() - 1
        while (start + done) & ((1 << height) - 1):
            height -= 1
        level = list(leaves[done : done + (1 << height)])
        for _ in range(height):
            pairs = zip(level[::2], level[1::2], strict=True)
            level = [sha256(b"\x01" + left + right).digest() for left, right in pairs]
        blocks.append((height, level[0]))
        done += 1 << height
    return tuple(blocks)


def tree_root(leaves: Sequence[bytes]) -> bytes:
    """Return the root of a stretch of leaf hashes."""
    tree = Tree()
    for digest in leaves:
        tree.add_leaf(digest)
    return bytes.fromhex(tree.root)


def _split(size: int) -> int:
    """Return the largest power of two below ``size`` (at least 2)."""
    return 1 << ((size - 1).bit_length() - 1)


def inclusion_proof(leaves: Sequence[bytes], index: int) -> tuple[bytes, ...]:
    """Return the path (RFC 9162, 2.1.3.1) of leaf ``index``, counted from 0, nearest first."""
    if not 0 <= index < len(leaves):
        raise ValueError(f"leaf {index} is not in a tree of {len(leaves)}")
    path: list[bytes] = []
    low, high = 0, len(leaves)
    while high - low > 1:
        middle = low + _split(high - low)
        if index < middle:
            path.append(tree_root(leaves[middle:high]))
            high = middle
        else:
            path.append(tree_root(leaves[low:middle]))
            low = middle
    return tuple(reversed(path))


def inclusion_proofs(
    leaves: Sequence[bytes], indices: Iterable[int]
) -> dict[int, tuple[bytes, ...]]:
    """Return the paths of many leaves of one tree; every subtree is hashed once."""
    known: dict[tuple[int, int], bytes] = {}

    def root(low: int, high: int) -> bytes:
        if (low, high) not in known:
            if high - low == 1:
                return leaves[low]
            middle = low + _split(high - low)
            known[low, high] = node(root(low, middle), root(middle, high))
        return known[low, high]

    found: dict[int, tuple[bytes, ...]] = {}
    for index in indices:
        if not 0 <= index < len(leaves):
            raise ValueError(f"leaf {index} is not in a tree of {len(leaves)}")
        path: list[bytes] = []
        low, high = 0, len(leaves)
        while high - low > 1:
            middle = low + _split(high - low)
            if index < middle:
                path.append(root(middle, high))
                high = middle
            else:
                path.append(root(low, middle))
                low = middle
        found[index] = tuple(reversed(path))
    return found


def sides(index: int, size: int) -> tuple[str, ...]:
    """Return for each step of a path on which side its hash stands: ``left`` or ``right``."""
    found: list[str] = []
    fn, sn = index, size - 1
    while sn:
        if fn & 1 or fn == sn:
            found.append("left")
            while not fn & 1 and fn:
                fn >>= 1
                sn >>= 1
        else:
            found.append("right")
        fn >>= 1
        sn >>= 1
    return tuple(found)


def check_inclusion(
    digest: bytes, index: int, size: int, path: Sequence[bytes], root: bytes
) -> bool:
    """Say whether the path leads from a leaf hash to the root (RFC 9162, 2.1.3.2)."""
    if not 0 <= index < size:
        return False
    fn, sn, found = index, size - 1, digest
    for step in path:
        if sn == 0:
            return False
        if fn & 1 or fn == sn:
            found = node(step, found)
            while not fn & 1 and fn:
                fn >>= 1
                sn >>= 1
        else:
            found = node(found, step)
        fn >>= 1
        sn >>= 1
    return sn == 0 and found == root


def consistency_proof(leaves: Sequence[bytes], first: int) -> tuple[bytes, ...]:
    """Return the proof (RFC 9162, 2.1.4.1) that the tree of ``first`` leaves begins this one."""
    if not 0 < first <= len(leaves):
        raise ValueError(f"a tree of {first} is not the beginning of one of {len(leaves)}")
    path: list[bytes] = []
    low, high, whole = 0, len(leaves), True
    while first - low < high - low:
        middle = low + _split(high - low)
        if first <= middle:
            path.append(tree_root(leaves[middle:high]))
            high = middle
        else:
            path.append(tree_root(leaves[low:middle]))
            low, whole = middle, False
    if not whole:
        path.append(tree_root(leaves[low:high]))
    return tuple(reversed(path))


def check_consistency(
    first: tuple[int, bytes], second: tuple[int, bytes], path: Sequence[bytes]
) -> bool:
    """Say whether the older (size, root) begins the newer one (RFC 9162, 2.1.4.2)."""
    (old_size, old_root), (new_size, new_root) = first, second
    if not 0 < old_size <= new_size:
        return False
    if old_size == new_size:
        return not path and old_root == new_root
    steps = list(path)
    if old_size & (old_size - 1) == 0:
        steps.insert(0, old_root)
    if not steps:
        return False
    fn, sn = old_size - 1, new_size - 1
    while fn & 1:
        fn >>= 1
        sn >>= 1
    older = newer = steps[0]
    for step in steps[1:]:
        if sn == 0:
            return False
        if fn & 1 or fn == sn:
            older, newer = node(step, older), node(step, newer)
            while not fn & 1 and fn:
                fn >>= 1
                sn >>= 1
        else:
            newer = node(newer, step)
        fn >>= 1
        sn >>= 1
    return sn == 0 and older == old_root and newer == new_root
