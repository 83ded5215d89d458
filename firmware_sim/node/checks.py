"""What a driver raises when a sensor cannot be believed."""


class Fault(Exception):
    """A sensor answered wrongly or not at all; args[0] is one of the words below. Bus errors stay OSError."""


SILENT = "silent"  # nobody answers
CHECKSUM = "checksum"  # damaged on the wire
NOT_READY = "not ready"  # still busy when it should be done
POWER_ON = "power-on"  # says what it says before its first measurement
NO_TARGET = "no target"  # nothing in range
NONSENSE = "nonsense"  # well formed, and yet no answer to what was asked
