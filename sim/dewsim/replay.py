"""A house and a winter in, a folder with result.json, record.csv, report.html and season.svg out."""

import copy
import errno
import json
import os
import re
import shutil
import tempfile
from datetime import datetime, timedelta, timezone
from math import isfinite
from pathlib import Path

from dewcore import words
from dewcore.psychro import vapour_from_ratio_pa, wetting_point_c
from dewcore.record import FIELDS, REASON_OPEN
from dewsim import (
    best,
    family,
    forecasts,
    housefile,
    metrics,
    named,
    picture,
    plant,
    policies,
    report,
    weather,
    winters,
)
from dewsim.errors import InputError, shown, shown_path
from dewsim.files import contents
from dewsim.progress import Progress
from dewsim.sensors import Sensors

FORECASTS = ("simulated", "perfect", "none")
RESULT = "result.json"
# what may stand in a folder to replace
OURS = re.compile(r"result\.json|report\.html|season\.svg|record(-[a-z_]+)?\.csv")
LARGEST_RESULT_BYTES = 1_000_000
DEMO_HOUSE = Path(__file__).parent / "data" / "larch_terrace.toml"
DEMO_SEED = 1
CLASS_SENTENCES = {
    "clear": "The windows stay well clear of fog without a humidifier.",
    "tight": "The windows come close to fogging even without a humidifier: there is little room for more humidity.",
    "foggy": "The windows fog by themselves, without a humidifier: extract moisture and improve the glass first.",
}


def exact_sensors(house):
    """The same house with sensors that err in nothing."""
    exact = copy.deepcopy(house)
    for name in vars(exact.sensors):
        if name in ("dropout", "noise", "resolution", "lag_min") or "error" in name or "drift" in name:
            setattr(exact.sensors, name, 0.0)
    return exact


