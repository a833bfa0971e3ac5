"""`dewmargin replay --houses N`: checks what was asked for, runs the family, writes and prints what it shows."""

import os
from pathlib import Path

from dewsim import family_run, named
from dewsim.errors import EXIT_INTERRUPTED, InputError, shown, shown_path

FILES = (family_run.CASES, "houses.json", "houses.html")
OURS = {*FILES, *(name + ".part" for name in FILES)}  # a part is what a kill left of one


def run(weathers: list, out: str, seed: int, n_houses: int, workers: "int | None", dask: "str | None") -> int:
    """The first n_houses of the draw `seed` that pass, in each of the winters; 0 done, 130 interrupted."""
    folder = checked_folder(out)
    for number, name in enumerate(weathers):
        if name in weathers[:number]:
            raise InputError(f"--weather {shown(name)}: found it twice, allowed is once each; leave one out")
    skies = [family_run.Winter(name, named.winter(name)) for name in weathers]
    plan = family_run.Plan(skies, seed, n_houses)

    def engine():
        return family_run.Cluster(dask) if dask else family_run.Processes(workers or os.cpu_count() or 1)

    cases = family_run.run_command(plan, folder, engine)
    if cases is None:
        return EXIT_INTERRUPTED
    from dewsim import family_report

    print(family_report.write(plan, cases, folder))
    return 0


def checked_folder(out: str, ours=OURS, command: str = "--houses") -> Path:
    """The folder to write into, new or of an earlier run of the same command; InputError for any other."""
    if not out:
        raise InputError("--out: found no name; name a folder to write")
    folder = Path(out)
    place = f"--out {shown_path(folder)}"
    try:
        real = folder.resolve()
        if real.exists() and not real.is_dir():
            raise InputError(f"{place}: found a file; name a folder")
        if not real.parent.is_dir():
            raise InputError(f"{place}: its parent folder does not exist; make it first")
        names = sorted(entry.name for entry in real.iterdir()) if real.exists() else []
        foreign = [name for name in names if name not in ours or not (real / name).is_file()]
        if foreign:
            raise InputError(
                f"{place}: found other files in it, {shown(foreign[0], 40)}; name a new folder, or one of an earlier "
                f"run with {command}"
            )
        if names and family_run.CASES not in names:
            raise InputError(f"{place}: found no {family_run.CASES} beside {shown(names[0], 40)}; name a new folder")
        if not os.access(real if real.exists() else real.parent, os.W_OK):
            raise InputError(f"{place}: cannot be written (Permission denied); name another folder")
    except (OSError, RuntimeError, ValueError) as error:  # RuntimeError: links in a ring; ValueError: a NUL
        reason = getattr(error, "strerror", None) or "not a usable path"
        raise InputError(f"{place}: cannot be written ({reason}); name another folder") from None
    return folder
