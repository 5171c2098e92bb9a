"""METAR and TAF. Expected winds are decoded by hand from the groups by WMO-No. 306, FM 15 and FM 51."""

from datetime import UTC, datetime, timedelta

import pytest

from rentals.weather.formats import aviation
from rentals.weather.formats.reading import Forecast, Reading, Unreadable
from tests.rentals.weather.samples import sample

KNOT_MS = 1852 / 3600  # international knot, 1929
REAL_METARS = sample("metpy_metar_20190701_excerpt.txt")
REAL_AVWX = sample("avwx_engine_metar_taf.txt")
NOON = datetime(2026, 7, 1, 12, 30, tzinfo=UTC)


def at(day: int, hour: int, minute: int = 0, *, month: int = 7, year: int = 2026) -> datetime:
    return datetime(year, month, day, hour, minute, tzinfo=UTC)


def knots(value: float | None) -> float | None:
    return None if value is None else round(value / KNOT_MS, 6)


def metar(text: str, reference: datetime = NOON) -> Reading:
    (reading,) = aviation.parse_metar(text, reference=reference).readings
    return reading


def taf(groups: str, reference: datetime = NOON) -> Forecast:
    return aviation.parse_taf(f"TAF EGZZ 011100Z 0112/0118 {groups}", reference=reference)


def wind_at(
    forecast: Forecast, hour: int, minute: int = 0
) -> tuple[float | None, float | None, float | None]:
    """Mean and gust in knots, and where from, of the step that holds 1 July at that time."""
    moment = at(1, hour, minute)
    (step,) = (
        step
        for step in forecast.hours
        if step.starts_at <= moment < step.starts_at + timedelta(minutes=step.minutes)
    )
    return knots(step.mean_ms), knots(step.gust_ms), step.from_deg


class TestRealMetars:
    """17 reports of 2019-07-01 around 12 UTC."""

    readings = aviation.parse_metar(REAL_METARS, reference=datetime(2019, 7, 1, 12, 30, tzinfo=UTC))

    def test_it_reads_all_that_report_a_wind(self) -> None:
        assert len(self.readings.readings) == 16

    def test_it_skips_the_one_that_reports_none_with_its_line(self) -> None:
        assert self.readings.skipped == ((15, "SVMG reports no wind"),)

    def test_it_puts_them_in_order_of_time(self) -> None:
        times = [reading.at for reading in self.readings.readings]

        assert times == sorted(times)
        assert times[0] == datetime(2019, 7, 1, 11, 45, tzinfo=UTC)
        assert times[-1] == datetime(2019, 7, 1, 12, 0, tzinfo=UTC)

    def test_it_says_that_the_reports_are_of_many_stations(self) -> None:
        assert self.readings.notes[0].startswith("16 stations report here (BKPR, EEEI, KQEN")

    def test_it_says_that_a_missing_gust_is_not_no_gust(self) -> None:
        assert self.readings.notes[1].startswith(
            "13 of 16 reports carry no gust; a METAR or TAF tells a gust only"
        )

    @pytest.mark.parametrize(
        ("line", "mean_kn", "gust_kn", "from_deg", "temperature_c", "averaging_s"),
        [
            (1, 10, None, 0, 17, 600),  # MGGT 36010KT 17/16
            (2, 12, None, 130, 27, 600),  # SBFZ 13012KT 27/22
            (4, 9, None, 100, 27, 600),  # SBSV 10009KT 070V140 27/20
            (8, 17, None, 250, 21, 600),  # EEEI 25017KT, and TEMPO 25017G27KT, which is a forecast
            (10, 14, 24, 30, 40, 600),  # OAHR 03014G24KT 40/04
            (11, 2, None, None, 40, 600),  # OAMS VRB02KT 40/04
            (12, 9, 17, 250, 18, 120),  # KQEN AUTO 25009G17KT 18/16
            (13, 13, 26, 340, 45, 600),  # OKAS 34013G26KT 300V360 45/05
            (17, 0, None, None, 17, 120),  # KSMO AUTO 00000KT 17/14
        ],
    )
    def test_it_reads_wind_and_temperature(
        self,
        line: int,
        mean_kn: float,
        gust_kn: float | None,
        from_deg: float | None,
        temperature_c: float,
        averaging_s: int,
    ) -> None:
        reading = metar(REAL_METARS.splitlines()[line - 1], datetime(2019, 7, 1, 12, 30, tzinfo=UTC))

        assert (knots(reading.mean_ms), knots(reading.gust_ms), reading.from_deg) == (
            mean_kn,
            gust_kn,
            from_deg,
        )
        assert (reading.temperature_c, reading.averaging_s, reading.height_m) == (
            temperature_c,
            averaging_s,
            10,
        )

    def test_it_parts_reports_that_run_on_in_one_line(self) -> None:
        line = REAL_AVWX.splitlines()[1]  # EGLL at 05:50, 05:20, 04:50 and 04:20

        readings = aviation.parse_metar(line, reference=datetime(2022, 3, 17, 6, tzinfo=UTC)).readings

        assert [reading.at for reading in readings] == [
            datetime(2022, 3, 17, hour, minute, tzinfo=UTC)
            for hour, minute in ((4, 20), (4, 50), (5, 20), (5, 50))
        ]
        assert {(knots(reading.mean_ms), reading.from_deg) for reading in readings} == {(11, 90)}

    def test_it_keeps_the_metars_of_a_mixed_file_and_points_at_the_tafs(self) -> None:
        readings = aviation.parse_metar(REAL_AVWX, reference=datetime(2022, 3, 17, 6, tzinfo=UTC))

        assert len(readings.readings) == 10
        assert readings.skipped == tuple(
            (line, "this is a TAF: read it as a forecast") for line in (10, 12, 14, 16)
        )