class Replay:
    """One house through one winter under every policy: inputs, runs by policy name, and `result`.

    forecast: one of FORECASTS, what the controller is told of the weather to come.  start_pct: RH at the start, None
    for what policies.start_rh_pct gives.
    """

    def __init__(
        self,
        house,
        sky,
        seed: int,
        place: str,
        exact: bool = False,
        progress=None,
        forecast: str = "simulated",
        start_pct: float | None = None,
        on_board: bool = False,
    ):
        self.house = house
        self.weather = sky
        self.seed = seed
        self.progress = progress or Progress()
        self.settings = policies.settings_for(house, place, exact)
        self.shipped = "outlook" if self.settings.look_ahead else "plain"
        self.forecast = forecast
        self.on_board = on_board
        self.board: dict = {}  # what is told of a run on the board
        self.clock = (sky.start_utc_s, sky.utc_offset_s)
        self.progress.stage("house", 0.0)
        minutes = weather.states(sky)
        start_local_s = sky.start_utc_s + sky.utc_offset_s
        pressure_pa = sum(sky.pressure_pa) / len(sky.pressure_pa)
        self.course = plant.Course(house, minutes, start_local_s, seed, pressure_pa=pressure_pa)
        self.sensors = Sensors(exact_sensors(house) if exact else house, self.course, seed)
        self.mask = metrics.season_mask(self.course)
        self.caps_pct = policies.slow_caps_pct(self.course, self.settings)
        self.start_pct = policies.start_rh_pct(self.course) if start_pct is None else start_pct
        self.runs: dict = {}
        self.beside = None  # of a log: what was recorded, and the house before it was changed
        self.result: dict = {}

    def run(self) -> dict:
        """All policies; returns and keeps the result."""
        course, start_pct = self.course, self.start_pct
        stage = self.progress.stage
        stage("shut", 0.05)
        shut = self.runs["shut"] = policies.run_shut(course, start_pct)
        stage("dial", 0.08)
        self.runs["dial"] = policies.luckiest_dial(course, self.caps_pct, shut, start_pct, self.progress.beat)
        plain = policies.altered(self.settings, look_ahead=0)
        stage("plain", 0.22, 0.36)
        self.runs["plain"] = self.controlled(plain)
        stage("plain_no_margin", 0.36, 0.5)
        self.runs["plain_no_margin"] = self.controlled(policies.without_margin(plain))
        if self.shipped == "outlook":
            stage("outlook", 0.5, 0.85)
            if not self.on_board:
                self.runs["outlook"] = self.controlled(self.settings, self._forecasts())
        if self.on_board:
            stage("board", 0.5, 0.85)
            self._on_board()
        stage("best", 0.85, 0.88)
        self._best(shut)
        stage("result", 0.88)
        self.result = self._result()
        return self.result

    def _forecasts(self) -> forecasts.Forecasts | None:
        """What a feed would have delivered."""
        if self.forecast == "none":
            return None
        course = self.course
        return forecasts.Forecasts(
            course.outdoor_c, course.dt_s, self.clock[0], self.seed, perfect=self.forecast == "perfect"
        )

    def told(self) -> forecasts.Forecasts | None:
        """What the shipped policy is told."""
        return self._forecasts() if self.shipped == "outlook" else None

    def _best(self, shut) -> None:
        """The clairvoyant controller; beside fog of the house's own it is judged as the class's rule says."""
        course = self.course
        ratio = metrics.headroom(course, shut.w_g_kg)
        foggy = metrics.headroom_class(ratio) == "foggy"
        exempt = best.beside_wet(course, shut.w_g_kg) if foggy else None
        self.runs["best"] = best.run_best(
            course, self.caps_pct, shut, self.start_pct, self.progress.share, exempt=exempt
        )

    def controlled(self, settings, told=None) -> policies.Run:
        """The decision code with these settings, told so much of the weather to come."""
        sensors = Sensors(self.house, self.course, self.seed) if not self.sensors.exact else self.sensors
        return policies.run_controller(
            self.course, sensors, settings, self.clock, self.start_pct, self.progress.share, forecasts=told
        )

    def _on_board(self) -> None:
        """The shipped policy once more, as the firmware's app."""
        from dewsim import onboard

        onboard.needs_firmware()
        told = self.told()
        self.runs[self.shipped], self.board = onboard.run_board(
            self.course, self.sensors, self.settings, self.clock, self.start_pct, self.progress.share, told
        )

    def _result(self) -> dict:
        shut = self.runs["shut"]
        ratio = metrics.headroom(self.course, shut.w_g_kg)
        blocks = {
            name: metrics.policy_block(self.course, run, shut, self.mask, self.caps_pct, self.house)
            for name, run in self.runs.items()
        }
        kind = metrics.headroom_class(ratio)
        for block in blocks.values():
            share = best.share_of_best_pct(block, blocks["shut"], blocks["best"], kind)
            block["share_of_best_pct"] = None if share is None else round(share, 2)
        return {
            "schema": 1,
            "shipped_policy": self.shipped,
            "house": self.house.name,
            "weather": {"name": self.weather.name, "origin": self.weather.origin, "notes": list(self.weather.notes)},
            "seed": self.seed,
            "forecast": self.forecast if self.shipped == "outlook" else "none",
            "headroom_class": kind,
            **({"headroom_ratio": round(ratio, 4)} if isfinite(ratio) else {}),  # JSON knows no infinity
            "binding": blocks["plain_no_margin"]["added_wet_minutes"] > 0,
            "policies": blocks,
            **({"board": self.board} if self.board else {}),
        }


def run_demo(out: str) -> int:
    """The invented house and winter; prints where the report is."""
    house = housefile.load(DEMO_HOUSE)
    return _run_to(house, winters.ostervale(), str(DEMO_HOUSE.name), out, DEMO_SEED, False, False)


def run_replay(
    house: str, sky: str, out: str, seed: int, exact: bool, all_records: bool, forecast: str, on_board: bool = False
) -> int:
    """A house file, 'default' or a drawn house, through a weather file or an invented winter."""
    if house.startswith(named.DRAWN):
        return _replay_drawn(named.Drawn(house), house, sky, out, exact, all_records, forecast, on_board)
    loaded = housefile.House() if house == "default" else housefile.load(house)
    winter = named.winter(sky)
    place, inputs = shown_path(house), (house, sky)
    return _run_to(loaded, winter, place, out, seed, exact, all_records, forecast, inputs, None, on_board)


def _replay_drawn(
    drawn, name: str, sky: str, out: str, exact: bool, all_records: bool, forecast: str, on_board: bool
) -> int:
    """A house of `--houses` alone, with the showers, the forecasts and the start that it has there."""
    winter = named.winter(sky)
    exact = exact or drawn.regime == "exact"
    seed, start_pct = drawn.course_seed(), family.START_RH_PCT
    house = drawn.house(winter)
    return _run_to(house, winter, name, out, seed, exact, all_records, forecast, (sky,), start_pct, on_board)


