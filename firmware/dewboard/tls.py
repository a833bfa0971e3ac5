"""Encryption towards the broker, where the firmware has it; loaded only where it is asked for."""

import gc
import ssl
from binascii import a2b_base64

FREE_BYTES = 60000  # a handshake and its two buffers of 16 kB; from memory, not measured on a board


def der_of(pem: str) -> bytes:
    """The bytes of a certificate's text form, b"" where it is none."""
    lines = [line.strip() for line in pem.strip().split("\n")]
    try:
        return a2b_base64("".join([line for line in lines if not line.startswith("-----")]))
    except ValueError:
        return b""


def memory_problem() -> str:
    """Why a handshake is not tried, "" where it may be; a desktop has memory enough."""
    gc.collect()
    if hasattr(gc, "mem_free") and gc.mem_free() < FREE_BYTES:
        return "TLS needs " + str(FREE_BYTES) + " bytes of free memory, there are " + str(gc.mem_free())
    return ""


def context_of(ca: str) -> "ssl.SSLContext":
    """A context that takes only a certificate of this CA's."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.verify_mode = ssl.CERT_REQUIRED
    context.load_verify_locations(cadata=der_of(ca))
    return context
