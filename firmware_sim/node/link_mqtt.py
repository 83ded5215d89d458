"""A small MQTT 3.1.1 client: one topic out, one in, both QoS 1, a retained status with a last will.

OASIS MQTT 3.1.1 is written MQTT below with its section. Everything but the connect, which has a time-out, returns at
once, the handshake of TLS too; a broken or silent connection is dropped and made again after a growing pause. Times are
whole milliseconds.
"""

import socket

try:
    from firmware_sim.node import const
except ImportError:  # on a board the files lie side by side
    from micropython import const

_KEEP_ALIVE_S = const(20)
_CONNECT_TIMEOUT_S = const(3)
_SILENCE_MS = const(30000)  # MQTT 3.1.2.10 gives 1.5 keep-alives; after that the other side is gone
_ANSWER_MS = const(10000)  # for CONNACK and SUBACK
_FIRST_PAUSE_MS = const(500)
_LONGEST_PAUSE_MS = const(30000)
_LONGEST_PACKET = const(2048)
_LONGEST_QUEUE = const(4096)
_A_PIECE = const(256)  # bytes moved at once

_DOWN = const(0)
_GREETED = const(1)  # CONNECT sent
_SUBSCRIBED = const(2)  # SUBSCRIBE sent
_UP = const(3)


def _text(text):
    data = bytes(text, "utf8")
    return bytes([len(data) >> 8, len(data) & 255]) + data


def packet(kind, content):
    """One control packet: first byte, remaining length as a varint (MQTT 2.2.3), content."""
    head = [kind]
    length = len(content)
    while True:
        digit = length & 127
        length = length >> 7
        if length:
            digit = digit | 128
        head.append(digit)
        if not length:
            return bytes(head) + content


def split(data):
    """First whole packet of a buffer: (first byte, content, rest); None when it is not whole yet.

    Raises ValueError for a length that no packet for a node has.
    """
    length = 0
    shift = 0
    at = 1
    while True:
        if at >= len(data):
            return None
        digit = data[at]
        length = length | ((digit & 127) << shift)
        shift += 7
        at += 1
        if not digit & 128:
            break
        if shift > 21:
            raise ValueError("length")
    if length > _LONGEST_PACKET:
        raise ValueError("length")
    if len(data) < at + length:
        return None
    return data[0], data[at : at + length], data[at + length :]


def trusting(der):
    """A TLS context that believes a broker only when this certificate authority (bytes, DER) vouches for its name."""
    # Only here: a node without TLS has no room for it. MicroPython's own ssl is tls in a wrapper that takes 1 kB more.
    try:
        import tls
    except ImportError:
        import ssl

        context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
        context.verify_mode = ssl.CERT_REQUIRED
        context.load_verify_locations(cadata=der)
        return context
    context = tls.SSLContext(tls.PROTOCOL_TLS_CLIENT)
    context.verify_mode = tls.CERT_REQUIRED
    context.load_verify_locations(der)
    return context


