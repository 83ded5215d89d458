"""What ``check`` looks at of the central store: whether it takes what this site sends, and what still waits."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

from monitor.errors import CentralError
from monitor.network import is_loopback
from monitor.settings.config import Config
from monitor.settings.shops import Centre
from monitor.shops.points import Point
from monitor.shops.sender import target_of
from monitor.store.store import Store
from monitor.translatable import Translatable

if TYPE_CHECKING:
    from monitor.shops.influx import Link

_COUNTED = {"reading": "origin", "outlook": "body"}
"""A field that every point has; of other tables ``row``."""

Looked = Iterator[tuple[str, str | None]]
"""What was seen, and what to do about it; None when it is right as it is."""


def looked_at_central(config: Config) -> Looked:
    """Everything of it, a line each; nothing where there is none."""
    centre = config.centre
    if centre is None:
        return
    from monitor.shops.influx import Link  # takes a second to load

    name = Translatable("central store {url}", url=centre.url)
    if config.secrets.influx_token is None and not is_loopback(centre.host):
        yield (
            Translatable("{name}: no token is known", name=name),
            Translatable("write influx_token into secrets.toml, or set PROOFING_INFLUX_TOKEN"),
        )
        return
    try:
        with Link(centre, config.secrets.influx_token) as link:
            if config.has_sources:
                for measurement in ("check", "reading") if centre.readings_bucket != centre.bucket else ("check",):
                    bucket = centre.bucket_of(measurement)
                    link.write_to(bucket, [Point("check", {"site": config.site}, 0, {"ok": 1})])
                    yield (
                        Translatable(
                            "{name}: takes what site {site} sends to {bucket}",
                            name=name,
                            site=config.site,
                            bucket=bucket,
                        ),
                        None,
                    )
            else:
                found = link.sites()
                yield (
                    Translatable(
                        "{name}: can be read; its sites: {found}",
                        name=name,
                        found=", ".join(found) or Translatable("none yet"),
                    ),
                    None,
                )
    except CentralError as error:
        yield (
            Translatable("{name}: cannot be used: {why}", name=name, why=error),
            Translatable("mend that; until then everything waits in the database here"),
        )
    if config.database.exists():
        with Store(config.database) as store:
            backlog = store.spool.backlog(target_of(centre, config.site))
        yield Translatable("{name}: {rows} rows wait to be sent", name=name, rows=backlog.rows), None
        if backlog.parked:
            mend = Translatable("see the collector's log for the reason, mend that there, then restart the collector")
            yield Translatable("{name}: {parked} rows cannot be taken by it", name=name, parked=backlog.parked), mend


def count_there(link: "Link", centre: Centre, table: str, site: str) -> int:
    """How many rows of a table the central store has of a site."""
    field = _COUNTED.get(table, "row")
    query = f'SELECT count("{field}") AS n FROM "{table}" WHERE site = \'{site}\''
    return sum(int(row["n"]) for row in link.rows(centre.bucket_of(table), query))
