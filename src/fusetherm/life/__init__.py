"""Damage by repetition: cycles counted, a law of temperature swing, sums and scatter."""
