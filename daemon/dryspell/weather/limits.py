"""What a reading can be, and how fast and how little it can change.

References
----------
.. [1] I. Zahumensky, Guidelines on Quality Control Procedures for Data from Automatic Weather Stations, WMO
   CBS/OPAG-IOS/ET AWS-3/Doc. 4(1), 2004; taken over into WMO-No. 488 and WMO-No. 8.
.. [2] WMO-No. 305, Guide on the Global Data-processing System, 1993, chapter 6: tolerances between two reports.
.. [3] M. A. Shafer et al., Quality Assurance Procedures in the Oklahoma Mesonetwork, J. Atmos. Oceanic Technol. 17,
   2000, table 3: the most between two readings 5 min apart. The humidity confirmed, the rest from memory.
.. [4] EPA-454/R-99-005, Meteorological Monitoring Guidance for Regulatory Modeling Applications, 2000: screening
   criteria.
.. [5] U.S. IOOS, Manual for Real-Time Quality Control of Wind Data (QARTOD), 2014: gross range, spike, rate of change
   and flat line tests; its thresholds are the operator's.
.. [6] C. N. Long and E. G. Dutton, BSRN Global Network recommended QC tests V2.0, 2002: physically possible limits.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from dryspell.weather.table import VARIABLES

Points = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Limits:
    """Limits of one variable, in its unit.

    Attributes
    ----------
    low, high
        Outside of these it is not possible at the ground.
    change
        (minutes, the most it changes in them), ascending, a straight line between, the last one beyond; empty: any.
    spike
        How far off both neighbours a reading may be; infinite: any.
    still_h, coarse_still_h, coarse
        A value that has stayed the same to the last digit for so long is stuck. Where half of the changes are wider
        than `coarse`, since the probe is coarse or reads seldom, the same value comes more often: `coarse_still_h`
        holds. Infinite: never.
    still_from, still_to
        Only values between these can be stuck: calm, dry, dark and saturated air stay the same for long.
    """

    low: float
    high: float
    change: Points = ()
    spike: float = float("inf")
    still_h: float = float("inf")
    coarse_still_h: float = float("inf")
    coarse: float = 0.0
    still_from: float = float("-inf")
    still_to: float = float("inf")


# What stays the same: [1] asks for a change of 0.1 K, 1 %, 0.1 hPa or 0.5 m/s within 60 min, [4] of 0.5 K within 12 h.
# Real air does not comply on a dull day: at three airports that read once an hour the temperature stood still for up to
# 13 h and the dew point for 15 h. So ours are longer (no source; no false alarm in the measured records of the tests).
_SUN = Limits(-20, 1600, change=((1, 1000),), still_h=3, coarse_still_h=3, still_from=5)  # [1]; night, no source
_WIND = Limits(
    0, 75,  # [1]
    change=((1, 20), (5, 40)),  # [1], [3]
    still_h=4, coarse_still_h=12, coarse=0.3, still_from=1.0,  # [4] has 3 h; calm: no source
)  # fmt: skip
LIMITS: Mapping[str, Limits] = {
    "air_temperature": Limits(
        -80, 60,  # [1]
        change=((1, 3), (5, 10), (720, 25)),  # [1], [3], [2]
        spike=2.0,  # no source
        still_h=4, coarse_still_h=18, coarse=0.3,
    ),
    "dew_point_temperature": Limits(
        -80, 35,  # [1]
        change=((1, 4), (5, 10), (720, 20)),  # [1] from memory, [3], [2]
        spike=2.5,  # no source
        still_h=4, coarse_still_h=18, coarse=0.3,
    ),
    "relative_humidity": Limits(
        1, 105,  # [1] has 0 to 100; probes read above in fog, and 0 when they are not connected (no source)
        change=((1, 15), (5, 20), (60, 50), (720, 100)),  # [1], [3], no source for the rest
        spike=8.0,  # no source
        # Ice on the probe holds 85 to 91 % for 8 h in frost, fog 99 % for a day (reported of networks).
        still_h=9, coarse_still_h=24, coarse=0.8, still_to=97.0,
    ),
    "wind_speed": _WIND,
    "wind_speed_of_gust": Limits(
        0, 150,  # that of the table; [1] has none
        change=((1, 40),), still_h=4, coarse_still_h=12, coarse=0.3, still_from=1.0,  # no source
    ),
    "precipitation_amount": Limits(0, 500, still_h=6, coarse_still_h=6, still_from=0.05),  # no source for the length
    "surface_downwelling_shortwave_flux_in_air": _SUN,
    "surface_direct_downwelling_shortwave_flux_in_air": _SUN,
    "surface_diffuse_downwelling_shortwave_flux_in_air": _SUN,
    "surface_air_pressure": Limits(
        500, 1100,  # [1]
        change=((1, 2), (120, 6), (180, 9), (360, 18), (720, 36)),  # [1], [2]
        spike=2.0,  # no source
        still_h=18, coarse_still_h=24, coarse=0.3,
    ),
    "surface_temperature": Limits(
        -80, 110,  # [1] has 80; a dark board in the sun is hotter (the bound of the table)
        change=((1, 10), (5, 25), (720, 70)),  # [1] from memory; no source for the rest
        spike=6.0,  # no source
        still_h=4, coarse_still_h=18, coarse=0.3,
    ),
}  # fmt: skip
"""What is not here has only the bounds of the table."""


def limits_of(variable: str) -> Limits:
    """Return the limits of a variable of the weather table."""
    bounds = VARIABLES[variable]
    return LIMITS.get(variable, Limits(bounds.low, bounds.high))