class MqttLink:
    """The connection of one node to its broker.

    key: the node's key; it is client id, user name and part of every topic.
    context: from trusting(), or None for a line without TLS.
    find: gives a host's address, None while it is looked up, OSError when nobody knows it; without it the board's own
    look-up is asked, which may take its time.
    """

    def __init__(self, host, port, key, password, context=None, find=None):
        self._host = host
        self._port = port
        self._key = key
        self._password = password
        self._context = context
        self._find = find
        self._pack_topic = _text("proofing/" + key + "/pack")
        self._status_topic = _text("proofing/" + key + "/status")
        self._ack_topic = _text("proofing/" + key + "/ack")
        self._sock = None
        self._state = _DOWN
        self._in = b""
        self._out = b""
        self._tried = 0  # bytes of the last write that did not go: TLS wants just those again
        self._acks = []
        self._packet_id = 0
        self._heard_ms = 0
        self._spoke_ms = 0
        self._since_ms = 0
        self._pause_ms = 0
        self._next_pause_ms = _FIRST_PAUSE_MS
        self.is_up = False
        self.broke = False
        self.fault = ""  # why the last connection ended, for a message to a human

    def poll(self, now_ms):
        """Connect when it is time, read, answer, keep alive. Sets is_up and broke."""
        self.broke = False
        try:
            if self._state == _DOWN:
                if now_ms - self._since_ms >= self._pause_ms:
                    host = self._host if self._find is None else self._find(self._host, now_ms)
                    if host is not None:
                        self._connect(host, now_ms)
                return
            self._read(now_ms)
            self._keep(now_ms)
            self._flush(now_ms)
        except (OSError, ValueError) as err:
            self._drop(now_ms, str(err))

    def _connect(self, host, now_ms):
        self._since_ms = now_ms
        self._pause_ms = self._next_pause_ms
        self._next_pause_ms = min(2 * self._next_pause_ms, _LONGEST_PAUSE_MS)
        found = socket.getaddrinfo(host, self._port, 0, socket.SOCK_STREAM)[0]
        self._sock = socket.socket(found[0], found[1])
        self._sock.settimeout(_CONNECT_TIMEOUT_S)
        self._sock.connect(found[-1])
        self._sock.setblocking(False)
        if self._context is not None:
            # The handshake comes with the first read and write, a piece at a time: a silent broker holds up nobody.
            self._sock = self._context.wrap_socket(
                self._sock, do_handshake_on_connect=False, server_hostname=self._host
            )
        # MQTT 3.1.2: clean session, last will QoS 1 retained, user name, password
        content = _text("MQTT") + bytes([4, 0x02 | 0x04 | 0x08 | 0x20 | 0x40 | 0x80, 0, _KEEP_ALIVE_S])
        content += _text(self._key) + self._status_topic + _text("offline") + _text(self._key) + _text(self._password)
        self._in = b""
        self._tried = 0
        self._out = packet(0x10, content)
        self._state = _GREETED
        self._heard_ms = now_ms
        self._flush(now_ms)

    def _drop(self, now_ms, why):
        self.fault = why
        self.broke = self.is_up
        self.is_up = False
        self._state = _DOWN
        self._since_ms = now_ms
        self._out = b""
        if self._sock is not None:
            self._sock.close()
            self._sock = None

    def _receive(self):
        """Bytes that came, none of them when the broker closed, None when nothing came."""
        try:
            if self._context is None:
                return self._sock.recv(_A_PIECE)
            return self._sock.read(_A_PIECE)
        except OSError as err:
            if self._is_wait(err):
                return None
            raise

    def _transmit(self, data):
        """How many bytes went out; 0 or None when none can now."""
        try:
            if self._context is None:
                return self._sock.send(data)
            return self._sock.write(data)
        except OSError as err:
            if self._is_wait(err):
                return None
            raise

    def _is_wait(self, err):
        code = err.args[0] if err.args else None
        if self._context is not None and code in (2, 3):  # SSL_ERROR_WANT_READ, _WRITE; MicroPython answers None
            return True
        return code in (11, 35, 110, 10035)  # EAGAIN of Linux and macOS, ETIMEDOUT, WSAEWOULDBLOCK

    def _read(self, now_ms):
        while True:
            data = self._receive()
            if data is None:
                break
            if not data:
                raise OSError("closed by the broker")
            self._heard_ms = now_ms
            self._in = self._in + data
            if self._state == _GREETED and self._in[0] != 0x20:
                raise ValueError("no MQTT broker")
            while True:
                found = split(self._in) if len(self._in) > 1 else None
                if found is None:
                    break
                kind, content, self._in = found
                self._handle(kind, content, now_ms)

    def _handle(self, kind, content, now_ms):
        what = kind & 0xF0
        if what == 0x20:  # CONNACK
            if self._state != _GREETED or len(content) != 2:
                raise ValueError("CONNACK")
            if content[1]:
                raise OSError("refused by the broker, code %d" % content[1])
            self._state = _SUBSCRIBED
            self._heard_ms = now_ms
            self._queue(packet(0x82, self._new_id() + self._ack_topic + b"\x01"))
        elif what == 0x90:  # SUBACK
            if self._state != _SUBSCRIBED or len(content) != 3 or content[2] & 0x80:
                raise OSError("the broker refused the subscription")
            self._state = _UP
            self.is_up = True
            self._pause_ms = _FIRST_PAUSE_MS
            self._next_pause_ms = 2 * _FIRST_PAUSE_MS
            self._publish(self._status_topic, b"online", 0x33)
        elif what == 0x30:  # PUBLISH
            self._take(kind, content)
        elif what not in (0x40, 0xD0):  # PUBACK, PINGRESP: heard, and that is all they say
            raise ValueError("packet %d" % kind)

    def _take(self, kind, content):
        if len(content) < 2:
            raise ValueError("PUBLISH")
        at = 2 + (content[0] << 8) + content[1]
        qos = (kind >> 1) & 3
        topic = content[:at]
        if qos:
            if len(content) < at + 2 or qos > 1:
                raise ValueError("PUBLISH")
            self._queue(packet(0x40, content[at : at + 2]))
            at += 2
        if topic == self._ack_topic:
            self._acks.append(content[at:])

    def _keep(self, now_ms):
        if self._state != _UP:
            if now_ms - self._since_ms > _ANSWER_MS:
                raise OSError("no answer from the broker")
            return
        if now_ms - self._heard_ms > _SILENCE_MS:
            raise OSError("the broker fell silent")
        if now_ms - self._spoke_ms > 500 * _KEEP_ALIVE_S or now_ms - self._heard_ms > 500 * _KEEP_ALIVE_S:
            if not self._out:
                self._queue(b"\xc0\x00")  # PINGREQ
                self._spoke_ms = now_ms

    def _new_id(self):
        self._packet_id = self._packet_id % 65535 + 1  # never 0 (MQTT 2.3.1)
        return bytes([self._packet_id >> 8, self._packet_id & 255])

    def _queue(self, data):
        if len(self._out) + len(data) > _LONGEST_QUEUE:
            raise OSError("the broker does not read")
        self._out = self._out + data

    def _publish(self, topic, payload, kind):
        self._queue(packet(kind, topic + self._new_id() + payload))

    def _flush(self, now_ms):
        while self._out:
            size = self._tried or min(_A_PIECE, len(self._out))
            sent = self._transmit(self._out[:size])
            if not sent:
                self._tried = size
                return
            self._tried = 0
            self._out = self._out[sent:]
            self._spoke_ms = now_ms

    def send(self, frame):
        """Publish one frame; False when the link is down or what was said before is not out yet."""
        if not self.is_up or self._out:
            return False
        self._publish(self._pack_topic, frame, 0x32)
        return True

    def send_report(self, line):
        """Publish how the node is, for whoever comes later too; False when it could not go out now."""
        if not self.is_up or self._out:
            return False
        self._publish(_text("proofing/" + self._key + "/report"), line, 0x33)
        return True

    def take_acks(self):
        """The acknowledgements that came since the last call."""
        acks = self._acks
        self._acks = []
        return acks

    def close(self, now_ms, is_back_soon=False):
        """Leave in order: the broker does not send the last will after a DISCONNECT, so say it here.

        Who only sleeps, and is back within minutes, stays "online".
        """
        if self.is_up:
            try:
                if not is_back_soon:
                    self._publish(self._status_topic, b"offline", 0x33)
                self._queue(b"\xe0\x00")
                self._flush(now_ms)
            except OSError:
                pass  # gone already: the last will speaks
        self._drop(now_ms, "closed")
