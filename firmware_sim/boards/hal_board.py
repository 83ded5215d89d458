"""A real board: pins, buses, radio, clock. No other file names the modules of MicroPython that only boards have.

It lies beside the files of node/ on the board, with the configuration of the person who set it up (config.txt, see
README.md). Written for the ESP32 and RP2040 ports of MicroPython 1.22 and newer, from their documentation: what is in
this file has been compiled, and run on no board yet.
"""

import binascii
import gc
import os
import select
import sys
import time

import machine

gc.threshold(1024)  # from the first import on: memory that is tidied late lies in pieces too small for a frame

import ring

CONFIGURATION = "config.txt"
PINS = {  # the same as in README.md
    "esp32": {"sda": 21, "scl": 22, "probe": 27, "trigger": 25, "echo": 26, "tx": 17, "rx": 16},
    "rp2040": {"sda": 4, "scl": 5, "probe": 15, "trigger": 13, "echo": 14, "tx": 8, "rx": 9},
}
UARTS = {"esp32": 2, "rp2040": 1}  # not the one of the console
I2C_HZ = 100000
RANGER_BAUD = 115200
TRIGGER_US = 10
WATCHDOG_MS = {"esp32": 60000, "rp2040": 8000}  # the longest that the RP2040 knows is 8.3 s
RESET_AFTER_MS = 10000
TIME_ASKED_EVERY_MS = 3600000
JOIN_EVERY_MS = 30000
DBM = 30  # a watt is 30 dB more than the milliwatt that the radio counts from
FULL_SCALE = 330  # of the board's own converter, in 0.01 V


class BoardBuses:
    """Opens what the configuration uses, on its pins or on those of the board's class."""

    def __init__(self, found):
        self._class = found.get("board", "esp32")
        self._found = found

    def _pin(self, name):
        return int(self._found.get("pin_" + name, PINS[self._class][name]))

    def i2c(self):
        """The air sensor's bus."""
        scl, sda = machine.Pin(self._pin("scl")), machine.Pin(self._pin("sda"))
        return machine.I2C(0, scl=scl, sda=sda, freq=I2C_HZ, timeout=50000)

    def onewire(self):
        """The probe's line; it needs its pull-up of 4.7 kOhm."""
        import onewire

        return onewire.OneWire(machine.Pin(self._pin("probe")))

    def uart(self):
        """The time-of-flight ranger's line."""
        tx, rx = machine.Pin(self._pin("tx")), machine.Pin(self._pin("rx"))
        return machine.UART(UARTS[self._class], baudrate=RANGER_BAUD, tx=tx, rx=rx, timeout=0)

    def pins(self):
        """The ultrasonic ranger's pins."""
        return EchoPins(self._pin("trigger"), self._pin("echo"))


class EchoPins:
    """Trigger and echo. A module fed with 5 V needs a divider on its echo: these pins take 3.3 V."""

    def __init__(self, trigger, echo):
        self._trigger = machine.Pin(trigger, machine.Pin.OUT, value=0)
        self._echo = machine.Pin(echo, machine.Pin.IN)

    def echo_us(self, timeout_us):
        """Length of the echo pulse, negative when there is none."""
        self._trigger.value(1)
        time.sleep_us(TRIGGER_US)
        self._trigger.value(0)
        return machine.time_pulse_us(self._echo, 1, timeout_us)


class UsbLine:
    """The console's line as the link's port: the cable that feeds the board."""

    def __init__(self):
        self._poll = select.poll()
        self._poll.register(sys.stdin, select.POLLIN)

    def is_open(self):
        """Nothing here tells whether somebody listens: the missing acknowledgement does."""
        return True

    def read(self, most):
        """Bytes that came, or None."""
        data = b""
        while len(data) < most and self._poll.poll(0):
            data = data + sys.stdin.buffer.read(1)
        return data or None

    def write(self, data):
        """All of it goes out."""
        sys.stdout.buffer.write(data)
        return len(data)


