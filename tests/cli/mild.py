"""Mild, dry weather, the same at every hour, as a weather table in a file."""

NAMES = ("air_temperature [degC]", "relative_humidity [%]", "wind_speed [m/s]", "precipitation_amount [mm]")


def mild(days, *, cloud_pct, issued=None):
    """Return the text of a table of some days of June 2026: 18 degC, 55 % and 2 m/s."""
    hours = [f"2026-06-{day:02}T{hour:02}:00Z,18,55,2,0,{cloud_pct}" for day in days for hour in range(24)]
    head = f"time,{','.join(NAMES)},cloud_area_fraction [%]"
    return "\n".join([*([f"# issued {issued}"] if issued else []), head, *hours])
