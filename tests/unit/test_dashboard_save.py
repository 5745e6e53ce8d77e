"""Keeping an outing: boat and sheet made on the spot, in the background, all of it or nothing."""

from __future__ import annotations

import sqlite3
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from logbooks import BOAT, SHEET, with_fleet

from dashboard.features.logbook.service import LogbookClient
from dashboard.features.run.request_form import RequestForm, request_of
from dashboard.features.save.form import OutingEntry, conditions_of, written
from dashboard.features.save.service import save_outing
from dashboard.session.intake import put_in
from dashboard.session.samples import sample_uploads
from dashboard.session.sessions import Session
from dashboard.ui.fields import Chosen
from telemetry.analysis import Request
from telemetry.core.errors import CallError, LogbookError, ReciprocalError
from telemetry.core.progress import report
from telemetry.logbook import Conditions, open_logbook
from telemetry.motor.power import Limits, PowerOptions
from telemetry.setup import BenchDisplay

MM = BenchDisplay()


@pytest.fixture
def url(tmp_path: Path) -> str:
    """A logbook with two boats, a sheet each."""
    where = str(tmp_path / "lake.sqlite")
    with open_logbook(where) as book:
        with_fleet(book)
    return where


@pytest.fixture
def session() -> Session:
    """A tab with the sample logs, whose jobs are done at once."""
    opened = Session()
    put_in(opened, sample_uploads())
    return opened


def test_a_boat_and_a_first_sheet_are_made_on_the_spot(url: str, session: Session) -> None:
    entry = OutingEntry(
        new_boat="Quorrel",
        new_kind="outrigger",
        new_length_m=0.86,
        new_sheet="calm water",
        changed={"prop_pitch_mm": "2.5", "prop_diameter_mm": "", "cells": "6"},
        conditions=Conditions("Long Lake", air_c=20.0, note="first run"),
    )
    save_outing(url, session, "keep", entry, BenchDisplay(length="in"), Request(rule="land"))
    assert session.failure("keeping") == ""
    assert session.kept is not None
    outing = session.kept.outing
    with open_logbook(url) as book:
        boat, sheet = book.boat("Quorrel"), book.sheet(outing.sheet_id)
        request, _ = book.asked(outing.id)
        kept = {log.data for log in book.logs(outing.id)}
    assert (boat.hull_kind, boat.length_m) == ("outrigger", 0.86)
    assert (sheet.name, sheet.value("prop_pitch_mm"), sheet.value("cells")) == ("calm water", 63.5, 6)
    assert sheet.parent is None
    assert outing.conditions == entry.conditions
    assert request.rule == "land"
    assert kept == {upload.data for upload in sample_uploads()}
    # What the sheet says is what the page's fields show now, and the logs are still there.
    assert (session.asked["pitch_mm"], session.asked["cells"], session.asked["rule"]) == (63.5, 6, "land")
    assert len(session.logs) == 2


def test_the_next_sheet_says_what_changed_and_comes_from_the_one_chosen(url: str, session: Session) -> None:
    entry = OutingEntry(
        BOAT, sheet=SHEET.sheet_id, new_sheet="more pitch", changed={"prop_pitch_mm": "65 mm"}
    )
    save_outing(url, session, "keep", entry, MM)
    assert session.kept is not None
    with open_logbook(url) as book:
        sheet = book.sheet(session.kept.outing.sheet_id)
    assert (sheet.name, sheet.parent) == ("more pitch", SHEET.sheet_id)
    assert (sheet.value("prop_pitch_mm"), sheet.value("pole_pairs")) == (65.0, 2.0)


def test_the_sheet_goes_before_what_was_typed_of_the_power_train(url: str, session: Session) -> None:
    typed = Request(power=PowerOptions(pitch_mm=70.0, kv_rpm_per_v=1900.0, limits=Limits(current_a=90.0)))
    save_outing(url, session, "keep", OutingEntry(BOAT, sheet=SHEET.sheet_id), MM, typed)
    assert session.kept is not None
    with open_logbook(url) as book:
        power = book.asked(session.kept.outing.id)[0].power
    assert (power.pitch_mm, power.kv_rpm_per_v, power.limits.current_a) == (63.0, 1900.0, 90.0)


REFUSED = [
    (OutingEntry(), "the outing has no boat"),
    (OutingEntry(BOAT), "the outing has no setup sheet"),
    (OutingEntry(new_boat="Quorrel"), "the outing has no setup sheet"),
    (OutingEntry(new_boat="kittiWAKE", new_sheet="a"), "a boat 'kittiWAKE' exists already"),
    (OutingEntry("Nobody", sheet=SHEET.sheet_id), "Nobody"),
    (OutingEntry(BOAT, sheet=SHEET.sheet_id, new_sheet="b"), "has no changes"),
    (OutingEntry(BOAT, sheet=SHEET.sheet_id, changed={"cells": "6"}), "the new sheet has no name"),
    (
        OutingEntry(BOAT, sheet=SHEET.sheet_id, new_sheet="Flat Water", changed={"cells": "6"}),
        "this boat has a sheet 'Flat Water' already",
    ),
    (
        OutingEntry(BOAT, sheet=SHEET.sheet_id, new_sheet="c", changed={"prop_pitch_mm": "63"}),
        "is the same as the chosen one",
    ),
    (OutingEntry(BOAT, sheet=SHEET.sheet_id, new_sheet="d", changed={"prop_pitch_mm": "long"}), "itch"),
]


