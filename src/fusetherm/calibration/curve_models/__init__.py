"""Curve models, from constant I²t to the thermal network, fitted to the same points."""
