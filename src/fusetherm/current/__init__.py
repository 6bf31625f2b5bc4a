"""Currents against time: sampled records, closed shapes, repeats and sums, measured captures."""
