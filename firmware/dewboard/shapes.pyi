"""What annotations need beyond this program's own classes: for the type checker alone, never on the board."""

from typing import Any as Any
from typing import Awaitable as Awaitable
from typing import Callable as Callable
from typing import Generator as Generator
from typing import Iterable as Iterable
from typing import Iterator as Iterator
from typing import Protocol

Job = tuple[str, Callable[[], Awaitable[None]]]  # a name, and what starts it
Payload = bytes | Callable[[], Iterable[bytes]]  # of a publication: as a whole, or made piece by piece

class Ticks(Protocol):
    """MicroPython's module `time`, or what stands in for it.

    Its stubs give ticks a type of their own; on every board they are whole numbers, as `Clock` hands them on.
    """

    @staticmethod
    def ticks_ms() -> Any: ...
    @staticmethod
    def ticks_us() -> Any: ...
    @staticmethod
    def ticks_diff(later: Any, earlier: Any, /) -> int: ...
    @staticmethod
    def ticks_add(ticks: Any, delta: int, /) -> Any: ...
    @staticmethod
    def sleep_us(us: int, /) -> None: ...

class FileIn(Protocol):
    """A file opened to read bytes."""

    def seek(self, at: int, whence: int = 0, /) -> int: ...
    def readinto(self, buffer: bytearray, /) -> int | None: ...

class FileOut(Protocol):
    """A file opened to write bytes."""

    def write(self, data: bytes | bytearray | memoryview, /) -> int | None: ...

class Packed(Protocol):
    """What is to be stored, given piece by piece."""

    def __len__(self) -> int: ...
    def pieces(self) -> Iterator[bytes | bytearray | memoryview]: ...

class Pieces(Protocol):
    """A generator of a page's pieces."""

    def __iter__(self) -> Iterator[str | bytes]: ...
    def close(self) -> None: ...

class StreamIn(Protocol):
    """The reading side of a connection."""

    async def read(self, count: int, /) -> bytes: ...

class StreamOut(Protocol):
    """The writing side of a connection, as microdot hands it over."""

    def get_extra_info(self, name: str, /) -> Any: ...
    def write(self, data: bytes, /) -> Any: ...
    async def drain(self) -> None: ...
    async def aclose(self) -> None: ...
