"""The clairvoyant controller that every policy is measured against: all of the winter known, the same slow caps.

Its excess over the valve-shut house, e = W - W_shut and eb = phi_b - phi_b_shut, with the water p in the pad, obeys
the linear part of the house model alone; the valve is the only source.  It may open by any share of a step in which
water is allowed, adds no wet step (e stays under W_wet - W_shut at the end of every step at which the shut house is
dry), and lifts the air at no step's end above the cap.  Above the cap the air may drift by itself, which includes
what the pad still holds: a controller that closes at its target has that residue too.

States from which a house with the valve shut from now on stays under every later limit form the set

    e + q_i eb + r_i p <= d_i    for all i,

one line for each later limit.  The lines are carried backward through each step's map, and those are left out that
no reachable state can break or that others imply, at a cost of at most GIVEN_G_KG.  Forward, each step opens the
valve as far as its end stays in the set.  So zero added wet minutes hold by construction.  With one node and no pad
lag this is the recursion d(k) = min(limit(k), d(k+1)/keep), the highest trajectory at every step; with a slow store
no trajectory is highest everywhere, and this one is the greedy one.
"""

from array import array

from dewcore.psychro import MOLAR_RATIO_G
from dewsim import plant
from dewsim.policies import Run

STRICT_G_KG = 1e-7  # below the limit itself, at which the glass is wet; above the rounding of a winter
STRICT_SHARE = 1e-9  # likewise below the cap, and the least share of a step worth opening for
GIVEN_G_KG = 0.003  # the most that thinning lowers any line by
SWEEP_STEPS = 6  # lines are thinned once in so many steps
NEAR_WET_MIN = 60  # the rule for houses that fog by themselves
NEAR_WET_SHARE = 0.98
LEAST_GAIN_PCT = 4.0  # mean RH; where `best` gains less all policies look alike
VALVE_PARTS = 100  # Run.valve counts hundredths of a step
DAY_STEPS = 1440
UNLIMITED = float("inf")


class BestRun(Run):
    """A Run whose valve opens by shares: `valve_share` (0..1 of a step); `valve` is the same in hundredths."""

    def __init__(self, n_steps: int) -> None:
        super().__init__(n_steps, VALVE_PARTS)
        self.valve_share = array("d", bytes(8 * n_steps))


class Lines:
    """The safe set at each step k: lines first[k] to first[k] + count[k] - 1 of q, r and d."""

    def __init__(self, n_steps: int) -> None:
        self.first = array("l", [0]) * n_steps
        self.count = array("l", [0]) * n_steps
        self.q = array("d")
        self.r = array("d")
        self.d = array("d")


class Reach:
    """Upper bounds at each step of every trajectory that keeps limits and caps: e, eb, p; and where a limit counts.

    Each step's bound is the step from the bound before with the valve open, or what cap and limit leave of it.
    """

    def __init__(self, n_steps: int) -> None:
        self.e = array("d", bytes(8 * n_steps))
        self.eb = array("d", bytes(8 * n_steps))
        self.p = array("d", bytes(8 * n_steps))
        self.touches = bytearray(n_steps)


def beside_wet(course, shut_w_g_kg: array) -> bytearray:
    """1 for steps that do not count in a house that fogs by itself.

    Those up to an hour from a step at which the shut house is wet, and those at which it is within 2 % of it: there
    only an excess of exactly zero would do, and no excess decays to that.
    """
    n = course.n_steps
    reach = NEAR_WET_MIN * 60 // course.dt_s
    exempt = bytearray(n)
    wet = course.wet_w_g_kg
    until = -1
    for k in range(n):
        if shut_w_g_kg[k] >= wet[k]:
            first = max(0, k - reach, until + 1)
            until = min(n - 1, k + reach)
            exempt[first : until + 1] = b"\x01" * (until + 1 - first)
        elif shut_w_g_kg[k] > NEAR_WET_SHARE * wet[k]:
            exempt[k] = 1
    return exempt


def added_wet_minutes(course, w_g_kg: array, shut_w_g_kg: array, exempt: bytearray) -> int:
    """policies.added_wet_minutes without the exempt steps."""
    wet = course.wet_w_g_kg
    steps = [k for k in range(1, len(wet)) if w_g_kg[k] >= wet[k] > shut_w_g_kg[k] and not exempt[k]]
    return len(steps) * course.dt_s // 60


