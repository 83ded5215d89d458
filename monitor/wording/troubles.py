"""What is wrong with the monitor itself and what its keeper can do about it, in words."""

from typing import assert_never

from monitor.alerts.troubles import (
    BackupFails,
    CarriersFail,
    CentralGetsNothing,
    CentralLate,
    CentralRefusesRows,
    CheckFails,
    ClockMoved,
    DatabaseSetAside,
    DiskNearlyFull,
    DistanceStuck,
    LoopHangs,
    NodeRestarts,
    StoreUnusable,
    Trouble,
)
from monitor.errors import CENTRAL_REMEDIES, STORE_REMEDIES, StoreFault
from monitor.wording.reader import Reader


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
        case CarriersFail(names):
            return say("messages by {names} do not get through; they are tried again", names=", ".join(names))
        case NodeRestarts(node, restarts, within_min):
            return say(
                "node {name} has started anew {reboots} times within {minutes} minutes",
                name=node,
                reboots=restarts,
                minutes=reader.number(within_min),
            )
        case DistanceStuck(node, distance_mm, for_min):
            return say(
                "node {name} has said the very same distance, {distance_mm} mm, for {minutes} minutes",
                name=node,
                distance_mm=reader.number(distance_mm, 1),
                minutes=reader.number(for_min),
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
    assert_never(trouble)


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
        case CarriersFail():
            return say(
                "see that the network is up and that `notify_urls` is right (`proofing-monitor check`); until then "
                "look at the board"
            )
        case NodeRestarts():
            return say("look at its supply and its cable; what it measures may have gaps")
        case DistanceStuck():
            return say("look whether its distance sensor is dirty, wet or loose; one that works flickers a little")
        case CheckFails():
            return say("see its log")
        case BackupFails(fault):
            return reader.text(STORE_REMEDIES[fault])
        case CentralGetsNothing():
            return say(
                "mend that, or its line; everything waits in the database here, and is sent by itself afterwards"
            )
        case CentralLate():
            return say("wait, or give it a quicker line; everything waits in the database here")
        case CentralRefusesRows():
            return say(
                "they stay in the database here; mend the cause there, then restart the collector: it tries them again"
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