class TestMetar:
    def test_it_reads_metres_a_second(self) -> None:
        reading = metar("METAR UZZZ 011200Z 27008G14MPS 9999 15/10 Q1015=")

        assert (reading.mean_ms, reading.gust_ms) == (8, 14)

    def test_it_reads_temperatures_below_zero(self) -> None:
        assert metar("METAR EGZZ 011200Z 27008KT 9999 M05/M10 Q1015=").temperature_c == -5

    def test_it_leaves_out_a_temperature_that_is_not_reported(self) -> None:
        assert metar("METAR EGZZ 011200Z AUTO 27008KT //// // ////// ///// Q////=").temperature_c is None

    def test_it_takes_corrected_and_special_reports(self) -> None:
        reports = "METAR COR EGZZ 011150Z 27008KT=\nSPECI EGZZ 011210Z 29018G31KT="

        assert len(aviation.parse_metar(reports, reference=NOON).readings) == 2

    def test_it_joins_a_report_that_was_wrapped(self) -> None:
        assert metar("METAR EGZZ 011200Z\n  27008KT 9999\n  15/10 Q1015=").temperature_c == 15

    def test_it_keeps_remarks_out_of_the_wind(self) -> None:
        assert knots(metar("METAR KZZZ 011200Z 27008KT RMK PK WND 28045/15 30040KT").mean_ms) == 8

    def test_it_skips_the_second_of_two_equal_reports(self) -> None:
        readings = aviation.parse_metar("EGZZ 011200Z 27008KT=\nEGZZ 011200Z 27009KT=", reference=NOON)

        assert knots(readings.readings[0].mean_ms) == 8
        assert readings.skipped == ((2, "repeats the report of EGZZ at 2026-07-01 12:00 UTC"),)

    @pytest.mark.parametrize(
        ("report", "why"),
        [
            ("METAR EGZZ 011200Z /////KT 9999=", "EGZZ reports no wind"),
            ("METAR EGZZ 011200Z 9999 15/10=", "EGZZ reports no wind"),
            ("METAR EGZZ 011200Z NIL=", "EGZZ sent no report"),
            ("METAR EGZZ 01120Z 27008KT=", "'EGZZ 01120Z' is not a station and a time"),
            ("METAR EGZZ 321200Z 27008KT=", "There is no day 32 with a time 12:00"),
            ("METAR EGZZ 011261Z 27008KT=", "not in the form of its code"),
            ("METAR EGZZ 011200Z 270100KT=", "wind group '270100KT' can't be read"),
            ("METAR EGZZ 011200Z 27050GP99KT=", "wind group '27050GP99KT' can't be read"),
            ("METAR EGZZ 011200Z 27036KMH=", "wind group '27036KMH' can't be read"),
            ("METAR EGZZ 011200Z 27018G12KT=", "gust below its mean"),
            ("METAR EGZZ 011200Z 38012KT=", "wind direction 380 degrees can't be right"),
            ("METAR EGZZ 011200Z 12034 9999=", "wind group 12034KT is not written out in the report"),
            ("METAR EGZZ 011200Z 27008KT 28009KT=", "wind group '27008KT' can't be read"),
        ],
    )
    def test_it_never_guesses_at_a_wind(self, report: str, why: str) -> None:
        with pytest.raises(Unreadable, match=why):
            aviation.parse_metar(report, reference=NOON)

    def test_it_keeps_a_good_report_beside_a_broken_one(self) -> None:
        readings = aviation.parse_metar(
            "METAR EGZZ 011150Z 27008KT=\nMETAR EGZZ 01122Z 29030KT=", reference=NOON
        )

        assert [knots(reading.mean_ms) for reading in readings.readings] == [8]
        assert readings.skipped[0][0] == 2

    @pytest.mark.parametrize(
        ("reference", "stamp", "expected"),
        [
            (at(1, 0, 10), "302350Z", at(30, 23, 50, month=6)),
            (at(1, 0, 10, month=3), "282350Z", at(28, 23, 50, month=2)),
            (at(1, 0, 10, month=3, year=2028), "292350Z", at(29, 23, 50, month=2, year=2028)),
            (at(1, 0, 10, month=1), "312350Z", at(31, 23, 50, month=12, year=2025)),
            (at(15, 0), "151150Z", at(15, 11, 50)),
            (at(15, 0), "171150Z", at(17, 11, 50, month=6)),
            (at(1, 9, month=5), "310900Z", at(31, 9, month=3)),
        ],
        ids=[
            "month end",
            "February",
            "leap February",
            "new year",
            "midnight of its own date",
            "a month ago",
            "a day that last month lacks",
        ],
    )
    def test_it_dates_a_report_to_its_last_occurrence(
        self, reference: datetime, stamp: str, expected: datetime
    ) -> None:
        assert metar(f"EGZZ {stamp} 27008KT=", reference).at == expected

    def test_it_wants_a_reference_with_a_zone(self) -> None:
        with pytest.raises(ValueError, match="time zone"):
            aviation.parse_metar(REAL_METARS, reference=datetime(2019, 7, 1))  # noqa: DTZ001


