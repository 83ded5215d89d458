"""What ``check`` looks at of the shipping: whether the store is shipped, to where, how far, and what hinders it."""

from datetime import datetime

from monitor.errors import REPLICA_REMEDIES, ReplicaError, ReplicaFault
from monitor.health.findings import Finding, Findings
from monitor.replica.litestream import program
from monitor.replica.state import read_status
from monitor.replica.watch import AWAY_AFTER_S
from monitor.settings.config import Config
from monitor.store.collector_lock import is_shipping
from monitor.translatable import Translatable

_AT = "%Y-%m-%d %H:%M"


def looked_at_replica(config: Config, now: datetime) -> Findings:
    """Everything of it, a line each."""
    if config.shipping is None:
        yield Finding(Translatable("replica: the store is shipped nowhere (url under [replica] in config.toml)"))
    if config.shipping is not None or config.shops:
        try:
            program()
        except ReplicaError as error:
            mend = Translatable("pip install {missing}", missing="'proofing-monitor[replica]'")
            yield Finding(Translatable("replica: {why}", why=error), mend)
    if config.shops:
        yield Finding(Translatable("shops: {n} are shown here when somebody looks", n=len(config.shops)))
    if config.shipping is None:
        return
    url = config.shipping.target.url
    status = read_status(config.data_dir, url)
    if not is_shipping(config.data_dir):
        what = Translatable("replica {url}: nothing ships the store", url=url)
        yield Finding(what, REPLICA_REMEDIES[ReplicaFault.NOT_RUNNING])
    elif status.fault is not None:
        what = Translatable("replica {url}: {fault} ({detail})", url=url, fault=status.fault, detail=status.detail)
        yield Finding(what, REPLICA_REMEDIES[status.fault])
    if status.shipped_at is None:
        yield Finding(Translatable("replica {url}: nothing has been shipped yet", url=url))
    else:
        at, is_late = f"{status.shipped_at:{_AT}}", (now - status.shipped_at).total_seconds() > AWAY_AFTER_S
        what = Translatable("replica {url}: has everything until {at} UTC", url=url, at=at)
        yield Finding(what, Translatable("see why it is late") if is_late else None)
    if status.older is not None:
        yield Finding(
            Translatable(
                "replica {url}: on {found} UTC the database here was found to be older than what was shipped until "
                "{at} UTC",
                url=url,
                found=f"{status.older.found_at:{_AT}}",
                at=f"{status.older.shipped_at:{_AT}}",
            )
        )
