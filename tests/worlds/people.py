"""People who set the ring before walking: what they meet, press at and keep, as a frame table with its truth.

They keep 1 to 8 frames of 100, for the moment and not for focus. Outings differ, near subjects interest them
more, they pick the best of a burst and get stricter with time; distances are uncertain and off to one side.
Each trouble can be set alone. Optics and truth are written out here and use none of the package's averaging;
invented throughout.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd
from scipy.special import expit, ndtri

from auditor.evidence.weights import add_weights
from auditor.evidence.zones import add_zones
from auditor.frames import with_columns
from auditor.intake.sampling import draw_sample
from auditor.optics.sensors import parse_criterion

STOPS = (2.8, 4.0, 5.6, 8.0, 11.0, 16.0)
RINGS_M = (1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 7.0)
HANDBOOK_MM = 43.267 / 1442
NEAREST_M = 0.5
_SINES = np.sin((np.arange(6) + 0.5) / 6 * np.pi / 2)
_NODES, _NODE_WEIGHTS = np.polynomial.hermite_e.hermegauss(5)


@dataclass(frozen=True)
class World:
    """What kind of people; every trouble of its own."""

    frames: int = 400
    sessions: int = 6
    presets: int = 3
    distances: int = 60  # drawn by preset and mark
    known: bool = False  # the drawn distances are exact, from half keepers
    verdicts: int = 0  # sharp verdicts among the drawn
    keep: tuple[float, float] = (0.01, 0.08)
    session_sd: float = 0.7
    near: float = 0.7  # logit for each factor e nearer
    best_of_burst: bool = True
    drift: float = 0.6  # logit lost from the first frame to the last
    distance_sd: float = 0.10
    distance_bias: float = 0.05
    speed: tuple[float, float] = (1.3, 0.4)
    lapse: float = 0.02
    eye: float | None = None  # tau_sharp over tau_keep; None: people differ
    presses: str = "all"  # or "zone": only inside the zone, 15 % outside
    blur_decides: bool = True
    fixed_iso: bool = False
    still: bool = False
    engraving: float = 1.0  # where a mark truly focuses, as a factor
    anyone: int = 0  # presses of one stretch without regard for the zone, all with distances
    chosen: float = 1.0  # of the walks, the first ones, those that keepers were chosen from
    unchosen: int | None = None  # distances on the others, where they are not drawn as on those


@dataclass(frozen=True)
class Person:
    """One of them; lengths [mm], distances [m]."""

    focal_mm: float
    tau_keep: float
    tau_sharp: float
    kappa: float
    floor: float
    median_m: float
    log_sd: float
    wanted_s: float
    iso_max: float
    alpha: float = 0.0
    bias: float = 0.0


def blur_parts_mm(focal, number, focus_m, subject_m, smear_s, speed, sine):
    """Defocus disc, smear and Airy disc of a thin lens; distances from the sensor plane."""
    f = focal / 1000
    u = (subject_m + np.sqrt(subject_m**2 - 4 * f * subject_m)) / 2
    s = (focus_m + np.sqrt(focus_m**2 - 4 * f * focus_m)) / 2 if np.all(np.isfinite(focus_m)) else focus_m
    size = f / (u - f)
    disc = 1000 * f * f / (number * (s - f)) * np.abs(u - s) / u
    return disc, 1000 * size * speed * smear_s * sine, 2.4393 * 550e-6 * number * (1 + size)


def blur_mm(*setting):
    """The root of the sum of their squares."""
    return np.sqrt(sum(part**2 for part in blur_parts_mm(*setting)))


def zone_limits(focal, number, focus_m, coc=HANDBOOK_MM):
    f = focal / 1000
    s = (focus_m + np.sqrt(focus_m**2 - 4 * f * focus_m)) / 2
    k = number * coc / 1000 * (s - f)
    far = np.where(f * f > k, s * f * f / np.where(f * f > k, f * f - k, 1), np.inf)
    return s * f * f / (f * f + k), far


def falls(blur, tau, kappa):
    return 1 / (1 + (blur / tau) ** kappa)


@dataclass(frozen=True)
class Archive:
    """A frame table, the person behind it, and what every setting would truly bring."""

    world: World
    person: Person
    table: pd.DataFrame
    presets: tuple[tuple[float, float], ...]
    share: np.ndarray  # of the presses at each preset
    ev: np.ndarray  # of the presses
    chance: np.ndarray  # of each frame, session as it was
    inside: np.ndarray  # of each frame, whether the subject truly stood in the zone
    base: np.ndarray  # of each press, logit of the moment but for outing and drift
    left: np.ndarray  # of each press, what blur leaves

    def smear_s(self, ev, number):
        """Exposure time that the camera would take."""
        needed = 100 * number**2 / 2**ev  # ISO times seconds
        if self.world.fixed_iso:
            return needed / 800
        return np.maximum(needed / np.clip(needed / self.person.wanted_s, 100, self.person.iso_max), 1 / 8000)

    def rates(self, number, focus_m, ev=None):
        """True shares of one setting: sharp and kept, per press as it would be made, and per passer."""
        p, w = self.person, self.world
        x = np.log(p.median_m) + p.log_sd * ndtri((np.arange(80) + 0.5) / 80)
        subject = np.maximum(np.exp(x), NEAREST_M)
        light = np.quantile(self.ev if ev is None else ev, (np.arange(9) + 0.5) / 9)
        speed = np.array([0.0]) if w.still else np.maximum(w.speed[0] + w.speed[1] * _NODES, 0)
        weight = np.ones(1) if w.still else _NODE_WEIGHTS / _NODE_WEIGHTS.sum()
        time = self.smear_s(light, number)
        blur = blur_mm(
            p.focal_mm, number, focus_m * w.engraving, subject[:, None, None, None],
            time[:, None, None], speed[:, None], _SINES,
        )  # fmt: skip
        tau_sharp, tau_keep = (p.tau_sharp, p.tau_keep) if w.blur_decides else (1e3, 1e3)
        sharp = falls(blur, tau_sharp, p.kappa).mean(axis=(1, 3)) @ weight
        keeps = p.floor + (1 - p.floor) * (falls(blur, tau_keep, p.kappa).mean(axis=(1, 3)) @ weight)
        kept = keeps * expit(p.alpha - w.near * (np.log(subject) - np.log(p.median_m)))
        press = np.ones(subject.size)
        if w.presses == "zone":
            near, far = zone_limits(p.focal_mm, number, focus_m)
            inside = (subject >= near) & (subject <= far)
            share = inside.mean()
            press = np.where(inside, 0.85 / max(share, 1e-3), 0.15 / max(1 - share, 1e-3))
        return {
            "sharp_press": float(press @ sharp / press.sum()),
            "kept_press": float(press @ kept / press.sum()),
            "sharp_passer": float(sharp.mean()),
            "kept_passer": float(kept.mean()),
        }

    def next_walk(self, rng, presses=60):
        """Presses with a keeper in a walk yet to come, like these but with a luck of its own."""
        rows = rng.integers(0, len(self.base), presses)
        luck = rng.normal(0, self.world.session_sd) - self.world.drift / 2
        chance = expit(self.person.alpha + self.base[rows] + luck) * self.left[rows]
        return int((rng.random(presses) < chance).sum())

    @cached_property
    def habit(self):
        """The same of what is done now, each preset by its share of the presses."""
        own = [self.rates(*preset) for preset in self.presets]
        return {name: float(self.share @ [one[name] for one in own]) for name in own[0]}

    @cached_property
    def grid(self):
        """The same of all settings within the stops used: number, focus and an array for each."""
        used = [n for n, _ in self.presets]
        pairs = [(n, s) for n in STOPS if min(used) <= n <= max(used) for s in RINGS_M]
        own = [self.rates(*pair) for pair in pairs]
        found = {name: np.array([one[name] for one in own]) for name in own[0]}
        return {"f_number": np.array(pairs)[:, 0], "focus_m": np.array(pairs)[:, 1], **found}


def draw_person(rng, world):
    tau_sharp = HANDBOOK_MM * 1.4 * float(np.exp(np.clip(0.5 * rng.standard_t(3), -1.0, 1.5)))
    ratio = float(np.exp(-rng.normal(0.2, 0.4))) if world.eye is None else world.eye
    return Person(
        focal_mm=float(rng.choice([24.0, 28.0, 35.0, 40.0, 50.0])),
        tau_keep=tau_sharp / ratio,
        tau_sharp=tau_sharp,
        kappa=float(np.exp(rng.normal(np.log(3.3), 0.3))),
        floor=float(rng.uniform(0.02, 0.15)),
        median_m=float(np.exp(rng.normal(np.log(2.8), 0.2))),
        log_sd=float(rng.uniform(0.3, 0.5)),
        wanted_s=float(rng.choice([1 / 250, 1 / 500])),
        iso_max=float(rng.choice([3200.0, 6400.0, 12800.0])),
        bias=float(rng.choice([-1, 1]) * world.distance_bias),
    )


def draw_archive(seed: int, world: World) -> Archive:
    """Walk, press, keep, and answer the sheet."""
    rng = np.random.default_rng(seed)
    p = draw_person(rng, world)
    stops = sorted(rng.choice((4.0, 5.6, 8.0, 11.0), min(world.presets, 4), replace=False).tolist())
    rings = rng.choice((1.5, 2.0, 2.5, 3.0, 4.0, 5.0), len(stops), replace=False).tolist()
    presets = tuple(zip(stops, rings, strict=True))
    habit = rng.dirichlet(np.full(len(stops), 4.0))
    size = 1 + rng.geometric(0.65, 2 * world.frames) - 1
    size = np.minimum(size, 6)
    bursts = int(np.searchsorted(np.cumsum(size), world.frames)) + 1
    total = bursts + world.anyone
    size = np.concatenate([size[:bursts], np.ones(world.anyone, int)])
    session = np.sort(rng.choice(world.sessions, bursts, p=rng.dirichlet(np.full(world.sessions, 5.0))))
    session = np.concatenate([session, np.full(world.anyone, world.sessions)])
    by_session = np.array([rng.dirichlet(habit * 6 + 0.3) for _ in range(world.sessions + 1)])
    preset = (by_session.cumsum(axis=1)[session] < rng.random(total)[:, None]).sum(axis=1)
    preset = np.minimum(preset, len(stops) - 1)
    # Within a session a preset stays on for a stretch.
    order = np.lexsort((preset, session))
    preset = preset[order]
    number, focus = np.array(presets)[preset].T
    anyone = np.arange(total) >= bursts
    subject = _press_at(rng, world, p, number, focus, anyone)
    ev = rng.normal(11.0, 1.3, world.sessions + 1)[session] + rng.normal(0, 0.7, total)
    share = np.bincount(preset[:bursts], minlength=len(stops)) / bursts
    none = np.zeros(0)
    draft = Archive(world, p, pd.DataFrame(), presets, share, ev, none, none, none, none)
    time = draft.smear_s(ev, number)
    speed = np.zeros(total) if world.still else np.maximum(rng.normal(*world.speed, total), 0)
    sine = np.abs(np.sin(rng.uniform(0, 2 * np.pi, total)))
    blur = blur_mm(p.focal_mm, number, focus * world.engraving, subject, time, speed, sine)
    tau_sharp, tau_keep = (p.tau_sharp, p.tau_keep) if world.blur_decides else (1e3, 1e3)
    outing = rng.normal(0, world.session_sd, world.sessions + 1)
    base = -world.near * (np.log(subject) - np.log(p.median_m))
    if world.best_of_burst:
        base = base + 0.5 * np.log(size)
    logit_k = base + outing[session] - world.drift * (np.arange(total) / total - 0.5)
    left = p.floor + (1 - p.floor) * falls(blur, tau_keep, p.kappa)
    wanted = float(rng.uniform(*world.keep)) * size.sum()
    alpha = _level(logit_k, left, min(wanted, 0.93 * left.sum()))
    p = replace(p, alpha=alpha)
    chance = expit(alpha + logit_k) * left
    hit = rng.random(total) < chance
    burst = np.repeat(np.arange(total), size)
    first = np.concatenate([[0], np.cumsum(size)[:-1]])
    chosen = first + (rng.random(total) * size).astype(int)
    kept = np.zeros(burst.size, bool)
    kept[chosen[hit]] = True
    table = _table(rng, world, p, presets, burst, preset, session, time, ev, kept, anyone)
    later = table["session"] > np.ceil(world.chosen * world.sessions)
    if world.chosen < 1:
        table = table.assign(
            keeper=table["keeper"].mask(later), counted_as=table["counted_as"].mask(later, "left out")
        )
    table = _answer(rng, world, p, table, subject, burst, falls(blur, tau_sharp, p.kappa), anyone, seed)
    if world.unchosen is not None:
        gone = np.flatnonzero(later & table["subject_distance_m"].notna())[world.unchosen :]
        rows = np.isin(np.arange(len(table)), gone)
        table = table.assign(
            subject_distance_m=table["subject_distance_m"].mask(rows), sharp=table["sharp"].mask(rows)
        )
        table = add_zones(table, parse_criterion("handbook"), 1.32)
    near, far = zone_limits(p.focal_mm, number, focus)
    return replace(
        draft, person=p, table=table, chance=(chance / size)[burst],
        inside=((subject >= near) & (subject <= far))[burst], base=base, left=left,
    )  # fmt: skip


def _level(logit_k, left, wanted):
    low, high = -15.0, 15.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if (expit(middle + logit_k) * left).sum() < wanted else (low, middle)
    return (low + high) / 2


def _press_at(rng, world, p, number, focus, anyone):
    n = number.size

    def pass_by(k):
        return np.maximum(p.median_m * np.exp(p.log_sd * rng.standard_normal(k)), NEAREST_M)

    subject = pass_by(n)
    if world.presses != "zone":
        return subject
    near, far = zone_limits(p.focal_mm, number, focus)
    wants_inside = rng.random(n) > 0.15
    for _ in range(400):
        inside = (subject >= near) & (subject <= far)
        wrong = (inside != wants_inside) & ~anyone
        if not wrong.any():
            break
        subject[wrong] = pass_by(int(wrong.sum()))
    return subject


def _table(rng, world, p, presets, burst, preset, session, time, ev, kept, anyone):
    n = burst.size
    number, focus = np.array(presets)[preset].T
    needed = 100 * number**2 / 2**ev
    iso = needed / time
    start = pd.Timestamp("2031-05-01 10:00") + pd.to_timedelta(
        session * 86400 + np.arange(len(session)) * 40, unit="s"
    )
    within = np.arange(n) - np.searchsorted(burst, burst)
    return with_columns(
        pd.DataFrame(
            {
                "file": [f"F{i:06d}.jpg" for i in range(n)],
                "session": session[burst] + 1,
                "burst": burst + 1,
                "captured_at": start.to_numpy()[burst] + pd.to_timedelta(within * 700, unit="ms").to_numpy(),
                "camera": "body A",
                "lens": "lens A",
                "preset": np.array([f"f/{a:g} at {b:g} m" for a, b in presets], dtype=object)[preset[burst]],
                "focal_length_mm": p.focal_mm,
                "f_number": number[burst],
                "exposure_time_s": time[burst],
                "iso": iso[burst],
                "sensor_width_mm": 36.0,
                "sensor_height_mm": 24.0,
                "focus_distance_m": focus[burst],
                "keeper": np.where(kept, "yes", "no"),
                "counted_as": np.where(kept, "keeper", "not kept"),
                "in_preset": True,
                "pressed": np.where(anyone, "anyone", "zone")[burst],
            }
        )
    )  # fmt: skip


def _answer(rng, world, p, table, subject, burst, sharp, anyone, seed):
    """Distances of the drawn frames, and verdicts on some of them."""
    if world.distances:
        drawn = draw_sample(table, world.distances, seed=seed)
        weight = np.full(len(table), np.nan)
        weight[drawn.weighted_rows] = drawn.weights
        rows = drawn.rows
    else:
        weight, rows = np.full(len(table), np.nan), np.zeros(0, int)
    told = rows
    if world.anyone:
        told = np.unique(np.concatenate([rows, np.flatnonzero(anyone[burst])]))
    sd = 0.0 if world.known else world.distance_sd
    bias = 0.0 if world.known else p.bias
    stated = 0.02 if world.known else world.distance_sd
    distance = np.full(len(table), np.nan)
    distance[told] = subject[burst][told] * np.exp(bias + sd * rng.standard_normal(told.size))
    verdict = np.full(len(table), None, dtype=object)
    judged = rows[: world.verdicts]
    chance = world.lapse + (1 - 2 * world.lapse) * sharp[burst][judged]
    verdict[judged] = np.where(rng.random(judged.size) < chance, "yes", "no")
    table = table.assign(
        subject_distance_m=np.maximum(distance, 0.3),
        subject_distance_source=pd.Series(np.where(np.isnan(distance), "unknown", "notes"), dtype="str"),
        subject_distance_rel_sd=np.where(np.isnan(distance), np.nan, stated),
        sample_weight=weight,
        sharp=pd.Series(verdict, dtype="str"),
    )
    return add_zones(table, parse_criterion("handbook"), 1.32)


def measure_some(table: pd.DataFrame, n: int, seed: int) -> pd.DataFrame:
    """Leave the distances of a drawn sample alone, and weigh it, as an audit does."""
    unknown = table.assign(subject_distance_m=np.nan, sample_weight=np.nan)
    drawn = np.zeros(len(table), dtype=bool)
    drawn[draw_sample(unknown, n, seed).rows] = True
    known = unknown.assign(
        subject_distance_m=table["subject_distance_m"].where(drawn), drawn=pd.array(drawn, dtype="boolean")
    )
    return add_zones(add_weights(known), parse_criterion("handbook"), 1.32)
