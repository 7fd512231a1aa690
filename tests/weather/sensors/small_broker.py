"""An MQTT 3.1.1 broker in this process, as small as the tests allow, with faults to order.

Written from the OASIS standard (MQTT Version 3.1.1, 29 October 2014); the numbers of its sections stand beside.
It delivers with quality of service 0 or 1, keeps sessions and what waits in them, tells last wills, and notes what
clients did.
"""

import socket
import threading
from collections import OrderedDict, deque
from contextlib import suppress

CONNECT, CONNACK, PUBLISH, PUBACK = 1, 2, 3, 4
SUBSCRIBE, SUBACK, UNSUBSCRIBE, UNSUBACK, PINGREQ, PINGRESP, DISCONNECT = 8, 9, 10, 11, 12, 13, 14
IN_FLIGHT = 20


def matches(topic_filter, topic):
    """Section 4.7.1: + is one level; # is all that follow, and the parent of them too."""
    return _match(topic_filter.split("/"), topic.split("/"))


def _match(levels, names):
    if levels[:1] == ["#"]:
        return True
    if not levels or not names:
        return levels in (names, ["#"])
    return levels[0] in ("+", names[0]) and _match(levels[1:], names[1:])


class Session:
    """Section 4.1: what a broker keeps of a client: subscriptions, and messages that are not acknowledged."""

    def __init__(self):
        self.filters = {}
        self.in_flight = OrderedDict()
        self.waiting = deque()
        self.next_id = 1


