"""Kept things: what goes in comes out, by its name."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.coaching.wording import Units
from analysis.cutting.bands import MaterialClass
from analysis.cutting.tools import BitBody, BitStyle, Guide, Mounting, Sharpness
from listen.store.exchange import ExchangeError, export_all, read_export, taken_names
from listen.store.names import (
    NameStore,
    NamingError,
    looks_like_size,
    name_store,
    usable_name,
)
from listen.store.things import BitFacts, FactsError, MaterialFacts, RouterFacts

SPIRAL = BitFacts(diameter_mm=12.7, flutes=2, style=BitStyle.UP_CUT, units=Units.INCH)
BENCH = RouterFacts(low_rpm=8_000.0, high_rpm=24_000.0, mounting=Mounting.TABLE)

sizes = st.none() | st.floats(0.5, 200)
bits = st.builds(
    BitFacts,
    diameter_mm=st.floats(0.5, 130),
    flutes=st.none() | st.integers(1, 12),
    style=st.none() | st.sampled_from(BitStyle),
    body=st.none() | st.sampled_from(BitBody),
    guide=st.none() | st.sampled_from(Guide),
    sharpness=st.none() | st.sampled_from(Sharpness),
    shank_mm=sizes,
    cutting_length_mm=sizes,
    stick_out_mm=sizes,
    max_rpm=st.none() | st.floats(3_000, 50_000),
    units=st.none() | st.sampled_from(Units),
    note=st.none() | st.text(max_size=30),
)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[NameStore]:
    with name_store(tmp_path) as opened:
        yield opened


@given(facts=bits)
def test_facts_survive_being_written_plainly(facts: BitFacts) -> None:
    assert BitFacts.from_plain(facts.to_plain()) == facts


def test_add_find_change_rename_remove(store: NameStore) -> None:
    store.add("bit", "spiral half", SPIRAL)
    assert store.get("bit", "Spiral  HALF").facts == SPIRAL
    store.change("bit", "spiral half", lambda _: BitFacts(diameter_mm=12.0))
    assert store.get("bit", "spiral half").facts == BitFacts(diameter_mm=12.0)
    store.rename("bit", "spiral half", "old spiral")
    assert [thing.name for thing in store.all("bit")] == ["old spiral"]
    store.remove("bit", "old spiral")
    assert store.all("bit") == []


def test_a_bit_and_a_router_may_share_a_name(store: NameStore) -> None:
    store.add("bit", "big one", SPIRAL)
    store.add("router", "big one", BENCH)
    store.remove("bit", "big one")
    assert store.get("router", "big one").facts == BENCH


def test_a_taken_name_is_refused_and_the_first_stands(store: NameStore) -> None:
    store.add("bit", "spiral", SPIRAL)
    with pytest.raises(NamingError, match="already"):
        store.add("bit", "SPIRAL", BitFacts(diameter_mm=6.0))
    assert store.get("bit", "spiral").facts == SPIRAL


def test_an_unknown_name_lists_the_known_ones(store: NameStore) -> None:
    store.add("bit", "spiral", SPIRAL)
    with pytest.raises(NamingError, match="There are: spiral"):
        store.get("bit", "strait")


def test_an_edit_that_fails_changes_nothing(store: NameStore) -> None:
    store.add("bit", "spiral", SPIRAL)

    def refuse(_facts: object) -> BitFacts:
        raise FactsError("no")

    with pytest.raises(FactsError, match="no"):
        store.change("bit", "spiral", refuse)
    assert store.get("bit", "spiral").facts == SPIRAL


def test_a_routers_calibration_goes_where_the_router_goes(store: NameStore) -> None:
    store.keep_calibration("bench", {"curve": [1.5, 2]}, made_at="2026-01-02T03:04:05+00:00")
    assert store.get("router", "bench").facts == RouterFacts()
    store.rename("router", "bench", "table")
    kept = store.calibration("table")
    assert kept is not None
    assert kept.calibration == {"curve": [1.5, 2]}
    store.remove("router", "table")
    assert store.calibration("table") is None


@pytest.mark.parametrize("name", ["", "  ", "x" * 61, "1/2 spiral", "-q", "two\nlines\x00"])
def test_names_that_would_confuse_are_refused(name: str) -> None:
    with pytest.raises(NamingError):
        usable_name(name)


@pytest.mark.parametrize("text", ["12.7mm", "1/2in", "½in", " .5in", "-3mm"])
def test_sizes_are_never_names(text: str) -> None:
    assert looks_like_size(text)


@pytest.mark.parametrize(
    ("plain", "words"),
    [
        ([], "not a list of facts"),
        ({}, "diameter_mm"),
        ({"diameter_mm": -1}, "diameter_mm"),
        ({"diameter_mm": True}, "diameter_mm"),
        ({"diameter_mm": float("inf")}, "diameter_mm"),
        ({"diameter_mm": 12.7, "flutes": 2.5}, "flutes"),
        ({"diameter_mm": 12.7, "style": "curly"}, "style"),
        ({"diameter_mm": 12.7, "colour": "red"}, "colour"),
        ({"diameter_mm": 12.7, "note": 3}, "note"),
    ],
)
def test_facts_that_cannot_be_are_named(plain: object, words: str) -> None:
    with pytest.raises(FactsError, match=words):
        BitFacts.from_plain(plain)


def test_an_export_read_back_is_the_same(store: NameStore, tmp_path: Path) -> None:
    store.add("bit", "spiral", SPIRAL)
    store.add("router", "bench", BENCH)
    store.add("material", "pear", MaterialFacts(kind=MaterialClass.HARDWOOD, density_kg_m3=700.0))
    store.keep_calibration("bench", {"x": 1})
    text = export_all(store)
    carried = read_export(text)
    assert taken_names(store, carried) == []
    with name_store(tmp_path / "elsewhere") as other:
        other.replace_all(carried.things, carried.calibrations)
        assert export_all(other) == text


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "not JSON"),
        ("[]", "not an export"),
        ('{"toothbeat_names": 2}', "newer"),
        ('{"toothbeat_names": 1, "things": 3}', "things"),
        ('{"toothbeat_names": 1, "things": [{"kind": "saw"}]}', "no bit"),
        (
            '{"toothbeat_names": 1, "things": [{"kind": "bit", "name": "a", "facts": {}}]}',
            "diameter_mm",
        ),
        (
            (
                '{"toothbeat_names": 1, "things": ['
                '{"kind": "router", "name": "a", "facts": {}},'
                '{"kind": "router", "name": "A", "facts": {}}]}'
            ),
            "twice",
        ),
        ('{"toothbeat_names": 1, "calibrations": [{"router": "ghost"}]}', "calibration"),
    ],
)
def test_what_is_no_export_is_refused_whole(text: str, words: str) -> None:
    with pytest.raises(ExchangeError, match=words):
        read_export(text)


def test_names_in_the_way_are_told(store: NameStore) -> None:
    store.add("bit", "spiral", SPIRAL)
    carried = read_export(export_all(store))
    store.change("bit", "spiral", lambda _: BitFacts(diameter_mm=6.0))
    assert taken_names(store, carried) == ["bit spiral"]
