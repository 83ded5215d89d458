"""Distance: a time-of-flight ranger of the VL53L1X class on an I2C bus, in its short mode: light, to 1.3 m.

Registers, start-up and status are those of the maker's Ultra Lite Driver (STMicroelectronics, STSW-IMG009, described in
UM2510), whose values of this one were compared in three public copies; data sheet DocID031281. Written anew; the block
_START alone is the maker's, under the licence below. No real chip has been tried.

The bus is that of sht4x.py. It has no checksum: a bit that flips on the wire is a wrong shot, for the median to drop.
"""

# The values of _START: Copyright (c) 2017, STMicroelectronics - All Rights Reserved.
# License terms: BSD 3-clause "New" or "Revised" License.
#
# Redistribution and use in source and binary forms, with or without modification, are permitted provided that the
# following conditions are met:
# 1. Redistributions of source code must retain the above copyright notice, this list of conditions and the following
#    disclaimer.
# 2. Redistributions in binary form must reproduce the above copyright notice, this list of conditions and the following
#    disclaimer in the documentation and/or other materials provided with the distribution.
# 3. Neither the name of the copyright holder nor the names of its contributors may be used to endorse or promote
#    products derived from this software without specific prior written permission.
#
# THIS SOFTWARE IS PROVIDED BY THE COPYRIGHT HOLDERS AND CONTRIBUTORS "AS IS" AND ANY EXPRESS OR IMPLIED WARRANTIES,
# INCLUDING, BUT NOT LIMITED TO, THE IMPLIED WARRANTIES OF MERCHANTABILITY AND FITNESS FOR A PARTICULAR PURPOSE ARE
# DISCLAIMED. IN NO EVENT SHALL THE COPYRIGHT HOLDER OR CONTRIBUTORS BE LIABLE FOR ANY DIRECT, INDIRECT, INCIDENTAL,
# SPECIAL, EXEMPLARY, OR CONSEQUENTIAL DAMAGES (INCLUDING, BUT NOT LIMITED TO, PROCUREMENT OF SUBSTITUTE GOODS OR
# SERVICES; LOSS OF USE, DATA, OR PROFITS; OR BUSINESS INTERRUPTION) HOWEVER CAUSED AND ON ANY THEORY OF LIABILITY,
# WHETHER IN CONTRACT, STRICT LIABILITY, OR TORT (INCLUDING NEGLIGENCE OR OTHERWISE) ARISING IN ANY WAY OUT OF THE USE
# OF THIS SOFTWARE, EVEN IF ADVISED OF THE POSSIBILITY OF SUCH DAMAGE.

try:
    from firmware_sim.node import checks, const
except ImportError:  # on a board the files lie side by side
    import checks
    from micropython import const

_ADDRESS = const(0x29)  # of every one as it wakes
_NEW_ADDRESS = const(0x0001)  # register
_FIRST = const(0x2D)  # where _START goes: 91 registers in a row
_START = (
    b"\x00\x00\x00\x01\x02\x00\x02\x08\x00\x08\x10\x01\x01\x00\x00\x00\x00\xff\x00\x0f\x00\x00\x00"
    b"\x00\x00\x20\x0b\x00\x00\x02\x0a\x21\x00\x00\x05\x00\x00\x00\x00\xc8\x00\x00\x38\xff\x01\x00"
    b"\x08\x00\x00\x01\xcc\x0f\x01\xf1\x0d\x01\x68\x00\x80\x08\xb8\x00\x00\x00\x00\x0f\x89\x00\x00"
    b"\x00\x00\x00\x00\x00\x01\x0f\x0d\x0e\x0e\x00\x00\x02\xc7\xff\x9b\x00\x00\x00\x01\x00\x00"
)
# What is changed of it, register and bytes: the wires are pulled up at its own 2.8 V, as on the common breakouts; short
# mode; 50 ms a shot.
_CHANGES = (
    (0x2E, b"\x01\x01"), (0x4B, b"\x14"), (0x60, b"\x07"), (0x63, b"\x05"), (0x69, b"\x38"), (0x78, b"\x07\x05"),
    (0x7A, b"\x06\x06"), (0x5E, b"\x01\xae"), (0x61, b"\x01\xe8"),
)  # fmt: skip
_AFTER = ((0x08, b"\x09"), (0x0B, b"\x00"))  # once it has set its voltages: begin from those
_BOOTED = const(0xE5)
_MODEL = const(0x010F)
_IS_READY = const(0x31)
_CLEAR = const(0x86)
_MODE = const(0x87)
_RESULT = const(0x89)
_RESULT_BYTES = const(15)  # the status first, the distance last
_GOOD = const(9)
_SEES_NOTHING = (4, 5, 6, 7, 8)  # too little light, out of phase, too much noise, wrapped round, too near
_LONGEST_MM = const(1300)
_SHUT_MS = const(2)  # judgement: it is off by then
_BOOT_MS = const(20)  # 1.2 ms at most after its supply came
_SHOT_MS = const(150)  # 50 ms, and the first one after the start some more (judgement)