@pytest.mark.parametrize(("entry", "said"), REFUSED)
def test_a_form_that_cannot_be_used_says_why_and_keeps_nothing(
    url: str, session: Session, entry: OutingEntry, said: str
) -> None:
    with pytest.raises(ReciprocalError, match=said):
        save_outing(url, session, "keep", entry, MM)
    with open_logbook(url) as book:
        assert book.outings() == ()
        assert len(book.boats()) == 2


def test_without_a_log_there_is_nothing_to_keep(url: str) -> None:
    with pytest.raises(CallError, match="there is no log to add"):
        save_outing(url, Session(), "keep", OutingEntry(BOAT, sheet=SHEET.sheet_id), MM)


def test_a_log_that_is_kept_already_is_refused_with_its_outing_named(url: str, session: Session) -> None:
    entry = OutingEntry(BOAT, sheet=SHEET.sheet_id)
    save_outing(url, session, "keep", entry, MM)
    assert session.kept is not None
    save_outing(url, session, "keep", replace(entry, new_sheet="e", changed={"cells": "6"}), MM)
    assert f"in the logbook already, in outing {session.kept.outing.id}" in session.failure("keeping")
    assert session.failure("keeping") == ""  # said once
    with open_logbook(url) as book:
        assert (len(book.outings()), len(book.sheets(BOAT))) == (1, 1)


def test_a_locked_logbook_is_said_and_nothing_is_kept(
    url: str, session: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("telemetry.logbook.engine._BUSY_S", 0.2)
    holder = sqlite3.connect(url, isolation_level=None)
    holder.execute("BEGIN IMMEDIATE")
    try:
        save_outing(url, session, "keep", OutingEntry(BOAT, sheet=SHEET.sheet_id), MM)
        said = session.failure("keeping")
    except LogbookError as error:
        said = str(error)
    finally:
        holder.rollback()
        holder.close()
    assert "another program is writing in it" in said
    assert session.kept is None
    with open_logbook(url) as book:
        assert book.outings() == ()


def test_a_cancelled_keeping_keeps_nothing(
    url: str, session: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    from telemetry.logbook import importing

    analyse = importing.analyse

    def pressed_midway(*args: Any, **more: Any) -> Any:
        session.cancel(session.queue.views[-1].key)
        report(0.5)
        return analyse(*args, **more)

    monkeypatch.setattr(importing, "analyse", pressed_midway)
    save_outing(url, session, "keep", OutingEntry(new_boat="Quorrel", new_sheet="a"), MM)
    assert [view.state for view in session.queue.views] == ["cancelled"]
    assert session.kept is None
    with open_logbook(url) as book:
        assert book.outings() == ()
        assert len(book.boats()) == 2


def test_on_the_logbooks_page_the_logs_are_taken_off_and_leave_no_question_behind(
    url: str, session: Session
) -> None:
    save_outing(url, session, "keep", OutingEntry(BOAT, sheet=SHEET.sheet_id), MM, take_off=True)
    assert session.kept is not None
    assert session.uploads == {}
    assert session.asked == {}


def test_an_outing_that_is_laid_open_brings_its_questions_and_its_logs(url: str, session: Session) -> None:
    asked = RequestForm(
        rule="land", distance="own", own_distance="75 m", window_min=30.0, limits={"current_a": 9.0}
    )
    save_outing(url, session, "keep", OutingEntry(BOAT, sheet=SHEET.sheet_id), MM, request_of(session, asked))
    assert session.kept is not None
    other = Session()
    LogbookClient(url).lay_open(other, session.kept.outing.id)
    began = RequestForm(**other.asked)
    assert replace(began, pitch_mm=None) == asked
    assert began.pitch_mm == 63.0
    again, first = request_of(other, began), request_of(session, asked)
    assert (again.rule, again.distance_m, again.window_s) == (first.rule, first.distance_m, first.window_s)
    assert len(other.logs) == 2
    shown, kept = other.answer(again), session.answer(first)
    assert shown is not None
    assert kept is not None
    assert shown.two_ways == kept.two_ways


@pytest.mark.parametrize("units", [Chosen(), Chosen("kn", "in", "°F")])
def test_what_an_outing_was_like_reads_back_as_it_was_written(units: Chosen) -> None:
    said = Conditions("Long Lake", 3.2, 270.0, "chop", 21.5, 14.0, "blue 6s", "a note")
    texts, numbers = written("add", said, units)
    read = conditions_of("add", texts, numbers, units)
    assert read == replace(
        said, **{n: pytest.approx(getattr(said, n)) for n in ("wind_mps", "air_c", "water_c")}
    )
    nothing = conditions_of("add", dict.fromkeys(texts), dict.fromkeys(numbers, ""), units)
    assert nothing == Conditions()


def test_degrees_are_those_chosen() -> None:
    _, numbers = written("add", Conditions(air_c=20.0), Chosen(temperature="°F"))
    assert numbers["air_c"] == 68.0
