"""Customers without their names: told apart for certain, and hashed with a key."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
import pytest

from growth.records import identity
from growth.records.identity import Numbering, digests, keyed, siphash

KEY = np.frombuffer(bytes(range(16)), np.uint64)  # 00 01 ... 0f, as in both sources below


def test_siphash_of_the_paper():
    # Aumasson and Bernstein (2012), "SipHash: a fast short-input PRF", appendix A: 15 bytes 00 01 ... 0e
    message = np.frombuffer(bytes(range(15)) + bytes([15]), np.uint64)
    (found,) = siphash([message[:1], message[1:]], KEY, wide=False)
    assert hex(found.item()) == "0xa129ca6149be45e5"


def test_siphash_with_128_bits():
    # of 16 bytes 00 01 ... 0f: `openssl mac -macopt hexkey:000102030405060708090a0b0c0d0e0f -macopt size:16 SIPHASH`
    message = np.frombuffer(bytes(range(16)), np.uint64)
    words = [message[:1], message[1:], np.array([16 << 56], np.uint64)]
    assert np.stack(siphash(words, KEY), axis=1).tobytes().hex() == "6ee2a4ca67b054bbfd3315bf85230577"


def test_hashes_of_many_are_those_of_each():
    a, b = np.random.default_rng(0).integers(0, 2**63, (2, 20_000)).astype(np.uint64)
    hashes = keyed(a, b, key=b"k")
    for some in (slice(0, 1), slice(8_191, 8_193), slice(-1, None)):
        assert (hashes[some] == keyed(a[some], b[some], key=b"k")).all()


@pytest.mark.parametrize("size", [1, 7, 8, 9, 16, 17, 64, 65, 200])
def test_texts_that_differ_in_one_place_differ(size):
    text = "x" * size
    others = [text[:place] + "y" + text[place + 1 :] for place in range(size)]
    texts = pa.array([text, *others, text + "\0", text + "x", "", "\0"])
    a, b = digests(texts, key=b"k")
    assert np.unique(a).size == np.unique(b).size == len(texts)


def test_a_text_has_the_same_digests_whatever_stands_beside_it():
    texts = ["ann", "b", "", "a name of more than sixteen bytes", "ünï", "z" * 500]
    together = np.stack(digests(pa.array(texts), key=b"k"))
    alone = np.concatenate([np.stack(digests(pa.array(["x", text]).slice(1), key=b"k")) for text in texts], axis=1)
    assert (together == alone).all()


@pytest.mark.parametrize("block", [1, 100, 2_000])
def test_customers_are_numbered_as_they_come(block):
    random = np.random.default_rng(1)
    who = random.integers(0, 300, 2_000)
    a, b = random.integers(0, 2**63, (2, 300)).astype(np.uint64)
    a[:100] &= np.uint64(0xFF)  # all of these lead to the same slot
    customers = Numbering()
    found = np.concatenate(
        [customers.numbers(a[who[at : at + block]], b[who[at : at + block]]) for at in range(0, who.size, block)]
    )
    places: dict[int, int] = {}
    assert found.tolist() == [places.setdefault(one, len(places)) for one in who.tolist()]
    order = list(places)
    assert customers.count == len(order) and (customers.known == np.stack([a[order], b[order]])).all()
    assert identity.FREE not in found
