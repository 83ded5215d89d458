"""What a trouble of the monitor goes by: the same for as long as the same thing is wrong."""

from datetime import UTC, datetime

import pytest

from monitor.alerts import troubles
from monitor.alerts.troubles import Trouble, key_of
from monitor.errors import CentralKind, ReplicaFault, StoreFault
from monitor.wire.readings import NodeId

NODE = NodeId("urn:dev:mac:020000fffe5e0001")
MOMENT = datetime(2026, 3, 2, 5, 40, tzinfo=UTC)


@pytest.mark.parametrize(
    ("trouble", "key"),
    [
        (troubles.StoreUnusable(StoreFault.FULL, "/srv/dough/proofing.sqlite", "the disk is full"), "store"),
        (troubles.LoopHangs(), "loop"),
        (troubles.DiskNearlyFull("/srv/dough"), "disk"),
        (troubles.ClockMoved(), "clock"),
        (troubles.DatabaseSetAside("/srv/dough/proofing.sqlite.damaged-2"), "damaged proofing.sqlite.damaged-2"),
        (troubles.DatabaseGone("/srv/dough/proofing.sqlite.damaged-3"), "gone proofing.sqlite.damaged-3"),
        (troubles.CarriersFail(("ntfy",)), "carriers"),
        (troubles.OthersToldNothing("mqtts://publisher@localhost:8883", "Not authorized"), "publish"),
        (troubles.NodeRestarts(NODE, 4, 30.0), f"reboots {NODE}"),
        (troubles.DistanceStuck(NODE, 131.5, 42.0), f"stuck {NODE}"),
        (troubles.SensorUnread(NODE, "dough", "power-on", 118, (4,), 60.0), f"unread dough {NODE}"),
        (troubles.SignalWeak(NODE, -84), f"signal {NODE}"),
        (troubles.FlashFull(NODE, 4096), f"flash {NODE}"),
        (troubles.CheckFails("no such device"), "lookout no such device"),
        (troubles.BackupFails(StoreFault.NO_PATH, "/mnt/stick", ""), "backup"),
        (troubles.CentralGetsNothing("https://central.example", CentralKind.AWAY, ""), "central"),
        (troubles.CentralLate(48_210), "central late"),
        (troubles.CentralRefusesRows(3, ()), "central parked"),
        (troubles.ReplicaLate("s3://bakery/rye", ReplicaFault.AWAY, "no route", MOMENT), "replica"),
        (troubles.ReplicaBegunAnew("s3://bakery/rye"), "replica anew"),
        (troubles.StoreOlder("s3://bakery/rye", MOMENT, MOMENT), "older"),
    ],
    ids=lambda each: type(each).__name__ if isinstance(each, Trouble) else "",
)
def test_each_trouble_goes_by_a_key(trouble: Trouble, key: str) -> None:
    assert key_of(trouble) == key
