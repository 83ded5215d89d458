"""The statements by which an InfluxDB 1 is made ready: buckets, how long readings stay, and their five-minute means."""

from monitor.errors import UnfitError
from monitor.settings.shops import Centre

MEANS = "reading_5m"
LATE_D = 8  # a week's outage, and a day: so long ago the means are made anew, once a day


def statements(centre: Centre, keep_readings_d: int | None) -> list[tuple[str, str]]:
    """Pairs of bucket and InfluxQL statement; each may be repeated.

    Single readings stay for so many days (None: for good), everything else for good. An UnfitError when readings would
    take everything else with them.
    """
    readings = centre.readings_bucket
    if keep_readings_d is not None and readings == centre.bucket:
        raise UnfitError("name a readings_bucket of their own first: how long points stay holds for a whole bucket")
    found = [(bucket, f'CREATE DATABASE "{bucket}"') for bucket in dict.fromkeys((centre.bucket, readings))]
    if keep_readings_d is not None:
        found.append((readings, f'ALTER RETENTION POLICY "autogen" ON "{readings}" DURATION {keep_readings_d}d'))
    found.append((readings, f'DROP CONTINUOUS QUERY "{MEANS}" ON "{readings}"'))
    found.append((readings, f'CREATE CONTINUOUS QUERY "{MEANS}" ON "{readings}" RESAMPLE EVERY 1d FOR {LATE_D}d BEGIN '
                  f"{means_query(centre)} GROUP BY time(5m), site, node, channel END"))  # fmt: skip
    return found


def means_query(centre: Centre) -> str:
    """What is kept of readings for good: mean, least, greatest and number of the sound ones."""
    of = "mean(value) AS mean, min(value) AS min, max(value) AS max, count(value) AS count"
    return f'SELECT {of} INTO "{centre.bucket}"."autogen"."{MEANS}" FROM reading'
