"""Constants of physics, SI, each with its source."""

from __future__ import annotations

import math

#: Boltzmann constant [J/K] (exact since the SI revision of 2019; SI Brochure, 9th edition).
BOLTZMANN = 1.380649e-23

#: Elementary charge [C] (exact since the SI revision of 2019; SI Brochure, 9th edition).
ELEMENTARY_CHARGE = 1.602176634e-19

#: Stefan-Boltzmann constant [W/m2/K4] (CODATA 2018).
STEFAN_BOLTZMANN = 5.670374419e-8

#: Magnetic constant [N/A2] (CODATA 2018; 4 pi 1e-7 to 1e-9).
VACUUM_PERMEABILITY = 1.25663706212e-6

#: Standard acceleration of free fall [m/s2] (exact; 3rd CGPM, 1901).
STANDARD_GRAVITY = 9.80665

#: Lorenz number of the free-electron metal, (pi^2/3)(k_B/e)^2 [W ohm/K2] (Sommerfeld).
SOMMERFELD_LORENZ = math.pi**2 / 3.0 * (BOLTZMANN / ELEMENTARY_CHARGE) ** 2
