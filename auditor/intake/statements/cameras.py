"""What a session file states of cameras: the sensor, what is added to the clock, how long the flash lit."""

import numpy as np
import pandas as pd

from auditor.errors import Problem
from auditor.intake.frame_index import Rows
from auditor.intake.statements.claims import Claim, Claims, objects
from auditor.intake.statements.session import SessionFile


def claim_cameras(session: SessionFile, rows: Rows, facts: pd.DataFrame) -> Claims:
    """State sensors and clock offsets of the rows that one session file governs; name what fits no camera."""
    if not session.cameras:
        return Claims()
    pairs = facts[["body", "model"]].iloc[rows]
    codes = pairs.groupby(["body", "model"], dropna=False, sort=False).ngroup().to_numpy()
    firsts = np.unique(codes, return_index=True)[1]
    claims: list[Claim] = []
    used = set()
    for code, first in enumerate(firsts):
        body, model = (name if isinstance(name, str) else None for name in pairs.iloc[first])
        entry = session.camera_entry(body, model)
        if entry is None:
            continue
        used.add(id(entry))
        own = rows[codes == code]
        if entry.sensor is not None:
            sensors = objects([entry.sensor] * len(own))
            claims.append(Claim("sensor", "session", own, sensors, str(session.path)))
        if entry.clock_offset_s:
            offset_s = np.full(len(own), entry.clock_offset_s)
            claims.append(Claim("clock_offset", "session", own, offset_s, str(session.path)))
    step = f"Cameras found: {', '.join(sorted(pairs['body'].dropna().unique())) or 'none with a name'}."
    problems = [
        Problem(str(session.path), f"[[camera]] {name!r} took none of these frames.", step, ignored=True)
        for name in (entry.name for entry in session.cameras if entry.name and id(entry) not in used)
    ]
    return Claims(tuple(claims), tuple(problems))


def claim_flash(session: SessionFile, rows: Rows, facts: pd.DataFrame) -> Claims:
    """State how long the flash lit those of the rows whose file says that one fired. Reads ``flash``."""
    if session.flash_duration_s is None:
        return Claims()
    place, own = str(session.path), rows[facts["flash"].fillna(False).to_numpy(bool)[rows]]
    if not own.size:
        what = "flash_duration was not used: no file says that a flash fired."
        return Claims(problems=(Problem(place, what, "Movement goes by the exposure time.", ignored=True),))
    return Claims(
        (Claim("flash_duration", "session", own, np.full(own.size, session.flash_duration_s), place),)
    )
