"""The summed posterior of both tolerances against a long run of a general-purpose sampler (emcee).

    python tests/bench/bench_posterior.py [--archives 5] [--steps 1500]

The same model is written out a second time: continuous parameters, blur of each subject from many drawn
distances, speeds and directions with optics of its own. Compared are mean and spread of log tau_sharp and of
log tau_keep. emcee: Foreman-Mackey et al., PASP 125:306, 2013; ``pip install emcee``.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import emcee
import numpy as np
from scipy.special import expit, logit, ndtri

sys.path.insert(0, str(Path(__file__).parents[1]))
from worlds.people import HANDBOOK_MM, World, blur_mm, draw_archive

from auditor.evidence.blur_tolerance import LAPSE, fit_tolerances
from auditor.evidence.subjects import frames_met, gather_subjects
from auditor.settings import Settings

WALK = 128  # drawn blurs a subject; with 32 their own chance moves log tau of one archive by .05


def log_posterior(point, blur, still, s):
    """Of log tau_sharp, log kappa, d, logit floor, level, interest in near subjects; in handbook units."""
    tau, kappa, apart, floor, level, near = point
    if not (np.log(0.15) < tau < np.log(30) and -1.1 <= (kappa - np.log(3.2)) / 0.5 / 2 <= 1.1):
        return -np.inf
    if abs(floor + 1.8) > 1.8 * 2.25 or abs(near) > 0.7 * 2:
        return -np.inf
    away = (tau - np.log(1.4)) / 0.5
    prior = -2 * np.log1p(away**2 / 3) - 0.5 * ((kappa - np.log(3.2)) / 0.5) ** 2
    prior -= 0.5 * ((apart - 0.2) / 0.4) ** 2 + 0.5 * ((floor + 1.8) / 1.8) ** 2
    prior -= 0.5 * ((level - logit(0.12)) / 1.5) ** 2 + 0.5 * (near / 0.7) ** 2
    steep, phi = np.exp(kappa), expit(floor)
    tilt = near * (np.average(s.log_m) - s.log_m) + 0.5 * np.log(s.frames)
    asked = np.isfinite(s.verdict)
    both = [[expit(-steep * (b - t)).mean(axis=1) for b in (blur, still)] for t in (tau, tau + apart)]
    terms = []
    for share, weight in ((1.0, 0.7), (0.5, 0.2), (0.0, 0.1)):
        sharp, left = (share * moving + (1 - share) * standing for moving, standing in both)
        chance = LAPSE + (1 - 2 * LAPSE) * sharp[asked]
        total = np.where(s.verdict[asked] == 1, np.log(chance), np.log1p(-chance)).sum()
        kept = (phi + (1 - phi) * left) * expit(level + tilt)
        drawn = 1 + kept * np.expm1(s.drawn_odds)
        total += np.log(np.where(s.hit, kept, 1 - kept) / drawn).sum()
        terms.append(np.log(weight) + total)
    return prior + np.logaddexp.reduce(terms)


def blurs(s, rng):
    """Log blur in handbook units of drawn walks and of standing still, shape (n, WALK)."""
    even = (np.arange(WALK) + 0.5) / WALK
    log_m = s.log_m[:, None] + s.log_sd[:, None] * ndtri(even)
    speed = np.maximum(1.32 + 0.31 * ndtri(rng.permuted(np.tile(even, (len(s), 1)), axis=1)), 0)
    sine = np.abs(np.sin(np.pi * rng.permuted(np.tile(even, (len(s), 1)), axis=1)))
    setting = (s.focal_length_mm[:, None], s.f_number[:, None], s.focus_distance_m[:, None], np.exp(log_m))
    time = s.exposure_time_s[:, None]
    return tuple(np.log(blur_mm(*setting, time, v, sine) / HANDBOOK_MM) for v in (speed, 0.0))


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--archives", type=int, default=5)
    parser.add_argument("--steps", type=int, default=1500)
    options = parser.parse_args()
    failed = 0
    for seed in range(1, options.archives + 1):
        s = gather_subjects(
            frames_met(draw_archive(seed, World(verdicts=60 if seed % 2 else 0)).table), Settings()
        )
        ours = fit_tolerances(s, 1.32)[0]
        rng = np.random.default_rng(seed)
        start = np.array([0.3, 1.1, 0.2, -1.8, -2.0, 0.0]) + 0.1 * rng.standard_normal((32, 6))
        sampler = emcee.EnsembleSampler(32, 6, log_posterior, args=(*blurs(s, rng), s))
        sampler.random_state = np.random.MT19937(seed).state
        sampler.run_mcmc(start, options.steps)
        chain = sampler.get_chain(discard=options.steps // 4, flat=True)
        for name, draws, own in (
            ("sharp", chain[:, 0], ours.log_sharp),
            ("keep", chain[:, 0] + chain[:, 2], ours.log_keep),
        ):
            apart = (own.mean() - draws.mean()) / draws.std()
            wider = own.std() / draws.std()
            good = abs(apart) < 0.25 and 0.8 < wider < 1.25
            failed += not good
            theirs, summed = (f"{x.mean():+.3f} sd {x.std():.3f}" for x in (draws, own))
            word = "passes" if good else "FAILS"
            print(f"archive {seed}, tau_{name}: sampler {theirs}, summed {summed}: {word}", flush=True)
    return int(failed > 0)


if __name__ == "__main__":
    sys.exit(main())
