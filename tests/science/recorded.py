"""Reads the recorded data of ../shared/measured; a test that asks for a file that is not there is skipped."""

import csv
import gzip
from pathlib import Path

import numpy as np
import pytest

_FOLDER = Path(__file__).resolve().parents[3] / "shared" / "measured"


def read(name):
    """Return the instants and the columns of a file; an empty field is NaN."""
    path = _FOLDER / f"{name}.csv.gz"
    if not path.exists():
        pytest.skip("../shared/measured is not here")
    with gzip.open(path, "rt", encoding="utf-8") as text:
        rows = list(csv.DictReader(text))
    times = np.array([row["time_utc"].rstrip("Z") for row in rows], dtype="datetime64[s]")
    names = [name for name in rows[0] if name != "time_utc"]
    return times, {name: np.array([float(row[name] or "nan") for row in rows]) for name in names}


def payerne():
    """Return a week of grass at Payerne (CH), June 2016, 10-minute means, with the official reports put between.

    Dew point, wind and cloud are those of the station's reports at 00, 06, 09, 12, 18 and 21 UTC, straight between.
    `skin_c` is the temperature of the grass from the longwave it sends up, emissivity 0.98.
    """
    times, columns = read("payerne_2016-06-01_07_10min")
    report_times, reports = read("payerne_2016-06-01_07_synop")
    seconds = times.astype(np.int64)
    report_seconds = report_times.astype(np.int64)
    for name in ("dew_point_degC", "wind_m_s", "cloud_okta"):
        columns[name] = np.interp(seconds, report_seconds, reports[name])
    columns["dew_point_degC"] = np.minimum(columns["dew_point_degC"], columns["air_temperature_2m_degC"])
    columns["near_report"] = np.abs(seconds[:, None] - report_seconds).min(axis=1) <= 1800
    own = columns["lw_up_W_m2"] - 0.02 * columns["lw_down_W_m2"]
    columns["skin_c"] = (own / (0.98 * 5.670374419e-8)) ** 0.25 - 273.15
    return times, columns


def airport():
    """Return hours of a New York airport, early 2013: temperature, humidity and dew point as reported [degC, %]."""
    path = _FOLDER / "nyc_airport_EWR_2013_jan_mar.csv.gz"
    if not path.exists():
        pytest.skip("../shared/measured is not here")
    with gzip.open(path, "rt", encoding="utf-8") as text:
        rows = list(csv.DictReader(text))
    temperature_f, humidity_pct, dew_point_f = (
        np.array([float(row[name] or "nan") for row in rows]) for name in ("temp", "humid", "dewp")
    )
    return (temperature_f - 32) / 1.8, humidity_pct, (dew_point_f - 32) / 1.8
