"""How a node is, as a line of its own beside its packs: what a person would ask of a board that stays silent.

    =<boot> <JSON> <crc>

See monitor/wire/README.md. It is said anew each minute and kept by nobody here.
"""

try:
    from firmware_sim.node import packet
except ImportError:  # on a board the files lie side by side
    import packet

VERSION = "1.0.0"  # of the firmware: the package's


def line(boot, urn, up_s, period_s, condition, sensors, pushed=None, ask=None):
    """The line as bytes.

    period_s: from one measurement to the next.
    condition: (word for what started it, free bytes of its memory, signal [dBW] or None, free bytes of its flash or
    None).
    pushed: how often its button was pushed and held, where it has lamp, buzzer or button.
    ask: the nonce of a question for the date, see told_time.py.
    sensors: (which, its pins, seconds since it was last read or None, {(which, kind): faults}) each.
    """
    cause, heap, signal, flash = condition
    text = '{"node":"%s","up":%d,"period":%d' % (urn, up_s, period_s)
    text += ',"cause":"%s","version":"%s","heap":%d' % (cause, VERSION, heap)
    if signal is not None:
        text += ',"signal":%d' % signal
    if flash is not None:
        text += ',"flash":%d' % flash
    if pushed is not None:
        text += ',"seen":%d,"zero":%d' % pushed
    if ask is not None:
        text += ',"ask":"%s"' % ask
    parts = []
    for which, pins, age_s, faults in sensors:
        counts = ",".join(['"%s":%d' % (kind, faults[(of, kind)]) for of, kind in faults if of == which])
        age = "" if age_s is None else '"age":%d,' % age_s
        parts.append('"%s":{"pins":[%s],%s"faults":{%s}}' % (which, pins, age, counts))
    head = bytes("=%s %s}" % (boot, text + ',"sensors":{' + ",".join(parts) + "}"), "utf8")
    return head + bytes(" %08x" % packet.crc32(head), "utf8")