def limits_g_kg(course, shut_w_g_kg: array, exempt: "bytearray | None" = None) -> array:
    """The highest excess e [g/kg] at each step that adds no wet step; infinite where the shut house is wet."""
    limits = array("d")
    for s, wet in zip(shut_w_g_kg, course.wet_w_g_kg):
        room = wet - s
        limits.append(max(0.0, room - STRICT_G_KG) if room > 0.0 else UNLIMITED)
    if exempt is not None:
        for k in range(len(limits)):
            if exempt[k]:
                limits[k] = UNLIMITED
    return limits


def cap_w_g_kg(course, caps_pct: array) -> array:
    """Humidity ratio [g/kg] at each step up to which water may lift the air: the cap's, over water; 0 for cap 0."""
    ratio = MOLAR_RATIO_G
    out = array("d")
    for cap, sat in zip(caps_pct, course.sat_w_g_kg):
        part = 0.01 * cap * sat / (ratio + sat)  # of the pressure
        out.append(ratio * part / (1.0 - part) * (1.0 - STRICT_SHARE) if part < 1.0 else UNLIMITED)
    return out


def reach_of(course, cap_w: array, shut_w_g_kg: array, limits: array) -> Reach:
    """The Reach of a house: no water while a cap is 0, and the step's end under the next step's cap.

    What a full pad would add above the cap is bounded by both = e + held p, where held p is what the pad's water adds
    if nothing of it leaves the house: opening ends in e under the cap with the pad full at most, and with the valve
    shut only the store adds to it.
    """
    n = course.n_steps
    reach = Reach(n)
    e_out, eb_out, p_out, touches = reach.e, reach.eb, reach.p, reach.touches
    store, share, per_kg = course.store_rate, course.store_share, course.kg_to_rate
    keep, pad_mean = course.pad_keep, course.pad_mean
    fan, may_run, capacity = course.fan, course.may_run, course.capacity_kg_h
    dry, push, mean, sat = course.dry_per_h, course.push_h, course.mean_h, course.sat_w_g_kg
    pad_full = per_kg * course.house.humidifier.pad_min / 60.0 * max(capacity)
    e = eb = p = both = 0.0
    for k in range(n - 1):
        back = store * eb
        rate = back - dry[k] * e
        both += (back - dry[k] * (both - pad_full if both > pad_full else 0.0)) * push[k]
        if fan[k]:
            drawn = p * pad_mean
            p *= keep
            if may_run[k] and cap_w[k] > 0.0:
                drawn += capacity[k] * (1.0 - pad_mean)
                p += capacity[k] * (1.0 - keep)
                room = cap_w[k + 1] - shut_w_g_kg[k + 1]
                if room > 0.0 and both < room + pad_full:
                    both = room + pad_full
            rate += per_kg * drawn
        if share:
            eb += (100.0 * (e + rate * mean[k]) / sat[k] - eb) * share
        e += rate * push[k]
        if e > both:
            e = both
        if e > limits[k + 1]:
            e = limits[k + 1]
            touches[k + 1] = 1
        e_out[k + 1], eb_out[k + 1], p_out[k + 1] = e, eb, p
    return reach


def safe_lines(course, limits: array, reach: Reach, progress=None) -> Lines:
    """The safe set at each step, carried backward from the end of the winter, at which everything is safe."""
    n = course.n_steps
    lines = Lines(n)
    first, count = lines.first, lines.count
    all_q, all_r, all_d = lines.q, lines.r, lines.d
    touches = reach.touches
    q: list = []
    r: list = []
    d: list = []
    given: list = []  # what thinning has lowered each line by
    for k in range(n - 1, 0, -1):
        if progress and k % DAY_STEPS == 0:
            progress(0.1 + 0.5 * (1.0 - k / n))
        if d:
            q, r, d, given = carried(course, k, q, r, d, given, reach)
        if touches[k] and not (d and min(d) <= limits[k]):
            q.append(0.0)
            r.append(0.0)
            d.append(limits[k])
            given.append(0.0)
        if d:
            if k % SWEEP_STEPS == 0 and len(d) > 1:
                thin(q, r, d, given, reach.eb[k], reach.p[k])
            first[k] = len(all_d)
            count[k] = len(d)
            all_q.extend(q)
            all_r.extend(r)
            all_d.extend(d)
    return lines