class Radio:
    """The wireless network, joined again whenever it is lost; asks a time server where certificates need the date."""

    def __init__(self, found):
        import network

        self._name = found.get("wifi_name", "")
        self._password = found.get("wifi_password", "")
        self._wants_date = found["mqtt_tls"] == "1"
        self._asked = None
        self._joined = None
        self._radio = network.WLAN(network.STA_IF)
        self._radio.active(True)

    def signal(self):
        """How strongly it hears its network, in dBW; None while it hears none."""
        if not self._radio.isconnected():
            return None
        return self._radio.status("rssi") - DBM

    def mac(self):
        """Its six bytes."""
        return self._radio.config("mac")

    def keep(self):
        """Join when it is not joined; returns at once."""
        now = time.ticks_ms()
        if not self._radio.isconnected():
            if self._joined is None or time.ticks_diff(now, self._joined) > JOIN_EVERY_MS:
                self._joined = now
                try:
                    self._radio.connect(self._name, self._password)
                except OSError:
                    pass  # a network that is busy with the try before; the next one comes
        elif self._wants_date and (self._asked is None or time.ticks_diff(now, self._asked) > TIME_ASKED_EVERY_MS):
            self._asked = now
            import ntptime

            try:
                ntptime.settime()
            except OSError:
                pass  # without the date the broker's certificate may be refused; the link says so and tries again


class Battery:
    """The battery, on a pin behind two resistors that leave one part in `ratio` of its voltage."""

    def __init__(self, pin, ratio):
        self._converter = machine.ADC(machine.Pin(pin))
        if hasattr(machine.ADC, "ATTN_11DB"):  # the ESP32's takes up to about 3 V with it, else 1 V
            self._converter.atten(machine.ADC.ATTN_11DB)
        self._ratio = ratio

    def centivolts(self):
        """Its voltage in 0.01 V."""
        if hasattr(self._converter, "read_uv"):  # set right in the factory
            return int(self._converter.read_uv() // 10000 * self._ratio)
        return int(self._converter.read_u16() * FULL_SCALE // 65535 * self._ratio)


def name_of(found, radio):
    """The node's URN: as configured, or from the radio's address, or from the board's own number (RFC 9039 4.1)."""
    if found.get("name"):
        return found["name"]
    if radio is not None:
        mac = radio.mac()
        number = mac[:3] + b"\xff\xfe" + mac[3:]
    else:
        number = (machine.unique_id() + bytes(8))[:8]
        number = bytes([number[0] & 0xFC | 0x02]) + number[1:]  # given out by nobody: locally administered
    return "urn:dev:mac:" + str(binascii.hexlify(number), "utf8")


class Board:
    """The hal: see main.py."""

    def __init__(self, found, urn, sensors, radio):
        self.urn = urn
        self.boot = str(binascii.hexlify(os.urandom(4)), "utf8")
        self.sensors = sensors
        self._radio = radio
        self._battery = None
        if "pin_battery" in found:
            self._battery = Battery(int(found["pin_battery"]), float(found.get("battery_ratio", 2)))
        self._watchdog = None
        # Not by itself: it cannot be stopped, and would cut short whoever copies files to the board.
        if found.get("watchdog") == "1":
            self._watchdog = machine.WDT(timeout=WATCHDOG_MS[found.get("board", "esp32")])

    ticks_ms = staticmethod(time.ticks_ms)
    dough_ticks_ms = staticmethod(time.ticks_ms)
    ticks_diff = staticmethod(time.ticks_diff)

    def sleep_ms(self, ms):
        """Wait, and tell the watchdog that the loop turns."""
        if self._watchdog is not None:
            self._watchdog.feed()
        if self._radio is not None:
            self._radio.keep()
        time.sleep_ms(ms)

    def health(self):
        """(signal in dBW, battery in 0.01 V); None without a radio, and without a battery on a pin."""
        signal = battery = None
        if self._radio is not None:
            signal = self._radio.signal()
        if self._battery is not None:
            battery = self._battery.centivolts()
        return (signal, battery)

    def is_running(self):
        """For ever."""
        return True


def assembled():
    """Board, link, period in milliseconds and ring of the node that the configuration describes."""
    import settings

    found = settings.read(CONFIGURATION)
    kept = ring.Ring(int(found["room"]))  # the largest piece first, while the memory is in one piece
    radio = Radio(found) if found["link"] == "mqtt" else None
    urn = name_of(found, radio)
    link = settings.link_of(found, urn, UsbLine)  # then the largest file, which takes most when it is compiled
    board = Board(found, urn, settings.sensors_of(found, time, BoardBuses(found)), radio)
    del sys.modules["settings"]  # it has done its work, and its memory is the loop's
    return board, link, 1000 * int(found["period_s"]), kept


def begin(run):
    """Be the node that the configuration describes. An error of the configuration ends here, at the console."""
    board, link, period_ms, kept = assembled()
    print("node " + board.urn + " boot " + board.boot)
    try:
        run(board, link, period_ms, kept)
    except Exception as err:  # nobody is there to start it again: better a reboot than a node that stands still
        sys.print_exception(err)
        time.sleep_ms(RESET_AFTER_MS)  # long enough to be read, and to break in with Ctrl-C
        machine.reset()
