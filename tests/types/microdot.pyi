"""What the board uses of vendor/microdot, with types: it brings none, and what a default says is too narrow."""

from typing import Any, Awaitable, Callable, NoReturn

from dewboard.shapes import Pieces, StreamIn, StreamOut

class NoCaseDict(dict[str, str]): ...

class Request:
    class G:
        def __getattr__(self, name: str) -> Any: ...
        def __setattr__(self, name: str, value: Any) -> None: ...

    method: str
    path: str
    headers: NoCaseDict
    cookies: dict[str, str]
    client_addr: tuple[str, int]
    url_args: dict[str, str]
    g: G
    def __init__(
        self,
        app: Microdot,
        client_addr: tuple[str, int],
        method: str,
        url: str,
        http_version: str,
        headers: NoCaseDict,
        body: bytes | None = None,
    ) -> None: ...
    @property
    def body(self) -> bytes: ...
    @property
    def json(self) -> Any: ...

class Response:
    body: bytes | Pieces
    headers: NoCaseDict
    def __init__(
        self, body: str | bytes | Pieces = b"", status_code: int = 200, headers: dict[str, str] | None = None
    ) -> None: ...
    async def write(self, stream: StreamOut) -> None: ...

class Microdot:
    options_handler: Any
    def __init__(self) -> None: ...
    def before_request(self, f: Callable[[Request], Awaitable[Any]]) -> Any: ...
    def find_route(self, req: Request) -> tuple[Any, ...]: ...
    async def handle_request(self, reader: StreamIn, writer: StreamOut) -> None: ...
    async def dispatch_request(self, req: Request) -> Response: ...
    async def start_server(self, host: str = "0.0.0.0", port: int = 5000) -> None: ...

def abort(status_code: int, reason: str | None = None) -> NoReturn: ...