def _run_to(
    house, sky, place, out, seed, exact, all_records, forecast="simulated", inputs=(), start_pct=None, on_board=False
) -> int:
    folder = Path(out)
    if not out:
        raise InputError("--out: found no name; name a folder to write")
    check_folder(folder, inputs)
    with Progress.on_terminal("winter") as progress:
        replay = Replay(house, sky, seed, place, exact, progress, forecast, start_pct, on_board)
        replay.run()
        write(replay, folder, all_records)
    print(summary(replay.result))
    print(f"report: {folder / 'report.html'}")
    return 0


def summary(result: dict) -> str:
    """A few lines of text: the class of the house and each policy's humidity and wet minutes."""
    if result["policies"]["shut"]["mean_rh_pct"] is None:
        return f"{result['house']}: no heating season in this weather, so nothing to humidify"
    lines = [f"{result['house']}: {result['headroom_class']}" + (", binding" if result["binding"] else "")]
    for name, block in result["policies"].items():
        mean = block["mean_rh_pct"]
        setting = f" (at {block['setting_pct']:g} %)" if "setting_pct" in block else ""
        share = block["share_of_best_pct"]
        of_best = "" if share is None or name in ("shut", "best") else f", {share:.0f} % of the best possible gain"
        wet = block["added_wet_minutes"]
        lines.append(f"  {name:16} mean {mean:.1f} % RH, {wet} added wet minutes{of_best}{setting}")
    if "board" in result:
        board = result["board"]
        lines.append(
            f"  on the board: {board['beats']} beats, {board['switches']} switches of the contact, "
            f"{board['differences']} other than the decision alone, {board['missed_beats']} beats missed"
        )
    if result["headroom_class"] != "clear":
        lines.append(CLASS_SENTENCES[result["headroom_class"]])
    return "\n".join(lines)


def check_folder(folder: Path, inputs: tuple = ()) -> None:
    """Refuse before any work a place that cannot be written, or that holds more than a replay: inputs, for example."""
    place = f"--out {shown_path(folder)}"
    try:
        real = folder.resolve()
        if real.exists():
            _check_contents(real, place)
            for path in inputs:
                if Path(path).resolve().parent == real:
                    raise InputError(f"{place}: {shown_path(path)} lies in it; name a new folder")
        if not real.parent.is_dir():
            raise InputError(f"{place}: its parent folder does not exist; make it first")
        os.rmdir(_part_beside(real))
    except (OSError, RuntimeError, ValueError) as error:  # RuntimeError: links in a ring; ValueError: a NUL
        raise _unwritable(folder, error) from None


def _check_contents(folder: Path, place: str) -> None:
    """Refuse what must not be replaced: it is moved aside whole and removed, with all that is in it."""
    if not folder.is_dir():
        raise InputError(f"{place}: found a file; name a folder")
    foreign = sorted(entry.name for entry in folder.iterdir() if not OURS.fullmatch(entry.name) or entry.is_dir())
    if foreign:
        raise InputError(
            f"{place}: found other files in it, {shown(foreign[0], 40)}; name a new folder, or one of an earlier replay"
        )
    if not os.access(folder, os.W_OK | os.X_OK):  # it could be moved aside, but never removed
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
    if any(folder.iterdir()) and not _is_result(folder / RESULT):
        raise InputError(f"{place}: its {RESULT} is none of a replay; name a new folder, or one of an earlier replay")
    here = Path.cwd()
    if here == folder or folder in here.parents or os.path.ismount(folder):
        raise InputError(f"{place}: found the current folder or a mounted one; name a new folder inside it")


def _is_result(path: Path) -> bool:
    """Whether a file is the result of an earlier replay."""
    try:
        found = json.loads(contents(path, LARGEST_RESULT_BYTES, "a result"))
    except (InputError, ValueError, RecursionError):
        return False
    return isinstance(found, dict) and "schema" in found and "shipped_policy" in found


def _unwritable(folder: Path, error: Exception) -> InputError:
    reason = getattr(error, "strerror", None) or "not a usable path"
    return InputError(f"--out {shown_path(folder)}: cannot be written ({reason}); name another folder")


