"""A board on a line whose release has the bench shim, put there without a serial line; its contact told in a file.

    with board_with_shim(folder, world) as board:    board.contact(): the relay's pin now; board.live(True): 24 V comes
"""

from pathlib import Path

from board_on_line import BoardOnLine

from dewsim.install_files import NUMBER, build, main_program, number_text

WORLD = """
SLEEP, PUT = Board.ticks_ms, virtual.Pin._output
looked_ms = 0
def look(self):
    global looked_ms
    now_ms = real.ticks_ms()
    if now_ms - looked_ms > 100:
        looked_ms = now_ms
        live = "live" in os.listdir("..")
        if self.terminal_live != live:
            self.terminal_live = live
    return SLEEP(self)
def put(self, level=None):
    was = self.board.outputs.get(2) if level is not None else None
    found = PUT(self, level)
    if level is not None and self.number == 2 and was != level:
        with open("../contact", "a") as file:
            file.write(str(level))
    return found
def bitten(self, cause):
    sys.exit(0)
Board.ticks_ms, virtual.Pin._output, Board._start_afresh = look, put, bitten
"""


class BoardWithShim(BoardOnLine):
    """A reset of any kind starts its chip anew."""

    def contact(self) -> str:
        """What the relay's pin was driven to since the first start, a digit each time it changed."""
        path = self.flash.parent / "contact"
        return path.read_text() if path.exists() else ""

    def live(self, is_live: bool) -> None:
        """24 V at the real terminal, or none."""
        path = self.flash.parent / "live"
        path.touch() if is_live else path.unlink(missing_ok=True)


def board_with_shim(folder: Path, world: str = "", machine: "str | None" = None) -> BoardWithShim:
    """A started one."""
    flash = folder / "flash"
    for name, data in build(True, lambda _: None, True).items():
        path = flash / "a" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
    (flash / "a" / NUMBER).write_bytes(number_text(1))
    (flash / "main.py").write_bytes(main_program())
    return BoardWithShim(folder, WORLD + world, machine)
