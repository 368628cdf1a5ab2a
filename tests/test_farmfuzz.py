"""However a farm folder is broken, reading it ends in a farm or in sentences."""

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from planner.errors import InputError
from planner.farmfile import Inputs, read_farm
from tests.farms import FILES, write_small_farm

MONTHS = "".join(f"{month},{month - 10},{month + 5},{month + 2}\n" for month in range(1, 13))
MORE_FILES = {
    "here.csv": "month,tmin_c,tmax_c,ghi_mj_m2_d\n" + MONTHS,
    "crops.csv": "id,days_to_harvest,note\nlettuce_romaine,41,slow here\n",
    "fish.csv": "id,fcr\ntilapia_nile,1.5\n",
}
WORD = re.compile(rb"[A-Za-z0-9_.+-]+")
ODD_WORDS = (
    *("nan", "inf", "-inf", "-1", "0", "1e308", "1e999", "9" * 400, "0x10", "1_000", "1,5"),
    *("", '"', "'", "[", "]", "{", "}", "=", ",", ";", "\n", "\r", "\t", "\0", "\x1b", "\ufeff"),
    *("2027-02-30", "0001-01-01", "9999-12-31", "20:00:00", "true", "[]", "{}", "[[zone]]"),
    *("naïve ☃", "\u202e", "١٢", "\U0001f41f", "a" * 300, "any ", " or ", "1-99999", "-0.0"),
)

Change = Callable[[bytes], bytes]
Spot = st.floats(0, 1, exclude_max=True)


def _lines_changed(at: float, times: int) -> Change:
    """Drop a line (times 0) or write it twice."""

    def change(data: bytes) -> bytes:
        lines = data.splitlines(keepends=True)
        if lines:
            spot = int(at * len(lines))
            lines[spot : spot + 1] = [lines[spot]] * times
        return b"".join(lines)

    return change


def _word_replaced(at: float, word: bytes) -> Change:
    def change(data: bytes) -> bytes:
        words = list(WORD.finditer(data))
        if not words:
            return word
        start, end = words[int(at * len(words))].span()
        return data[:start] + word + data[end:]

    return change


def _words_swapped(one: float, other: float) -> Change:
    def change(data: bytes) -> bytes:
        words = list(WORD.finditer(data))
        if len(words) < 2:
            return data
        a, b = sorted((int(one * len(words)), int(other * len(words))))
        (a0, a1), (b0, b1) = words[a].span(), words[b].span()
        if a == b:
            return data
        return data[:a0] + data[b0:b1] + data[a1:b0] + data[a0:a1] + data[b1:]

    return change


def _bits_flipped(at: float, bits: int) -> Change:
    def change(data: bytes) -> bytes:
        spot = int(at * len(data))
        return data[:spot] + bytes(byte ^ bits for byte in data[spot : spot + 1]) + data[spot + 1 :]

    return change


def _inserted(at: float, more: bytes) -> Change:
    def change(data: bytes) -> bytes:
        spot = int(at * len(data))
        return data[:spot] + more + data[spot:]

    return change


def _cut_off(at: float) -> Change:
    return lambda data: data[: int(at * len(data))]


CHANGES: st.SearchStrategy[Change] = st.one_of(
    st.builds(_word_replaced, Spot, st.sampled_from(ODD_WORDS).map(str.encode)),
    st.builds(_words_swapped, Spot, Spot),
    st.builds(_bits_flipped, Spot, st.integers(1, 255)),
    st.builds(_lines_changed, Spot, st.sampled_from((0, 2))),
    st.builds(_inserted, Spot, st.binary(max_size=4) | st.text(max_size=8).map(str.encode)),
    st.builds(_cut_off, Spot),
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("farm")


@settings(
    max_examples=300,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow],
)
@given(
    changes=st.lists(
        st.tuples(st.sampled_from([*FILES, *MORE_FILES]), CHANGES), min_size=1, max_size=4
    )
)
def test_a_broken_folder_gives_a_farm_or_sentences(
    folder: Path, changes: list[tuple[str, Change]]
) -> None:
    write_small_farm(folder, farm_toml={'climate = "duluth_mn"': 'climate = "here.csv"'})
    for name, text in MORE_FILES.items():
        (folder / name).write_text(text)
    for name, change in changes:
        path = folder / name
        path.write_bytes(change(path.read_bytes()))
    try:
        inputs = read_farm(folder)
    except InputError as broken:
        faults = broken.faults
        assert faults
        assert len(set(faults)) == len(faults)
        for fault in faults:
            assert re.match(r"[a-z.]+\.(toml|csv)\b", fault), fault
            assert "\n" not in fault
    else:
        assert isinstance(inputs, Inputs)
        assert set(inputs.farm.crops_in_use) <= set(inputs.crops)


def test_the_unbroken_folder_is_a_farm(folder: Path) -> None:
    write_small_farm(folder, farm_toml={'climate = "duluth_mn"': 'climate = "here.csv"'})
    for name, text in MORE_FILES.items():
        (folder / name).write_text(text)
    assert read_farm(folder).station.id == "here"