def _part_beside(folder: Path) -> Path:
    """A new empty hidden folder beside folder, on the same disk."""
    return Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))


def write(replay: Replay, folder: Path, all_records: bool = False) -> None:
    """Write all files into a new folder beside `folder`, then put it in place whole; nothing is left half-written."""
    try:
        real = folder.resolve()
        part = _part_beside(real)
        try:
            part.chmod(0o755)
            _write_files(replay, part, all_records)
            check_folder(folder)  # once more: minutes have passed
            _put_in_place(part, real)
        except BaseException:
            shutil.rmtree(part, ignore_errors=True)
            raise
    except OSError as error:
        raise _unwritable(folder, error) from error


def _write_files(replay: Replay, part: Path, all_records: bool) -> None:
    """All files of a replay into the folder `part`."""
    replay.progress.stage("record", 0.9)
    for name, run in replay.runs.items():
        if name == replay.shipped:
            write_record(replay, run, part / "record.csv")
        elif all_records and run.decided:
            write_record(replay, run, part / f"record-{name}.csv")
    replay.progress.stage("report", 0.96)
    (part / RESULT).write_text(json.dumps(replay.result, indent=1, ensure_ascii=False, allow_nan=False) + "\n", "utf-8")
    (part / "report.html").write_text(report.render(replay), "utf-8")
    (part / "season.svg").write_text(picture.season(replay), "utf-8")


def _put_in_place(part: Path, folder: Path) -> None:
    """Rename part to folder; an earlier replay there is moved aside first, and back if that fails."""
    old = part.with_name(part.name + "-old")
    try:
        if folder.exists():
            folder.rename(old)
        part.rename(folder)
    except BaseException:
        if old.exists() and not folder.exists():
            old.rename(folder)
        raise
    try:
        if old.exists():
            shutil.rmtree(old)
    except OSError as error:
        raise InputError(
            f"--out {shown_path(folder)}: is written, but the earlier replay stays beside it as {shown_path(old.name)} "
            f"({error.strerror}); remove that folder"
        ) from error


def write_record(replay: Replay, run: policies.Run, path: Path) -> None:
    """One row a minute, ends its minute: the simulated house itself, and what the controller made of its sensors.

    dew_point_c is that of the coldest room's air, the frost point below 0 °C: glass_c <= dew_point_c is wet.
    """
    course = replay.course
    start = datetime.fromtimestamp(replay.clock[0], timezone.utc)
    with open(path, "w", encoding="ascii", newline="\n") as file:
        file.write(",".join(["time_utc"] + [row[0] for row in FIELDS]) + "\n")
        stamp = minute_stamps(start, course.n_steps)
        for k in range(1, course.n_steps):
            file.write(record_row(course, run, k, stamp[k]))


def minute_stamps(start: datetime, n: int) -> list[str]:
    """ISO 8601 stamps of n minutes from start; a day's text is made once and shared."""
    stamps = []
    clock = [f"T{m // 60:02}:{m % 60:02}:00Z" for m in range(1440)]
    day, minute = start.date(), start.hour * 60 + start.minute
    text = day.isoformat()
    for _ in range(n):
        stamps.append(text + clock[minute])
        minute += 1
        if minute == 1440:
            minute = 0
            day += timedelta(days=1)
            text = day.isoformat()
    return stamps


def record_row(course, run: policies.Run, k: int, stamp: str) -> str:
    """The row of the minute that ends at step k: state at its end, fan, valve and reason over it."""
    w = run.w_g_kg[k]
    room_pa = vapour_from_ratio_pa(policies.room_w_g_kg(course, k, w), course.pressure_pa)
    before = k - 1
    reason = run.reason[before]
    return "%s,%.4f,%.4f,%.4f,%.8f,%.4f,%.4f,%.3f,%.3f,%d,%.3f,%.4f,%s,\n" % (
        stamp,
        course.outdoor_c[k],
        course.indoor_c[k],
        plant.rh_pct(w, course.indoor_c[k], course.pressure_pa),
        0.001 * w,
        course.glass_c[k],
        wetting_point_c(room_pa),
        run.ceiling_pct[before],
        run.target_pct[before],
        course.fan[before],
        run.valve[before] / run.scans_per_step,
        run.evaporated_kg_h[before],
        words.OPEN_NAME if reason == REASON_OPEN else words.REFUSALS[reason][0],
    )