def carried(course, k: int, q: list, r: list, d: list, given: list, reach: Reach) -> tuple:
    """The lines of step k + 1 as lines of step k, with the valve shut between; those out of reach are left out.

    The step's map, from Moisture.step: e' = x1 e + x2 eb + x3 p, eb' = y1 e + y2 eb + y3 p, p' = keep p.
    """
    g = 100.0 * course.store_share / course.sat_w_g_kg[k]
    push, mean, dry, store = course.push_h[k], course.mean_h[k], course.dry_per_h[k], course.store_rate
    x1 = 1.0 - dry * push
    x2 = store * push
    y1 = g * (1.0 - dry * mean)
    y2 = 1.0 - course.store_share + g * store * mean
    x3 = y3 = 0.0
    keep = 1.0
    if course.fan[k]:
        wets = course.kg_to_rate * course.pad_mean
        x3, y3, keep = wets * push, g * wets * mean, course.pad_keep
    e, eb, p = reach.e[k], reach.eb[k], reach.p[k]
    new_q, new_r, new_d, new_given = [], [], [], []
    for qi, ri, di, gi in zip(q, r, d, given):
        a = 1.0 / (x1 + qi * y1)
        di *= a
        ri = (x3 + qi * y3 + ri * keep) * a
        qi = (x2 + qi * y2) * a
        if e + qi * eb + ri * p > di:
            new_q.append(qi)
            new_r.append(ri)
            new_d.append(di)
            new_given.append(gi * a)
    return new_q, new_r, new_d, new_given


def thin(q: list, r: list, d: list, given: list, eb: float, p: float) -> None:
    """Leave out, in place, lines that their neighbours imply for every state up to eb and p.

    Where they fall short of that by a little, they are lowered by it, each by GIVEN_G_KG in all at most.
    """
    i = 0
    while i < len(d) and len(d) > 1:
        old = i - 1 if i else i + 1
        new = i + 1 if i + 1 < len(d) else i - 1
        short = shortfall(q, r, d, i, old, new, eb, p)
        if short <= 0.0 or max(given[old], given[new]) + short <= GIVEN_G_KG:
            if short > 0.0:
                d[old] -= short
                given[old] += short
                if new != old:
                    d[new] -= short
                    given[new] += short
            del q[i], r[i], d[i], given[i]
        else:
            i += 1


def shortfall(q: list, r: list, d: list, i: int, old: int, new: int, eb: float, p: float) -> float:
    """By how much a mixture of lines old and new falls short of implying line i; the best of some mixtures.

    A state that obeys both obeys e + (mixed q) eb + (mixed r) p <= (mixed d); what line i's q and r exceed those of
    the mixture by counts at the highest eb and p.
    """
    qi, ri, di = q[i], r[i], d[i]
    qn, rn, dn = q[new], r[new], d[new]
    q_more, r_more, d_more = q[old] - qn, r[old] - rn, d[old] - dn
    mixtures = [0.0, 1.0]
    if q_more and 0.0 < (qi - qn) / q_more < 1.0:
        mixtures.append((qi - qn) / q_more)
    if r_more and 0.0 < (ri - rn) / r_more < 1.0:
        mixtures.append((ri - rn) / r_more)
    least = UNLIMITED
    for x in mixtures:
        short = dn + x * d_more - di
        lacks = qi - qn - x * q_more
        if lacks > 0.0:
            short += lacks * eb
        lacks = ri - rn - x * r_more
        if lacks > 0.0:
            short += lacks * p
        if short < least:
            least = short
    return least


def run_best(course, caps_pct: array, shut: Run, start_pct: float, progress=None, exempt=None) -> Run:
    """The clairvoyant (Best)Run under the caps [% RH a step; 0: no water], from the same start as `shut`.

    exempt: steps at which glass may get wet, as `beside_wet` gives them; None: none but the shut house's own.
    progress(share) is called once a simulated day.  ValueError where `shut` began otherwise.
    """
    end = plant.Moisture(course, start_pct)
    if end.w_g_kg != shut.w_g_kg[0]:
        raise ValueError("the valve-shut run began at another humidity")
    limits = limits_g_kg(course, shut.w_g_kg, exempt)
    cap_w = cap_w_g_kg(course, caps_pct)
    reach = reach_of(course, cap_w, shut.w_g_kg, limits)
    lines = safe_lines(course, limits, reach, progress)
    run: Run = BestRun(course.n_steps)
    run.end = end
    follow(course, run, end, cap_w, shut.w_g_kg, lines, progress)
    return run


