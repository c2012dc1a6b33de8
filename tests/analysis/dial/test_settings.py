import string

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.dial.settings import (
    Marks,
    SettingError,
    parse_setting,
    parse_settings,
    setting_at,
)


@pytest.mark.parametrize(
    ("written", "labels"),
    [
        ("1,2,3,4,5,6", ["1", "2", "3", "4", "5", "6"]),
        ("1..6", ["1", "2", "3", "4", "5", "6"]),
        ("1-3, 2", ["1", "2", "3", "2"]),
        ("6..4", ["6", "5", "4"]),
        ("A..G", list("ABCDEFG")),
        ("a, c, b, c", list("ACBC")),
        ("1; 1.5; 2,5", ["1", "1.5", "2", "5"]),
        ("3 5 3", ["3", "5", "3"]),
        ("2½, 3 1/2, 4-1/2", ["2.5", "3.5", "4.5"]),
        ("1 to 3", ["1", "2", "3"]),
        ("0, 10", ["0", "10"]),
    ],
)
def test_settings_are_read_as_people_write_them(written: str, labels: list[str]) -> None:
    assert [setting.label for setting in parse_settings(written)] == labels


@pytest.mark.parametrize(
    ("written", "what"),
    [
        ("", "No setting is given"),
        ("1,2,C", "numbers or letters, not both"),
        ("fast", "not a dial setting"),
        ("1,,two", '"two" is not a dial setting'),
        ("-3", '"-3" is not a dial setting'),
        ("101", "out of range"),
        ("1..3.5", "not a run of settings"),
        ("1..C", "not a run of settings"),
        ("1..100, 1..9", "more than one dial has"),
        ("1..100000", "out of range"),
    ],
)
def test_what_cannot_be_read_is_told_with_the_way_out(written: str, what: str) -> None:
    with pytest.raises(SettingError, match=what):
        parse_settings(written)


@given(st.lists(st.integers(0, 200).map(lambda n: n / 2), min_size=1, max_size=20))
def test_halves_come_back_as_they_were(positions: list[float]) -> None:
    read = parse_settings(",".join(f"{position:g}" for position in positions))
    assert [setting.position for setting in read] == positions


@given(st.sampled_from(string.ascii_letters))
def test_a_letter_stands_for_its_place_in_the_alphabet(letter: str) -> None:
    setting = parse_setting(letter)
    assert string.ascii_uppercase[round(setting.position) - 1] == setting.label == letter.upper()
    assert setting_at(setting.position, marks=Marks.LETTERS).label == setting.label


@given(st.text(max_size=12))
def test_any_text_is_read_or_refused_in_our_own_words(text: str) -> None:
    try:
        settings = parse_settings(text)
    except SettingError:
        return
    assert settings


@pytest.mark.parametrize(
    ("position", "label"),
    [(2.0, "B"), (2.5, "between B and C"), (2.8, "between B and C, nearer C"), (2.96, "C")],
)
def test_a_place_between_two_letters_is_told_in_words(position: float, label: str) -> None:
    assert setting_at(position, marks=Marks.LETTERS).label == label
