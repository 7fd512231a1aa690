"""Keeps a process on this machine: whoever would ask further away is stopped before the first packet.

Python tells its audit hooks of every connection and look-up before it is made, whichever library makes it; a hook
cannot be taken out again, nor be patched away by a test.
"""

import ipaddress
import os
import socket
import sys

EXIT_CODE = 97
refused = []
"""What was stopped, one line each."""

_HOST_FIRST = {"socket.getaddrinfo", "socket.gethostbyname", "socket.gethostbyaddr"}
_ADDRESS_SECOND = {"socket.connect", "socket.sendto", "socket.sendmsg"}
_NETWORKS = {socket.AF_INET, socket.AF_INET6}
_OURS = {"", "localhost", "localhost.localdomain", "ip6-localhost", socket.gethostname().lower()}


class ReachedOutError(BaseException):
    """Something would have asked over the network; no `except Exception` shall catch it."""


def watch(*, end_process=False):
    """Stop whatever reaches beyond loopback from now on, by an exception or by ending the process."""

    def hook(event, args):
        if not event.startswith("socket."):
            return
        host = _asked(event, args)
        if host is None or _is_here(host):
            return
        line = f"{event} to {host}"
        refused.append(line)
        if end_process:
            os.write(2, f"no test may reach beyond loopback: {line}\n".encode())
            os._exit(EXIT_CODE)
        raise ReachedOutError(line)

    sys.addaudithook(hook)


def _asked(event, args):
    """Return the host an event is about; None where it is about none."""
    if event in _HOST_FIRST:
        return args[0]
    if event in _ADDRESS_SECOND and args[0].family in _NETWORKS and isinstance(args[1], tuple):
        return args[1][0]
    return None


def _is_here(host):
    text = host.decode("ascii", "replace") if isinstance(host, bytes) else str(host)
    try:
        address = ipaddress.ip_address(text.partition("%")[0])
    except ValueError:
        return text.lower().rstrip(".") in _OURS
    return address.is_loopback or address.is_unspecified
