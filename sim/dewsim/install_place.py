"""The two folders of a board: which one counts, how the other is filled, checked, and made to count by its number."""

from dewboard.release import RELEASES
from dewsim.errors import InputError
from dewsim.install_files import NUMBER, SHIM, main_program, number_of, number_text, sha256
from dewsim.install_link import AGAIN, Link

COPY = """
def copy(old, new):
    with open(old, "rb") as source:
        with open(new, "wb") as target:
            piece = source.read(512)
            while piece:
                target.write(piece)
                piece = source.read(512)
"""
MAIN = "main.py"
NEW_MAIN = "main.new"  # until it is whole
OLD_MAIN = "main.old"  # of another program
MAKE = """
import os
for folder in {folders!r}:
    try:
        os.mkdir(folder)
    except OSError:
        os.listdir(folder)
"""
ROM = "/rom"  # the release that is no folder: `dewsim.install_rom`
DROP = """
import os
def empty(path):
    try:
        names = os.listdir(path)
    except OSError:
        return False
    for name in names:
        os.remove(path + "/" + name)
    os.rmdir(path)
    return True
empty("bench")
try:
    os.stat("{folder}/{shim}")
    try:
        os.remove("{folder}/{number}")  # first of all: it does not count any more
    except OSError:
        pass
    if empty("{folder}/{shim}"):
        print("gone")
except OSError:
    pass
"""
RENAME = """
import os
try:
    os.rename({old!r}, {new!r})
except OSError:  # FAT renames to nothing that exists
    os.remove({new!r})
    os.rename({old!r}, {new!r})
"""


def numbers_on(link: Link) -> dict:
    """The number of the release in each folder."""
    return {folder: number_of(link.read(f"{folder}/{NUMBER}") or b"") for folder in RELEASES}


def rename(old: str, new: str) -> str:
    """Code that lets a whole file take another's place."""
    return RENAME.format(old=old, new=new)


def replace_main(link: Link, is_first: bool) -> "str | None":
    """main.py, replaced in one step where it differs; where another program's went, if there was one."""
    program = main_program()
    found = link.read(MAIN)
    if found == program:
        return None
    link.write(NEW_MAIN, program)
    if link.read(NEW_MAIN) != program:
        raise InputError(f"{link.port}: {NEW_MAIN} does not read back as it was written; {AGAIN}")
    is_foreign = found is not None and is_first
    if is_foreign:
        link.run("putting main.py aside", rename(MAIN, OLD_MAIN))
    link.run("replacing main.py", rename(NEW_MAIN, MAIN))
    return OLD_MAIN if is_foreign else None


def drop_shim(link: Link, folder: str) -> bool:
    """A release with the bench shim goes, and what a bench kept; whether there was one in this folder."""
    told = link.run("removing the bench shim", DROP.format(folder=folder, number=NUMBER, shim=SHIM))
    return told.strip() == "gone"


