"""Optics of zone focusing: distances, zones, blur and criteria of a thin lens, in numpy alone.

Arguments are scalars or arrays, broadcast, each in the unit that its name ends in; the same shape comes out,
a numpy float for scalars. What is unknown (NaN), or makes no sense (an f-number of nought, a distance that
cannot be focused), comes out as NaN; infinity is an ordinary distance. ``f_number`` is N as recorded,
``focal_length_mm`` f, ``coc_mm`` the circle of confusion c, ``distance_from`` what distances count from, in
and out, ``shift_mm`` how much farther from the sensor the lens stands than its engravings mean.

``lens`` has the two distances and the plain zone, ``blur`` what makes a point large, ``combined`` the zone
for all blur together, ``plans`` the inverse problems, ``sensors`` sizes and criteria. ``rings`` says what
stands on a lens, ``scales`` how to read its depth-of-field scale, ``ring_check`` what an adapter does to
its marks; ``bench`` puts them together for one lens. ``flash`` and ``speeds`` are what their names say.

What is left out
----------------
A photograph's file does not tell enough for more. Sizes that are not computed here are from memory, as lens
designers and testers usually find them.

* **Pupil magnification.** A lens whose pupils differ in size by P has the effective f-number N (1 + m / P).
  With P = 2, usual for wide lenses on mirror cameras, blur is 0.7 % larger at 2 m with 28 mm (m = 0.014),
  1.5 % at 1 m.
* **Thickness.** The principal planes of a real lens stand some millimetres apart, up to 2 cm: 1 to 2 % of the
  distance at 1 m.
* **Subjects off the focus distance.** A distance from the sensor plane is brought to the lens as if the ring
  were set to it. The lens really stays where it is focused; the difference is at most f^2 / (s - f), 4.2 mm
  for 50 mm at 0.7 m, and changes the blur by 1 % just in front of that ring, by less elsewhere.
* **Focus breathing.** Lenses that focus by moving inner groups lose focal length when set close, often 5 to
  15 % at their nearest, and blur goes with f^2. Lenses that move as a whole, as most with engraved scales do,
  do not.
* **Field curvature.** Off the axis the sharp surface lies 0.05 to 0.2 mm before or behind the sensor: 0.006
  to 0.025 mm of blur at f/8, so up to a handbook circle of confusion in the corners.
* **Spherical aberration.** It shifts the best focus on stopping down by 0.02 to 0.1 mm in fast lenses, and
  makes blur before and behind the focus unlike each other. At f/8 the shift amounts to some 0.01 mm of blur.
* **Mechanical vignetting** narrows the disc in the corners, by a third or more wide open, not at f/8.
* **Engraved rounding.** A ring is engraved and read to 5 or 10 %; near the hyperfocal distance that alone
  decides whether infinity is sharp.
* **Nominal and exact stops.** f/5.6 is 5.66, f/11 is 11.31, f/22 is 22.63: blur is up to 3 % smaller than
  computed, and a far limit near the hyperfocal distance much farther (35 mm f/11 at 3 m: 14.9 or 16.8 m).
* **Colour, scatter and the sensor's filter stack.** Some micrometres together; the pixel can be counted in.
* **Movement towards the camera.** The picture grows by v t / u; at the edge of a 36x24 mm picture a walker at
  2 m smears 0.024 mm in 1/500 s, in the middle nothing.
"""
