"""The pixel size that is a camera's own; a smaller file, or one of another shape, is a copy of a picture."""

import numpy as np
import pandas as pd

OWN_SHARE = 0.2  # a size that fewer of a camera's pictures have is not its own
SAME_AREA = 0.04  # raw files show a few more rows than their JPEGs
SHAPE_TOLERANCE = 0.03  # 3:2 and 4:3 differ by 12 %


def find_copies(
    cameras: np.ndarray, width_px: np.ndarray, height_px: np.ndarray, *, few: bool = True
) -> np.ndarray:
    """Which pictures were most likely resized or cropped: smaller than their camera's own, or reshaped.

    ``few``: only sizes count that few of a camera's pictures have, since it may be set to another one.
    """
    long_px, short_px = np.fmax(width_px, height_px), np.fmin(width_px, height_px)
    sizes = pd.DataFrame({"camera": pd.factorize(cameras)[0], "long": long_px, "short": short_px})
    known = (sizes["short"] > 0) & (sizes["camera"] >= 0)
    kinds = sizes[known].groupby(["camera", "long", "short"], sort=False).size().reset_index(name="n")
    if not len(kinds):
        return np.zeros(len(sizes), dtype=bool)
    kinds["area"] = kinds["long"] * kinds["short"]
    kinds["share"] = kinds["n"] / kinds.groupby("camera")["n"].transform("sum")
    own = kinds[kinds["share"] >= OWN_SHARE].sort_values("area").drop_duplicates("camera", keep="last")
    pair = kinds.merge(own, on="camera", how="left", suffixes=("", "_own"))
    other_shape = (pair["long"] / pair["short"] / (pair["long_own"] / pair["short_own"]) - 1).abs()
    odd = (pair["area"] < pair["area_own"] * (1 - SAME_AREA)) | (other_shape > SHAPE_TOLERANCE)
    kinds["copy"] = odd & (pair["share"] < OWN_SHARE) if few else odd
    found = sizes.merge(
        kinds[["camera", "long", "short", "copy"]], on=["camera", "long", "short"], how="left"
    )
    return np.asarray(found["copy"].eq(True), dtype=bool)
