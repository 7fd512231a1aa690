"""Encrypted connections to a broker, whose certificate is always checked; and why a connection could not be made."""

import socket
import ssl
from typing import Any

from dryspell.weather.sensors.model import Broker

_PROBLEMS: dict[type[Exception], str] = {
    ssl.SSLError: "no encrypted connection can be made; a broker without encryption has tls = false",
    socket.gaierror: "its name is not known here",
    TimeoutError: "does not answer",
    ConnectionRefusedError: "nobody listens there",
}


class _Context(ssl.SSLContext):
    """Shakes hands at once, so that a socket whose other end is not trusted is closed and not left to the collector."""

    def wrap_socket(self, sock: socket.socket, *args: Any, **how: Any) -> ssl.SSLSocket:
        return super().wrap_socket(sock, *args, **{**how, "do_handshake_on_connect": True})


def client_context(broker: Broker) -> ssl.SSLContext:
    """Return what an encrypted connection is made with; read anew each time, for certificates are renewed.

    Raises
    ------
    ValueError
        A file cannot be used; the text is the whole message.
    """
    context = _Context(ssl.PROTOCOL_TLS_CLIENT)  # checks the certificate and the name of the host
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    try:
        if broker.ca_file is None:
            context.load_default_certs()
        else:
            context.load_verify_locations(broker.ca_file)
    except OSError as error:  # what is wrong with a certificate is one too
        raise ValueError(f"{broker.ca_file} cannot be used as ca_file: {_short(error)}") from None
    try:
        if broker.cert_file is not None:
            # A key that wants a passphrase is none for a daemon: nobody is asked for one.
            context.load_cert_chain(broker.cert_file, broker.key_file, password="")
    except OSError as error:
        raise ValueError(f"{broker.cert_file} cannot be used as cert_file: {_short(error)}") from None
    return context


def connect_problem(error: Exception) -> str:
    """Return why a connection could not be made, to follow the name of the broker."""
    if isinstance(error, ssl.SSLCertVerificationError):
        return f"its certificate cannot be trusted: {error.verify_message}"
    for kind, text in _PROBLEMS.items():
        if isinstance(error, kind):
            return text
    return f"cannot be reached: {_short(error)}" if isinstance(error, OSError) else str(error)


def refusal(broker: Broker, reason: object) -> str:
    """Return that a broker does not let us in, to follow its name."""
    return f"refuses {f'user {broker.user}' if broker.user else 'us without a user'}: {str(reason).lower()}"


def _short(error: OSError) -> str:
    return error.strerror or str(error)
