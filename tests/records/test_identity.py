"""Customers without their names: told apart for certain, in the order in which they come."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from growth.records import grouping
from growth.records.arrow import texts_from
from growth.records.grouping import shelved
from growth.records.identity import digests, new_key, slot_of
from growth.records.order import stable_order
from growth.records.part import Part
from growth.records.rows import NOT_SAID, ROW, Rows
from growth.records.unreadable import Unreadable

KEY = new_key()


@pytest.mark.parametrize("size", [1, 7, 8, 9, 16, 17, 64, 65, 200])
def test_texts_that_differ_in_one_place_differ(size):
    text = "x" * size
    others = [text[:place] + "y" + text[place + 1 :] for place in range(size)]
    texts = texts_from([text, *others, text + "\0", text + "x", "", "\0"])
    assert np.unique(digests(texts, key=KEY)).size == len(texts)


@pytest.mark.parametrize("places", [(7, 11, 15), (0, 8, 16), (3, 7, 23), (6, 7, 8)])
def test_names_that_differ_in_a_few_places_of_different_words_differ(places):
    """A hash that mixes one way alone takes two of three such names for others."""
    letters = np.frombuffer(b"0123456789abcdefghijklmnopqrstuvwxyzABCD", np.uint8)
    signs = np.full((letters.size**3, 24), ord("x"), np.uint8)
    signs[:, places] = np.stack(np.meshgrid(letters, letters, letters), axis=-1).reshape(-1, 3)
    names = texts_from([row.tobytes().decode() for row in signs])
    assert np.unique(digests(names, key=KEY)).size == len(names)


def test_a_text_has_the_same_digest_whatever_stands_beside_it_and_another_with_another_key():
    texts = ["ann", "b", "", "a name of more than sixteen bytes", "ünï", "z" * 500]
    together = digests(texts_from(texts), key=KEY)
    alone = np.concatenate([digests(texts_from(["x", text]).slice(1), key=KEY) for text in texts])
    assert (together == alone).all()
    others = digests(texts_from(texts), key=new_key())
    assert (together[np.arange(6) != 2] != others[np.arange(6) != 2]).all()


@pytest.mark.parametrize("size", [*range(1, 26), 63, 64, 65])
def test_texts_of_one_length_have_the_same_digests_as_beside_others(size):
    alike = [(letter * size)[:-1] + other for letter in "abc" for other in "xyz"]
    assert digests(texts_from(alike), key=KEY).tolist() == digests(texts_from([*alike, ""]), key=KEY).tolist()[:-1]


@given(st.lists(st.sampled_from([0, 1, 2, 5, 2**63, 2**64 - 1, 2**64 - 2, 2**64 - 3]) | st.integers(0, 2**64 - 1)))
def test_the_order_is_that_of_a_stable_sort(numbers):
    numbers = np.array(numbers, np.uint64)
    assert stable_order(numbers).tolist() == np.argsort(numbers, kind="stable").tolist()


def part(digest: np.ndarray, amounts: np.ndarray, joined: np.ndarray) -> Part:
    order = np.argsort(slot_of(digest), kind="stable")
    records = np.zeros(digest.size, ROW)
    records["amount"] = amounts
    return Part(digest[order], order.astype(np.uint16), records[order], joined[order], ("all",), ("",), 0.0, True, 0, 0)


@pytest.mark.parametrize("block", [20, 300, 2_000])
@pytest.mark.parametrize("shelf", [1, 64, 1 << 18])
def test_customers_are_numbered_as_they_come_and_their_rows_brought_together(block, shelf, monkeypatch):
    monkeypatch.setattr(grouping, "ON_A_SHELF", shelf)
    random = np.random.default_rng(1)
    who = random.integers(0, 300, 2_000)
    digest = random.integers(0, 2**64, 300, dtype=np.uint64)
    digest[:100] = (digest[0] & ~np.uint64(0xFF)) + np.arange(100, dtype=np.uint64)  # all but alike
    joined = np.where(random.random(2_000) < 0.5, NOT_SAID, random.integers(0, 300, 2_000)).astype(np.int16)
    row = np.arange(2_000)
    pieces = [slice(at, at + block) for at in range(0, 2_000, block)]
    parts = [part(digest[who[some]], row[some], joined[some]) for some in pieces]
    shelves, earliest = shelved(parts)
    rows = Rows(tuple(one.records for one in parts), shelves, earliest, ("all",), "EUR", 0.0, True, 0, 0, Unreadable())
    found = {}
    for one in shelves:
        customer, records = rows.on(one)
        cuts = np.flatnonzero(np.diff(customer)) + 1
        of_each = zip(np.split(customer, cuts), np.split(records["amount"], cuts), strict=True)
        found |= {whose[0].item(): amounts.tolist() for whose, amounts in of_each if whose.size}
    places: dict[int, int] = {}
    number = np.array([places.setdefault(one, len(places)) for one in who.tolist()])
    assert found == {one: row[number == one].tolist() for one in range(len(places))}
    assert rows.customers == len(places) and rows.size == 2_000
    said = [joined[(number == one) & (joined != NOT_SAID)] for one in range(len(places))]
    assert earliest.tolist() == [months.min() if months.size else NOT_SAID for months in said]
