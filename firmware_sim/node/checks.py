"""Checksums of the sensors, and what a driver raises when a sensor cannot be believed."""


class Fault(Exception):
    """A sensor answered wrongly or not at all; args[0] is one of the words below. Bus errors stay OSError."""


SILENT = "silent"  # nobody answers
CHECKSUM = "checksum"  # damaged on the wire
NOT_READY = "not ready"  # still busy when it should be done
POWER_ON = "power-on"  # says what it says before its first measurement
NO_TARGET = "no target"  # nothing in range
NONSENSE = "nonsense"  # well formed, and yet no answer to what was asked


def crc8_31(data):
    """CRC-8 of the humidity sensor: polynomial 0x31, first bit first, from 0xFF (its data sheet, "checksum")."""
    crc = 0xFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc << 1) ^ 0x31 if crc & 0x80 else crc << 1
        crc &= 0xFF
    return crc


def crc8_8c(data):
    """CRC-8 of the one-wire bus: polynomial 0x31 reflected to 0x8C, last bit first, from 0 (Application Note 27)."""
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ 0x8C if crc & 1 else crc >> 1
    return crc


def crc16_modbus(data):
    """CRC-16 of Modbus: polynomial 0x8005 reflected to 0xA001, from 0xFFFF (Modbus over serial line V1.02, 6.2.2)."""
    crc = 0xFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ 0xA001 if crc & 1 else crc >> 1
    return crc
