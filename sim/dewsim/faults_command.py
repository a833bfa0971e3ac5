"""`dewmargin faults`: the campaign over drawn houses, or one row of it alone, told step by step."""

import hashlib
import os
from pathlib import Path

from dewcore import words
from dewsim import family_command, family_run, faults, faults_report, faults_run, named
from dewsim.errors import EXIT_INTERRUPTED, InputError, shown
from dewsim.housefile import nearest

FILES = (family_run.CASES, faults_report.TABLE, faults_report.PAGE)
OURS = {*FILES, *(name + ".part" for name in FILES)}
DECIDING = ("faults", "faults_world", "faults_run", "faults_board")


class Plan(family_run.Plan):
    """What is to be run: in each winter the first n_houses that count, with each fault of `runs`."""

    def header(self) -> dict:
        """What must be the same for a run to go on."""
        found = hashlib.sha256(family_run.code_digest().encode())
        for name in DECIDING:
            found.update((Path(__file__).parent / f"{name}.py").read_bytes())
        return {
            "format": family_run.FORMAT,
            "code": found.hexdigest()[:16],
            "seed": self.seed,
            "seeds": self.n_houses,
            "winters": [{"name": winter.name, "digest": family_run.digest_of(winter.sky)} for winter in self.winters],
            "faults": list(self.runs),
        }


def run(arguments) -> int:
    """0 done, 130 interrupted; what is done is kept and gone on with."""
    names = chosen(arguments.fault, arguments.pairs)
    if arguments.list:
        print(faults_report.listed())
        return 0
    weathers = arguments.weather or ["inland:2"]
    if arguments.case is not None:
        return alone(arguments, names, weathers)
    folder = family_command.checked_folder(arguments.out, OURS, "faults")
    for number, name in enumerate(weathers):
        if name in weathers[:number]:
            raise InputError(f"--weather {shown(name)}: found it twice, allowed is once each; leave one out")
    skies = [family_run.Winter(name, named.winter(name)) for name in weathers]
    plan = Plan(skies, arguments.seed, arguments.seeds, names)

    def engine():
        if arguments.dask:
            return family_run.Cluster(arguments.dask, faults_run.judged)
        return family_run.Processes(arguments.workers or os.cpu_count() or 1, faults_run.judged)

    cases = family_run.run_command(plan, folder, engine)
    if cases is None:
        return EXIT_INTERRUPTED
    print(faults_report.write(plan, cases, folder))
    return 0


def chosen(given, pairs: bool) -> list:
    """The names to run: those given, or all; InputError for an unknown one."""
    if not given:
        return faults.pairs() if pairs else [fault.name for fault in faults.FAULTS]
    for name in given:
        for part in name.split("+") if name.count("+") <= 1 else [name]:
            if part not in faults.BY_NAME:
                raise InputError(f"--fault {shown(name)}: no such fault; {nearest(part, list(faults.BY_NAME))}")
    return list(dict.fromkeys(given))


def alone(arguments, names: list, weathers: list) -> int:
    """One fault in one house: what is heard, when, and the row."""
    if len(names) != 1 or len(weathers) != 1:
        raise InputError("--case: allowed is with one --fault and one --weather; name one of each")
    sky = named.winter(weathers[0])
    lines, row = faults_run.alone(sky, arguments.seed, arguments.case, names[0])
    sentences = dict(words.REFUSALS) | dict(words.NOTICES)
    print(f"{names[0]}: {faults.found(names)[0].what}")
    for at_s, word in lines:
        print(f"{faults_report.duration(at_s):>10}  {word:18} {sentences.get(word, 'told in the list of events')}")
    for name, value in row.items():
        if name != "lines":
            print(f"{name:>14}: {value}")
    return 0
