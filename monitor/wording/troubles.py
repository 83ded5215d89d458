"""What is wrong with the monitor itself and what its keeper can do about it, in words."""

from datetime import datetime
from typing import assert_never

from monitor.alerts.troubles import (
    BackupFails,
    CarriersFail,
    CentralGetsNothing,
    CentralLate,
    CentralRefusesRows,
    CheckFails,
    ClockMoved,
    DatabaseGone,
    DatabaseSetAside,
    DiskNearlyFull,
    DistanceStuck,
    FlashFull,
    LoopHangs,
    NodeRestarts,
    OthersToldNothing,
    ReplicaBegunAnew,
    ReplicaLate,
    SensorUnread,
    SignalWeak,
    StoreOlder,
    StoreUnusable,
    Trouble,
)
from monitor.errors import CENTRAL_REMEDIES, REPLICA_REMEDIES, STORE_REMEDIES, ReplicaFault, StoreFault
from monitor.translatable import N_
from monitor.wording.node_report import cause_text, unread_text
from monitor.wording.reader import Reader
from monitor.wording.times import date_words, hour_text


def trouble_text(trouble: Trouble, reader: Reader) -> str:
    """What is wrong, as a clause."""
    say = reader.say
    match trouble:
        case StoreUnusable(_, path, detail):
            return say(
                "nothing can be stored, and no call about a dough goes out ({path}: {detail}); the nodes keep what "
                "they can",
                path=path,
                detail=detail,
            )
        case LoopHangs():
            return say("the collector hangs")
        case DiskNearlyFull(folder):
            return say("the disk under {folder} is nearly full", folder=folder)
        case ClockMoved():
            return say(
                "this machine's clock was moved; the collector goes on by the time it had before, so no call comes "
                "early or late"
            )
        case DatabaseSetAside(path):
            return say(
                "the database was damaged and is set aside as {path}; a new one is begun, which knows no batches",
                path=path,
            )
        case DatabaseGone(""):
            return say(
                "the database was deleted or replaced while the collector ran, and what it held could not be saved; "
                "it goes on with what lies in its place now"
            )
        case DatabaseGone(path):
            return say(
                "the database was deleted or replaced while the collector ran; what it held is saved as {path}, and it "
                "goes on with what lies in its place now",
                path=path,
            )
        case CarriersFail(names):
            return say("messages by {names} do not get through; they are tried again", names=", ".join(names))
        case NodeRestarts(node, restarts, within_min, cause):
            return say(
                N_("node {name} has started anew {reboots} times within {minutes} minutes; the last time {cause}")
                if cause
                else N_("node {name} has started anew {reboots} times within {minutes} minutes"),
                name=node,
                reboots=restarts,
                minutes=reader.number(within_min),
                cause=cause_text(cause, reader),
            )
        case DistanceStuck(node, distance_mm, for_min):
            return say(
                "node {name} has said the very same distance, {distance_mm} mm, for {minutes} minutes",
                name=node,
                distance_mm=reader.number(distance_mm, 1),
                minutes=reader.number(for_min),
            )
        case SensorUnread(node, sensor, fault, times, pins, unread_min):
            what = unread_text(sensor, fault, times, pins, unread_min, reader)
            return say("node {name} says: {what}", name=node, what=what)
        case SignalWeak(node, signal_dbm):
            return say("node {name} hardly hears its network: {dbm} dBm", name=node, dbm=reader.number(signal_dbm))
        case FlashFull(node, free_bytes):
            return say(
                "the memory for files on node {name} is nearly full: {kb} kB are free",
                name=node,
                kb=reader.number(free_bytes / 1000.0),
            )
        case CheckFails(detail):
            return say("the monitor cannot look after itself: {why}", why=detail)
        case BackupFails(StoreFault.NO_FOLDER, path):
            return say("no backup can be made ({path} is not there)", path=path)
        case BackupFails(_, path, detail):
            return say("no backup can be made ({path}: {detail})", path=path, detail=detail)
        case CentralGetsNothing(url, _, detail, status):
            return say(
                "the central store at {url} gets nothing from here: {why}",
                url=url,
                why=_central_text(status, detail, reader),
            )
        case OthersToldNothing(url, detail):
            return say("other programs are told nothing at {url}: {why}", url=url, why=detail)
        case CentralLate(rows):
            return reader.count(
                rows,
                "the central store is hours behind: {n} row waits to be sent",
                "the central store is hours behind: {n} rows wait to be sent",
            )
        case CentralRefusesRows(rows, examples):
            return reader.count(
                rows,
                "the central store cannot take {n} row from here ({examples})",
                "the central store cannot take {n} rows from here ({examples})",
                examples="; ".join(examples),
            )
        case ReplicaLate(url, fault, detail, shipped_at):
            why = _why_late(fault, detail, reader)
            if shipped_at is None:
                return say("the database has never been shipped to {url} ({why})", url=url, why=why)
            since = _moment(shipped_at, reader)
            return say("the database has not been shipped to {url} since {at} ({why})", url=url, at=since, why=why)
        case ReplicaBegunAnew(url):
            return say(
                "what was shipped to {url} lay there no more; the database was shipped whole again, without its past",
                url=url,
            )
        case StoreOlder(url, shipped_at, _):
            return say(
                "the database here is older than what was shipped to {url} until {at}; it goes on from where it stands",
                url=url,
                at=_moment(shipped_at, reader),
            )
    assert_never(trouble)


