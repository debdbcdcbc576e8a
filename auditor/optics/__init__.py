"""Optics of zone focusing with a thin lens, in numpy alone. What they leave out stands in DEVELOPERS.md.

Arguments are scalars or arrays, broadcast, each in the unit that its name ends in; the same shape comes out,
a numpy float for scalars. What is unknown (NaN), or makes no sense (an f-number of nought, a distance that
cannot be focused), comes out as NaN; infinity is an ordinary distance. ``f_number`` is N as recorded,
``focal_length_mm`` f, ``coc_mm`` the circle of confusion c, ``distance_from`` what distances count from, in
and out, ``shift_mm`` how much farther from the sensor the lens stands than its engravings mean.

``lens`` has the two distances and the plain zone, ``blur`` what makes a point large, ``combined`` the zone
for all blur together, ``plans`` the inverse problems, ``sensors`` sizes and criteria. ``rings`` says what
stands on a lens, ``scales`` how to read its depth-of-field scale, ``ring_check`` what an adapter does to
its marks; ``bench`` puts them together for one lens. ``flash`` and ``speeds`` are what their names say.
"""
