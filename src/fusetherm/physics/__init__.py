"""Physics: property tables of metals, heat losses and closed forms; SI units, kelvin."""
