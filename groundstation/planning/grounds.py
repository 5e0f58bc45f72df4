"""Grounds that a course may lie on, by name.

Only the order of magnitude matters: over low antennas the wave meets the ground at a grazing angle,
and twice the permittivity is worth some 3 dB. Soil, sand and wet ground are of the order of ITU-R
P.527, concrete of ITU-R P.2040 (both from memory); asphalt is common practice, no source.
"""

from __future__ import annotations

from groundstation.radio.propagation import Ground

GROUNDS = {
    "asphalt": Ground(relative_permittivity=4.0, conductivity_s_per_m=0.01),
    "concrete": Ground(relative_permittivity=5.3, conductivity_s_per_m=0.07),
    "sand": Ground(relative_permittivity=3.0, conductivity_s_per_m=0.001),
    "soil": Ground(relative_permittivity=15.0, conductivity_s_per_m=0.005),
    "wet": Ground(relative_permittivity=30.0, conductivity_s_per_m=0.1),
}
