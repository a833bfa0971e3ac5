"""Courses that once broke a promise, by their identity; and that the watch sees each kind of broken promise.

An identity is that of `tests/acceptance/long_run.py --replay`.  The shortest way to each defect is in
`tests/both/test_found_by_watch.py`; these are the whole courses as the present generator gives them.
"""

import pytest
from world import Episode, World

from dewcore import controller, judge, permit, valve
from dewcore import words as w
from dewcore.controller import Controller
from dewcore.outdoors import OutdoorBelief

FOUND = (
    "1:58",  # opened again before the shortest rest: the contact had closed and opened unseen
    "1:26",  # a clearing took a weld that was still there
    "1:7",  # fog told from an air reading nobody took
    "1:30",  # a colder outdoor reading, told late, was not believed
    "1:24",  # slow surfaces on the means of a warmer past while no outdoor reading came
    "1:33",  # a colder outdoor reading of the same second was not believed; a line that died unseen went untested
    "1:59",  # running water cleared while the drain could not be read
    "1:3974",  # warmth confirmed although the same second had a colder reading
    "1:4252",  # the same where nothing had risen before
    "3:903",  # a rise that is held, told a minute late
    "4:448",  # in the scan in which a jump ended the belief rose above what had been read
    "4:695",  # the same in the scan after it
    "1:2288",  # a glass far colder than modelled on a mild day, scaled to the cold, was colder than any air
)


@pytest.mark.parametrize("identity", FOUND)
def test_a_course_that_once_broke_a_promise_breaks_none(identity):
    assert Episode(identity).play() is None


def test_an_identity_gives_the_same_course_again():
    courses = []
    for _ in range(2):
        episode = Episode("3:14")
        episode.play()
        world = episode.world
        courses.append((episode.kind, episode.done, episode.opened, episode.refusals, world.now_s, world.values))
    assert courses[0] == courses[1]


def test_sixty_courses_open_the_valve_often_enough_to_mean_something():
    scans = opened = refusals = 0
    for index in range(60):
        episode = Episode("9:%d" % index)
        assert episode.play() is None
        scans += episode.done
        opened += episode.opened
        refusals |= episode.refusals
    assert opened > 0.08 * scans
    # a timed run's end and the owner's switch are rare, safe mode and the bench shim are the board's own
    assert bin(refusals).count("1") >= len(w.REFUSALS) - 5


def first_break(promise):
    """The first broken promise of this kind within the courses of a seed, or None."""
    for index in range(150):
        broken = Episode("1:%d" % index).play()
        if broken and promise + " " in broken:
            return broken
    return None


def never(self, *_):
    return 0


def believes_all(self, read_c, at_s, trusted=True):
    self.known = True
    self.at_s = at_s
    self.believed_c = read_c
    return False


def forgets_latches(self, *arguments):
    refusals = CHECK(self, *arguments)
    self.latched = 0
    return refusals


def opens_anyway(self, refusals, now_s):
    left = DECIDE(self, refusals, now_s)
    if left in (1 << w.LEAK_WET, 1 << w.FAN_OFF):
        self.open = True
        return 0
    return left


def opens_latched(self, refusals, now_s):
    left = DECIDE(self, refusals, now_s)
    if left and left & permit.LATCHING == left:
        self.open = True
        return 0
    return left


def infinite(self, *arguments):
    TARGET(self, *arguments)
    self.decision.margin_k = float("inf")


CHECK = permit.Permit.check
DECIDE = valve.Valve.decide
TARGET = Controller._retarget
PLANTED = (
    ("V1", valve.Valve, "decide", opens_anyway),
    ("V2", valve.Valve, "decide", opens_latched),
    ("V3", OutdoorBelief, "take", believes_all),
    ("V3", controller, "is_night", lambda *_: False),
    ("V4", valve.Valve, "_timers", never),
    ("V5", Controller, "_retarget", infinite),
    ("V7", permit.Permit, "check", forgets_latches),
    ("V7", permit, "FAN_STEADY_S", 9),
    ("V7", judge, "CONFIRMATIONS", 4),
    ("V7", permit, "SUPPLY_RISE_S", 320),
    ("V7", permit, "DRAIN_RUNS_S", 1260),
    ("V7", permit, "DRAIN_DRY_S", 660),
    ("V7", valve, "WELD_S", 6),
    ("V7", valve, "WELD_TEST_S", 1),
    ("V7", valve, "FEEDBACK_S", 7),
    ("V7", valve, "RETRY_S", 290),
    ("V7", valve, "RETRIES", 4),
)


@pytest.mark.parametrize(
    ("promise", "where", "name", "wrong"), PLANTED, ids=lambda part: part if isinstance(part, str) else ""
)
def test_the_watch_sees_a_planted_defect(monkeypatch, promise, where, name, wrong):
    monkeypatch.setattr(where, name, wrong)
    assert first_break(promise) is not None


@pytest.mark.parametrize(("name", "value"), [("cap_pct", 46.0), ("min_on_s", 60.5), ("glass_f_night", 0.9)])
def test_the_watch_sees_settings_out_of_the_table(name, value):
    world = World()
    assert world.scan(10) == []
    setattr(world.settings, name, value)
    assert any(text.startswith("V6 ") for text in world.scan(10))


def test_the_watch_sees_a_rest_cut_short_by_a_reboot():
    world = World({"min_off_s": 60, "has_load_sense": 0})
    while not world.controller.decision.valve:
        assert world.scan(10) == []
    world.reboot()
    world.controller.valve.changed_s = world.controller.valve.commanded_s = world.now_s - 60
    assert any(text.startswith("V4 ") for text in world.scan(1))
