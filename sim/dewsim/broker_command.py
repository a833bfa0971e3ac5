"""`dewmargin broker`: the amqtt library's broker for those who have none; loopback, or users with passwords.

It keeps nothing on disk: what waits in it is gone when it ends.  Boards with a logger lose no record by that, for they
keep each until the logger has committed it.
"""

import asyncio
import getpass
import ipaddress
import logging
import os
import signal
import sys
import tempfile
from pathlib import Path

from dewsim import broker_link
from dewsim.errors import EXIT_TERMINATED, InputError, shown, shown_path
from dewsim.files import contents
from dewsim.mqtt_options import DEFAULT_LISTEN
from dewsim.units import counted

MOST_CONNECTIONS = 100
MOST_BYTES = 100_000  # of a password file
LONGEST_NAME = 64


def run(listen: str, passwords: str | None) -> int:
    """Serve until Ctrl-C or SIGTERM."""
    host, port = address_of(listen)
    if passwords is None and not is_loopback(host):
        raise InputError(
            f"--listen {shown(listen)}: others could reach it without a password; give --passwords FILE, or leave it "
            f"at {DEFAULT_LISTEN}"
        )
    plugins: dict = {"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}}
    if passwords is not None:
        _check_passwords(passwords)
        plugins = {"amqtt.plugins.authentication.FileAuthPlugin": {"password_file": passwords}}
    bind = f"[{host}]:{port}" if ":" in host else f"{host}:{port}"
    config = {
        "listeners": {"default": {"type": "tcp", "bind": bind, "max_connections": MOST_CONNECTIONS}},
        "plugins": plugins,
    }
    broker = _library()
    return asyncio.run(_serve(broker, config, listen))


def _library():
    """The library's broker class, its log silenced: what an owner has to know the command says itself."""
    for name in ("amqtt", "transitions", "asyncio"):
        logging.getLogger(name).setLevel(logging.CRITICAL + 1)
    try:
        from amqtt.broker import Broker
    except ImportError:
        raise InputError(
            "broker: needs the package amqtt, which is not installed; run "
            "`.venv/bin/python -m pip install '.[broker]'` in the checkout, or use another broker"
        ) from None
    return Broker


async def _serve(library, config: dict, listen: str) -> int:
    loop = asyncio.get_running_loop()
    status = loop.create_future()

    def end(code: int) -> None:
        if not status.done():
            status.set_result(code)

    for number, code in ((signal.SIGINT, 0), (signal.SIGTERM, EXIT_TERMINATED)):
        loop.add_signal_handler(number, end, code)
    broker = library(config)
    try:
        await broker.start()
    except Exception as error:
        cause = error.__cause__ or error
        raise InputError(
            f"--listen {shown(listen)}: cannot be used ({shown(str(cause))}); stop the broker that runs there, or name "
            "another port"
        ) from None
    broker_link.tell("broker", f"listening on {listen}; Ctrl-C ends it")
    try:
        return await status
    finally:
        await broker.shutdown()


def address_of(listen: str) -> tuple:
    """(host, port) of HOST:PORT; InputError."""
    host, colon, port = listen.rpartition(":")
    host = host.removeprefix("[").removesuffix("]")
    if not (colon and host and port.isascii() and port.isdigit() and 1 <= int(port[:6]) <= 65535):
        raise InputError(f"--listen {shown(listen)}: allowed is HOST:PORT, as {DEFAULT_LISTEN}; write it so")
    return host, int(port)


def is_loopback(host: str) -> bool:
    """Whether only this machine can reach it."""
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def _check_passwords(path: str) -> None:
    """A password file that lets somebody in."""
    lines = _lines(path)
    if not lines:
        raise InputError(
            f"{shown_path(path)}: found no user in it; name a user with --add-user"
        )
    for number, line in enumerate(lines, 1):
        name, colon, digest = line.partition(":")
        if not (name and colon and digest.startswith("$argon2")):
            raise InputError(
                f"{shown_path(path)}, line {number}: allowed is NAME:HASH as --add-user writes it; correct the line"
            )


def _lines(path: str) -> list:
    data = contents(path, MOST_BYTES, "a password file that --add-user has written")
    if len(data) > MOST_BYTES:
        raise InputError(f"{shown_path(path)}: more than {MOST_BYTES} bytes; give a password file")
    try:
        return data.decode("utf-8").splitlines()
    except UnicodeDecodeError:
        raise InputError(f"{shown_path(path)}: is no text; give a password file") from None


def add_user(path: str, name: str) -> int:
    """Write a user's line, the password from the terminal or the first line of stdin; only its hash is kept."""
    if not name or len(name) > LONGEST_NAME or ":" in name or name.startswith("#") or not name.isprintable():
        raise InputError(
            f"--add-user {shown(name)}: allowed are 1 to {LONGEST_NAME} characters without a colon; name a user so"
        )
    _library()
    from pwdlib import PasswordHash
    from pwdlib.hashers.argon2 import Argon2Hasher

    kept = _lines(path) if os.path.exists(path) else []
    kept = [line for line in kept if line.partition(":")[0] != name]
    digest = PasswordHash((Argon2Hasher(),)).hash(_new_password(name))
    _replace(path, "".join(line + "\n" for line in [*kept, f"{name}:{digest}"]))
    users = counted(len(kept) + 1, "user")
    print(f"{shown_path(path)}: {users}; a broker that runs takes it up when it is started again")
    return 0


def _new_password(name: str) -> str:
    if sys.stdin.isatty():
        password = getpass.getpass(f"password for {name}: ")
        if password != getpass.getpass("once more: "):
            raise InputError("--add-user: the two passwords differ; give it again")
    else:
        password = sys.stdin.readline().rstrip("\r\n")
    if not password:
        raise InputError("--add-user: found an empty password; give one")
    return password


def _replace(path: str, text: str) -> None:
    """Whole or not at all, readable by its owner alone."""
    folder = Path(path).resolve().parent
    try:
        number, part = tempfile.mkstemp(dir=folder, prefix=".passwords-")
        try:
            with open(number, "w", encoding="utf-8") as file:
                file.write(text)
            os.replace(part, path)
        except BaseException:
            os.unlink(part)
            raise
    except OSError as error:
        raise InputError(f"{shown_path(path)}: cannot be written ({error.strerror}); name a file in a folder") from None