class Vl53l1x:
    """One ranger; it is started anew after any fault, since it may have lost its supply.

    shut: down() holds its XSHUT wire at 0, up() lets go; None for the only ranger of a bus. Until it is started it is
    held down, so that of several one at a time wakes and is given its own address: place is its number, from 1.
    """

    def __init__(self, i2c, clock, shut=None, place=1):
        self._bus = i2c
        self._clock = clock
        self._shut = shut
        self._address = _ADDRESS
        self._own_address = _ADDRESS + place
        if shut is not None:
            shut.down()
        self._is_started = False
        self._byte = bytearray(1)
        self._result = bytearray(_RESULT_BYTES)

    def _write(self, register, data):
        self._bus.writeto(self._address, bytes([register >> 8, register & 255]) + data)

    def _read(self, register, buffer):
        self._write(register, b"")
        self._bus.readfrom_into(self._address, buffer)

    def _await(self, register, within_ms):
        clock = self._clock
        begun = clock.ticks_ms()
        while True:
            is_last = clock.ticks_diff(clock.ticks_ms(), begun) >= within_ms
            self._read(register, self._byte)
            if self._byte[0] & 1:
                return
            if is_last:
                raise checks.Fault(checks.NOT_READY)
            clock.sleep_ms(5)

    def _wake(self):
        """Let it begin anew, alone at the address of all that wake, and move it to its own."""
        self._shut.down()
        self._clock.sleep_ms(_SHUT_MS)
        self._shut.up()
        self._clock.sleep_ms(_BOOT_MS)
        self._address = _ADDRESS
        self._await(_BOOTED, _BOOT_MS)
        self._write(_NEW_ADDRESS, bytes([self._own_address]))
        self._address = self._own_address

    def _start(self):
        if self._shut is not None:
            self._wake()
        self._await(_BOOTED, _BOOT_MS)
        model = bytearray(2)
        self._read(_MODEL, model)
        if model != b"\xea\xcc":
            raise checks.Fault(checks.NONSENSE)
        self._write(_FIRST, _START)
        for register, data in _CHANGES:
            self._write(register, data)
        self._shoot()  # its first shot sets its voltages
        for register, data in _AFTER:
            self._write(register, data)

    def _shoot(self):
        """One measurement of its own, into the result."""
        self._write(_MODE, b"\x40")
        self._await(_IS_READY, _SHOT_MS)
        self._read(_RESULT, self._result)
        self._write(_CLEAR, b"\x01")
        self._write(_MODE, b"\x00")

    def read(self, air_centi_c):
        """One shot in 0.1 mm; light does not mind the air's temperature. Raises Fault or OSError."""
        was_started = self._is_started
        self._is_started = False
        if not was_started:
            self._start()
        self._shoot()
        self._is_started = True
        status = self._result[0] & 31
        shown_mm = self._result[13] << 8 | self._result[14]
        if status in _SEES_NOTHING or (status == _GOOD and not 0 < shown_mm <= _LONGEST_MM):
            raise checks.Fault(checks.NO_TARGET)
        if status != _GOOD:
            self._is_started = False
            raise checks.Fault(checks.NONSENSE)
        return 10 * shown_mm