class Place:
    """Where a release goes.  folder: the one that is being filled, or that holds the same release already.

    in_rom: the number of the release in ROM; number: what the new release is to have; same: nothing had to be filled;
    copied, kept: files that came over the line, and that the board had; is_alone: no release is left that could be
    gone back to.
    """

    def __init__(self, link: Link, files: dict, in_rom: int = -1):
        self.link = link
        self.files = files
        self.wanted = {name: sha256(data) for name, data in files.items()}
        self.numbers = {**numbers_on(link), ROM: in_rom}
        self.current = max(self.numbers, key=lambda folder: self.numbers[folder])  # the first of equals, as in main.py
        self.is_first = self.numbers[self.current] < 0
        self.is_alone = self.is_first
        self.number = max(0, self.numbers[self.current]) + 1  # of the new release
        self.there = {} if self.is_first or self.current == ROM else link.hashes(self.current)[0]
        self.same = {name: self.there[name] for name in self.there if name != NUMBER} == self.wanted
        if self.same or self.is_first:
            self.folder = self.current
        elif self.current == ROM:
            self.folder = min(RELEASES, key=lambda folder: self.numbers[folder])
        else:
            self.folder = RELEASES[1 - RELEASES.index(self.current)]
        self.copied = self.kept = 0

    def fill(self, tell) -> None:
        """Make the folder hold the release and nothing else, and read it back; tell(share) hears of the progress."""
        if self.same:
            return
        link, folder = self.link, self.folder
        had, folders = link.hashes(folder)
        if NUMBER in had:
            self._remove([NUMBER], [])  # from here on it does not count
            del had[NUMBER]
        parents = {name.rpartition("/")[0] for name in self.files} - {""}
        self._remove(sorted(set(had) - set(self.files)), sorted(set(folders) - parents))
        missing = [folder] + [f"{folder}/{name}" for name in sorted(parents)]
        link.run("making folders", MAKE.format(folders=missing))
        link.run("preparing to copy", COPY)
        total = sum(len(data) for data in self.files.values())
        done = 0
        for name, data in self.files.items():
            self._put(name, data, had.get(name))
            done += len(data)
            tell(done / total)
        self._check()

    def _put(self, name: str, data: bytes, had: "str | None") -> None:
        """One file: there already, in the folder that counts, or over the line."""
        if had == self.wanted[name]:
            self.kept += 1
        elif self.there.get(name) == self.wanted[name]:
            self.link.run(f"copying {name}", f"copy({self.current + '/' + name!r}, {self.folder + '/' + name!r})")
            self.kept += 1
        else:
            self.link.write(f"{self.folder}/{name}", data)
            self.copied += 1

    def _remove(self, files: list, folders: list) -> None:
        """Files and emptied folders of the folder being filled: a stale one could stand before a new module."""
        code = ["import os"] + [f"os.remove({self.folder + '/' + name!r})" for name in files]
        code += [f"os.rmdir({self.folder + '/' + name!r})" for name in reversed(folders)]
        self.link.run("removing old files", "\n".join(code))

    def _check(self) -> None:
        """The hash of each file as the board has it."""
        found = self.link.hashes(self.folder)[0]
        wrong = sorted(name for name in self.wanted | found if found.get(name) != self.wanted.get(name))
        if wrong:
            raise InputError(
                f"{self.link.port}: {self.folder}/{wrong[0]} does not read back as it was written; {AGAIN}, and if it "
                "happens again the flash is worn out: take another board"
            )

    def main_program(self) -> "str | None":
        """main.py; where another program's went, if there was one."""
        return replace_main(self.link, self.is_first)

    def after(self, problem: str) -> str:
        """What to say of a failure before the new release counted: nothing was changed that did."""
        return problem

    def count(self) -> None:
        """The release's number, the last thing written: from now on it is the one that starts."""
        if not self.same:
            self.link.write(f"{self.folder}/{NUMBER}", number_text(self.number))

    def drop_shim(self) -> bool:
        """After a release without the bench shim counts: no other one with it stays, nor what a bench kept."""
        if any(name.startswith(SHIM + "/") for name in self.files):
            return False
        is_gone = drop_shim(self.link, RELEASES[1 - RELEASES.index(self.folder)])
        self.is_alone = self.is_alone or is_gone and self.current != ROM
        return is_gone

    def take_back(self) -> None:
        """The release before this one counts again."""
        self.link.run("taking it back", f"import os\nos.remove({self.folder + '/' + NUMBER!r})")

    def summary(self) -> str:
        """What there is now."""
        if self.same:
            return f"this release is on the board already, as number {self.number - 1} in folder {self.folder}"
        before = "it is the first" if self.is_first else "no other is left"
        if not self.is_alone:
            before = "the one before it stays " + ("in ROM" if self.current == ROM else f"in folder {self.current}")
        went = f"{self.copied} files copied, {self.kept} were there"
        return f"release {self.number} in folder {self.folder}: {went}; {before}"
