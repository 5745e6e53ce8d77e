"""NMEA 0183 sentences made here, one oddity at a time."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.core.errors import DamagedLogError, NothingUsableError
from telemetry.core.frames import Log
from telemetry.readers import read_bytes


def sentence(body: str) -> str:
    checksum = 0
    for character in body.encode():
        checksum ^= character
    return f"${body}*{checksum:02X}\r\n"


def rmc(
    time: str, *, date: str = "010221", status: str = "A", speed: str = "10.00", talker: str = "GP"
) -> str:
    return sentence(f"{talker}RMC,{time},{status},4600.000,N,00800.000,E,{speed},90.0,{date},,,A")


def gga(time: str, *, quality: str = "1", talker: str = "GP") -> str:
    return sentence(f"{talker}GGA,{time},4600.000,N,00800.000,E,{quality},09,0.8,400.0,M,47.0,M,,")


def read(*lines: str) -> Log:
    (log,) = read_bytes("".join(lines).encode(), "made.nmea")
    return log


def codes(log: Log) -> dict[str, int]:
    return {f.code: f.count for f in log.findings}


def test_rmc_and_gga_of_one_epoch_share_a_row() -> None:
    log = read(rmc("100000.00"), gga("100000.00"), rmc("100000.10"), gga("100000.10"))
    assert len(log.frame) == 2
    assert log.t_s.tolist() == [0.0, 0.1]
    assert list(log.frame.alt_m) == [400.0, 400.0]
    assert log.findings == ()


def test_any_talker_and_a_change_of_talker() -> None:
    log = read(rmc("100000", talker="GN"), rmc("100001", talker="GL"), rmc("100002", talker="BD"))
    assert len(log.frame) == 3


def test_a_frozen_clock_keeps_every_row() -> None:
    log = read(*[rmc("100000.00") + gga("100000.00")] * 3)
    assert log.t_s.tolist() == [0.0, 0.0, 0.0]


def test_midnight_and_the_new_year() -> None:
    log = read(rmc("235959.900", date="311220"), gga("000000.000"), rmc("000000.100", date="010121"))
    np.testing.assert_allclose(log.t_s, [0.0, 0.1, 0.2], atol=1e-12)
    assert str(log.meta.start_utc) == "2020-12-31 23:59:59.900000+00:00"


def test_midnight_without_any_date() -> None:
    log = read(gga("235959.5"), gga("000000.5"))
    assert log.t_s.tolist() == [0.0, 1.0]
    assert log.meta.start_utc is None
    assert "no-date" in codes(log)


def test_the_date_may_come_from_zda_alone() -> None:
    log = read(gga("235959.5"), sentence("GPZDA,235959.50,31,12,2020,00,00"), gga("000000.5"))
    assert str(log.meta.start_utc) == "2020-12-31 23:59:59.500000+00:00"


def test_a_void_fix_is_a_row_that_says_so() -> None:
    void = sentence("GPRMC,100001.00,V,,,,,,,010221,,,N")
    log = read(rmc("100000.00"), void, gga("100002.00", quality="0"), rmc("100003.00"))
    assert list(log.frame.fix) == [1, 0, 0, 1]
    assert np.isnan(log.frame.lat_deg.iloc[1])
    assert codes(log) == {"no-fix": 2}


def test_dead_reckoning_is_no_fix() -> None:
    log = read(rmc("100000.00"), gga("100000.00", quality="6"), rmc("100001.00"), gga("100001.00"))
    assert list(log.frame.fix) == [0, 1]


def test_a_wrong_checksum_and_a_sentence_without_one_are_left_out() -> None:
    broken = rmc("100001.00").replace("10.00", "99.00")
    bare = "$GPRMC,100002.00,A,4600.000,N,00800.000,E,99.0,90.0,010221,,,A\r\n"
    log = read(rmc("100000.00"), broken, bare, rmc("100003.00"))
    assert log.t_s.tolist() == [0.0, 3.0]
    assert codes(log) == {"bad-checksum": 2}


def test_a_log_without_any_checksum_is_read_and_says_so() -> None:
    bare = "$GPRMC,10000{}.00,A,4600.000,N,00800.000,E,10.0,90.0,010221,,,A\n"
    log = read(bare.format(0), bare.format(1))
    assert len(log.frame) == 2
    assert "no-checksum" in codes(log)


def test_a_sum_on_the_makers_own_sentences_alone_asks_for_none_on_the_others() -> None:
    bare = "$GPRMC,10000{}.00,A,4600.000,N,00800.000,E,10.0,90.0,010221,,,A\n"
    log = read(sentence("PMTK001,220,3"), bare.format(0), bare.format(1), sentence("GPTXT,01,01,02,hello"))
    assert len(log.frame) == 2
    assert codes(log) == {"no-checksum": 3, "sentences-unread": 1}


def test_lines_that_lost_their_end_and_text_between() -> None:
    joined = (
        rmc("100000.00").strip() + rmc("100001.00").strip() + "\n# remark\n" + "12:00 " + rmc("100002.00")
    )
    log = read(joined)
    assert log.t_s.tolist() == [0.0, 1.0, 2.0]
    assert codes(log) == {"stray-text": 1}


def test_stamps_just_below_the_second_stay_what_they_are() -> None:
    log = read(rmc("095958.999"), rmc("095959.999"), rmc("100000.998"))
    assert log.t_s.tolist() == [0.0, 1.0, 1.999]


def test_the_more_finely_written_speed_is_taken() -> None:
    vtg = sentence("GPVTG,90.0,T,,M,10.0,N,18.537,K,A")
    log = read(rmc("100000.00", speed="10.0"), vtg, rmc("100001.00", speed="10.0"), vtg)
    np.testing.assert_allclose(log.frame.speed_mps, 18.537 / 3.6)


def test_a_vtg_that_disagrees_with_rmc_is_not_preferred() -> None:
    vtg = sentence("GPVTG,90.0,T,,M,30.0,N,55.560,K,A")
    log = read(rmc("100000.00", speed="10.0"), vtg, rmc("100001.00", speed="10.0"), vtg)
    np.testing.assert_allclose(log.frame.speed_mps, 10.0 * 1852 / 3600)


@pytest.mark.parametrize("leading", [True, False])
def test_vtg_joins_the_epoch_before_or_after_as_the_receiver_sends_it(leading: bool) -> None:
    def vtg(kmh: int) -> str:
        return sentence(f"GPVTG,90.0,T,,M,,N,{kmh}.0,K,A")

    def gll(second: int) -> str:
        return sentence(f"GPGLL,4600.000,N,00800.000,E,10000{second}.00,A,A")

    pairs = [(vtg(36), gll(0)), (vtg(72), gll(1)), (vtg(108), gll(2))]
    log = read(*[text for a, b in pairs for text in ((a, b) if leading else (b, a))])
    np.testing.assert_allclose(log.frame.speed_mps, [10.0, 20.0, 30.0])


def test_south_and_west_are_negative() -> None:
    log = read(sentence("GPRMC,100000.00,A,3330.000,S,07045.000,W,10.0,90.0,010221,,,A"), rmc("100001.00"))
    assert log.frame.lat_deg.iloc[0] == -33.5
    assert log.frame.lon_deg.iloc[0] == -70.75


def test_gsa_gives_the_dilution_where_gga_is_absent() -> None:
    gsa = sentence("GPGSA,A,3,04,05,,09,12,,,24,,,,,2.5,1.3,2.1")
    log = read(rmc("100000.00"), gsa, rmc("100001.00"), gsa)
    assert list(log.frame.hdop) == [1.3, 1.3]


def test_a_false_date_of_one_fix_is_left_out() -> None:
    lines = [rmc(f"10000{i}.00") for i in range(5)]
    lines[2] = rmc("100002.00", date="010285")
    log = read(*lines)
    assert log.t_s.tolist() == [0.0, 1.0, 3.0, 4.0]
    assert codes(log) == {"odd-stamp": 1}


def test_a_day_that_its_month_has_not_is_no_date() -> None:
    log = read(rmc("100000", date="300624"), rmc("100001", date="310624"), rmc("100002", date="300624"))
    assert log.t_s.tolist() == [0.0, 1.0, 2.0]
    assert str(log.meta.start_utc) == "2024-06-30 10:00:00+00:00"
    assert "no-date" in codes(read(rmc("100000", date="310624")))
    assert str(read(rmc("100000", date="290224")).meta.start_utc) == "2024-02-29 10:00:00+00:00"
    assert read(rmc("100000", date="290223")).meta.start_utc is None


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ("GPRMC,100001,A,4600.000,N,00800.000,E,1O.00,90.0,010221,,,A", "RMC field 7"),
        ("GPRMC,100001,A,4660.000,N,00800.000,E,10.00,90.0,010221,,,A", "RMC field 3"),
        ("GPRMC,100001,A,4600.000,,00800.000,E,10.00,90.0,010221,,,A", "RMC field 3"),
        ("GPRMC,100001,A,4600.000,N,00800.000,E,10.00,90.0,310621,,,A", "RMC field 9"),
        ("GPRMC,246001,A,4600.000,N,00800.000,E,10.00,90.0,010221,,,A", "RMC field 1"),
        ("GPGGA,100001,4600.000,N,00800.000,E,1,09,0.8,4oo.0,M,47.0,M,,", "GGA field 9"),
        ("GPVTG,90.0,T,,M,fast,N,18.52,K,A", "VTG field 5"),
    ],
)
def test_a_field_of_a_sound_sentence_that_cannot_be_read_is_told(body: str, field: str) -> None:
    log = read(rmc("100000"), sentence(body), rmc("100002"))
    (told,) = [f for f in log.findings if f.code == "bad-number"]
    assert told.message.endswith(f": {field}")
    assert told.count == 1


def test_empty_fields_and_the_date_of_a_receiver_without_a_fix_are_no_bad_ones() -> None:
    log = read(sentence("GPRMC,100001,V,,,,,,,000000,,,N"), rmc("100002"))
    assert codes(log) == {"no-fix": 1}


@pytest.mark.parametrize("mode", ["N", "E", "M"])
def test_a_speed_that_the_receiver_says_is_not_measured_is_none(mode: str) -> None:
    def vtg(mode: str) -> str:
        return sentence(f"GPVTG,90.0,T,,M,10.000,N,18.520,K,{mode}")

    log = read(gga("100000"), vtg("A"), gga("100001"), vtg(mode), gga("100002"), vtg("D"))
    assert list(log.frame.fix) == [1, 0, 1]
    assert codes(log)["no-fix"] == 1
    void = sentence(f"GPRMC,100001,A,4600.000,N,00800.000,E,10.00,90.0,010221,,,{mode}")
    log = read(rmc("100000"), void, rmc("100002", status="V"), rmc("100003"))
    assert list(log.frame.fix) == [1, 0, 0, 1]


def test_refusals_are_one_sentence() -> None:
    with pytest.raises(DamagedLogError, match="none of its 1 sentences passes its checksum"):
        read("$GPRMC,100000.00,A,4600.000,N,00800.000,E,10.0,90.0,010221,,,A*00\n")
    with pytest.raises(NothingUsableError, match="no sentence with a time and a fix"):
        read(sentence("GPGSV,3,1,12,04,16,162,46"))


def test_encapsulated_and_proprietary_sentences_are_passed_over_and_named() -> None:
    other = ["!AIVDM,1,1,,A,15M67F,0*XX\r\n", "$PGRME,15.0,M,45.0,M\r\n", "$PABCD,7*00\r\n"]
    other.append(sentence("PMTK001,220,3"))
    log = read(rmc("100000.00"), *other, rmc("100001.00"), *other, rmc("100002.00"))
    assert log.t_s.tolist() == [0.0, 1.0, 2.0]
    assert codes(log) == {"sentences-unread": 8}
    assert "AIVDM, PGRME, PABCD, PMTK001" in log.findings[0].message


def test_an_encapsulated_sentence_does_not_take_the_end_of_the_one_before_it() -> None:
    joined = rmc("100000.00").strip() + "!AIVDM,1,1,,A,15M67F,0*00\r\n" + "wow! text\r\n" + rmc("100001.00")
    log = read(joined)
    assert log.t_s.tolist() == [0.0, 1.0]
    assert codes(log) == {"sentences-unread": 1, "stray-text": 1}


def test_a_log_that_begins_with_encapsulated_sentences_is_nmea() -> None:
    log = read("!AIVDM,1,1,,A,15M67F,0*00\r\n" * 300, rmc("100000.00"), rmc("100001.00"))
    assert log.meta.format == "nmea"
    assert len(log.frame) == 2


def test_rows_of_another_day_first_are_sorted() -> None:
    late = [rmc(f"10000{i}.00", date="020221") for i in range(3)]
    log = read(*late, *[rmc(f"10000{i}.00") for i in range(3)])
    assert log.t_s.tolist() == [0.0, 1.0, 2.0, 86_400.0, 86_401.0, 86_402.0]
    assert codes(log) == {"out-of-order": 1}