def follow(course, run, house, cap_w: array, shut_w_g_kg: array, lines: Lines, progress=None) -> None:
    """Steps house (a Moisture) through the winter, the valve as far open as caps and safe set allow; fills the run.

    The last column is the end of the winter: no step is taken from it.
    """
    n = course.n_steps
    step, out, shares, may_run = house.step, run.w_g_kg, run.valve_share, course.may_run
    source, dry, mean, sat = course.source_g_kg_h, course.dry_per_h, course.mean_h, course.sat_w_g_kg
    store, store_share = course.store_rate, course.store_share
    shut_phi_b = house.phi_b_pct
    was = False
    for k in range(n - 1):
        if progress and k % DAY_STEPS == 0:
            progress(0.6 + 0.4 * k / n)
        out[k] = house.w_g_kg
        if store:
            s = shut_w_g_kg[k]
            rate = source[k] + store * shut_phi_b - dry[k] * s
            shut_phi_b += (100.0 * (s + rate * mean[k]) / sat[k] - shut_phi_b) * store_share
        share = 0.0
        if may_run[k] and cap_w[k] > 0.0:
            share = most_share(course, k, house, cap_w[k + 1], shut_w_g_kg[k + 1], shut_phi_b, lines)
            shares[k] = share
        if share and not was:
            run.valve_starts += 1
        was = share > 0.0
        step(k, share)
    out[n - 1] = house.w_g_kg
    run.valve = array("b", [int(VALVE_PARTS * share + 0.5) for share in shares])


def most_share(course, k: int, house, cap_w: float, shut_w: float, shut_phi_b: float, lines: Lines) -> float:
    """The largest valve share of step k whose end lies under the cap and in the safe set of k + 1.

    The end is linear in the share; cap_w, shut_w and shut_phi_b are those of the step's end.
    """
    w, phi_b, pad = house.w_g_kg, house.phi_b_pct, house.pad_kg_h
    pad_mean, per_kg, push = course.pad_mean, course.kg_to_rate, course.push_h[k]
    top = course.capacity_kg_h[k]
    rate = course.source_g_kg_h[k] - course.dry_per_h[k] * w + per_kg * pad * pad_mean
    rate += course.store_rate * phi_b
    rate_more = per_kg * top * (1.0 - pad_mean)
    e = w + rate * push
    e_more = rate_more * push
    if not e_more > 0.0:  # the humidifier has nothing to give
        return 0.0
    share = 1.0
    if e_more > cap_w - e:
        share = (cap_w - e) / e_more
    count = lines.count[k + 1]
    if count and share > STRICT_SHARE:
        e -= shut_w
        mean, sat, store_share = course.mean_h[k], course.sat_w_g_kg[k], course.store_share
        eb = phi_b + (100.0 * (w + rate * mean) / sat - phi_b) * store_share - shut_phi_b
        eb_more = 100.0 * rate_more * mean / sat * store_share
        p = pad * course.pad_keep
        p_more = top * (1.0 - course.pad_keep)
        first = lines.first[k + 1]
        q, r, d = lines.q, lines.r, lines.d
        for i in range(first, first + count):
            room = d[i] - e - q[i] * eb - r[i] * p
            more = e_more + q[i] * eb_more + r[i] * p_more
            if more * share > room:
                share = room / more
    return share if share > STRICT_SHARE else 0.0


def gain_bound(course, caps_pct: array, shut: Run, start_pct: float, mask) -> "float | None":
    """No less than the mean RH [%] that `run_best` gains over the masked steps; None without any. Much the cheaper."""
    if plant.Moisture(course, start_pct).w_g_kg != shut.w_g_kg[0]:
        raise ValueError("the valve-shut run began at another humidity")
    limits = limits_g_kg(course, shut.w_g_kg)
    reach = reach_of(course, cap_w_g_kg(course, caps_pct), shut.w_g_kg, limits)
    highest = array("d", map(float.__add__, shut.w_g_kg, reach.e))
    above = plant.rh_series_pct(course, highest)
    below = plant.rh_series_pct(course, shut.w_g_kg)
    gains = [a - b for a, b, counts in zip(above, below, mask) if counts]
    return sum(gains) / len(gains) if gains else None


def share_of_best_pct(block: dict, shut_block: dict, best_block: dict, headroom_class: str) -> "float | None":
    """Mean RH gained over the shut house as a share [%] of what `best` gains, from three policy blocks.

    None where `best` gains less than 4 % RH, where the house fogs by itself, and without a season.
    """
    means = [found["mean_rh_pct"] for found in (block, shut_block, best_block)]
    if None in means or headroom_class == "foggy":
        return None
    mean, shut, best = means
    if not best - shut >= LEAST_GAIN_PCT:
        return None
    return 100.0 * (mean - shut) / (best - shut)
