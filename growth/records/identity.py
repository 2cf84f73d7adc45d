"""Customers without their names: an identifier becomes two keyed 64-bit numbers as it is read, a customer a keyed hash.

The two numbers are quick to work out for every row, and tell customers apart: that any two of n are taken for one has a
probability of about n / 2^64. What `Rows` keeps of a customer is their SipHash, a keyed hash made for short texts.
"""

from __future__ import annotations

from hashlib import blake2b
from typing import Any

import numpy as np

_AT_ONCE = 8192  # numbers that are worked on at once, so that they stay in the processor's cache
FREE = -1  # a slot that no customer has
LONGEST = 64  # bytes of an identifier; longer ones are put through BLAKE2b first


def digests(texts: Any, *, key: bytes) -> tuple[np.ndarray, np.ndarray]:
    """Two numbers for each text, the same for the same text and key. texts: Arrow strings, shape (n,).

    For each word w of eight bytes: a = (a xor w) A, a = a xor (a >> 32), and b = (b + w) B, b = b xor (b >> 29), modulo
    2^64, from lengths times odd numbers on; A, B and those numbers are drawn from the key. Returns a and b, uint64.

    >>> import pyarrow as pa
    >>> one, other = digests(pa.array(["ann", "bob", "ann"]), key=b"k")
    >>> (one[0] == one[2]).item(), (one[0] == one[1]).item()
    (True, False)
    """
    import pyarrow.compute as pc

    length = pc.binary_length(texts).to_numpy(zero_copy_only=False).astype(np.uint64)
    longest = int(length.max(initial=0))
    if longest > LONGEST:
        texts = _shortened(texts, length > LONGEST)
    width = -(-min(max(longest, 1), LONGEST) // 8)
    padded = pc.ascii_rpad(texts, 8 * width, padding="\0")
    words = np.frombuffer(padded.buffers()[2], "<u8", count=width * len(texts)).reshape(-1, width)
    for_a, for_b, from_a, from_b = np.frombuffer(blake2b(key=key[:64], person=b"digests").digest(), np.uint64)[:4] | 1
    a, b = length * from_a, length * from_b
    for place in range(width):
        some = slice(None) if place == 0 or (longer := length > 8 * place).all() else np.flatnonzero(longer)
        word = words[some, place]
        a[some] = _folded(a[some] ^ word, for_a, 32)
        b[some] = _folded(b[some] + word, for_b, 29)
    return a, b


def _shortened(texts: Any, long: np.ndarray) -> Any:
    import pyarrow as pa
    import pyarrow.compute as pc

    instead = [blake2b(text.encode(), digest_size=LONGEST // 2).hexdigest() for text in texts.filter(long).to_pylist()]
    return pc.replace_with_mask(texts, pa.array(long), pa.array(instead))


def _folded(number: np.ndarray, factor: np.uint64, bits: int) -> np.ndarray:
    number *= factor
    number ^= number >> np.uint64(bits)
    return number


class Numbering:
    """Customers numbered 0, 1, 2, ... in the order in which they come, as their rows are read block by block.

    A table of slots with linear probing, looked up and filled for a whole block at once: `a` says in which slot to
    begin, `b` whose slot it is. Source: Knuth, "The Art of Computer Programming", vol. 3 (2nd ed. 1998), section 6.4,
    algorithm L.

    >>> customers = Numbering()
    >>> customers.numbers(np.array([7, 9, 7], np.uint64), np.array([1, 2, 1], np.uint64)).tolist()
    [0, 1, 0]
    >>> customers.numbers(np.array([5, 9], np.uint64), np.array([3, 2], np.uint64)).tolist()
    [2, 1]
    """

    def __init__(self) -> None:
        self.count = 0
        self._slots = np.full(1 << 8, FREE, np.int32)  # numbers of customers; in between, rows of the block, below FREE
        self._known = np.zeros((2, 1 << 8), np.uint64)  # a and b of each customer

    @property
    def known(self) -> np.ndarray:
        """a and b of each customer, shape (2, customers)."""
        return self._known[:, : self.count]

    def numbers(self, a: np.ndarray, b: np.ndarray) -> np.ndarray:
        """The number of the customer of each row, int32; customers not seen before get new ones. a, b: `digests`."""
        self._make_room(a.size)
        slots, known, last_slot = self._slots, self._known[1], self._slots.size - 1
        slot = (a >> np.uint64(64 - last_slot.bit_length())).view(np.int64)
        number = slots[slot]
        row = np.flatnonzero((number < 0) | (known[number] != b))
        at, own = slot[row], b[row]
        while row.size:  # of rows that no slot so far belongs to
            held = slots[at]
            free = np.flatnonzero(held == FREE)[::-1]  # where several want one slot, the first row is written last
            slots[at[free]] = FREE - 1 - row[free]
            held = slots[at]
            same = np.where(held < FREE, b[np.maximum(FREE - 1 - held, 0)], known[held]) == own
            here = row[same]
            number[here], slot[here] = held[same], at[same]
            row, at, own = row[~same], (at[~same] + 1) & last_slot, own[~same]
        return self._with_new(number, slot, a, b)

    def _with_new(self, number: np.ndarray, slot: np.ndarray, a: np.ndarray, b: np.ndarray) -> np.ndarray:
        new = np.flatnonzero(number < FREE)
        if new.size:
            row = FREE - 1 - number[new]
            first = new[row == new]
            count = self.count + first.size
            given = np.zeros(a.size, np.int32)
            given[first] = np.arange(self.count, count)
            number[new] = given[row]
            self._slots[slot[first]] = given[first]
            self._known[:, self.count : count] = a[first], b[first]
            self.count = count
        return number

    def _make_room(self, rows: int) -> None:
        """At most half of the slots are ever taken."""
        most = self.count + rows
        if 2 * most <= self._slots.size:
            return
        before, self.count = self.known, 0
        self._slots = np.full(1 << (4 * most - 1).bit_length(), FREE, np.int32)
        self._known = np.zeros((2, self._slots.size // 2), np.uint64)
        for start in range(0, before.shape[1], _AT_ONCE):
            self.numbers(*before[:, start : start + _AT_ONCE])


def keyed(a: np.ndarray, b: np.ndarray, *, key: bytes) -> np.ndarray:
    """SipHash-2-4 with 128 bits of each pair of numbers as 16 bytes, little-endian; its key is BLAKE2b of `key`.

    Source: Aumasson and Bernstein (2012), "SipHash: a fast short-input PRF", section 2; 128 bits as in its authors'
    reference code. Returns void of 16 bytes, shape (n,).
    """
    secret = np.frombuffer(blake2b(key=key[:64], digest_size=16, person=b"hashes").digest(), np.uint64)
    hashes = np.empty((a.size, 2), np.uint64)
    for start in range(0, a.size, _AT_ONCE):
        words = [a[start : start + _AT_ONCE], b[start : start + _AT_ONCE]]
        words.append(np.full(words[0].size, 16 << 56, np.uint64))
        hashes[start : start + _AT_ONCE] = np.stack(siphash(words, secret), axis=1)
    return hashes.view("V16")[:, 0]


def siphash(words: list[np.ndarray], secret: np.ndarray, *, wide: bool = True) -> list[np.ndarray]:
    """SipHash-2-4 of messages given as words, the last with the length in its top byte; one number each, two if `wide`.

    words: uint64, each of shape (n,). secret: two uint64.
    """
    names = (0x736F6D6570736575, 0x646F72616E646F6D, 0x6C7967656E657261, 0x7465646279746573)
    state = [np.full(words[0].size, np.uint64(name) ^ secret[place % 2]) for place, name in enumerate(names)]
    state[1] ^= np.uint64(0xEE if wide else 0)
    for word in words:
        state[3] ^= word
        _rounds(state, 2)
        state[0] ^= word
    state[2] ^= np.uint64(0xEE if wide else 0xFF)
    found = []
    for _ in range(1 + wide):
        _rounds(state, 4)
        found.append(state[0] ^ state[1] ^ state[2] ^ state[3])
        state[1] ^= np.uint64(0xDD)
    return found


def _rounds(v: list[np.ndarray], times: int) -> None:
    for _ in range(times):
        for left, right, turn, swap in ((0, 1, 13, True), (2, 3, 16, False), (0, 3, 21, False), (2, 1, 17, True)):
            v[left] += v[right]
            v[right] = _turned(v[right], turn)
            v[right] ^= v[left]
            if swap:
                v[left] = _turned(v[left], 32)


def _turned(word: np.ndarray, bits: int) -> np.ndarray:
    return (word << np.uint64(bits)) | (word >> np.uint64(64 - bits))
