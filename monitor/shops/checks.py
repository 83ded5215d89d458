"""What ``check`` looks at of the central store: whether it takes what this site sends, and what still waits."""

from monitor.errors import CentralError
from monitor.health.findings import Finding, Findings
from monitor.network import is_loopback
from monitor.settings.config import Config
from monitor.shops.points import Point
from monitor.shops.sender import target_of
from monitor.store.store import Store
from monitor.translatable import N_, Translatable


def looked_at_central(config: Config) -> Findings:
    """Everything of it, a line each; nothing where there is none."""
    centre = config.centre
    if centre is None:
        return
    from monitor.shops.influx import Link  # takes a second to load

    name = Translatable("central store {url}", url=centre.url)
    if config.secrets.influx_token is None and not is_loopback(centre.host):
        yield Finding(
            Translatable("{name}: no token is known", name=name),
            Translatable("write influx_token into secrets.toml, or set PROOFING_INFLUX_TOKEN"),
        )
        return
    try:
        with Link(centre, config.secrets.influx_token) as link:
            if config.has_sources:
                for bucket in dict.fromkeys((centre.bucket, centre.readings_bucket)):
                    link.write("check", [Point("check", {"site": config.site}, 0, {"ok": 1})], bucket)
                    takes = N_("{name}: takes what site {site} sends to {bucket}")
                    yield Finding(Translatable(takes, name=name, site=config.site, bucket=bucket))
            else:
                found = sorted(site for site, *_ in link.summaries())
                yield Finding(
                    Translatable(
                        "{name}: can be read; its sites: {found}",
                        name=name,
                        found=", ".join(found) or Translatable("none yet"),
                    )
                )
            if link.has_old_rows():
                yield Finding(
                    Translatable(
                        "{name}: bucket {bucket} holds rows of an earlier version, which nothing reads any more",
                        name=name,
                        bucket=centre.bucket,
                    ),
                    Translatable(
                        "name another bucket under [central]: everything is sent there anew; then drop this one"
                    ),
                )
    except CentralError as error:
        yield Finding(
            Translatable("{name}: cannot be used: {why}", name=name, why=error),
            Translatable("mend that; until then everything waits in the database here"),
        )
    if config.database.exists():
        with Store(config.database) as store:
            backlog = store.spool.backlog(target_of(centre, config.site))
        yield Finding(Translatable("{name}: {rows} rows wait to be sent", name=name, rows=backlog.rows))
        if backlog.parked:
            mend = Translatable("see the collector's log for the reason, mend that there, then restart the collector")
            yield Finding(
                Translatable("{name}: {parked} rows cannot be taken by it", name=name, parked=backlog.parked), mend
            )
