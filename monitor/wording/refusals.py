"""What could not be used of what came, and what to do about it, in words."""

from monitor.translatable import N_, harmless
from monitor.wire.readings import Flag
from monitor.wording.reader import Reader

_LINE = N_("look at plug and cable; this is usual while a board starts, and no reading is lost by it")
_OWN_PROGRAM = N_("its readings are kept; look into the collector's log, and report what stands there")
# reason -> what is wrong, what to do
_WORDS: dict[str, tuple[str, str]] = {
    "noise": (N_("a line that is no reading"), _LINE),
    "too long": (N_("longer than anything that a node sends"), N_("see what else sends there, and stop it")),
    "checksum": (
        N_("damaged on the way"),
        N_("nothing to do while it is rare: it is sent again; if it comes often, look at plug, cable and supply"),
    ),
    "frame": (N_("no frame of this program's"), N_("see what else sends there; or copy the firmware to the node anew")),
    "senml": (N_("no SenML (RFC 8428)"), N_("send SenML, or describe the payload under [[sensor]] in config.toml")),
    "name": (
        N_("the name of no node, or not of the one that may speak there"),
        N_("describe that topic under [[sensor]] in config.toml, or stop what sends there"),
    ),
    "time": (
        N_("measured at no moment that can be true"),
        N_("set the clock of the device, or send no time: then it is now"),
    ),
    "channel": (
        N_("measures something that is not known here"),
        N_("nothing: the rest of it is used; leave it out at the device if you like"),
    ),
    "unit": (
        N_("in a unit that cannot be converted"),
        N_("send Cel or K, %RH, m, cm or mm; or mend `unit` under [[sensor]] in config.toml"),
    ),
    "value": (N_("no number"), N_("see what the device sends; mend `pointer` under [[sensor]] in config.toml")),
    "payload": (N_("no JSON"), N_("leave `pointer` out under [[sensor]] in config.toml where a plain number comes")),
    "pointer": (
        N_("nothing stands at that JSON pointer"),
        N_("`proofing-monitor node discover` shows what comes; mend `pointer` under [[sensor]] in config.toml"),
    ),
    Flag.OUT_OF_RANGE.value: (
        N_("what no working sensor says; kept, not used"),
        N_("look at the sensor and its wires; of a foreign device, look at `unit` under [[sensor]]"),
    ),
    Flag.TOO_NEAR.value: (
        N_("nearer than its sensor can see; kept, not used"),
        N_("hang the sensor higher; where its data sheet says less, `node configure NAME --least-distance MM`"),
    ),
    Flag.CLOCK.value: (
        N_("a moment that cannot be true; kept, not used"),
        N_("restart the node; of a foreign device, set its clock"),
    ),
    "batch step failed": (N_("a batch could not be estimated"), _OWN_PROGRAM),
    "plan step failed": (N_("a plan could not be gone on with"), _OWN_PROGRAM),
    "lesson failed": (N_("nothing could be learnt from a batch"), _OWN_PROGRAM),
}
REASONS = frozenset(_WORDS)


def refusal_text(reason: str, about: str, reader: Reader) -> str:
    """What was wrong with something that came, and with which name, unit, pointer or topic of it."""
    what = reader.say(_WORDS[reason][0]) if reason in _WORDS else reason
    return f"{what}: {harmless(about)}" if about else what


def refusal_mend(reason: str, reader: Reader) -> str:
    """What to do about it; empty for a reason that an older version gave."""
    return reader.say(_WORDS[reason][1]) if reason in _WORDS else ""