def _moment(at: datetime, reader: Reader) -> str:
    return f"{date_words(at, reader)} {hour_text(at.astimezone(reader.zone), reader)}"


def _why_late(fault: ReplicaFault, detail: str, reader: Reader) -> str:
    """Why nothing is shipped."""
    match fault:
        case ReplicaFault.NOT_RUNNING:
            return reader.say("nothing ships it")
        case ReplicaFault.NO_FOLDER:
            return reader.say("it is not there")
        case ReplicaFault.TAKEN:
            return reader.say("another database lies there")
        case ReplicaFault.EMPTY:
            return reader.say("what was shipped cannot be brought back from there")
    return detail


def _central_text(status: int | None, detail: str, reader: Reader) -> str:
    """What the central store answered."""
    if status is None:
        return detail
    if status in CENTRAL_REMEDIES:
        return reader.text(CENTRAL_REMEDIES[status])
    return reader.say("it answered {status} {detail}", status=status, detail=detail)


def remedy_text(trouble: Trouble, reader: Reader) -> str:
    """What to do about it, as a clause."""
    say = reader.say
    match trouble:
        case StoreUnusable(fault):
            return say("{remedy}; it then goes on by itself", remedy=STORE_REMEDIES[fault])
        case LoopHangs():
            return say("restart it; nothing acknowledged is lost")
        case DiskNearlyFull():
            return say("make room on it")
        case ClockMoved():
            return say("see that date and time are right now, and then restart the collector")
        case DatabaseSetAside():
            return say("bring back the newest backup (`proofing-monitor backup restore`), or start the batches again")
        case DatabaseGone(""):
            return say("bring back the newest backup (`proofing-monitor backup restore`), or start the batches again")
        case DatabaseGone(path):
            return say(
                "stop the collector and bring it back (`proofing-monitor backup restore {path}`), or start the batches "
                "again",
                path=path,
            )
        case CarriersFail():
            return say(
                "see that the network is up and that `notify_urls` is right (`proofing-monitor check`); until then "
                "look at the board"
            )
        case NodeRestarts():
            return say("look at its supply and its cable; what it measures may have gaps")
        case DistanceStuck():
            return say("look whether its distance sensor is dirty, wet or loose; one that works flickers a little")
        case SensorUnread(node):
            return say(
                "unplug the node, see to that, and plug it in again; `proofing-monitor node readings {name}` shows "
                "whether it is read",
                name=node,
            )
        case SignalWeak():
            return say(
                "bring node and access point nearer to each other, or away from metal and oven; what is lost on the "
                "way is sent again"
            )
        case FlashFull():
            return say("take files that are not of this program off the board, or copy the firmware anew")
        case CheckFails():
            return say("see its log")
        case BackupFails(fault):
            return reader.text(STORE_REMEDIES[fault])
        case CentralGetsNothing():
            return say(
                "mend that, or its line; everything waits in the database here, and is sent by itself afterwards"
            )
        case OthersToldNothing():
            return say("see that the broker runs and knows the user that [publish] names")
        case CentralLate():
            return say("wait, or give it a quicker line; everything waits in the database here")
        case CentralRefusesRows():
            return say(
                "they stay in the database here; mend the cause there, then restart the collector: it tries them again"
            )
        case ReplicaLate(_, fault):
            return say("{remedy}; everything waits in the database here", remedy=REPLICA_REMEDIES[fault])
        case ReplicaBegunAnew():
            return say("look who emptied or changed that place, if you did not")
        case StoreOlder(url, _, found_at):  # to the last digit: what was shipped before is older, what is now younger
            return say(
                "if you did not mean it, stop collector and shipping, and bring back how it was: `proofing-monitor "
                "backup restore {url} --at {at} --yes`",
                url=url,
                at=f"{found_at:%Y-%m-%dT%H:%M:%S.%fZ}",
            )
    assert_never(trouble)


def notice_title(reader: Reader, *, is_over: bool) -> str:
    """The first line of a message about a trouble, or about its end."""
    return reader.say("Monitor: mended") if is_over else reader.say("Monitor needs you")


def notice_text(trouble: Trouble, reader: Reader, *, is_over: bool) -> str:
    """A message about a trouble, or about its end, in full."""
    what = trouble_text(trouble, reader)
    if is_over:
        return reader.say("No longer so: {what}.", what=what)
    remedy = remedy_text(trouble, reader)
    return reader.say("{what}. What to do: {remedy}.", what=what[:1].upper() + what[1:], remedy=remedy)
