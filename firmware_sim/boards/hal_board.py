"""A real board: pins, buses, radio, clock. No other file names the modules of MicroPython that only boards have.

It lies beside the files of node/ on the board, with the configuration of the person who set it up (config.txt, see
README.md). Written for the ESP32 and RP2 ports of MicroPython 1.25 and newer, from their documentation: what is in this
file has been run over stand-ins that behave as that says, and on no board yet.
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
BESIDE = "config_%s.txt"  # of each further tub
I2C_HZ = 100000
RANGER_BAUD = 115200
TRIGGER_US = 10
WATCHDOG_MS = 8000 if sys.platform == "rp2" else 60000  # the longest that an RP2040 knows is 8.3 s
RESET_AFTER_MS = 10000
TIME_ASKED_EVERY_MS = 3600000  # once it is there: a board's clock drifts by seconds a day
TIME_TRIED_EVERY_MS = 10000  # until it is there: one lost question must not keep a node silent
TIME_HOPED_FOR_EVERY_MS = 600000  # where only the flash wants it: each question may hold up the loop for a second
TIME_WAIT_S = 1
KNOWN_FROM = 2026  # a board that was told nothing begins in 2000, 2015 or 2021
SINCE_2000_S = 946684800  # from 1970
JOIN_EVERY_MS = 30000
AWAKE_MS = 10  # of each nap: what runs beside this program wants its turn, or the chip's own watchdog bites
DBM = 30  # a watt is 30 dB more than the milliwatt that the radio counts from
FULL_SCALE = 330  # of the board's own converter, in 0.01 V


class BoardBuses:
    """Opens what the configuration uses, on the pins that it names: `node configure` writes all of them out.

    Raises ValueError for a pin that it does not name, or that the board does not have.
    """

    def __init__(self, found):
        self._found = found

    def _number(self, key):
        if key not in self._found:
            raise ValueError(key)
        return int(self._found[key])

    def _pin(self, name):
        return machine.Pin(self._number("pin_" + name))

    def i2c(self):
        """The bus of the air sensor, and of a ranger by light beside it."""
        return machine.I2C(self._number("i2c"), scl=self._pin("scl"), sda=self._pin("sda"), freq=I2C_HZ, timeout=50000)

    def onewire(self):
        """The probe's line; it needs its pull-up of 4.7 kOhm."""
        import onewire

        return onewire.OneWire(self._pin("probe"))

    def uart(self):
        """The time-of-flight ranger's line."""
        tx, rx = self._pin("tx"), self._pin("rx")
        return machine.UART(self._number("uart"), baudrate=RANGER_BAUD, tx=tx, rx=rx, timeout=0)

    def pins(self):
        """The ultrasonic ranger's pins."""
        return EchoPins(self._number("pin_trigger"), self._number("pin_echo"))

    def shut(self):
        """The wire that keeps a ranger on I2C off, where several hang on one bus."""
        return ShutPin(self._number("pin_shut"))


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


class ShutPin:
    """A ranger's XSHUT, pulled up on its carrier: the board only ever pulls it down."""

    def __init__(self, pin):
        self._pin = machine.Pin(pin, machine.Pin.OPEN_DRAIN, value=0)

    def down(self):
        """Off."""
        self._pin.value(0)

    def up(self):
        """Let go of it."""
        self._pin.value(1)


class Lamp:
    """Whatever a level switches: a lamp, or a buzzer behind a transistor."""

    def __init__(self, pin):
        self._pin = machine.Pin(pin, machine.Pin.OUT, value=0)

    def on(self, level):
        """Switch it."""
        self._pin.value(1 if level else 0)


class Button:
    """A button from a pin to GND."""

    def __init__(self, pin):
        self._pin = machine.Pin(pin, machine.Pin.IN, machine.Pin.PULL_UP)

    def is_down(self):
        """True while it is pushed."""
        return not self._pin.value()


