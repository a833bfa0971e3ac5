"""Flash that loses power or fails at any moment: block devices in RAM under real file systems, and a plain one.

MicroPython brings littlefs and FAT; `Chip` is what they write to, and remembers every erase and program operation,
so that any moment of a run can be looked at again: after k whole operations (`clean`), or with half of the next one
done, too (`torn`).  `Disk` stands in for `open` and `os` inside a module of dewboard, on every interpreter: it fails
at the n-th operation, and a power cut is there what has reached it by then.
"""

import os
import sys

IS_MICROPYTHON = sys.implementation.name == "micropython"
NOT_THERE = 2
NO_SPACE = 28


class PowerCut(BaseException):
    """Power is gone: nothing in the program may catch this."""


class Chip:
    """A block device of `count` blocks of `size` bytes; log: (start, bytes) of each program or erase operation.

    page: bytes of one program operation; erases by block, for wear.
    """

    def __init__(self, count, size, page):
        self.count, self.size, self.page = count, size, page
        self.data = bytearray(b"\xff" * (count * size))
        self.log = None
        self.erases = [0] * count

    def readblocks(self, n, buffer, offset=0):
        at = n * self.size + offset
        buffer[:] = self.data[at : at + len(buffer)]

    def writeblocks(self, n, buffer, offset=None):
        """With an offset littlefs programs pages it has erased; without, FAT rewrites whole blocks."""
        at = n * self.size + (offset or 0)
        if offset is None:
            for block in range(n, n + len(buffer) // self.size):
                self.erases[block] += 1
        for start in range(0, len(buffer), self.page):
            self._change(at + start, bytes(buffer[start : start + self.page]))

    def ioctl(self, op, arg):
        if op == 4:
            return self.count
        if op == 5:
            return self.size
        if op == 6:
            self.erases[arg] += 1
            self._change(arg * self.size, b"\xff" * self.size)
            return 0
        return 0

    def _change(self, at, new):
        if self.log is not None:
            self.log.append((at, new))
        self.data[at : at + len(new)] = new


class FileSystem:
    """littlefs or FAT on a Chip, mounted at ROOT while something is done in it."""

    ROOT = "/cut"

    def __init__(self, name, count, size, page):
        import vfs

        self.vfs = vfs
        self.kind = {"littlefs": vfs.VfsLfs2, "FAT": vfs.VfsFat}[name]
        self.name = name
        self.chip = Chip(count, size, page)
        self.kind.mkfs(self.chip)

    def run(self, do):
        """do(ROOT) on the mounted file system; what it returns."""
        self.vfs.mount(self.kind(self.chip), self.ROOT)
        try:
            return do(self.ROOT)
        finally:
            self.vfs.umount(self.ROOT)

    def logged(self, do):
        """(chip before, operations) of a run."""
        before = bytes(self.chip.data)
        self.chip.log = []
        self.run(do)
        log, self.chip.log = self.chip.log, None
        return before, log

    def moments(self, before, log):
        """Put the chip into each state in which power may have gone, one after the other; yields its name.

        The caller may change the chip: each moment begins anew.
        """
        image = bytearray(before)
        for k in range(len(log) + 1):
            self.chip.data[:] = image
            yield "after %d of %d operations" % (k, len(log))
            if k < len(log):
                at, new = log[k]
                half = len(new) // 2
                self.chip.data[:] = image
                self.chip.data[at : at + half] = new[:half]
                yield "half of operation %d of %d" % (k + 1, len(log))
                image[at : at + len(new)] = new


def file_systems(blocks, block_bytes):
    """What this MicroPython has of littlefs (on NOR flash with pages of 256 bytes) and FAT (sectors of 512)."""
    return [
        FileSystem("littlefs", blocks, block_bytes, 256),
        FileSystem("FAT", blocks * block_bytes // 512, 512, 512),
    ]


class DiskFile:
    """One open file of a Disk."""

    def __init__(self, disk, path, mode):
        self.disk, self.path, self.mode = disk, path, mode
        self.at = 0
        self.held = b""  # written, not on the disk yet
        self.is_open = True

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()

    def write(self, data):
        data = bytes(data)
        self.disk.step(self, data[: len(data) // 2])
        self._put(data)
        return len(data)

    def _put(self, data):
        if self.disk.late:
            self.held += data
        else:
            self.disk.files[self.path] += data

    def flush(self):
        self.disk.step()
        self._settle()

    def close(self):
        if self.is_open and not self.disk.dead:
            self.is_open = False
            self._settle()  # a failing close, too, leaves what was written
            if self.mode != "rb":
                self.disk.step()

    def _settle(self):
        self.disk.files[self.path] += self.held
        self.held = b""

    def seek(self, at, whence=0):
        self.at = len(self.disk.files[self.path]) if whence == 2 else at
        return self.at

    def read(self, count=-1):
        self.disk.step()
        data = self.disk.files[self.path]
        got = data[self.at :] if count < 0 else data[self.at : self.at + count]
        self.at += len(got)
        return bytes(got)

    def readinto(self, buffer):
        got = self.read(len(buffer))
        buffer[: len(got)] = got
        return len(got)


class Disk:
    """Files in a dictionary, with `open` and what dewboard uses of `os`.

    late: what is written reaches the disk when flushed or closed, else at once.  fail_at: number of the operation
    that raises `problem`, and all later ones if `always`; half of a write gets through.  A dead disk takes nothing.
    """

    def __init__(self, files=None, late=False):
        self.files = {path: bytes(data) for path, data in (files or {}).items()}
        self.folders = []
        self.late = late
        self.steps = 0
        self.fail_at = 0
        self.problem = None
        self.always = False
        self.dead = False

    def fail(self, at, problem, always):
        """From now on the at-th operation fails."""
        self.steps, self.fail_at, self.problem, self.always = 0, at, problem, always

    def step(self, file=None, half=b""):
        """One operation begins."""
        if self.dead:
            raise PowerCut()
        self.steps += 1
        if self.fail_at and (self.steps == self.fail_at or self.always and self.steps > self.fail_at):
            if file is not None:
                file._put(half)
            if self.problem is PowerCut:
                self.dead = True
            raise self.problem(NO_SPACE) if self.problem is OSError else self.problem()

    def open(self, path, mode="r"):
        self.step()
        if mode == "rb" and path not in self.files:
            raise OSError(NOT_THERE)
        if mode == "wb" or path not in self.files:
            self.files[path] = b""
        return DiskFile(self, path, mode)

    def listdir(self, folder):
        self.step()
        return [path[len(folder) + 1 :] for path in self.files if path.startswith(folder + "/")]

    def stat(self, folder):
        self.step()
        if folder not in self.folders:
            raise OSError(NOT_THERE)

    def mkdir(self, folder):
        self.step()
        self.folders.append(folder)

    def remove(self, path):
        self.step()
        if path not in self.files:
            raise OSError(NOT_THERE)
        del self.files[path]

    def under(self, *modules):
        """Put this disk in place of `open` and `os` in modules of dewboard; itself."""
        for module in modules:
            module.open = self.open
            module.os = self
        return self


class Flash(Disk):
    """A disk whose folders are always there."""

    def stat(self, folder):
        """Anything."""


def real(*modules):
    """The real `open` and `os` in modules of dewboard again."""
    for module in modules:
        module.open = open
        module.os = os


def each_bytecode(act, names, stride=1):
    """On CPython: run act() again and again, power cut before every stride-th bytecode in files of these names.

    act() begins anew each time and returns its Disk, which is dead from the cut on; yields it, the number of the
    bytecode, and whether the run came to its end.
    """
    n = 0
    while True:
        n += stride
        left = [n]
        disk = act(None)

        def trace(frame, event, _):
            if frame.f_code.co_filename.rsplit("/", 1)[-1] not in names:
                return None
            frame.f_trace_opcodes = True
            if event == "opcode" and not disk.dead:
                left[0] -= 1
                if left[0] == 0:
                    disk.dead = True
                    raise PowerCut()
            return trace

        cut = False
        sys.settrace(trace)
        try:
            act(disk)
        except PowerCut:
            cut = True
        finally:
            sys.settrace(None)
        yield disk, n, not cut
        if not cut:
            return