class TestRealTafs:
    """Four TAFs of one night; their validity is 30 and 27 hours."""

    reference = datetime(2022, 3, 9, 4, tzinfo=UTC)

    def read(self, line: int) -> Forecast:
        return aviation.parse_taf(REAL_AVWX.splitlines()[line - 1], reference=self.reference)

    @pytest.mark.parametrize(
        ("line", "issued", "steps", "first", "last"),
        [
            (10, (8, 22, 57), 30, (6, None, 200), (6, None, 200)),  # EGLL 0900/1006 20006KT
            (12, (9, 3, 15), 28, (7, None, 270), (6, None, 70)),  # KJFK 0903/1006, FM090330 splits an hour
            (14, (9, 3, 5), 27, (6, None, 160), (8, None, 220)),  # KMCO
            (16, (9, 2, 50), 27, (9, None, 60), (9, None, 130)),  # PHNL
        ],
    )
    def test_it_reads_issue_steps_and_winds(
        self,
        line: int,
        issued: tuple[int, int, int],
        steps: int,
        first: tuple[float, float | None, float],
        last: tuple[float, float | None, float],
    ) -> None:
        forecast = self.read(line)

        assert forecast.issued_at == at(*issued, month=3, year=2022)
        assert len(forecast.hours) == steps
        for hour, expected in ((forecast.hours[0], first), (forecast.hours[-1], last)):
            assert (knots(hour.mean_ms), knots(hour.gust_ms), hour.from_deg) == expected

    def test_it_covers_the_whole_validity(self) -> None:
        forecast = self.read(12)

        assert forecast.hours[0].starts_at == at(9, 3, month=3, year=2022)
        assert sum(hour.minutes for hour in forecast.hours) == 27 * 60

    def test_it_reads_gusts_only_where_they_are_told(self) -> None:
        forecast = self.read(14)  # FM092000 24012G18KT until FM100300

        gusty = [hour for hour in forecast.hours if hour.gust_ms is not None]
        assert [hour.starts_at.hour for hour in gusty] == [20, 21, 22, 23, 0, 1, 2]
        assert {knots(hour.gust_ms) for hour in gusty} == {18}
        assert forecast.notes[0].startswith("20 of 27 steps carry no gust; a METAR or TAF tells a gust only")

    def test_it_reads_variable_wind_as_no_direction(self) -> None:
        variable = [
            hour for hour in self.read(16).hours if hour.from_deg is None
        ]  # FM090700 VRB05KT to FM092100

        assert len(variable) == 14
        assert {knots(hour.mean_ms) for hour in variable} == {5}


