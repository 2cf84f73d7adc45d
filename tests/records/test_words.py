"""The different texts of a column, and which of them each row has."""

from hypothesis import given
from hypothesis import strategies as st

from growth.records.arrow import bytes_of, texts_from
from growth.records.words import words_of

ALIKE = st.integers(0, 20).flatmap(lambda size: st.lists(st.text("ab", min_size=size, max_size=size), min_size=1))


@given(ALIKE | st.lists(st.sampled_from(["", "a", "bb", "ü", "\0", "2024-01-01"]), min_size=1), st.integers(0, 3))
def test_words_and_places_give_the_column(texts, before):
    column = texts_from(["x", "yy", "zzz"][:before] + texts).slice(before)
    for one in (column, column.dictionary_encode()):
        words, places = words_of(one)
        words = words.to_pylist()
        assert [words[place] for place in places] == texts and len(set(words)) == len(words)
    signs = bytes_of(column)
    assert (signs is None) == (len({len(text.encode()) for text in texts}) > 1)
    assert signs is None or [row.tobytes().decode() for row in signs] == texts
