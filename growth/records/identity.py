"""Customers without their names: an identifier becomes a keyed hash as it is read, and a number once all are read.

The key is drawn anew each time, and both key and hashes are forgotten with the reading. The hash tells customers apart:
that among n any two are taken for one has a probability of about n^2 / 2^65, three in a million for ten million.
"""

from __future__ import annotations

import secrets
from collections.abc import Iterator
from hashlib import blake2b
from typing import Any

import numpy as np

from growth.records.arrow import bytes_of, chosen_of, ends_of

SLOTS = 256
LONGEST = 64  # bytes of an identifier; longer ones are put through BLAKE2b


def new_key() -> np.ndarray:
    """A key for `digests`: three odd numbers of 64 bits, drawn from the system's source of randomness."""
    return np.frombuffer(secrets.token_bytes(24), np.uint64) | np.uint64(1)


def digests(texts: Any, *, key: np.ndarray) -> np.ndarray:
    """A number for each text, the same for the same text and key.

    texts: Arrow strings, shape (n,). From the length times the first number of the key on, for each word w of eight
    bytes and with the other two, K and L: d = (d xor w) K, d = d xor (d >> 32), d = d L, d = d xor (d >> 29), modulo
    2^64: so every bit of a word bears on all bits of d. Texts of one length that differ in one word alone never share a
    number, as each step can be undone. Returns uint64, shape (n,).

    >>> from growth.records.arrow import texts_from
    >>> found = digests(texts_from(["ann", "bob", "ann"]), key=new_key())
    >>> (found[0] == found[2]).item(), (found[0] == found[1]).item()
    (True, False)
    """
    signs = bytes_of(texts)
    if signs is not None and 8 <= signs.shape[1] <= LONGEST:
        digest = np.full(len(texts), signs.shape[1], np.uint64) * key[0]
        for word in _words_of_one_length(signs):
            digest = _mixed(digest, word, key)
        return digest
    ends = ends_of(texts)
    length = ends[1:] - ends[:-1]
    longest = int(length.max(initial=0))
    if longest > LONGEST:
        return _of_long_ones(texts, length > LONGEST, key=key)
    digest = length.astype(np.uint64) * key[0]
    for place, word in enumerate(_words(texts, longest)):
        some = slice(None) if (longer := length > 8 * place).all() else np.flatnonzero(longer)
        digest[some] = _mixed(digest[some], word[some], key)
    return digest


def _mixed(digest: np.ndarray, word: np.ndarray, key: np.ndarray) -> np.ndarray:
    mixed = digest ^ word
    for factor, bits in ((key[1], 32), (key[2], 29)):
        mixed *= factor
        mixed ^= mixed >> np.uint64(bits)
    return mixed


def _words(texts: Any, longest: int) -> Iterator[np.ndarray]:
    """The first eight bytes of each text as a number, the next eight, and so on, zeros behind its end."""
    import pyarrow.compute as pc

    width = -(-max(longest, 1) // 8)
    padded = pc.ascii_rpad(texts, 8 * width, padding="\0")
    yield from np.frombuffer(padded.buffers()[2], "<u8", count=width * len(texts)).reshape(-1, width).T


def _words_of_one_length(signs: np.ndarray) -> Iterator[np.ndarray]:
    """The same of texts of one length, at least eight: uint8, shape (n, length)."""
    size, length = signs.shape
    for place in range(0, length, 8):
        beyond = max(place + 8 - length, 0)  # bytes: the word is taken so much before, and they are shifted out
        word = np.ndarray((size,), "<u8", signs, offset=place - beyond, strides=(length,))
        yield word >> np.uint64(8 * beyond) if beyond else word


def slot_of(digest: np.ndarray) -> np.ndarray:
    """Which of 256 slots the rows of a customer go to, uint8: the highest bits of its digest."""
    return (digest >> np.uint64(56)).astype(np.uint8)


def _of_long_ones(texts: Any, long: np.ndarray, *, key: np.ndarray) -> np.ndarray:
    """Where some are long: theirs are of BLAKE2b, keyed as well."""
    digest = np.empty(long.size, np.uint64)
    digest[~long] = digests(chosen_of(texts, ~long), key=key)
    coded = [text.encode() for text in chosen_of(texts, long).to_pylist()]
    digest[long] = [int.from_bytes(blake2b(text, key=key.tobytes(), digest_size=8).digest()) for text in coded]
    return digest