class TestTaf:
    def test_it_changes_the_wind_at_the_minute_of_a_from_group(self) -> None:
        forecast = taf("20006KT 9999 FM011430 24015G25KT 9999")

        assert wind_at(forecast, 14, 29) == (6, None, 200)
        assert wind_at(forecast, 14, 30) == (15, 25, 240)
        assert [hour.minutes for hour in forecast.hours] == [60, 60, 30, 30, 60, 60, 60]

    def test_it_takes_the_stronger_wind_while_it_is_becoming_stronger(self) -> None:
        forecast = taf("20006KT BECMG 0113/0115 24015KT")

        assert wind_at(forecast, 12) == (6, None, 200)
        assert wind_at(forecast, 13) == wind_at(forecast, 14) == (15, None, 240)
        assert wind_at(forecast, 15) == (15, None, 240)
        assert forecast.notes[0] == (
            "BECMG 24015KT from 2026-07-01 13:00 UTC to 2026-07-01 15:00 UTC: "
            "when within it is not said, so the stronger wind of both is taken"
        )

    def test_it_keeps_the_stronger_wind_while_it_is_becoming_weaker(self) -> None:
        forecast = taf("24015G28KT BECMG 0113/0115 20006KT")

        assert wind_at(forecast, 14) == (15, 28, 240)
        assert wind_at(forecast, 15) == (6, None, 200)

    def test_it_keeps_the_stronger_gust_of_the_weaker_wind(self) -> None:
        forecast = taf("24012G30KT BECMG 0113/0115 20016KT")

        assert wind_at(forecast, 14) == (16, 30, 200)

    def test_it_keeps_the_wind_when_only_the_weather_is_becoming(self) -> None:
        assert wind_at(taf("20006KT 9999 BECMG 0113/0115 3000 BR"), 16) == (6, None, 200)

    @pytest.mark.parametrize("group", ["TEMPO", "PROB30", "PROB40 TEMPO", "INTER"])
    def test_it_counts_a_passing_wind_as_gust_only(self, group: str) -> None:
        forecast = taf(f"20010KT 9999 {group} 0113/0115 26020G35KT TSRA")

        assert wind_at(forecast, 12) == (10, None, 200)
        assert wind_at(forecast, 13) == wind_at(forecast, 14) == (10, 35, 200)
        assert wind_at(forecast, 15) == (10, None, 200)
        assert "counts as gust, not as mean wind" in forecast.notes[0]

    def test_it_counts_a_passing_mean_as_gust_where_no_gust_is_told(self) -> None:
        assert wind_at(taf("20010KT TEMPO 0113/0115 26022KT"), 13) == (10, 22, 200)

    def test_it_never_lowers_a_gust(self) -> None:
        assert wind_at(taf("20010G30KT TEMPO 0113/0115 26022KT"), 13) == (10, 30, 200)

    def test_it_leaves_out_the_hours_after_a_from_group_without_a_wind(self) -> None:
        forecast = taf("20010KT FM011500 9999 SCT020")

        assert sum(hour.minutes for hour in forecast.hours) == 180
        assert "3 steps have no wind and are left out" in forecast.notes

    def test_it_reads_calm(self) -> None:
        assert wind_at(taf("00000KT CAVOK"), 12) == (0, None, None)

    def test_it_reads_metres_a_second(self) -> None:
        assert taf("27008G14MPS 9999").hours[0].gust_ms == 14

    @pytest.mark.parametrize("extremes", ["TX19/0114Z TN12/0118Z", "TXM02/0114Z TNM05/0118Z"])
    def test_it_is_not_put_off_by_extreme_temperatures(self, extremes: str) -> None:
        assert wind_at(taf(f"20010KT 9999 TEMPO 0113/0115 4000 {extremes}"), 13) == (10, None, 200)

    def test_it_reads_a_station_whose_name_starts_like_a_temperature(self) -> None:
        forecast = aviation.parse_taf("TAF TXZZ 011100Z 0112/0118 20010KT", reference=NOON)

        assert forecast.issued_at == at(1, 11)
        assert len(forecast.hours) == 6

    def test_it_reads_wind_shear_as_no_wind_of_the_ground(self) -> None:
        assert wind_at(taf("20010KT 9999 WS020/24045KT"), 13) == (10, None, 200)

    def test_it_crosses_the_end_of_a_month(self) -> None:
        forecast = aviation.parse_taf(
            "TAF EGZZ 302300Z 3024/0106 20010KT FM010330 24015KT", reference=at(30, 23, 20, month=6)
        )

        assert forecast.issued_at == at(30, 23, month=6)
        assert forecast.hours[0].starts_at == at(1, 0)
        assert next(hour.starts_at for hour in forecast.hours if hour.from_deg == 240) == at(1, 3, 30)
        assert sum(hour.minutes for hour in forecast.hours) == 360

    def test_it_ends_at_hour_24_of_the_last_day_of_a_year(self) -> None:
        forecast = aviation.parse_taf("TAF EGZZ 311100Z 3112/3124 20010KT", reference=at(31, 12, month=12))

        assert forecast.hours[-1].starts_at == at(31, 23, month=12)
        assert len(forecast.hours) == 12

    def test_it_keeps_a_validity_that_began_before_an_amendment(self) -> None:
        forecast = aviation.parse_taf("TAF AMD EGZZ 011340Z 0112/0118 20010KT", reference=at(1, 14))

        assert forecast.hours[0].starts_at == at(1, 12)

    def test_it_reads_a_taf_without_an_issue_time(self) -> None:
        forecast = aviation.parse_taf("TAF EGZZ 0112/0118 20010KT", reference=NOON)

        assert forecast.issued_at is None
        assert forecast.hours[0].starts_at == at(1, 12)

    @pytest.mark.parametrize(
        ("text", "message"),
        [
            ("", "There is no TAF here"),
            ("METAR EGZZ 011200Z 27008KT=", "There is no TAF here"),
            (REAL_AVWX, "There are 4 TAFs here; send the one"),
            ("TAF EGZZ 011100Z NIL=", "cancelled or empty"),
            ("TAF AMD EGZZ 011100Z 0112/0118 CNL=", "cancelled or empty"),
            ("TAF EGZZ 011100Z 0112/", "not in the form of its code"),
            ("TAF EGZZ 011100Z 0112/0118 9999", "states no wind"),
            ("TAF EGZZ 011100Z 0112/0118 /////KT 9999", "states no wind"),
            ("TAF EGZZ 011100Z 0112/0118 270100KT", "'270100KT' can't be read"),
            ("TAF EGZZ 011100Z 0112/0118 20010KT TEMPO 0113/0115 27050GP99KT", "'27050GP99KT' can't be read"),
            ("TAF EGZZ 011100Z 0112/0118 20010KT TEMPO 27025KT", "TEMPO group of this TAF has no times"),
            ("TAF EGZZ 011100Z 0112/0118 20010KT TEMPO 0113/0123 27025KT", "outside the TAF's validity"),
            ("TAF EGZZ 011100Z 0112/0118 20010KT TEMPO 0113/0113 27025KT", "outside the TAF's validity"),
            ("TAF EGZZ 011100Z 0112/0118 20010KT FM011000 27025KT", "outside the TAF's validity"),
            ("TAF EGZZ 011100Z 0112/0112 20010KT", "validity from .* can't be right"),
            ("TAF EGZZ 011100Z 0112/3018 20010KT", "validity from .* can't be right"),
            ("TAF EGZZ 011100Z 0112/0025 20010KT", "There is no day 00 with a time 25:00"),
        ],
    )
    def test_it_refuses_in_plain_words(self, text: str, message: str) -> None:
        with pytest.raises(Unreadable, match=message):
            aviation.parse_taf(text, reference=NOON)

    def test_it_points_at_the_line_of_the_taf(self) -> None:
        with pytest.raises(Unreadable) as refusal:
            aviation.parse_taf("# pasted\n\nTAF EGZZ 011100Z NIL=", reference=NOON)

        assert refusal.value.line == 3

    def test_it_wants_a_reference_with_a_zone(self) -> None:
        with pytest.raises(ValueError, match="time zone"):
            taf("20010KT", datetime(2026, 7, 1))  # noqa: DTZ001
