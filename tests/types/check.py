"""Pyright over the board's program with the stubs of two boards, one of them with 264 kB of RAM; prints what it finds.

`start` puts the stubs beside the environment's packages, not among them: there they would hide this Python's own.
"""

import json
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
BOARDS = ("rpi_pico_w", "rpi_pico2_w")
OFF_BOARD = shutil.ignore_patterns("settings_help.py", "__pycache__")


def make_project(folder: Path, board: str) -> None:
    """A copy of what is checked, as pyright wants it: everything below the folder that holds its configuration."""
    stubs = Path(sys.prefix) / f"typings-{board}"
    if not (stubs / "machine.pyi").exists():
        raise FileNotFoundError(f"{stubs}: no stubs there; `./start test` installs them")
    shutil.copytree(ROOT / "firmware", folder / "firmware", ignore=OFF_BOARD)
    shutil.copytree(ROOT / "shared" / "dewcore", folder / "shared" / "dewcore", ignore=OFF_BOARD)
    shutil.copytree(ROOT / "tests" / "types", folder / "types", ignore=OFF_BOARD)
    settings = {
        "include": ["firmware", "shared/dewcore"],
        "extraPaths": ["firmware", "shared", "types"],
        "stubPath": str(stubs),
        "typeshedPath": str(stubs),
        "pythonVersion": "3.11",
        "typeCheckingMode": "standard",
        "enableTypeIgnoreComments": False,
        "reportMissingModuleSource": "none",  # a stub is all there is of a board's own modules
        "reportMissingParameterType": "error",  # what is not annotated is not checked
    }
    (folder / "pyrightconfig.json").write_text(json.dumps(settings))


def errors_in(folder: Path) -> list:
    """(file name, line from 1, text) of each error that pyright finds in a project."""
    done = subprocess.run(
        [sys.executable, "-m", "pyright", "--project", str(folder), "--outputjson"],
        env=dict(os.environ, PYRIGHT_PYTHON_IGNORE_WARNINGS="1"),
        capture_output=True,
        text=True,
    )
    if done.returncode not in (0, 1):
        raise RuntimeError(f"pyright ended with {done.returncode}: {done.stdout}{done.stderr}")
    found = json.loads(done.stdout)
    if found["summary"]["filesAnalyzed"] == 0:
        raise RuntimeError("pyright looked at no file")
    return [
        (Path(row["file"]).name, row["range"]["start"]["line"] + 1, row["message"])
        for row in found["generalDiagnostics"]
        if row["severity"] == "error"
    ]


def main() -> int:
    """Exit status 1 where there is any error."""
    count = 0
    for board in BOARDS:
        with tempfile.TemporaryDirectory() as folder:
            make_project(Path(folder), board)
            for file, line, text in errors_in(Path(folder)):
                print(f"{board}: {file}:{line}: {text}")
                count += 1
    print(f"{count} errors")
    return 1 if count else 0


if __name__ == "__main__":
    sys.exit(main())