def signals_of(found):
    """Lamp, buzzer and button as far as the configuration names pins for them; None without any.

    One whose pin the board does not have is left out.
    """
    parts = {}
    for name, kind in (("light", Lamp), ("buzzer", Lamp), ("button", Button)):
        if "pin_" + name in found:
            try:
                parts[name] = kind(int(found["pin_" + name]))
            except (OSError, ValueError):
                pass
    if not parts:
        return None
    import signals

    return signals.Signals(parts.get("light"), parts.get("buzzer"), parts.get("button"))


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
        import names
        import network

        self._name = found.get("wifi_name", "")
        self._password = found.get("wifi_password", "")
        is_secured = found["mqtt_tls"] == "1"
        self._wants_date = is_secured or found.get("keep_min", "0") != "0"
        self._try_after_ms = TIME_TRIED_EVERY_MS if is_secured else TIME_HOPED_FOR_EVERY_MS
        self._time_host = found.get("ntp_host") or found["mqtt_host"]
        self._time_names = names.Names(self._name_server)
        self._broker_names = names.Names(self._name_server)
        self.find = self._broker_names.find
        self._asked = None
        self._ask_after_ms = 0
        self._joined = None
        self._radio = network.WLAN(network.STA_IF)
        self._radio.active(True)
        self._is_on = True

    def off(self):
        """Until it is to be kept again: before a light sleep it must be."""
        if self._is_on:
            self._is_on = False
            self._joined = None
            self._radio.active(False)

    def signal(self):
        """How strongly it hears its network, in dBW; None while it hears none."""
        try:
            if self._radio.isconnected():
                return self._radio.status("rssi") - DBM
        except (OSError, TypeError, ValueError):
            pass  # lost between the two calls, or a port that says None then
        return None

    def _name_server(self):
        return self._radio.ifconfig()[3]

    def mac(self):
        """Its six bytes."""
        return self._radio.config("mac")

    def keep(self):
        """Join when it is not joined; returns at once."""
        now = time.ticks_ms()
        if not self._is_on:
            self._radio.active(True)
            self._is_on = True
        if not self._radio.isconnected():
            if self._joined is None or time.ticks_diff(now, self._joined) > JOIN_EVERY_MS:
                self._joined = now
                try:
                    self._radio.connect(self._name, self._password)
                except OSError:
                    pass  # a network that is busy with the try before; the next one comes
        elif self._wants_date and (self._asked is None or time.ticks_diff(now, self._asked) > self._ask_after_ms):
            self._ask_time(now)

    def _ask_time(self, now):
        """Ask for the date; without it the broker's certificate may be refused, and the link tries again."""
        try:
            host = self._time_names.find(self._time_host, now)
            if host is None:
                return
            self._asked, self._ask_after_ms = now, self._try_after_ms
            import ntptime

            ntptime.host = host
            ntptime.timeout = TIME_WAIT_S
            ntptime.settime()
        except (OSError, OverflowError, ValueError, IndexError):  # no answer, or none that can be read
            self._asked, self._ask_after_ms = now, self._try_after_ms
        else:
            self._ask_after_ms = TIME_ASKED_EVERY_MS


