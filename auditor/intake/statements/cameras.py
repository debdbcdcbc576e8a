"""What a session file states of cameras: the sensor, and what is added to the clock."""

import numpy as np
import pandas as pd

from auditor.errors import Problem
from auditor.intake.frame_index import Rows
from auditor.intake.statements.claims import Claim, Claims, objects
from auditor.intake.statements.session import SessionFile


def claim_cameras(session: SessionFile, rows: Rows, facts: pd.DataFrame) -> Claims:
    """State the sensors and clock offsets of one session file; an entry of no camera met is a problem."""
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