class SmallBroker:
    """Listens on a port of its own from `start` on; `stop` takes it away, and sessions stay.

    `users` maps names to passwords, empty lets everybody in. `refuses` are filters that nobody may subscribe to.
    `connects`, `acknowledged`, `unsubscribed` and `published` tell what clients did, in order; `breaks_before_ack`
    drops the connection instead of hearing an acknowledgement, once, and `breaks_before_puback` instead of giving one.
    """

    def __init__(self, users=None, context=None):
        self.users = users or {}
        self.context = context
        self.refuses = set()
        self.retained = {}
        self.sessions = {}
        self.connects, self.acknowledged, self.unsubscribed, self.sent = [], [], [], []
        self.published = []
        self.breaks_before_ack = self.breaks_before_puback = False
        self.port = 0
        self._wills = {}
        self._lock = threading.RLock()
        self._online = {}
        self._listener = None
        self._threads = []

    def start(self):
        self._listener = socket.create_server(("127.0.0.1", self.port))
        self.port = self._listener.getsockname()[1]
        self._thread(self._accept, self._listener)
        return self

    def stop(self):
        with suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        self.drop()
        for thread in self._threads:
            thread.join(10)
        self._threads.clear()

    def drop(self):
        """Cut all connections."""
        with self._lock:
            for sock in self._online.values():
                with suppress(OSError):
                    socket.socket.shutdown(sock, socket.SHUT_RDWR)  # the encrypted one.s own has it read on, in plain

    @property
    def online(self):
        with self._lock:
            return list(self._online)

    def publish(self, topic, payload, *, qos=1, retain=False):
        """Take a message in; from here on it is accepted."""
        payload = payload if isinstance(payload, bytes) else str(payload).encode()
        with self._lock:
            if retain:
                self.retained[topic] = payload
                if not payload:
                    del self.retained[topic]  # 3.3.1.3: one without content takes the retained one away
            for client, session in self.sessions.items():
                granted = [q for each, q in session.filters.items() if matches(each, topic)]
                if granted and (client in self._online or min(max(granted), qos)):
                    session.waiting.append((topic, payload, min(max(granted), qos), False))
                    self._push(client)

    # One thread a connection.

    def _thread(self, work, *arguments):
        thread = threading.Thread(target=work, args=arguments, daemon=True)
        self._threads.append(thread)
        thread.start()

    def _accept(self, listener):
        while True:
            try:
                sock, _ = listener.accept()
            except OSError:
                return
            self._thread(self._serve, sock)

    def _serve(self, sock):
        client = None
        try:
            if self.context:
                sock = self.context.wrap_socket(sock, server_side=True)
            stream = sock.makefile("rb")
            with stream:
                client = self._connect(sock, stream)
                while client is not None and self._hear(client, sock, stream):
                    pass
        except (OSError, EOFError):
            pass
        finally:
            with self._lock:
                if self._online.get(client) is sock:
                    del self._online[client]
                    if will := self._wills.pop(client, None):
                        self.publish(*will[:2], retain=will[2])  # 3.1.2.5: of who did not take leave
            sock.close()

    def _connect(self, sock, stream):
        kind, _flags, body = _read(stream)
        if kind != CONNECT or body[:7] != b"\x00\x04MQTT\x04":  # name and level of the protocol (3.1.2.1, 3.1.2.2)
            raise EOFError
        flags, rest = body[7], body[10:]
        fields = []
        for _ in range(1 + 2 * bool(flags & 0x04) + bool(flags & 0x80) + bool(flags & 0x40)):  # 3.1.3
            length = int.from_bytes(rest[:2], "big")
            fields.append(rest[2 : 2 + length].decode())
            rest = rest[2 + length :]
        client, *who = fields
        will, who = ((*who[:2], bool(flags & 0x20)), who[2:]) if flags & 0x04 else (None, who)
        clean = bool(flags & 0x02)
        with self._lock:
            self.connects.append((client, clean, tuple(who)))
            if self.users and (len(who) < 2 or self.users.get(who[0]) != who[1]):
                sock.sendall(_packet(CONNACK, 0, bytes([0, 4 if who else 5])))  # table 3.1
                return None
            present = client in self.sessions and not clean
            if not present:
                self.sessions[client] = Session()
            if client in self._online:
                self._online[client].shutdown(socket.SHUT_RDWR)  # 3.1.4: the older one has to go
                if before := self._wills.pop(client, None):
                    self.publish(*before[:2], retain=before[2])
            self._online[client] = sock
            if will:
                self._wills[client] = will
            sock.sendall(_packet(CONNACK, 0, bytes([present, 0])))
            for packet_id, (topic, payload, retain) in self.sessions[client].in_flight.items():  # 4.4: sent again
                self._send(sock, topic, payload, packet_id, dup=True, retain=retain)
            self._push(client)
        return client

    def _hear(self, client, sock, stream):
        kind, flags, body = _read(stream)
        with self._lock:
            session = self.sessions[client]
            if kind == DISCONNECT:
                self._wills.pop(client, None)  # 3.14.4
            elif kind == PUBLISH:
                return self._take(sock, flags, body)
            elif kind == PUBACK:
                if self.breaks_before_ack:
                    self.breaks_before_ack = False
                    return False
                session.in_flight.pop(int.from_bytes(body, "big"), None)
                self.acknowledged.append(int.from_bytes(body, "big"))
                self._push(client)
            elif kind == SUBSCRIBE:
                self._subscribe(client, sock, body)
            elif kind == UNSUBSCRIBE:
                for topic_filter, _ in _filters(body[2:], with_qos=False):
                    session.filters.pop(topic_filter, None)
                    self.unsubscribed.append(topic_filter)
                sock.sendall(_packet(UNSUBACK, 0, body[:2]))
            elif kind == PINGREQ:
                sock.sendall(_packet(PINGRESP, 0, b""))
        return kind != DISCONNECT

    def _take(self, sock, flags, body):
        length = int.from_bytes(body[:2], "big")
        topic, rest = body[2 : 2 + length].decode(), body[2 + length :]
        qos, retain = flags >> 1 & 3, bool(flags & 1)
        packet_id, payload = (rest[:2], rest[2:]) if qos else (b"", rest)
        if self.breaks_before_puback:
            self.breaks_before_puback = False
            return False
        self.published.append((topic, payload, qos, retain))
        self.publish(topic, payload, qos=qos, retain=retain)
        if qos:
            sock.sendall(_packet(PUBACK, 0, packet_id))
        return True

    def _subscribe(self, client, sock, body):
        session, codes = self.sessions[client], []
        for topic_filter, qos in _filters(body[2:], with_qos=True):
            if topic_filter in self.refuses:
                codes.append(0x80)
                continue
            session.filters[topic_filter] = qos
            codes.append(qos)
            for topic, payload in self.retained.items():  # 3.3.1.3: with RETAIN set, for a new subscription
                if matches(topic_filter, topic):
                    session.waiting.append((topic, payload, qos, True))
        sock.sendall(_packet(SUBACK, 0, body[:2] + bytes(codes)))
        self._push(client)

    def _push(self, client):
        session, sock = self.sessions[client], self._online.get(client)
        while sock and session.waiting and len(session.in_flight) < IN_FLIGHT:
            topic, payload, qos, retain = session.waiting.popleft()
            packet_id = None
            if qos:
                packet_id, session.next_id = session.next_id, session.next_id % 65_535 + 1
                session.in_flight[packet_id] = (topic, payload, retain)
            self._send(sock, topic, payload, packet_id, retain=retain)

    def _send(self, sock, topic, payload, packet_id, *, dup=False, retain=False):
        name = topic.encode("utf-8", "surrogateescape")
        body = len(name).to_bytes(2, "big") + name
        if packet_id is not None:
            body += packet_id.to_bytes(2, "big")
        self.sent.append((topic, payload, dup, retain))
        with suppress(OSError):
            sock.sendall(_packet(PUBLISH, dup << 3 | (packet_id is not None) << 1 | retain, body + payload))


def _packet(kind, flags, body):
    length, left = bytearray(), len(body)
    while True:  # 2.2.3: seven bits a byte, the eighth says that there is another
        left, digit = left >> 7, left & 0x7F
        length.append(digit | (0x80 if left else 0))
        if not left:
            return bytes([kind << 4 | flags]) + bytes(length) + body


def _read(stream):
    first = stream.read(1)
    if not first:
        raise EOFError
    length, shift = 0, 0
    while True:
        digit = int.from_bytes(stream.read(1), "big")
        length |= (digit & 0x7F) << shift
        shift += 7
        if not digit & 0x80:
            return first[0] >> 4, first[0] & 0x0F, stream.read(length)


def _filters(body, *, with_qos):
    while body:
        length = int.from_bytes(body[:2], "big")
        yield body[2 : 2 + length].decode(), body[2 + length] if with_qos else 0
        body = body[2 + length + with_qos :]