class Battery:
    """The battery, on a pin behind two resistors that leave one part in `ratio` of its voltage."""

    def __init__(self, pin, ratio):
        self._converter = machine.ADC(machine.Pin(pin))
        if hasattr(machine.ADC, "ATTN_11DB"):  # the ESP32's takes up to about 3 V with it, else 1 V
            self._converter.atten(machine.ADC.ATTN_11DB)
        self._ratio = ratio

    def centivolts(self):
        """Its voltage in 0.01 V; None when it cannot be read now."""
        try:
            if hasattr(self._converter, "read_uv"):  # set right in the factory
                return int(self._converter.read_uv() // 10000 * self._ratio)
            return int(self._converter.read_u16() * FULL_SCALE // 65535 * self._ratio)
        except OSError:
            return None


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


def started_by():
    """A word for what started the board."""
    try:
        cause = machine.reset_cause()
    except (AttributeError, ValueError):  # a port without it
        return "unknown"
    words = (("PWRON_RESET", "power"), ("HARD_RESET", "reset"), ("WDT_RESET", "watchdog"), ("DEEPSLEEP_RESET", "sleep"))
    for name, word in words:
        if getattr(machine, name, None) == cause:
            return word
    return "restart" if getattr(machine, "SOFT_RESET", None) == cause else "unknown"


def date():
    """Seconds since 1970; None before somebody has told the board."""
    if time.gmtime()[0] < KNOWN_FROM:
        return None
    return time.time() + (SINCE_2000_S if time.gmtime(0)[0] == 2000 else 0)


def set_date(at_s):
    """Set the board's clock, in seconds since 1970."""
    if time.gmtime(0)[0] == 2000:
        at_s -= SINCE_2000_S
    at = time.gmtime(at_s)
    machine.RTC().datetime((at[0], at[1], at[2], at[6], at[3], at[4], at[5], 0))


def told_time_of(found):
    """What asks the collector for the date, without which nothing can be kept."""
    import told_time

    return told_time.ToldTime(found["mqtt_password"], new_boot, lambda: date() is not None, set_date)


def keeper_of(found):
    """What keeps packs over a restart; None where the configuration wants none."""
    minutes = int(found.get("keep_min", "0"))
    if not minutes:
        return None
    import kept

    return kept.Keeper(date, 60000 * minutes, 60000 * int(found.get("sleep_min", "0")))


def rest_of(found):
    """When the board sleeps; None where it never does."""
    minutes = int(found.get("sleep_min", "0"))
    if not minutes:
        return None
    import rest

    return rest.Rest(60000 * minutes)


def new_boot():
    """Eight hexadecimal digits, others at each start and for each tub."""
    return str(binascii.hexlify(os.urandom(4)), "utf8")


def tubs_beside(places, settings, urn, first):
    """(urn, boot, sensors, ring) of each further tub on this board.

    places: their numbers, with commas between. first: the sensors of the first one.
    """
    found = []
    for place in places.split(",") if places else ():
        told = settings.read(BESIDE % place)
        told["place"] = int(place)
        sensors = settings.sensors_of(told, time, BoardBuses(told), first)
        found.append((urn + "_" + place, new_boot(), sensors, ring.Ring(int(told["room"]))))
    return found


def free_flash():
    """Bytes that still go onto the board's own file system; None where it cannot tell."""
    try:
        found = os.statvfs("/")
    except OSError:
        return None
    return found[0] * found[3]  # size of a block, free blocks


class Board:
    """The hal: see main.py."""

    def __init__(self, found, urn, sensors, radio, beside=()):
        self.urn = urn
        self.boot = new_boot()
        self.sensors = sensors
        self.beside = beside
        self.signals = signals_of(found)
        self.keeper = keeper_of(found)
        self.told_time = None if self.keeper is None else told_time_of(found)
        self.rest = None if radio is None else rest_of(found)
        self._radio = radio
        self._cause = started_by()
        self._battery = None
        if "pin_battery" in found:
            try:
                self._battery = Battery(int(found["pin_battery"]), float(found.get("battery_ratio", 2)))
            except (OSError, ValueError):
                pass  # a pin that measures nothing: the battery is not told, the rest goes on
        self._watchdog = None
        # Not by itself: it cannot be stopped, and would cut short whoever copies files to the board.
        if found.get("watchdog") == "1":
            self._watchdog = machine.WDT(timeout=WATCHDOG_MS)

    def keep(self):
        """Put onto flash what nobody has answered: the board is about to start anew."""
        try:
            if self.keeper is not None:
                self.keeper.save()
        except (MemoryError, OSError, ValueError):
            pass  # what was written last is still there

    ticks_ms = staticmethod(time.ticks_ms)
    dough_ticks_ms = staticmethod(time.ticks_ms)
    ticks_diff = staticmethod(time.ticks_diff)

    def sleep_ms(self, ms):
        """Wait, and tell the watchdog that the loop turns."""
        if self._watchdog is not None:
            self._watchdog.feed()
        if self.rest is not None and self.rest.is_asleep:
            self._radio.off()
            machine.lightsleep(max(1, ms - AWAKE_MS))  # memory, pins and ticks stay as they are
            ms = AWAKE_MS
        elif self._radio is not None:
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

    def condition(self):
        """(word for what started it, free bytes, signal in dBW, free bytes of flash); None for what it cannot tell."""
        gc.collect()
        signal = None if self._radio is None else self._radio.signal()
        return (self._cause, gc.mem_free(), signal, free_flash())

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
    find = None if radio is None else radio.find
    link = settings.link_of(found, urn, UsbLine, find)  # then the largest file, which takes most when it is compiled
    sensors = settings.sensors_of(found, time, BoardBuses(found))
    board = Board(found, urn, sensors, radio, tubs_beside(found["beside"], settings, urn, sensors))
    del sys.modules["settings"]  # it has done its work, and its memory is the loop's
    return board, link, 1000 * int(found["period_s"]), kept


def begin(run):
    """Be the node that the configuration describes.

    Nobody is there to start it again, so any error ends in a reboot: a radio that did not start may start the next
    time, and an error of the configuration is printed each time, for whoever looks at the console.
    """
    board = None
    try:
        board, link, period_ms, kept = assembled()
        print("node " + board.urn + " boot " + board.boot)
        run(board, link, period_ms, kept)
    except KeyboardInterrupt:  # somebody copies files onto it
        if board is not None:
            board.keep()
        raise
    except Exception as err:
        sys.print_exception(err)
        if board is not None:
            board.keep()
        time.sleep_ms(RESET_AFTER_MS)  # long enough to be read, and to break in with Ctrl-C
        machine.reset()
