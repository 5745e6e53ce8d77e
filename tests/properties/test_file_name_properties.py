"""Whatever a file is called, its name can be written into a folder and nowhere else."""

from __future__ import annotations

from pathlib import PurePosixPath, PureWindowsPath

from hypothesis import given
from hypothesis import strategies as st

from telemetry.core.sanitize import distinct_names, safe_file_name

nasty = st.text(
    st.one_of(
        st.sampled_from('./\\: \x00\n\x1b<>|?*"~$\u202e\ud800'),
        st.sampled_from("conaupxrlt1²."),
        st.characters(),
    ),
    max_size=400,
)
devices = st.builds(
    "{}{}{}".format,
    st.sampled_from(["CON", "nul", "Aux", "PRN", "com1", "LPT9", "com²", "CONOUT$"]),
    st.sampled_from(["", " ", ".", ".csv", ". .csv", ":", "   .txt"]),
    st.text(max_size=5),
)


@given(st.one_of(nasty, devices, st.builds("{}/{}".format, nasty, devices)))
def test_a_safe_name_is_one_plain_component_on_every_system(name: str) -> None:
    safe = safe_file_name(name)
    assert safe == safe_file_name(safe)
    for kind in (PurePosixPath, PureWindowsPath):
        assert kind(safe).name == safe
        assert not kind(safe).is_absolute()
    assert not PureWindowsPath(safe).drive
    assert not PureWindowsPath(safe).is_reserved()
    assert safe.isprintable()
    assert safe.strip(". ") == safe
    assert 0 < len(safe.encode()) <= 200


@given(st.text("abcäöü 0123456789-_()", min_size=1, max_size=40).map(str.strip).filter(bool))
def test_an_ordinary_name_stays_as_it_is(stem: str) -> None:
    assert safe_file_name(f"{stem}.gpx") == f"{stem}.gpx"


@given(st.lists(nasty.map(safe_file_name), max_size=8))
def test_distinct_names_are_distinct_on_systems_that_tell_no_cases_apart(names: list[str]) -> None:
    given_names = distinct_names(names)
    assert len({name.casefold() for name in given_names}) == len(names)
    assert all(PurePosixPath(name).name == name for name in given_names)
